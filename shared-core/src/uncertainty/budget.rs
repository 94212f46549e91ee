//! Combining uncertainties after the GUM: named inputs, each with a standard uncertainty, a
//! sensitivity and degrees of freedom.
//!
//!   u_c² = Σ (c_i·u_i)² + 2·Σ c_i·u_i·c_j·u_j·r_ij      HANDBOOK G5; r: GUM H.2, HANDBOOK G8
//!   ν_eff = u_c⁴ / Σ (c_i·u_i)⁴/ν_i                      Welch–Satterthwaite, HANDBOOK G6
//!   U = k·u_c, k from Student's t with ν_eff for 95.45 %; k = 2 where ν_eff is infinite
//!
//! An input that enters twice, such as one generator in both terms of a difference, is one input:
//! its sensitivities add, so what both readings share cancels. Different inputs may be correlated.
//! All lines of a budget are in the unit of its result, once multiplied by their sensitivity.
//! ν_eff is not rounded down to a whole number: k follows it smoothly.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::student::{self, TWO_SIGMA};
use crate::units::{OutOfRange, in_range};

/// The coverage factor for 95.45 % where no input's degrees of freedom are few.
pub const COVERAGE_FACTOR: f64 = 2.0;

/// How far below zero a rounding error may carry what must not be negative.
const ROUNDING: f64 = 1e-9;

/// A list of inputs with what each contributes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Budget {
    inputs: BTreeMap<String, Input>,
    /// Of pairs of inputs, the lesser id first.
    correlations: BTreeMap<(String, String), f64>,
}

#[derive(Clone, Debug, PartialEq)]
struct Input {
    what: String,
    standard: f64,
    sensitivity: f64,
    dof: f64,
}

impl Input {
    fn contribution(&self) -> f64 {
        self.standard * self.sensitivity
    }
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
    /// On how much the standard uncertainty rests: n − 1 for n repeats. None is infinite: a limit
    /// or a rating taken as it stands.
    #[serde(default)]
    pub degrees_of_freedom: Option<f64>,
}

/// What a budget comes to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Combined {
    /// The combined standard uncertainty.
    pub standard: f64,
    /// The effective degrees of freedom; infinite where every input's are.
    pub dof: f64,
    /// The coverage factor k for 95.45 %.
    pub factor: f64,
}

/// Why two inputs cannot be correlated so.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CorrelationRefused {
    /// No correlation coefficient.
    #[error(transparent)]
    Number(#[from] OutOfRange),
    /// An id that is no input of the budget, or one input with itself.
    #[error("{first:?} and {second:?} are not two inputs of this budget")]
    NotTwoInputs {
        /// One id.
        first: String,
        /// The other.
        second: String,
    },
    /// Each is possible, all together are not: some sum of the inputs would vary less than nothing.
    #[error("the correlations contradict each other: no errors can go together so")]
    Contradiction,
}

impl Budget {
    /// Adds an input that is as sure as a limit. `id` names the physical cause: the same id again
    /// is the same error.
    #[must_use]
    pub fn with(self, id: &str, what: &str, standard: f64, sensitivity: f64) -> Self {
        self.with_dof(id, what, standard, f64::INFINITY, sensitivity)
    }

    /// Adds an input whose standard uncertainty rests on so many degrees of freedom.
    #[must_use]
    pub fn with_dof(
        mut self,
        id: &str,
        what: &str,
        standard: f64,
        dof: f64,
        sensitivity: f64,
    ) -> Self {
        self.enter(id, Input { what: what.to_owned(), standard, sensitivity, dof });
        self
    }

    /// Says which inputs' errors go together: pairs of ids with their coefficient from −1 to 1.
    /// All at once, since half of a possible set may be impossible by itself.
    pub fn correlated(mut self, pairs: &[(&str, &str, f64)]) -> Result<Self, CorrelationRefused> {
        for &(first, second, coefficient) in pairs {
            let coefficient = in_range("correlation", coefficient, -1.0..=1.0, "")?;
            let known = |id| self.inputs.contains_key(id);
            if first == second || !known(first) || !known(second) {
                let (first, second) = (first.to_owned(), second.to_owned());
                return Err(CorrelationRefused::NotTwoInputs { first, second });
            }
            self.correlations.insert(pair(first, second), coefficient);
        }
        match self.correlations_fit() {
            true => Ok(self),
            false => Err(CorrelationRefused::Contradiction),
        }
    }

