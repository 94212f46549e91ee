//! Goal: a log that lost acknowledged work is told from one that ends where the power went. Method:
//! the engine writes a log of many commits; bits of it are turned, and it is cut at every frame.

use rusqlite::Connection;

use super::*;
use crate::fixture::Seeded;

/// A log of so many commits of two or three pages, as the engine left it on disk.
fn written(commits: usize) -> Vec<u8> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.sqlite");
    let connection = Connection::open(&path).unwrap();
    connection
        .execute_batch("PRAGMA page_size = 512; PRAGMA journal_mode = WAL; CREATE TABLE t (x);")
        .unwrap();
    connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(())).unwrap();
    for number in 0..commits {
        let bytes = Seeded(number as u64).bytes(700);
        connection.execute("INSERT INTO t VALUES (?1)", [bytes]).unwrap();
    }
    std::fs::read(folder.path().join("a.sqlite-wal")).unwrap()
}

fn counted(log: &[u8]) -> u64 {
    match look(log) {
        Found::Whole { frames } => frames,
        Found::Damaged { what } => panic!("{what}"),
    }
}

const FRAME: usize = FRAME_HEADER + 512;

/// The frames that end a commit, from 1.
fn ends(log: &[u8]) -> Vec<usize> {
    let frames = log[LOG_HEADER..].chunks_exact(FRAME).zip(1..);
    frames.filter(|(frame, _)| commits(frame)).map(|(_, place)| place).collect()
}

#[test]
fn a_sound_log_counts_whole() {
    let log = written(12);
    let ends = ends(&log);
    assert_eq!(ends.len(), 12);
    assert_eq!(counted(&log), *ends.last().unwrap() as u64);
    assert_eq!(counted(&[]), 0);
    assert_eq!(counted(&[0; 4_096]), 0);
}

#[test]
fn a_log_that_ends_anywhere_counts_up_to_its_last_whole_commit() {
    let log = written(6);
    let ends = ends(&log);
    for length in (LOG_HEADER..=log.len()).step_by(37) {
        let whole = (length - LOG_HEADER) / FRAME;
        let expected = ends.iter().filter(|end| **end <= whole).max().copied().unwrap_or(0);
        assert_eq!(counted(&log[..length]), expected as u64, "cut at {length}");
    }
}

#[test]
fn a_commit_in_flight_may_be_torn_anywhere() {
    let log = written(6);
    let ends = ends(&log);
    let start = LOG_HEADER + ends[4] * FRAME;
    let mut chance = Seeded(7);
    for _ in 0..2_000 {
        let mut torn = log.clone();
        for sector in (start..log.len()).step_by(128) {
            if chance.below(3) == 0 {
                let end = (sector + 128).min(log.len());
                torn[sector..end].fill(0);
            }
        }
        let count = counted(&torn);
        assert!(count == ends[4] as u64 || torn == log, "{count}");
    }
}

#[test]
fn a_bit_turned_before_the_last_two_commits_is_found() {
    let log = written(12);
    let ends = ends(&log);
    let safe = LOG_HEADER + ends[ends.len() - 3] * FRAME;
    for bit in (0..safe * 8).step_by(3) {
        let mut flipped = log.clone();
        flipped[bit / 8] ^= 1 << (bit % 8);
        assert!(matches!(look(&flipped), Found::Damaged { .. }), "bit {bit}");
    }
}

#[test]
fn what_failed_writes_left_behind_is_no_damage() {
    let log = written(8);
    let ends = ends(&log);
    // Two commits that were written over by a shorter one: frames of each are left, in a row.
    let mut left = log[..LOG_HEADER + ends[2] * FRAME].to_vec();
    left.extend_from_slice(&log[LOG_HEADER + ends[3] * FRAME..LOG_HEADER + ends[4] * FRAME]);
    left.extend_from_slice(&log[LOG_HEADER + ends[5] * FRAME..LOG_HEADER + ends[6] * FRAME]);
    assert_eq!(counted(&left), ends[2] as u64);
}
