//! Older documents raised to the schema this version writes.
//!
//! In: an automerge document of an earlier schema. Out: one change a schema, each giving the lists
//! that schema brought. These changes are the same on every replica, whoever makes them and
//! whenever: fixed actors, no time, and for its only cause each has the one before it, the first
//! one the change that made the document. Two devices that raise a document apart have made the
//! same changes, and one that an earlier version raised part of the way goes on from there. Loses
//! nothing and changes nothing that is there.

use automerge::transaction::{CommitOptions, Transactable, Transaction};
use automerge::{ActorId, Automerge, AutomergeError, Change, ObjId, ObjType, ROOT, ReadDoc, Value};

use super::document::{CONTENT, DocumentKind};

/// A schema and what it brought. A step that was released is never edited: other devices have made
/// its changes already, and must find the same ones here.
struct Step {
    schema: u64,
    /// Who raises: nobody in particular.
    actor: [u8; 16],
    session: &'static [&'static str],
    shop: &'static [&'static str],
    site: &'static [&'static str],
}

const STEPS: [Step; 2] = [
    Step {
        schema: 2,
        actor: *b"guyline-schema-2",
        session: &[
            "crew",
            "chains",
            "readings",
            "withdrawals",
            "acknowledgements",
            "adjustments",
            "notes",
            "departures",
            "restorations",
            "retractions",
            "sign_offs",
            "amendments",
        ],
        shop: &[
            "people",
            "instruments",
            "parts",
            "limit_rows",
            "calibrations",
            "checks_off",
            "check_limits",
            "added_checks",
            "added_cautions",
            "written",
        ],
        site: &["repeaters", "hazard_entries", "equipment", "co_sited", "baselines", "written"],
    },
    Step {
        schema: 3,
        actor: *b"guyline-schema-3",
        session: &["attachments", "captions"],
        shop: &[],
        site: &[],
    },
];

impl Step {
    fn lists(&self, kind: DocumentKind) -> &'static [&'static str] {
        match kind {
            DocumentKind::Session => self.session,
            DocumentKind::Shop => self.shop,
            DocumentKind::Site => self.site,
        }
    }
}

/// The changes that raise a document from the schema it was made in, the first one first. None
/// where it was made in this one.
pub(super) fn to_current(
    doc: &Automerge,
    kind: DocumentKind,
) -> Result<Vec<Change>, AutomergeError> {
    let changes = doc.get_changes(&[]);
    let made = changes.iter().filter(|change| change.deps().is_empty()).map(Change::hash).min();
    let made = made.expect("a document that was read has a first change");
    let mut raised = doc.fork_at(&[made])?;
    let made_in = raised.get(ROOT, "schema")?.and_then(|(value, _)| value.as_u64()).unwrap_or(0);
    let due = STEPS.iter().filter(|step| (made_in + 1..=kind.schema()).contains(&step.schema));
    let mut made = Vec::new();
    for step in due {
        raised = raised.with_actor(ActorId::from(step.actor));
        made.extend(take(&mut raised, step, kind)?);
    }
    Ok(made)
}

/// Goes up one schema. Gives the change.
fn take(
    doc: &mut Automerge,
    step: &Step,
    kind: DocumentKind,
) -> Result<Option<Change>, AutomergeError> {
    let message = format!("raise to schema {}", step.schema);
    let options = CommitOptions::default().with_message(message).with_time(0);
    let done = doc
        .transact_with(
            |_| options,
            |tx| {
                tx.put(ROOT, "schema", step.schema)?;
                if let Some((Value::Object(ObjType::Map), content)) = tx.get(ROOT, CONTENT)? {
                    step.lists(kind).iter().try_for_each(|list| give(tx, &content, list))?;
                }
                Ok(())
            },
        )
        .map_err(|failure: automerge::transaction::Failure<AutomergeError>| failure.error)?;
    Ok(done.hash.and_then(|hash| doc.get_change_by_hash(&hash)))
}

/// Whether a change is one that raises this document. The actor alone proves nothing: anybody can
/// write under it.
pub(super) fn is_raising(doc: &Automerge, change: &Change, kind: DocumentKind) -> bool {
    STEPS.iter().any(|step| change.actor_id().to_bytes() == step.actor)
        && to_current(doc, kind)
            .is_ok_and(|raised| raised.iter().any(|raised| raised.hash() == change.hash()))
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
