//! Goal: what is intact comes back, what is not is named, and the damaged files stay as they were.
//! Method: stores with rows, saved forms and an open log, damaged at one place or at random.

use super::*;
use crate::fixture::{Seeded, author, id, note, session, session_with_notes};
use crate::store::backup;

/// A store with four visits of twenty notes, two of them long, and what it holds.
fn sound() -> (tempfile::TempDir, BTreeMap<DocumentId, Vec<ChangeHash>>) {
    let folder = tempfile::tempdir().unwrap();
    let node = Node::open(folder.path()).unwrap();
    node.set_name("Ines's tablet").unwrap();
    node.set_person("ines").unwrap();
    for n in 1..=4 {
        let (document, change) = session(n);
        node.create(document, change).unwrap();
        for number in 0..20 {
            let text = "rain ".repeat(if n > 2 { 700 } else { 1 });
            let edit = note(&format!("n{number}"), &text);
            node.edit(id(n), |document| document.apply(&edit, &author())).unwrap().unwrap();
        }
    }
    let heads = node.heads().unwrap();
    drop(node);
    (folder, heads)
}

fn damage(dir: &Path, sql: &str) {
    let connection = rusqlite::Connection::open(store::file(dir)).unwrap();
    assert!(connection.execute(sql, []).unwrap() > 0, "{sql}");
}

fn spoil_form(dir: &Path, document: &str) {
    let sql = format!(
        "UPDATE piece SET bytes = zeroblob(50) WHERE place / 4096 = \
         (SELECT upto FROM saved WHERE hex(document) LIKE '{document}%')"
    );
    damage(dir, &sql);
}

#[test]
fn a_sound_store_comes_back_whole_and_is_another_store_of_the_same_node() {
    let (folder, heads) = sound();
    let before = std::fs::read(store::file(folder.path())).unwrap();
    let card = Node::open(folder.path()).unwrap().lock().store.card().clone();
    let repaired = repair(folder.path(), None, None).unwrap();
    assert_eq!((repaired.documents, repaired.changes, repaired.same_node), (4, 84, true));
    assert_eq!(repaired.lost, []);
    assert_eq!(repaired.aside, folder.path().join("damaged-1"));
    assert!(std::fs::read(repaired.aside.join("node.sqlite")).unwrap() == before);
    let node = Node::open(folder.path()).unwrap();
    assert_eq!(node.heads().unwrap(), heads);
    assert_eq!(node.inspect().unwrap().problems, []);
    assert_eq!(node.person().unwrap().as_deref(), Some("ines"));
    let now = node.lock().store.card().clone();
    assert_eq!((now.node, &now.name), (card.node, &card.name));
    assert_ne!(now.store, card.store);
    assert!(!folder.path().join("repair.unfinished").exists());
}

#[test]
fn a_damaged_change_is_named_with_what_waits_for_it_and_a_copy_brings_it_back() {
    let (folder, heads) = sound();
    let copy = folder.path().join("copy");
    backup(folder.path(), &copy, None).unwrap();
    // The saved form would give it back: it goes too.
    spoil_form(folder.path(), "02");
    let rot = "UPDATE change SET bytes = zeroblob(length(bytes)) WHERE position = 31";
    damage(folder.path(), rot);
    let repaired = repair(folder.path(), None, None).unwrap();
    assert_eq!(repaired.documents, 4);
    let [lost] = repaired.lost.as_slice() else { panic!("{:?}", repaired.lost) };
    assert_eq!((lost.document, lost.changes.len(), lost.whole), (id(2), 1, false));
    assert_eq!(lost.waiting, 11, "the ones after it");
    assert_eq!(repaired.changes, 84 - 12);
    let node = Node::open(folder.path()).unwrap();
    assert_eq!(node.inspect().unwrap().problems, []);
    assert_eq!(lost.still(&node).unwrap().as_ref(), Some(lost));
    drop(node);
    let repaired = repair(folder.path(), Some(&copy), None).unwrap();
    assert_eq!((repaired.lost, repaired.from_copy), (Vec::new(), 12));
    assert_eq!(Node::open(folder.path()).unwrap().heads().unwrap(), heads);
    assert!(folder.path().join("damaged-2").exists());
}

fn bundled(node: &Node, to: &Path) {
    bundle::write(node, &mut File::create(to).unwrap()).unwrap();
}

