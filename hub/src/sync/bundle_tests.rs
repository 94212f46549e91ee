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

/// As a version without a roster wrote it.
fn without_roster(node: &Node, bundle: &[u8]) -> Vec<u8> {
    let length = u32::from_le_bytes(bundle[37..41].try_into().unwrap()) as usize;
    let sealed =
        [MAGIC.as_slice(), &[WITHOUT_ROSTER], &bundle[5..37], &bundle[41 + length..]].concat();
    let sealed = &sealed[..sealed.len() - SIGNATURE_BYTES];
    let signature = node.device_key().sign_bundle(&Sha512_256::digest(sealed));
    [sealed, &signature].concat()
}

#[test]
fn a_bundle_of_a_version_without_a_roster_is_still_taken() {
    let (ines, _a) = node("Ines");
    let (hub, _b) = node("hub");
    work(&ines, 1, 4);
    let old = without_roster(&ines, &bundle(&ines));
    assert_eq!(taken(&hub, &old).unwrap().taken, 5);
    assert_eq!(hub.heads().unwrap(), ines.heads().unwrap());
}

#[test]
fn whom_the_shop_let_in_and_shut_out_is_known_by_a_stick() {
    let (hub, _a) = node("hub");
    let (ines, _b) = node("Ines");
    let (tobias, _c) = node("Tobias");
    hub.found_shop().unwrap();
    let member = |node: &Node, name: &str| {
        let root = crate::identity::DeviceKey::open_root(hub.folder(), None).unwrap();
        crate::identity::membership(&root, node.key(), name, crate::identity::Role::Crew, hub.now())
    };
    hub.take_roster(&[member(&ines, "Ines"), member(&tobias, "Tobias")]).unwrap();
    for device in [&ines, &tobias] {
        device.enter_shop(hub.root_key().unwrap(), &hub.roster_entries()).unwrap();
    }
    work(&hub, 1, 1);
    hub.revoke(tobias.key(), "left in a cab").unwrap();
    assert!(ines.admits(tobias.key()), "it has not heard of it");
    assert_eq!(taken(&ines, &bundle(&hub)).unwrap().taken, 2);
    assert!(!ines.admits(tobias.key()), "the stick brought the word");
    // What the lost device writes from now on is held, whoever carries it.
    work(&tobias, 2, 1);
    let refused = taken(&ines, &bundle(&tobias)).unwrap();
    assert_eq!((refused.taken, refused.set_aside), (0, 2));
}

#[test]
fn a_bundle_of_another_shop_is_refused_and_changes_nothing() {
    let (hub, _a) = node("hub");
    let (other, _b) = node("other");
    hub.found_shop().unwrap();
    other.found_shop().unwrap();
    work(&other, 1, 1);
    let (before, refused) = (hub.roster_entries(), taken(&hub, &bundle(&other)).unwrap_err());
    assert!(matches!(refused, BundleRefused::Roster { .. }), "{refused}");
    assert!(refused.to_string().contains("root key"), "{refused}");
    assert_eq!(hub.roster_entries(), before);
    assert!(hub.documents().unwrap().is_empty() && hub.set_aside_count().unwrap() == 0);
}

#[test]
fn a_roster_that_is_none_or_too_long_is_told() {
    let (ines, _a) = node("Ines");
    let (hub, _b) = node("hub");
    let head = [MAGIC.as_slice(), &[VERSION], &ines.key().to_bytes()].concat();
    for (length, text, said) in
        [(9_u32 << 20, "", "8388608 is the most"), (3, "[7]", "is not taken"), (3, "{}?", "is not")]
    {
        let bytes = [&head[..], &length.to_le_bytes(), text.as_bytes()].concat();
        let refused = taken(&hub, &bytes).unwrap_err();
        assert!(refused.to_string().contains(said), "{refused}");
    }
}
