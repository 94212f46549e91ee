//! Goal: memory never holds what the disk does not, and what came from elsewhere is stored, set
//! aside or refused with a reason, never lost. Method: a store in a folder, made full or damaged.

use super::*;
use crate::fixture::{author, id, note, session, session_with_notes};
use crate::log::{Ask, Card, LogSlice, Mark, NodeId, Seal, Start, StoreId};
use crate::store::Sqlite;
use crate::sync::exchange::Stored;
use guyline_core::record::EditRefused;

fn open(dir: &tempfile::TempDir) -> Documents {
    let key = Arc::new(DeviceKey::open(dir.path()).unwrap());
    Documents::new(Box::new(Sqlite::open(dir.path()).unwrap()), key).unwrap()
}

fn peer() -> Card {
    Card { node: NodeId([9; 16]), store: StoreId([9; 16]), name: "Tobias's tablet".to_owned() }
}

fn entries(document: DocumentId, changes: &[Change]) -> Vec<LogEntry> {
    changes.iter().map(|change| LogEntry { document, change: Chunk::from(change) }).collect()
}

fn mark(position: u64) -> Mark {
    Mark { position, hash: [position as u8; 32] }
}

fn take(documents: &mut Documents, entries: Vec<LogEntry>, seen: Mark) -> Stored {
    documents.take_in(given(entries, seen), None, author().at).unwrap()
}

/// What a device gives that answers for all of it.
fn given(entries: Vec<LogEntry>, seen: Mark) -> Given {
    let folder = tempfile::tempdir().unwrap();
    let key = DeviceKey::open(folder.path()).unwrap();
    let seals = (0..)
        .zip(&entries)
        .map(|(at, entry)| (at, key.seal(entry.document, &entry.change.change().unwrap())));
    let seals = seals.collect();
    piece(entries, seals, seen)
}

fn piece(entries: Vec<LogEntry>, seals: Vec<(u32, Seal)>, seen: Mark) -> Given {
    let documents = entries.iter().map(|entry| entry.document).collect();
    let nothing = LogSlice::nothing(Mark::START, Start::Continues, seen);
    let slice = LogSlice { entries, seals, ..nothing };
    Given { card: peer(), slice, documents, seen, asked: Ask::ALL, anew: false }
}

fn add_note(documents: &mut Documents, n: u8, name: &str) -> Result<(), NodeError> {
    documents
        .edit(id(n), |document| document.apply(&note(name, "it rained"), &author()))
        .map(|edited: Result<(), EditRefused>| edited.unwrap())
}

fn notes(documents: &mut Documents, n: u8) -> Vec<String> {
    let look = |document: &Document| document.session().unwrap().notes.keys().cloned().collect();
    documents.look(id(n), look).unwrap()
}

/// Lets the store have no more pages than it has now, as a full disk would.
fn fill_disk(documents: &Documents, full: bool) {
    let connection = documents.sqlite();
    let pages: i64 = connection.pragma_query_value(None, "page_count", |row| row.get(0)).unwrap();
    let most = if full { pages } else { pages + 1_000_000 };
    let sql = format!("PRAGMA max_page_count = {most}");
    connection.query_row(&sql, [], |row| row.get::<_, i64>(0)).unwrap();
}

fn run_sql(documents: &Documents, sql: &str) {
    documents.sqlite().execute_batch(sql).unwrap();
}

#[test]
fn what_rests_is_opened_from_its_saved_form_alone() {
    let dir = tempfile::tempdir().unwrap();
    let mut documents = open(&dir);
    let (document, change) = session(1);
    documents.create(document, change).unwrap();
    add_note(&mut documents, 1, "n1").unwrap();
    assert_eq!(documents.store.written(id(1)).unwrap().later.len(), 2);
    while documents.fold_one().unwrap() {}
    drop(documents);
    let mut documents = open(&dir);
    let written = documents.store.written(id(1)).unwrap();
    assert!(written.saved.is_some() && written.later.is_empty());
    assert_eq!(notes(&mut documents, 1), ["n1"]);
    add_note(&mut documents, 1, "n2").unwrap();
    assert_eq!(documents.store.written(id(1)).unwrap().later.len(), 1, "and goes on from there");
}

