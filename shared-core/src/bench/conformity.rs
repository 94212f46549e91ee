//! What may be said of a value against its limits, with what probability it conforms, and how often
//! the rule is wrong about a process. Formulas: [`crate::uncertainty::decision`],
//! [`crate::uncertainty::risk`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use crate::uncertainty::decision::{DecisionRule, Limits, Outcome, conformity, decide};
use crate::uncertainty::risk::{Process, global_risk};
use crate::uncertainty::student::{TWO_SIGMA, coverage_factor};
use crate::units::in_range;

/// A value with its uncertainty, its limits and the guard band. All in one unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct ConformityQuestion {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Its degrees of freedom; none is infinite.
    #[serde(default)]
    pub degrees_of_freedom: Option<f64>,
    /// Not less than this.
    #[serde(default)]
    pub low: Option<f64>,
    /// Not more than this.
    #[serde(default)]
    pub high: Option<f64>,
    /// The guard band in expanded uncertainties. 1 where none is given; 0 is simple acceptance.
    #[serde(default)]
    pub guard_factor: Option<f64>,
}

/// What may be said.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct ConformityAnswer {
    /// The outcome with that guard band.
    pub outcome: Outcome,
    /// The distance to the nearer limit; negative outside.
    pub margin: f64,
    /// The coverage factor for 95.45 %.
    pub coverage_factor: f64,
    /// The expanded uncertainty.
    pub expanded: f64,
    /// The guard band.
    pub guard: f64,
    /// The probability that the value lies within its limits, in percent.
    pub conformity_percent: f64,
}

impl ConformityQuestion {
    pub(super) fn answer(&self) -> Result<ConformityAnswer, BenchRefused> {
        let number = |quantity, value| in_range(quantity, value, -1e12..=1e12, "");
        let value = number("value", self.value)?;
        let standard = in_range("standard uncertainty", self.standard_uncertainty, 0.0..=1e12, "")?;
        let factor = in_range("guard factor", self.guard_factor.unwrap_or(1.0), 0.0..=5.0, "")?;
        let dof = match self.degrees_of_freedom {
            None => f64::INFINITY,
            Some(dof) => in_range("degrees of freedom", dof, 1.0..=1e12, "")?,
        };
        let low = self.low.map(|low| number("lower limit", low)).transpose()?;
        let least = low.unwrap_or(-1e12);
        let high = self.high.map(|high| in_range("upper limit", high, least..=1e12, ""));
        let limits = Limits { low, high: high.transpose()? };
        let coverage_factor = match dof.is_finite() {
            true => coverage_factor(dof, TWO_SIGMA),
            false => 2.0,
        };
        let expanded = coverage_factor * standard;
        let guard = factor * expanded;
        let found = decide(value, guard, limits, DecisionRule::GuardBanded)
            .zip(conformity(value, standard, dof, limits));
        let (decision, conformity) = found.ok_or(BenchRefused::NoLimit)?;
        Ok(ConformityAnswer {
            outcome: decision.outcome,
            margin: decision.margin,
            coverage_factor,
            expanded,
            guard,
            conformity_percent: 100.0 * conformity,
        })
    }
}

/// A process that is measured against two limits. All in one unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct DecisionRiskQuestion {
    /// Where the process lies.
    pub mean: f64,
    /// How far it spreads, one standard deviation.
    pub deviation: f64,
    /// The standard uncertainty of a reading.
    pub standard_uncertainty: f64,
    /// The lower limit.
    pub low: f64,
    /// The upper limit.
    pub high: f64,
    /// The acceptance limits' half-width over the limits': 1 is simple acceptance.
    pub guard_factor: f64,
}

/// How often the rule is wrong.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct DecisionRiskAnswer {
    /// Outside, and accepted, in percent of all.
    pub false_acceptance_percent: f64,
    /// Inside, and rejected, in percent of all.
    pub false_rejection_percent: f64,
}

impl DecisionRiskQuestion {
    pub(super) fn answer(&self) -> Result<DecisionRiskAnswer, BenchRefused> {
        let risk = global_risk(&Process {
            mean: self.mean,
            deviation: self.deviation,
            standard: self.standard_uncertainty,
            low: self.low,
            high: self.high,
            guard_factor: self.guard_factor,
        })?;
        Ok(DecisionRiskAnswer {
            false_acceptance_percent: 100.0 * risk.false_acceptance,
            false_rejection_percent: 100.0 * risk.false_rejection,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(value: f64, low: Option<f64>, high: Option<f64>) -> ConformityQuestion {
        ConformityQuestion {
            value,
            standard_uncertainty: 0.4,
            degrees_of_freedom: None,
            low,
            high,
            guard_factor: None,
        }
    }

    #[test]
    fn a_published_specific_risk_as_conformity() {
        // HANDBOOK D5: N(10.5, 0.4) in 9 to 11: 10.574 % outside.
        let found = at(10.5, Some(9.0), Some(11.0)).answer().unwrap();
        assert!((found.conformity_percent - (100.0 - 10.574)).abs() < 0.001);
        assert_eq!(found.outcome, Outcome::ConditionalPass);
        assert!((found.guard - 0.8).abs() < 1e-12);
    }

    #[test]
    fn few_degrees_of_freedom_widen_the_guard_band() {
        // HANDBOOK G6: ν = 4 gives k = 2.8693.
        let few = ConformityQuestion { degrees_of_freedom: Some(4.0), ..at(9.0, None, Some(10.0)) };
        let found = few.answer().unwrap();
        assert!((found.guard - 2.8693 * 0.4).abs() < 3e-5);
        assert_eq!(found.outcome, Outcome::ConditionalPass, "1.0 is less than 1.148");
        assert_eq!(at(9.0, None, Some(10.0)).answer().unwrap().outcome, Outcome::Pass);
    }

    #[test]
    fn a_published_global_risk() {
        // HANDBOOK D3.
        let asked = DecisionRiskQuestion {
            mean: 0.0,
            deviation: 1.0,
            standard_uncertainty: 0.5,
            low: -2.0,
            high: 2.0,
            guard_factor: 0.91,
        };
        let found = asked.answer().unwrap();
        assert!((found.false_acceptance_percent - 0.8052).abs() < 6e-5);
        assert!((found.false_rejection_percent - 6.6106).abs() < 6e-5);
        let none = DecisionRiskQuestion { deviation: 0.0, ..asked };
        assert!(matches!(none.answer(), Err(BenchRefused::Number(_))));
    }

    #[test]
    fn without_limits_or_with_crossed_ones_it_is_refused() {
        assert_eq!(at(1.0, None, None).answer(), Err(BenchRefused::NoLimit));
        assert!(matches!(at(1.0, Some(2.0), Some(1.0)).answer(), Err(BenchRefused::Number(_))));
        assert!(matches!(at(f64::NAN, None, Some(1.0)).answer(), Err(BenchRefused::Number(_))));
    }
}
