//! Goal: a hub that moved into a database is the same hub: same node, same log, same word to every
//! peer, so that nobody sends again what it has. Method: a hub in a folder that met a device, some
//! of it folded; moved by the program; and met again.

use std::process::Command;

use automerge::ActorId;
use guyline_core::record::{Document, DocumentId, SessionEdit};
use guyline_hub::Node;
use guyline_tests::{author, built};

use crate::fresh;

fn begin(node: &Node, n: u8, notes: usize) {
    let (id, site) = (DocumentId::from_bytes([n; 16]), DocumentId::from_bytes([0; 16]));
    let made =
        Document::create_session(id, site, "lookout-vhf", "WO 1", ActorId::random(), &author());
    let (document, change) = made.unwrap();
    node.create(document, change).unwrap();
    for number in 0..notes {
        let text = "it rained".to_owned();
        let edit = SessionEdit::AddNote { id: format!("note-{number}"), text };
        node.edit(id, |document| document.apply(&edit, &author())).unwrap().unwrap();
    }
}

fn level(one: &Node, other: &Node) -> (u64, u64) {
    let report = one.exchange_by("hub", true, |body| other.answer(body)).unwrap();
    (report.sent_changes, report.received_changes)
}

fn program(words: &[&str], folder: &std::path::Path, more: &[&str]) -> (bool, String) {
    let run =
        Command::new(built("guyline")).args(words).arg("--data").arg(folder).args(more).output();
    let said = run.expect("the program starts");
    let text = [said.stdout, said.stderr].concat();
    (said.status.success(), String::from_utf8(text).unwrap())
}

#[test]
fn a_hub_moved_into_a_database_goes_on_with_everybody_where_it_was() {
    let (server, url) = fresh();
    let (hub_dir, ines_dir) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let (hub, ines) = (Node::open(hub_dir.path()).unwrap(), Node::open(ines_dir.path()).unwrap());
    hub.set_name("hub").unwrap();
    begin(&hub, 1, 30);
    begin(&ines, 2, 20);
    assert_eq!(level(&ines, &hub), (21, 31));
    hub.compact().unwrap();
    begin(&hub, 3, 5);
    let (heads, position) = (hub.heads().unwrap(), hub.position().unwrap());
    let seals: Vec<_> = heads.keys().map(|id| hub.seals_of(*id).unwrap()).collect();
    drop(hub);
    let (done, said) = program(&["move"], hub_dir.path(), &["--postgres", &url]);
    assert!(done && said.contains("moved 58 changes of 3 documents"), "{said}");
    assert!(hub_dir.path().join("node.sqlite.moved").exists());

    let hub = Node::open(hub_dir.path()).unwrap();
    assert_eq!((hub.heads().unwrap(), hub.position().unwrap()), (heads.clone(), position));
    assert_eq!(heads.keys().map(|id| hub.seals_of(*id).unwrap()).collect::<Vec<_>>(), seals);
    assert_eq!(hub.inspect().unwrap().problems, []);
    assert_eq!(level(&ines, &hub), (0, 6), "only what came since");
    begin(&ines, 4, 0);
    assert_eq!(level(&ines, &hub), (1, 0));
    drop(hub);

    // What works on a folder's files says where the store is, and what does not, goes on working.
    let other = server.database("other");
    let passphrase = hub_dir.path().join("passphrase");
    std::fs::write(&passphrase, "a passphrase of the test\n").unwrap();
    let passphrase = passphrase.to_str().unwrap();
    for (words, more) in [
        (vec!["move"], vec!["--postgres", other.as_str()]),
        (vec!["backup"], vec!["copy.sqlite"]),
        (vec!["repair"], vec![]),
        (vec!["encrypt", "on"], vec!["--passphrase-file", passphrase]),
    ] {
        let (done, said) = program(&words, hub_dir.path(), &more);
        assert!(!done, "{words:?}: {said}");
        assert!(said.contains("not in it but in a database"), "{words:?}: {said}");
        assert!(said.contains("pg_dump"), "{words:?}: {said}");
    }
    let (done, said) = program(&["inspect"], hub_dir.path(), &[]);
    assert!(done, "{said}");
    let (done, said) = program(&["compact"], hub_dir.path(), &[]);
    assert!(done, "{said}");
}

#[test]
fn a_database_with_another_store_in_it_is_left_as_it_is() {
    let (_server, url) = fresh();
    let folders = [tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap()];
    for folder in &folders {
        begin(&Node::open(folder.path()).unwrap(), 1, 3);
    }
    let (done, said) = program(&["move"], folders[0].path(), &["--postgres", &url]);
    assert!(done, "{said}");
    let (done, said) = program(&["move"], folders[1].path(), &["--postgres", &url]);
    assert!(!done && said.contains("another store") && said.contains("createdb"), "{said}");
    assert!(!said.contains("panicked"), "{said}");
    let node = Node::open(folders[1].path()).unwrap();
    assert_eq!(node.position().unwrap(), 4, "it is where it was");
}

#[test]
fn a_move_that_broke_off_before_the_folder_said_so_is_ended_by_the_next() {
    let (_server, url) = fresh();
    let folder = tempfile::tempdir().unwrap();
    begin(&Node::open(folder.path()).unwrap(), 1, 3);
    let (done, said) = program(&["move"], folder.path(), &["--postgres", &url]);
    assert!(done, "{said}");
    std::fs::remove_file(folder.path().join("store.toml")).unwrap();
    std::fs::rename(folder.path().join("node.sqlite.moved"), folder.path().join("node.sqlite"))
        .unwrap();
    let (done, said) = program(&["move"], folder.path(), &["--postgres", &url]);
    assert!(done && said.contains("moved 4 changes"), "{said}");
    assert_eq!(Node::open(folder.path()).unwrap().position().unwrap(), 4);
}
