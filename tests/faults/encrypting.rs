//! Goal: whoever encrypts or decrypts a node and is cut off at any moment has all of it, as it was
//! or as it was to be. Method: the built program switches a played node and is killed after a
//! seeded while; the folder then opens with the passphrase or without, and holds what it held.
//!
//! 16 kills by default; `GUYLINE_SWITCH_KILLS=500 cargo test --workspace --test faults encrypting`
//! is the long run. A kill cannot show a missing fsync.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use guyline_disk::Chance;
use guyline_hub::Node;
use guyline_hub::at_rest::{Passphrase, is_encrypted};
use guyline_tests::{asked, built, demo_data};

const WORDS: &str = "seven guyed masts in fog";

/// What a node holds: its key, its documents' newest changes, its attachments.
type Holds = (String, String, u64);

fn holds(dir: &Path) -> Holds {
    // What was cut off is ended by whoever opens it, with the passphrase or without.
    let words = Passphrase::new(WORDS).unwrap();
    let node = Node::unlock(dir, &words)
        .unwrap_or_else(|error| panic!("{} opens no more: {error}", dir.display()));
    let found = node.inspect().unwrap();
    assert!(found.problems.is_empty(), "{:?}", found.problems);
    let contents = node.inspect_contents().unwrap();
    assert!(contents.damaged.is_empty(), "{:?}", contents.damaged);
    (node.key().to_string(), format!("{:?}", node.heads().unwrap()), contents.held)
}

fn switching(way: &str, dir: &Path, file: &Path) -> Command {
    let mut command = Command::new(built("guyline"));
    command.args(["encrypt", way, "--data"]).arg(dir).arg("--passphrase-file").arg(file);
    command.stdout(Stdio::null()).stderr(Stdio::piped());
    command
}

#[test]
fn a_switch_killed_at_any_moment_leaves_all_of_it_encrypted_or_all_of_it_not() {
    let kills: u64 = asked("GUYLINE_SWITCH_KILLS", 16);
    let work = tempfile::tempdir().unwrap();
    let played = Command::new(built("guyline"))
        .args(["demo", "--data"])
        .arg(demo_data())
        .arg("--work")
        .arg(work.path())
        .output()
        .unwrap();
    assert!(played.status.success(), "{}", String::from_utf8_lossy(&played.stderr));
    let (dir, file) = (work.path().join("ines"), work.path().join("passphrase"));
    std::fs::write(&file, format!("{WORDS}\n")).unwrap();
    let before = holds(&dir);
    let began = Instant::now();
    let whole = switching("on", &dir, &file).output().unwrap();
    let took = began.elapsed();
    assert!(whole.status.success(), "{}", String::from_utf8_lossy(&whole.stderr));
    assert_eq!(holds(&dir), before);

    let mut chance = Chance::new(0x656e_6372);
    let (mut cut, mut encrypted) = (0, 0);
    for kill in 0..kills {
        let way = if is_encrypted(&dir).unwrap() { "off" } else { "on" };
        let mut child = switching(way, &dir, &file).spawn().unwrap();
        let most = usize::try_from(took.as_micros()).unwrap();
        std::thread::sleep(Duration::from_micros(chance.below(most * 5 / 4) as u64));
        if child.try_wait().unwrap().is_none() {
            cut += 1;
            child.kill().unwrap();
        }
        child.wait().unwrap();
        assert_eq!(holds(&dir), before, "kill {kill} of {way}");
        for left in ["changing", "changed"] {
            assert!(!dir.join(left).exists(), "kill {kill} of {way} left {left}");
        }
        encrypted += u64::from(is_encrypted(&dir).unwrap());
    }
    println!("{cut} of {kills} were cut off; after {encrypted} of them it was encrypted");
    assert!(cut > 0, "none was cut off");
}
