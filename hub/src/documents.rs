//! The documents of a node: read from the store when wanted, and never ahead of it.
//!
//! In: edits made here, and changes from elsewhere. Out: documents to look at. A document is in
//! memory only as it is on disk: an edit is durable before the edited copy is kept, and a copy that
//! could not be stored is dropped. Each load gets a fresh actor of this device, so that no restart
//! and no restored backup ever goes on under an old one, and each change made here gets the
//! device's seal. What comes from elsewhere is taken by whose it is. Blocking; the lock is the
//! caller's.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::{Duration, Instant};

use automerge::{Change, ChangeHash};
use guyline_core::record::{Document, DocumentId, DocumentKind, Malformed};
use guyline_core::time::Timestamp;

use crate::chunk::{Chunk, ChunkRefused};
use crate::identity::{DeviceKey, Roster, fresh_actor, has_owner, is_of, sort};
use crate::log::{Card, LogEntry, LogSlice, Mark, Seal};
use crate::sieve::{Sieve, behind_held};
use crate::store::{
    Append, Arrival, Folded, Length, Placing, SetAside, Store, StoreError, TakeIn, Written,
};
use crate::sync::exchange::Stored;
use crate::sync::wire;

/// So many documents are kept in memory; reading one again takes about a millisecond.
const LOADED_MAX: usize = 512;
/// So many changes after a document's saved form, and the next edit makes it anew...
const TAIL_MAX: u64 = 16;
/// ...if they are this part of the document: the work for all of them stays in proportion to them.
const TAIL_SHARE: u64 = 4;

/// Where what came could not be put in place, it is tried again after that.
const TRY_AGAIN_AFTER: Duration = Duration::from_secs(5);

/// Why a change waits that somebody who may write made on top of one that is held.
const BEHIND_HELD: &str = "it builds on a change that is held";

/// Why the node could not do as asked. What is on disk is as it was.
#[derive(Debug, thiserror::Error)]
pub enum NodeError {
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// There is no such document here.
    #[error("there is no document {document} here")]
    Absent {
        /// The document.
        document: DocumentId,
    },
    /// A document of this id is here already.
    #[error("document {document} is here already")]
    Exists {
        /// The document.
        document: DocumentId,
    },
    /// Whoever asks may not write.
    #[error("this is let in to read only")]
    ReadOnly,
    /// What is stored makes no document.
    #[error(transparent)]
    Unreadable(#[from] Malformed),
    /// Changes of it are missing in the store.
    #[error("document {document} is damaged: its stored changes do not lead to its newest ones")]
    Gap {
        /// The document.
        document: DocumentId,
    },
    /// A change that no other node would take.
    #[error("the change to document {document} cannot be sent: {source}")]
    Unsendable {
        /// The document.
        document: DocumentId,
        /// Why.
        #[source]
        source: ChunkRefused,
    },
}

/// What became of the documents of a store that was made smaller.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Compacted {
    /// Kept in their saved form.
    pub folded: u64,
    /// Kept in their saved form and change by change: no other node is known to hold them yet.
    pub only_here: u64,
    /// Kept change by change, because their saved form does not give them back as they are.
    pub not_alike: u64,
}

/// A piece of a peer's log.
#[derive(Debug)]
pub(crate) struct Given {
    /// Who gave it.
    pub(crate) card: Card,
    /// Its changes.
    pub(crate) entries: Vec<LogEntry>,
    /// The seals on changes among them, each with its change's place.
    pub(crate) seals: Vec<(u32, Seal)>,
    /// Up to where that log is stored here then.
    pub(crate) seen: Mark,
    /// Whether that log is another than the one seen before.
    pub(crate) anew: bool,
}

/// The store, and the documents of it that are in memory.
#[derive(Debug)]
pub(crate) struct Documents {
    pub(crate) store: Store,
    key: Arc<DeviceKey>,
    loaded: BTreeMap<DocumentId, Loaded>,
    /// The kind of every document that was ever in memory, or of which it was kept.
    kinds: BTreeMap<DocumentId, DocumentKind>,
    /// About how many changes came after a document's saved form.
    unfolded: BTreeMap<DocumentId, u64>,
    uses: u64,
    /// How many pieces of peers' logs are yet to be put in place.
    arrivals: u64,
    /// Where that failed: not everybody who looks at something tries it anew, before something else
    /// could be written.
    try_again_at: Option<Instant>,
}

#[derive(Debug)]
struct Loaded {
    document: Document,
    last_use: u64,
}

