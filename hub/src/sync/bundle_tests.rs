//! A bundle carries everything, takes no harm from being taken twice or late, and changes nothing
//! when a single byte of it is wrong or missing.

use std::io::Cursor;

use tempfile::TempDir;

use super::*;
use crate::fixture::{Seeded, author, id, note, session};

fn node(name: &str) -> (Node, TempDir) {
    let folder = tempfile::tempdir().unwrap();
    let node = Node::open(folder.path()).unwrap();
    node.set_name(name).unwrap();
    (node, folder)
}

fn work(node: &Node, n: u8, notes: usize) {
    let (document, change) = session(n);
    node.create(document, change).unwrap();
    for index in 0..notes {
        add(node, n, &format!("note-{index}"));
    }
}

fn add(node: &Node, n: u8, note_id: &str) {
    let edit = note(note_id, "it rained");
    node.edit(id(n), |document| document.apply(&edit, &author())).unwrap().unwrap();
}

fn bundle(node: &Node) -> Vec<u8> {
    let mut out = Vec::new();
    let written = write(node, &mut out).unwrap();
    assert_eq!(written.bytes, out.len() as u64);
    out
}

fn taken(node: &Node, bytes: &[u8]) -> Result<BundleTaken, BundleRefused> {
    take(node, &mut Cursor::new(bytes))
}

#[test]
fn what_one_device_holds_reaches_another_on_a_stick() {
    let (ines, _a) = node("Ines");
    let (hub, _b) = node("hub");
    work(&ines, 1, 5);
    work(&ines, 2, 3);
    let told = taken(&hub, &bundle(&ines)).unwrap();
    assert_eq!((told.taken, told.set_aside), (10, 0));
    assert_eq!((told.device.as_str(), told.key), ("Ines", ines.key()));
    assert_eq!(hub.heads().unwrap(), ines.heads().unwrap());
}

#[test]
fn taken_twice_or_an_older_one_late_does_no_harm() {
    let (ines, _a) = node("Ines");
    let (hub, _b) = node("hub");
    work(&ines, 1, 3);
    let early = bundle(&ines);
    add(&ines, 1, "later");
    let late = bundle(&ines);
    assert_eq!(taken(&hub, &late).unwrap().taken, 5);
    for again in [&late, &early, &late] {
        assert_eq!(taken(&hub, again).unwrap().taken, 0);
    }
    assert_eq!(hub.heads().unwrap(), ines.heads().unwrap());
}

#[test]
fn both_ways_by_stick_both_end_level_with_both_works() {
    let (ines, _a) = node("Ines");
    let (tobias, _b) = node("Tobias");
    work(&ines, 1, 2);
    taken(&tobias, &bundle(&ines)).unwrap();
    add(&ines, 1, "hers");
    add(&tobias, 1, "his");
    taken(&tobias, &bundle(&ines)).unwrap();
    taken(&ines, &bundle(&tobias)).unwrap();
    assert_eq!(ines.heads().unwrap(), tobias.heads().unwrap());
    let notes = ines.with_document(id(1), |d| d.session().unwrap().notes.len()).unwrap();
    assert_eq!(notes, 4);
}

#[test]
fn a_device_does_not_take_its_own() {
    let (ines, _a) = node("Ines");
    work(&ines, 1, 1);
    assert!(matches!(taken(&ines, &bundle(&ines)), Err(BundleRefused::Own)));
}

#[test]
fn a_bundle_cut_at_any_byte_is_incomplete_and_changes_nothing() {
    let (ines, _a) = node("Ines");
    let (hub, _b) = node("hub");
    work(&ines, 1, 4);
    let whole = bundle(&ines);
    for cut in 0..whole.len() {
        let refused = taken(&hub, &whole[..cut]).unwrap_err();
        assert!(matches!(refused, BundleRefused::Incomplete { .. }), "cut at {cut}: {refused}");
    }
    let longer = [&whole[..], b"more than nothing"].concat();
    assert!(matches!(taken(&hub, &longer), Err(BundleRefused::Trailing { .. })));
    assert!(hub.documents().unwrap().is_empty());
}

#[test]
fn a_bundle_with_any_byte_changed_is_refused_and_changes_nothing() {
    let (ines, _a) = node("Ines");
    let (hub, _b) = node("hub");
    work(&ines, 1, 4);
    let whole = bundle(&ines);
    let mut seeded = Seeded(1);
    for at in 0..whole.len() {
        let mut changed = whole.clone();
        changed[at] ^= 1 << seeded.below(8);
        assert!(taken(&hub, &changed).is_err(), "byte {at}");
    }
    for count in 0..200 {
        let noise = seeded.bytes(count);
        assert!(taken(&hub, &noise).is_err());
        let headed = [MAGIC.as_slice(), &[VERSION], &noise].concat();
        assert!(taken(&hub, &headed).is_err());
    }
    assert!(hub.documents().unwrap().is_empty() && hub.set_aside_count().unwrap() == 0);
}
