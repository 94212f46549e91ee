//! Documents that schema 1 wrote, for tests: a day's shop, site and session, kept as the bytes of
//! their changes.

use automerge::{ActorId, Automerge, Change};

use super::{Document, DocumentId};

pub(crate) const SHOP: &[u8] = include_bytes!("schema-1/shop.changes");
pub(crate) const SITE: &[u8] = include_bytes!("schema-1/site.changes");
pub(crate) const SESSION: &[u8] = include_bytes!("schema-1/session.changes");

pub(crate) fn changes(bytes: &[u8]) -> Vec<Change> {
    Automerge::load(bytes).expect("kept as it was written").get_changes(&[])
}

pub(crate) fn open(bytes: &[u8], actor: u8) -> Document {
    let id: DocumentId = "01ARZ3NDEKTSV4RRFFQ69G5FAW".parse().expect("an id");
    Document::from_changes(id, changes(bytes), ActorId::from([actor; 16])).expect("it opens")
}
