//! The documents of a node: read from the store when wanted, and never ahead of it.
//!
//! In: edits made here, and changes from elsewhere. Out: documents to look at. A document is in
//! memory only as it is on disk: an edit is durable before the edited copy is kept, and a copy that
//! could not be stored is dropped. Each load gets a fresh actor of this device, so that no restart
//! and no restored backup ever goes on under an old one, and each change made here gets the
//! device's seal. What comes from elsewhere, [`taking`] takes. Blocking; the lock is the caller's.

mod gathering;
mod packing;
mod taking;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Instant;

use automerge::Change;
use guyline_core::record::{Document, DocumentId, DocumentKind, Malformed};

pub(crate) use self::taking::Given;
use crate::attachments::AttachmentError;
use crate::chunk::{Chunk, ChunkRefused};
use crate::identity::{DeviceKey, fresh_actor, has_owner, is_of};
use crate::log::LogEntry;
use crate::log::{NodeId, Place, Scope};
use crate::store::{Append, DEVICE, Folded, Length, Peer, Store, StoreError, Written};

/// So many documents are kept in memory; reading one again takes about a millisecond.
const LOADED_MAX: usize = 512;
/// So many changes after a document's saved form, and the next edit makes it anew...
const TAIL_MAX: u64 = 16;
/// ...if they are this part of the document: the work for all of them stays in proportion to them.
const TAIL_SHARE: u64 = 4;