impl Documents {
    pub(crate) fn new(store: Store, key: Arc<DeviceKey>) -> Result<Self, StoreError> {
        let (loaded, kinds, unfolded) = Default::default();
        let arrivals = store.arrivals()?;
        let try_again_at = None;
        Ok(Self { store, key, loaded, kinds, unfolded, uses: 0, arrivals, try_again_at })
    }

    /// Seals what this device answers for where that is yet to be done: what is its own, and the
    /// newest changes that are nobody's. A store from before there were seals wants it, and one
    /// that was repaired.
    pub(crate) fn seal_what_wants_it(&mut self) -> Result<(), NodeError> {
        if !self.store.wants_seals()? {
            return Ok(());
        }
        for (document, heads) in self.store.heads().clone() {
            let Ok(changes) = self.store.changes_of(document) else {
                // What cannot be read is told of by whoever wants it, and proves nothing.
                continue;
            };
            let key = self.key.public();
            let mut own = BTreeMap::new();
            for change in &changes {
                let actor = change.actor_id();
                let head = heads.contains(&change.hash()) && !has_owner(actor);
                if head || is_of(actor, key) {
                    own.insert(actor.clone(), self.key.seal(document, change));
                }
            }
            self.store.keep_seals(document, &own.into_values().collect::<Vec<_>>())?;
        }
        Ok(self.store.want_seals(false)?)
    }

    /// Looks at a document.
    pub(crate) fn look<R>(
        &mut self,
        id: DocumentId,
        look: impl FnOnce(&Document) -> R,
    ) -> Result<R, NodeError> {
        let document = self.take_out(id)?;
        let seen = look(&document);
        self.put_back(document);
        Ok(seen)
    }

    /// Learns the kinds of documents that were not read yet, from what was kept about them.
    pub(crate) fn learn_kinds(&mut self, kinds: impl Iterator<Item = (DocumentId, DocumentKind)>) {
        for (id, kind) in kinds {
            self.kinds.entry(id).or_insert(kind);
        }
    }

    /// The kind of a document, which is read only if it never was and nothing was kept about it.
    pub(crate) fn kind_of(&mut self, id: DocumentId) -> Result<DocumentKind, NodeError> {
        match self.kinds.get(&id) {
            Some(kind) => Ok(*kind),
            None => self.look(id, Document::kind),
        }
    }

    /// Edits a document by one change, which is on disk when this is Ok twice. Where the edit
    /// itself is refused (the inner error), the document is as it was.
    pub(crate) fn edit<E>(
        &mut self,
        id: DocumentId,
        edit: impl FnOnce(&mut Document) -> Result<Change, E>,
    ) -> Result<Result<(), E>, NodeError> {
        let mut document = self.take_out(id)?;
        // Before the edit, so that a disk that cannot take it says so before anything is kept.
        self.fold_when_due(&document)?;
        let raised = document.raise()?;
        let before = document.heads();
        match edit(&mut document) {
            Ok(change) => self.keep(document, raised.into_iter().chain([change]).collect()).map(Ok),
            Err(refused) => {
                // A document raised for nothing is not as it is on disk: it is read again.
                if raised.is_empty() && document.heads() == before {
                    self.put_back(document);
                }
                Ok(Err(refused))
            }
        }
    }

    /// Makes a document's saved form anew when enough has come after it.
    fn fold_when_due(&mut self, document: &Document) -> Result<(), NodeError> {
        let id = document.id();
        if self.unfolded.get(&id).is_none_or(|count| *count < TAIL_MAX) {
            return Ok(());
        }
        let Length { tail, whole } = self.store.length_of(id)?;
        if tail >= TAIL_MAX && tail >= whole / TAIL_SHARE {
            self.store.fold(id, &document.saved())?;
        }
        self.unfolded.remove(&id);
        Ok(())
    }

    /// Keeps a document that was made here by one change.
    pub(crate) fn create(&mut self, document: Document, change: Change) -> Result<(), NodeError> {
        if self.store.heads().contains_key(&document.id()) {
            return Err(NodeError::Exists { document: document.id() });
        }
        self.keep(document, vec![change])
    }

