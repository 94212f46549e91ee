//! What may be said of a value against its limits: the decision rules of ILAC-G8:09/2019.
//!
//! For an upper limit T and a guard band w = U (k = 2): pass below T − w, conditional pass up to T,
//! conditional fail up to T + w, fail above (4.2.1-4.2.3; HANDBOOK 4.3). Mirrored for a lower
//! limit. Simple acceptance is w = 0; a shop may choose another guard band g·U (ILAC-G8 table 1).
//! Against two limits the worse of the two outcomes holds.
//!
//! Probability of conformity (JCGM 106, 7.2 and 7.4; section numbers from memory, unverified): the
//! value lies within the limits with the probability
//!
//!   p = F((T_high − y)/u) − F((T_low − y)/u)        F normal, or Student's t with few degrees of
//!                                                    freedom; y value, u standard uncertainty

use autosurgeon::{Hydrate, Reconcile};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::student::t_below;
use crate::language::Language;

/// How uncertainty enters a verdict. The shop chooses.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate,
)]
#[serde(rename_all = "kebab-case")]
pub enum DecisionRule {
    /// The value alone decides; at the limit half the passes are wrong.
    #[autosurgeon(rename = "simple-acceptance")]
    SimpleAcceptance,
    /// A guard band as wide as the expanded uncertainty, with conditional outcomes in between.
    #[autosurgeon(rename = "guard-banded")]
    GuardBanded,
}

impl DecisionRule {
    /// What this rule makes of a guard band.
    pub fn guard(self, guard: f64) -> f64 {
        match self {
            Self::SimpleAcceptance => 0.0,
            Self::GuardBanded => guard,
        }
    }
}

/// What becomes of a verdict when a calibration had ended before the reading. The shop chooses.
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    Serialize,
    Deserialize,
    JsonSchema,
    TS,
    Reconcile,
    Hydrate,
)]
#[serde(rename_all = "kebab-case")]
pub enum CalibrationPolicy {
    /// Nothing is said; value, margin and uncertainty are still shown. What a shop has until it
    /// chooses: without calibration the stated accuracy is a guess, and so is how much to widen.
    #[default]
    #[autosurgeon(rename = "withhold")]
    Withhold,
    /// The uncertainty of what was out of calibration counts several times.
    #[autosurgeon(rename = "widen")]
    Widen,
}

/// What is said of a value. Ordered from good to bad: what nobody could judge is worse than what
/// passes in doubt, and must not hide what fails.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema, TS,
)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// Inside, beyond doubt.
    Pass,
    /// Inside, by less than the uncertainty.
    ConditionalPass,
    /// Nothing can be said; the verdict's reason says why.
    NotJudged,
    /// Outside, by less than the uncertainty.
    ConditionalFail,
    /// Outside, beyond doubt.
    Fail,
}

impl Outcome {
    /// The word people read.
    pub fn word(self) -> &'static str {
        self.said(Language::English)
    }

    /// The same in a language.
    pub fn said(self, language: Language) -> &'static str {
        match self {
            Self::Pass => language.pick("pass", "conforme"),
            Self::ConditionalPass => language.pick("conditional pass", "conforme sous réserve"),
            Self::ConditionalFail => language.pick("conditional fail", "non conforme sous réserve"),
            Self::Fail => language.pick("fail", "non conforme"),
            Self::NotJudged => language.pick("not judged", "non jugé"),
        }
    }
}

/// What a value must lie between, in the value's unit. At least one side is there.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Limits {
    /// Not less than this.
    pub low: Option<f64>,
    /// Not more than this.
    pub high: Option<f64>,
}

impl Limits {
    /// Not more than `high`.
    pub fn at_most(high: f64) -> Self {
        Self { low: None, high: Some(high) }
    }

    /// Not less than `low`.
    pub fn at_least(low: f64) -> Self {
        Self { low: Some(low), high: None }
    }

    /// From `low` to `high`.
    pub fn between(low: f64, high: f64) -> Self {
        Self { low: Some(low), high: Some(high) }
    }
}

/// An outcome with its margin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Decision {
    /// What is said.
    pub outcome: Outcome,
    /// The distance to the nearer limit; negative outside.
    pub margin: f64,
}

/// Judges a value with its guard band: the expanded uncertainty, or what the shop makes of it.
/// `None` where there is no limit on either side.
pub fn decide(value: f64, guard: f64, limits: Limits, rule: DecisionRule) -> Option<Decision> {
    let below_high = limits.high.map(|high| high - value);
    let above_low = limits.low.map(|low| value - low);
    let margin = [below_high, above_low].into_iter().flatten().reduce(f64::min)?;
    Some(Decision { outcome: outcome(margin, rule.guard(guard)), margin })
}

/// The probability that what was measured lies within the limits. `None` where there is no limit.
pub fn conformity(value: f64, standard: f64, dof: f64, limits: Limits) -> Option<f64> {
    if limits.low.is_none() && limits.high.is_none() {
        return None;
    }
    // How likely the value is to lie on the far side of a limit that is `margin` away. Adding two
    // small probabilities loses nothing; taking two large ones from each other would.
    let beyond = |margin: f64| match standard > 0.0 {
        true => t_below(-margin / standard, dof),
        false if margin < 0.0 => 1.0,
        false => 0.0,
    };
    let above = limits.high.map_or(0.0, |high| beyond(high - value));
    let below = limits.low.map_or(0.0, |low| beyond(value - low));
    Some((1.0 - above - below).clamp(0.0, 1.0))
}

