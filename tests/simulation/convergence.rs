//! Goal: people who write on one session apart end with the same view, whatever way their changes
//! come together, and nothing anybody wrote is ever absent from it.
//!
//! Method: each seed gives two to six devices a common start, lets them edit and hear of each other
//! at random, then brings all changes together on every device in its own order, grouping and
//! repetition. Held on every device after every step: all entries it has heard of are in its view,
//! as they were written. Held at the end: equal heads, equal views, two summaries where two people
//! wrote one unseen, and for one seed in sixteen equal histories.
//!
//! 10 000 seeds by default; `GUYLINE_CONVERGENCE=100000 cargo test --workspace --test simulation
//! convergence` is the long run.

use std::collections::{BTreeMap, BTreeSet};

use automerge::{ActorId, Change, ChangeHash};
use guyline_core::record::{
    Attached, Author, Document, DocumentId, EditRefused, Phase, Plane, Session, SessionEdit,
};
use guyline_core::time::Timestamp;
use guyline_core::units::Unit;

use crate::chance::Chance;

const SEEDS: u64 = 10_000;
const STEPS: usize = 24;
const CHAIN: &str = "common";

/// One person's device: its document, and every entry it wrote or heard of.
struct Device {
    person: String,
    document: Document,
    /// This clock is off by so many milliseconds.
    clock_off: i64,
    /// What must be in its view.
    heard: BTreeSet<String>,
}

/// Everything that ever was written, by the hash of its change.
#[derive(Default)]
struct Written {
    changes: Vec<Change>,
    entry: BTreeMap<ChangeHash, String>,
}

impl Written {
    fn add(&mut self, change: Change, entry: String) {
        self.entry.insert(change.hash(), entry);
        self.changes.push(change);
    }
}

fn author(person: &str, ms: i64) -> Author {
    let at = Timestamp::from_unix_ms(1_780_000_000_000 + ms).expect("within the years");
    Author { person: person.to_owned(), device: format!("{person}-tablet"), at }
}

fn id() -> DocumentId {
    DocumentId::from_bytes([1; 16])
}

fn actor(chance: &mut Chance) -> ActorId {
    let bytes: Vec<u8> = (0..16).map(|_| chance.between(0.0, 256.0) as u8).collect();
    ActorId::from(bytes.as_slice())
}

fn connect(id: String) -> SessionEdit {
    SessionEdit::ConnectChain {
        id,
        name: "direct".to_owned(),
        plane: Plane::ReceiverPort,
        instrument: "set".to_owned(),
        port: "gen".to_owned(),
        between: vec!["cable-a".to_owned()],
        line: Vec::new(),
    }
}

fn signed(id: String) -> SessionEdit {
    SessionEdit::SignOff {
        id,
        statement: "as it stands".to_owned(),
        key: "ab".repeat(32),
        signature: "cd".repeat(64),
    }
}

/// Whether a reading that was not taken back leans on this chain.
fn read_through(session: &Session, chain: &str) -> bool {
    let leans = |(id, r): (&String, &guyline_core::record::Reading)| {
        r.chain == chain && session.taken_back(id).is_none()
    };
    session.readings.iter().any(leans)
}

