//! What becomes of a verdict when a calibration had ended before the reading was taken.
//!
//! In: the day of a reading by its own stamp, and what was connected. Out: what was out of
//! calibration, in words. A due date is the last day on which it holds; days are compared as
//! calendar days in UTC. The shop says whether the verdict is withheld or its uncertainty widened.

use chrono::NaiveDate;

use super::case::Case;
use super::setup::Setup;
use crate::language::{Language, say};
use crate::record::shop::{Calibrated, CalibrationResult};
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
    pub(crate) fn words(&self, language: Language) -> String {
        let Self { name, due, read, .. } = self;
        say!(
            language,
            "calibration of {name} held to {due}, read on {read}",
            "étalonnage de {name} valable jusqu’au {due}, mesure du {read}"
        )
    }
}

/// What of a reading's chain was out of calibration on its day: instrument first, then parts.
pub(crate) fn expired(shop: &Shop, setup: &Setup<'_>, reading: &Reading) -> Vec<Expired> {
    let read = reading.stamp.at.day();
    let ended = |(of, id, name): (Calibrated, &str, &str)| {
        // Dates were checked on the way in.
        let due: NaiveDate = shop.calibration_held_to(of, id, read)?.parse().ok()?;
        let kind = match of {
            Calibrated::Instrument => "instrument",
            Calibrated::Part => "part",
        };
        let cause = || format!("{kind}:{id}:");
        (read > due).then(|| Expired { cause: cause(), name: name.to_owned(), due, read })
    };
    items(setup, reading).filter_map(ended).collect()
}

/// What a later calibration found to have been off when the reading was taken, and on which day.
pub(crate) fn found_off<'a>(
    shop: &'a Shop,
    setup: &'a Setup<'_>,
    reading: &'a Reading,
) -> impl Iterator<Item = (&'a str, &'a str)> {
    let read = reading.stamp.at.day();
    items(setup, reading).filter_map(move |(of, id, name)| {
        let next = shop.calibration_after(of, id, read)?;
        (next.result != CalibrationResult::Within).then_some((name, next.on.as_str()))
    })
}

/// What a reading rests on: the instrument first, then the parts between.
fn items<'a>(
    setup: &'a Setup<'_>,
    reading: &'a Reading,
) -> impl Iterator<Item = (Calibrated, &'a str, &'a str)> {
    let own =
        (Calibrated::Instrument, reading.instrument.as_str(), setup.instrument().name.as_str());
    let part = |(id, part): &(&'a str, &'a crate::record::Part)| {
        (Calibrated::Part, *id, part.name.as_str())
    };
    std::iter::once(own).chain(setup.between().iter().map(part))
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
    case: &Case<'_>,
    expired: &[Expired],
    outcome: Outcome,
    reason: String,
) -> (Outcome, String) {
    if expired.is_empty() {
        return (outcome, reason);
    }
    let language = case.language;
    let words: Vec<String> = expired.iter().map(|it| it.words(language)).collect();
    let words = words.join("; ");
    match case.shop.calibration_policy {
        CalibrationPolicy::Withhold => {
            let would_be = outcome.said(language);
            let withheld = say!(
                language,
                "withheld: {words}. It would be a {would_be}: {reason}",
                "retenu : {words}. Ce serait {would_be} : {reason}"
            );
            (Outcome::NotJudged, withheld)
        }
        CalibrationPolicy::Widen => {
            let times = shown(case.shop.calibration_widening, 1);
            let widened = say!(
                language,
                "{reason}; {words}: its uncertainty counts {times} times",
                "{reason} ; {words} : son incertitude compte {times} fois"
            );
            (outcome, widened)
        }
    }
}
