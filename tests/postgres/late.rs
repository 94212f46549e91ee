//! Goal: with several processes on one database nobody ever skips a change, however late it
//! commits; whoever lost the store writes nothing; and what was acknowledged outlives the server.
//! Method: writers stopped before their commit by a lock of the test's, one that goes past the
//! store's own lock, connections cut and a server ended in the middle; and many writers at once
//! under a reader who only ever asks for what comes after the mark it was last given.

use std::collections::BTreeSet;
use std::sync::mpsc;
use std::time::{Duration, Instant};

use automerge::{ActorId, Change};
use guyline_core::record::{Document, DocumentId, SessionEdit};
use guyline_disk::Chance;
use guyline_hub::chunk::Chunk;
use guyline_hub::log::{LogEntry, Mark, NodeId, Seal};
use guyline_hub::store::{Append, Authors as _, Postgres, Reading as _, Store, Writing as _};
use guyline_tests::author;
use postgres::{Client, NoTls};

use crate::fresh;

const NOBODY: NodeId = NodeId([99; 16]);

fn open(url: &str) -> (Postgres, tempfile::TempDir) {
    let folder = tempfile::tempdir().unwrap();
    (Postgres::open(folder.path(), url).unwrap(), folder)
}

/// Makes changes of one document, one after the other.
struct Writer {
    document: Document,
    first: Option<Change>,
}

impl Writer {
    fn new(n: u8) -> Self {
        let (id, actor) = (DocumentId::from_bytes([n; 16]), ActorId::from([n; 16]));
        let site = DocumentId::from_bytes([0; 16]);
        let made = Document::create_session(id, site, "lookout-vhf", "WO 1", actor, &author());
        let (document, first) = made.unwrap();
        Self { document, first: Some(first) }
    }

    fn next(&mut self, number: usize) -> Append {
        let change = self.first.take().unwrap_or_else(|| {
            let text = format!("it rained, {number}");
            let edit = SessionEdit::AddNote { id: format!("note-{number}"), text };
            self.document.apply(&edit, &author()).unwrap()
        });
        let id = self.document.id();
        let seal = Seal {
            change: change.hash(),
            actor: change.actor_id().clone(),
            sequence: change.seq(),
            key: [1; 32],
            signature: [1; 64],
        };
        let entries = vec![LogEntry { document: id, change: Chunk::from(&change) }];
        let (heads, waited) = (vec![change.hash()], BTreeSet::new());
        Append { document: id, entries, heads, seals: vec![seal], waited }
    }
}

fn append(store: &mut Postgres, append: &Append) -> Result<(), String> {
    store.hold().map_err(|error| error.to_string())?;
    let done = store.append(append).map_err(|error| error.to_string());
    store.let_go();
    done
}

/// What came after a mark, as a peer asks for it, and the mark for the next time.
fn after(store: &mut Postgres, mark: Mark) -> (Vec<Chunk>, Mark) {
    store.hold().unwrap();
    let slice = store.log_after(mark, NOBODY, usize::MAX).unwrap();
    store.let_go();
    assert_eq!(slice.after, mark, "the mark still fits");
    (slice.entries.into_iter().map(|entry| entry.change).collect(), slice.to)
}

