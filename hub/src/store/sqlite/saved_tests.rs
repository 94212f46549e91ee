//! Goal: folding changes what is stored and nothing that anybody sees: log, marks, counts, news and
//! documents are as before, for every peer. Method: one store whose changes come from here and from
//! two peers, folded document by document; everything asked of it before and after is compared.

use guyline_core::record::Document;

use super::*;
use crate::Node;
use crate::chunk::Chunk;
use crate::fixture::{author, id, note, session_with_notes};
use crate::log::{
    Ask, Card, LogEntry, LogSlice, Mark, Memory, NodeId, Place, Receipt, Scope, StoreId,
};
use crate::store::{Append, Pass, Placing, TakeIn};
use crate::store::{Peers, Reading, Upkeep, Writing};

/// The store keeps receipts; whoever uses them looks whether they hold.
const UNSIGNED: Receipt = Receipt { key: [0; 32], signature: [0; 64] };

fn card(n: u8) -> Card {
    Card { node: NodeId([n; 16]), store: StoreId([n; 16]), name: format!("tablet {n}") }
}

fn chunks(changes: &[Change]) -> Vec<Chunk> {
    changes.iter().map(Chunk::from).collect()
}

fn entries(n: u8, changes: &[Change]) -> Vec<LogEntry> {
    changes.iter().map(|change| LogEntry { document: id(n), change: Chunk::from(change) }).collect()
}

fn heads(changes: &[Change]) -> Vec<automerge::ChangeHash> {
    vec![changes.last().unwrap().hash()]
}

fn append(n: u8, changes: &[Change], heads: Vec<automerge::ChangeHash>) -> Append {
    let (seals, waited) = Default::default();
    Append { document: id(n), entries: entries(n, changes), heads, seals, waited }
}

fn give(
    store: &mut Sqlite,
    from: u8,
    n: u8,
    changes: &[Change],
    heads: Vec<automerge::ChangeHash>,
) {
    let body = TakeIn {
        card: card(from),
        seen: Mark { position: 1, hash: [1; 32] },
        asked: Ask::ALL,
        anew: false,
        placing: Placing {
            appends: vec![append(n, changes, heads)],
            set_aside: Vec::new(),
            at: author().at,
        },
    };
    store.take_in(&body).unwrap();
}

/// Two documents whose changes lie between each other's and come from three sides.
fn mixed(folder: &tempfile::TempDir) -> (Sqlite, Vec<Vec<Change>>) {
    let mut store = Sqlite::open(folder.path()).unwrap();
    let documents: Vec<Vec<Change>> = [1, 2].iter().map(|n| session_with_notes(*n, 11).1).collect();
    for part in 0..4 {
        for (n, changes) in [1, 2].into_iter().zip(&documents) {
            let (part_of, whole) = (&changes[3 * part..3 * part + 3], &changes[..3 * part + 3]);
            if part % 2 == 0 {
                store.append(&append(n, part_of, heads(whole))).unwrap();
            } else {
                give(&mut store, 7 + n, n, part_of, heads(whole));
            }
        }
    }
    (store, documents)
}

/// Everything that is asked of a log.
fn seen(store: &Sqlite) -> (Vec<LogSlice>, Vec<bool>, Vec<u64>, u64) {
    let all = store.log_after(Mark::START, NodeId([0; 16]), usize::MAX).unwrap();
    let marks: Vec<Mark> = all
        .entries
        .iter()
        .zip(1..)
        .map(|(entry, position)| Mark { position, hash: entry.change.hash().0 })
        .collect();
    let fits = marks.iter().map(|mark| store.fits(*mark).unwrap()).collect();
    let mut slices = Vec::new();
    for peer in [0, 8, 9] {
        for after in marks.iter().step_by(5).chain([&Mark::START]) {
            for bytes in [1, 700, usize::MAX] {
                slices.push(store.log_after(*after, NodeId([peer; 16]), bytes).unwrap());
            }
        }
    }
    let not_there = store.peers().unwrap().iter().map(|peer| peer.not_there).collect();
    (slices, fits, not_there, store.only_here(&|_| None).unwrap())
}

fn saved(store: &Sqlite, n: u8) -> Vec<u8> {
    let changes = store.changes_of(id(n)).unwrap();
    Document::from_changes(id(n), changes, automerge::ActorId::random()).unwrap().saved()
}

fn rows(store: &Sqlite) -> u64 {
    store.count("SELECT count(*) FROM change").unwrap()
}

#[test]
fn what_is_only_here_keeps_its_rows_until_another_node_holds_it() {
    let folder = tempfile::tempdir().unwrap();
    let (mut store, _) = mixed(&folder);
    let form = saved(&store, 1);
    assert_eq!(store.fold(id(1), None, &form).unwrap(), Folded::Beside);
    assert_eq!((rows(&store), store.length_of(id(1)).unwrap().tail), (24, 0));
    assert_eq!(store.fold(id(1), None, &form).unwrap(), Folded::Beside);
    let newest = store.newest();
    store.acknowledge(&card(8), newest, &Scope::All, UNSIGNED, author().at).unwrap();
    assert_eq!(store.fold(id(1), None, &form).unwrap(), Folded::Instead);
    assert_eq!(rows(&store), 12);
    assert_eq!(store.fold(id(1), None, &form).unwrap(), Folded::Already);
}

