//! A document's saved form: all its changes as one, a sixth of their bytes and read in half the
//! time.
//!
//! In: a document, or bytes and the changes made after them. Out: the same the other way round.
//! The changes and their hashes come back as they were: automerge works each out again when it
//! reads a saved form and compares the newest with those the form names.

use automerge::{ActorId, Automerge, Change, ChangeHash};

use super::document::{Document, Malformed};
use super::ids::DocumentId;

impl Document {
    /// The whole document as one.
    pub fn saved(&self) -> Vec<u8> {
        self.automerge().save()
    }

    /// The document that a saved form and the changes after it make, edited from here on under
    /// `actor`, which must be fresh.
    pub fn from_saved(
        id: DocumentId,
        saved: &[u8],
        later: Vec<Change>,
        actor: ActorId,
    ) -> Result<Self, Malformed> {
        let doc = Automerge::load(saved)
            .map_err(|source| Malformed::Changes { document: id, source: Box::new(source) })?;
        let mut doc = doc.with_actor(actor);
        if !later.is_empty() {
            super::document::apply_all(id, &mut doc, later)?;
        }
        Self::around(id, doc)
    }

    /// The hash of every change, causes before effects.
    pub fn hashes(&self) -> Vec<ChangeHash> {
        self.automerge().get_changes_meta(&[]).into_iter().map(|change| change.hash).collect()
    }
}
