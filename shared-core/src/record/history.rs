//! A document's history: who changed what, in an order that trusts no clock, and the session as it
//! was after any change.
//!
//! In: a document. Out: one [`Step`] a change. Causes stand before effects, whatever the devices'
//! clocks said; only among changes that did not know of each other does the clock choose, and their
//! hash when it cannot, so that every replica shows the same order. Reads; changes nothing.

use std::collections::{BTreeMap, BTreeSet};

use automerge::{Automerge, Change, ChangeHash, PatchAction, Prop, ReadDoc};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::apply::MAPS;
use super::attachment::{ATTACHMENTS, CAPTIONS};
use super::document::{Document, Malformed};
use super::raise;
use super::session::{RETRACTIONS, Session, Stamp};

/// A clock may disagree by this much before it is mentioned: five minutes.
const SKEW_MENTIONED_MS: i64 = 5 * 60 * 1000;

/// So many digits of a hash must be given to name a change.
const PREFIX_LEAST: usize = 8;

/// One change of a session.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Step {
    /// The change's hash, in hexadecimal: names this moment.
    pub change: String,
    /// The intent's name, as in `record reading`. Empty where the writer gave none.
    pub intent: String,
    /// The list it went into, as in `readings`, and the entry's id. None for what has no list.
    pub entry: Option<Touched>,
    /// Who, on which device, and when by that device's clock. None where the change does not say.
    pub stamp: Option<Stamp>,
    /// How many of the steps before this one its author had not seen.
    pub unseen: usize,
    /// How far its clock lies behind a clock it had already heard, in seconds, where that is more
    /// than five minutes: one of the two is wrong.
    #[ts(type = "number | null")]
    pub behind_s: Option<i64>,
}

/// An entry of a session that a change wrote.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Touched {
    /// The list, as in `readings`.
    pub list: String,
    /// The entry's id.
    pub id: String,
}

/// What was written into a session beside a sign-off.
#[derive(Clone, Debug, PartialEq)]
pub struct Since {
    /// By people who had seen it.
    pub after: Vec<Step>,
    /// By people who had not, and whom it had not seen either.
    pub apart: Vec<Step>,
}

/// A moment that the document does not know.
#[derive(Debug, thiserror::Error)]
pub enum NoSuchMoment {
    /// No change has this hash, or more than one starts so.
    #[error("{given:?} names no one change of this session")]
    Unknown {
        /// What was given.
        given: String,
    },
    /// The document is no session this version can read, then or now.
    #[error(transparent)]
    Unreadable(#[from] Malformed),
}

impl Document {
    /// Every change of a session, causes before effects, in the same order on every replica.
    pub fn history(&self) -> Result<Vec<Step>, Malformed> {
        let changes = self.changes();
        Ok(self.steps(self.session()?, &Timeline::of(&changes)))
    }

    fn steps(&self, session: &Session, timeline: &Timeline<'_>) -> Vec<Step> {
        let Timeline { ordered, seen, .. } = timeline;
        let steps = ordered.iter().enumerate().map(|(place, change)| {
            let entry = touched(self.automerge(), change);
            let causes = seen[place].places().map(|cause| ordered[cause].timestamp());
            let (count, latest) =
                causes.fold((0, None), |(count, latest), at| (count + 1, latest.max(Some(at))));
            let behind = latest.map_or(0, |latest| latest.saturating_sub(change.timestamp()));
            Step {
                change: change.hash().to_string(),
                intent: change.message().unwrap_or_default().to_owned(),
                stamp: self.signed(session, entry.as_ref(), change),
                entry,
                unseen: place - count,
                behind_s: (behind > SKEW_MENTIONED_MS).then_some(behind / 1000),
            }
        });
        steps.collect()
    }