/// Who keeps a part acknowledged all of the log, and holds of it what belongs to its sites.
#[test]
fn rows_stay_where_only_somebody_acknowledged_them_who_does_not_keep_them() {
    let folder = tempfile::tempdir().unwrap();
    let (mut store, _) = mixed(&folder);
    let form = saved(&store, 1);
    let newest = store.newest();
    let part = Scope::Sites([id(40)].into());
    store.acknowledge(&card(8), newest, &part, UNSIGNED, author().at).unwrap();
    let visit = |n| Some(Place::Visit(id(n)));
    for place in [None, visit(41)] {
        assert_eq!(store.fold(id(1), place, &form).unwrap(), Folded::Beside, "{place:?}");
    }
    let places = |document| if document == id(1) { visit(41) } else { visit(40) };
    assert_eq!(store.not_known_at(None, &places).unwrap(), [id(1)].into());
    assert_eq!(store.not_known_at(None, &|_| None).unwrap(), [id(1), id(2)].into());
    // Half of each document was made here.
    assert_eq!(store.only_here(&places).unwrap(), 6);
    assert_eq!(store.only_here(&|_| Some(Place::Papers)).unwrap(), 0);
    assert_eq!(store.fold(id(1), visit(40), &form).unwrap(), Folded::Instead);
    assert_eq!((rows(&store), store.saved_problems().unwrap()), (12, vec![]));
    // What became one form is passed by or goes as before.
    let mut other_only =
        |_: u64, document| Ok(if document == id(1) { Pass::LeaveOut } else { Pass::Send });
    let slice = store.log_through(Mark::START, NodeId([0; 16]), 1, &mut other_only).unwrap();
    assert_eq!((slice.entries.len(), slice.more), (1, true));
    assert_eq!(slice.entries[0].document, id(2));
    assert!(store.fits(slice.to).unwrap());
    let rest = store.log_through(slice.to, NodeId([0; 16]), usize::MAX, &mut other_only).unwrap();
    assert_eq!((rest.entries.len(), rest.to, rest.more), (11, newest, false));
}

#[test]
fn a_folded_log_is_the_same_log() {
    let folder = tempfile::tempdir().unwrap();
    let (mut store, documents) = mixed(&folder);
    let newest = store.newest();
    store.acknowledge(&card(8), Mark { ..newest }, &Scope::All, UNSIGNED, author().at).unwrap();
    let before = seen(&store);
    for n in [2, 1] {
        let form = saved(&store, n);
        assert_eq!(store.fold(id(n), None, &form).unwrap(), Folded::Instead);
        assert_eq!(seen(&store), before, "document {n} is folded");
        let changes = &documents[usize::from(n) - 1];
        assert_eq!(store.changes_of(id(n)).unwrap(), *changes);
        assert!(store.not_held(id(n), chunks(changes)).unwrap().is_empty());
        let (_, more) = session_with_notes(n + 10, 1);
        assert_eq!(store.not_held(id(n), chunks(&more)).unwrap(), chunks(&more));
    }
    assert_eq!(rows(&store), 0);
    drop(store);
    let mut store = Sqlite::open(folder.path()).unwrap();
    assert_eq!(store.newest(), newest, "the newest change has no row of its own");
    assert_eq!(seen(&store), before);
    assert_eq!(store.memory_of(&card(8)).unwrap().map(|memory| memory.acknowledged), Some(newest));
    // What comes now stands behind everything that ever was.
    let (_, third) = session_with_notes(3, 0);
    give(&mut store, 9, 3, &third, heads(&third));
    assert_eq!(store.newest().position, newest.position + 1);
}

#[test]
fn a_peer_that_lost_its_store_is_owed_what_is_folded() {
    let folder = tempfile::tempdir().unwrap();
    let (mut store, _) = mixed(&folder);
    let newest = store.newest();
    store.acknowledge(&card(8), newest, &Scope::All, UNSIGNED, author().at).unwrap();
    for n in [1, 2] {
        let form = saved(&store, n);
        store.fold(id(n), None, &form).unwrap();
    }
    let other = Card { store: StoreId([99; 16]), ..card(8) };
    assert_eq!(store.memory_of(&other).unwrap(), None);
    store.acknowledge(&other, Mark::START, &Scope::All, UNSIGNED, author().at).unwrap();
    assert_eq!(store.memory_of(&other).unwrap(), Some(Memory::NONE));
    let owed = store.log_after(Mark::START, other.node, usize::MAX).unwrap();
    assert_eq!(owed.entries.len(), 24);
    assert_eq!(store.peers().unwrap().iter().map(|peer| peer.not_there).max(), Some(24));
}

