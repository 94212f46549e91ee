//! What the shop's list of calibrations says of one day: until when an item's calibration held that
//! was in force then, and whether a later one found it had been off.
//!
//! In: a shop, an item, a day. Out: dates. A recalibration never reaches back: a reading taken in a
//! lapse stays one taken in a lapse. Judges nothing.

use chrono::NaiveDate;

use super::shop::{Calibrated, Calibration, CalibrationResult, Shop};
use crate::time::Timestamp;

impl Calibration {
    /// The last day it holds. What was found outside and stayed so holds no longer than that day.
    pub fn holds_to(&self) -> &str {
        match self.result {
            CalibrationResult::Outside => &self.on,
            CalibrationResult::Within | CalibrationResult::Adjusted => &self.next_due,
        }
    }

    fn day(&self) -> Option<NaiveDate> {
        self.on.parse().ok()
    }
}

/// How many days are left until the end of a due date, as `2027-03-31`; below 0 once it has ended.
/// None where it is no date.
pub fn days_left(due: &str, now: Timestamp) -> Option<i64> {
    let due: NaiveDate = due.parse().ok()?;
    Some(due.signed_duration_since(now.day()).num_days())
}

impl Shop {
    /// The last day of the calibration that was in force on a day, where one was. An item's own
    /// due date speaks for the newest of its calibrations, and where none is listed.
    pub fn calibration_held_to(&self, of: Calibrated, item: &str, day: NaiveDate) -> Option<&str> {
        let now = match of {
            Calibrated::Instrument => Some(self.instruments.get(item)?.calibration_due.as_str()),
            Calibrated::Part => self.parts.get(item)?.calibration_due.as_deref(),
        };
        let Some(later) = self.calibration_after(of, item, day) else { return now };
        let made = self.calibrations_of(of, item);
        let before = made.filter(|made| made.day().is_some_and(|on| on <= day));
        match before.max_by_key(|made| made.day()) {
            Some(made) => Some(made.holds_to()),
            // Entries of earlier versions do not say what stood before them.
            None => later.before.as_deref().or(now),
        }
    }

    /// The first calibration of an item made after a day.
    pub fn calibration_after(
        &self,
        of: Calibrated,
        item: &str,
        day: NaiveDate,
    ) -> Option<&Calibration> {
        let later = self.calibrations_of(of, item).filter(|made| made.day() > Some(day));
        later.min_by_key(|made| made.day())
    }

    fn calibrations_of<'shop>(
        &'shop self,
        of: Calibrated,
        item: &str,
    ) -> impl Iterator<Item = &'shop Calibration> {
        let its = move |made: &&Calibration| made.of == of && made.item == item;
        self.calibrations.values().filter(|made| made.retired.is_none()).filter(its)
    }
}