    /// What is not among the changes that a sign-off signed, the sign-off itself left out. None
    /// when changes it names are not here.
    pub fn since(&self, heads: &[String], sign_off: &str) -> Result<Option<Since>, Malformed> {
        let Some(heads) = self.known(heads) else { return Ok(None) };
        let changes = self.changes();
        let timeline = Timeline::of(&changes);
        let signed = timeline.known_of(&heads);
        let mut since = Since { after: Vec::new(), apart: Vec::new() };
        let steps = self.steps(self.session()?, &timeline);
        let is_it = |step: &Step| {
            step.entry.as_ref().is_some_and(|e| e.list == "sign_offs" && e.id == sign_off)
        };
        let at = steps.iter().position(is_it);
        for (place, step) in steps.into_iter().enumerate() {
            let raising = raise::is_raising(self.automerge(), timeline.ordered[place], self.kind());
            if Some(place) == at || signed.has(place) || raising {
                continue;
            }
            match at.is_some_and(|at| timeline.seen[place].has(at)) {
                true => since.after.push(step),
                false => since.apart.push(step),
            }
        }
        Ok(Some(since))
    }

    /// The document as it was at these newest changes. None when it does not know one of them.
    pub fn as_at(&self, heads: &[String]) -> Result<Option<Self>, Malformed> {
        let Some(heads) = self.known(heads) else { return Ok(None) };
        let then = self.automerge().fork_at(&heads).expect("every one of them is known");
        Self::around(self.id(), then).map(Some)
    }

    /// How many changes were made beside those at these newest ones. None as with [`Self::as_at`].
    pub fn changes_since(&self, heads: &[String]) -> Option<usize> {
        let heads = self.known(heads)?;
        let since = self.automerge().get_changes(&heads);
        let raising = |c: &&Change| raise::is_raising(self.automerge(), c, self.kind());
        Some(since.len() - since.iter().filter(raising).count())
    }

    /// These changes, where the document knows all of them.
    fn known(&self, heads: &[String]) -> Option<Vec<ChangeHash>> {
        let known = |text: &String| {
            let hash: ChangeHash = text.parse().ok()?;
            self.automerge().get_change_by_hash(&hash).map(|_| hash)
        };
        if heads.is_empty() {
            return None;
        }
        heads.iter().map(known).collect()
    }

    /// The session as the author of a change saw it right after: that change and all it knew of.
    /// The change is named by its hash, or by its first eight digits or more where only one fits.
    pub fn session_after(&self, change: &str) -> Result<Session, NoSuchMoment> {
        let unknown = || NoSuchMoment::Unknown { given: change.chars().take(80).collect() };
        let known = self.changes().into_iter().map(|known| known.hash());
        let meant: Vec<_> = known.filter(|hash| hash.to_string().starts_with(change)).collect();
        match meant[..] {
            [hash] if change.len() >= PREFIX_LEAST => Ok(self.session_at(hash)?),
            _ => Err(unknown()),
        }
    }

    /// The session as a change of this document and all its causes make it.
    fn session_at(&self, change: ChangeHash) -> Result<Session, Malformed> {
        let then = self.automerge().fork_at(&[change]).expect("it is a change of this document");
        Ok(Self::around(self.id(), then)?.session()?.clone())
    }

    /// Who signed the entry a change wrote. A summary is looked up in the session as it was then,
    /// since a later one takes its place.
    fn signed(&self, now: &Session, entry: Option<&Touched>, change: &Change) -> Option<Stamp> {
        let Some(Touched { list, id }) = entry else {
            let then = self.session_at(change.hash()).ok()?;
            let made_then = |stamp: &&Stamp| stamp.at.unix_ms() == change.timestamp();
            let said = then.summary.iter().map(|said| &said.stamp);
            return said.chain([&then.opened]).find(made_then).cloned();
        };
        let found = match list.as_str() {
            "crew" => now.crew.get(id),
            "chains" => now.chains.get(id).map(|entry| &entry.stamp),
            "readings" => now.readings.get(id).map(|entry| &entry.stamp),
            "withdrawals" => now.withdrawals.get(id).map(|entry| &entry.stamp),
            "acknowledgements" => now.acknowledgements.get(id).map(|entry| &entry.stamp),
            "adjustments" => now.adjustments.get(id).map(|entry| &entry.stamp),
            "notes" => now.notes.get(id).map(|entry| &entry.stamp),
            "departures" => now.departures.get(id),
            "restorations" => now.restorations.get(id).map(|entry| &entry.stamp),
            RETRACTIONS => now.retractions.get(id).map(|entry| &entry.stamp),
            "sign_offs" => now.sign_offs.get(id).map(|entry| &entry.stamp),
            "amendments" => now.amendments.get(id).map(|entry| &entry.stamp),
            ATTACHMENTS => now.attachments.get(id).map(|entry| &entry.stamp),
            CAPTIONS => now.captions.get(id).map(|entry| &entry.stamp),
            _ => None,
        };
        found.cloned()
    }
}

/// A document's changes in order, and what each knew of.
struct Timeline<'a> {
    ordered: Vec<&'a Change>,
    at: BTreeMap<ChangeHash, usize>,
    seen: Vec<Known>,
}

