//! Trend: what a value does from visit to visit, and when it will meet its limit.
//!
//! In: visits in the order of time, each with the value as found and, where it was adjusted, as
//! left; all in one unit, which does not matter here. Out: drift per year with its confidence,
//! whether it is one (Kendall), a jump against a drift, what happened between visits, and the date
//! at which a limit is met.
//!
//! Adjustments are taken out: the series that is looked at starts with the first value as found and
//! moves on by what was found less what had been left,
//!
//!   u_1 = found_1,   u_i = u_{i−1} + (found_i − left_{i−1})
//!
//! A year is 365.25 days. The limit's date is where the robust line, shifted by all adjustments,
//! meets it; its earliest and latest are the same for the two ends of the slope's confidence
//! interval, all three lines through the median point. Knows no clock: what is past and what is to
//! come is the caller's to say.

mod normal;
mod robust;
mod shape;

pub use robust::{Kendall, Slope, kendall, theil_sen};
pub use shape::{READINGS_MIN, Scores, Shape, Step, shape};

use crate::time::Timestamp;
use crate::units::{OutOfRange, in_range};

/// The fewest visits that make a trend.
pub const VISITS_MIN: usize = 3;
/// The most that are looked at.
pub const VISITS_MAX: usize = 2000;

const MS_PER_YEAR: f64 = 365.25 * 86_400_000.0;

/// One visit's readings of one value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Visit {
    /// When.
    pub at: Timestamp,
    /// The value as found.
    pub as_found: f64,
    /// The value as left, where it was adjusted.
    pub as_left: Option<f64>,
}

impl Visit {
    fn left(&self) -> f64 {
        self.as_left.unwrap_or(self.as_found)
    }
}

/// What happened from one visit to the next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Between {
    /// From this visit on.
    pub from: Timestamp,
    /// To this one.
    pub to: Timestamp,
    /// As found at the second less as left at the first.
    pub drift: f64,
    /// The same for a year.
    pub drift_per_year: f64,
}

/// Why there is no trend.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TrendRefused {
    /// A number that the quantity cannot have.
    #[error(transparent)]
    Number(#[from] OutOfRange),
    /// Too few visits or too many.
    #[error("{given} visits were given; a trend needs {VISITS_MIN} to {VISITS_MAX}")]
    HowMany {
        /// How many were given.
        given: usize,
    },
    /// A visit that is not after the one before it.
    #[error("visit {number} at {at} is not later than the one before it")]
    NotLater {
        /// Its number, from 1 on.
        number: usize,
        /// When it was.
        at: Timestamp,
    },
}

/// A value's trend.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    /// The robust line over years since the first visit, adjustments taken out.
    pub slope: Slope,
    /// Whether the value goes with time; none where it never moved.
    pub kendall: Option<Kendall>,
    /// A jump, a drift or neither.
    pub shape: Shape,
    /// How well each shape fits.
    pub scores: Option<Scores>,
    /// From visit to visit.
    pub between: Vec<Between>,
    /// All adjustments, as left less as found, added up.
    pub adjusted: f64,
    first: Timestamp,
    span_years: f64,
}

/// Values of whatever unit: wide enough for hertz.
const VALUES: std::ops::RangeInclusive<f64> = -1e12..=1e12;
const CONFIDENCES: std::ops::RangeInclusive<f64> = 0.5..=0.9999;

impl Trend {
    /// The trend of these visits. `repeat` is the standard deviation of a repeated reading.
    pub fn of(visits: &[Visit], confidence: f64, repeat: f64) -> Result<Self, TrendRefused> {
        refuse(visits, confidence, repeat)?;
        let first = visits[0].at;
        let years = |visit: &Visit| years_between(first, visit.at);
        let times: Vec<f64> = visits.iter().map(years).collect();
        // Not as a sum of steps: so equal values stay equal where nothing was adjusted.
        let mut adjusted = 0.0;
        let mut values = Vec::with_capacity(visits.len());
        for visit in visits {
            values.push(visit.as_found - adjusted);
            adjusted += visit.left() - visit.as_found;
        }
        let slope = theil_sen(&times, &values, confidence).expect("no two visits are at one time");
        let (shape, scores) = shape(&times, &values, repeat);
        Ok(Self {
            slope,
            kendall: kendall(&times, &values),
            shape,
            scores,
            between: visits.windows(2).map(|pair| moved(&pair[0], &pair[1])).collect(),
            adjusted,
            first,
            span_years: times[times.len() - 1],
        })
    }