#[test]
fn a_saved_form_that_does_not_give_the_changes_back_is_not_kept() {
    let folder = tempfile::tempdir().unwrap();
    let (mut store, documents) = mixed(&folder);
    let short = &documents[0][..5];
    let short = Document::from_changes(id(1), short.to_vec(), automerge::ActorId::random());
    assert_eq!(store.fold(id(1), None, &short.unwrap().saved()).unwrap(), Folded::NotAlike);
    let other = saved(&store, 2);
    assert_eq!(store.fold(id(1), None, &other).unwrap(), Folded::NotAlike);
    assert!(store.fold(id(1), None, b"no form").is_err());
    assert_eq!(store.saved_form(id(1)).unwrap(), None);
}

#[test]
fn every_flipped_bit_of_a_saved_form_is_found_and_its_document_named() {
    let folder = tempfile::tempdir().unwrap();
    let (mut store, _) = mixed(&folder);
    let newest = store.newest();
    store.acknowledge(&card(8), newest, &Scope::All, UNSIGNED, author().at).unwrap();
    let form = saved(&store, 1);
    assert_eq!(store.fold(id(1), None, &form).unwrap(), Folded::Instead);
    for bit in 0..form.len() * 8 {
        let mut flipped = form.clone();
        flipped[bit / 8] ^= 1 << (bit % 8);
        let piece = bit / 8 / PIECE_BYTES;
        let bytes = flipped.chunks(PIECE_BYTES).nth(piece).unwrap();
        let sql = "UPDATE piece SET bytes = ?1 WHERE place = \
                   (SELECT upto * 4096 FROM saved) + ?2";
        assert_eq!(store.connection.execute(sql, params![bytes, piece as i64]).unwrap(), 1);
        let error = store.changes_of(id(1)).expect_err("it is damaged");
        let named = matches!(&error, StoreError::Saved { document, .. } if *document == id(1));
        assert!(named, "bit {bit}: {error}");
        let sound = form.chunks(PIECE_BYTES).nth(piece).unwrap();
        store.connection.execute(sql, params![sound, piece as i64]).unwrap();
    }
}

#[test]
fn a_document_folds_as_it_is_written_and_reads_the_same_after_a_restart() {
    let folder = tempfile::tempdir().unwrap();
    let node = Node::open(folder.path()).unwrap();
    let (document, change) = crate::fixture::session(1);
    node.create(document, change).unwrap();
    for number in 0..50 {
        let edit = note(&format!("n{number}"), "it rained");
        node.edit(id(1), |document| document.apply(&edit, &author())).unwrap().unwrap();
    }
    let upto = {
        let held = node.lock();
        let engine = held.store.any().downcast_ref::<Sqlite>().unwrap();
        engine.saved_form(id(1)).unwrap().expect("it has one").upto
    };
    assert_eq!(upto, 48);
    assert_eq!(node.inspect().unwrap().problems, []);
    let seen = |node: &Node| {
        let changes = node.with_document(id(1), Document::changes).unwrap();
        (node.heads().unwrap(), changes)
    };
    let before = seen(&node);
    drop(node);
    let node = Node::open(folder.path()).unwrap();
    assert_eq!(seen(&node), before);
    assert_eq!(before.1.len(), 51);
    let compacted = node.compact().unwrap();
    assert_eq!((compacted.folded, compacted.only_here, compacted.not_alike), (0, 1, 0));
    assert_eq!(seen(&node), before);
    assert_eq!(node.inspect().unwrap().problems, []);
}

#[test]
fn people_who_wrote_apart_fold_in_the_order_they_came() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Sqlite::open(folder.path()).unwrap();
    let (_, start) = session_with_notes(1, 2);
    let apart = |n: u8| -> Vec<Change> {
        let actor = automerge::ActorId::from([n; 16]);
        let mut document = Document::from_changes(id(1), start.clone(), actor).unwrap();
        let write = |number| note(&format!("of-{n}-{number}"), "it rained");
        (0..4).map(|number| document.apply(&write(number), &author()).unwrap()).collect()
    };
    let (ines, tobias) = (apart(51), apart(50));
    let log = [&start[..], &ines[..2], &tobias[..], &ines[2..]].concat();
    let ends = vec![tobias[3].hash(), ines[3].hash()];
    give(&mut store, 8, 1, &log, ends);
    let before = seen(&store);
    let form = saved(&store, 1);
    assert_eq!(store.fold(id(1), None, &form).unwrap(), Folded::Instead);
    assert_eq!(seen(&store), before);
    assert_eq!(store.changes_of(id(1)).unwrap(), log);
    assert_eq!(store.saved_problems().unwrap(), []);
}

#[test]
fn an_order_that_is_none_is_found() {
    let changes = session_with_notes(1, 5).1;
    let stored: Vec<&Change> = [0, 1, 3, 2, 4, 5].map(|at| &changes[at]).into();
    let list = places(&stored, &changes).unwrap();
    assert_eq!(list, [0, 1, 3, 2, 4, 5]);
    let back = super::super::reading::in_places(changes.clone(), &list).unwrap();
    assert!(back.iter().eq(stored));
    for bit in 0..list.len() * 8 {
        let mut flipped = list.clone();
        flipped[bit / 8] ^= 1 << (bit % 8);
        let back = super::super::reading::in_places(changes.clone(), &flipped);
        assert!(back.is_none(), "bit {bit}");
    }
}
