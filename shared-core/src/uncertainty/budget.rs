//! Combining uncertainties after the GUM: named inputs, each with a standard uncertainty and a
//! sensitivity.
//!
//!   u_c² = Σ (c_i·u_i)²,  U = k·u_c,  k = 2          HANDBOOK G5, from memory, unverified
//!   rectangular half-width a: u = a/√3               HANDBOOK G2
//!
//! An input that enters twice, such as one generator in both terms of a difference, is one input:
//! its sensitivities add, so what both readings share cancels. All lines of a budget are in the
//! unit of its result, once multiplied by their sensitivity.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

/// The coverage factor for about 95 % when nothing better is known.
pub const COVERAGE_FACTOR: f64 = 2.0;

/// The standard uncertainty of a value known only to lie within ±`half_width`.
pub fn rectangular(half_width: f64) -> f64 {
    half_width / 3f64.sqrt()
}

/// A list of inputs with what each contributes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Budget {
    inputs: BTreeMap<String, Input>,
}

#[derive(Clone, Debug, PartialEq)]
struct Input {
    what: String,
    standard: f64,
    sensitivity: f64,
}

/// One line of a budget, for people.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct BudgetLine {
    /// Where it comes from.
    pub what: String,
    /// The input's standard uncertainty.
    pub standard: f64,
    /// How the result follows the input. Zero where a difference cancels it.
    pub sensitivity: f64,
    /// What it adds: the product's magnitude, in the result's unit.
    pub contribution: f64,
}

impl Budget {
    /// Adds an input. `id` names the physical cause: the same id again is the same error.
    #[must_use]
    pub fn with(mut self, id: &str, what: &str, standard: f64, sensitivity: f64) -> Self {
        self.enter(id, Input { what: what.to_owned(), standard, sensitivity });
        self
    }

    /// The budget of `self − other`.
    #[must_use]
    pub fn minus(mut self, other: &Self) -> Self {
        for (id, input) in &other.inputs {
            self.enter(id, Input { sensitivity: -input.sensitivity, ..input.clone() });
        }
        self
    }

    fn enter(&mut self, id: &str, input: Input) {
        match self.inputs.get_mut(id) {
            Some(known) => {
                known.sensitivity += input.sensitivity;
                // The same cause at two settings: the larger of its two uncertainties holds.
                known.standard = known.standard.max(input.standard);
            }
            None => {
                self.inputs.insert(id.to_owned(), input);
            }
        }
    }

    /// The inputs by physical cause: cause, words, standard uncertainty, sensitivity.
    pub fn inputs(&self) -> impl Iterator<Item = (&str, &str, f64, f64)> {
        self.inputs.iter().map(|(id, i)| (id.as_str(), i.what.as_str(), i.standard, i.sensitivity))
    }

    /// The combined standard uncertainty.
    pub fn combined(&self) -> f64 {
        self.inputs.values().map(|i| (i.standard * i.sensitivity).powi(2)).sum::<f64>().sqrt()
    }

    /// The expanded uncertainty, k = 2.
    pub fn expanded(&self) -> f64 {
        COVERAGE_FACTOR * self.combined()
    }

    /// The lines, largest contribution first.
    pub fn lines(&self) -> Vec<BudgetLine> {
        let mut lines: Vec<BudgetLine> = self
            .inputs
            .values()
            .map(|input| BudgetLine {
                what: input.what.clone(),
                standard: input.standard,
                sensitivity: input.sensitivity,
                contribution: (input.standard * input.sensitivity).abs(),
            })
            .collect();
        lines.sort_by(|a, b| b.contribution.total_cmp(&a.contribution));
        lines
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_published_budget_combines_to_its_published_sum() {
        // HANDBOOK G7, GUM H.1 end gauge: contributions in nm, u = 32 nm (31.664 calculated there).
        let budget = [25.0, 16.599, 6.7, 5.8, 3.9, 2.887]
            .iter()
            .enumerate()
            .fold(Budget::default(), |b, (i, u)| b.with(&i.to_string(), "input", *u, 1.0));
        assert!((budget.combined() - 31.664).abs() < 0.01, "{}", budget.combined());
        assert!((budget.expanded() - 2.0 * budget.combined()).abs() < 1e-12);
    }

    #[test]
    fn a_rectangle_has_its_published_standard_uncertainty() {
        // HANDBOOK G2.
        assert!((rectangular(1.0) - 0.577_350_269_2).abs() < 1e-10);
    }

    #[test]
    fn what_both_readings_share_cancels_in_their_difference() {
        let first =
            Budget::default().with("generator", "level", 0.6, 1.0).with("a", "repeat", 0.1, 1.0);
        let second =
            Budget::default().with("generator", "level", 0.6, 1.0).with("b", "repeat", 0.1, 1.0);
        let difference = first.minus(&second);
        // sqrt(0.1² + 0.1²): common practice, no source.
        assert!((difference.combined() - 0.141_421_356).abs() < 1e-9);
        let line = difference.lines().into_iter().find(|l| l.what == "level").unwrap();
        assert!(line.contribution.abs() < 1e-12);
    }
}
