//! What a store is, whatever keeps it: every node works with one of these and knows no more of it.
//!
//! Two engines are one: [`super::sqlite`], in a folder, and [`super::postgres`], in a database that
//! several processes of one hub work with. What was written is on disk when a call that writes
//! returns Ok. An engine knows no document's content, no exchange and no clock.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Debug;

use automerge::{Change, ChangeHash};
use guyline_core::record::DocumentId;
use guyline_core::time::Timestamp;

use super::stretch::Stretches;
use super::walk::{Room, Walk};
use super::{
    Append, Arrival, Folded, Length, Peer, Placing, SetAside, StoreError, Summary, TakeIn, Written,
};
use crate::chunk::Chunk;
use crate::log::{
    Ask, Card, LogEntry, LogSlice, Mark, Memory, NodeId, Place, Receipt, Scope, Seal, Start,
    StoreId,
};
use crate::packed::Packed;

/// The setting that says that the device is yet to seal what it holds.
const SEALS: &str = "seals";
const WANTED: &str = "wanted";

/// One node's store.
pub trait Store:
    Debug
    + Send
    + Writing
    + Reading
    + Asides
    + Peers
    + Arrivals
    + Stretches
    + Folding
    + Authors
    + Summaries
    + Upkeep
{
    /// Takes the store for one step of work: nobody else writes until it is let go. Tells what
    /// others did since it was last held. An engine that only one process has at a time has
    /// nothing to do here.
    fn hold(&mut self) -> Result<Since, StoreError> {
        Ok(Since::default())
    }

    /// Lets it go.
    fn let_go(&mut self) {}

    /// Whether other processes may work with it too.
    fn has_others(&self) -> bool {
        false
    }

    /// The engine itself, for tests that damage or fill it.
    #[cfg(test)]
    fn any(&self) -> &dyn std::any::Any;
}

/// What other processes did with a store.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Since {
    /// The documents they changed.
    pub documents: Vec<DocumentId>,
    /// Whether they changed a setting.
    pub settings: bool,
    /// How many pieces of peers' logs wait to be put in place now, where that may have changed.
    pub arrivals: Option<u64>,
}

/// Who the node is, its settings, and the end of its log.
pub trait Writing {
    /// Who this node is.
    fn card(&self) -> &Card;

    /// The end of the log.
    fn newest(&self) -> Mark;

    /// Every document's heads, sorted.
    fn heads(&self) -> &BTreeMap<DocumentId, Vec<ChangeHash>>;

    /// Gives the node another name.
    fn rename(&mut self, name: &str) -> Result<(), StoreError>;

    /// What was last kept under a key.
    fn setting(&self, key: &str) -> Result<Option<String>, StoreError>;

    /// Keeps a value under a key.
    fn set_setting(&mut self, key: &str, value: &str) -> Result<(), StoreError>;

    /// Adds changes made here.
    fn append(&mut self, append: &Append) -> Result<(), StoreError>;

    /// Adds what came from a peer, and how far its log is stored here, as one.
    fn take_in(&mut self, body: &TakeIn) -> Result<(), StoreError>;
}

/// Changes from elsewhere that are no part of a document, or not yet.
pub trait Asides {
    /// How many changes are set aside.
    fn set_aside_count(&self) -> Result<u64, StoreError>;

    /// Every change that is set aside, by document and hash.
    fn set_aside(&self) -> Result<Vec<SetAside>, StoreError>;

    /// The changes of a document that are set aside and may find their place.
    fn waiting(&self, document: DocumentId) -> Result<Vec<SetAside>, StoreError>;

    /// The documents that changes wait for.
    fn waited_for(&self) -> Result<Vec<DocumentId>, StoreError>;
}

/// The log and the documents in it. Every change that is given was hashed again and fits.
pub trait Reading: Authors {
    /// What a document is to be read from.
    fn written(&self, document: DocumentId) -> Result<Written, StoreError>;

    /// Every change of a document, causes before effects, each checked against its hash.
    fn changes_of(&self, document: DocumentId) -> Result<Vec<Change>, StoreError>;

    /// The changes that a document does not hold yet.
    fn not_held(&self, document: DocumentId, changes: Vec<Chunk>)
    -> Result<Vec<Chunk>, StoreError>;