#[test]
fn a_writer_that_stands_before_its_commit_holds_up_whoever_comes_and_is_skipped_by_nobody() {
    let (_server, url) = fresh();
    let (mut first, _one) = open(&url);
    let (mut second, _two) = open(&url);
    let (mut lookout, mut depot) = (Writer::new(1), Writer::new(2));
    append(&mut first, &lookout.next(0)).unwrap();
    let (seen, mark) = after(&mut second, Mark::START);
    assert_eq!(seen.len(), 1);
    // The seals are written last: who may not write them stands with its changes inserted.
    let mut gate = Client::connect(&url, NoTls).unwrap();
    gate.batch_execute("BEGIN; LOCK TABLE guyline.author_seal IN SHARE MODE").unwrap();
    let late = lookout.next(1);
    let stopped = std::thread::spawn(move || {
        append(&mut first, &late).unwrap();
        first
    });
    wait_for(&mut Client::connect(&url, NoTls).unwrap(), "INSERT INTO author_seal%");
    // Whoever writes after it waits; whoever only reads, as a screen does, sees what is committed.
    let early = second.log_after(mark, NOBODY, usize::MAX).unwrap();
    assert_eq!((early.entries.len(), early.to), (0, mark), "nothing behind it is seen before it");
    let (told, done) = mpsc::channel();
    let next = depot.next(0);
    let waits = std::thread::spawn(move || {
        append(&mut second, &next).unwrap();
        told.send(()).unwrap();
        second
    });
    assert!(done.recv_timeout(Duration::from_millis(500)).is_err(), "it waits for the first");
    gate.batch_execute("COMMIT").unwrap();
    let (mut first, mut second) = (stopped.join().unwrap(), waits.join().unwrap());
    for store in [&mut first, &mut second] {
        let (seen, _) = after(store, mark);
        assert_eq!(seen.len(), 2, "both, the late one first");
        assert_eq!(seen[0].hash(), lookout.document.heads()[0]);
    }
}

/// Waits until a statement like that waits for a lock.
fn wait_for(client: &mut Client, like: &str) {
    let begun = Instant::now();
    let sql =
        "SELECT count(*) FROM pg_stat_activity WHERE wait_event_type = 'Lock' AND query LIKE $1";
    while client.query_one(sql, &[&like]).unwrap().get::<_, i64>(0) == 0 {
        assert!(begun.elapsed() < Duration::from_secs(20), "nobody waits with {like}");
        std::thread::sleep(Duration::from_millis(5));
    }
}

#[test]
fn who_goes_past_the_lock_is_found_out_by_the_pulse() {
    let (_server, url) = fresh();
    let (mut store, _folder) = open(&url);
    let mut lookout = Writer::new(1);
    append(&mut store, &lookout.next(0)).unwrap();
    let (_, mark) = after(&mut store, Mark::START);
    // As a process would that was cut off and does not know it: it has the pulse and no lock.
    let mut past = Client::connect(&url, NoTls).unwrap();
    past.batch_execute(
        "BEGIN; UPDATE guyline.pulse SET generation = generation + 1, settings = generation + 1; \
         INSERT INTO guyline.setting (key, value) VALUES ('whose', 'past the lock')",
    )
    .unwrap();
    let own = lookout.next(1);
    let tried = own.clone();
    let waits = std::thread::spawn(move || (append(&mut store, &tried), store));
    wait_for(&mut Client::connect(&url, NoTls).unwrap(), "UPDATE pulse%");
    past.batch_execute("COMMIT").unwrap();
    let (done, mut store) = waits.join().unwrap();
    let told = done.expect_err("it knew nothing of that write");
    assert!(told.contains("another process"), "{told}");
    assert_eq!(after(&mut store, mark).0, [], "it wrote nothing");
    assert_eq!(store.setting("whose").unwrap().as_deref(), Some("past the lock"));
    append(&mut store, &own).unwrap();
    assert_eq!(after(&mut store, mark).0.len(), 1, "the same goes when it is asked again");
}

