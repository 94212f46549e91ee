//! How a shop or a site is edited: one change an edit, only the fields that differ, signed beside
//! the entry; and how a change is taken back.
//!
//! In: edits with an author. Out: one automerge change each. Nothing is ever deleted, so nobody's
//! change elsewhere vanishes with it. Undoing is a new change that sets back what another one set,
//! and is refused where something was built on that since.

use automerge::transaction::Transactable;
use automerge::{ChangeHash, ObjId, ObjType, Prop, ReadDoc};
use autosurgeon::reconcile_prop;
use serde::{Deserialize, Serialize};
use serde_json::Value as Json;
use ts_rs::TS;

use super::document::{CREATED, Document, DocumentKind, View, commit, content, read};
use super::edit::Author;
use super::history::causal_order;
use super::ids::is_entry_id;
use super::papers_edit::{ShopEdit, SiteEdit, as_tree};
use super::papers_tree::{Difference, Path, at, differences, set, tree, write};
use super::session::Stamp;
use super::validate::{self, NAME_MAX, Problem, text_problem};
use super::{shop, site};

/// The field that holds who wrote what.
const WRITTEN: &str = "written";

/// Why a shop or a site was not changed. It is as it was.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PaperRefused {
    /// The document is of another kind.
    #[error("document {document} is no {wanted}")]
    NotThat {
        /// The document.
        document: String,
        /// The kind the edit is for.
        wanted: &'static str,
    },
    /// The document was written by a later version.
    #[error("the document has schema {found}, this version writes {known}: it can be read only")]
    Newer {
        /// Its schema.
        found: u64,
        /// The schema this version writes.
        known: u64,
    },
    /// The document is of an earlier schema and has to be raised first.
    #[error("the document has no list {list:?} yet: it has to be raised to this version first")]
    Older {
        /// The list it lacks.
        list: &'static str,
    },
    /// The edit names something that is not there.
    #[error("there is no {path:?}")]
    Missing {
        /// What it names.
        path: String,
    },
    /// The id of an entry that is added is taken.
    #[error("{id:?} stands already")]
    Taken {
        /// The id.
        id: String,
    },
    /// A value that the field cannot hold.
    #[error("{path} cannot be that: {expected}")]
    Value {
        /// The field.
        path: String,
        /// What it can hold.
        expected: String,
    },
    /// A value that makes no sense.
    #[error("{0}")]
    Problem(Problem),
    /// The edit leaves out what is there.
    #[error("{path} is there and is never deleted")]
    Deletes {
        /// What it leaves out.
        path: String,
    },
    /// Everything is as the edit means it already.
    #[error("nothing would change")]
    NoChange,
    /// Who edits cannot be kept.
    #[error("the author's {field} {problem}")]
    Author {
        /// Person or device.
        field: &'static str,
        /// What is wrong with it.
        problem: String,
    },
    /// No change has this hash.
    #[error("{given:?} names no change of this document")]
    NoSuchChange {
        /// What was given.
        given: String,
    },
    /// The change made the document, or wrote nothing that can be set back.
    #[error("this change cannot be taken back: {why}")]
    NotUndone {
        /// Why.
        why: String,
    },
    /// A later change set the same field.
    #[error("{path} was changed again since{by}; change it by hand")]
    BuiltOn {
        /// The field.
        path: String,
        /// By whom and when, as in ` by ines at 2026-05-14T10:20:00Z`.
        by: String,
    },
}

/// One change of a shop or a site.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, TS)]
pub struct PaperStep {
    /// The change's hash, in hexadecimal.
    pub change: String,
    /// The intent's name, as in `put part`. Empty where the writer gave none.
    pub intent: String,
    /// Who, on which device, and when by that device's clock. None where the change does not say.
    pub stamp: Option<Stamp>,
    /// The fields it set. None for the change that made the document.
    pub moved: Vec<Moved>,
}

/// A field that a change set.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, TS)]
pub struct Moved {
    /// Where it stands.
    pub path: Path,
    /// What it was; none where it was not there.
    #[ts(type = "unknown")]
    pub before: Option<Json>,
    /// What it became.
    #[ts(type = "unknown")]
    pub after: Option<Json>,
}

impl Document {
    /// Applies one edit of a shop as one change. On a refusal the document is as it was.
    pub fn edit_shop(
        &mut self,
        edit: &ShopEdit,
        author: &Author,
    ) -> Result<automerge::Change, PaperRefused> {
        let View::Shop(now) = &self.view else { return Err(self.no(DocumentKind::Shop)) };
        let meant = edit.applied(now)?;
        no_new_problem(validate::shop(now), validate::shop(&meant))?;
        let (now, meant) = (as_tree(now), as_tree(&meant));
        self.rewrite(edit.name(), author, &now, &meant, edit.field())
    }