/// One side alone: the margin says it all, since both sides mirror each other.
fn outcome(margin: f64, guard: f64) -> Outcome {
    if margin > guard || (margin >= 0.0 && guard <= 0.0) {
        Outcome::Pass
    } else if margin >= 0.0 {
        Outcome::ConditionalPass
    } else if margin >= -guard {
        Outcome::ConditionalFail
    } else {
        Outcome::Fail
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // ILAC-G8:09/2019, 4.2.1-4.2.3, as read in HANDBOOK 4.3: T = 10, w = U = 1.
    const ABOVE: [(f64, Outcome); 7] = [
        (8.9, Outcome::Pass),
        (9.0, Outcome::ConditionalPass),
        (9.5, Outcome::ConditionalPass),
        (10.0, Outcome::ConditionalPass),
        (10.5, Outcome::ConditionalFail),
        (11.0, Outcome::ConditionalFail),
        (11.1, Outcome::Fail),
    ];

    fn said(value: f64, limits: Limits, rule: DecisionRule) -> Decision {
        decide(value, 1.0, limits, rule).unwrap()
    }

    #[test]
    fn four_outcomes_against_an_upper_limit() {
        for (value, outcome) in ABOVE {
            let got = said(value, Limits::at_most(10.0), DecisionRule::GuardBanded);
            assert_eq!(got.outcome, outcome, "{value}");
            assert!((got.margin - (10.0 - value)).abs() < 1e-12);
        }
    }

    #[test]
    fn four_outcomes_against_a_lower_limit_mirror_them() {
        for (value, outcome) in ABOVE {
            let mirrored = 20.0 - value;
            let got = said(mirrored, Limits::at_least(10.0), DecisionRule::GuardBanded);
            assert_eq!(got.outcome, outcome, "{mirrored}");
        }
    }

    #[test]
    fn between_two_limits_the_nearer_one_decides() {
        let limits = Limits::between(0.0, 10.0);
        for (value, outcome) in [
            (5.0, Outcome::Pass),
            (0.5, Outcome::ConditionalPass),
            (9.5, Outcome::ConditionalPass),
            (-0.5, Outcome::ConditionalFail),
            (12.0, Outcome::Fail),
        ] {
            assert_eq!(said(value, limits, DecisionRule::GuardBanded).outcome, outcome, "{value}");
        }
    }

    #[test]
    fn simple_acceptance_knows_two_outcomes() {
        // HANDBOOK 4.3: w = 0, pass if within the tolerance limit.
        for (value, outcome) in [(9.9, Outcome::Pass), (10.0, Outcome::Pass), (10.1, Outcome::Fail)]
        {
            let got = said(value, Limits::at_most(10.0), DecisionRule::SimpleAcceptance);
            assert_eq!(got.outcome, outcome, "{value}");
        }
    }

    #[test]
    fn probability_of_conformity_on_one_side_and_on_two() {
        let p = |value, u, dof, limits| conformity(value, u, dof, limits).unwrap();
        let sure = f64::INFINITY;
        // HANDBOOK 4.3: at the limit one half; w = U = 2u is 2.275 %, 1.645 u is 5 %, 2.326 u is
        // 1 %, and with 4 degrees of freedom 1 % wants 3.747 u.
        for (margin, dof, wrong) in [
            (0.0, sure, 0.5),
            (2.0, sure, 0.02275),
            (1.645, sure, 0.05),
            (2.326, sure, 0.01),
            (3.747, 4.0, 0.01),
        ] {
            let upper = p(10.0 - margin * 0.3, 0.3, dof, Limits::at_most(10.0));
            assert!((1.0 - upper - wrong).abs() < 2e-5, "{margin}: {upper}");
            let lower = p(10.0 + margin * 0.3, 0.3, dof, Limits::at_least(10.0));
            assert!((upper - lower).abs() < 1e-12, "the two sides mirror each other");
        }
        // HANDBOOK D4, D5: N(10, 0.4) and N(10.5, 0.4) in 9 to 11.
        let both = Limits::between(9.0, 11.0);
        assert!((p(10.0, 0.4, sure, both) - (1.0 - 0.012_42)).abs() < 6e-6);
        assert!((p(10.5, 0.4, sure, both) - (1.0 - 0.105_74)).abs() < 6e-6);
    }

    #[test]
    fn without_uncertainty_it_is_one_or_nothing() {
        let limits = Limits::between(0.0, 10.0);
        for (value, expected) in [(0.0, 1.0), (5.0, 1.0), (10.0, 1.0), (10.1, 0.0), (-0.1, 0.0)] {
            let got = conformity(value, 0.0, f64::INFINITY, limits).unwrap();
            assert!((got - expected).abs() < 1e-12, "{value}: {got}");
        }
        let none = Limits { low: None, high: None };
        assert!(conformity(1.0, 0.1, f64::INFINITY, none).is_none());
    }

    #[test]
    fn without_a_limit_nothing_is_said() {
        let none = Limits { low: None, high: None };
        assert!(decide(1.0, 0.0, none, DecisionRule::GuardBanded).is_none());
    }
}
