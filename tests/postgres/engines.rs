//! Goal: both engines are one store: whatever is done with them, whoever asks either of anything
//! hears the same. Method: the same random script on a folder and on a database; after each step
//! everything that can be asked is asked of both and compared. Marks rest on a random number of the
//! start that wrote them and are compared by position.

use std::collections::BTreeMap;

use automerge::{ActorId, Change, ChangeHash};
use guyline_core::record::{Document, DocumentId, SessionEdit};
use guyline_core::time::Timestamp;
use guyline_disk::Chance;
use guyline_hub::chunk::Chunk;
use guyline_hub::log::{
    Ask, Card, Known, LogEntry, LogSlice, Mark, NodeId, Place, Receipt, Scope, Seal, StoreId,
};
use guyline_hub::store::{
    Append, Pass, Placing, Postgres, SetAside, Sqlite, Store, Summary, TakeIn, Written,
};
use guyline_tests::{asked, author};

use crate::fresh;

const STEPS: usize = 40;
const DOCUMENTS: u8 = 4;
const PEERS: u8 = 3;

fn id(n: u8) -> DocumentId {
    DocumentId::from_bytes([n; 16])
}

/// A document that grows by notes, each a change.
struct Growing {
    document: Document,
    made: Vec<Change>,
}

impl Growing {
    fn new(n: u8) -> Self {
        let actor = ActorId::from([n; 16]);
        let made = Document::create_session(id(n), id(0), "lookout-vhf", "WO 1", actor, &author());
        let (document, first) = made.expect("a session");
        Self { document, made: vec![first] }
    }

    /// So many changes more.
    fn grow(&mut self, count: usize) -> Vec<Change> {
        let from = self.made.len();
        for _ in 0..count {
            let number = self.made.len();
            let text = format!("it rained, {number}");
            let edit = SessionEdit::AddNote { id: format!("note-{number}"), text };
            self.made.push(self.document.apply(&edit, &author()).expect("a note"));
        }
        self.made[from..].to_vec()
    }
}

fn entries(document: DocumentId, changes: &[Change]) -> Vec<LogEntry> {
    changes.iter().map(|change| LogEntry { document, change: Chunk::from(change) }).collect()
}

fn seal(change: &Change, key: u8) -> Seal {
    Seal {
        change: change.hash(),
        actor: change.actor_id().clone(),
        sequence: change.seq(),
        key: [key; 32],
        signature: [key; 64],
    }
}

/// Both engines, and what the script knows.
struct Both {
    engines: [Box<dyn Store>; 2],
    chance: Chance,
    documents: BTreeMap<u8, Growing>,
    /// Which of its stores each peer comes with.
    stores: BTreeMap<u8, u8>,
    now: i64,
}

impl Both {
    fn at(&mut self) -> Timestamp {
        self.now += 1 + self.chance.below(3_000) as i64;
        Timestamp::from_unix_ms(self.now).expect("a time")
    }

    fn card(&self, peer: u8) -> Card {
        let store = self.stores.get(&peer).copied().unwrap_or(peer);
        Card {
            node: NodeId([peer; 16]),
            store: StoreId([store; 16]),
            name: format!("tablet {peer}"),
        }
    }

    fn each(&mut self, mut work: impl FnMut(&mut dyn Store)) {
        for engine in &mut self.engines {
            engine.hold().expect("it can be had");
            work(&mut **engine);
            engine.let_go();
        }
    }

    /// News of one document; of a new one at least its first change.
    fn news(&mut self, waited: bool) -> Append {
        let n = 1 + self.chance.below(DOCUMENTS.into()) as u8;
        let more = 1 + self.chance.below(4);
        let changes = match self.documents.get_mut(&n) {
            Some(growing) => growing.grow(more),
            None => {
                let growing = Growing::new(n);
                let changes = growing.made.clone();
                self.documents.insert(n, growing);
                changes
            }
        };
        let heads = vec![changes.last().expect("one at least").hash()];
        let waited = changes.iter().filter(|_| waited).map(Change::hash).take(1).collect();
        let key = 1 + self.chance.below(3) as u8;
        let seals = vec![seal(changes.last().expect("one at least"), key)];
        let document = id(n);
        Append { document, entries: entries(document, &changes), heads, seals, waited }
    }