/// An edit somebody could make.
fn edit(chance: &mut Chance, session: &Session, person: &str, fresh: String) -> SessionEdit {
    if !session.awaits_reason(person).is_empty() {
        return SessionEdit::Amend { id: fresh, reason: "seen too late".to_owned() };
    }
    let readings: Vec<&String> = session.readings.keys().collect();
    let one =
        |chance: &mut Chance| (!readings.is_empty()).then(|| (*chance.pick(&readings)).clone());
    let kind = chance.between(0.0, 12.0) as u8;
    if kind == 8 && chance.happens(0.2) {
        return signed(fresh);
    }
    match kind {
        0 if !session.crew.contains_key(person) => SessionEdit::JoinCrew,
        1 => connect(fresh),
        2 => SessionEdit::Acknowledge { id: fresh, caution: "rf-burns".to_owned() },
        3 => SessionEdit::RecordAdjustment { id: fresh, text: format!("squelch by {person}") },
        4 => SessionEdit::Summarise { text: format!("{person} says {fresh}") },
        5 => match one(chance) {
            Some(reading) => {
                let reason = "wrong cable".to_owned();
                SessionEdit::WithdrawReading { id: fresh, reading, reason }
            }
            None => SessionEdit::AddNote { id: fresh, text: "nothing read".to_owned() },
        },
        9 => match session.newest_entry(person, &format!("{person}-tablet")) {
            Some((list, entry)) if list != "readings" && !read_through(session, entry) => {
                SessionEdit::Retract { id: fresh, list: list.to_owned(), entry: entry.to_owned() }
            }
            _ => SessionEdit::RecordRestoration { id: fresh, text: "squelch put back".to_owned() },
        },
        10 => SessionEdit::Attach { id: fresh, what: attached(person) },
        11 => match session.attachments.keys().next_back() {
            Some(attachment) => SessionEdit::Caption {
                text: format!("{person} calls it {fresh}"),
                id: fresh,
                attachment: attachment.clone(),
            },
            None => SessionEdit::Attach { id: fresh, what: attached(person) },
        },
        6 => SessionEdit::AddNote { id: fresh, text: format!("rain, says {person}") },
        _ => SessionEdit::RecordReading {
            id: fresh,
            check: "receiver.opening".to_owned(),
            chain: (*chance.pick(&session.chains.keys().collect::<Vec<_>>())).clone(),
            criterion: "opens".to_owned(),
            typed: format!("\u{2212}{:.1}", chance.between(90.0, 125.0)),
            unit: Unit::Dbm,
            phase: if chance.happens(0.5) { Phase::AsFound } else { Phase::AsLeft },
            replaces: one(chance).filter(|_| chance.happens(0.3)),
            answered_by: None,
        },
    }
}

fn attached(person: &str) -> Attached {
    Attached {
        hash: "5a".repeat(32),
        media_type: "image/png".to_owned(),
        length: 70,
        file_name: format!("{person}.png"),
        caption: Some(format!("the label, says {person}")),
        of: None,
    }
}

/// Every entry of a view as one line of text, so that a changed entry is another one.
fn entries(session: &Session) -> BTreeSet<String> {
    let mut all = BTreeSet::new();
    let mut add = |list: &str, id: &String, says: String| {
        all.insert(format!("{list}/{id}: {says}"));
    };
    session.crew.iter().for_each(|(id, entry)| add("crew", id, format!("{entry:?}")));
    session.chains.iter().for_each(|(id, entry)| add("chains", id, format!("{entry:?}")));
    session.readings.iter().for_each(|(id, entry)| add("readings", id, format!("{entry:?}")));
    session.withdrawals.iter().for_each(|(id, entry)| add("withdrawals", id, format!("{entry:?}")));
    let acknowledged = session.acknowledgements.iter();
    acknowledged.for_each(|(id, entry)| add("acknowledgements", id, format!("{entry:?}")));
    session.adjustments.iter().for_each(|(id, entry)| add("adjustments", id, format!("{entry:?}")));
    session.notes.iter().for_each(|(id, entry)| add("notes", id, format!("{entry:?}")));
    let restored = session.restorations.iter();
    restored.for_each(|(id, entry)| add("restorations", id, format!("{entry:?}")));
    session.retractions.iter().for_each(|(id, entry)| add("retractions", id, format!("{entry:?}")));
    session.sign_offs.iter().for_each(|(id, entry)| add("sign_offs", id, format!("{entry:?}")));
    session.amendments.iter().for_each(|(id, entry)| add("amendments", id, format!("{entry:?}")));
    let attached = session.attachments.iter();
    attached.for_each(|(id, entry)| add("attachments", id, format!("{entry:?}")));
    session.captions.iter().for_each(|(id, entry)| add("captions", id, format!("{entry:?}")));
    all
}