    /// The line's value at the last visit, as left.
    pub fn last(&self) -> f64 {
        self.slope.at(self.span_years) + self.adjusted
    }

    /// When the line meets a limit.
    pub fn meets(&self, limit: Limit) -> Result<Outlook, TrendRefused> {
        let (bound, up) = match limit {
            Limit::AtMost(bound) => (bound, 1.0),
            Limit::AtLeast(bound) => (bound, -1.0),
        };
        in_range("limit", bound, VALUES, "")?;
        if (bound - self.last()) * up <= 0.0 {
            return Ok(Outlook::Met);
        }
        if matches!(self.shape, Shape::Jump(_)) {
            return Ok(Outlook::NoDate);
        }
        let away = bound - self.adjusted - self.slope.middle_value;
        let date = |slope: f64| {
            if slope * up <= 0.0 {
                return None;
            }
            let years = (self.slope.middle_time + away / slope).max(self.span_years);
            // Beyond the year 9999 there is no date; the cast ends at what an i64 holds.
            let ms = (years * MS_PER_YEAR).round() as i64;
            Timestamp::from_unix_ms(self.first.unix_ms().saturating_add(ms)).ok()
        };
        let (low, high) = self.slope.interval.unzip();
        let (fast, slow) = if up > 0.0 { (high, low) } else { (low, high) };
        Ok(Outlook::Ahead {
            at: date(self.slope.slope),
            earliest: fast.and_then(date),
            latest: slow.and_then(date),
        })
    }
}

/// What a value must keep to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Limit {
    /// Not more than this.
    AtMost(f64),
    /// Not less than this.
    AtLeast(f64),
}

/// When a limit is met.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Outlook {
    /// At the last visit the line stood at it or beyond.
    Met,
    /// The value jumped: what it will do next is not in the readings.
    NoDate,
    /// By the line, and by the ends of its interval; none where that line does not lead there.
    Ahead {
        /// By the line.
        at: Option<Timestamp>,
        /// By the end that leads there faster, not before the last visit.
        earliest: Option<Timestamp>,
        /// By the end that leads there slower. None: it may never be met.
        latest: Option<Timestamp>,
    },
}

/// Years of 365.25 days from one moment to another.
pub fn years_between(from: Timestamp, to: Timestamp) -> f64 {
    (to.unix_ms() - from.unix_ms()) as f64 / MS_PER_YEAR
}

fn moved(from: &Visit, to: &Visit) -> Between {
    let drift = to.as_found - from.left();
    let drift_per_year = drift / years_between(from.at, to.at);
    Between { from: from.at, to: to.at, drift, drift_per_year }
}

fn refuse(visits: &[Visit], confidence: f64, repeat: f64) -> Result<(), TrendRefused> {
    if !(VISITS_MIN..=VISITS_MAX).contains(&visits.len()) {
        return Err(TrendRefused::HowMany { given: visits.len() });
    }
    in_range("confidence", confidence, CONFIDENCES, "")?;
    in_range("standard deviation of a repeat", repeat, 0.0..=*VALUES.end(), "")?;
    for visit in visits {
        in_range("value as found", visit.as_found, VALUES, "")?;
        in_range("value as left", visit.left(), VALUES, "")?;
    }
    for (number, pair) in (2..).zip(visits.windows(2)) {
        if pair[1].at <= pair[0].at {
            return Err(TrendRefused::NotLater { number, at: pair[1].at });
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests;