    /// Stores changes made here, and only then keeps the document that holds them.
    fn keep(&mut self, document: Document, changes: Vec<Change>) -> Result<(), NodeError> {
        let (id, heads) = (document.id(), document.heads());
        let last = changes.last().map(Change::hash);
        // A change made on top of everything is the only head; a second, unreturned one is not.
        assert_eq!(heads, Vec::from_iter(last), "an edit makes one change, and returns it");
        for change in &changes {
            // What no node would take must not get into a log, or no exchange would end again.
            Chunk::read(change.raw_bytes().to_vec())
                .map_err(|source| NodeError::Unsendable { document: id, source })?;
        }
        let count = changes.len();
        let seals = changes.last().map(|change| self.key.seal(id, change)).into_iter().collect();
        let entry = |change| LogEntry { document: id, change: Chunk::from(change) };
        let entries = changes.iter().map(entry).collect();
        let waited = BTreeSet::new();
        self.store.append(&Append { document: id, entries, heads, seals, waited })?;
        self.try_again_at = None;
        *self.unfolded.entry(id).or_default() += count as u64;
        self.put_back(document);
        Ok(())
    }

    /// Keeps every document in its saved form, and gives back the room of what need not stay.
    pub(crate) fn compact(&mut self) -> Result<Compacted, NodeError> {
        let ids: Vec<DocumentId> = self.store.heads().keys().copied().collect();
        let mut compacted = Compacted::default();
        for id in ids {
            let saved = self.look(id, Document::saved)?;
            match self.store.fold(id, &saved)? {
                Folded::Already | Folded::Instead => compacted.folded += 1,
                Folded::Beside => compacted.only_here += 1,
                Folded::NotAlike => compacted.not_alike += 1,
            }
        }
        self.store.shrink()?;
        Ok(compacted)
    }

    /// Takes a piece of a peer's log: what fits its documents and may be written by whoever wrote
    /// it is stored with them, what does not is set aside, and all of it is on disk when this is
    /// Ok. Where there is no roster, every device may write.
    pub(crate) fn take_in(
        &mut self,
        given: Given,
        roster: Option<&Roster>,
        at: Timestamp,
    ) -> Result<Stored, NodeError> {
        let Given { card, entries, seals, seen, anew } = given;
        let (placing, documents) = self.place_all(entries, seals, roster, at)?;
        let stored = stored(&placing);
        self.store.take_in(&TakeIn { card, seen, anew, placing })?;
        documents.into_iter().for_each(|document| self.put_back(document));
        Ok(stored)
    }

    /// Keeps a piece of a peer's log as it came, to be put in place later.
    pub(crate) fn arrive(
        &mut self,
        given: &Given,
        body: &[u8],
        at: Timestamp,
    ) -> Result<Stored, NodeError> {
        self.store.arrive(&given.card, given.seen, given.anew, body, at)?;
        self.try_again_at = None;
        self.arrivals += 1;
        Ok(Stored {
            taken: given.entries.len() as u64,
            set_aside: 0,
            documents: given.entries.iter().map(|entry| entry.document).collect(),
        })
    }

    /// Whether anything that came is yet to be put in place, and is to be tried now.
    pub(crate) fn wants_placing(&self) -> bool {
        self.arrivals > 0 && self.try_again_at.is_none_or(|at| Instant::now() >= at)
    }

    /// How many pieces of peers' logs are yet to be put in place.
    pub(crate) fn arrivals(&self) -> u64 {
        self.arrivals
    }

    /// Puts all that came in its place, the oldest first.
    pub(crate) fn place_arrivals(
        &mut self,
        roster: Option<&Roster>,
        at: Timestamp,
    ) -> Result<(), NodeError> {
        while self.place_arrival(roster, at)? {}
        Ok(())
    }

    /// Puts the oldest piece that came in its place; false where none waits.
    pub(crate) fn place_arrival(
        &mut self,
        roster: Option<&Roster>,
        at: Timestamp,
    ) -> Result<bool, NodeError> {
        if self.arrivals == 0 {
            return Ok(false);
        }
        let placed = self.try_to_place(roster, at);
        self.try_again_at = placed.is_err().then(|| Instant::now() + TRY_AGAIN_AFTER);
        placed
    }

    fn try_to_place(&mut self, roster: Option<&Roster>, at: Timestamp) -> Result<bool, NodeError> {
        let Some(arrival) = self.store.next_arrival()? else {
            self.arrivals = 0;
            return Ok(false);
        };
        let slice = arrival.body.as_deref().and_then(|body| wire::decode(body).ok()?.mine);
        match slice {
            Some(slice) => self.place_slice(&arrival, slice, roster, at)?,
            None => {
                tracing::error!(piece = arrival.id, "a piece of a log is not what came");
                self.store.give_up(&arrival)?;
            }
        }
        self.arrivals -= 1;
        Ok(true)
    }