impl Device {
    fn new(person: String, changes: &[Change], chance: &mut Chance) -> Self {
        let document =
            Document::from_changes(id(), changes.to_vec(), actor(chance)).expect("whole");
        let clock_off = *chance.pick(&[0, 0, 0, 3_600_000, -86_400_000, 315_360_000_000]);
        let heard = entries(document.session().expect("a session"));
        Self { person, document, clock_off, heard }
    }

    fn session(&self) -> &Session {
        self.document.session().expect("a session")
    }

    fn work(&mut self, chance: &mut Chance, written: &mut Written, step: usize) {
        let before = entries(self.session());
        let made = edit(chance, self.session(), &self.person, format!("{}-{step}", self.person));
        let at = author(&self.person, step as i64 * 1_000 + self.clock_off);
        let change = self.document.apply(&made, &at).expect("it could be made");
        let after = entries(self.session());
        let new: Vec<&String> = after.difference(&before).collect();
        match made {
            SessionEdit::Summarise { .. } => assert!(new.is_empty()),
            _ => assert_eq!(new.len(), 1, "one edit leaves one entry"),
        }
        let left = new.first().map(|entry| (*entry).clone());
        written.add(change, left.clone().unwrap_or_default());
        self.heard.extend(left);
    }

    /// Takes changes whose causes it may lack: then it must refuse and be as it was.
    fn take(&mut self, changes: Vec<Change>, written: &Written) -> bool {
        let hashes: Vec<ChangeHash> = changes.iter().map(Change::hash).collect();
        let before = (self.document.heads(), self.session().clone());
        let taken = self.document.take(changes).is_ok();
        if taken {
            let heard = hashes.iter().filter_map(|hash| written.entry.get(hash));
            self.heard.extend(heard.filter(|entry| !entry.is_empty()).cloned());
        } else {
            assert_eq!((self.document.heads(), self.session().clone()), before);
        }
        taken
    }

    fn holds_all_it_heard(&self, seed: u64) {
        let shown = entries(self.session());
        let absent: Vec<_> = self.heard.difference(&shown).collect();
        assert!(absent.is_empty(), "seed {seed}: {} lacks {absent:?}", self.person);
    }
}

fn shuffle<T>(chance: &mut Chance, items: &mut [T]) {
    for last in (1..items.len()).rev() {
        items.swap(last, chance.between(0.0, last as f64 + 1.0) as usize);
    }
}

/// All changes in another order that has causes first, in pieces of any size, some twice; and once
/// a piece whose causes are not there yet, which must change nothing.
fn bring_together(chance: &mut Chance, device: &mut Device, written: &Written) {
    let mut open = written.changes.clone();
    shuffle(chance, &mut open);
    let mut known: BTreeSet<ChangeHash> =
        device.document.changes().iter().map(Change::hash).collect();
    let too_early = |known: &BTreeSet<ChangeHash>| {
        let lacks = |change: &&Change| change.deps().iter().any(|cause| !known.contains(cause));
        written.changes.iter().find(lacks).cloned()
    };
    if let Some(change) = too_early(&known) {
        assert!(!device.take(vec![change], written), "its causes are lacking");
    }
    while !open.is_empty() {
        let size = chance.between(1.0, 9.0) as usize;
        let mut piece = Vec::new();
        let mut at = 0;
        while at < open.len() && piece.len() < size {
            if open[at].deps().iter().all(|cause| known.contains(cause)) {
                let change = open.remove(at);
                known.insert(change.hash());
                piece.push(change);
            } else {
                at += 1;
            }
        }
        piece.push(chance.pick(&piece).clone());
        assert!(device.take(piece, written), "all causes are there");
    }
}