impl<'a> Timeline<'a> {
    fn of(changes: &'a [Change]) -> Self {
        let ordered = causal_order(changes);
        let at: BTreeMap<ChangeHash, usize> =
            ordered.iter().enumerate().map(|(place, change)| (change.hash(), place)).collect();
        let seen = ancestors(&ordered, &at);
        Self { ordered, at, seen }
    }

    /// These changes and all they knew of.
    fn known_of(&self, heads: &[ChangeHash]) -> Known {
        let mut known = Known(vec![0; self.ordered.len().div_ceil(64)]);
        for place in heads.iter().map(|head| self.at[head]) {
            known.add(place);
            known.add_all(&self.seen[place]);
        }
        known
    }
}

/// Causes before effects; among what could come next, the earliest clock, then the least hash.
pub(super) fn causal_order(changes: &[Change]) -> Vec<&Change> {
    let mut effects: BTreeMap<ChangeHash, Vec<&Change>> = BTreeMap::new();
    let mut waits: BTreeMap<ChangeHash, usize> = BTreeMap::new();
    let mut next = BTreeSet::new();
    let key = |change: &Change| (change.timestamp(), change.hash());
    let by_hash: BTreeMap<ChangeHash, &Change> = changes.iter().map(|c| (c.hash(), c)).collect();
    for change in changes {
        for cause in change.deps() {
            effects.entry(*cause).or_default().push(change);
        }
        match change.deps().len() {
            0 => drop(next.insert(key(change))),
            count => drop(waits.insert(change.hash(), count)),
        }
    }
    let mut ordered = Vec::with_capacity(changes.len());
    while let Some((_, hash)) = next.pop_first() {
        ordered.push(by_hash[&hash]);
        for effect in effects.remove(&hash).unwrap_or_default() {
            let count = waits.get_mut(&effect.hash()).expect("an effect waits for its causes");
            *count -= 1;
            if *count == 0 {
                next.insert(key(effect));
            }
        }
    }
    ordered
}

/// The places of the changes one change knew of. Bits: it knows nearly all before it.
struct Known(Vec<u64>);

impl Known {
    fn add(&mut self, place: usize) {
        self.0[place / 64] |= 1 << (place % 64);
    }

    fn add_all(&mut self, other: &Self) {
        self.0.iter_mut().zip(&other.0).for_each(|(mine, theirs)| *mine |= theirs);
    }

    fn places(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.0.len() * 64).filter(|place| self.has(*place))
    }

    fn has(&self, place: usize) -> bool {
        self.0[place / 64] >> (place % 64) & 1 == 1
    }
}

/// For each change, all changes before it in the order that it knew of.
fn ancestors(ordered: &[&Change], at: &BTreeMap<ChangeHash, usize>) -> Vec<Known> {
    let mut seen: Vec<Known> = Vec::with_capacity(ordered.len());
    for change in ordered {
        let mut known = Known(vec![0; ordered.len().div_ceil(64)]);
        for cause in change.deps() {
            let place = at[cause];
            known.add(place);
            known.add_all(&seen[place]);
        }
        seen.push(known);
    }
    seen
}

/// The entry a change wrote: a key of a map that stands in the content.
fn touched(doc: &Automerge, change: &Change) -> Option<Touched> {
    let patches = doc.diff(change.deps(), &[change.hash()]);
    patches.into_iter().find_map(|patch| {
        let PatchAction::PutMap { key, .. } = patch.action else { return None };
        match patch.path.as_slice() {
            [(_, Prop::Map(_)), (_, Prop::Map(list))] if MAPS.contains(&list.as_str()) => {
                Some(Touched { list: list.clone(), id: key })
            }
            _ => None,
        }
    })
}

#[cfg(test)]
#[path = "history_tests.rs"]
mod tests;
