//! What comes from elsewhere: put in its place among the documents, or kept as it came until then.
//!
//! In: pieces of peers' logs, and who may write. Out: what fits its document and may be written by
//! whoever wrote it is stored with it, what does not is set aside, and all of it is on disk when a
//! call here is Ok. Knows no exchange: who gave a piece is a name in the store.

use std::collections::{BTreeMap, BTreeSet};
use std::time::{Duration, Instant};

use automerge::{Change, ChangeHash};
use guyline_core::record::{Document, DocumentId};
use guyline_core::time::Timestamp;

use super::{Documents, NodeError};
use crate::chunk::Chunk;
use crate::identity::{Roster, fresh_actor, sort};
use crate::log::{Ask, Card, LogEntry, LogSlice, Mark, Seal};
use crate::packed::Packed;
use crate::sieve::{Sieve, behind_held};
use crate::store::{Append, Arrival, Placing, SetAside, StoreError, TakeIn, may_be_one};
use crate::sync::exchange::Stored;
use crate::sync::wire;

/// Where what came could not be put in place, it is tried again after that.
const TRY_AGAIN_AFTER: Duration = Duration::from_secs(5);

/// Why a change waits that somebody who may write made on top of one that is held.
const BEHIND_HELD: &str = "it builds on a change that is held";

/// A piece of a peer's log.
#[derive(Debug)]
pub(crate) struct Given {
    /// Who gave it.
    pub(crate) card: Card,
    /// Its changes and the seals on them; what of it is packed together was gone through.
    pub(crate) slice: LogSlice,
    /// The documents its changes belong to.
    pub(crate) documents: BTreeSet<DocumentId>,
    /// Up to where that log is stored here then.
    pub(crate) seen: Mark,
    /// How much of it.
    pub(crate) asked: Ask,
    /// Whether that log is another than the one seen before.
    pub(crate) anew: bool,
}

impl Documents {
    /// Takes a piece of a peer's log: what fits its documents and may be written by whoever wrote
    /// it is stored with them, what does not is set aside, and all of it is on disk when this is
    /// Ok. Where there is no roster, every device may write.
    pub(crate) fn take_in(
        &mut self,
        given: Given,
        roster: Option<&Roster>,
        at: Timestamp,
    ) -> Result<Stored, NodeError> {
        let Given { card, mut slice, seen, asked, anew, .. } = given;
        wire::unpack_slice(&mut slice).expect("it was gone through when it came");
        let (placing, documents) = self.place_all(slice.entries, slice.seals, roster, at)?;
        let stored = stored(&placing);
        self.store.take_in(&TakeIn { card, seen, asked, anew, placing })?;
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
        // It gets no position yet: nobody else need wait until it is on disk.
        self.store.let_go();
        let seen = (given.seen, &given.asked);
        self.store.arrive(&given.card, seen, given.anew, body, at)?;
        self.try_again_at = None;
        self.arrivals += 1;
        Ok(Stored { taken: given.slice.count(), set_aside: 0, documents: given.documents.clone() })
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
        let came = arrival.body.as_deref().and_then(|body| {
            let mut slice = wire::claimed(body).ok()?.mine?;
            let packed = slice.packed.clone();
            wire::unpack_slice(&mut slice).ok()?;
            Some((slice, packed))
        });
        match came {
            Some((slice, packed)) => self.place_slice(&arrival, slice, &packed, roster, at)?,
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
        packed: &[Packed],
        roster: Option<&Roster>,
        at: Timestamp,
    ) -> Result<(), NodeError> {
        let (changes, seals) = (slice.entries.len(), slice.seals.len());
        let (placing, documents) = self.place_all(slice.entries, slice.seals, roster, at)?;
        let stretch = is_all(&placing, changes, seals) && may_be_one(packed, seals);
        self.store.put_in_place(arrival, &placing, if stretch { packed } else { &[] })?;
        // What comes in bulk is not what somebody looks at: kept in memory, a day's end would push
        // out what is, and take a hub hundreds of kilobytes a visit.
        documents.iter().for_each(|document| self.learn_place(document));
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
}

/// What came, by document: changes, and seals.
type News = BTreeMap<DocumentId, (Vec<Chunk>, Vec<Seal>)>;

/// Whether so many changes and seals all found their places, each for the first time: only then are
/// they, as they came, a stretch of this log.
fn is_all(placing: &Placing, changes: usize, seals: usize) -> bool {
    let appends = &placing.appends;
    let placed: usize = appends.iter().map(|append| append.entries.len()).sum();
    let sealed: usize = appends.iter().map(|append| append.seals.len()).sum();
    let waited = appends.iter().any(|append| !append.waited.is_empty());
    placing.set_aside.is_empty() && !waited && (placed, sealed) == (changes, seals)
}

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
