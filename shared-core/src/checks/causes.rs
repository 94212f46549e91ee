//! A session's desense tests, as [`crate::rf::causes`] weighs them.
//!
//! In: the judged checks. Out: what the tests of the latest phase in which a desense was read say
//! about its cause. A path's loss holds from whatever phase it was read in. Weighs nothing itself.

use super::appraise::CheckState;
use super::judge::Verdict;
use super::plan::Stage;
use crate::language::Language;
use crate::record::Phase;
use crate::rf::causes::{DesenseCauses, PathRead, Rise, Tests};

/// What was read, in the latest phase in which a desense was.
struct Readings<'a> {
    checks: &'a [CheckState],
    phase: Phase,
}

impl<'a> Readings<'a> {
    fn of(checks: &'a [CheckState]) -> Option<Self> {
        let desense = checks.iter().filter(|state| state.check.stage == Stage::Desense);
        let standing = desense.flat_map(|state| state.readings.iter().filter(|r| r.standing));
        let phase = standing.map(|read| read.reading.phase).max()?;
        Some(Self { checks, phase })
    }

    /// The newest standing verdict of a check; of this phase only, where `now`.
    fn verdict(&self, check: &str, now: bool) -> Option<&'a Verdict> {
        let state = self.checks.iter().find(|state| state.check.id == check)?;
        let fits = |phase: Phase| phase == self.phase || !now;
        let mut found = state.readings.iter().filter(|r| r.standing && fits(r.reading.phase));
        found.next_back().map(|read| &read.verdict)
    }

    fn rise(&self, check: &str) -> Option<Rise> {
        let verdict = self.verdict(check, true)?;
        let (db, expanded_db) = (verdict.value?, verdict.expanded?);
        Some(Rise::new(db, expanded_db / verdict.coverage_factor?, expanded_db))
    }

    fn path(&self, check: &str) -> Option<PathRead> {
        let verdict = self.verdict(check, false)?;
        let said = format!("{}, {}", verdict.value_text, verdict.limit_text);
        Some(PathRead { holds: verdict.conformity?, said })
    }
}

/// What the tests say, where any of them found the receiver deafened. None where nothing was.
pub(crate) fn causes(checks: &[CheckState], language: Language) -> Option<DesenseCauses> {
    let read = Readings::of(checks)?;
    let own = read.verdict("receiver.opening", false);
    let tests = Tests {
        direct: read.rise("desense.direct"),
        coupled: read.rise("desense.coupled"),
        antenna_unkeyed: read.rise("desense.antenna-unkeyed"),
        antenna: read.rise("desense.antenna"),
        padded_unkeyed: read.rise("desense.padded-unkeyed"),
        padded: read.rise("desense.padded"),
        receive_path: read.path("duplexer.receive-loss"),
        transmit_path: read.path("duplexer.transmit-loss"),
        own_level_dbm: own.and_then(|verdict| verdict.at_plane),
    };
    crate::rf::causes::causes(&tests, language)
}
