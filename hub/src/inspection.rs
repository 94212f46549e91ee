//! Whether a store still holds what it was given: every page, every change, every document.
//!
//! In: an open store. Out: an [`Inspection`] that names each thing that is not as it was. Reads the
//! disk, never what is in memory, and repairs nothing: what is lost elsewhere is no better for it.

use std::collections::BTreeMap;

use automerge::{ActorId, Change, ChangeHash};
use guyline_core::record::{Document, DocumentId};
use serde::Serialize;

use crate::identity::{proven, why_held};
use crate::log::Seal;
use crate::store::{Store, StoreError};

/// What was looked at, and what is wrong with it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Inspection {
    /// How many documents were read.
    pub documents: u64,
    /// How many changes were read and hashed again.
    pub changes: u64,
    /// How many changes from elsewhere are set aside.
    pub set_aside: u64,
    /// What is wrong. Empty when all is well.
    pub problems: Vec<Damage>,
}

/// Something that is not as it was.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Damage {
    /// The document, where it is one.
    pub document: Option<String>,
    /// What was found.
    pub found: String,
}

/// Looks at everything a store holds.
pub(crate) fn inspect(store: &dyn Store) -> Result<Inspection, StoreError> {
    let mut problems: Vec<Damage> =
        store.pages()?.into_iter().map(|found| Damage { document: None, found }).collect();
    let mut changes = 0;
    for (&id, heads) in store.heads() {
        let found = match store.changes_of(id) {
            Ok(stored) => {
                changes += stored.len() as u64;
                let unsealed = seal_problem(store, id, &stored)?;
                // Once is enough: what does not fit together has no sound seals either.
                document_problem(id, stored, heads).or(unsealed)
            }
            Err(error) => Some(error.to_string()),
        };
        problems.extend(found.map(|found| Damage { document: Some(id.to_string()), found }));
    }
    for (id, found) in store.saved_problems()? {
        // Once is enough: what cannot be read does not fit either.
        if !problems.iter().any(|damage| damage.document == Some(id.to_string())) {
            problems.push(Damage { document: Some(id.to_string()), found });
        }
    }
    for id in store.givers_damaged()? {
        let found = "it is not certain any more which node gave a change of it".to_owned();
        problems.push(Damage { document: Some(id.to_string()), found });
    }
    for table in store.unsealed()? {
        problems.push(Damage { document: None, found: table.to_owned() });
    }
    match store.damaged_arrivals()? {
        0 => {}
        count => {
            let found = format!(
                "{count} pieces of other devices' logs are not what came; merge with all devices \
                 again: what they still have comes back"
            );
            problems.push(Damage { document: None, found });
        }
    }
    for id in store.without_heads()? {
        let found = "its changes are here, and nothing says where they lead".to_owned();
        problems.push(Damage { document: Some(id.to_string()), found });
    }
    if let Err(error) = store.set_aside() {
        problems.push(Damage { document: None, found: error.to_string() });
    }
    let documents = store.heads().len() as u64;
    Ok(Inspection { documents, changes, set_aside: store.set_aside_count()?, problems })
}

fn document_problem(id: DocumentId, stored: Vec<Change>, heads: &[ChangeHash]) -> Option<String> {
    match Document::from_changes(id, stored, ActorId::random()) {
        Ok(document) if document.heads() == heads => None,
        Ok(_) => Some("its stored changes do not lead to its newest ones".to_owned()),
        Err(malformed) => Some(malformed.to_string()),
    }
}

/// Whether every change is proved by a seal, and every seal is what was written.
fn seal_problem(
    store: &dyn Store,
    id: DocumentId,
    stored: &[Change],
) -> Result<Option<String>, StoreError> {
    let seals = store.seals_of(id)?;
    let by_hash: BTreeMap<ChangeHash, &Change> =
        stored.iter().map(|change| (change.hash(), change)).collect();
    let on_its_change = |seal: &Seal| {
        let sealed = by_hash.get(&seal.change);
        sealed.is_some_and(|it| *it.actor_id() == seal.actor && it.seq() == seal.sequence)
    };
    let (count, placed) = (seals.len(), seals.iter().all(on_its_change));
    let seals = proven(id, seals);
    if !placed || seals.len() != count {
        return Ok(Some("a seal on its changes is not what was written".to_owned()));
    }
    Ok(match why_held(id, stored, &seals, None).into_iter().flatten().count() {
        0 => None,
        held => Some(format!("{held} of its changes have no seal of the device that wrote them")),
    })
}

#[cfg(test)]
#[path = "inspection_tests.rs"]
mod tests;