    /// Applies one edit of a site as one change. On a refusal the document is as it was.
    pub fn edit_site(
        &mut self,
        edit: &SiteEdit,
        author: &Author,
    ) -> Result<automerge::Change, PaperRefused> {
        let View::Site(now) = &self.view else { return Err(self.no(DocumentKind::Site)) };
        let meant = edit.applied(now)?;
        no_new_problem(validate::site(now), validate::site(&meant))?;
        let (now, meant) = (as_tree(now), as_tree(&meant));
        self.rewrite(edit.name(), author, &now, &meant, edit.field())
    }

    /// Settles a field two people disagree on: one of the values [`Document::conflicts`] lists.
    pub fn choose(
        &mut self,
        path: &[String],
        claim: &str,
        author: &Author,
    ) -> Result<automerge::Change, PaperRefused> {
        let missing = || PaperRefused::Missing { path: path.join(".") };
        let conflicts = self.conflicts();
        let conflict = conflicts.iter().find(|found| found.path == path).ok_or_else(missing)?;
        let chosen = conflict.claims.iter().find(|found| found.id == claim).ok_or_else(missing)?;
        let value = chosen.value.clone();
        self.retree("choose", author, Some(path), |meant| match set(meant, path, value) {
            true => Ok(()),
            false => Err(missing()),
        })
    }

    /// Takes a change back: a new change that sets every field it set to what it was before.
    pub fn undo(
        &mut self,
        change: &str,
        author: &Author,
    ) -> Result<automerge::Change, PaperRefused> {
        let moved = self.undoable(change)?;
        let day = author.at.day().to_string();
        self.retree("undo", author, None, |meant| {
            for Difference { path, before, after } in moved {
                let (path, value) = match before {
                    Some(before) => (path, before),
                    None => gone(path, after.as_ref(), &day)?,
                };
                if !set(meant, &path, value) {
                    return Err(PaperRefused::Missing { path: path.join(".") });
                }
            }
            Ok(())
        })
    }

    /// The newest changes of a shop or site, the newest first, at most so many.
    pub fn paper_steps(&self, most: usize) -> Vec<PaperStep> {
        let changes = self.changes();
        let newest = causal_order(&changes).into_iter().rev().take(most);
        let step = |change: &automerge::Change| {
            let moved = self.differences_of(change);
            let entry = moved.iter().find(|moved| moved.path[0] != WRITTEN);
            let entry = entry.map_or(CREATED.to_owned(), |moved| entry_of(&moved.path));
            let made = change.deps().is_empty();
            // Raising an older document adds lists and is nobody's; it sets no field.
            let signed = is_signed(&moved);
            let moved =
                moved.into_iter().filter(|moved| !made && signed && moved.path[0] != WRITTEN);
            PaperStep {
                change: change.hash().to_string(),
                intent: change.message().unwrap_or_default().to_owned(),
                stamp: self.signed_in(change.hash(), if made { CREATED } else { &entry }),
                moved: moved
                    .map(|Difference { path, before, after }| Moved { path, before, after })
                    .collect(),
            }
        };
        newest.map(step).collect()
    }

    /// The content of a shop or site.
    pub(super) fn paper_content(&self) -> Option<ObjId> {
        match self.view {
            View::Shop(_) | View::Site(_) => content(self.id, &self.doc).ok(),
            View::Session(_) | View::Later => None,
        }
    }

    /// Who signed an entry in a change.
    pub(super) fn signed_in(&self, change: ChangeHash, entry: &str) -> Option<Stamp> {
        let content = self.paper_content()?;
        let heads = [change];
        let (_, written) = self.doc.get_at(&content, WRITTEN, &heads).ok()??;
        let signed = |entry: &str| {
            let (_, stamp) = self.doc.get_at(&written, entry, &heads).ok()??;
            let stamp = tree(&self.doc, &stamp, Some(&heads)).ok()?;
            serde_json::from_value::<Stamp>(stamp).ok()
        };
        let made = |stamp: &Stamp| {
            let found = self.doc.get_change_by_hash(&change);
            found.is_some_and(|change| change.timestamp() == stamp.at.unix_ms())
        };
        // The entry as this change saw it may have been signed by an earlier one.
        signed(entry).filter(made).or_else(|| signed(CREATED).filter(made))
    }

    fn no(&self, wanted: DocumentKind) -> PaperRefused {
        match self.view {
            View::Later => PaperRefused::Newer { found: self.schema, known: self.kind.schema() },
            _ => PaperRefused::NotThat { document: self.id.to_string(), wanted: wanted.word() },
        }
    }

