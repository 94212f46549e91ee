//! What keeping costs: opening a visit, listing five hundred, bytes on disk, memory of a node.

use std::hint::black_box;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

use automerge::Automerge;
use guyline_core::record::{Document, DocumentId};
use guyline_hub::Node;
use guyline_hub::desk;
use guyline_hub::http::Listening;
use serde_json::json;

use crate::{Row, median, papers};

const ROUNDS: usize = 20;
const LISTED: usize = 500;
const SIZED: usize = 100;
const HELD: usize = 10_000;
/// The child that holds a node and says how much memory it has: this program with this argument.
pub(crate) const HOLD: &str = "hold";

fn saved(node: &Node, session: DocumentId) -> Vec<u8> {
    node.with_document(session, Document::saved).expect("it is here")
}

/// A visit of 60 readings opened by a node that was just started, against automerge loading it.
pub(crate) fn open() -> Row {
    let folder = tempfile::tempdir().expect("a folder for the bench");
    let node = Node::open(folder.path()).expect("a fresh store opens");
    let session = papers::shop_site_and_sessions(&node, 1)[0];
    papers::full_visit(&node, session);
    let saved = saved(&node, session);
    // As the window does when it is closed, and the program when nobody works for a while.
    node.rest().expect("there is room");
    drop(node);
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        let node = Node::open(folder.path()).expect("it opens again");
        let start = Instant::now();
        node.with_document(session, |_| ()).expect("it is here");
        ours.push(start.elapsed());
        let start = Instant::now();
        black_box(Automerge::load(&saved).expect("it was saved"));
        theirs.push(start.elapsed());
    }
    let measured = median(ours).as_secs_f64() / median(theirs).as_secs_f64();
    Row { name: "open", measured, goal: 1.5 }
}

/// The Today screen of a node that was just started and holds 500 visits, against automerge
/// loading their documents.
pub(crate) async fn list() -> Row {
    let folder = tempfile::tempdir().expect("a folder for the bench");
    let node = Node::open(folder.path()).expect("a fresh store opens");
    let sessions = papers::shop_site_and_sessions(&node, LISTED);
    for &session in &sessions {
        papers::fill(&node, session);
    }
    let forms: Vec<Vec<u8>> = sessions.iter().map(|session| saved(&node, *session)).collect();
    desk::call(&node, "today", json!({})).await.expect("it lists");
    drop(node);
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    for _ in 0..5 {
        let node = Node::open(folder.path()).expect("it opens again");
        let start = Instant::now();
        let today = desk::call(&node, "today", json!({})).await.expect("it lists");
        ours.push(start.elapsed());
        assert_eq!(today["sessions"].as_array().map(Vec::len), Some(LISTED));
        let start = Instant::now();
        for form in &forms {
            black_box(Automerge::load(form).expect("it was saved"));
        }
        theirs.push(start.elapsed());
    }
    let measured = median(ours).as_secs_f64() / median(theirs).as_secs_f64();
    Row { name: "list", measured, goal: 0.1 }
}

/// Bytes on disk of 100 visits of 60 readings that another node holds too, with everything that is
/// kept about them, against what automerge saves.
pub(crate) async fn size() -> Row {
    let folder = tempfile::tempdir().expect("a folder for the bench");
    let giver = Node::open(&folder.path().join("giver")).expect("a fresh store opens");
    let sessions = papers::shop_site_and_sessions(&giver, SIZED);
    let taken = folder.path().join("taker");
    let taker = Node::open(&taken).expect("a fresh store opens");
    let listening = Listening::start(&giver, "127.0.0.1:0").await.expect("loopback is free");
    sessions.iter().for_each(|session| papers::full_visit(&giver, *session));
    taker.exchange_with(listening.address()).await.expect("the exchange works");
    desk::call(&taker, "today", json!({})).await.expect("it lists");
    taker.compact().expect("there is room");
    let empty = folder.path().join("empty");
    Node::open(&empty).expect("a fresh store opens").compact().expect("there is room");
    listening.stop().await;
    let documents = taker.documents().expect("they are here");
    let saved: usize = documents.iter().map(|id| saved(&taker, *id).len()).sum();
    let measured = (bytes(&taken) - bytes(&empty)) as f64 / saved as f64;
    Row { name: "size", measured, goal: 1.3 }
}

fn bytes(dir: &Path) -> u64 {
    std::fs::metadata(dir.join("node.sqlite")).expect("it is there").len()
}

/// Memory of a process that holds a node with 10 000 visits and has listed them, in MB.
pub(crate) fn memory() -> Row {
    let folder = tempfile::tempdir().expect("a folder for the bench");
    let node = Node::open(folder.path()).expect("a fresh store opens");
    papers::shop_site_and_sessions(&node, HELD);
    drop(node);
    let program = std::env::current_exe().expect("this program has a path");
    let said = Command::new(program).arg(HOLD).arg(folder.path()).output().expect("it starts");
    let text = String::from_utf8_lossy(&said.stdout);
    let kilobytes: f64 = text.trim().parse().expect("it says how much it has");
    Row { name: "memory", measured: kilobytes / 1_000.0, goal: 80.0 }
}

/// What the child does: opens the node, lists its visits, and says how much memory it has in kB.
pub(crate) async fn hold(dir: &Path) {
    let node = Node::open(dir).expect("it opens");
    let today = desk::call(&node, "today", json!({})).await.expect("it lists");
    assert_eq!(today["sessions"].as_array().map(Vec::len), Some(HELD));
    drop(today);
    let status = std::fs::read_to_string("/proc/self/status").expect("Linux says");
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).expect("it says so");
    println!("{}", line.trim_start_matches("VmRSS:").trim_end_matches("kB").trim());
}
