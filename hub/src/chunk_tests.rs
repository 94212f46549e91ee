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
        let read = Chunk::read(change.raw_bytes().to_vec()).unwrap();
        assert_eq!(read.hash(), change.hash());
        assert_eq!(read.raw_bytes(), change.raw_bytes());
        assert_eq!(read.made_by(), (change.actor_id().clone(), change.seq()));
        assert_eq!(read.change().unwrap(), change);
    }
}

#[test]
fn a_change_is_told_from_the_one_it_builds_on_and_from_no_other() {
    let (_, changes) = session_with_notes(1, 40);
    let chunks: Vec<Chunk> = changes.iter().map(Chunk::from).collect();
    for pair in chunks.windows(2) {
        let [cause, chunk] = pair else { unreachable!("windows of two") };
        let rest = chunk.behind_one(cause.hash()).unwrap();
        assert!(rest.len() + 40 < chunk.raw_bytes().len(), "the hash and the head are left out");
        assert_eq!(Chunk::built_on(cause.hash(), rest).unwrap(), *chunk);
        assert_eq!(chunk.behind_one(chunk.hash()), None, "it does not build on itself");
        let other = Chunk::built_on(chunk.hash(), rest).unwrap();
        assert_ne!(other.hash(), chunk.hash(), "another cause makes another change");
    }
    assert_eq!(chunks[0].behind_one(chunks[1].hash()), None, "the first builds on nothing");
}

#[test]
fn a_length_that_is_written_longer_than_it_must_is_sent_whole() {
    let (_, changes) = session_with_notes(1, 2);
    let (cause, whole) = (changes[1].hash(), changes[2].raw_bytes());
    let length = whole[9..].iter().position(|byte| byte & 0x80 == 0).unwrap() + 1;
    let mut longer = whole[..9 + length].to_vec();
    *longer.last_mut().unwrap() |= 0x80;
    longer.push(0);
    longer.extend(&whole[9 + length..]);
    let hash: [u8; 32] = Sha256::digest(&longer[8..]).into();
    longer[4..8].copy_from_slice(&hash[..4]);
    let read = Chunk::read(longer).unwrap();
    assert_ne!(read.hash(), changes[2].hash());
    assert_eq!(read.behind_one(cause), None);
}

#[test]
fn documents_compressed_changes_and_bundles_are_refused_by_type() {
    let mut document = AutoCommit::new().with_actor(ActorId::from([1; 16]));
    document.put(ROOT, "text", "a".repeat(5_000)).unwrap();
    let compressed = document.get_changes(&[]).remove(0).bytes().into_owned();
    for (bytes, kind) in [(document.save(), 0), (compressed, 2), (chunk(3, &[0]), 3)] {
        let refused = Chunk::read(bytes.clone()).unwrap_err();
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
        let refused = Chunk::read(change_with(&[(kind, column)])).unwrap_err();
        assert!(
            matches!(refused, ChunkRefused::Unrolls { column: 0, unit, .. } if unit == wanted),
            "{what}: {refused}"
        );
    }
}

#[test]
fn a_compressed_column_is_refused() {
    let refused = Chunk::read(change_with(&[(0x42 | 8, vec![1])])).unwrap_err();
    assert!(matches!(refused, ChunkRefused::CompressedColumn { column: 0 }), "{refused}");
}

#[test]
fn every_truncation_and_every_flipped_bit_of_a_change_is_refused() {
    let (_, changes) = session_with_notes(1, 1);
    for change in changes {
        let whole = change.raw_bytes();
        for length in 0..whole.len() {
            Chunk::read(whole[..length].to_vec()).expect_err("a truncated chunk was taken");
        }
        for bit in 0..whole.len() * 8 {
            let mut flipped = whole.to_vec();
            flipped[bit / 8] ^= 1 << (bit % 8);
            Chunk::read(flipped).expect_err("a chunk with a flipped bit was taken");
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
        if let Ok(change) = Chunk::read(change_with(&columns)) {
            panic!("seed {seed}: taken under a checksum of zeros: {}", change.hash());
        }
    }
}
