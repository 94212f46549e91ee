//! The documents of a node: read from the store when wanted, and never ahead of it.
//!
//! In: edits made here, and changes from elsewhere. Out: documents to look at. A document is in
//! memory only as it is on disk: an edit is durable before the edited copy is kept, and a copy that
//! could not be stored is dropped. Each load gets a fresh random actor, so that no restart and no
//! restored backup ever goes on under an old one. Blocking; the lock is the caller's.

use std::collections::{BTreeMap, BTreeSet};

use automerge::{ActorId, Change};
use guyline_core::record::{Document, DocumentId, Malformed};
use guyline_core::time::Timestamp;

use crate::log::{Card, LogEntry, Mark};
use crate::store::{Append, SetAside, Store, StoreError, TakeIn};
use crate::sync::chunk::{ChunkRefused, read_change};
use crate::sync::exchange::Stored;

/// So many documents are kept in memory; reading one again takes about a millisecond.
const LOADED_MAX: usize = 512;
/// So many changes of one document are looked at one by one before the rest is set aside unseen.
const SIFTED_MAX: usize = 64;

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

/// A piece of a peer's log.
#[derive(Debug)]
pub(crate) struct Given {
    /// Who gave it.
    pub(crate) card: Card,
    /// Its changes.
    pub(crate) entries: Vec<LogEntry>,
    /// Up to where that log is stored here then.
    pub(crate) seen: Mark,
    /// Whether that log is another than the one seen before.
    pub(crate) anew: bool,
}

/// The store, and the documents of it that are in memory.
#[derive(Debug)]
pub(crate) struct Documents {
    pub(crate) store: Store,
    loaded: BTreeMap<DocumentId, Loaded>,
    uses: u64,
}

#[derive(Debug)]
struct Loaded {
    document: Document,
    last_use: u64,
}

