//! Goal: a copy made while somebody writes is a store of some moment, whole, and never replaces
//! anything. Method: a node writes on a thread of its own while copies are made and opened.

use std::sync::atomic::{AtomicBool, Ordering};

use super::*;
use crate::Node;
use crate::fixture::{author, id, note, session};

struct AtEnd<'a>(&'a AtomicBool);

impl Drop for AtEnd<'_> {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

/// So many write at once, each into a session of its own.
const WRITERS: u8 = 4;
const ROUNDS: usize = 12;

fn write(node: &Node, n: u8, number: usize) {
    let edit = note(&format!("note-{number}"), "it rained");
    node.edit(id(n), |document| document.apply(&edit, &author())).unwrap().unwrap();
}

/// How many notes each session holds.
fn notes(node: &Node) -> Vec<usize> {
    let count = |n| node.with_document(id(n), |document| document.session().unwrap().notes.len());
    (1..=WRITERS).map(|n| count(n).unwrap()).collect()
}

/// `GUYLINE_BACKUPS=200` is the long run.
#[test]
fn copies_made_while_four_write_hold_all_that_was_recorded_before_them() {
    let rounds = std::env::var("GUYLINE_BACKUPS").map_or(ROUNDS, |asked| asked.parse().unwrap());
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("node");
    let node = Node::open(&dir).unwrap();
    for n in 1..=WRITERS {
        let (document, change) = session(n);
        node.create(document, change).unwrap();
    }
    let done = AtomicBool::new(false);
    std::thread::scope(|scope| {
        for n in 1..=WRITERS {
            let (node, done) = (&node, &done);
            scope.spawn(move || {
                let mut number = 0;
                while !done.load(Ordering::Relaxed) {
                    write(node, n, number);
                    number += 1;
                    // The lock goes to whoever asks first: others get a turn.
                    std::thread::sleep(std::time::Duration::from_millis(4));
                }
            });
        }
        // Also where an assertion fails: or those who write would go on for ever.
        let _end = AtEnd(&done);
        for round in 0..rounds {
            let before = notes(&node);
            let copy = folder.path().join("copy.sqlite");
            backup(&dir, &copy, None).unwrap();
            let after = notes(&node);
            let back = folder.path().join("back");
            restore(&copy, &back, None).unwrap();
            let restored = Node::open(&back).unwrap();
            assert_eq!(restored.inspect().unwrap().problems, []);
            let held = notes(&restored);
            let between = before.iter().zip(&held).all(|(before, held)| before <= held)
                && held.iter().zip(&after).all(|(held, after)| held <= after);
            assert!(between, "round {round}: {before:?} to {after:?}, and {held:?} came back");
            drop(restored);
            std::fs::remove_file(&copy).unwrap();
            std::fs::remove_dir_all(&back).unwrap();
        }
    });
    let left: Vec<_> = std::fs::read_dir(folder.path())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.contains("unfinished"))
        .collect();
    assert_eq!(left, Vec::<String>::new());
}

#[test]
fn a_store_made_from_a_copy_is_another_store_of_the_same_node() {
    let folder = tempfile::tempdir().unwrap();
    let (dir, copy, back) =
        (folder.path().join("node"), folder.path().join("copy"), folder.path().join("back"));
    let node = Node::open(&dir).unwrap();
    backup(&dir, &copy, None).unwrap();
    restore(&copy, &back, None).unwrap();
    let restored = Node::open(&back).unwrap();
    let (was, is) = (node.lock().store.card().clone(), restored.lock().store.card().clone());
    assert_eq!((was.node, was.name), (is.node, is.name));
    assert_ne!(was.store, is.store);
}

#[test]
fn nothing_that_is_there_is_written_over_and_what_is_no_store_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let (dir, copy) = (folder.path().join("node"), folder.path().join("copy"));
    drop(Node::open(&dir).unwrap());
    std::fs::write(&copy, "somebody's letter").unwrap();
    assert!(matches!(backup(&dir, &copy, None), Err(BackupError::Taken { .. })));
    assert_eq!(std::fs::read(&copy).unwrap(), b"somebody's letter");
    let back = folder.path().join("back");
    let refused = restore(&copy, &back, None).unwrap_err();
    assert!(matches!(refused, BackupError::Open(OpenError::Foreign { .. })), "{refused}");
    assert!(!back.exists());
    let whole = folder.path().join("whole");
    backup(&dir, &whole, None).unwrap();
    assert!(matches!(restore(&whole, &dir, None), Err(BackupError::Taken { .. })));
    let absent = backup(&back, &folder.path().join("other"), None).unwrap_err();
    assert!(matches!(absent, BackupError::Open(OpenError::File { .. })), "{absent}");
}

#[test]
fn a_copy_cut_short_makes_no_store() {
    let folder = tempfile::tempdir().unwrap();
    let (dir, copy) = (folder.path().join("node"), folder.path().join("copy"));
    drop(Node::open(&dir).unwrap());
    backup(&dir, &copy, None).unwrap();
    let whole = std::fs::read(&copy).unwrap();
    for kept in [0, 50, 99, 4_096, whole.len() / 2, whole.len() - 1] {
        let back = folder.path().join(format!("back-{kept}"));
        std::fs::write(&copy, &whole[..kept]).unwrap();
        let refused = restore(&copy, &back, None).unwrap_err();
        assert!(!back.join("node.sqlite").exists(), "{kept} bytes: {refused}");
    }
}

#[test]
fn a_name_that_is_no_text_is_as_good_as_another() {
    use std::os::unix::ffi::OsStringExt;
    let folder = tempfile::tempdir().unwrap();
    let (dir, back) = (folder.path().join("node"), folder.path().join("back"));
    drop(Node::open(&dir).unwrap());
    let copy = folder.path().join(std::ffi::OsString::from_vec(b"copy-\xff\xfe".to_vec()));
    backup(&dir, &copy, None).unwrap();
    restore(&copy, &back, None).unwrap();
    Node::open(&back).unwrap();
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 3, "nothing else is left");
}

#[test]
fn a_copy_that_cannot_be_finished_leaves_nothing_behind() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("node");
    drop(Node::open(&dir).unwrap());
    let nowhere = folder.path().join("no-such-folder").join("copy");
    let error = backup(&dir, &nowhere, None).unwrap_err();
    assert!(!error.help().is_empty(), "{error}");
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
}