    /// Every field a change set.
    fn differences_of(&self, change: &automerge::Change) -> Vec<Difference> {
        let Some(content) = self.paper_content() else { return Vec::new() };
        let read = |heads: &[ChangeHash]| match heads {
            [] => Json::Object(serde_json::Map::new()),
            heads => tree(&self.doc, &content, Some(heads)).expect("its own heads can be read"),
        };
        differences(&read(change.deps()), &read(&[change.hash()]))
    }

    /// What a change set, where all of it still stands as it was set.
    fn undoable(&self, change: &str) -> Result<Vec<Difference>, PaperRefused> {
        let Some(content) = self.paper_content() else { return Err(self.no(DocumentKind::Shop)) };
        let unknown = || PaperRefused::NoSuchChange { given: change.chars().take(80).collect() };
        let changes = self.changes();
        let found = changes.iter().find(|known| known.hash().to_string() == change);
        let change = found.ok_or_else(unknown)?;
        if change.deps().is_empty() {
            return Err(PaperRefused::NotUndone { why: "it made the document".to_owned() });
        }
        let mut moved = self.differences_of(change);
        if !is_signed(&moved) {
            return Err(PaperRefused::NotUndone { why: "nobody signed it".to_owned() });
        }
        moved.retain(|moved| moved.path[0] != WRITTEN);
        if moved.is_empty() {
            return Err(PaperRefused::NotUndone { why: "it set no field".to_owned() });
        }
        let now = tree(&self.doc, &content, None).expect("a document that was read can be read");
        let disputed = self.conflicts();
        for field in &moved {
            let path = field.path.join(".");
            if disputed.iter().any(|conflict| conflict.path.starts_with(&field.path)) {
                let why = format!("two people disagree on {path}; choose there");
                return Err(PaperRefused::NotUndone { why });
            }
            if at(&now, &field.path) != field.after.as_ref() {
                let by = at(&now, &[WRITTEN.to_owned(), entry_of(&field.path)])
                    .and_then(|stamp| serde_json::from_value::<Stamp>(stamp.clone()).ok())
                    .map_or(String::new(), |stamp| format!(" by {} at {}", stamp.by, stamp.at));
                return Err(PaperRefused::BuiltOn { path, by });
            }
        }
        Ok(moved)
    }

    /// Writes the paper with its tree changed, whichever kind it is.
    fn retree(
        &mut self,
        name: &'static str,
        author: &Author,
        anew: Option<&[String]>,
        change: impl FnOnce(&mut Json) -> Result<(), PaperRefused>,
    ) -> Result<automerge::Change, PaperRefused> {
        let wrong = |error: serde_json::Error| PaperRefused::Value {
            path: anew.map(|path| path.join(".")).unwrap_or_default(),
            expected: error.to_string(),
        };
        let now = match &self.view {
            View::Shop(shop) => as_tree(shop),
            View::Site(site) => as_tree(site),
            View::Session(_) | View::Later => return Err(self.no(DocumentKind::Shop)),
        };
        let mut meant = now.clone();
        change(&mut meant)?;
        let meant = match &self.view {
            View::Shop(shop) => {
                let meant = serde_json::from_value(meant).map_err(wrong)?;
                no_new_problem(validate::shop(shop), validate::shop(&meant))?;
                as_tree(&meant)
            }
            View::Site(site) => {
                let meant = serde_json::from_value(meant).map_err(wrong)?;
                no_new_problem(validate::site(site), validate::site(&meant))?;
                as_tree(&meant)
            }
            View::Session(_) | View::Later => return Err(self.no(DocumentKind::Shop)),
        };
        self.rewrite(name, author, &now, &meant, anew)
    }

