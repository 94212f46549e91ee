//! An uncertainty budget from inputs as they are known. Formulas: [`crate::uncertainty`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use crate::uncertainty::budget::{Budget, BudgetLine};
use crate::uncertainty::{inputs, student};
use crate::units::{OutOfRange, in_range};

/// Inputs of one result, with how they go together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct BudgetQuestion {
    /// The inputs.
    pub inputs: Vec<BudgetInput>,
    /// Inputs whose errors go together. Empty where all are independent.
    #[serde(default)]
    pub correlations: Vec<BudgetCorrelation>,
    /// The wanted coverage, in percent. 95.45 % where none is given.
    #[serde(default)]
    pub coverage_percent: Option<f64>,
}

/// One input.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct BudgetInput {
    /// Its name, given once.
    pub name: String,
    /// What is known of it.
    pub known: InputKnown,
    /// How much the result follows it, in the result's unit per the input's. 1 where not given.
    #[serde(default)]
    pub sensitivity: Option<f64>,
    /// On how many degrees of freedom it rests; none is infinite. Repeats bring their own.
    #[serde(default)]
    pub degrees_of_freedom: Option<f64>,
}

/// What is known of an input.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "kebab-case")]
pub enum InputKnown {
    /// Its standard uncertainty, in the input's unit.
    Standard(f64),
    /// The half-width it lies within, anywhere alike, in the input's unit.
    Rectangular(f64),
    /// The half-width it lies within, rather in the middle, in the input's unit.
    Triangular(f64),
    /// The half-width it swings between, in the input's unit.
    UShaped(f64),
    /// Repeated readings, in the input's unit: the scatter of their mean counts.
    Repeats(Vec<f64>),
    /// The return losses of two ends that meet, in dB: the mismatch counts, in dB.
    ReturnLossesDb([f64; 2]),
}

/// Two inputs whose errors go together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct BudgetCorrelation {
    /// One input's name.
    pub first: String,
    /// The other's.
    pub second: String,
    /// The coefficient, −1 to 1.
    pub coefficient: f64,
}

/// The budget combined.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct BudgetAnswer {
    /// Its lines, the largest contribution first.
    pub lines: Vec<BudgetLine>,
    /// The combined standard uncertainty.
    pub combined: f64,
    /// The effective degrees of freedom; none where they are infinite.
    pub degrees_of_freedom: Option<f64>,
    /// The coverage factor k.
    pub coverage_factor: f64,
    /// The expanded uncertainty U = k·u.
    pub expanded: f64,
}

impl BudgetQuestion {
    pub(super) fn answer(&self) -> Result<BudgetAnswer, BenchRefused> {
        let mut budget = Budget::default();
        for (index, input) in self.inputs.iter().enumerate() {
            let twice = self.inputs[..index].iter().any(|other| other.name == input.name);
            if twice {
                return Err(BenchRefused::Twice { name: input.name.clone() });
            }
            let (standard, dof) = input.known()?;
            let sensitivity = input.sensitivity.unwrap_or(1.0);
            let sensitivity = in_range("sensitivity", sensitivity, -1e12..=1e12, "")?;
            budget = budget.with_dof(&input.name, &input.name, standard, dof, sensitivity);
        }
        let pairs = self.correlations.iter();
        let pairs: Vec<(&str, &str, f64)> = pairs
            .map(|pair| (pair.first.as_str(), pair.second.as_str(), pair.coefficient))
            .collect();
        let budget = budget.correlated(&pairs)?;
        let dof = budget.dof();
        let coverage_factor = match self.coverage_percent {
            None => budget.coverage_factor(),
            Some(percent) => {
                let percent = in_range("coverage", percent, 1.0..=99.9999, "%")?;
                student::coverage_factor(dof, percent / 100.0)
            }
        };
        let combined = budget.combined();
        Ok(BudgetAnswer {
            lines: budget.lines(),
            combined,
            degrees_of_freedom: dof.is_finite().then_some(dof),
            coverage_factor,
            expanded: coverage_factor * combined,
        })
    }
}