    fn place_slice(
        &mut self,
        arrival: &Arrival,
        slice: LogSlice,
        roster: Option<&Roster>,
        at: Timestamp,
    ) -> Result<(), NodeError> {
        let (placing, documents) = self.place_all(slice.entries, slice.seals, roster, at)?;
        self.store.put_in_place(arrival, &placing)?;
        documents.into_iter().for_each(|document| self.put_back(document));
        Ok(())
    }

    /// Where changes and seals belong that came together, and the documents with them.
    fn place_all(
        &mut self,
        entries: Vec<LogEntry>,
        seals: Vec<(u32, Seal)>,
        roster: Option<&Roster>,
        at: Timestamp,
    ) -> Result<(Placing, Vec<Document>), NodeError> {
        let mut placing = Placing { appends: Vec::new(), set_aside: Vec::new(), at };
        let mut documents = Vec::new();
        for (id, (changes, seals)) in self.news(entries, seals)? {
            let placed = self.place(id, changes, seals, roster)?;
            placing.set_aside.extend(placed.set_aside);
            placing.appends.extend(placed.append);
            documents.extend(placed.document);
        }
        Ok((placing, documents))
    }

    /// Takes what was set aside and may find its place now that the roster says something else.
    /// Gives how many changes did.
    pub(crate) fn take_what_waited(&mut self, roster: Option<&Roster>) -> Result<u64, NodeError> {
        let mut taken = 0;
        for id in self.store.waited_for()? {
            let placed = self.place(id, Vec::new(), Vec::new(), roster)?;
            if let Some(append) = placed.append {
                taken += append.entries.len() as u64;
                self.store.append(&append)?;
            }
            placed.document.into_iter().for_each(|document| self.put_back(document));
        }
        Ok(taken)
    }

    /// What is not stored yet, and the seals that came, by document in the order they came.
    fn news(&self, entries: Vec<LogEntry>, seals: Vec<(u32, Seal)>) -> Result<News, StoreError> {
        let mut news = News::new();
        for (place, seal) in seals {
            // The wire gives no seal without its change.
            if let Some(entry) = entries.get(place as usize) {
                news.entry(entry.document).or_default().1.push(seal);
            }
        }
        let mut met = BTreeSet::new();
        for LogEntry { document, change } in entries {
            if met.insert((document, change.hash())) {
                news.entry(document).or_default().0.push(change);
            }
        }
        for (document, (changes, _)) in &mut news {
            if self.store.heads().contains_key(document) {
                *changes = self.store.not_held(*document, std::mem::take(changes))?;
            }
        }
        news.retain(|_, (changes, seals)| !changes.is_empty() || !seals.is_empty());
        Ok(news)
    }

    /// Finds the place of changes of one document, and of what waited for a place in it.
    fn place(
        &mut self,
        id: DocumentId,
        news: Vec<Chunk>,
        mut seals: Vec<Seal>,
        roster: Option<&Roster>,
    ) -> Result<Placed, NodeError> {
        let waiting = self.store.waiting(id)?;
        let waited: BTreeMap<ChangeHash, String> =
            waiting.iter().map(|aside| (aside.entry.change.hash(), aside.reason.clone())).collect();
        let mut chunks: Vec<Chunk> =
            news.into_iter().filter(|change| !waited.contains_key(&change.hash())).collect();
        for aside in waiting {
            seals.extend(aside.seal);
            chunks.push(aside.entry.change);
        }
        let (changes, unread) = read_all(chunks);
        let known = self.store.seals_of(id)?;
        seals.retain(|seal| !known.contains(seal));
        if changes.is_empty() && seals.is_empty() && unread.is_empty() {
            return Ok(Placed::default());
        }
        let sorted = sort(id, changes, seals, roster);
        let (admitted, stuck) = behind_held(sorted.admitted, &sorted.held);
        let sieve = self.sift(id, admitted);
        let held =
            sorted.held.into_iter().map(|(change, why)| (change, why.words().to_owned(), true));
        let stuck = stuck.into_iter().map(|change| (change, BEHIND_HELD.to_owned(), true));
        let aside: Vec<_> = sieve.refused.into_iter().chain(held).chain(stuck).collect();
        let left: BTreeSet<ChangeHash> = aside.iter().map(|(change, ..)| change.hash()).collect();
        let mut seal_on: BTreeMap<ChangeHash, &Seal> = BTreeMap::new();
        for seal in &sorted.seals {
            seal_on.entry(seal.change).or_insert(seal);
        }
        let set_aside = aside
            .into_iter()
            .map(|(change, reason, waits)| (Chunk::from(&change), reason, waits))
            .chain(unread.into_iter().map(|(chunk, reason)| (chunk, reason, false)))
            .filter(|(change, reason, _)| waited.get(&change.hash()) != Some(reason))
            .map(|(change, reason, waits)| SetAside {
                seal: seal_on.get(&change.hash()).copied().cloned(),
                entry: LogEntry { document: id, change },
                reason,
                waits,
            })
            .collect();
        let seals = sorted.seals.iter().filter(|seal| !left.contains(&seal.change)).cloned();
        let append = sieve.document.as_ref().map(|document| Append {
            document: id,
            waited: waited.into_keys().filter(|hash| !left.contains(hash)).collect(),
            heads: document.heads(),
            entries: sieve
                .taken
                .iter()
                .map(|change| LogEntry { document: id, change: Chunk::from(change) })
                .collect(),
            seals: seals.collect(),
        });
        let append = append.filter(|all| !all.entries.is_empty() || !all.seals.is_empty());
        Ok(Placed { append, set_aside, document: sieve.document })
    }