    /// Whether what a mark names stands in this log where the mark says.
    fn fits(&self, mark: Mark) -> Result<bool, StoreError>;

    /// The mark of what stands at a position.
    fn mark_at(&self, position: u64) -> Result<Mark, StoreError>;

    /// Walks along the log after a position up to another, less what a peer gave us itself, until
    /// the walk is over.
    fn walk(
        &self,
        places: (u64, u64),
        peer: NodeId,
        walk: &mut Walk<'_, '_>,
    ) -> Result<(), StoreError>;

    /// The log after a mark, less what a peer gave us itself, up to about `bytes_max`.
    ///
    /// A mark that does not fit this log counts as its start. At least one change comes with every
    /// slice that has more behind it.
    fn log_after(
        &self,
        after: Mark,
        peer: NodeId,
        bytes_max: usize,
    ) -> Result<LogSlice, StoreError> {
        self.log_through(after, peer, bytes_max, &mut |_, _| Ok(Pass::Send))
    }

    /// The same through a gate, which is asked about each change, or about several of one document
    /// that stand one behind the other, before any is read. Where it stops before the first one,
    /// the slice covers nothing.
    fn log_through(
        &self,
        after: Mark,
        peer: NodeId,
        bytes_max: usize,
        gate: &mut Gate<'_>,
    ) -> Result<LogSlice, StoreError> {
        let (after, start) = self.where_to_start(after)?;
        let newest = self.newest();
        self.log_between(after, newest, start, peer, Room::of(bytes_max), gate)
    }

    /// Where a slice starts, and why there.
    fn where_to_start(&self, after: Mark) -> Result<(Mark, Start), StoreError> {
        Ok(match self.fits(after)? {
            true => (after, Start::Continues),
            false => (Mark::START, Start::Anew),
        })
    }

    /// The log between two marks, as far as a gate lets it through.
    fn log_between(
        &self,
        after: Mark,
        until: Mark,
        start: Start,
        peer: NodeId,
        room: Room,
        gate: &mut Gate<'_>,
    ) -> Result<LogSlice, StoreError> {
        let mut walk = Walk::new(room, gate);
        self.walk((after.position, until.position), peer, &mut walk)?;
        let (to, more) = match (walk.is_over(), walk.last) {
            (false, _) => (until, false),
            (true, None) => (after, true),
            (true, Some(last)) => (self.mark_at(last)?, true),
        };
        let seals = self.seals_among(&walk.entries)?;
        let entries = walk.entries;
        Ok(LogSlice { entries, seals, more, ..LogSlice::nothing(after, start, to) })
    }
}

/// What becomes of a change on its way into a slice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pass {
    /// It goes.
    Send,
    /// It is passed by.
    LeaveOut,
    /// The slice ends before it.
    Stop,
}

/// Says what becomes of the change at a position, of a document.
pub type Gate<'a> = dyn FnMut(u64, DocumentId) -> Result<Pass, StoreError> + 'a;

/// Tells where a document belongs; none where nothing is known of it.
pub type Places<'a> = dyn Fn(DocumentId) -> Option<Place> + 'a;

/// What is remembered of other nodes: who was met, where, and how far each log is at the other.
pub trait Peers {
    /// Remembers up to where a peer says that it stores this log, and how much of it.
    fn acknowledge(
        &mut self,
        card: &Card,
        mark: Mark,
        holds: &Scope,
        receipt: Receipt,
        at: Timestamp,
    ) -> Result<(), StoreError>;

    /// Forgets of a node all but its name and where it was reached: it is owed everything, and is
    /// asked for everything.
    fn forget_peer(&mut self, node: NodeId) -> Result<(), StoreError>;

    /// Remembers how an exchange ended, and where the peer was reached.
    fn exchange_ended(
        &mut self,
        node: NodeId,
        address: Option<&str>,
        failure: Option<&str>,
        at: Timestamp,
    ) -> Result<(), StoreError>;

    /// Whether a node comes with another store than the one it was met with.
    fn is_replaced(&self, card: &Card) -> Result<bool, StoreError>;

    /// How far this log and a node's are known to each other; none if its store is another.
    fn memory_of(&self, card: &Card) -> Result<Option<Memory>, StoreError>;