/// Why the node could not do as asked. What is on disk is as it was.
#[derive(Debug, thiserror::Error)]
pub enum NodeError {
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The store cannot be had now.
    #[error(transparent)]
    OutOfReach(Arc<StoreError>),
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
    /// The content of attachments cannot be looked through.
    #[error(transparent)]
    Contents(#[from] Box<AttachmentError>),
    /// Whoever asks may not write.
    #[error("this is let in to read only")]
    ReadOnly,
    /// A setting is not what this program writes.
    #[error("the setting {key:?} cannot be read: {found}")]
    Setting {
        /// Its key.
        key: &'static str,
        /// What is wrong with it.
        found: String,
    },
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

/// The store, and the documents of it that are in memory.
#[derive(Debug)]
pub(crate) struct Documents {
    pub(crate) store: Box<dyn Store>,
    key: Arc<DeviceKey>,
    loaded: BTreeMap<DocumentId, Loaded>,
    /// The kind of every document that was ever in memory, or of which it was kept.
    kinds: BTreeMap<DocumentId, DocumentKind>,
    /// The site of every such visit.
    sites: BTreeMap<DocumentId, DocumentId>,
    /// About how many changes came after a document's saved form.
    unfolded: BTreeMap<DocumentId, u64>,
    uses: u64,
    /// How many pieces of peers' logs are yet to be put in place.
    arrivals: u64,
    /// Where that failed: not everybody who looks at something tries it anew, before something else
    /// could be written.
    try_again_at: Option<Instant>,
    /// Whether the store could not be had when it was last wanted.
    out_of_reach: Option<Arc<StoreError>>,
}

#[derive(Debug)]
struct Loaded {
    document: Document,
    last_use: u64,
}

impl Documents {
    pub(crate) fn new(store: Box<dyn Store>, key: Arc<DeviceKey>) -> Result<Self, StoreError> {
        let (loaded, kinds, sites, unfolded) = Default::default();
        let arrivals = store.arrivals()?;
        let try_again_at = None;
        let (uses, out_of_reach) = (0, None);
        Ok(Self {
            store,
            key,
            loaded,
            kinds,
            sites,
            unfolded,
            uses,
            arrivals,
            out_of_reach,
            try_again_at,
        })
    }

    /// Takes the store, and learns what other processes of this node did with it since. Gives
    /// whether a setting is another. Where it cannot be had, what is in memory can be looked at and
    /// nothing can be written.
    pub(crate) fn hold(&mut self) -> bool {
        let since = match self.store.hold() {
            Ok(since) => since,
            Err(error) => {
                if self.out_of_reach.is_none() {
                    tracing::error!(%error, "the store is out of reach");
                }
                self.out_of_reach = Some(Arc::new(error));
                return false;
            }
        };
        if self.out_of_reach.take().is_some() {
            tracing::warn!("the store is within reach again");
        }
        for id in &since.documents {
            self.loaded.remove(id);
            self.unfolded.remove(id);
        }
        self.arrivals = since.arrivals.unwrap_or(self.arrivals);
        since.settings
    }

    /// The end of the log; not as it was before the store went out of reach.
    pub(crate) fn position(&self) -> Result<u64, NodeError> {
        match &self.out_of_reach {
            Some(why) => Err(NodeError::OutOfReach(Arc::clone(why))),
            None => Ok(self.store.newest().position),
        }
    }

    /// Whether the store is this device's: where several processes share one, all have one key.
    pub(crate) fn is_of_device(&mut self) -> Result<bool, StoreError> {
        if !self.store.has_others() {
            return Ok(true);
        }
        let own = self.key.public().to_string();
        match self.store.setting(DEVICE)? {
            Some(known) => Ok(known == own),
            None => self.store.set_setting(DEVICE, &own).map(|()| true),
        }
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

    /// Learns where documents belong that were not read yet, from what was kept about them: their
    /// kinds, and the sites of visits.
    pub(crate) fn learn_places(
        &mut self,
        places: impl Iterator<Item = (DocumentId, DocumentKind, Option<DocumentId>)>,
    ) {
        for (id, kind, site) in places {
            self.kinds.entry(id).or_insert(kind);
            if let Some(site) = site {
                self.sites.entry(id).or_insert(site);
            }
        }
    }

    /// Where a document belongs, as far as that was learned.
    pub(crate) fn place_of(&self, id: DocumentId) -> Option<Place> {
        place(*self.kinds.get(&id)?, self.sites.get(&id).copied())
    }

    /// Learns where a document belongs that is in memory.
    fn learn_place(&mut self, document: &Document) {
        let site = document.session().ok().map(|session| session.site);
        self.kinds.insert(document.id(), document.kind());
        if let Some(site) = site {
            self.sites.insert(document.id(), site);
        }
    }

    /// The documents of which none of these nodes is known to hold every change; of all nodes met
    /// where none are named.
    pub(crate) fn not_known_at(
        &self,
        nodes: Option<&[NodeId]>,
    ) -> Result<BTreeSet<DocumentId>, StoreError> {
        self.store.not_known_at(nodes, &|id| self.place_of(id))
    }

    /// How many changes made here no other node is known to hold.
    pub(crate) fn only_here(&self) -> Result<u64, StoreError> {
        self.store.only_here(&|id| self.place_of(id))
    }

    /// Every node met so far, the last one first. One that keeps a part lacks nothing else.
    pub(crate) fn peers(&self) -> Result<Vec<Peer>, StoreError> {
        let mut peers = self.store.peers()?;
        for peer in peers.iter_mut().filter(|peer| peer.holds != Scope::All) {
            let kept =
                |id: &DocumentId| self.place_of(*id).is_none_or(|place| peer.holds.holds(place));
            let owed = self.store.owed(peer.node)?.into_iter();
            peer.not_there = owed.filter(|(id, _)| kept(id)).map(|(_, count)| count).sum();
        }
        Ok(peers)
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
            self.store.fold(id, self.place_of(id), &document.saved())?;
        }
        self.unfolded.remove(&id);
        Ok(())
    }

    /// Makes the saved form of one document anew that something came after, however little: nobody
    /// writes just now, and whoever opens it next need not put it together. False where none is
    /// left.
    pub(crate) fn fold_one(&mut self) -> Result<bool, NodeError> {
        let Some((id, _)) = self.unfolded.pop_first() else { return Ok(false) };
        // One that is not in memory was not worked on lately.
        if let Some(loaded) = self.loaded.get(&id)
            && self.store.length_of(id)?.tail > 0
        {
            self.store.fold(id, self.place_of(id), &loaded.document.saved())?;
        }
        Ok(true)
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
        let mut entries = Vec::with_capacity(changes.len());
        for change in &changes {
            // What no node would take must not get into a log, or no exchange would end again.
            let change = Chunk::read(change.raw_bytes().to_vec())
                .map_err(|source| NodeError::Unsendable { document: id, source })?;
            entries.push(LogEntry { document: id, change });
        }
        let count = changes.len();
        let seals = changes.last().map(|change| self.key.seal(id, change)).into_iter().collect();
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
            match self.store.fold(id, self.place_of(id), &saved)? {
                Folded::Already | Folded::Instead | Folded::ForSpeed => compacted.folded += 1,
                Folded::Beside => compacted.only_here += 1,
                Folded::NotAlike => compacted.not_alike += 1,
            }
        }
        self.store.shrink()?;
        Ok(compacted)
    }

    /// The document, out of memory or the store. It is not kept until it is put back, so that
    /// nothing half done stays when something between the two fails or panics.
    fn take_out(&mut self, id: DocumentId) -> Result<Document, NodeError> {
        if let Some(loaded) = self.loaded.remove(&id) {
            return Ok(loaded.document);
        }
        let heads = self.store.heads().get(&id).ok_or(NodeError::Absent { document: id })?;
        let written = self.store.written(id)?;
        self.unfolded.insert(id, written.later.len() as u64);
        let document = self.made_of(id, written)?;
        if document.heads() != *heads {
            return Err(NodeError::Gap { document: id });
        }
        Ok(document)
    }

    /// The document that is written so.
    fn made_of(&self, id: DocumentId, written: Written) -> Result<Document, Malformed> {
        let actor = fresh_actor(self.key.public());
        match written.saved {
            Some(saved) => Document::from_saved(id, &saved, written.later, actor),
            None => Document::from_changes(id, written.later, actor),
        }
    }

    fn put_back(&mut self, document: Document) {
        if self.loaded.len() >= LOADED_MAX {
            let oldest = self.loaded.iter().min_by_key(|(_, loaded)| loaded.last_use);
            if let Some(id) = oldest.map(|(id, _)| *id) {
                self.loaded.remove(&id);
            }
        }
        self.uses += 1;
        self.learn_place(&document);
        self.loaded.insert(document.id(), Loaded { document, last_use: self.uses });
    }
}

/// Where a document of a kind belongs, by the site of a visit; one of a later schema tells none.
fn place(kind: DocumentKind, site: Option<DocumentId>) -> Option<Place> {
    match kind {
        DocumentKind::Session => site.map(Place::Visit),
        DocumentKind::Shop | DocumentKind::Site => Some(Place::Papers),
    }
}

#[cfg(test)]
impl Documents {
    /// The embedded engine itself, to damage or fill it.
    pub(crate) fn sqlite(&self) -> &rusqlite::Connection {
        let engine = self.store.any().downcast_ref::<crate::store::Sqlite>();
        engine.expect("tests work in folders").connection()
    }
}

#[cfg(test)]
mod tests;