fn spoil_third(dir: &Path) {
    let rot = "UPDATE change SET bytes = zeroblob(9) WHERE hex(document) LIKE '03%'";
    damage(dir, rot);
    spoil_form(dir, "03");
}

#[test]
fn a_bundle_this_device_wrote_brings_back_what_it_holds() {
    let (folder, heads) = sound();
    let file = folder.path().join("stick");
    bundled(&Node::open(folder.path()).unwrap(), &file);
    spoil_third(folder.path());
    let unpacked = unpack(folder.path(), &file, None).unwrap().expect("its own key sealed it");
    let repaired = repair(folder.path(), Some(&unpacked.copy()), None).unwrap();
    assert_eq!((repaired.from_copy, repaired.same_node), (21, true));
    assert_eq!(repaired.lost, []);
    drop(unpacked);
    assert!(!folder.path().join("repair.bundle").exists());
    assert_eq!(Node::open(folder.path()).unwrap().heads().unwrap(), heads);
}

#[test]
fn a_bundle_of_another_device_is_taken_by_the_repaired_node() {
    let (folder, heads) = sound();
    let (other, stick) = (tempfile::tempdir().unwrap(), folder.path().join("stick"));
    let theirs = Node::open(other.path()).unwrap();
    bundled(&Node::open(folder.path()).unwrap(), &stick);
    bundle::take(&theirs, &mut File::open(&stick).unwrap()).unwrap();
    bundled(&theirs, &stick);
    spoil_third(folder.path());
    assert!(unpack(folder.path(), &stick, None).unwrap().is_none(), "another key sealed it");
    let repaired = repair(folder.path(), None, None).unwrap();
    let [lost] = repaired.lost.as_slice() else { panic!("{:?}", repaired.lost) };
    let node = Node::open(folder.path()).unwrap();
    assert_eq!(lost.still(&node).unwrap().as_ref(), Some(lost));
    let taken = bundle::take(&node, &mut File::open(&stick).unwrap()).unwrap();
    assert_eq!((taken.taken, taken.set_aside), (21, 0));
    assert_eq!(lost.still(&node).unwrap(), None);
    assert_eq!(node.heads().unwrap(), heads);
}

#[test]
fn a_bundle_that_is_cut_off_changes_nothing() {
    let (folder, _) = sound();
    let file = folder.path().join("stick");
    bundled(&Node::open(folder.path()).unwrap(), &file);
    spoil_third(folder.path());
    let before = std::fs::read(store::file(folder.path())).unwrap();
    let whole = std::fs::read(&file).unwrap();
    std::fs::write(&file, &whole[..whole.len() - 1]).unwrap();
    let refused = unpack(folder.path(), &file, None).unwrap_err();
    assert!(matches!(refused, RepairError::Bundle(BundleRefused::Incomplete { .. })), "{refused}");
    assert!(std::fs::read(store::file(folder.path())).unwrap() == before);
    assert!(!folder.path().join("repair.bundle").exists());
}

#[test]
fn a_document_of_which_nothing_is_left_is_named() {
    let (folder, _) = sound();
    let rot = "UPDATE change SET bytes = zeroblob(9) WHERE hex(document) LIKE '03%'";
    damage(folder.path(), rot);
    spoil_form(folder.path(), "03");
    let repaired = repair(folder.path(), None, None).unwrap();
    let [lost] = repaired.lost.as_slice() else { panic!("{:?}", repaired.lost) };
    assert_eq!((lost.document, lost.whole), (id(3), true));
}

#[test]
fn work_in_the_log_comes_back_too() {
    let (folder, _) = sound();
    let node = Node::open(folder.path()).unwrap();
    let edit = note("late", "it rained");
    node.edit(id(1), |document| document.apply(&edit, &author())).unwrap().unwrap();
    let heads = node.heads().unwrap();
    // As after a power cut: the files while the node is open.
    let other = tempfile::tempdir().unwrap();
    for name in ["node.sqlite", "node.sqlite-wal"] {
        std::fs::copy(folder.path().join(name), other.path().join(name)).unwrap();
    }
    drop(node);
    let repaired = repair(other.path(), None, None).unwrap();
    assert_eq!((repaired.changes, repaired.lost), (85, Vec::new()));
    assert_eq!(Node::open(other.path()).unwrap().heads().unwrap(), heads);
}

