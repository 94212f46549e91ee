//! Older documents raised to the schema this version writes.
//!
//! In: an automerge document of an earlier schema. Out: the one change that gives it every list it
//! lacks. That change is the same on every replica, whoever makes it and whenever: a fixed actor,
//! no time, and for its only cause the change that made the document. Two devices that raise a
//! document apart have made one change, not two. Loses nothing and changes nothing that is there.

use automerge::transaction::{CommitOptions, Transactable, Transaction};
use automerge::{ActorId, Automerge, AutomergeError, Change, ObjId, ObjType, ROOT, ReadDoc, Value};

use super::document::{CONTENT, DocumentKind, SCHEMA};
use super::{apply, shop, site};

/// Who raises: nobody in particular.
const RAISER: [u8; 16] = *b"guyline-schema-2";

/// The change that raises a document from any earlier schema. None where it was made in this one.
pub(super) fn to_current(
    doc: &Automerge,
    kind: DocumentKind,
) -> Result<Option<Change>, AutomergeError> {
    let changes = doc.get_changes(&[]);
    let made = changes.iter().filter(|change| change.deps().is_empty()).map(Change::hash).min();
    let made = made.expect("a document that was read has a first change");
    let mut first = doc.fork_at(&[made])?.with_actor(ActorId::from(RAISER));
    let lists: &[&str] = match kind {
        DocumentKind::Session => &apply::MAPS,
        DocumentKind::Shop => &shop::MAPS,
        DocumentKind::Site => &site::MAPS,
    };
    let message = format!("raise to schema {SCHEMA}");
    let options = CommitOptions::default().with_message(message).with_time(0);
    let done = first
        .transact_with(
            |_| options,
            |tx| {
                tx.put(ROOT, "schema", SCHEMA)?;
                if let Some((Value::Object(ObjType::Map), content)) = tx.get(ROOT, CONTENT)? {
                    lists.iter().try_for_each(|list| give(tx, &content, list))?;
                }
                Ok(())
            },
        )
        .map_err(|failure: automerge::transaction::Failure<AutomergeError>| failure.error)?;
    Ok(done.hash.and_then(|hash| first.get_change_by_hash(&hash)))
}

/// Whether a change is the one that raises this document. The actor alone proves nothing: anybody
/// can write under it.
pub(super) fn is_raising(doc: &Automerge, change: &Change, kind: DocumentKind) -> bool {
    change.actor_id().to_bytes() == RAISER
        && to_current(doc, kind)
            .is_ok_and(|raised| raised.is_some_and(|raised| raised.hash() == change.hash()))
}

/// Makes an empty map where there is none.
fn give(tx: &mut Transaction<'_>, content: &ObjId, list: &str) -> Result<(), AutomergeError> {
    match tx.get(content, list)? {
        Some(_) => Ok(()),
        None => tx.put_object(content, list, ObjType::Map).map(drop),
    }
}

#[cfg(test)]
#[path = "raise_tests.rs"]
mod tests;