    /// Writes every field that differs, signed, as one change. `anew` names a field that is written
    /// also where it is the same, if it has more than one value: this settles it.
    fn rewrite(
        &mut self,
        name: &'static str,
        author: &Author,
        now: &Json,
        meant: &Json,
        anew: Option<&[String]>,
    ) -> Result<automerge::Change, PaperRefused> {
        signs(author)?;
        let content = content(self.id, &self.doc).expect("a paper is read before it is held");
        self.has_its_lists(&content)?;
        let mut fields = differences(now, meant);
        if let Some(gone) = fields.iter().find(|field| field.after.is_none()) {
            return Err(PaperRefused::Deletes { path: gone.path.join(".") });
        }
        let anew = anew.filter(|path| self.disputed(&content, path));
        if let Some(path) = anew {
            fields.retain(|field| !field.path.starts_with(path));
            let after = at(meant, path).cloned();
            fields.push(Difference { path: path.to_vec(), before: None, after });
        }
        if fields.is_empty() {
            return Err(PaperRefused::NoChange);
        }
        let stamp = author.stamp();
        let mut entries: Vec<String> = fields.iter().map(|field| entry_of(&field.path)).collect();
        entries.dedup();
        let written = commit(&mut self.doc, name, author, |tx| {
            for field in &fields {
                let value = field.after.as_ref().unwrap_or(&Json::Null);
                let anew = anew == Some(field.path.as_slice());
                write(tx, &content, &field.path, value, anew)?;
            }
            let found = tx.get(&content, WRITTEN)?;
            let (_, stamps) = found.expect("a paper has its lists, as was asked above");
            for entry in entries {
                // A new map each time: of two stamps written apart none is half of each.
                let signed = tx.put_object(&stamps, entry, ObjType::Map)?;
                reconcile_prop(tx, &signed, "by", stamp.by.as_str())?;
                reconcile_prop(tx, &signed, "device", stamp.device.as_str())?;
                reconcile_prop(tx, &signed, "at", stamp.at)?;
            }
            Ok(())
        });
        // Every object it writes into was found when the paper was read.
        let change = written.expect("an admitted edit fits a validated paper");
        let (_, _, view) = read(self.id, &self.doc).expect("what was validated can be read again");
        self.view = view;
        Ok(change)
    }

    fn has_its_lists(&self, content: &ObjId) -> Result<(), PaperRefused> {
        let lists: &[&'static str] = match self.kind {
            DocumentKind::Shop => &shop::MAPS,
            _ => &site::MAPS,
        };
        let missing = |list: &&&'static str| !matches!(self.doc.get(content, **list), Ok(Some(_)));
        match lists.iter().find(missing) {
            Some(list) => Err(PaperRefused::Older { list }),
            None => Ok(()),
        }
    }

    /// Whether a field has more than one value.
    fn disputed(&self, content: &ObjId, path: &[String]) -> bool {
        let Some((last, above)) = path.split_last() else { return false };
        let parent = above.iter().try_fold(content.clone(), |parent, key| {
            let found = self.doc.get(&parent, Prop::Map(key.clone())).ok()??;
            Some(found.1)
        });
        let values = parent.and_then(|parent| self.doc.get_all(&parent, last.as_str()).ok());
        values.is_some_and(|values| values.len() > 1)
    }
}

/// Under which name an entry's stamp stands: its list and id, or the field itself.
pub(super) fn entry_of(path: &[String]) -> String {
    let list =
        |name: &String| shop::MAPS.contains(&name.as_str()) || site::MAPS.contains(&name.as_str());
    match path {
        [name, id, ..] if list(name) => format!("{name}.{id}"),
        [name, ..] => name.clone(),
        [] => CREATED.to_owned(),
    }
}

/// Whether a change says who made it, as every edit does beside the entry it sets.
fn is_signed(moved: &[Difference]) -> bool {
    moved.iter().any(|moved| moved.path[0] == WRITTEN && moved.path.len() > 1)
}

/// How an addition is taken back: nothing is deleted, so it no longer counts.
fn gone(mut path: Path, after: Option<&Json>, day: &str) -> Result<(Path, Json), PaperRefused> {
    match after {
        Some(Json::Bool(_)) => Ok((path, Json::Bool(false))),
        Some(Json::Object(entry)) if entry.contains_key("retired") && path.len() == 2 => {
            path.push("retired".to_owned());
            Ok((path, Json::String(day.to_owned())))
        }
        // The parts of a plan: none is how they are taken back.
        Some(Json::Object(_)) if path.len() == 2 => Ok((path, Json::Null)),
        _ => {
            let why = format!("{} was added and is never deleted", path.join("."));
            Err(PaperRefused::NotUndone { why })
        }
    }
}

/// Fails with the first problem that was not there before: what is wrong already, or came of two
/// edits made apart, must not keep anybody from mending something else.
fn no_new_problem(before: Vec<Problem>, after: Vec<Problem>) -> Result<(), PaperRefused> {
    match after.into_iter().find(|problem| !before.contains(problem)) {
        Some(problem) => Err(PaperRefused::Problem(problem)),
        None => Ok(()),
    }
}

fn signs(author: &Author) -> Result<(), PaperRefused> {
    if !is_entry_id(&author.person) {
        let problem = "is no id: 1 to 64 letters, digits and hyphens are".to_owned();
        return Err(PaperRefused::Author { field: "person", problem });
    }
    match text_problem(&author.device, NAME_MAX) {
        Some(problem) => Err(PaperRefused::Author { field: "device", problem }),
        None => Ok(()),
    }
}

#[cfg(test)]
#[path = "papers_tests.rs"]
mod tests;