    fn placing(&mut self) -> Placing {
        let mut appends = vec![];
        for _ in 0..self.chance.below(3) {
            let waited = self.chance.below(4) == 0;
            let append = self.news(waited);
            // One transaction says of each document once where it leads.
            appends.retain(|one: &Append| one.document != append.document);
            appends.push(append);
        }
        let mut set_aside = vec![];
        if self.chance.below(3) == 0 {
            let (n, waits) = (20 + self.chance.below(3) as u8, self.chance.below(2) == 0);
            let stranger = Growing::new(n).made.remove(0);
            let sealed = (self.chance.below(2) == 0).then(|| seal(&stranger, 9));
            let reason = format!("for reason {}", self.chance.below(3));
            let entry = entries(id(n), &[stranger]).remove(0);
            set_aside.push(SetAside { entry, reason, waits, seal: sealed });
        }
        Placing { appends, set_aside, at: self.at() }
    }

    fn step(&mut self) -> String {
        let peer = 1 + self.chance.below(PEERS.into()) as u8;
        let kind = self.chance.below(12);
        match kind {
            0 | 1 => {
                let append = self.news(false);
                self.each(|store| store.append(&append).unwrap());
            }
            2 | 3 => {
                let (card, placing) = (self.card(peer), self.placing());
                let anew = self.chance.below(6) == 0;
                let (seen, asked) = (self.mark(), self.asked());
                let body = TakeIn { card, seen, asked, anew, placing };
                self.each(|store| store.take_in(&body).unwrap());
            }
            4 => self.acknowledge(peer),
            5 => self.each(|store| store.forget_peer(NodeId([peer; 16])).unwrap()),
            6 => {
                let address = (self.chance.below(2) == 0)
                    .then(|| format!("192.0.2.{}", self.chance.below(2)));
                let failure = (self.chance.below(2) == 0).then(|| "unreachable".to_owned());
                let at = self.at();
                self.each(|store| {
                    let (address, failure) = (address.as_deref(), failure.as_deref());
                    store.exchange_ended(NodeId([peer; 16]), address, failure, at).unwrap();
                });
            }
            7 => {
                let (key, value) = (format!("key {}", self.chance.below(2)), self.now.to_string());
                self.each(|store| store.set_setting(&key, &value).unwrap());
                self.each(|store| store.rename(&format!("hub {value}")).unwrap());
            }
            8 => self.fold(),
            9 => self.arrive(peer),
            10 => {
                let said = Summary::new(format!("all well {}", self.now), &[b"from"]);
                let said = BTreeMap::from([(id(peer), said)]);
                self.each(|store| store.keep_summaries(&said).unwrap());
            }
            _ => {
                let store = self.stores.entry(peer).or_insert(peer);
                *store = store.wrapping_add(64);
            }
        }
        format!("step of kind {kind} with peer {peer}")
    }

    fn mark(&mut self) -> Mark {
        Mark {
            position: 1 + self.chance.below(50) as u64,
            hash: [self.chance.below(255) as u8; 32],
        }
    }

    /// Everything, or one or two of four sites.
    fn scope(&mut self) -> Scope {
        if self.chance.below(2) == 0 {
            return Scope::All;
        }
        let count = self.chance.below(3);
        Scope::Sites((0..count).map(|_| id(100 + self.chance.below(4) as u8)).collect())
    }

    fn asked(&mut self) -> Ask {
        let known = self.chance.below(3) == 0;
        let known = known.then(|| Known { upto: self.mark(), scope: self.scope() });
        Ask { scope: self.scope(), known }
    }

    /// A peer acknowledges up to some change, by the mark each engine itself makes of it.
    fn acknowledge(&mut self, peer: u8) {
        let (card, at) = (self.card(peer), self.at());
        let wrong = self.chance.below(5) == 0;
        let share = self.chance.below(100_000) + 1;
        let receipt = Receipt { key: [peer; 32], signature: [peer; 64] };
        let holds = self.scope();
        self.each(|store| {
            let slice = store.log_after(Mark::START, NodeId([99; 16]), share).unwrap();
            let mut mark = slice.to;
            if wrong {
                mark.hash[0] ^= 1;
            }
            store.acknowledge(&card, mark, &holds, receipt, at).unwrap();
        });
    }