impl BudgetInput {
    /// Standard uncertainty and degrees of freedom.
    fn known(&self) -> Result<(f64, f64), BenchRefused> {
        let width = |value: f64| in_range("uncertainty", value, 0.0..=1e12, "");
        let standard = match &self.known {
            InputKnown::Standard(standard) => width(*standard)?,
            InputKnown::Rectangular(half_width) => inputs::rectangular(width(*half_width)?),
            InputKnown::Triangular(half_width) => inputs::triangular(width(*half_width)?),
            InputKnown::UShaped(half_width) => inputs::u_shaped(width(*half_width)?),
            InputKnown::ReturnLossesDb([one, two]) => {
                inputs::mismatch_db(inputs::reflection(*one)?, inputs::reflection(*two)?, 1.0)?
            }
            InputKnown::Repeats(values) => {
                let values: Vec<f64> = values
                    .iter()
                    .map(|value| in_range("reading", *value, -1e12..=1e12, ""))
                    .collect::<Result<_, OutOfRange>>()?;
                let count = values.len() as f64;
                let found = inputs::repeats(&values).ok_or(OutOfRange {
                    quantity: "number of repeats",
                    value: count,
                    unit: "readings",
                    allowed: 2.0..=1e6,
                })?;
                return Ok((found.standard, found.dof));
            }
        };
        let dof = match self.degrees_of_freedom {
            None => f64::INFINITY,
            Some(dof) => in_range("degrees of freedom", dof, 1.0..=1e12, "")?,
        };
        Ok((standard, dof))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(text: &str) -> Result<BudgetAnswer, BenchRefused> {
        serde_json::from_str::<BudgetQuestion>(text).unwrap().answer()
    }

    #[test]
    fn the_end_gauge_of_the_gum_with_its_factor_for_99_percent() {
        // GUM H.1, HANDBOOK G7: u = 32 nm (31.664 calculated). GTC gives ν = 16.75, U99 = 91.9 nm;
        // the degrees of freedom 18, 25.6, 50 and 2 are those of GUM H.1: from memory, unverified.
        let found = asked(
            r#"{ "coverage_percent": 99, "inputs": [
                { "name": "standard", "known": { "standard": 25.0 }, "degrees_of_freedom": 18 },
                { "name": "difference of expansion", "known": { "standard": 2.887 },
                  "degrees_of_freedom": 50 },
                { "name": "difference of temperature", "known": { "standard": 16.599 },
                  "degrees_of_freedom": 2 },
                { "name": "comparator, repeated", "known": { "standard": 5.8 },
                  "degrees_of_freedom": 24 },
                { "name": "comparator, random", "known": { "standard": 3.9 },
                  "degrees_of_freedom": 5 },
                { "name": "comparator, systematic", "known": { "standard": 6.7 },
                  "degrees_of_freedom": 8 } ] }"#,
        )
        .unwrap();
        assert!((found.combined - 31.664).abs() < 0.01);
        assert!((found.degrees_of_freedom.unwrap() - 16.75).abs() < 0.005, "{found:?}");
        assert!((found.expanded - 91.9).abs() < 0.05, "{found:?}");
    }

    #[test]
    fn every_way_of_knowing_an_input_is_read() {
        let known = |known: &str| {
            asked(&format!(r#"{{ "inputs": [{{ "name": "a", "known": {known} }}] }}"#)).unwrap()
        };
        // HANDBOOK G2-G4; 4.2 with return losses of 13.979 dB, |Γ| 0.2; G1 with s = 1, n = 3.
        for (text, expected) in [
            (r#"{ "standard": 0.7 }"#, 0.7),
            (r#"{ "rectangular": 1.0 }"#, 0.577_350),
            (r#"{ "triangular": 1.0 }"#, 0.408_248),
            (r#"{ "u-shaped": 10.0 }"#, 7.071_068),
            (r#"{ "return-losses-db": [13.979, 13.979] }"#, 0.245_96),
            (r#"{ "repeats": [1.0, 2.0, 3.0] }"#, 0.577_350),
        ] {
            let found = known(text);
            assert!((found.combined - expected).abs() < 2e-5, "{text}: {found:?}");
        }
        assert_eq!(known(r#"{ "repeats": [1.0, 2.0, 3.0] }"#).degrees_of_freedom, Some(2.0));
    }

    #[test]
    fn what_makes_no_sense_is_refused_by_name() {
        let words = |text: &str| asked(text).unwrap_err().to_string();
        let one = r#"{ "name": "a", "known": { "standard": 1.0 } }"#;
        for (text, part) in [
            (format!(r#"{{ "inputs": [{one}, {one}] }}"#), "\"a\" stands twice"),
            (format!(r#"{{ "inputs": [{one}], "coverage_percent": 100 }}"#), "coverage of 100"),
            (
                format!(
                    r#"{{ "inputs": [{one}],
                    "correlations": [{{ "first": "a", "second": "b", "coefficient": 0.5 }}] }}"#
                ),
                "not two inputs",
            ),
            (
                r#"{ "inputs": [{ "name": "a", "known": { "rectangular": -1.0 } }] }"#.to_owned(),
                "uncertainty of -1",
            ),
            (
                r#"{ "inputs": [{ "name": "a", "known": { "repeats": [1.0] } }] }"#.to_owned(),
                "number of repeats of 1 readings is outside 2",
            ),
        ] {
            assert!(words(&text).contains(part), "{}", words(&text));
        }
    }
}
