//! Fields two people changed without seeing each other's change: all values, whose, and which one
//! is shown meanwhile.
//!
//! In: a shop or a site. Out: the same list on every replica, in the order of the paths. automerge
//! keeps every value that no later one took the place of; nothing here decides between them.

use automerge::{AutomergeError, Change, ObjId, ObjType, ReadDoc, Value};
use serde::{Deserialize, Serialize};
use serde_json::Value as Json;
use ts_rs::TS;

use super::document::Document;
use super::papers_tree::{Path, leaf};
use super::session::Stamp;

/// A field with more than one value.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, TS)]
pub struct Conflict {
    /// Where it stands.
    pub path: Path,
    /// Its values, the one shown meanwhile last.
    pub claims: Vec<Claim>,
}

/// One of the values.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, TS)]
pub struct Claim {
    /// Names this value when it is chosen.
    pub id: String,
    /// The value.
    #[ts(type = "unknown")]
    pub value: Json,
    /// Who wrote it, on which device, and when by that device's clock.
    pub stamp: Option<Stamp>,
    /// Whether it is the one shown meanwhile.
    pub shown: bool,
}

impl Document {
    /// Every field of a shop or site on which two people disagree. None in a session: there nothing
    /// is overwritten.
    pub fn conflicts(&self) -> Vec<Conflict> {
        let Some(content) = self.paper_content() else { return Vec::new() };
        let changes = self.changes();
        let mut found = Vec::new();
        let mut walk = Walk { document: self, changes: &changes, found: &mut found };
        walk.map(&content, &mut Vec::new()).expect("a document that was read can be read again");
        found
    }
}

struct Walk<'a> {
    document: &'a Document,
    changes: &'a [Change],
    found: &'a mut Vec<Conflict>,
}

impl Walk<'_> {
    fn map(&mut self, object: &ObjId, path: &mut Path) -> Result<(), AutomergeError> {
        let doc = self.document.automerge();
        for key in doc.keys(object).collect::<Vec<_>>() {
            // Who wrote an entry last is told by the newest; it is nobody's choice.
            if path.is_empty() && key == "written" {
                continue;
            }
            let values = doc.get_all(object, key.as_str())?;
            path.push(key);
            if values.len() > 1 {
                self.claims(&values, path)?;
            }
            // Also under what is hidden meanwhile: nothing may be missing from the list.
            for (value, id) in &values {
                if let Value::Object(ObjType::Map) = value {
                    self.map(id, path)?;
                }
            }
            path.pop();
        }
        Ok(())
    }

    fn claims(&mut self, values: &[(Value<'_>, ObjId)], path: &Path) -> Result<(), AutomergeError> {
        let last = values.len() - 1;
        let mut claims = Vec::with_capacity(values.len());
        for (index, (value, id)) in values.iter().enumerate() {
            claims.push(Claim {
                id: id.to_string(),
                value: leaf(self.document.automerge(), value, id, None)?,
                stamp: self.stamp(id, path),
                shown: index == last,
            });
        }
        // Two who wrote the same agree.
        if claims.iter().any(|claim| claim.value != claims[0].value) {
            self.found.push(Conflict { path: path.clone(), claims });
        }
        Ok(())
    }

    /// Who made the change this value came with.
    fn stamp(&self, id: &ObjId, path: &Path) -> Option<Stamp> {
        let ObjId::Id(counter, actor, _) = id else { return None };
        let change = self.changes.iter().find(|change| {
            change.actor_id() == actor
                && (change.start_op().get()..=change.max_op()).contains(counter)
        })?;
        self.document.signed_in(change.hash(), &super::papers::entry_of(path))
    }
}
