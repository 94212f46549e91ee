//! What a value does from visit to visit. Formulas: [`crate::rf::trend`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use crate::rf::trend::{Between, Limit, Outlook, Shape, Step, Trend, Visit};
use crate::time::Timestamp;

/// One value over several visits, all in one unit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct TrendQuestion {
    /// Three or more, in the order of time.
    pub visits: Vec<TrendVisit>,
    /// Of the interval, as a share: 0.95 for 95 %. From 0.5 to 0.9999.
    pub confidence: f64,
    /// Standard deviation of a repeated reading; 0 where it is not known.
    pub repeat: f64,
    /// What the value must keep to.
    #[serde(default)]
    pub limit: Option<TrendLimit>,
}

/// One visit's readings of the value.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct TrendVisit {
    /// When, as in 2026-05-14T10:20:00Z.
    #[ts(type = "string")]
    pub at: Timestamp,
    /// As found.
    pub as_found: f64,
    /// As left, where it was adjusted.
    #[serde(default)]
    pub as_left: Option<f64>,
}

/// A limit of the value, in its unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "kebab-case")]
pub enum TrendLimit {
    /// Not more than this.
    AtMost(f64),
    /// Not less than this.
    AtLeast(f64),
}

/// What the value does.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct TrendAnswer {
    /// What it gains a year, adjustments taken out: the median of all pairs of visits (Theil-Sen).
    pub per_year: f64,
    /// The lower end of its confidence interval. None where too many values are equal.
    pub per_year_low: Option<f64>,
    /// The upper end.
    pub per_year_high: Option<f64>,
    /// How well it goes with time, −1 to 1 (Kendall's τ-b). None where it never moved.
    pub tau: Option<f64>,
    /// How likely as strong a relation is by chance.
    pub p_value: Option<f64>,
    /// A jump, a drift or neither, by Schwarz's criterion on least squares.
    pub shape: TrendShape,
    /// The best single step: the number of the first visit behind it, from 1 on.
    pub step_before_visit: Option<u32>,
    /// Its size.
    pub step: Option<f64>,
    /// From as left to the next as found.
    pub between: Vec<TrendBetween>,
    /// All adjustments added up.
    pub adjusted: f64,
    /// Where the line stands at the last visit, as left.
    pub last: f64,
    /// Whether and when it meets the limit, if one was given.
    pub outlook: Option<TrendOutlook>,
}

/// What the series does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "kebab-case")]
pub enum TrendShape {
    /// Fewer than five visits.
    TooFew,
    /// It stands.
    Steady,
    /// It drifts.
    Drift,
    /// It jumped once.
    Jump,
    /// It moved; which of the two cannot be told.
    DriftOrJump,
}

/// What happened between two visits.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct TrendBetween {
    /// From this visit on.
    #[ts(type = "string")]
    pub from: Timestamp,
    /// To this one.
    #[ts(type = "string")]
    pub to: Timestamp,
    /// As found at the second less as left at the first.
    pub drift: f64,
    /// The same for a year.
    pub drift_per_year: f64,
}

/// Whether and when a limit is met.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct TrendOutlook {
    /// Whether the line stood at the limit or beyond at the last visit.
    pub met: bool,
    /// Whether a date is withheld because the value jumped.
    pub withheld: bool,
    /// When the line meets it. None: not by this line.
    #[ts(type = "string | null")]
    pub at: Option<Timestamp>,
    /// When the faster end of the interval does.
    #[ts(type = "string | null")]
    pub earliest: Option<Timestamp>,
    /// When the slower end does. None: it may never be met.
    #[ts(type = "string | null")]
    pub latest: Option<Timestamp>,
}

