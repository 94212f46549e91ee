//! Goal: the list is what reading every document anew gives, whatever is kept, and nothing stale or
//! damaged is ever shown. Method: a node with papers and visits; what is kept is thrown away, made
//! stale by an edit, or written over, and the list is compared with one made from nothing.

use automerge::ActorId;
use guyline_core::record::{Document, SessionEdit, Shop, Site};

use super::*;
use crate::fixture::{author, id};

fn papers_of_the_demo(node: &Node) {
    let read = |name: &str| {
        let path = format!("{}/../demo-data/{name}", env!("CARGO_MANIFEST_DIR"));
        std::fs::read_to_string(path).unwrap()
    };
    let shop: Shop = serde_json::from_str(&read("shop.json")).unwrap();
    let site: Site = serde_json::from_str(&read("site.json")).unwrap();
    let (document, change) =
        Document::create_shop(id(1), &shop, ActorId::random(), &author()).unwrap();
    node.create(document, change).unwrap();
    let (document, change) =
        Document::create_site(id(2), &site, ActorId::random(), &author()).unwrap();
    node.create(document, change).unwrap();
}

fn plan(node: &Node, n: u8, site: u8) {
    let made = Document::create_session(
        id(n),
        id(site),
        "lookout-vhf",
        "WO 1",
        ActorId::random(),
        &author(),
    );
    let (document, change) = made.unwrap();
    node.create(document, change).unwrap();
}

fn join(node: &Node, n: u8) {
    let edit = SessionEdit::JoinCrew;
    node.edit(id(n), |document| document.apply(&edit, &author())).unwrap().unwrap();
}

fn node() -> (tempfile::TempDir, Node) {
    let folder = tempfile::tempdir().unwrap();
    let node = Node::open(folder.path()).unwrap();
    papers_of_the_demo(&node);
    for n in 3..8 {
        plan(&node, n, 2);
    }
    // A visit whose site is not here.
    plan(&node, 9, 8);
    (folder, node)
}

/// The list, held against one made from nothing.
fn listed(node: &Node) -> Vec<SessionLine> {
    let with = list(node).unwrap();
    node.forget_summaries().unwrap();
    let without = list(node).unwrap();
    assert_eq!(with.sessions, without.sessions);
    assert_eq!(with.shop, without.shop);
    with.sessions
}

#[test]
fn the_list_is_the_same_with_and_without_what_is_kept() {
    let (folder, node) = node();
    let first = listed(&node);
    assert_eq!(first.len(), 6);
    assert_eq!(first.iter().filter(|line| line.unreadable.is_some()).count(), 1);
    assert_eq!(listed(&node), first);
    drop(node);
    let node = Node::open(folder.path()).unwrap();
    assert_eq!(list(&node).unwrap().sessions, first);
    // Two papers and five visits; what cannot be read is not kept.
    assert_eq!(node.summaries().unwrap().len(), 7);
}

#[test]
fn a_list_of_what_is_kept_reads_no_visit() {
    let (folder, node) = node();
    let first = list(&node).unwrap().sessions;
    drop(node);
    let node = Node::open(folder.path()).unwrap();
    // Were it read, it would be found damaged.
    let sql = "UPDATE change SET bytes = zeroblob(9) WHERE hex(document) LIKE '04%'";
    assert_eq!(node.lock().sqlite().execute(sql, []).unwrap(), 1);
    assert_eq!(list(&node).unwrap().sessions, first);
    node.forget_summaries().unwrap();
    let line = list(&node).unwrap().sessions.into_iter().find(|line| line.id == id(4).to_string());
    assert!(line.unwrap().unreadable.unwrap().contains("damaged"));
}

#[test]
fn a_line_goes_stale_with_its_session_its_site_and_its_shop() {
    let (_folder, node) = node();
    let before = listed(&node);
    list(&node).unwrap();
    join(&node, 5);
    let after = listed(&node);
    assert_ne!(after, before);
    for paper in [1, 2] {
        let kept = list(&node).map(|_| node.summaries().unwrap()).unwrap();
        let mut heads = node.heads().unwrap();
        let line = &kept[&id(5)];
        let said = read(line).unwrap();
        assert!(holds(&said, line, id(5), Some(id(1)), &heads));
        assert!(!holds(&said, line, id(5), None, &heads), "of no shop");
        heads.insert(id(paper), vec![ChangeHash([7; 32])]);
        assert!(!holds(&said, line, id(5), Some(id(1)), &heads), "paper {paper}");
    }
}

#[test]
fn a_line_that_was_written_over_is_not_shown() {
    let (_folder, node) = node();
    let before = list(&node).unwrap().sessions;
    for (what, sql) in [
        ("a word", "UPDATE summary SET said = replace(said, 'WO 1', 'WO 2')"),
        ("another's line", "UPDATE summary SET said = (SELECT max(said) FROM summary)"),
        ("no line", "UPDATE summary SET said = 'nothing'"),
        ("a digest", "UPDATE summary SET digest = zeroblob(16)"),
    ] {
        assert!(node.lock().sqlite().execute(sql, []).unwrap() > 0);
        assert_eq!(list(&node).unwrap().sessions, before, "{what}");
    }
}