    /// Which node and store were last reached at an address, and how far they are known.
    fn met_at(&self, address: &str) -> Result<Option<(NodeId, StoreId, Memory)>, StoreError>;

    /// Where nodes were last reached, the last one first.
    fn addresses(&self) -> Result<Vec<String>, StoreError>;

    /// Every node met so far, the last one first.
    fn peers(&self) -> Result<Vec<Peer>, StoreError>;

    /// What peers acknowledged with a receipt: who, up to where, and the receipt.
    fn receipts(&self) -> Result<Vec<(Card, Mark, Receipt)>, StoreError>;

    /// Up to where each of these nodes stores this log, and how much of it; of all nodes met where
    /// none are named.
    fn acknowledged(&self, nodes: Option<&[NodeId]>) -> Result<Vec<(Scope, u64)>, StoreError>;

    /// How much of each node's log is stored here, up to where it was seen.
    fn asked(&self) -> Result<Vec<Ask>, StoreError>;

    /// The documents with a change that none of these nodes which keep everything is known to
    /// hold, nor any of them to have given; each with the position of the newest such change.
    fn not_at_whole(
        &self,
        nodes: Option<&[NodeId]>,
    ) -> Result<BTreeMap<DocumentId, u64>, StoreError>;

    /// How many changes after a position were made here, of a document or of all.
    fn made_here_after(&self, after: u64, document: Option<DocumentId>) -> Result<u64, StoreError>;

    /// How many changes a peer did not acknowledge nor give, by document.
    fn owed(&self, node: NodeId) -> Result<BTreeMap<DocumentId, u64>, StoreError>;

    /// The documents of which none of these nodes is known to hold every change; of all nodes met
    /// where none are named. A node that keeps a part holds nothing else.
    fn not_known_at(
        &self,
        nodes: Option<&[NodeId]>,
        places: &Places<'_>,
    ) -> Result<BTreeSet<DocumentId>, StoreError> {
        let parts = parts(self.acknowledged(nodes)?);
        let missing = self.not_at_whole(nodes)?.into_iter();
        let missing = missing.filter(|(id, newest)| held_up_to(&parts, places(*id)) < *newest);
        Ok(missing.map(|(id, _)| id).collect())
    }

    /// How many changes made here no peer is known to hold.
    fn only_here(&self, places: &Places<'_>) -> Result<u64, StoreError> {
        let all = self.acknowledged(None)?;
        let whole = all.iter().filter(|(scope, _)| *scope == Scope::All);
        let most = whole.map(|(_, upto)| *upto).max().unwrap_or(0);
        let parts = parts(all);
        if parts.is_empty() {
            return self.made_here_after(most, None);
        }
        let mut count = 0;
        for id in self.not_at_whole(None)?.into_keys() {
            let known = most.max(held_up_to(&parts, places(id)));
            count += self.made_here_after(known, Some(id))?;
        }
        Ok(count)
    }
}

/// Those that keep a part only.
fn parts(acknowledged: Vec<(Scope, u64)>) -> Vec<(Scope, u64)> {
    acknowledged.into_iter().filter(|(scope, _)| *scope != Scope::All).collect()
}

/// Up to where somebody who keeps a part holds what belongs to a place.
fn held_up_to(parts: &[(Scope, u64)], place: Option<Place>) -> u64 {
    let Some(place) = place else { return 0 };
    let holding = parts.iter().filter(|(scope, _)| scope.holds(place));
    holding.map(|(_, upto)| *upto).max().unwrap_or(0)
}

/// Documents kept in their saved form.
pub trait Folding {
    /// How long a document's log is.
    fn length_of(&self, document: DocumentId) -> Result<Length, StoreError>;

    /// Keeps the saved form of a document, which belongs to a place, instead of the one before,
    /// and lets rows go where it may.
    fn fold(
        &mut self,
        document: DocumentId,
        place: Option<Place>,
        saved: &[u8],
    ) -> Result<Folded, StoreError>;

    /// How many bytes it takes on disk.
    fn size(&self) -> Result<u64, StoreError>;

    /// Gives back the room of what is gone, and makes the file as small as it can be.
    fn shrink(&mut self) -> Result<(), StoreError>;
}

/// Whose each change is: the seals of devices. Of each actor and device only the newest is kept.
pub trait Authors: Writing {
    /// The seals on a document's changes.
    fn seals_of(&self, document: DocumentId) -> Result<Vec<Seal>, StoreError>;

