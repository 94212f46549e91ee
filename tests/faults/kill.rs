//! Goal: whatever was acknowledged is there after the process was killed at any moment, and the
//! store is whole. Method: this test program starts itself as a child that writes notes into a
//! store and says so after each; the child is killed after a seeded while, also while it opens the
//! store; the same store is used for all rounds, so that damage would add up.
//!
//! 300 kills by default; `GUYLINE_KILLS=10000 cargo test --workspace --test faults kill` is the
//! long run. A kill cannot show a missing fsync: the system keeps what the process had written.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use automerge::ActorId;
use guyline_core::record::{Document, DocumentId, SessionEdit};
use guyline_hub::Node;
use guyline_tests::{asked, author};

use crate::mutation::Seeded;
use crate::recorded::patiently;

const KILLS: u32 = 300;
const DIR: &str = "GUYLINE_KILL_DIR";
const ROUND: &str = "GUYLINE_KILL_ROUND";
const CHILD: &str = "kill::the_killed_lose_nothing_they_acknowledged";

/// Each round writes into a session of its own.
fn session(round: u32) -> DocumentId {
    let mut bytes = [7; 16];
    bytes[..4].copy_from_slice(&round.to_be_bytes());
    bytes[0] &= 0x7f;
    DocumentId::from_bytes(bytes)
}

/// What the child does. It never ends unless it is killed, or nobody reads what it says.
fn write_until_killed(dir: &str) {
    let round: u32 = std::env::var(ROUND).expect("the parent counts").parse().expect("a number");
    let node = patiently(|| Node::open(Path::new(dir))).expect("the store opens");
    let site = DocumentId::from_bytes([0; 16]);
    let (document, change) =
        Document::create_session(session(round), site, "r", "WO", ActorId::random(), &author())
            .expect("a session can be made");
    node.create(document, change).expect("it is stored");
    let mut out = std::io::stdout();
    for number in 0.. {
        let edit = SessionEdit::AddNote { id: format!("n-{number}"), text: "wind".to_owned() };
        node.edit(session(round), |document| document.apply(&edit, &author()))
            .expect("it is stored")
            .expect("it is admitted");
        // The parent may have killed us already: then nobody reads, and nothing is lost by that.
        if writeln!(out, "kept {number}").and_then(|()| out.flush()).is_err() {
            return;
        }
    }
}

fn start(dir: &Path, round: u32) -> Child {
    Command::new(std::env::current_exe().expect("this program has a path"))
        .args([CHILD, "--exact", "--nocapture"])
        .env(DIR, dir)
        .env(ROUND, round.to_string())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("this program starts")
}

/// Starts a child, kills it after a while, and returns how many notes it had acknowledged.
fn killed(dir: &Path, round: u32, chance: &mut Seeded) -> usize {
    let mut child = start(dir, round);
    let mut lines = BufReader::new(child.stdout.take().expect("it is piped")).lines();
    let mut acknowledged = 0;
    // A third are killed while they start, the others once they write.
    if chance.below(3) != 0 {
        while acknowledged == 0 {
            let line = lines.next().expect("it writes until it is killed").expect("text");
            acknowledged += usize::from(line.starts_with("kept "));
        }
    }
    std::thread::sleep(Duration::from_micros(500 + chance.below(40_000) as u64));
    child.kill().expect("it is ours and runs");
    child.wait().expect("it ended");
    // What it said before the kill is still in the pipe.
    let rest = lines.map_while(Result::ok).filter(|line| line.starts_with("kept "));
    acknowledged + rest.count()
}

#[test]
fn the_killed_lose_nothing_they_acknowledged() {
    if let Ok(dir) = std::env::var(DIR) {
        return write_until_killed(&dir);
    }
    let kills = asked("GUYLINE_KILLS", KILLS);
    let folder = tempfile::tempdir().expect("a folder");
    let mut chance = Seeded(0x6b69_6c6c);
    let (mut total, mut mid_start) = (0, 0);
    for round in 0..kills {
        let acknowledged = killed(folder.path(), round, &mut chance);
        let node = patiently(|| Node::open(folder.path())).expect("the store opens after a kill");
        let here = node.documents().expect("it can be read").contains(&session(round));
        let notes = match here {
            true => node
                .with_document(session(round), |document| {
                    document.session().expect("a session").notes.len()
                })
                .expect("it can be read"),
            false => 0,
        };
        // One more may be on disk than was said: the kill came between the two.
        let held = acknowledged..=acknowledged + 1;
        assert!(held.contains(&notes), "round {round}: {acknowledged} acknowledged, {notes} there");
        total += acknowledged;
        mid_start += u32::from(acknowledged == 0);
        if round % 20 == 19 || round + 1 == kills {
            assert_eq!(node.inspect().expect("it can be read").problems, [], "round {round}");
        }
    }
    assert!(total > 0 && mid_start > 0, "both kinds of kill happened");
    println!(
        "{kills} kills, {total} notes acknowledged, none absent; {mid_start} before the first"
    );
}