    fn sift(&mut self, id: DocumentId, changes: Vec<Change>) -> Sieve {
        let actor = fresh_actor(self.key.public());
        let (taken, refused) = Default::default();
        let mut sieve = Sieve { id, actor, document: None, taken, refused };
        if self.store.heads().contains_key(&id) {
            match self.take_out(id) {
                Ok(document) => sieve.document = Some(document),
                Err(error) => {
                    // Kept for the day the document can be read again.
                    sieve.refuse(&changes, &error, true);
                    return sieve;
                }
            }
        }
        sieve.sift(&changes);
        sieve
    }

    /// The document, out of memory or the store. It is not kept until it is put back, so that
    /// nothing half done stays when something between the two fails or panics.
    fn take_out(&mut self, id: DocumentId) -> Result<Document, NodeError> {
        if let Some(loaded) = self.loaded.remove(&id) {
            return Ok(loaded.document);
        }
        let heads = self.store.heads().get(&id).ok_or(NodeError::Absent { document: id })?;
        let Written { saved, later } = self.store.written(id)?;
        self.unfolded.insert(id, later.len() as u64);
        let actor = fresh_actor(self.key.public());
        let document = match saved {
            Some(saved) => Document::from_saved(id, &saved, later, actor)?,
            None => Document::from_changes(id, later, actor)?,
        };
        if document.heads() != *heads {
            return Err(NodeError::Gap { document: id });
        }
        Ok(document)
    }

    fn put_back(&mut self, document: Document) {
        if self.loaded.len() >= LOADED_MAX {
            let oldest = self.loaded.iter().min_by_key(|(_, loaded)| loaded.last_use);
            if let Some(id) = oldest.map(|(id, _)| *id) {
                self.loaded.remove(&id);
            }
        }
        self.uses += 1;
        self.kinds.insert(document.id(), document.kind());
        self.loaded.insert(document.id(), Loaded { document, last_use: self.uses });
    }
}

/// What came, by document: changes, and seals.
type News = BTreeMap<DocumentId, (Vec<Chunk>, Vec<Seal>)>;

/// What is told of where things went.
fn stored(placing: &Placing) -> Stored {
    let news = || placing.appends.iter().filter(|append| !append.entries.is_empty());
    Stored {
        taken: news().map(|append| append.entries.len() as u64).sum(),
        set_aside: placing.set_aside.len() as u64,
        documents: news().map(|append| append.document).collect(),
    }
}

/// The changes as the library has them, and those it does not take, each with its reason.
fn read_all(chunks: Vec<Chunk>) -> (Vec<Change>, Vec<(Chunk, String)>) {
    let (mut changes, mut unread) = (Vec::with_capacity(chunks.len()), Vec::new());
    for chunk in chunks {
        match chunk.change() {
            Ok(change) => changes.push(change),
            Err(refused) => unread.push((chunk, refused.to_string())),
        }
    }
    (changes, unread)
}

/// What became of the changes of one document.
#[derive(Default)]
struct Placed {
    append: Option<Append>,
    /// What is set aside now and was not, or for another reason.
    set_aside: Vec<SetAside>,
    document: Option<Document>,
}

#[cfg(test)]
#[path = "documents_tests.rs"]
mod tests;