    /// Every document that some device sealed a change of by this key.
    fn sealed_by(&self, key: [u8; 32]) -> Result<Vec<(DocumentId, ChangeHash)>, StoreError>;

    /// Keeps seals on changes that are stored.
    fn keep_seals(&mut self, document: DocumentId, seals: &[Seal]) -> Result<(), StoreError>;

    /// Whether this device is yet to seal what it holds.
    fn wants_seals(&self) -> Result<bool, StoreError> {
        Ok(self.setting(SEALS)?.as_deref() == Some(WANTED))
    }

    /// Keeps whether it is.
    fn want_seals(&mut self, wanted: bool) -> Result<(), StoreError> {
        self.set_setting(SEALS, if wanted { WANTED } else { "set" })
    }

    /// The seals on some of these changes, each with its change's place.
    fn seals_among(&self, entries: &[LogEntry]) -> Result<Vec<(u32, Seal)>, StoreError> {
        let mut places: BTreeMap<DocumentId, Vec<(ChangeHash, u32)>> = BTreeMap::new();
        for (place, entry) in (0_u32..).zip(entries) {
            places.entry(entry.document).or_default().push((entry.change.hash(), place));
        }
        let mut found = Vec::new();
        for (document, places) in places {
            // A document has many changes and few seals.
            for seal in self.seals_of(document)? {
                let place = places.iter().find(|(hash, _)| *hash == seal.change);
                found.extend(place.map(|(_, place)| (*place, seal)));
            }
        }
        found.sort_by_key(|(place, _)| *place);
        Ok(found)
    }
}

/// What was worked out from documents. All of it may be thrown away.
pub trait Summaries {
    /// Everything that is said, by document, stale or not.
    fn summaries(&self) -> Result<BTreeMap<DocumentId, Summary>, StoreError>;

    /// Keeps what is said of documents, in place of what was said before.
    fn keep_summaries(&mut self, said: &BTreeMap<DocumentId, Summary>) -> Result<(), StoreError>;

    /// Throws everything away that is said.
    fn forget_summaries(&mut self) -> Result<(), StoreError>;
}

/// Pieces of peers' logs that are stored as they came.
pub trait Arrivals {
    /// How many pieces wait to be put in their places.
    fn arrivals(&self) -> Result<u64, StoreError>;

    /// Keeps a piece of a peer's log as it came, and how far and how much of that log is stored
    /// here, as one.
    fn arrive(
        &mut self,
        card: &Card,
        seen: (Mark, &Ask),
        anew: bool,
        body: &[u8],
        at: Timestamp,
    ) -> Result<(), StoreError>;

    /// The oldest piece that waits.
    fn next_arrival(&self) -> Result<Option<Arrival>, StoreError>;

    /// Adds what a piece held, and takes the piece away, as one. Where all it held is added,
    /// `packed` is that as it came.
    fn put_in_place(
        &mut self,
        arrival: &Arrival,
        placing: &Placing,
        packed: &[Packed],
    ) -> Result<(), StoreError>;

    /// Gives up a piece that is not what came any more. Its peer is asked for everything again; the
    /// row stays, so that whoever inspects the store is told.
    fn give_up(&mut self, arrival: &Arrival) -> Result<(), StoreError>;
}

/// Whether what is stored is still what was written. Reads everything.
pub trait Upkeep {
    /// What the engine finds wrong with its own pages and indexes; reads all of them.
    fn pages(&self) -> Result<Vec<String>, StoreError>;

    /// What of the sealed tables is not as it was written.
    fn unsealed(&self) -> Result<Vec<&'static str>, StoreError>;

    /// How many pieces are not what came any more.
    fn damaged_arrivals(&self) -> Result<u64, StoreError>;

    /// Documents that have changes and no heads.
    fn without_heads(&self) -> Result<Vec<DocumentId>, StoreError>;

    /// Documents of which it is not certain any more who gave a change.
    fn givers_damaged(&self) -> Result<Vec<DocumentId>, StoreError>;

    /// Where saved forms and what stands beside them do not fit each other.
    fn saved_problems(&self) -> Result<Vec<(DocumentId, String)>, StoreError>;
}
