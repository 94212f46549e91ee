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
    let repaired = repair(folder.path(), None).unwrap();
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
    let repaired = repair(folder.path(), None).unwrap();
    assert_eq!(repaired.documents, 4);
    let [lost] = repaired.lost.as_slice() else { panic!("{:?}", repaired.lost) };
    assert_eq!((lost.document, lost.changes.len(), lost.whole), (id(2), 1, false));
    assert_eq!(lost.waiting, 11, "the ones after it");
    assert_eq!(repaired.changes, 84 - 12);
    let node = Node::open(folder.path()).unwrap();
    assert_eq!(node.inspect().unwrap().problems, []);
    assert_eq!(lost.still(&node).unwrap().as_ref(), Some(lost));
    drop(node);
    let repaired = repair(folder.path(), Some(&copy)).unwrap();
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
    let unpacked = unpack(folder.path(), &file).unwrap().expect("its own key sealed it");
    let repaired = repair(folder.path(), Some(&unpacked.copy())).unwrap();
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
    assert!(unpack(folder.path(), &stick).unwrap().is_none(), "another key sealed it");
    let repaired = repair(folder.path(), None).unwrap();
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
    let refused = unpack(folder.path(), &file).unwrap_err();
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
    let repaired = repair(folder.path(), None).unwrap();
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
    let repaired = repair(other.path(), None).unwrap();
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
    let repaired = repair(folder.path(), None).unwrap();
    assert_eq!(repaired.lost, []);
    assert_eq!(Node::open(folder.path()).unwrap().heads().unwrap(), heads);
}

#[test]
fn what_is_no_store_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = store::file(folder.path());
    std::fs::write(&path, Seeded(1).bytes(50_000)).unwrap();
    let error = repair(folder.path(), None).unwrap_err();
    assert!(matches!(error, RepairError::Nothing { .. }), "{error}");
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 2, "the file and the lock");
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
        std::fs::write(store::file(other.path()), file).unwrap();
        let repaired = repair(other.path(), None).unwrap();
        let node = Node::open(other.path()).unwrap();
        assert_eq!(node.inspect().unwrap().problems, [], "round {round}");
        let here = node.heads().unwrap();
        for (id, heads) in &heads {
            let told = repaired.lost.iter().any(|lost| lost.document == *id);
            // A document whose every page is gone leaves no trace that could be told.
            let gone = here.get(id) != Some(heads);
            assert!(told || !gone || here.len() + repaired.lost.len() < 4, "round {round}: {id}");
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
