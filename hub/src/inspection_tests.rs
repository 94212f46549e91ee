//! Goal: nothing that changes on disk goes unnoticed. Method: one thing is damaged at a time,
//! through the engine, in a store that was sound a moment before.

use crate::Node;
use crate::fixture::{id, note, session};

fn sound() -> (tempfile::TempDir, Node) {
    let folder = tempfile::tempdir().unwrap();
    let node = Node::open(folder.path()).unwrap();
    for n in 1..=3 {
        let (document, change) = session(n);
        node.create(document, change).unwrap();
        let edit = note("a", "it rained");
        node.edit(id(n), |document| document.apply(&edit, &crate::fixture::author()))
            .unwrap()
            .unwrap();
    }
    (folder, node)
}

#[test]
fn a_sound_store_has_nothing_to_say() {
    let (_folder, node) = sound();
    let found = node.inspect().unwrap();
    assert_eq!((found.documents, found.changes, found.set_aside), (3, 6, 0));
    assert_eq!(found.problems, []);
}

#[test]
fn a_damaged_key_is_found_at_each_document_its_device_wrote() {
    let (folder, node) = sound();
    node.lock().sqlite().execute("UPDATE author SET key = zeroblob(32)", []).unwrap();
    drop(node);
    let found = Node::open(folder.path()).unwrap().inspect().unwrap().problems;
    assert_eq!(found.len(), 3, "{found:?}");
    assert!(found.iter().all(|problem| problem.found.contains("a seal on")), "{found:?}");
}

#[test]
fn each_damage_is_found_and_its_document_named() {
    let table = [
        ("UPDATE change SET bytes = zeroblob(length(bytes)) WHERE position = 4", "is damaged"),
        ("UPDATE change SET hash = zeroblob(32) WHERE position = 3", "is damaged"),
        ("DELETE FROM change WHERE position = 4", "do not lead to its newest"),
        ("DELETE FROM change WHERE position = 3", "causes are missing"),
        ("UPDATE document SET heads = zeroblob(32) WHERE hex(id) LIKE '02%'", "do not lead to its"),
        ("UPDATE author_seal SET hash = zeroblob(32) WHERE hex(document) LIKE '02%'", "a seal on"),
        ("UPDATE author_seal SET sequence = 9 WHERE hex(document) LIKE '02%'", "a seal on"),
        ("DELETE FROM author_seal WHERE hex(document) LIKE '02%'", "have no seal"),
        ("DELETE FROM document WHERE hex(id) LIKE '02%'", "nothing says where they lead"),
    ];
    for (damage, said) in table {
        let (folder, node) = sound();
        assert!(node.lock().sqlite().execute(damage, []).unwrap() > 0, "{damage}");
        drop(node);
        let found = Node::open(folder.path()).unwrap().inspect().unwrap().problems;
        assert_eq!(found.len(), 1, "{damage}: {found:?}");
        assert_eq!(found[0].document, Some(id(2).to_string()), "{damage}");
        assert!(found[0].found.contains(said), "{damage}: {}", found[0].found);
    }
}