fn run(seed: u64) -> usize {
    let mut chance = Chance::new(seed);
    let mut written = Written::default();
    let office = author("office", 0);
    let (mut start, first) = Document::create_session(
        id(),
        DocumentId::from_bytes([0; 16]),
        "r",
        "WO 1",
        actor(&mut chance),
        &office,
    )
    .expect("it can be made");
    written.add(first, String::new());
    let chained = start.apply(&connect(CHAIN.to_owned()), &office).expect("a first chain");
    written.add(chained, String::new());
    let count = chance.between(2.0, 7.0) as usize;
    let mut devices: Vec<Device> =
        (0..count).map(|n| Device::new(format!("p{n}"), &written.changes, &mut chance)).collect();
    for step in 0..STEPS {
        let at = chance.between(0.0, count as f64) as usize;
        if chance.happens(0.3) {
            let other = chance.between(0.0, count as f64) as usize;
            let given = devices[other].document.changes();
            assert!(devices[at].take(given, &written), "seed {seed}: a whole document fits");
        } else {
            devices[at].work(&mut chance, &mut written, step);
        }
        devices[at].holds_all_it_heard(seed);
    }
    for device in &mut devices {
        bring_together(&mut chance, device, &written);
        device.holds_all_it_heard(seed);
    }
    level(seed, &devices, &written);
    written.changes.len()
}

fn level(seed: u64, devices: &[Device], written: &Written) {
    let first = &devices[0];
    let all: BTreeSet<String> = written.entry.values().filter(|e| !e.is_empty()).cloned().collect();
    let shown = entries(first.session());
    assert!(shown.is_superset(&all), "seed {seed}: lost {:?}", all.difference(&shown));
    // Working a history out costs more than all the rest.
    let history = seed.is_multiple_of(16).then(|| first.document.history().expect("a session"));
    if let Some(history) = &history {
        assert_eq!(history.len(), written.changes.len(), "seed {seed}");
    }
    for other in &devices[1..] {
        assert_eq!(first.document.heads(), other.document.heads(), "seed {seed}");
        assert_eq!(first.session(), other.session(), "seed {seed}");
        if let Some(history) = &history {
            assert_eq!(*history, other.document.history().expect("a session"), "seed {seed}");
        }
    }
    // Every summary that nobody who wrote a later one had seen stands beside it.
    let unseen = unanswered_summaries(written);
    assert_eq!(first.session().summary.len(), unseen, "seed {seed}");
}

/// The summaries that are no ancestor of another one.
fn unanswered_summaries(written: &Written) -> usize {
    let by_hash: BTreeMap<ChangeHash, &Change> =
        written.changes.iter().map(|change| (change.hash(), change)).collect();
    let is_summary = |change: &&Change| change.message() == Some("summarise");
    let mut answered = BTreeSet::new();
    for summary in written.changes.iter().filter(is_summary) {
        let mut open = summary.deps().to_vec();
        let mut met = BTreeSet::new();
        while let Some(cause) = open.pop() {
            if met.insert(cause) {
                open.extend(by_hash[&cause].deps());
            }
        }
        answered.extend(met);
    }
    let unanswered = |change: &&Change| !answered.contains(&change.hash());
    written.changes.iter().filter(is_summary).filter(unanswered).count()
}

#[test]
fn convergence_of_what_a_crew_wrote_apart() {
    let seeds = guyline_tests::asked("GUYLINE_CONVERGENCE", SEEDS);
    let workers = std::thread::available_parallelism().map_or(1, std::num::NonZero::get) as u64;
    let share = |worker| (worker..seeds).step_by(workers as usize).map(run).sum::<usize>();
    let changes: usize = std::thread::scope(|scope| {
        let running: Vec<_> =
            (0..workers).map(|worker| scope.spawn(move || share(worker))).collect();
        running.into_iter().map(|worker| worker.join().expect("its seed is in its message")).sum()
    });
    println!("{seeds} seeds, {changes} changes, all level");
}

#[test]
fn an_entry_under_an_id_that_is_taken_is_refused() {
    let mut chance = Chance::new(1);
    let office = author("office", 0);
    let site = DocumentId::from_bytes([0; 16]);
    let (mut document, _) =
        Document::create_session(id(), site, "r", "WO 1", actor(&mut chance), &office)
            .expect("it can be made");
    document.apply(&connect(CHAIN.to_owned()), &office).expect("fresh");
    let refused = document.apply(&connect(CHAIN.to_owned()), &office).unwrap_err();
    assert!(matches!(refused, EditRefused::Taken { .. }), "{refused}");
}
