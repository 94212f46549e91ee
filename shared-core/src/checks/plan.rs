//! The plan: check definitions as data, in the order a technician works.
//!
//! In: a TOML text. Out: a plan whose ids are unique and whose references lead somewhere, or a
//! refusal. Knows no reading; how a check is judged is in [`super::judge`].

use std::collections::BTreeSet;
use std::sync::OnceLock;

use serde::Deserialize;

pub use crate::record::plan::{
    Check, Judges, LimitKind, LimitOf, LimitRule, Reads, ShopCaution, Stage, Through,
};

/// The checks in order.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// In the order they are worked.
    #[serde(rename = "check")]
    pub checks: Vec<Check>,
}

/// Why a text is no plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PlanRefused {
    /// Not TOML, or not of the plan's shape; the message has line and column.
    #[error("the plan cannot be read: {0}")]
    Unreadable(#[from] toml::de::Error),
    /// An id stands twice.
    #[error("check {id:?} stands twice in the plan")]
    Twice {
        /// The id.
        id: String,
    },
    /// A check leans on one that does not stand before it.
    #[error("check {id:?} leans on {from:?}, which must stand before it in the plan")]
    From {
        /// The check.
        id: String,
        /// What it names.
        from: String,
    },
    /// A keyed check without a caution.
    #[error("check {id:?} is keyed, yet no caution goes before it")]
    NoCaution {
        /// The check.
        id: String,
    },
    /// Repeats of fewer than two.
    #[error("check {id:?}: {given} readings show no scatter; `repeats_from` wants 2 or more")]
    Repeats {
        /// The check.
        id: String,
        /// What was given.
        given: u32,
    },
    /// A fixed limit without its number, or a number without a fixed limit.
    #[error("check {id:?}: a fixed limit wants `value`, the others take none")]
    Value {
        /// The check.
        id: String,
    },
}

impl Plan {
    /// The plan shipped with the program, read once.
    pub fn standard() -> &'static Self {
        static STANDARD: OnceLock<Plan> = OnceLock::new();
        STANDARD.get_or_init(|| {
            Self::parse(include_str!("../../data/checks.toml")).expect("the shipped plan is tested")
        })
    }

    /// Reads a plan.
    pub fn parse(text: &str) -> Result<Self, PlanRefused> {
        let plan: Self = toml::from_str(text)?;
        let mut before = BTreeSet::new();
        for check in &plan.checks {
            let id = check.id.clone();
            let leans = check.from.as_deref();
            if (check.judges == Judges::Itself) != leans.is_none()
                || leans.is_some_and(|from| !before.contains(from))
            {
                return Err(PlanRefused::From { id, from: leans.unwrap_or("nothing").to_owned() });
            }
            if check.keyed && check.cautions.is_empty() {
                return Err(PlanRefused::NoCaution { id });
            }
            if (check.limit.of == LimitOf::Fixed) != check.limit.value.is_some() {
                return Err(PlanRefused::Value { id });
            }
            if let Some(given) = check.repeats_from.filter(|from| *from < 2) {
                return Err(PlanRefused::Repeats { id, given });
            }
            if !before.insert(check.id.as_str()) {
                return Err(PlanRefused::Twice { id });
            }
        }
        Ok(plan)
    }

    /// The check with this id.
    pub fn find(&self, id: &str) -> Option<&Check> {
        self.checks.iter().find(|check| check.id == id)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::checks::Cautions;

    const SHIPPED: &str = include_str!("../../data/checks.toml");

    #[test]
    fn the_shipped_plan_holds_together() {
        let plan = Plan::parse(SHIPPED).unwrap();
        let cautions = Cautions::standard();
        let mut last = Stage::Prepare;
        for check in &plan.checks {
            assert!(check.stage >= last, "{}: stages go in the order they are worked", check.id);
            last = check.stage;
            assert!(!check.limit.source.is_empty(), "{}: say where the limit comes from", check.id);
            assert!(check.repeat > 0.0, "{}: no reading repeats exactly", check.id);
            for caution in &check.cautions {
                let found = cautions.find(caution);
                assert!(found.is_some_and(|c| c.keyed), "{}: caution {caution}", check.id);
            }
            let other = check.from.as_deref().map(|from| plan.find(from).unwrap());
            if let Some(other) = other {
                assert_eq!(other.reads, check.reads, "{}: compares unlike things", check.id);
            }
        }
    }

    #[test]
    fn a_wrong_plan_is_refused_by_name() {
        let refused = |from: &str, to: &str| Plan::parse(&SHIPPED.replacen(from, to, 1));
        assert!(matches!(
            refused("transmitter.frequency-error", "transmitter.power"),
            Err(PlanRefused::Twice { .. })
        ));
        assert!(matches!(
            refused("from = \"transmitter.power\"", "from = \"transmitter.colour\""),
            Err(PlanRefused::From { .. })
        ));
        assert!(matches!(
            refused(
                "cautions = [\"load-in-place\", \"rf-burns\", \"tell-control-point\"]",
                "cautions = []"
            ),
            Err(PlanRefused::NoCaution { .. })
        ));
        assert!(matches!(refused("value = 1.0, ", ""), Err(PlanRefused::Value { .. })));
        assert!(matches!(
            refused("repeats_from = 3", "repeats_from = 1"),
            Err(PlanRefused::Repeats { given: 1, .. })
        ));
        let unreadable = refused("keyed = false", "keyed = maybe").unwrap_err().to_string();
        let line = 1 + SHIPPED.lines().position(|line| line == "keyed = false").unwrap();
        assert!(unreadable.contains(&format!("line {line}")), "{unreadable}");
    }
}
