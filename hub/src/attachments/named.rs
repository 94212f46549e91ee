//! Which content the documents here name, and which of it is here.
//!
//! In: a node. Out: hashes with their lengths, small ones first. What was retired is not asked for.
//! Reading every visit for every question would cost more than the question: what a document names
//! is kept until its newest changes are others.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Mutex, PoisonError};

use automerge::ChangeHash;
use guyline_core::record::{Document, DocumentId, DocumentKind};

use super::ContentHash;
use crate::Node;
use crate::documents::NodeError;

/// Content as the record speaks of it: its length first, so that small ones come first.
pub(crate) type Named = (u64, ContentHash);

/// The newest changes a document had, and what it named then.
type AsOf = (Vec<ChangeHash>, Vec<Named>);

/// What each document names, as it stood at these newest changes.
#[derive(Debug, Default)]
pub(crate) struct ByDocument(Mutex<BTreeMap<DocumentId, AsOf>>);

impl Node {
    /// Every content that a visit here names and nobody retired.
    pub(crate) fn named_contents(&self) -> Result<BTreeSet<Named>, NodeError> {
        let mut all = BTreeSet::new();
        for (id, heads) in self.heads()? {
            all.extend(self.named_by(id, heads)?);
        }
        Ok(all)
    }

    /// Whether a visit here names a content.
    pub(crate) fn names_content(&self, hash: ContentHash) -> Result<Option<u64>, NodeError> {
        let named = self.named_contents()?;
        Ok(named.into_iter().find(|(_, named)| *named == hash).map(|(length, _)| length))
    }

    /// What is named here and not here, small ones first.
    pub(crate) fn lacking_contents(&self) -> Result<Vec<Named>, NodeError> {
        let mut lacking = Vec::new();
        for (length, hash) in self.named_contents()? {
            if !self.contents().has(hash).map_err(Box::new)? {
                lacking.push((length, hash));
            }
        }
        Ok(lacking)
    }

    fn named_by(&self, id: DocumentId, heads: Vec<ChangeHash>) -> Result<Vec<Named>, NodeError> {
        let kept = |node: &Self| {
            let kept = node.named.0.lock().unwrap_or_else(PoisonError::into_inner);
            kept.get(&id).filter(|(at, _)| *at == heads).map(|(_, named)| named.clone())
        };
        if let Some(named) = kept(self) {
            return Ok(named);
        }
        let named = match self.kind_of(id)? {
            DocumentKind::Session => self.with_document(id, standing)?,
            _ => Vec::new(),
        };
        let mut kept = self.named.0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.insert(id, (heads, named.clone()));
        Ok(named)
    }
}

/// What a visit names. One of a later schema names nothing that can be read here.
fn standing(document: &Document) -> Vec<Named> {
    let Ok(session) = document.session() else { return Vec::new() };
    let standing = session.standing_attachments();
    let named = standing.filter_map(|(_, it)| Some((it.length, it.hash.parse().ok()?)));
    named.collect()
}