#[test]
fn many_writers_at_once_are_read_whole_and_in_order_by_who_asks_only_for_news() {
    const WRITERS: u8 = 4;
    const EACH: usize = 40;
    let (_server, url) = fresh();
    let (mut reader, _folder) = open(&url);
    let threads: Vec<_> = (1..=WRITERS)
        .map(|n| {
            let (mut store, folder) = open(&url);
            std::thread::spawn(move || {
                let (mut chance, mut writer) = (Chance::new(n.into()), Writer::new(n));
                for number in 0..EACH {
                    append(&mut store, &writer.next(number)).unwrap();
                    std::thread::sleep(Duration::from_micros(chance.below(2_000) as u64));
                }
                drop(folder);
            })
        })
        .collect();
    let (mut mark, mut seen, mut asked) = (Mark::START, Vec::new(), 0);
    let all = usize::from(WRITERS) * EACH;
    while seen.len() < all {
        let (news, next) = after(&mut reader, mark);
        mark = next;
        asked += 1;
        seen.extend(news);
        assert!(asked < 1_000_000, "{} of {all} were seen", seen.len());
    }
    threads.into_iter().for_each(|thread| thread.join().unwrap());
    let hashes: BTreeSet<_> = seen.iter().map(Chunk::hash).collect();
    assert_eq!((hashes.len(), seen.len()), (all, all), "each once");
    assert!(asked > 5, "it read while they wrote: {asked}");
    let mut known = BTreeSet::new();
    for chunk in &seen {
        let change = chunk.change().unwrap();
        assert!(change.deps().iter().all(|cause| known.contains(cause)), "causes come first");
        known.insert(change.hash());
    }
    assert_eq!(after(&mut reader, mark).0, [], "and nothing came late");
}

#[test]
fn a_cut_connection_writes_nothing_more_and_lets_the_others_in() {
    let (_server, url) = fresh();
    let (mut first, _one) = open(&url);
    let (mut second, _two) = open(&url);
    let mut lookout = Writer::new(1);
    first.hold().unwrap();
    let mut cut = Client::connect(&url, NoTls).unwrap();
    let sql = "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity \
               WHERE application_name = 'guyline' AND pid IN (SELECT pid FROM pg_locks \
               WHERE locktype = 'advisory' AND granted)";
    assert_eq!(cut.query_one(sql, &[]).unwrap().get::<_, i64>(0), 1, "who holds it is cut off");
    let begun = Instant::now();
    append(&mut second, &lookout.next(0)).unwrap();
    assert!(begun.elapsed() < Duration::from_secs(10), "the lock went with the connection");
    let own = Writer::new(2).next(0);
    let told = first.append(&own).unwrap_err();
    assert!(told.to_string().contains("out of reach"), "{told}");
    first.let_go();
    append(&mut first, &own).unwrap();
    assert_eq!(after(&mut second, Mark::START).0.len(), 2, "it came back and knows both");
    assert_eq!(first.heads().len(), 2);
}

#[test]
fn what_was_acknowledged_outlives_a_server_that_ends_in_the_middle() {
    let (mut server, url) = fresh();
    let (mut store, _folder) = open(&url);
    let mut lookout = Writer::new(1);
    let mut acknowledged = Vec::new();
    for round in 0..3 {
        let (told, ended) = mpsc::channel();
        let writing = std::thread::spawn(move || {
            let mut kept = Vec::new();
            loop {
                let next = lookout.next(kept.len() + round * 1_000);
                if append(&mut store, &next).is_err() {
                    break;
                }
                kept.push(next.heads[0]);
                told.send(()).unwrap();
            }
            (kept, store)
        });
        (0..20).for_each(|_| ended.recv().unwrap());
        server.kill();
        let (kept, back) = writing.join().unwrap();
        acknowledged.extend(kept);
        server.start_again();
        std::thread::sleep(Duration::from_millis(1_100));
        store = back;
        // What was cut off may be there or not; the document goes on as it is there.
        store.hold().unwrap();
        let id = DocumentId::from_bytes([1; 16]);
        let changes = store.changes_of(id).unwrap();
        assert!(!store.seals_of(id).unwrap().is_empty());
        store.let_go();
        let actor = ActorId::from([10 + round as u8; 16]);
        let document = Document::from_changes(id, changes, actor).unwrap();
        lookout = Writer { document, first: None };
    }
    let there: BTreeSet<_> = after(&mut store, Mark::START).0.iter().map(Chunk::hash).collect();
    assert!(acknowledged.len() >= 60 && acknowledged.iter().all(|hash| there.contains(hash)));
}