    fn fold(&mut self) {
        let Some((n, saved)) =
            self.documents.iter().next_back().map(|(n, one)| (*n, one.document.saved()))
        else {
            return;
        };
        self.each(|store| {
            // How it is kept is the engine's own matter.
            store.fold(id(n), place(id(n)), &saved).unwrap();
        });
    }

    fn arrive(&mut self, peer: u8) {
        let (card, at, mark, asked) = (self.card(peer), self.at(), self.mark(), self.asked());
        let placing = self.placing();
        let given_up = self.chance.below(4) == 0;
        let body = self.now.to_be_bytes();
        self.each(|store| store.arrive(&card, (mark, &asked), false, &body, at).unwrap());
        self.each(|store| {
            let arrival = store.next_arrival().unwrap().expect("it came");
            assert_eq!(arrival.body.as_deref(), Some(body.as_slice()));
            match given_up {
                true => store.give_up(&arrival).unwrap(),
                false => store.put_in_place(&arrival, &placing, &[]).unwrap(),
            }
        });
        if given_up {
            // What was not placed is in no store, and comes another way.
            let appends = placing.appends;
            self.each(|store| appends.iter().for_each(|append| store.append(append).unwrap()));
        }
    }

    fn compare(&mut self, after: &str) {
        let peers: Vec<Card> = (1..=PEERS).map(|peer| self.card(peer)).collect();
        let mut said = Vec::new();
        self.each(|store| said.push(asked_all(store, &peers)));
        let [sqlite, postgres] = said.try_into().expect("two engines");
        for (line, (left, right)) in sqlite.iter().zip(&postgres).enumerate() {
            assert_eq!(left, right, "line {line} after {after}");
        }
        assert_eq!(sqlite.len(), postgres.len(), "after {after}");
    }
}

/// Each document is a visit to a site of its own, but for the last, of which nothing is known.
fn place(document: DocumentId) -> Option<Place> {
    let n = document.to_bytes()[0];
    (n < DOCUMENTS).then(|| if n == 1 { Place::Papers } else { Place::Visit(id(100 + n)) })
}

/// A mark by its position.
fn position(mark: Mark) -> u64 {
    mark.position
}

fn slice_said(slice: &LogSlice) -> String {
    let changes: Vec<_> =
        slice.entries.iter().map(|entry| (entry.document, entry.change.hash())).collect();
    let (after, to) = (position(slice.after), position(slice.to));
    let (start, seals, more) = (slice.start, &slice.seals, slice.more);
    format!("after {after} to {to} {start:?} {changes:?} {seals:?} more {more}")
}

