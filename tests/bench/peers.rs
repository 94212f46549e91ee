//! What a day's end costs next to two general-purpose sync peers: Yjs and automerge-repo, each with
//! the websocket and the storage of its own authors, in `peers/` beside this file.
//!
//! All do the work of `push`: twenty devices with 25 visits each, every entry an edit of its own,
//! brought to an empty server over loopback, eight at once, until the server has it on its disk;
//! next to automerge-repo, five visits each.
//!
//! Compared is the CPU both ends took for it, user and system, from the moment everything is made
//! and open. Ours is the whole product, with TLS, seals, flushes to the disk and what is derived
//! for the lists, until all is in its place at the hub; theirs have none of these. Their documents
//! are in the devices' memory already, ours on their disks.

use std::process::{Command, Stdio};
use std::time::Duration;

use guyline_tests::repository;
use serde_json::Value;

use crate::merging::{self, DEVICES, VISITS};
use crate::{Row, median};

/// A row: a peer, how many visits each of the devices brings, and how often.
struct Peer {
    row: &'static str,
    name: &'static str,
    visits: usize,
    rounds: usize,
    goal: f64,
}

const PEERS: [Peer; 2] = [
    Peer { row: "peers-yjs", name: "yjs", visits: VISITS, rounds: ROUNDS, goal: 1.0 / 15.0 },
    // A fifth of the work, for ours too: all of it takes this one many minutes.
    Peer {
        row: "peers-automerge-repo",
        name: "automerge-repo",
        visits: VISITS / 5,
        rounds: 1,
        goal: 1.0 / 200.0,
    },
];
const ROUNDS: usize = 3;
/// What a tick of `/proc` is on every Linux of ours (proc(5), `sysconf(_SC_CLK_TCK)`).
const TICKS_A_SECOND: u64 = 100;

/// These rows, where they are asked for by name: the peers are fetched from the network.
pub(crate) async fn rows(asked: &[String]) -> Vec<Row> {
    let is_asked = |peer: &&Peer| asked.iter().any(|name| name == peer.row);
    let peers: Vec<&Peer> = PEERS.iter().filter(is_asked).collect();
    if peers.is_empty() {
        return Vec::new();
    }
    let set_up = Command::new(repository().join(".ci/setup")).arg("peers").status();
    assert!(set_up.expect("it starts").success(), "the peers cannot be installed");
    let mut rows = Vec::new();
    for peer in peers {
        let ours = ours(peer.visits).await;
        let theirs = median((0..peer.rounds).map(|_| theirs(peer)).collect());
        eprintln!("{}: CPU of ours {ours:?}, of theirs {theirs:?}", peer.row);
        let measured = ours.as_secs_f64() / theirs.as_secs_f64();
        rows.push(Row { name: peer.row, measured, goal: peer.goal });
    }
    rows
}

async fn ours(visits: usize) -> Duration {
    let prepared = merging::prepare_with(visits).await;
    let folder = tempfile::tempdir().expect("a folder for the bench");
    let mut rounds = Vec::new();
    for round in 0..ROUNDS {
        let dir = folder.path().join(format!("round-{round}"));
        let brought = merging::bring(&dir, &prepared).await;
        brought.hub.share_no_more().await;
        rounds.push(brought.cpu);
    }
    eprintln!("ours, {DEVICES} devices with {visits} visits each: CPU {rounds:?}");
    median(rounds)
}

/// One peer doing it once, the server's storage counted afterwards by a process that opens it anew.
fn theirs(peer: &Peer) -> Duration {
    let script = repository().join("tests/bench/peers/run.mjs");
    let output = Command::new("node")
        .arg(script)
        .args([peer.name, &DEVICES.to_string(), &peer.visits.to_string()])
        .stderr(Stdio::inherit())
        .output()
        .expect("`.ci/setup` sees to a Node");
    assert!(output.status.success(), "{} failed; it says above why", peer.name);
    let said: Value = serde_json::from_slice(&output.stdout).expect("it prints JSON");
    eprintln!("{}: {said}", peer.name);
    let ms = |end: &str| said[end].as_f64().expect("it timed itself");
    Duration::from_secs_f64((ms("server_ms") + ms("client_ms")) / 1000.0)
}

/// CPU this process took so far, user and system, of all its threads.
pub(crate) fn cpu_time() -> Duration {
    cpu_time_of(std::process::id())
}

/// The same of another process.
pub(crate) fn cpu_time_of(process: u32) -> Duration {
    let stat = std::fs::read_to_string(format!("/proc/{process}/stat"));
    let stat = stat.expect("it runs, on a Linux");
    // The second field is a name in brackets, which may hold anything (proc(5)).
    let (_, after) = stat.rsplit_once(") ").expect("the name is in brackets");
    let ticks = after.split(' ').skip(11).take(2).map(|field| field.parse::<u64>());
    let ticks: u64 = ticks.map(|ticks| ticks.expect("a number")).sum();
    Duration::from_millis(ticks * 1000 / TICKS_A_SECOND)
}
