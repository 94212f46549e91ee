//! Explanations weighed against each other: how likely all readings are once a slip is undone.
//!
//! In: a solved model and hypotheses. Out: their weights, likeliest first. A hypothesis moves some
//! observations by a size that is known (a coupler's factor) or known within a spread (how far a
//! receiver is off); with the size integrated out, a vague one has to pay for its vagueness:
//!
//!   ln p(y | H) = −χ²/2 + mᵀb − mᵀBm/2 + cᵀσG⁻¹σc/2 − ln(det G)/2
//!   b = DᵀS⁻¹r,  B = DᵀS⁻¹D,  c = b − Bm,  G = 1 + σBσ,  size = m + σG⁻¹σc
//!
//! m, σ: mean and spread of the sizes; D: the moves; r, S: misfit and covariance of the readings
//! ([`crate::rf::least_squares`]). A size that can only be positive: · 2·Φ(size/u).
//! Plain Gaussian algebra; `tests` hold it against new fits.

use super::ExplanationKind;
use super::model::Model;
use crate::rf::chi_square::normal_below;
use crate::rf::least_squares::{Direction, Fit};

/// Observations that move together.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Move {
    /// By place in the model's lines, how far each goes for one unit of size.
    pub(super) along: Direction,
    /// The size foreseen.
    pub(super) mean: f64,
    /// How far it may be off that: 0 where it is known.
    pub(super) spread: f64,
}

/// What may have happened.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Hypothesis {
    pub(super) kind: ExplanationKind,
    pub(super) odds: f64,
    /// One or two.
    pub(super) moves: Vec<Move>,
    /// Whether its size can only be positive.
    pub(super) one_sided: bool,
    /// What it says, as a sentence without its full stop; `{size}` is the size found.
    pub(super) words: String,
}

/// A hypothesis with what the readings say of it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Weighed {
    pub(super) ln_weight: f64,
    /// The size of each move.
    pub(super) sizes: [f64; 2],
    /// Chi-square once it is undone.
    pub(super) chi_square: f64,
}

impl Hypothesis {
    /// A slip that moves readings by just so much.
    pub(super) fn by(kind: ExplanationKind, odds: f64, shifts: Direction, words: String) -> Self {
        let moves = vec![Move { along: shifts, mean: 1.0, spread: 0.0 }];
        Self { kind, odds, moves, one_sided: false, words }
    }

    /// How far it moves each line, in the line's unit.
    pub(super) fn shifts(&self, sizes: [f64; 2]) -> Direction {
        let moved = self.moves.iter().zip(sizes);
        moved.flat_map(|(m, size)| m.along.iter().map(move |&(i, f)| (i, f * size))).collect()
    }
}

/// Weighs a hypothesis.
pub(super) fn weigh(fit: &Fit, hypothesis: &Hypothesis) -> Weighed {
    let none = Move::default();
    let first = hypothesis.moves.first().unwrap_or(&none);
    let second = hypothesis.moves.get(1).unwrap_or(&none);
    let (m, s) = ([first.mean, second.mean], [first.spread, second.spread]);
    let pull = [fit.pull(&first.along), fit.pull(&second.along)];
    let across = fit.stiffness(&first.along, &second.along);
    let held = [
        [fit.stiffness(&first.along, &first.along), across],
        [across, fit.stiffness(&second.along, &second.along)],
    ];
    let quadratic = |v: [f64; 2]| {
        v[0] * v[0] * held[0][0] + 2.0 * v[0] * v[1] * across + v[1] * v[1] * held[1][1]
    };
    let after =
        |v: [f64; 2]| fit.chi_square - 2.0 * (v[0] * pull[0] + v[1] * pull[1]) + quadratic(v);
    let left = [
        s[0] * (pull[0] - held[0][0] * m[0] - across * m[1]),
        s[1] * (pull[1] - across * m[0] - held[1][1] * m[1]),
    ];
    let g = [
        [1.0 + s[0] * s[0] * held[0][0], s[0] * s[1] * across],
        [s[0] * s[1] * across, 1.0 + s[1] * s[1] * held[1][1]],
    ];
    let determinant = g[0][0] * g[1][1] - g[0][1] * g[1][0];
    let solved = [
        (g[1][1] * left[0] - g[0][1] * left[1]) / determinant,
        (g[0][0] * left[1] - g[1][0] * left[0]) / determinant,
    ];
    let sizes = [m[0] + s[0] * solved[0], m[1] + s[1] * solved[1]];
    let mut ln_weight = hypothesis.odds.ln() - after(m) / 2.0
        + (left[0] * solved[0] + left[1] * solved[1]) / 2.0
        - determinant.ln() / 2.0;
    if hypothesis.one_sided {
        let spread = s[0] / g[0][0].sqrt();
        ln_weight += (2.0 * normal_below(sizes[0] / spread)).max(f64::MIN_POSITIVE).ln();
    }
    Weighed { ln_weight, sizes, chi_square: after(sizes).max(0.0) }
}