#[test]
fn an_edit_is_there_after_the_next_start() {
    let dir = tempfile::tempdir().unwrap();
    let mut documents = open(&dir);
    let (document, change) = session(1);
    documents.create(document, change).unwrap();
    add_note(&mut documents, 1, "a").unwrap();
    let heads = documents.store.heads().clone();
    drop(documents);

    let mut documents = open(&dir);
    assert_eq!(notes(&mut documents, 1), ["a"]);
    assert_eq!(*documents.store.heads(), heads);
    assert_eq!(documents.store.newest().position, 2);
    add_note(&mut documents, 1, "b").unwrap();
    assert_eq!(notes(&mut documents, 1), ["a", "b"]);
}

#[test]
fn a_document_is_made_once() {
    let dir = tempfile::tempdir().unwrap();
    let mut documents = open(&dir);
    let (document, change) = session(1);
    documents.create(document, change).unwrap();
    let (document, change) = session(1);
    let error = documents.create(document, change).unwrap_err();
    assert!(matches!(error, NodeError::Exists { document } if document == id(1)), "{error}");
    let error = documents.look(id(2), |_| ()).unwrap_err();
    assert!(matches!(error, NodeError::Absent { document } if document == id(2)), "{error}");
}

#[test]
fn a_refused_edit_leaves_everything_as_it_was() {
    let dir = tempfile::tempdir().unwrap();
    let mut documents = open(&dir);
    let (document, change) = session(1);
    documents.create(document, change).unwrap();
    let before = (documents.store.newest(), documents.store.heads().clone());
    let refused = documents
        .edit(id(1), |document| {
            // A change that is made and then not wanted must not stay in memory either.
            document.apply(&note("a", "it rained"), &author())?;
            document.apply(&note("", "no id"), &author())
        })
        .unwrap();
    assert!(matches!(refused, Err(EditRefused::Unfit { .. })), "{refused:?}");
    assert_eq!((documents.store.newest(), documents.store.heads().clone()), before);
    assert!(notes(&mut documents, 1).is_empty());
}

#[test]
fn an_edit_that_the_disk_does_not_take_is_not_in_memory_either() {
    let dir = tempfile::tempdir().unwrap();
    let mut documents = open(&dir);
    let (document, change) = session(1);
    documents.create(document, change).unwrap();
    fill_disk(&documents, true);
    let mut kept = 0;
    let error = loop {
        match add_note(&mut documents, 1, &format!("n{kept:03}")) {
            Ok(()) => kept += 1,
            Err(error) => break error,
        }
        assert!(kept < 1_000, "the disk never got full");
    };
    assert!(matches!(error, NodeError::Store(StoreError::Full { .. })), "{error}");
    assert_eq!(notes(&mut documents, 1).len(), kept, "what was acknowledged, and no more");

    fill_disk(&documents, false);
    add_note(&mut documents, 1, "later").unwrap();
    assert_eq!(notes(&mut documents, 1).len(), kept + 1);
    drop(documents);
    assert_eq!(notes(&mut open(&dir), 1).len(), kept + 1);
}

#[test]
fn a_panic_in_an_edit_leaves_the_document_as_it_is_on_disk() {
    let dir = tempfile::tempdir().unwrap();
    let mut documents = open(&dir);
    let (document, change) = session(1);
    documents.create(document, change).unwrap();
    let edit = std::panic::AssertUnwindSafe(|| {
        documents.edit::<EditRefused>(id(1), |document| {
            document.apply(&note("a", "it rained"), &author())?;
            panic!("on purpose")
        })
    });
    std::panic::catch_unwind(edit).expect_err("it panics");
    assert!(notes(&mut documents, 1).is_empty());
    add_note(&mut documents, 1, "b").unwrap();
    assert_eq!(notes(&mut documents, 1), ["b"]);
}

#[test]
fn every_load_writes_under_a_new_actor() {
    let dir = tempfile::tempdir().unwrap();
    let mut actors = BTreeSet::new();
    let (document, change) = session(1);
    open(&dir).create(document, change).unwrap();
    for start in 0..3 {
        let mut documents = open(&dir);
        for name in ["a", "b"] {
            add_note(&mut documents, 1, &format!("{name}{start}")).unwrap();
        }
        let changes = documents.store.changes_of(id(1)).unwrap();
        actors.extend(changes.iter().map(|change| change.actor_id().clone()));
    }
    assert_eq!(actors.len(), 4, "who made it, and one each start");
}

