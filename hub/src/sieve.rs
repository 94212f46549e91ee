//! Tells the changes that fit a document from those that do not, whoever wrote them.
//!
//! In: changes of one document, causes before effects where the sender is sound. Out: the document
//! with all that fit, those, and the others with the reason. Knows no store; whose a change is was
//! looked at before.

use std::collections::BTreeSet;

use automerge::{ActorId, Change, ChangeHash};
use guyline_core::record::{Document, DocumentId, Malformed};

use crate::identity::Held;

/// So many changes of one document are looked at one by one before the rest is set aside unseen.
const SIFTED_MAX: usize = 64;

/// Tells the changes that build on one that is held from the others, both in their order.
pub(crate) fn behind_held(
    admitted: Vec<Change>,
    held: &[(Change, Held)],
) -> (Vec<Change>, Vec<Change>) {
    let mut stuck: BTreeSet<ChangeHash> = held.iter().map(|(change, _)| change.hash()).collect();
    if stuck.is_empty() {
        return (admitted, Vec::new());
    }
    // Once for each generation: what waited may stand behind what it builds on.
    loop {
        let before = stuck.len();
        for change in &admitted {
            if change.deps().iter().any(|cause| stuck.contains(cause)) {
                stuck.insert(change.hash());
            }
        }
        if stuck.len() == before {
            break;
        }
    }
    admitted.into_iter().partition(|change| !stuck.contains(&change.hash()))
}

/// Tells the changes that fit a document from those that do not.
pub(crate) struct Sieve {
    pub(crate) id: DocumentId,
    pub(crate) actor: ActorId,
    pub(crate) document: Option<Document>,
    pub(crate) taken: Vec<Change>,
    /// Each with the reason, and whether it may find its place later.
    pub(crate) refused: Vec<(Change, String, bool)>,
}

impl Sieve {
    /// Takes all, or halves them until the ones that do not fit stand alone.
    pub(crate) fn sift(&mut self, changes: &[Change]) {
        if changes.is_empty() {
            return;
        }
        let Err(error) = self.take(changes) else {
            self.taken.extend_from_slice(changes);
            return;
        };
        if changes.len() == 1 || self.refused.len() >= SIFTED_MAX {
            let waits = matches!(error, Malformed::CausesMissing { .. });
            self.refuse(changes, &error, waits);
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
                    Document::from_changes(self.id, changes.to_vec(), self.actor.clone())?;
                *none = Some(document);
                Ok(())
            }
        }
    }

    /// Refuses all of these for one reason.
    pub(crate) fn refuse(
        &mut self,
        changes: &[Change],
        error: &dyn std::error::Error,
        waits: bool,
    ) {
        let mut reason = error.to_string();
        let mut source = error.source();
        while let Some(cause) = source {
            reason = format!("{reason}: {cause}");
            source = cause.source();
        }
        self.refused.extend(changes.iter().map(|change| (change.clone(), reason.clone(), waits)));
    }
}