impl Documents {
    pub(crate) fn new(store: Store) -> Self {
        Self { store, loaded: BTreeMap::new(), uses: 0 }
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

    /// Edits a document by one change, which is on disk when this is Ok twice. Where the edit
    /// itself is refused (the inner error), the document is as it was.
    pub(crate) fn edit<E>(
        &mut self,
        id: DocumentId,
        edit: impl FnOnce(&mut Document) -> Result<Change, E>,
    ) -> Result<Result<(), E>, NodeError> {
        let mut document = self.take_out(id)?;
        let before = document.heads();
        match edit(&mut document) {
            Ok(change) => self.keep(document, change).map(Ok),
            Err(refused) => {
                if document.heads() == before {
                    self.put_back(document);
                }
                Ok(Err(refused))
            }
        }
    }

    /// Keeps a document that was made here by one change.
    pub(crate) fn create(&mut self, document: Document, change: Change) -> Result<(), NodeError> {
        if self.store.heads().contains_key(&document.id()) {
            return Err(NodeError::Exists { document: document.id() });
        }
        self.keep(document, change)
    }

    /// Stores a change made here, and only then keeps the document that holds it.
    fn keep(&mut self, document: Document, change: Change) -> Result<(), NodeError> {
        let (id, heads) = (document.id(), document.heads());
        // A change made on top of everything is the only head; a second, unreturned one is not.
        assert_eq!(heads, [change.hash()], "an edit makes one change, and returns it");
        // What no node would take must not get into a log, or no exchange would end again.
        read_change(change.raw_bytes())
            .map_err(|source| NodeError::Unsendable { document: id, source })?;
        let entries = vec![LogEntry { document: id, change }];
        self.store.append(&Append { document: id, entries, heads })?;
        self.put_back(document);
        Ok(())
    }

    /// Takes a piece of a peer's log: what fits its documents is stored with them, what does not
    /// is set aside, and all of it is on disk when this is Ok.
    pub(crate) fn take_in(&mut self, given: Given, at: Timestamp) -> Result<Stored, NodeError> {
        let Given { card, entries, seen, anew } = given;
        let mut body = TakeIn { card, seen, anew, appends: Vec::new(), set_aside: Vec::new(), at };
        let mut documents = Vec::new();
        for (id, changes) in self.news(entries)? {
            let sieve = self.sift(id, changes);
            let refused = sieve.refused.into_iter().map(|(change, reason)| SetAside {
                entry: LogEntry { document: id, change },
                reason,
            });
            body.set_aside.extend(refused);
            let Some(document) = sieve.document else {
                continue;
            };
            let heads = document.heads();
            let taken = sieve.taken.into_iter();
            let entries: Vec<_> = taken.map(|change| LogEntry { document: id, change }).collect();
            if !entries.is_empty() {
                body.appends.push(Append { document: id, entries, heads });
            }
            documents.push(document);
        }
        self.store.take_in(&body)?;
        documents.into_iter().for_each(|document| self.put_back(document));
        Ok(Stored {
            taken: body.appends.iter().map(|append| append.entries.len() as u64).sum(),
            set_aside: body.set_aside.len() as u64,
            documents: body.appends.iter().map(|append| append.document).collect(),
        })
    }

    /// What is not stored yet, by document, in the order it came.
    fn news(
        &self,
        entries: Vec<LogEntry>,
    ) -> Result<BTreeMap<DocumentId, Vec<Change>>, StoreError> {
        let mut news: BTreeMap<DocumentId, Vec<Change>> = BTreeMap::new();
        let mut met = BTreeSet::new();
        for LogEntry { document, change } in entries {
            let known_document = self.store.heads().contains_key(&document);
            let hash = change.hash();
            if !met.insert((document, hash))
                || (known_document && self.store.holds(document, hash)?)
            {
                continue;
            }
            news.entry(document).or_default().push(change);
        }
        Ok(news)
    }

    fn sift(&mut self, id: DocumentId, changes: Vec<Change>) -> Sieve {
        let mut sieve = Sieve { id, document: None, taken: Vec::new(), refused: Vec::new() };
        if self.store.heads().contains_key(&id) {
            match self.take_out(id) {
                Ok(document) => sieve.document = Some(document),
                Err(error) => {
                    // Kept for the day the document can be read again.
                    sieve.refuse(&changes, &error);
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
        let changes = self.store.changes_of(id)?;
        let document = Document::from_changes(id, changes, ActorId::random())?;
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
        self.loaded.insert(document.id(), Loaded { document, last_use: self.uses });
    }
}

/// Tells the changes that fit a document from those that do not.
struct Sieve {
    id: DocumentId,
    document: Option<Document>,
    taken: Vec<Change>,
    refused: Vec<(Change, String)>,
}

impl Sieve {
    /// Takes all, or halves them until the ones that do not fit stand alone.
    fn sift(&mut self, changes: &[Change]) {
        let Err(error) = self.take(changes) else {
            self.taken.extend_from_slice(changes);
            return;
        };
        if changes.len() == 1 || self.refused.len() >= SIFTED_MAX {
            self.refuse(changes, &error);
            return;
        }
        let (earlier, later) = changes.split_at(changes.len() / 2);
        self.sift(earlier);
        self.sift(later);
    }

    fn take(&mut self, changes: &[Change]) -> Result<(), Malformed> {
        match &mut self.document {
            Some(document) => document.take(changes.to_vec()),
            none => {
                let document =
                    Document::from_changes(self.id, changes.to_vec(), ActorId::random())?;
                *none = Some(document);
                Ok(())
            }
        }
    }

    fn refuse(&mut self, changes: &[Change], error: &dyn std::error::Error) {
        let mut reason = error.to_string();
        let mut source = error.source();
        while let Some(cause) = source {
            reason = format!("{reason}: {cause}");
            source = cause.source();
        }
        self.refused.extend(changes.iter().map(|change| (change.clone(), reason.clone())));
    }
}

#[cfg(test)]
#[path = "documents_tests.rs"]
mod tests;