#[test]
fn a_flipped_bit_is_found_and_named_and_the_rest_still_opens() {
    let dir = tempfile::tempdir().unwrap();
    let mut documents = open(&dir);
    for n in [1, 2] {
        let (_, changes) = session_with_notes(n, 2);
        take(&mut documents, entries(id(n), &changes), mark(u64::from(n)));
    }
    let bits: i64 = documents
        .sqlite()
        .query_row("SELECT length(bytes) * 8 FROM change WHERE position = 2", [], |row| row.get(0))
        .unwrap();
    let bytes: Vec<u8> = documents
        .sqlite()
        .query_row("SELECT bytes FROM change WHERE position = 2", [], |row| row.get(0))
        .unwrap();
    for bit in 0..usize::try_from(bits).unwrap() {
        let mut flipped = bytes.clone();
        flipped[bit / 8] ^= 1 << (bit % 8);
        let sql = "UPDATE change SET bytes = ?1 WHERE position = 2";
        documents.sqlite().execute(sql, [flipped]).unwrap();
        let error = documents.store.changes_of(id(1)).unwrap_err();
        let one = id(1);
        assert!(
            matches!(&error, StoreError::Rotten { document, position: 2, .. } if *document == one),
            "bit {bit}: {error}"
        );
    }
    drop(documents);
    let mut documents = open(&dir);
    let error = documents.look(id(1), |_| ()).unwrap_err();
    assert!(matches!(error, NodeError::Store(StoreError::Rotten { .. })), "{error}");
    assert_eq!(notes(&mut documents, 2).len(), 2);
}

#[test]
fn a_stored_change_that_went_missing_is_noticed() {
    for (sql, what) in [
        ("DELETE FROM change WHERE position = 3", "the last one"),
        ("DELETE FROM change WHERE position = 2", "one in between"),
        ("UPDATE change SET document = zeroblob(16) WHERE position = 3", "one that moved"),
    ] {
        let dir = tempfile::tempdir().unwrap();
        let mut documents = open(&dir);
        let (_, changes) = session_with_notes(1, 2);
        take(&mut documents, entries(id(1), &changes), mark(1));
        run_sql(&documents, sql);
        drop(documents);
        let error = open(&dir).look(id(1), |_| ()).expect_err(what);
        let noticed = matches!(
            error,
            NodeError::Gap { .. } | NodeError::Unreadable(Malformed::CausesMissing { .. })
        );
        assert!(noticed, "{what}: {error}");
    }
}

#[test]
fn what_comes_twice_is_stored_once() {
    let dir = tempfile::tempdir().unwrap();
    let mut documents = open(&dir);
    let (_, changes) = session_with_notes(1, 3);
    let twice = [entries(id(1), &changes), entries(id(1), &changes)].concat();
    assert_eq!(take(&mut documents, twice, mark(4)).taken, 4);
    assert_eq!(take(&mut documents, entries(id(1), &changes), mark(4)).taken, 0);
    assert_eq!(documents.store.newest().position, 4);
    assert_eq!(documents.store.memory_of(&peer()).unwrap().unwrap().seen, mark(4));
}

#[test]
fn the_same_change_under_another_document_does_not_displace_the_true_one() {
    let dir = tempfile::tempdir().unwrap();
    let mut documents = open(&dir);
    let (_, changes) = session_with_notes(1, 1);
    take(&mut documents, entries(id(2), &changes), mark(2));
    let stored = take(&mut documents, entries(id(1), &changes), mark(4));
    assert_eq!(stored.taken, 2);
    assert_eq!(notes(&mut documents, 1).len(), 1);
}

#[test]
fn one_malformed_change_is_set_aside_with_what_follows_from_it_and_the_rest_goes_on() {
    let dir = tempfile::tempdir().unwrap();
    let mut documents = open(&dir);
    let (_, good) = session_with_notes(1, 2);
    let (_, other) = session_with_notes(2, 2);
    let (bad, after_bad) = spoiling(&good);
    let mut body = entries(id(1), &good);
    body.extend(entries(id(1), &[bad.clone(), after_bad.clone()]));
    body.extend(entries(id(2), &other));
    let stored = take(&mut documents, body, mark(8));
    assert_eq!((stored.taken, stored.set_aside), (6, 2));
    assert_eq!(notes(&mut documents, 1).len(), 2);
    assert_eq!(notes(&mut documents, 2).len(), 2);

    let aside = documents.store.set_aside().unwrap();
    let reason = |change: &Change| {
        let found = aside.iter().find(|aside| aside.entry.change.hash() == change.hash());
        found.expect("it is kept").reason.clone()
    };
    assert!(reason(&bad).contains("unexpected int"), "{}", reason(&bad));
    assert!(reason(&after_bad).contains("causes are missing"), "{}", reason(&after_bad));
    assert_eq!(documents.store.set_aside_count().unwrap(), 2);
    drop(documents);
    assert_eq!(notes(&mut open(&dir), 1).len(), 2, "the store opens as before");
}

