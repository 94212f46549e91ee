//! What instruments answered lately, and which levels are proposed and wait for a person's word.
//!
//! In memory only: a reading counts once a person records it, and a level that nobody agreed to is
//! never sent. Both are forgotten after a while.

use std::sync::{Mutex, MutexGuard, PoisonError};

use guyline_core::record::Reading;
use guyline_core::time::Timestamp;
use guyline_core::units::Unit;

use crate::desk::{Code, Refusal};

/// So long an answer may be recorded, in milliseconds.
const ANSWER_HOLDS_MS: i64 = 15 * 60 * 1_000;
/// So long a person may think about a level, in milliseconds: what is connected may change.
const PROPOSAL_HOLDS_MS: i64 = 60 * 1_000;
/// The most of each that are kept.
const KEPT_MAX: usize = 64;

/// What an instrument answered.
#[derive(Clone, Debug)]
pub(crate) struct Answered {
    /// Fresh id.
    pub(crate) id: String,
    /// The session it was asked for.
    pub(crate) check: String,
    /// The chain it was read through.
    pub(crate) chain: String,
    /// The number.
    pub(crate) typed: String,
    /// Its unit.
    pub(crate) unit: Unit,
    /// Who it said it is.
    pub(crate) identity: String,
    /// When.
    pub(crate) at: Timestamp,
}

/// A level that waits for a person's word.
#[derive(Clone, Debug)]
pub(crate) struct Proposal {
    /// Fresh id.
    pub(crate) id: String,
    /// The session.
    pub(crate) session: String,
    /// The chain.
    pub(crate) chain: String,
    /// As typed.
    pub(crate) typed: String,
    /// Its unit.
    pub(crate) unit: Unit,
    /// When it was proposed.
    pub(crate) at: Timestamp,
}

/// What is kept of conversations with instruments.
#[derive(Debug, Default)]
pub(crate) struct Bench {
    kept: Mutex<Kept>,
}

#[derive(Debug, Default)]
struct Kept {
    answers: Vec<Answered>,
    proposals: Vec<Proposal>,
}

impl Bench {
    /// Keeps an answer until it is recorded.
    pub(crate) fn keep(&self, answered: Answered) {
        let mut kept = self.lock();
        let now = answered.at;
        kept.answers.retain(|old| is_within(old.at, now, ANSWER_HOLDS_MS));
        let spare = (kept.answers.len() + 1).saturating_sub(KEPT_MAX);
        kept.answers.drain(..spare);
        kept.answers.push(answered);
    }

    /// Who gave a reading that is said to be live; none where none is. A number that was changed
    /// since is a typed one, and is refused as a live one.
    pub(crate) fn vouch(
        &self,
        now: Timestamp,
        reading: &Reading,
        live: Option<&str>,
    ) -> Result<Option<String>, Refusal> {
        let Some(live) = live else { return Ok(None) };
        let kept = self.lock();
        let answered = kept.answers.iter().find(|answered| answered.id == live);
        let help = "read it from the instrument again, or record what was typed as typed";
        let refuse = |what: &str| Err(Refusal::new(Code::NotAReading, what, help));
        match answered {
            None => refuse("this live reading is not known here"),
            Some(answered) if !is_within(answered.at, now, ANSWER_HOLDS_MS) => {
                refuse("this live reading is too old")
            }
            Some(answered) if !answered.is(reading) => {
                refuse("this is not what the instrument answered for this check and chain")
            }
            Some(answered) => Ok(Some(answered.identity.clone())),
        }
    }

    /// Keeps a level until a person agrees.
    pub(crate) fn propose(&self, proposal: Proposal) {
        let mut kept = self.lock();
        let spare = (kept.proposals.len() + 1).saturating_sub(KEPT_MAX);
        kept.proposals.drain(..spare);
        kept.proposals.push(proposal);
    }

    /// Takes the level a person agreed to. It is gone with that: agreeing once sets it once.
    pub(crate) fn agree(&self, id: &str, now: Timestamp) -> Result<Proposal, Refusal> {
        let mut kept = self.lock();
        let found = kept.proposals.iter().position(|proposal| proposal.id == id);
        let proposal = found.map(|index| kept.proposals.remove(index));
        let fresh = proposal.filter(|found| is_within(found.at, now, PROPOSAL_HOLDS_MS));
        fresh.ok_or_else(|| {
            let help = "propose the level again, and agree within a minute";
            Refusal::new(Code::NotHere, "no level waits for this word", help)
        })
    }

    fn lock(&self) -> MutexGuard<'_, Kept> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Answered {
    fn is(&self, reading: &Reading) -> bool {
        (&self.check, &self.chain, &self.typed, self.unit)
            == (&reading.check, &reading.chain, &reading.typed, reading.unit)
    }
}

/// A clock that was set back makes what is kept old at once.
fn is_within(then: Timestamp, now: Timestamp, holds_ms: i64) -> bool {
    (0..=holds_ms).contains(&(now.unix_ms() - then.unix_ms()))
}