#[test]
fn a_store_without_a_readable_tree_comes_back() {
    let (folder, heads) = sound();
    let path = store::file(folder.path());
    let mut file = std::fs::read(&path).unwrap();
    // The first page is the tree of all trees.
    file[..4_096].fill(0);
    std::fs::write(&path, file).unwrap();
    assert!(Node::open(folder.path()).is_err());
    let repaired = repair(folder.path(), None, None).unwrap();
    assert_eq!(repaired.lost, []);
    assert_eq!(Node::open(folder.path()).unwrap().heads().unwrap(), heads);
}

#[test]
fn what_is_no_store_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = store::file(folder.path());
    std::fs::write(&path, Seeded(1).bytes(50_000)).unwrap();
    let error = repair(folder.path(), None, None).unwrap_err();
    assert!(matches!(error, RepairError::Nothing { .. }), "{error}");
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 2, "the file and the lock");
}

#[test]
fn what_others_sealed_comes_back_with_their_seals() {
    let (tablet, hub) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let (from, node) = (Node::open(tablet.path()).unwrap(), Node::open(hub.path()).unwrap());
    let (document, first) = session(5);
    from.create(document, first).unwrap();
    from.edit(id(5), |document| document.apply(&note("a", "it rained"), &author()))
        .unwrap()
        .unwrap();
    from.exchange_by("the hub", true, |body| node.answer(body)).unwrap();
    let seals = node.seals_of(id(5)).unwrap();
    assert_eq!(seals, from.seals_of(id(5)).unwrap());
    assert!(seals.iter().any(|seal| seal.key == from.key().to_bytes()));
    drop((from, node));
    repair(hub.path(), None, None).unwrap();
    let node = Node::open(hub.path()).unwrap();
    // Beside them stands its own, on what is nobody's.
    let back = node.seals_of(id(5)).unwrap();
    assert!(seals.iter().all(|seal| back.contains(seal)));
    assert_eq!(node.set_aside_count().unwrap(), 0);
}

/// Pages at random are noise: whatever comes back is true, whatever is missing is told.
#[test]
fn any_pages_may_be_gone() {
    let (folder, heads) = sound();
    let path = store::file(folder.path());
    let whole = std::fs::read(&path).unwrap();
    let mut chance = Seeded(5);
    for round in 0..60 {
        let mut file = whole.clone();
        for _ in 0..=round % 4 {
            let page = chance.below(file.len() / 4_096) * 4_096;
            let noise = chance.bytes(4_096);
            file[page..page + 4_096].copy_from_slice(&noise);
        }
        let other = tempfile::tempdir().unwrap();
        std::fs::write(store::file(other.path()), &file).unwrap();
        let repaired = repair(other.path(), None, None).unwrap();
        let node = Node::open(other.path()).unwrap();
        assert_eq!(node.inspect().unwrap().problems, [], "round {round}");
        let here = node.heads().unwrap();
        for (id, heads) in &heads {
            let told = repaired.lost.iter().any(|lost| lost.document == *id);
            let gone = here.get(id) != Some(heads);
            // Where no leaf is left that names its newest change, nothing could tell of it.
            let names = |page: &[u8]| page.windows(32).any(|bytes| bytes == heads[0].0);
            let traced = file.chunks(4_096).any(|page| [10, 13].contains(&page[0]) && names(page));
            assert!(told || !gone || !traced, "round {round}: {id}");
        }
    }
}

#[test]
fn causes_come_before_effects() {
    let (_, changes) = session_with_notes(1, 9);
    let all: BTreeMap<_, _> = changes.iter().map(|c| (c.hash(), c.clone())).collect();
    assert_eq!(in_order(&all), (changes.clone(), BTreeSet::new()));
    let mut gap = all.clone();
    gap.remove(&changes[4].hash());
    let (order, missing) = in_order(&gap);
    assert_eq!((order, missing), (changes[..4].to_vec(), BTreeSet::from([changes[4].hash()])));
}

/// Cheap to try, since each opening tries it.
const CHEAP: at_rest::Cost = at_rest::Cost { memory_kib: 64, passes: 1, lanes: 1 };

