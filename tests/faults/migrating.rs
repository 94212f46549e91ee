//! Goal: a store of an older version opens, holds what it held, and is never left between two
//! versions. Method: a store that an older program wrote, kept here, is opened on a disk in memory;
//! the power is cut at every moment of that.

use std::path::PathBuf;

use guyline_disk::{Image, Unsynced};

use crate::recorded::{Place, State, wrong};

/// Ines's tablet after the demo's day, as written by the program of version 1 of the store (commit
/// 8f7cc80): 3 documents, 46 changes, 2 peers.
pub(crate) const VERSION_1: &[u8] = include_bytes!("stores/version-1.sqlite");
/// The same by the program of version 2 (commit 982355b): one document in its saved form, no seals.
const VERSION_2: &[u8] = include_bytes!("stores/version-2.sqlite");
/// The same by the program of version 3 (commit bbf962a), with its devices' seals.
const VERSION_3: &[u8] = include_bytes!("stores/version-3.sqlite");
/// The same by the program of version 4 (commit 5a1ab0c): nobody keeps a part.
const VERSION_4: &[u8] = include_bytes!("stores/version-4.sqlite");
/// The same by the program of version 5 (commit 231f05e), compacted: all changes in saved forms.
const VERSION_5: &[u8] = include_bytes!("stores/version-5.sqlite");
/// The same by the program of version 6 (commit b262097), compacted.
const VERSION_6: &[u8] = include_bytes!("stores/version-6.sqlite");
/// All of them.
const BEFORE: [(u32, &[u8]); 6] = [
    (1, VERSION_1),
    (2, VERSION_2),
    (3, VERSION_3),
    (4, VERSION_4),
    (5, VERSION_5),
    (6, VERSION_6),
];
const DAMAGES: usize = 60;

#[test]
fn a_store_of_every_version_before_opens_and_holds_what_it_held() {
    for (version, bytes) in BEFORE {
        let place = Place::new();
        place.disk.load(image(bytes));
        let node = place.open().expect("it opens");
        let inspection = node.inspect().expect("it can be read");
        assert_eq!((inspection.documents, inspection.changes), (3, 46), "version {version}");
        // Nothing in it was sealed; the device answers for it since it started.
        assert_eq!(inspection.problems, [], "version {version}");
        assert_eq!(node.name().expect("it has one"), "Ines's tablet");
        let peers = node.peers().expect("they can be read");
        assert_eq!(peers.len(), 2, "version {version}");
        assert_eq!(node.position().expect("it can be read"), 46);
        let compacted = node.compact().expect("there is room");
        assert_eq!(compacted.not_alike, 0);
        assert_eq!(node.inspect().expect("it can be read").problems, []);
        assert_eq!(node.peers().expect("they can be read"), peers);
    }
}

#[test]
fn a_power_cut_while_a_store_is_brought_up_leaves_one_version_or_the_other() {
    for (version, bytes) in BEFORE {
        cut_while_brought_up(version, bytes);
    }
}

fn cut_while_brought_up(version: u32, bytes: &[u8]) {
    let place = Place::new();
    place.disk.load(image(bytes));
    let node = place.open().expect("it opens");
    let stands = State::of(&node);
    drop(node);
    let trace = place.disk.trace();
    let (mut disk, mut seen) = (Unsynced::new(image(bytes)), std::collections::BTreeSet::new());
    let mut cuts = 0;
    for moment in 0..=trace.len() {
        if moment > 0 {
            disk.step(&trace[moment - 1]);
        }
        for damage in 0..DAMAGES {
            cuts += 1;
            let mut chance =
                guyline_disk::Chance::new((moment as u64) << 20 | (damage as u64) << 44);
            let found = disk.cut(damage, &mut chance);
            if seen.insert(found.mark(disk.durable())) {
                place.disk.load(found);
                let told = wrong(&place, std::slice::from_ref(&stands));
                assert_eq!(told, None, "version {version}, moment {moment}, damage {damage}");
            }
        }
    }
    println!("{cuts} power cuts left {} different disks in {} moments", seen.len(), trace.len());
}

pub(crate) fn image(bytes: &[u8]) -> Image {
    Image::with_files([(PathBuf::from("node.sqlite"), bytes.to_vec())])
}
