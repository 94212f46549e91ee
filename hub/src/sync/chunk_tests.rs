//! Goal: what may not reach the document library does not, and says why. Method: real chunks,
//! chunks built by hand to unroll to very much, and every truncation and bit flip of a real one.

use automerge::{ActorId, AutoCommit, ROOT, transaction::Transactable};

use super::*;
use crate::fixture::{Seeded, session_with_notes};

fn chunk(kind: u8, data: &[u8]) -> Vec<u8> {
    let mut chunk = [&MAGIC[..], &[0; 4], &[kind]].concat();
    unsigned(&mut chunk, data.len() as u64);
    chunk.extend(data);
    chunk
}

/// A change chunk with these columns (type and data) and nothing else of interest.
fn change_with(columns: &[(u64, Vec<u8>)]) -> Vec<u8> {
    // No dependencies, actor 01, sequence 1, first operation 1, time 0, no message, no others.
    let mut data = vec![0, 1, 1, 1, 1, 0, 0, 0];
    unsigned(&mut data, columns.len() as u64);
    for (kind, column) in columns {
        unsigned(&mut data, *kind);
        unsigned(&mut data, column.len() as u64);
    }
    columns.iter().for_each(|(_, column)| data.extend(column));
    chunk(CHANGE, &data)
}

fn unsigned(out: &mut Vec<u8>, mut number: u64) {
    while number >= 0x80 {
        out.push(number as u8 | 0x80);
        number >>= 7;
    }
    out.push(number as u8);
}

/// A positive number as signed LEB128.
fn signed(out: &mut Vec<u8>, number: u64) {
    unsigned(out, number);
    if out.last().is_some_and(|last| last & 0x40 != 0) {
        *out.last_mut().unwrap() |= 0x80;
        out.push(0);
    }
}

fn run(count: u64, value: &[u8]) -> Vec<u8> {
    let mut column = Vec::new();
    signed(&mut column, count);
    column.extend(value);
    column
}

#[test]
fn what_the_core_writes_is_taken_as_it_is() {
    let (_, changes) = session_with_notes(1, 40);
    for change in changes {
        let read = read_change(change.raw_bytes()).unwrap();
        assert_eq!(read.hash(), change.hash());
        assert_eq!(read.raw_bytes(), change.raw_bytes());
    }
}

#[test]
fn documents_compressed_changes_and_bundles_are_refused_by_type() {
    let mut document = AutoCommit::new().with_actor(ActorId::from([1; 16]));
    document.put(ROOT, "text", "a".repeat(5_000)).unwrap();
    let compressed = document.get_changes(&[]).remove(0).bytes().into_owned();
    for (bytes, kind) in [(document.save(), 0), (compressed, 2), (chunk(3, &[0]), 3)] {
        let refused = read_change(&bytes).unwrap_err();
        assert!(matches!(refused, ChunkRefused::Type { found } if found == kind), "{refused}");
    }
}

#[test]
fn short_chunks_that_unroll_to_very_much_are_refused_before_they_do() {
    let huge = 1 << 40;
    let mut nulls = vec![0];
    unsigned(&mut nulls, huge);
    let mut falses = Vec::new();
    unsigned(&mut falses, huge);
    let mut group = run(1, &[]);
    unsigned(&mut group, huge);
    let mut text = run(9_000, &[]);
    unsigned(&mut text, 1_000);
    text.extend([b'a'; 1_000]);
    let table = [
        ("operations", 0x42, run(huge, &[1]), "rows"),
        ("empty rows", 0x42, nulls, "rows"),
        ("counters", 0x13, run(huge, &[1]), "rows"),
        ("flags", 0x34, falses, "rows"),
        ("predecessors", 0x70, group, "rows"),
        ("texts", 0x15, text, "bytes"),
    ];
    for (what, kind, column, wanted) in table {
        let refused = read_change(&change_with(&[(kind, column)])).unwrap_err();
        assert!(
            matches!(refused, ChunkRefused::Unrolls { column: 0, unit, .. } if unit == wanted),
            "{what}: {refused}"
        );
    }
}

#[test]
fn a_compressed_column_is_refused() {
    let refused = read_change(&change_with(&[(0x42 | 8, vec![1])])).unwrap_err();
    assert!(matches!(refused, ChunkRefused::CompressedColumn { column: 0 }), "{refused}");
}

#[test]
fn every_truncation_and_every_flipped_bit_of_a_change_is_refused() {
    let (_, changes) = session_with_notes(1, 1);
    for change in changes {
        let whole = change.raw_bytes();
        for length in 0..whole.len() {
            read_change(&whole[..length]).expect_err("a truncated chunk was taken");
        }
        for bit in 0..whole.len() * 8 {
            let mut flipped = whole.to_vec();
            flipped[bit / 8] ^= 1 << (bit % 8);
            read_change(&flipped).expect_err("a chunk with a flipped bit was taken");
        }
    }
}

#[test]
fn random_columns_never_panic() {
    for seed in 0..5_000 {
        let mut random = Seeded(seed);
        let columns: Vec<_> = (0..random.below(6))
            .map(|_| {
                (random.next() & 0x77, {
                    let n = random.below(12);
                    random.bytes(n)
                })
            })
            .collect();
        if let Ok(change) = read_change(&change_with(&columns)) {
            panic!("seed {seed}: taken under a checksum of zeros: {}", change.hash());
        }
    }
}