impl TrendQuestion {
    pub(super) fn answer(&self) -> Result<TrendAnswer, BenchRefused> {
        let visit = |&TrendVisit { at, as_found, as_left }| Visit { at, as_found, as_left };
        let visits: Vec<Visit> = self.visits.iter().map(visit).collect();
        let trend = Trend::of(&visits, self.confidence, self.repeat)?;
        let outlook = self.limit.map(|limit| trend.meets(limit.into())).transpose()?;
        let (low, high) = trend.slope.interval.unzip();
        let (shape, step) = told(trend.shape);
        let number = |step: Step| u32::try_from(step.before + 1).expect("at most 2000 visits");
        Ok(TrendAnswer {
            per_year: trend.slope.slope,
            per_year_low: low,
            per_year_high: high,
            tau: trend.kendall.map(|kendall| kendall.tau),
            p_value: trend.kendall.map(|kendall| kendall.p_value),
            shape,
            step_before_visit: step.map(number),
            step: step.map(|step| step.size),
            between: trend.between.iter().copied().map(TrendBetween::from).collect(),
            adjusted: trend.adjusted,
            last: trend.last(),
            outlook: outlook.map(TrendOutlook::from),
        })
    }
}

fn told(shape: Shape) -> (TrendShape, Option<Step>) {
    match shape {
        Shape::TooFew => (TrendShape::TooFew, None),
        Shape::Steady => (TrendShape::Steady, None),
        Shape::Drift => (TrendShape::Drift, None),
        Shape::Jump(step) => (TrendShape::Jump, Some(step)),
        Shape::DriftOrJump(step) => (TrendShape::DriftOrJump, Some(step)),
    }
}

impl From<TrendLimit> for Limit {
    fn from(limit: TrendLimit) -> Self {
        match limit {
            TrendLimit::AtMost(bound) => Self::AtMost(bound),
            TrendLimit::AtLeast(bound) => Self::AtLeast(bound),
        }
    }
}

impl From<Between> for TrendBetween {
    fn from(Between { from, to, drift, drift_per_year }: Between) -> Self {
        Self { from, to, drift, drift_per_year }
    }
}

impl From<Outlook> for TrendOutlook {
    fn from(outlook: Outlook) -> Self {
        let none = Self { met: false, withheld: false, at: None, earliest: None, latest: None };
        match outlook {
            Outlook::Met => Self { met: true, ..none },
            Outlook::NoDate => Self { withheld: true, ..none },
            Outlook::Ahead { at, earliest, latest } => Self { at, earliest, latest, ..none },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(values: &[f64]) -> TrendQuestion {
        let visit = |(year, value): (i64, &f64)| TrendVisit {
            at: Timestamp::from_unix_ms(year * 31_557_600_000).unwrap(),
            as_found: *value,
            as_left: None,
        };
        TrendQuestion {
            visits: (0..).zip(values).map(visit).collect(),
            confidence: 0.95,
            repeat: 0.2,
            limit: Some(TrendLimit::AtMost(-112.0)),
        }
    }

    #[test]
    fn a_drift_is_told_with_its_date() {
        let found = asked(&[-120.0, -119.0, -118.0, -117.0, -116.0]).answer().unwrap();
        assert!((found.per_year - 1.0).abs() < 1e-9);
        assert_eq!((found.shape, found.step), (TrendShape::Drift, None));
        // Five in a row of 5! = 120 orders: p = 2/120.
        assert!((found.p_value.unwrap() - 2.0 / 120.0).abs() < 1e-12);
        let eight_years = Timestamp::from_unix_ms(8 * 31_557_600_000).unwrap();
        let outlook = found.outlook.unwrap();
        assert_eq!((outlook.at, outlook.met, outlook.withheld), (Some(eight_years), false, false));
        assert_eq!(found.between.len(), 4);
    }

    #[test]
    fn a_jump_is_told_with_its_place_and_no_date() {
        let found = asked(&[-120.0, -120.1, -120.0, -116.1, -116.0, -116.0]).answer().unwrap();
        assert_eq!((found.shape, found.step_before_visit), (TrendShape::Jump, Some(4)));
        assert!((found.step.unwrap() - 4.0).abs() < 0.01);
        let outlook = found.outlook.unwrap();
        assert_eq!((outlook.withheld, outlook.at), (true, None));
        let met = TrendQuestion { limit: Some(TrendLimit::AtLeast(-115.0)), ..asked(&[1.0; 3]) };
        assert!(!met.answer().unwrap().outlook.unwrap().met);
    }

    #[test]
    fn two_visits_are_no_trend() {
        let refused = asked(&[-120.0, -119.0]).answer().unwrap_err();
        assert!(matches!(refused, BenchRefused::Trend(_)));
        assert!(refused.to_string().starts_with("2 visits were given"), "{refused}");
    }
}
