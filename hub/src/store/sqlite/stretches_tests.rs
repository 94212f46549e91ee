//! Goal: what is packed of the log ahead of time is what the log says, for every peer, and never
//! more. Method: one log, asked for by a peer that gave some of it and by one that gave nothing,
//! with and without stretches; damaged, misplaced and dropped ones.

use super::*;
use crate::chunk::Chunk;
use crate::fixture::{author, id, session_with_notes};
use crate::log::{Ask, Card, LogEntry, LogSlice, Mark, NodeId, StoreId};
use crate::store::{Append, Folding, Peers, Placing, Reading, TakeIn, log_packed, may_be_one};
use crate::sync::wire;

const STRANGER: NodeId = NodeId([99; 16]);

fn card(n: u8) -> Card {
    Card { node: NodeId([n; 16]), store: StoreId([n; 16]), name: format!("tablet {n}") }
}

fn append(n: u8, notes: usize) -> Append {
    let (_, changes) = session_with_notes(n, notes);
    let entry = |change| LogEntry { document: id(n), change: Chunk::from(change) };
    let heads = vec![changes.last().unwrap().hash()];
    let (seals, waited) = Default::default();
    let entries = changes.iter().map(entry).collect();
    Append { document: id(n), entries, heads, seals, waited }
}

/// A visit of this node's, one that a peer gave, another of this node's: 6, 6 and 6 changes.
fn store(folder: &tempfile::TempDir) -> Sqlite {
    let mut store = Sqlite::open(folder.path()).unwrap();
    store.append(&append(1, 5)).unwrap();
    let placing = Placing { appends: vec![append(2, 5)], set_aside: Vec::new(), at: author().at };
    let seen = Mark { position: 6, hash: [1; 32] };
    store.take_in(&TakeIn { card: card(7), seen, asked: Ask::ALL, anew: false, placing }).unwrap();
    store.append(&append(3, 5)).unwrap();
    store
}

fn pack(store: &mut Sqlite, after: u64, upto: u64) {
    let all = store.log_after(Mark::START, STRANGER, usize::MAX).unwrap();
    let entries = &all.entries[after as usize..upto as usize];
    store.keep_stretch(after, upto, &Packed::of(entries, &[])).unwrap();
}

/// The slice with nothing packed, and how many changes of it were.
fn unpacked(mut slice: LogSlice) -> (LogSlice, u64) {
    let packed = slice.count() - slice.entries.len() as u64;
    wire::unpack_slice(&mut slice).unwrap();
    (slice, packed)
}

/// Whether peers get the same with stretches as without, from everywhere. Gives how many changes of
/// the whole log come packed, to a stranger and to the peer that gave some of it.
fn alike(store: &Sqlite) -> [u64; 2] {
    for peer in [STRANGER, card(7).node] {
        for after in 0..=18 {
            let after = if after == 0 { Mark::START } else { store.mark_at(after).unwrap() };
            let (slice, _) = unpacked(log_packed(store, after, peer, usize::MAX).unwrap());
            assert_eq!(slice, store.log_after(after, peer, usize::MAX).unwrap(), "{after:?}");
        }
    }
    [STRANGER, card(7).node]
        .map(|peer| unpacked(log_packed(store, Mark::START, peer, usize::MAX).unwrap()).1)
}

#[test]
fn what_is_packed_is_what_the_log_says_for_every_peer() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(&folder);
    assert_eq!(alike(&store), [0, 0]);
    pack(&mut store, 6, 12);
    // What stands before a stretch is packed with it; what the peer gave is passed by.
    assert_eq!(alike(&store), [12, 6]);
    pack(&mut store, 12, 18);
    assert_eq!(alike(&store), [18, 12]);
    pack(&mut store, 0, 3);
    assert_eq!(alike(&store), [18, 12]);
}