/// All hypotheses with their weights and their share of all weight, likeliest first. Those of equal
/// weight stay in the order they were thought of.
pub(super) fn ranked(
    model: &Model<'_>,
    hypotheses: Vec<Hypothesis>,
) -> Vec<(Hypothesis, Weighed, f64)> {
    let mut all: Vec<(Hypothesis, Weighed)> = hypotheses
        .into_iter()
        .map(|hypothesis| {
            let weighed = weigh(&model.fit, &hypothesis);
            (hypothesis, weighed)
        })
        .collect();
    all.sort_by(|a, b| b.1.ln_weight.total_cmp(&a.1.ln_weight));
    let most = all.first().map_or(0.0, |(_, weighed)| weighed.ln_weight);
    let sum: f64 = all.iter().map(|(_, weighed)| (weighed.ln_weight - most).exp()).sum();
    let share = |weighed: &Weighed| (weighed.ln_weight - most).exp() / sum;
    all.into_iter()
        .map(|(hypothesis, weighed)| {
            let share = share(&weighed);
            (hypothesis, weighed, share)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rf::least_squares::{Observation, Prior, Unknown, fit};

    fn known(mean: f64, standard: f64) -> Unknown {
        Unknown { name: "x".to_owned(), prior: Some(Prior { mean, standard }) }
    }

    fn readings(values: [f64; 3]) -> Vec<Observation> {
        let with = |value: f64, terms: &[(usize, f64)]| Observation {
            name: value.to_string(),
            value,
            standard: 0.2,
            terms: terms.to_vec(),
        };
        vec![
            with(values[0], &[(0, 1.0)]),
            with(values[1], &[(0, 1.0), (1, 1.0)]),
            with(values[2], &[(0, 1.0), (1, 1.0)]),
        ]
    }

    fn hypothesis(moves: Vec<Move>) -> Hypothesis {
        let (kind, words) = (ExplanationKind::Unexplained, String::new());
        Hypothesis { kind, odds: 1.0, moves, one_sided: false, words }
    }

    #[test]
    fn a_known_size_is_undone_as_a_new_fit_would() {
        let unknowns = [known(-120.0, 3.0), known(1.0, 0.2)];
        let found = fit(&unknowns, &readings([-90.0, -119.0, -118.8])).unwrap();
        let undone = fit(&unknowns, &readings([-120.0, -119.0, -118.8])).unwrap();
        let kind = ExplanationKind::ForgottenElement;
        let weighed = weigh(&found, &Hypothesis::by(kind, 0.5, vec![(0, 30.0)], String::new()));
        assert!((weighed.chi_square - undone.chi_square).abs() < 1e-6);
        assert!((weighed.ln_weight - (0.5f64.ln() - undone.chi_square / 2.0)).abs() < 1e-6);
    }

    /// A size integrated out is one more unknown: chi-square at its best size is that of a fit that
    /// has it, and its price is the rise in the determinant.
    #[test]
    fn sizes_known_within_a_spread_are_further_unknowns() {
        let values = [-101.0, -119.0, -52.0];
        let plain = [known(-120.0, 3.0), known(1.0, 0.2)];
        let before = fit(&plain, &readings(values)).unwrap();
        let moves = vec![
            Move { along: vec![(0, 1.0)], mean: 10.0, spread: 8.0 },
            Move { along: vec![(1, -0.5), (2, 1.0)], mean: 75.0, spread: 15.0 },
        ];
        let more = [known(-120.0, 3.0), known(1.0, 0.2), known(10.0, 8.0), known(75.0, 15.0)];
        let mut observations = readings(values);
        observations[0].terms.push((2, 1.0));
        observations[1].terms.push((3, -0.5));
        observations[2].terms.push((3, 1.0));
        let with = fit(&more, &observations).unwrap();
        let weighed = weigh(&before, &hypothesis(moves));
        assert!((weighed.sizes[0] - with.estimates[2]).abs() < 1e-6, "{weighed:?}");
        assert!((weighed.sizes[1] - with.estimates[3]).abs() < 1e-6, "{weighed:?}");
        let c = &with.covariance;
        let determinant = c[2][2] * c[3][3] - c[2][3] * c[3][2];
        let expected = -with.chi_square / 2.0 + (determinant.sqrt() / (8.0 * 15.0)).ln();
        assert!((weighed.ln_weight - expected).abs() < 1e-6, "{} {expected}", weighed.ln_weight);
    }

    #[test]
    fn a_size_that_can_only_be_positive_has_no_negative_half() {
        let unknowns = [known(-120.0, 3.0), known(1.0, 0.2)];
        let found = fit(&unknowns, &readings([-120.0, -125.0, -125.0])).unwrap();
        let mut one =
            hypothesis(vec![Move { along: vec![(1, 1.0), (2, 1.0)], mean: 0.0, spread: 6.0 }]);
        let either = weigh(&found, &one);
        one.one_sided = true;
        assert!(either.sizes[0] < -3.0);
        assert!(weigh(&found, &one).ln_weight < either.ln_weight - 20.0, "no path gains 6 dB");
    }
}