#[test]
fn changes_whose_causes_are_missing_are_set_aside_and_settle_when_the_causes_come() {
    let dir = tempfile::tempdir().unwrap();
    let mut documents = open(&dir);
    let (_, changes) = session_with_notes(1, 3);
    let stored = take(&mut documents, entries(id(1), &changes[2..]), mark(1));
    assert_eq!((stored.taken, stored.set_aside), (0, 2));
    assert!(documents.store.heads().is_empty(), "no document comes from effects alone");
    let stored = take(&mut documents, entries(id(1), &changes), mark(2));
    assert_eq!((stored.taken, stored.set_aside), (4, 0));
    assert_eq!(documents.store.set_aside_count().unwrap(), 0);
}

#[test]
fn a_disk_that_gets_full_during_an_exchange_takes_nothing_of_it() {
    let dir = tempfile::tempdir().unwrap();
    let mut documents = open(&dir);
    let (document, change) = session(1);
    documents.create(document, change).unwrap();
    let (_, changes) = session_with_notes(1, 120);
    fill_disk(&documents, true);
    let before = documents.store.heads().clone();
    let given = given(entries(id(1), &changes), mark(9));
    let error = documents.take_in(given, None, author().at);
    assert!(matches!(error, Err(NodeError::Store(StoreError::Full { .. }))), "{error:?}");
    assert_eq!(*documents.store.heads(), before);
    assert_eq!(documents.store.memory_of(&peer()).unwrap(), None);
    fill_disk(&documents, false);
    assert_eq!(take(&mut documents, entries(id(1), &changes), mark(9)).taken, 120);
}

/// A change on top of these that puts a number where the notes belong, and one that follows it.
fn spoiling(changes: &[Change]) -> (Change, Change) {
    use automerge::transaction::Transactable;
    use automerge::{AutoCommit, ROOT, ReadDoc};
    let mut document = AutoCommit::new().with_actor(automerge::ActorId::from([77; 16]));
    document.apply_changes(changes.to_vec()).unwrap();
    let (_, content) = document.get(ROOT, "content").unwrap().unwrap();
    document.put(&content, "notes", 7).unwrap();
    let first = document.get_last_local_change().unwrap();
    document.put(ROOT, "more", 1).unwrap();
    let second = document.get_last_local_change().unwrap();
    (first, second)
}

#[test]
fn what_comes_before_its_seal_waits_for_it_and_is_owed_to_everybody() {
    let dir = tempfile::tempdir().unwrap();
    let mut documents = open(&dir);
    let (_, changes) = session_with_notes(1, 4);
    let all = given(entries(id(1), &changes), mark(5));
    let (first, last) = all.slice.entries.split_at(3);
    let without = piece(first.to_vec(), Vec::new(), mark(3));
    let stored = documents.take_in(without, None, author().at).unwrap();
    assert_eq!((stored.taken, stored.set_aside), (0, 3));
    assert!(documents.store.heads().is_empty(), "no part of a document yet");
    assert!(documents.store.set_aside().unwrap().iter().all(|aside| aside.waits));

    let newest = (1, all.slice.seals.last().unwrap().1.clone());
    let other = Card { node: NodeId([8; 16]), store: StoreId([8; 16]), name: "hub".to_owned() };
    let rest = Given { card: other.clone(), ..piece(last.to_vec(), vec![newest], mark(5)) };
    let stored = documents.take_in(rest, None, author().at).unwrap();
    assert_eq!((stored.taken, stored.set_aside), (5, 0));
    assert_eq!(documents.store.set_aside_count().unwrap(), 0);
    assert_eq!(notes(&mut documents, 1).len(), 4);
    // The hub gave the last two only, and whether it holds the others nobody said.
    let owed = documents.store.log_after(Mark::START, other.node, usize::MAX).unwrap();
    assert_eq!(owed.entries.len(), 3);
}