#[test]
fn a_stretch_of_which_a_peer_gave_some_is_not_given_to_it() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(&folder);
    pack(&mut store, 3, 15);
    assert_eq!(alike(&store), [15, 3]);
    // One that starts with what it gave and still has, and goes on with what it lacks.
    store.connection.execute("DELETE FROM stretch", []).unwrap();
    pack(&mut store, 8, 15);
    assert_eq!(alike(&store), [15, 6]);
    // A peer that was forgotten is owed all that it gave.
    store.forget_peer(card(7).node).unwrap();
    let owed = log_packed(&store, Mark::START, card(7).node, usize::MAX).unwrap();
    assert_eq!(unpacked(owed).0.entries.len(), 18);
    pack(&mut store, 6, 12);
    let owed = log_packed(&store, Mark::START, card(7).node, usize::MAX).unwrap();
    assert_eq!(unpacked(owed).0.entries.len(), 18);
}

#[test]
fn slices_of_any_size_put_together_are_the_log() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(&folder);
    pack(&mut store, 2, 5);
    pack(&mut store, 5, 9);
    pack(&mut store, 14, 18);
    let whole = store.log_after(Mark::START, STRANGER, usize::MAX).unwrap();
    for bytes in [0, 300, 900, 2_000, 1 << 20] {
        let (mut after, mut entries) = (Mark::START, Vec::new());
        loop {
            let slice = log_packed(&store, after, STRANGER, bytes).unwrap();
            assert!(slice.count() > 0 || !slice.more, "each brings something");
            let (slice, _) = unpacked(slice);
            (after, entries) = (slice.to, [entries, slice.entries].concat());
            if !slice.more {
                break;
            }
        }
        assert_eq!((&entries, after), (&whole.entries, whole.to), "{bytes} bytes a slice");
    }
}

#[test]
fn a_stretch_that_is_damaged_or_misplaced_is_passed_over() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(&folder);
    for damage in [
        "packed = CAST(substr(packed, 1, 40) || x'00' || substr(packed, 42) AS BLOB)",
        "first = first + 1",
        "last = last - 1",
        "givers = x'0900000000000000'",
        "digest = zeroblob(32)",
    ] {
        pack(&mut store, 6, 12);
        assert_eq!(alike(&store), [12, 6]);
        store.connection.execute(&format!("UPDATE stretch SET {damage}"), []).unwrap();
        alike(&store);
        assert_eq!(store.behind(6, STRANGER).unwrap(), None, "{damage}");
        store.connection.execute("DELETE FROM stretch", []).unwrap();
    }
}

#[test]
fn folding_leaves_stretches_and_what_makes_the_file_small_takes_them() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(&folder);
    pack(&mut store, 6, 12);
    pack(&mut store, 12, 18);
    for n in [1, 2, 3] {
        let changes = session_with_notes(n, 5).1;
        let actor = automerge::ActorId::random();
        let document = guyline_core::record::Document::from_changes(id(n), changes, actor).unwrap();
        store.fold(id(n), None, &document.saved()).unwrap();
    }
    assert_eq!(alike(&store), [18, 12]);
    store.shrink().unwrap();
    assert_eq!(alike(&store), [0, 0]);
}

#[test]
fn the_log_is_packed_from_where_the_one_who_lacks_most_stands() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(&folder);
    let long_ago = author().at.unix_ms() - 1;
    // It was met and acknowledged nothing.
    assert_eq!(store.unpacked_since(long_ago).unwrap(), Some(0));
    assert_eq!(store.unpacked_since(author().at.unix_ms() + 1).unwrap(), None, "met before that");
    pack(&mut store, 0, 9);
    assert_eq!(store.unpacked_since(long_ago).unwrap(), Some(9));
}

#[test]
fn what_would_fill_a_slice_by_itself_is_no_stretch() {
    let entries = append(1, 5).entries;
    let packed = Packed::of(&entries, &[]);
    assert!(may_be_one(std::slice::from_ref(&packed), 12));
    assert!(!may_be_one(std::slice::from_ref(&packed), 13), "two seals a change are many");
    // So many changes that no slice has.
    assert!(!may_be_one(&vec![packed; 16_000 / 6 + 1], 0));
}
