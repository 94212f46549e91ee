//! What becomes of a verdict when a calibration had ended before the reading was taken.
//!
//! In: the day of a reading by its own stamp, and what was connected. Out: what was out of
//! calibration, in words. A due date is the last day on which it holds; days are compared as
//! calendar days in UTC. The shop says whether the verdict is withheld or its uncertainty widened.

use chrono::NaiveDate;

use super::setup::Setup;
use crate::record::{Reading, Shop};
use crate::uncertainty::{CalibrationPolicy, Outcome};
use crate::units::shown;

/// Something whose calibration no longer held.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Expired {
    /// How the budget's causes begin that rest on it.
    pub(crate) cause: String,
    /// What the crew calls it.
    pub(crate) name: String,
    /// The last day it held.
    pub(crate) due: NaiveDate,
    /// The day of the reading.
    pub(crate) read: NaiveDate,
}

impl Expired {
    /// For a sentence.
    pub(crate) fn words(&self) -> String {
        format!("calibration of {} held to {}, read on {}", self.name, self.due, self.read)
    }
}

/// What of a reading's chain was out of calibration on its day: instrument first, then parts.
pub(crate) fn expired(setup: &Setup<'_>, reading: &Reading) -> Vec<Expired> {
    let read = reading.stamp.at.day();
    let instrument = setup.instrument();
    let own = (
        format!("instrument:{}:", reading.instrument),
        &instrument.name,
        Some(instrument.calibration_due.as_str()),
    );
    let parts = setup
        .between()
        .iter()
        .map(|(id, part)| (format!("part:{id}:"), &part.name, part.calibration_due.as_deref()));
    std::iter::once(own)
        .chain(parts)
        .filter_map(|(cause, name, due)| {
            // Dates were checked on the way in.
            let due: NaiveDate = due?.parse().ok()?;
            (read > due).then(|| Expired { cause, name: name.clone(), due, read })
        })
        .collect()
}

/// How many times an input's uncertainty counts.
pub(crate) fn widening(shop: &Shop, expired: &[Expired], cause: &str) -> f64 {
    let ended = expired.iter().any(|e| cause.starts_with(&e.cause));
    match shop.calibration_policy {
        CalibrationPolicy::Widen if ended => shop.calibration_widening,
        CalibrationPolicy::Widen | CalibrationPolicy::Withhold => 1.0,
    }
}

/// Outcome and reason once the shop's rule for ended calibrations has spoken.
pub(crate) fn with_policy(
    shop: &Shop,
    expired: &[Expired],
    outcome: Outcome,
    reason: String,
) -> (Outcome, String) {
    if expired.is_empty() {
        return (outcome, reason);
    }
    let words: Vec<String> = expired.iter().map(Expired::words).collect();
    let words = words.join("; ");
    match shop.calibration_policy {
        CalibrationPolicy::Withhold => (
            Outcome::NotJudged,
            format!("withheld: {words}. It would be a {}: {reason}", outcome.word()),
        ),
        CalibrationPolicy::Widen => {
            let times = shown(shop.calibration_widening, 1);
            (outcome, format!("{reason}; {words}: its uncertainty counts {times} times"))
        }
    }
}
