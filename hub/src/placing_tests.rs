//! Goal: what is kept as it came is on disk and acknowledged, is seen by whoever looks, is passed
//! on only from its place, and is told of where it is damaged. Method: two or three nodes that
//! talk body by body, of which some keep all that comes.

use automerge::ActorId;
use guyline_core::record::{Document, DocumentId};
use tempfile::TempDir;

use crate::Node;
use crate::fixture::{author, id, note};
use crate::sync::ExchangeReport;

fn node(keeping_from: usize) -> (Node, TempDir) {
    let folder = tempfile::tempdir().unwrap();
    (Node::open(folder.path()).unwrap().keeping_from(keeping_from), folder)
}

fn begin(node: &Node, n: u8) {
    let made = Document::create_session(id(n), id(0), "r", "WO", ActorId::random(), &author());
    let (document, change) = made.unwrap();
    node.create(document, change).unwrap();
}

fn write(node: &Node, n: u8, named: &str) {
    let edit = note(named, "it rained");
    node.edit(id(n), |document| document.apply(&edit, &author())).unwrap().unwrap();
}

fn notes(node: &Node, n: u8) -> Vec<String> {
    let look = |document: &Document| document.session().unwrap().notes.keys().cloned().collect();
    node.with_document(id(n), look).unwrap()
}

fn exchange(caller: &Node, answerer: &Node, address: &str) -> ExchangeReport {
    caller.exchange_by(address, true, |body| answerer.answer(body)).unwrap()
}

fn waiting(node: &Node) -> u64 {
    node.lock_as_it_is().arrivals()
}

fn documents_in_place(node: &Node) -> Vec<DocumentId> {
    node.lock_as_it_is().store.heads().keys().copied().collect()
}

#[test]
fn what_came_is_acknowledged_survives_a_restart_and_is_seen_by_who_looks() {
    let ((tablet, _tablet), (hub, folder)) = (node(256), node(0));
    begin(&tablet, 1);
    write(&tablet, 1, "a");
    let report = exchange(&tablet, &hub, "the hub");
    assert_eq!((report.sent_changes, waiting(&hub)), (2, 1));
    assert_eq!(documents_in_place(&hub), [], "it lies as it came");
    assert_eq!(tablet.only_here().unwrap(), 0, "and is acknowledged");
    drop(hub);
    let hub = Node::open(folder.path()).unwrap();
    assert_eq!(waiting(&hub), 1, "on disk");
    assert_eq!(notes(&hub, 1), ["a"]);
    assert_eq!((waiting(&hub), hub.set_aside_count().unwrap()), (0, 0));
    assert_eq!(hub.inspect().unwrap().problems, []);
    let again = exchange(&tablet, &hub, "the hub");
    assert_eq!((again.sent_changes, again.received_changes), (0, 0), "nothing is said twice");
}

#[test]
fn what_comes_after_something_that_waits_waits_behind_it() {
    let ((tablet, _tablet), (hub, _hub)) = (node(256), node(3));
    begin(&tablet, 1);
    write(&tablet, 1, "a");
    write(&tablet, 1, "b");
    exchange(&tablet, &hub, "the hub");
    assert_eq!(waiting(&hub), 1);
    write(&tablet, 1, "c");
    exchange(&tablet, &hub, "the hub");
    assert_eq!(waiting(&hub), 2, "one change, and it builds on what waits");
    assert_eq!(notes(&hub, 1), ["a", "b", "c"]);
    assert_eq!(hub.set_aside_count().unwrap(), 0);
    write(&tablet, 1, "d");
    exchange(&tablet, &hub, "the hub");
    assert_eq!(waiting(&hub), 0, "little is put in its place at once");
}

#[test]
fn what_waits_is_passed_on_from_its_place_and_the_next_call_brings_it() {
    let ((ines, _ines), (hub, _hub), (tobias, _tobias)) = (node(256), node(0), node(256));
    begin(&ines, 1);
    exchange(&ines, &hub, "the hub");
    let report = exchange(&tobias, &hub, "the hub");
    assert_eq!(report.received_changes, 0, "whose it is was not looked at yet");
    assert_eq!(hub.documents().unwrap(), [id(1)]);
    let report = exchange(&tobias, &hub, "the hub");
    assert_eq!(report.received_changes, 1);
    assert_eq!(tobias.heads().unwrap(), ines.heads().unwrap());
    // Whoever calls passes on all that it holds.
    begin(&tobias, 2);
    exchange(&tobias, &hub, "the hub");
    exchange(&hub, &ines, "ines");
    assert_eq!(ines.heads().unwrap(), tobias.heads().unwrap());
}

#[test]
fn a_piece_that_is_damaged_is_told_of_and_comes_again() {
    let ((tablet, _tablet), (hub, _hub)) = (node(256), node(0));
    begin(&tablet, 1);
    exchange(&tablet, &hub, "the hub");
    let sql =
        "UPDATE arrival SET body = CAST(substr(body, 1, 40) || x'55' || substr(body, 42) AS BLOB)";
    hub.lock_as_it_is().sqlite().execute(sql, []).unwrap();
    let problems = |node: &Node| node.inspect().unwrap().problems;
    assert_eq!(hub.documents().unwrap(), []);
    let [told] = &problems(&hub)[..] else { panic!("one thing is wrong") };
    assert!(told.found.contains("pieces of other devices' logs are not what came"), "{told:?}");
    write(&tablet, 1, "a");
    exchange(&tablet, &hub, "the hub");
    // The first call brings word that nothing of it is here any more, and all of it at once.
    assert_eq!(notes(&hub, 1), ["a"]);
    assert_eq!(problems(&hub).len(), 1, "until it is repaired");
}

#[test]
fn a_list_of_pieces_that_is_not_what_was_written_is_never_written_over() {
    let ((tablet, _tablet), (hub, _hub)) = (node(256), node(0));
    begin(&tablet, 1);
    exchange(&tablet, &hub, "the hub");
    hub.lock_as_it_is().sqlite().execute("DELETE FROM arrival", []).unwrap();
    begin(&tablet, 2);
    let carried = tablet.exchange_by("the hub", true, |body| hub.answer(body));
    let refused = carried.expect_err("what is lost would go unseen");
    assert!(refused.to_string().contains("list of what arrived is not what was written"));
    assert!(!hub.inspect().unwrap().problems.is_empty());
}

#[test]
fn a_device_put_back_is_owed_what_it_gave_before() {
    let ((tablet, folder), (hub, _hub)) = (node(256), node(0));
    begin(&tablet, 1);
    exchange(&tablet, &hub, "the hub");
    drop(tablet);
    // Its disk is gone, and the same device begins again with nothing.
    std::fs::remove_file(folder.path().join("node.sqlite")).unwrap();
    let tablet = Node::open(folder.path()).unwrap();
    begin(&tablet, 2);
    exchange(&tablet, &hub, "the hub");
    assert_eq!(hub.documents().unwrap(), [id(1), id(2)]);
    exchange(&hub, &tablet, "the tablet");
    assert_eq!(tablet.documents().unwrap(), [id(1), id(2)]);
}