/// Everything that can be asked of a store.
fn asked_all(store: &dyn Store, peers: &[Card]) -> Vec<String> {
    let documents: Vec<DocumentId> = store.heads().keys().copied().collect();
    let mut said = vec![
        format!("{:?} {} {:?}", store.card().name, position(store.newest()), store.heads()),
        format!("{:?} {:?}", store.setting("key 0").unwrap(), store.setting("key 1").unwrap()),
        format!("{:?} {:?}", store.peers().unwrap(), store.addresses().unwrap()),
        format!("{} {}", store.only_here(&place).unwrap(), store.arrivals().unwrap()),
        format!("{:?} {}", store.set_aside().unwrap(), store.set_aside_count().unwrap()),
        format!("{:?}", store.summaries().unwrap()),
        format!("{:?}", store.not_known_at(None, &place).unwrap()),
        format!("{:?} {:?}", store.without_heads().unwrap(), store.saved_problems().unwrap()),
        format!("{:?} {}", store.asked().unwrap(), store.damaged_arrivals().unwrap()),
    ];
    let mut waited_for = store.waited_for().unwrap();
    waited_for.sort_unstable();
    said.push(format!("{waited_for:?}"));
    let receipts = store.receipts().unwrap().into_iter();
    said.extend(
        receipts.map(|(card, mark, receipt)| format!("{card:?} {} {receipt:?}", position(mark))),
    );
    for key in 1..=3 {
        let mut sealed = store.sealed_by([key; 32]).unwrap();
        sealed.sort_unstable();
        said.push(format!("{sealed:?}"));
    }
    for document in documents {
        let hashes = |changes: Vec<Change>| -> Vec<ChangeHash> {
            changes.iter().map(Change::hash).collect()
        };
        let changes = store.changes_of(document).unwrap();
        let news = changes.iter().take(2).map(Chunk::from).collect();
        said.push(format!("{:?} {:?}", store.length_of(document).unwrap().whole, hashes(changes)));
        said.push(format!("{:?}", store.not_held(document, news).unwrap()));
        said.push(format!("{:?}", store.seals_of(document).unwrap()));
        said.push(format!("{:?}", store.waiting(document).unwrap()));
    }
    for card in peers {
        let slice = store.log_after(Mark::START, card.node, 2_000).unwrap();
        let next = store.log_after(slice.to, card.node, usize::MAX).unwrap();
        let lost = Mark { hash: [7; 32], ..slice.to };
        let anew = store.log_after(lost, card.node, 500).unwrap();
        said.extend([&slice, &next, &anew].map(slice_said));
        said.push(format!("{:?}", store.owed(card.node).unwrap()));
        for (left_out, stops) in [(id(1), id(0)), (id(2), id(3)), (id(3), id(1)), (id(0), id(2))] {
            let mut gate = |_: u64, document: DocumentId| {
                // Whoever is asked may have to read the document to answer.
                if document == left_out {
                    let Written { saved, later } = store.written(document)?;
                    assert!(saved.is_some() || !later.is_empty());
                }
                Ok(match document {
                    _ if document == stops => Pass::Stop,
                    _ if document == left_out => Pass::LeaveOut,
                    _ => Pass::Send,
                })
            };
            let slice = store.log_through(Mark::START, card.node, 2_000, &mut gate).unwrap();
            said.push(slice_said(&slice));
        }
        let memory = store.memory_of(card).unwrap();
        let memory = memory
            .map(|known| (known.seen, known.asked, position(known.acknowledged), known.holds));
        said.push(format!("{memory:?} {}", store.is_replaced(card).unwrap()));
        said.push(format!("{:?}", store.not_known_at(Some(&[card.node]), &place).unwrap()));
    }
    for address in ["192.0.2.0", "192.0.2.1"] {
        let met = store.met_at(address).unwrap();
        said.push(format!("{:?}", met.map(|(node, store, known)| (node, store, known.seen))));
    }
    said
}

#[test]
fn whatever_is_done_both_engines_say_the_same() {
    let server = guyline_tests::database::Server::start();
    for seed in 0..asked("GUYLINE_SEEDS", 6_u64) {
        let (folder, beside) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let url = server.database(&format!("seed{seed}"));
        let engines: [Box<dyn Store>; 2] = [
            Box::new(Sqlite::open(folder.path()).unwrap()),
            Box::new(Postgres::open(beside.path(), &url).unwrap()),
        ];
        let chance = Chance::new(seed);
        let (documents, stores) = Default::default();
        let mut both = Both { engines, chance, documents, stores, now: 1_780_000_000_000 };
        both.each(|store| store.rename("hub").unwrap());
        for step in 0..STEPS {
            let what = both.step();
            both.compare(&format!("{what}, seed {seed}, step {step}"));
        }
        // What was written is there for whoever opens it next.
        drop(both);
        let again = Postgres::open(beside.path(), &url).unwrap();
        let sqlite = Sqlite::open(folder.path()).unwrap();
        let peers: Vec<Card> = Vec::new();
        assert_eq!(asked_all(&again, &peers), asked_all(&sqlite, &peers), "seed {seed}");
    }
}

#[test]
fn a_database_of_a_later_version_and_one_out_of_reach_are_told() {
    let (server, url) = fresh();
    let folder = tempfile::tempdir().unwrap();
    drop(Postgres::open(folder.path(), &url).unwrap());
    let mut client = postgres::Client::connect(&url, postgres::NoTls).unwrap();
    client.execute("UPDATE guyline.pulse SET version = 99", &[]).unwrap();
    let told = Postgres::open(folder.path(), &url).unwrap_err();
    assert!(told.to_string().contains("version 99"), "{told}");
    assert!(told.help().contains("update"), "{}", told.help());
    drop((client, server));
    let told = Postgres::open(folder.path(), &url).unwrap_err();
    assert!(told.to_string().contains("out of reach"), "{told}");
    let told = Postgres::open(folder.path(), "not an address").unwrap_err();
    assert!(told.to_string().contains("address"), "{told}");
}
