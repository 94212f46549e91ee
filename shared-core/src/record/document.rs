//! One automerge document with its kind: made, taken in from elsewhere, edited and read here only.
//!
//! In: changes and edits. Out: typed views and one change per edit. What comes from elsewhere is
//! validated before it counts, and leaves the document untouched when it is malformed. Not here:
//! disk, network, clock; the actor, the ids and the times come from the caller.

use automerge::transaction::{CommitOptions, Transactable, Transaction};
use automerge::{ActorId, Automerge, Change, ChangeHash, ObjId, ObjType, ROOT, ReadDoc, Value};
use autosurgeon::{ReconcileError, hydrate_prop, reconcile_prop};

use super::apply;
use super::edit::{Author, EditRefused, SessionEdit};
use super::gathered::Gathered;
use super::ids::DocumentId;
use super::raise;
use super::session::Session;
use super::shop::Shop;
use super::site::Site;
use super::validate::{self, Problem};

pub(super) const CONTENT: &str = "content";

/// Under this name stands who made a shop or a site, beside who wrote its entries.
pub(super) const CREATED: &str = "document";

/// The three kinds of document.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum DocumentKind {
    /// A shop's people, instruments, parts and rules.
    Shop,
    /// A site's access, hazards and equipment.
    Site,
    /// One visit.
    Session,
}

impl DocumentKind {
    /// The word kept in the document.
    pub fn word(self) -> &'static str {
        match self {
            Self::Shop => "shop",
            Self::Site => "site",
            Self::Session => "session",
        }
    }

    /// The schema this version writes it in. Documents of a higher one are read only, those of a
    /// lower one are raised by [`Document::raise`] before they are written to. Each kind has its
    /// own, so that what one kind gains locks nobody's older program out of the others.
    pub fn schema(self) -> u64 {
        match self {
            Self::Shop | Self::Site => 2,
            Self::Session => 3,
        }
    }
}

/// Why bytes from elsewhere are no document of ours.
#[derive(Debug, thiserror::Error)]
pub enum Malformed {
    /// automerge does not take the changes.
    #[error("document {document}: the changes do not fit together")]
    Changes {
        /// The document.
        document: DocumentId,
        /// automerge's reason.
        #[source]
        source: Box<automerge::AutomergeError>,
    },
    /// Changes whose causes are not there.
    #[error("document {document}: {count} causes are missing, the first is {first}")]
    CausesMissing {
        /// The document.
        document: DocumentId,
        /// How many.
        count: usize,
        /// The first missing change.
        first: ChangeHash,
    },
    /// A field that is missing or of another type.
    #[error("document {document}: {expected}")]
    Shape {
        /// The document.
        document: DocumentId,
        /// What was expected, and where.
        expected: String,
    },
    /// Fields of the right type whose values cannot be.
    #[error("document {document}: {first}")]
    Values {
        /// The document.
        document: DocumentId,
        /// The first problem found.
        first: Problem,
    },
    /// The document is of another kind than was asked for, or of a later schema.
    #[error("document {document} is not a {wanted} that this version can read (it is: {found})")]
    NotThat {
        /// The document.
        document: DocumentId,
        /// The kind asked for.
        wanted: &'static str,
        /// What it says it is.
        found: String,
    },
}

/// A document. Cloning is not offered: two writers under one actor would collide.
#[derive(Debug)]
pub struct Document {
    pub(super) id: DocumentId,
    pub(super) kind: DocumentKind,
    pub(super) schema: u64,
    pub(super) doc: Automerge,
    pub(super) view: View,
}

/// The content as it was last read: reading a whole document anew for every look is what costs.
#[derive(Debug)]
pub(super) enum View {
    Shop(Shop),
    Site(Site),
    Session(Session),
    /// Of a later schema: what it means is not ours to guess.
    Later,
}

impl Document {
    /// A new shop document, and the change that makes it.
    pub fn create_shop(
        id: DocumentId,
        shop: &Shop,
        actor: ActorId,
        author: &Author,
    ) -> Result<(Self, Change), Malformed> {
        reject_first(id, validate::shop(shop))?;
        let mut shop = shop.clone();
        shop.written.insert(CREATED.to_owned(), author.stamp());
        Self::create(id, DocumentKind::Shop, actor, author, |tx| {
            reconcile_prop(tx, ROOT, CONTENT, &shop)
        })
    }

    /// A new site document, and the change that makes it.
    pub fn create_site(
        id: DocumentId,
        site: &Site,
        actor: ActorId,
        author: &Author,
    ) -> Result<(Self, Change), Malformed> {
        reject_first(id, validate::site(site))?;
        let mut site = site.clone();
        site.written.insert(CREATED.to_owned(), author.stamp());
        Self::create(id, DocumentKind::Site, actor, author, |tx| {
            reconcile_prop(tx, ROOT, CONTENT, &site)
        })
    }