/// An encrypted store and what it holds. Its engine's log is in its file.
fn encrypted() -> (tempfile::TempDir, Passphrase, BTreeMap<DocumentId, Vec<ChangeHash>>) {
    let (folder, heads) = sound();
    let passphrase = Passphrase::new("four words in the rain").unwrap();
    at_rest::switch::on(folder.path(), &passphrase, CHEAP).unwrap();
    (folder, passphrase, heads)
}

#[test]
fn an_encrypted_store_comes_back_encrypted_and_to_nobody_without_its_passphrase() {
    let (folder, passphrase, heads) = encrypted();
    let error = repair(folder.path(), None, None).unwrap_err();
    assert!(error.to_string().contains("is encrypted"), "{error}");
    let other = Passphrase::new("other words in the sun").unwrap();
    let error = repair(folder.path(), None, Some(&other)).unwrap_err();
    assert!(error.to_string().contains("does not open"), "{error}");
    let repaired = repair(folder.path(), None, Some(&passphrase)).unwrap();
    assert_eq!((repaired.documents, repaired.changes, repaired.lost), (4, 84, Vec::new()));
    let file = std::fs::read(store::file(folder.path())).unwrap();
    assert!(!file.starts_with(b"SQLite"), "the new one is encrypted");
    assert!(!file.windows(9).any(|bytes| bytes == b"rain rain"), "and says nothing");
    let node = Node::unlock(folder.path(), &passphrase).unwrap();
    assert_eq!(node.heads().unwrap(), heads);
    assert_eq!(node.inspect().unwrap().problems, []);
}

#[test]
fn what_the_engine_had_in_its_log_of_an_encrypted_store_is_read_too() {
    let (folder, passphrase, _) = encrypted();
    let node = Node::unlock(folder.path(), &passphrase).unwrap();
    let edit = note("late", "written just before the power went");
    node.edit(id(1), |document| document.apply(&edit, &author())).unwrap().unwrap();
    let heads = node.heads().unwrap();
    let other = tempfile::tempdir().unwrap();
    for name in ["node.sqlite", "node.sqlite-wal", "node.encryption", "device.key"] {
        std::fs::copy(folder.path().join(name), other.path().join(name)).unwrap();
    }
    let repaired = repair(other.path(), None, Some(&passphrase)).unwrap();
    assert_eq!((repaired.changes, repaired.lost), (85, Vec::new()));
    assert_eq!(Node::unlock(other.path(), &passphrase).unwrap().heads().unwrap(), heads);
}

/// Of an encrypted store as of any other: also where the engine cannot open it at all, since the
/// first page is gone.
#[test]
fn any_pages_of_an_encrypted_store_may_be_gone_and_a_copy_brings_back_the_rest() {
    let (folder, passphrase, heads) = encrypted();
    let path = store::file(folder.path());
    let copy = folder.path().join("copy");
    let keys = Keys::of(folder.path(), Some(&passphrase)).unwrap();
    backup(folder.path(), &copy, keys.as_ref()).unwrap();
    let whole = std::fs::read(&path).unwrap();
    let mut chance = Seeded(6);
    let mut missing = 0;
    for round in 0..12 {
        let mut file = whole.clone();
        let page = if round == 0 { 0 } else { chance.below(file.len() / 4_096) * 4_096 };
        let noise = chance.bytes(4_096);
        file[page..page + 4_096].copy_from_slice(&noise);
        let other = tempfile::tempdir().unwrap();
        std::fs::write(store::file(other.path()), file).unwrap();
        for name in ["node.encryption", "device.key"] {
            std::fs::copy(folder.path().join(name), other.path().join(name)).unwrap();
        }
        if round == 0 {
            assert!(Node::unlock(other.path(), &passphrase).is_err(), "its first page is noise");
        }
        let repaired = repair(other.path(), None, Some(&passphrase)).unwrap();
        missing += repaired.lost.len();
        let node = Node::unlock(other.path(), &passphrase).unwrap();
        assert_eq!(node.inspect().unwrap().problems, [], "round {round}");
        drop(node);
        let repaired = repair(other.path(), Some(&copy), Some(&passphrase)).unwrap();
        assert_eq!(repaired.lost, [], "round {round}");
        let node = Node::unlock(other.path(), &passphrase).unwrap();
        assert_eq!(node.heads().unwrap(), heads, "round {round}");
    }
    assert!(missing > 0, "some page held something");
}
