//! Which changes from elsewhere may become part of a document, by whose they are.
//!
//! In: changes of one document, the seals that came with them, and who may write. Out: those that
//! are admitted, in the order they came, and the others, each with the reason. Pure: no store, no
//! disk, no clock, so that every device that knows the same says the same.
//!
//! A change of a device needs that device's own seal, on it or on a change that builds on it; who
//! carried it proves nothing. It is admitted if the device may write, or if somebody who may write
//! had it: built on it, or said so when the device was taken off. So what a lost device wrote
//! before stays, and what it writes afterwards waits for a person. A change that is nobody's is
//! admitted with what builds on it.

use std::collections::{BTreeMap, BTreeSet};

use automerge::{Change, ChangeHash};
use guyline_core::record::DocumentId;

use super::authorship::{has_owner, is_of, proves};
use super::{PublicKey, Roster};
use crate::log::Seal;

/// Why a change is held, for somebody to look at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Held {
    /// No seal of its own device came with it.
    Unproved,
    /// Its device is not on the roster.
    Stranger(PublicKey),
    /// Its device was taken off, and nobody who may write is known to have had it before.
    TakenOff(PublicKey),
    /// Its device may only read.
    ReadsOnly(PublicKey),
}

impl Held {
    /// The key that sealed it, where one did.
    pub fn key(self) -> Option<PublicKey> {
        match self {
            Self::Unproved => None,
            Self::Stranger(key) | Self::TakenOff(key) | Self::ReadsOnly(key) => Some(key),
        }
    }

    /// The reason in words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Unproved => "no seal of the device that wrote it came with it",
            Self::Stranger(_) => "the device that sealed it is not on the shop's roster",
            Self::TakenOff(_) => {
                "the device that sealed it was taken off, and nobody is known to have had it before"
            }
            Self::ReadsOnly(_) => "the device that sealed it may only read",
        }
    }
}

/// What became of changes.
#[derive(Debug, Default)]
pub struct Sorted {
    /// Those that may become part of their document, in the order they came.
    pub admitted: Vec<Change>,
    /// The others.
    pub held: Vec<(Change, Held)>,
    /// The seals that prove what they say.
    pub seals: Vec<Seal>,
}

/// Sorts the changes of one document. Where there is no roster, every device may write.
pub fn sort(
    document: DocumentId,
    changes: Vec<Change>,
    seals: Vec<Seal>,
    roster: Option<&Roster>,
) -> Sorted {
    let seals = proven(document, seals);
    let verdicts = why_held(document, &changes, &seals, roster);
    let mut sorted = Sorted { seals, ..Sorted::default() };
    for (change, held) in changes.into_iter().zip(verdicts) {
        match held {
            None => sorted.admitted.push(change),
            Some(held) => sorted.held.push((change, held)),
        }
    }
    sorted
}

/// The seals that prove what they say.
pub fn proven(document: DocumentId, seals: Vec<Seal>) -> Vec<Seal> {
    seals.into_iter().filter(|seal| proves(document, seal).is_ok()).collect()
}

/// For each change of one document whether it is held, and why, by seals that prove what they say.
pub fn why_held(
    document: DocumentId,
    changes: &[Change],
    seals: &[Seal],
    roster: Option<&Roster>,
) -> Vec<Option<Held>> {
    let causes: BTreeMap<ChangeHash, Vec<ChangeHash>> =
        changes.iter().map(|change| (change.hash(), change.deps().to_vec())).collect();
    let writes = |key| roster.is_none_or(|roster| roster.writes(key));
    let covered = covered_by(seals, &causes);
    let had =
        behind(
            seals
                .iter()
                .filter(|seal| writes(PublicKey::from_bytes(seal.key)))
                .map(|seal| seal.change)
                .chain(causes.keys().copied().filter(|hash| {
                    roster.is_some_and(|roster| roster.says_was_had(document, *hash))
                })),
            &causes,
        );
    changes.iter().map(|change| judge(change, &covered, &had, roster)).collect()
}

/// Whether a change is held, and why.
fn judge(
    change: &Change,
    covered: &BTreeMap<PublicKey, BTreeSet<ChangeHash>>,
    had: &BTreeSet<ChangeHash>,
    roster: Option<&Roster>,
) -> Option<Held> {
    let hash = change.hash();
    let sealed = |key: &&PublicKey| covered[*key].contains(&hash);
    if !has_owner(change.actor_id()) {
        if had.contains(&hash) {
            return None;
        }
        let by = covered.keys().find(sealed);
        return Some(by.map_or(Held::Unproved, |key| held_for(*key, roster)));
    }
    let owner = covered.keys().filter(sealed).find(|key| is_of(change.actor_id(), **key));
    match owner {
        None => Some(Held::Unproved),
        Some(key) if had.contains(&hash) || roster.is_none_or(|roster| roster.writes(*key)) => None,
        Some(key) => Some(held_for(*key, roster)),
    }
}

fn held_for(key: PublicKey, roster: Option<&Roster>) -> Held {
    match roster {
        Some(roster) if roster.is_revoked(key) => Held::TakenOff(key),
        Some(roster) if roster.admits(key) => Held::ReadsOnly(key),
        _ => Held::Stranger(key),
    }
}

/// What each key's seals stand on.
fn covered_by(
    seals: &[Seal],
    causes: &BTreeMap<ChangeHash, Vec<ChangeHash>>,
) -> BTreeMap<PublicKey, BTreeSet<ChangeHash>> {
    let mut sealed: BTreeMap<PublicKey, Vec<ChangeHash>> = BTreeMap::new();
    for seal in seals {
        sealed.entry(PublicKey::from_bytes(seal.key)).or_default().push(seal.change);
    }
    sealed.into_iter().map(|(key, changes)| (key, behind(changes.into_iter(), causes))).collect()
}

/// These changes and all their causes, as far as they are among those that came.
fn behind(
    from: impl Iterator<Item = ChangeHash>,
    causes: &BTreeMap<ChangeHash, Vec<ChangeHash>>,
) -> BTreeSet<ChangeHash> {
    let mut met = BTreeSet::new();
    let mut next: Vec<ChangeHash> = from.collect();
    while let Some(hash) = next.pop() {
        if let Some(causes) = causes.get(&hash)
            && met.insert(hash)
        {
            next.extend(causes);
        }
    }
    met
}

#[cfg(test)]
#[path = "admission_tests.rs"]
mod tests;