    /// A new, empty session for a visit to a repeater, and the change that makes it.
    pub fn create_session(
        id: DocumentId,
        site: DocumentId,
        repeater: &str,
        work_order: &str,
        actor: ActorId,
        author: &Author,
    ) -> Result<(Self, Change), Malformed> {
        let opened = author.stamp();
        Self::create(id, DocumentKind::Session, actor, author, |tx| {
            let content = tx.put_object(ROOT, CONTENT, ObjType::Map)?;
            reconcile_prop(tx, &content, "site", site)?;
            tx.put(&content, "repeater", repeater)?;
            tx.put(&content, "work_order", work_order)?;
            reconcile_prop(tx, &content, "opened", &opened)?;
            for map in apply::MAPS {
                tx.put_object(&content, map, ObjType::Map)?;
            }
            Ok(())
        })
    }

    fn create(
        id: DocumentId,
        kind: DocumentKind,
        actor: ActorId,
        author: &Author,
        fill: impl FnOnce(&mut Transaction<'_>) -> Result<(), ReconcileError>,
    ) -> Result<(Self, Change), Malformed> {
        let mut doc = Automerge::new().with_actor(actor);
        let change = commit(&mut doc, "create", author, |tx| {
            tx.put(ROOT, "schema", kind.schema())?;
            tx.put(ROOT, "kind", kind.word())?;
            fill(tx)
        })
        .map_err(|error| shape(id, &error))?;
        Ok((Self::around(id, doc)?, change))
    }

    /// The document these changes make, edited from here on under `actor`.
    ///
    /// The actor must be fresh: a restarted process that writes on under its old one forks itself.
    pub fn from_changes(
        id: DocumentId,
        changes: Vec<Change>,
        actor: ActorId,
    ) -> Result<Self, Malformed> {
        let mut doc = Automerge::new().with_actor(actor);
        apply_all(id, &mut doc, changes)?;
        Self::around(id, doc)
    }

    /// Takes changes from elsewhere. On an error the document is as it was.
    pub fn take(&mut self, changes: Vec<Change>) -> Result<(), Malformed> {
        let before = self.doc.get_heads();
        let taken =
            apply_all(self.id, &mut self.doc, changes).and_then(|()| read(self.id, &self.doc));
        match taken {
            Ok((kind, schema, view)) => {
                (self.kind, self.schema, self.view) = (kind, schema, view);
                Ok(())
            }
            Err(malformed) => {
                // Rare, so the way back is the long one: the document as it was at its old heads.
                let actor = self.doc.get_actor().clone();
                let as_it_was = self.doc.fork_at(&before).expect("it had these heads a line above");
                self.doc = as_it_was.with_actor(actor);
                Err(malformed)
            }
        }
    }

    pub(super) fn around(id: DocumentId, doc: Automerge) -> Result<Self, Malformed> {
        let (kind, schema, view) = read(id, &doc)?;
        Ok(Self { id, kind, schema, doc, view })
    }

    /// The changes that give an older document all that its schema writes into, one a schema,
    /// causes first; none where it is not older.
    ///
    /// Every replica makes the very same changes, so that two devices which both do it have no two
    /// lists of one name of which one would hide the other.
    pub fn raise(&mut self) -> Result<Vec<Change>, Malformed> {
        if self.schema >= self.kind.schema() {
            return Ok(Vec::new());
        }
        let mut raised = raise::to_current(&self.doc, self.kind).map_err(|e| shape(self.id, &e))?;
        // An earlier version, here or elsewhere, may have gone part of the way.
        raised.retain(|change| self.doc.get_change_by_hash(&change.hash()).is_none());
        self.take(raised.clone())?;
        Ok(raised)
    }

    /// The document's id.
    pub fn id(&self) -> DocumentId {
        self.id
    }

    /// The document's kind.
    pub fn kind(&self) -> DocumentKind {
        self.kind
    }

    /// The hashes of the newest changes, sorted. Equal heads are equal documents.
    pub fn heads(&self) -> Vec<ChangeHash> {
        let mut heads = self.doc.get_heads();
        heads.sort_unstable();
        heads
    }

    /// Every change, causes before effects.
    pub fn changes(&self) -> Vec<Change> {
        self.doc.get_changes(&[])
    }

    /// What automerge holds, for this room's own reading of it.
    pub(super) fn automerge(&self) -> &Automerge {
        &self.doc
    }

    /// This document as a shop.
    pub fn shop(&self) -> Result<&Shop, Malformed> {
        match &self.view {
            View::Shop(shop) => Ok(shop),
            _ => Err(self.not_that(DocumentKind::Shop)),
        }
    }

    /// This document as a site.
    pub fn site(&self) -> Result<&Site, Malformed> {
        match &self.view {
            View::Site(site) => Ok(site),
            _ => Err(self.not_that(DocumentKind::Site)),
        }
    }

    /// This document as a session.
    pub fn session(&self) -> Result<&Session, Malformed> {
        match &self.view {
            View::Session(session) => Ok(session),
            _ => Err(self.not_that(DocumentKind::Session)),
        }
    }

    /// Applies one edit as one change. On a refusal the document is as it was.
    pub fn apply(&mut self, edit: &SessionEdit, author: &Author) -> Result<Change, EditRefused> {
        if self.kind != DocumentKind::Session {
            return Err(EditRefused::NotASession { document: self.id.to_string() });
        }
        let View::Session(session) = &mut self.view else {
            return Err(EditRefused::Newer { found: self.schema, known: self.kind.schema() });
        };
        let written = self.kind.schema();
        if self.schema < written {
            return Err(EditRefused::Older { found: self.schema, written });
        }
        apply::admit(session, edit, author)?;
        let content = content(self.id, &self.doc).expect("a session is read before it is held");
        let addition = apply::addition(session, edit, author);
        let written =
            commit(&mut self.doc, edit.name(), author, |tx| apply::write(tx, &content, &addition));
        // Every object the edit writes to was found when the session was read.
        let change = written.expect("an admitted edit fits a validated session");
        apply::show(session, addition);
        Ok(change)
    }

    fn not_that(&self, wanted: DocumentKind) -> Malformed {
        let found = format!("{} of schema {}", self.kind.word(), self.schema);
        Malformed::NotThat { document: self.id, wanted: wanted.word(), found }
    }
}

/// Reads a document's kind, schema and content. What cannot be read or makes no sense is refused;
/// a later schema is not ours to judge.
pub(super) fn read(
    id: DocumentId,
    doc: &Automerge,
) -> Result<(DocumentKind, u64, View), Malformed> {
    let wrong = |error: autosurgeon::HydrateError| shape(id, &error);
    let values = &Gathered::of(doc);
    let schema: u64 = hydrate_prop(values, ROOT, "schema").map_err(wrong)?;
    let word: String = hydrate_prop(values, ROOT, "kind").map_err(wrong)?;
    let kind = [DocumentKind::Shop, DocumentKind::Site, DocumentKind::Session]
        .into_iter()
        .find(|kind| kind.word() == word)
        .ok_or_else(|| Malformed::Shape {
            document: id,
            expected: format!("expected a shop, site or session, found {word:?}"),
        })?;
    if schema > kind.schema() {
        return Ok((kind, schema, View::Later));
    }
    let (view, problems) = match kind {
        DocumentKind::Shop => {
            let shop = hydrate_prop(values, ROOT, CONTENT).map_err(wrong)?;
            let problems = validate::shop(&shop);
            (View::Shop(shop), problems)
        }
        DocumentKind::Site => {
            let site = hydrate_prop(values, ROOT, CONTENT).map_err(wrong)?;
            let problems = validate::site(&site);
            (View::Site(site), problems)
        }
        DocumentKind::Session => {
            let session = apply::read(values, &content(id, doc)?).map_err(wrong)?;
            let problems = validate::session(&session);
            (View::Session(session), problems)
        }
    };
    // What takes two fields to be wrong can come of two sound edits made apart: whoever judges by
    // it is told; the changes are taken, or two devices would never agree again.
    reject_first(id, problems.into_iter().filter(|problem| !problem.across).collect())?;
    Ok((kind, schema, view))
}

pub(super) fn content(id: DocumentId, doc: &Automerge) -> Result<ObjId, Malformed> {
    match doc.get(ROOT, CONTENT) {
        Ok(Some((Value::Object(ObjType::Map), content))) => Ok(content),
        found => Err(Malformed::Shape {
            document: id,
            expected: format!("expected a map {CONTENT:?} at the root, found {found:?}"),
        }),
    }
}

pub(super) fn apply_all(
    document: DocumentId,
    doc: &mut Automerge,
    changes: Vec<Change>,
) -> Result<(), Malformed> {
    doc.apply_changes(changes)
        .map_err(|source| Malformed::Changes { document, source: Box::new(source) })?;
    let missing = doc.get_missing_deps(&[]);
    match missing.first() {
        Some(&first) => Err(Malformed::CausesMissing { document, count: missing.len(), first }),
        None => Ok(()),
    }
}

pub(super) fn commit(
    doc: &mut Automerge,
    name: &'static str,
    author: &Author,
    fill: impl FnOnce(&mut Transaction<'_>) -> Result<(), ReconcileError>,
) -> Result<Change, ReconcileError> {
    // automerge stamps time 0 by itself: the author's clock is what we know.
    let options = CommitOptions::default().with_message(name).with_time(author.at.unix_ms());
    let done = doc.transact_with(|_| options, fill).map_err(|failure| failure.error)?;
    let hash = done.hash.expect("every edit writes a new entry, so there is a change");
    Ok(doc.get_change_by_hash(&hash).expect("the change was made a line above"))
}

fn shape(document: DocumentId, error: &dyn std::error::Error) -> Malformed {
    Malformed::Shape { document, expected: error.to_string() }
}

fn reject_first(document: DocumentId, problems: Vec<Problem>) -> Result<(), Malformed> {
    match problems.into_iter().next() {
        Some(first) => Err(Malformed::Values { document, first }),
        None => Ok(()),
    }
}

#[cfg(test)]
#[path = "document_tests.rs"]
mod tests;