    /// The budget of `self − other`.
    #[must_use]
    pub fn minus(mut self, other: &Self) -> Self {
        for (id, input) in &other.inputs {
            self.enter(id, Input { sensitivity: -input.sensitivity, ..input.clone() });
        }
        let others = other.correlations.iter().map(|(ids, r)| (ids.clone(), *r));
        self.correlations.extend(others);
        self
    }

    fn enter(&mut self, id: &str, input: Input) {
        match self.inputs.get_mut(id) {
            Some(known) => {
                known.sensitivity += input.sensitivity;
                // The same cause at two settings: the larger of its two uncertainties holds.
                if input.standard > known.standard {
                    (known.standard, known.dof) = (input.standard, input.dof);
                }
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

    /// The covariance of this result and another one that rests on some of the same inputs.
    pub fn covariance(&self, other: &Self) -> f64 {
        let r = |a: &str, b: &str| match a == b {
            true => 1.0,
            false => {
                let ids = pair(a, b);
                let found = self.correlations.get(&ids).or(other.correlations.get(&ids));
                found.copied().unwrap_or(0.0)
            }
        };
        let mut sum = 0.0;
        for (a, one) in &self.inputs {
            for (b, two) in &other.inputs {
                sum += one.contribution() * two.contribution() * r(a, b);
            }
        }
        sum
    }

    /// The combined standard uncertainty.
    pub fn combined(&self) -> f64 {
        if self.correlations.is_empty() {
            return self.inputs.values().map(|i| i.contribution().powi(2)).sum::<f64>().sqrt();
        }
        self.covariance(self).max(0.0).sqrt()
    }

    /// The effective degrees of freedom; infinite where every input's are.
    ///
    /// The formula holds for independent inputs. Where one with few degrees of freedom is
    /// correlated, the result has no more than that one: common practice, no source.
    pub fn dof(&self) -> f64 {
        let sum: f64 = self.inputs.values().map(|i| i.contribution().powi(4) / i.dof).sum();
        let effective = match sum > 0.0 {
            true => self.combined().powi(4) / sum,
            false => f64::INFINITY,
        };
        let ids = self.correlations.keys().flat_map(|(first, second)| [first, second]);
        ids.filter_map(|id| self.inputs.get(id)).map(|input| input.dof).fold(effective, f64::min)
    }

    /// The factor k for 95.45 %: 2 where the degrees of freedom are infinite.
    pub fn coverage_factor(&self) -> f64 {
        factor(self.dof())
    }

    /// The expanded uncertainty, k times the combined one.
    pub fn expanded(&self) -> f64 {
        self.coverage_factor() * self.combined()
    }

    /// Combined standard uncertainty, degrees of freedom and coverage factor at once.
    pub fn all(&self) -> Combined {
        let (standard, dof) = (self.combined(), self.dof());
        Combined { standard, dof, factor: factor(dof) }
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
                contribution: input.contribution().abs(),
                degrees_of_freedom: input.dof.is_finite().then_some(input.dof),
            })
            .collect();
        lines.sort_by(|a, b| b.contribution.total_cmp(&a.contribution));
        lines
    }

    /// Whether the correlations can hold together: their matrix has no negative direction. Found
    /// by taking one input after another out of the rest, as Cholesky does.
    fn correlations_fit(&self) -> bool {
        let ids: Vec<&String> = self.inputs.keys().collect();
        let entry = |row: usize, column: usize| match row == column {
            true => 1.0,
            false => *self.correlations.get(&pair(ids[row], ids[column])).unwrap_or(&0.0),
        };
        let mut lower: Vec<Vec<f64>> = Vec::with_capacity(ids.len());
        for row in 0..ids.len() {
            let mut made: Vec<f64> = Vec::with_capacity(row + 1);
            for column in 0..=row {
                let known: &[f64] = if column == row { &made } else { &lower[column] };
                let taken: f64 = made.iter().zip(known).map(|(a, b)| a * b).sum();
                let left = entry(row, column) - taken;
                let pivot = lower.get(column).map_or(0.0, |known| known[column]);
                made.push(match column == row {
                    true if left < -ROUNDING => return false,
                    true => left.max(0.0).sqrt(),
                    false if pivot > ROUNDING => left / pivot,
                    false if left.abs() > ROUNDING.sqrt() => return false,
                    false => 0.0,
                });
            }
            lower.push(made);
        }
        true
    }
}

fn factor(dof: f64) -> f64 {
    match dof.is_finite() {
        true => student::coverage_factor(dof, TWO_SIGMA),
        false => COVERAGE_FACTOR,
    }
}

/// One key for a pair, whichever way round it is asked.
fn pair(first: &str, second: &str) -> (String, String) {
    let (low, high) = if first < second { (first, second) } else { (second, first) };
    (low.to_owned(), high.to_owned())
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

    /// The inputs of GUM H.2 as a budget of one result, from its sensitivities.
    fn of_v_i_phi(c_v: f64, c_i: f64, c_phi: f64) -> Budget {
        // HANDBOOK G8: standard uncertainties and correlations.
        Budget::default()
            .with("v", "voltage", 0.0032, c_v)
            .with("i", "current", 9.5e-6, c_i)
            .with("phi", "phase", 7.5e-4, c_phi)
            .correlated(&[("v", "i", -0.36), ("v", "phi", 0.86), ("phi", "i", -0.65)])
            .unwrap()
    }

    #[test]
    fn correlated_inputs_combine_to_the_published_result() {
        // GUM H.2, HANDBOOK G8: Z = V/I = 254.26(24) ohms.
        let (v, i) = (4.999, 19.661e-3);
        let z = of_v_i_phi(1.0 / i, -v / (i * i), 0.0);
        assert!((z.combined() - 0.24).abs() < 0.005, "{}", z.combined());
        // Without the correlations it would be another number.
        let apart = Budget::default().with("v", "voltage", 0.0032, 1.0 / i).with(
            "i",
            "current",
            9.5e-6,
            -v / (i * i),
        );
        assert!((apart.combined() - 0.24).abs() > 0.02, "{}", apart.combined());
    }

    #[test]
    fn few_repeats_widen_the_factor() {
        // HANDBOOK G6: ν = 4 gives k = 2.8693; alone, an input gives its own freedom.
        let alone = Budget::default().with_dof("a", "repeats", 0.3, 4.0, 1.0);
        assert!((alone.dof() - 4.0).abs() < 1e-9);
        assert!((alone.coverage_factor() - 2.8693).abs() < 6e-5);
        assert_eq!(alone.lines()[0].degrees_of_freedom, Some(4.0));
        // Two alike inputs of ν each make 2·ν: (2u²)² / (2u⁴/ν). Arithmetic.
        let both =
            alone.clone().with_dof("b", "repeats", 0.3, 4.0, -2.0).with_dof("b", "", 0.1, 9.0, 1.0);
        assert!((both.dof() - 8.0).abs() < 1e-9, "{}", both.dof());
        // A sure input beside it: (u²+u²)² / (u⁴/ν) = 4·ν.
        let sure = alone.clone().with("c", "limit", 0.3, 1.0);
        assert!((sure.dof() - 16.0).abs() < 1e-9);
        assert_eq!(sure.lines().iter().filter(|l| l.degrees_of_freedom.is_none()).count(), 1);
        // Cancelled, it no longer counts.
        let none = alone.clone().with("c", "limit", 0.3, 1.0).minus(&alone);
        assert!(none.dof().is_infinite() && (none.coverage_factor() - 2.0).abs() < 1e-12);
    }

    #[test]
    fn correlations_that_cannot_be_are_refused() {
        let three = ["a", "b", "c"]
            .iter()
            .fold(Budget::default(), |budget, id| budget.with(id, id, 1.0, 1.0));
        let refused = three.clone().correlated(&[("a", "b", 1.5)]).unwrap_err();
        assert_eq!(refused.to_string(), "correlation of 1.5 is outside -1 to 1");
        for (first, second) in [("a", "x"), ("x", "a"), ("a", "a")] {
            let refused = three.clone().correlated(&[(first, second, 0.5)]).unwrap_err();
            assert!(matches!(refused, CorrelationRefused::NotTwoInputs { .. }), "{refused}");
        }
        // a with b, b with c, yet a against c; with c it is possible.
        let with = |r| three.clone().correlated(&[("a", "b", 0.9), ("b", "c", 0.9), ("c", "a", r)]);
        assert_eq!(with(-0.9).unwrap_err(), CorrelationRefused::Contradiction);
        assert!(with(0.9).is_ok());
        // Two that always go together go with a third alike, or not at all.
        let bound = |one, other| {
            three.clone().correlated(&[("a", "b", 1.0), ("a", "c", one), ("b", "c", other)])
        };
        assert_eq!(bound(0.5, 0.2).unwrap_err(), CorrelationRefused::Contradiction);
        assert!(bound(0.5, 0.5).is_ok());
        // Two that always go together hide no contradiction among the others: d goes with a, b and
        // c, of which c goes with neither of the two. 0.9² + 0.9² is more than there is of d.
        let beside = |r| {
            let together = [("a", "b", 1.0), ("a", "d", r), ("b", "d", r), ("c", "d", r)];
            three.clone().with("d", "d", 1.0, 1.0).correlated(&together)
        };
        assert_eq!(beside(0.9).unwrap_err(), CorrelationRefused::Contradiction);
        assert!(beside(0.6).is_ok());
        // 1 + 2·0.6·0.6·r − 0.36 − 0.36 − r² is below 0 at r = −0.5, above it at −0.2: by hand.
        let third =
            |r| three.clone().correlated(&[("a", "b", 0.6), ("a", "c", 0.6), ("b", "c", r)]);
        assert_eq!(third(-0.5).unwrap_err(), CorrelationRefused::Contradiction);
        assert!(third(-0.2).is_ok());
        // Fully correlated is possible: the contributions then add as numbers do.
        let full = Budget::default().with("a", "", 3.0, 1.0).with("b", "", 4.0, 1.0);
        let full = full.correlated(&[("b", "a", 1.0)]).unwrap();
        assert!((full.combined() - 7.0).abs() < 1e-12);
        let against = Budget::default().with("a", "", 3.0, 1.0).with("b", "", 3.0, 1.0);
        assert!(against.correlated(&[("a", "b", -1.0)]).unwrap().combined() < 1e-9);
    }

    #[test]
    fn of_one_cause_at_two_settings_the_larger_uncertainty_holds() {
        for (first, second) in [((0.3, 5.0), (0.6, 9.0)), ((0.6, 9.0), (0.3, 5.0))] {
            let budget = |(u, dof): (f64, f64), sensitivity| {
                Budget::default().with_dof("cause", "", u, dof, sensitivity)
            };
            let difference = budget(first, 3.0).minus(&budget(second, 1.0));
            assert!((difference.combined() - 2.0 * 0.6).abs() < 1e-12, "{difference:?}");
            assert!((difference.dof() - 9.0).abs() < 1e-9, "{difference:?}");
        }
    }

    #[test]
    fn what_few_repeats_share_is_as_unsure_as_they_are() {
        let budget = Budget::default()
            .with_dof("a", "", 1.0, 3.0, 1.0)
            .with("b", "", 1.0, 1.0)
            .correlated(&[("a", "b", 0.5)])
            .unwrap();
        assert!((budget.dof() - 3.0).abs() < 1e-12);
    }

    fn arbitrary_budget(inputs: &[(f64, f64, f64)]) -> Budget {
        inputs.iter().enumerate().fold(Budget::default(), |budget, (index, (u, c, dof))| {
            budget.with_dof(&index.to_string(), "input", *u, *dof, *c)
        })
    }

    proptest::proptest! {
        #[test]
        fn another_input_never_makes_a_result_surer(
            inputs in proptest::collection::vec((0.001..2.0f64, -3.0..3.0f64, 1.0..50.0f64), 1..7),
            u in 0.0..2.0f64,
        ) {
            let budget = arbitrary_budget(&inputs);
            let more = budget.clone().with("more", "more", u, 1.0);
            proptest::prop_assert!(more.combined() >= budget.combined());
            proptest::prop_assert!(more.dof() >= budget.dof() * (1.0 - 1e-12));
        }

        #[test]
        fn effective_freedom_lies_between_the_least_and_the_sum(
            inputs in proptest::collection::vec((0.001..2.0f64, 0.1..3.0f64, 1.0..50.0f64), 1..7),
        ) {
            // GUM G.4.1: not more than the sum of the inputs' own.
            let dof = arbitrary_budget(&inputs).dof();
            let least = inputs.iter().map(|input| input.2).fold(f64::INFINITY, f64::min);
            let sum: f64 = inputs.iter().map(|input| input.2).sum();
            proptest::prop_assert!(dof >= least * (1.0 - 1e-9) && dof <= sum * (1.0 + 1e-9));
        }

        #[test]
        fn what_is_taken_from_itself_leaves_nothing(
            inputs in proptest::collection::vec((0.001..2.0f64, -3.0..3.0f64, 1.0..50.0f64), 1..7),
        ) {
            let budget = arbitrary_budget(&inputs);
            proptest::prop_assert!(budget.clone().minus(&budget).combined() < 1e-12);
        }
    }
}
