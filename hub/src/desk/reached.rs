//! How far work has got, and what waits for a person to look at.
//!
//! In: a node. Out: for each document whether it is on this device only, on another one too, or at
//! the shop's office by its signed receipt; and the changes that are held, by the device that
//! sealed them. Nothing is worked out that the store does not know.

use std::collections::{BTreeMap, BTreeSet};

use guyline_core::record::DocumentId;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::members::device_key;
use super::pages::DevicesPage;
use super::refusal::Refusal;
use super::requests::{Nothing, TakeHeld};
use crate::Node;
use crate::identity::PublicKey;

/// How far a document's changes have got.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, TS)]
#[serde(rename_all = "kebab-case")]
pub enum Reached {
    /// Some of them are on this device's disk only.
    #[default]
    Here,
    /// All of them are on another device too.
    Elsewhere,
    /// All of them are at the office, which signed for them.
    Office,
}

/// Changes of one device that are held.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct HeldLine {
    /// The device's name, where the roster knows it.
    pub device: Option<String>,
    /// The key that sealed them; none where no seal came.
    pub key: Option<String>,
    /// Why they are held.
    pub reason: String,
    /// How many.
    pub changes: usize,
    /// In how many papers and visits.
    pub documents: usize,
}

/// How far each document has got, worked out once for all of them.
pub(super) struct Reach {
    not_elsewhere: BTreeSet<DocumentId>,
    not_at_office: Option<BTreeSet<DocumentId>>,
}

impl Reach {
    pub(super) fn of(node: &Node) -> Result<Self, Refusal> {
        let offices = node.offices()?;
        let not_at_office =
            if offices.is_empty() { None } else { Some(node.not_known_at(Some(&offices))?) };
        Ok(Self { not_elsewhere: node.not_known_at(None)?, not_at_office })
    }

    pub(super) fn reached(&self, document: DocumentId) -> Reached {
        match &self.not_at_office {
            Some(missing) if !missing.contains(&document) => Reached::Office,
            _ if self.not_elsewhere.contains(&document) => Reached::Here,
            _ => Reached::Elsewhere,
        }
    }
}

/// The key that sealed what is held, and why it is.
type Why = (Option<[u8; 32]>, String);
/// How many changes, and in which documents.
type Extent = (usize, BTreeSet<DocumentId>);

/// What is held, by device and reason.
pub(crate) fn held(node: &Node) -> Result<Vec<HeldLine>, Refusal> {
    let mut groups: BTreeMap<Why, Extent> = BTreeMap::new();
    for aside in node.set_aside()?.into_iter().filter(|aside| aside.waits) {
        let key = aside.seal.map(|seal| seal.key);
        let (changes, documents) = groups.entry((key, aside.reason)).or_default();
        *changes += 1;
        documents.insert(aside.entry.document);
    }
    let line = |((key, reason), (changes, documents)): (Why, Extent)| {
        let key = key.map(|key| PublicKey::from_bytes(key).to_string());
        let device = key.as_deref().and_then(|key| node.name_of(key));
        HeldLine { device, key, reason, changes, documents: documents.len() }
    };
    Ok(groups.into_iter().map(line).collect())
}

/// Takes what is held of a device, by the word of whoever holds this one.
pub(super) fn take_held(node: &Node, asked: TakeHeld) -> Result<DevicesPage, Refusal> {
    node.take_held(device_key(&asked.key)?)?;
    super::devices::show(node, Nothing {})
}
