//! Least squares against sums done by hand, against itself read backwards, and what it refuses.

use proptest::prelude::*;

use super::*;

fn known(name: &str, mean: f64, standard: f64) -> Unknown {
    Unknown { name: name.to_owned(), prior: Some(Prior { mean, standard }) }
}

fn unknown(name: &str) -> Unknown {
    Unknown { name: name.to_owned(), prior: None }
}

fn observed(value: f64, standard: f64, terms: &[(usize, f64)]) -> Observation {
    Observation { name: format!("{value}"), value, standard, terms: terms.to_vec() }
}

#[test]
fn a_weighted_mean_is_the_published_one() {
    // Weighted mean Σ(y/s²)/Σ(1/s²) with u = 1/√Σ(1/s²); plain arithmetic: 10 ± 1 and 13 ± 2 give
    // (10 + 13/4)/(1 + 1/4) = 10.6, u² = 0.8, χ² = 0.36 + 1.44 = 1.8 with one degree of freedom.
    let found =
        fit(&[unknown("x")], &[observed(10.0, 1.0, &[(0, 1.0)]), observed(13.0, 2.0, &[(0, 1.0)])])
            .unwrap();
    assert!((found.estimates[0] - 10.6).abs() < 1e-12);
    assert!((found.covariance[0][0] - 0.8).abs() < 1e-12);
    assert!((found.chi_square - 1.8).abs() < 1e-12);
    assert_eq!(found.degrees_of_freedom, 1);
    // Each lies 3 from the other, ±√5.
    for (residual, sign) in found.residuals.iter().zip([-1.0, 1.0]) {
        let (off, standard) = residual.off.unwrap();
        assert!((off - 3.0 * sign).abs() < 1e-12, "{off}");
        assert!((standard - 5f64.sqrt()).abs() < 1e-12);
        assert!((residual.standardised.unwrap() - 3.0 * sign / 5f64.sqrt()).abs() < 1e-12);
    }
}

#[test]
fn a_shared_cause_moves_both_and_shows_in_their_mean_only() {
    // Two readings of one x, each ±0.1 of its own and ±1 together: the mean has
    // u² = 1 + 0.01/2 (HANDBOOK G5), and their difference of 0.2 is √2·0.1 wide: χ² = 2.
    let unknowns = [unknown("x"), known("generator", 0.0, 1.0)];
    let both = [(0, 1.0), (1, 1.0)];
    let found = fit(&unknowns, &[observed(5.0, 0.1, &both), observed(5.2, 0.1, &both)]).unwrap();
    assert!((found.estimates[0] - 5.1).abs() < 1e-12);
    assert!((found.covariance[0][0] - 1.005).abs() < 1e-12);
    assert!((found.chi_square - 2.0).abs() < 1e-9);
    assert_eq!(found.degrees_of_freedom, 1);
}

#[test]
fn what_nothing_else_speaks_of_has_no_standardised_residual() {
    let found = fit(&[unknown("x")], &[observed(5.0, 0.1, &[(0, 1.0)])]).unwrap();
    assert_eq!(found.residuals[0].standardised, None);
    assert_eq!(found.residuals[0].off, None);
    assert_eq!((found.degrees_of_freedom, found.p_value), (0, None));
}

#[test]
fn what_makes_no_sense_is_refused_by_name() {
    let x = || [known("x", 0.0, 1.0)];
    let refused = |unknowns: &[Unknown], observations: &[Observation]| {
        fit(unknowns, observations).unwrap_err().to_string()
    };
    let good = || observed(1.0, 1.0, &[(0, 1.0)]);
    let table = [
        (refused(&[], &[good()]), "1 observations of 0 unknowns"),
        (refused(&x(), &[]), "0 observations of 1 unknowns"),
        (refused(&x(), &[observed(f64::NAN, 1.0, &[(0, 1.0)])]), "the value of \"NaN\" is NaN"),
        (refused(&x(), &[observed(1.0, 0.0, &[(0, 1.0)])]), "uncertainty of \"1\" is 0"),
        (refused(&x(), &[observed(1.0, -1.0, &[(0, 1.0)])]), "uncertainty of \"1\" is -1"),
        (refused(&x(), &[observed(1.0, 1.0, &[(0, f64::INFINITY)])]), "the factor of \"1\""),
        (refused(&x(), &[observed(1.0, 1.0, &[(3, 1.0)])]), "unknown 3, and there are 1"),
        (refused(&[known("x", 0.0, f64::NAN)], &[good()]), "uncertainty of \"x\" is NaN"),
        (refused(&[known("x", f64::NAN, 1.0)], &[good()]), "the mean of \"x\" is NaN"),
        (refused(&[unknown("x"), unknown("y")], &[good()]), "\"y\" cannot be told"),
        (
            refused(
                &[unknown("x"), unknown("y")],
                &[
                    observed(1.0, 1.0, &[(0, 1.0), (1, 1.0)]),
                    observed(2.0, 1.0, &[(0, 2.0), (1, 2.0)]),
                ],
            ),
            "\"y\" cannot be told",
        ),
    ];
    for (words, part) in table {
        assert!(words.contains(part), "{words:?} lacks {part:?}");
    }
}

/// A system with more observations than unknowns, every unknown with a prior.
fn systems() -> impl Strategy<Value = (Vec<Unknown>, Vec<Observation>)> {
    let unknowns = proptest::collection::vec((-50.0..50.0f64, 0.1..5.0f64), 1..5);
    unknowns.prop_flat_map(|priors| {
        let count = priors.len();
        let terms = proptest::collection::vec(-2.0..2.0f64, count);
        let row = (-100.0..100.0f64, 0.05..2.0f64, terms);
        let unknowns: Vec<Unknown> =
            priors.into_iter().map(|(mean, standard)| known("x", mean, standard)).collect();
        proptest::collection::vec(row, 2..8).prop_map(move |rows| {
            let observations = rows.into_iter().map(|(value, standard, factors)| {
                let terms: Vec<_> = factors.into_iter().enumerate().collect();
                observed(value, standard, &terms)
            });
            (unknowns.clone(), observations.collect())
        })
    })
}

proptest! {
    #[test]
    fn undoing_a_change_is_a_new_fit((unknowns, observations) in systems(), by in -9.0..9.0f64) {
        let before = fit(&unknowns, &observations).unwrap();
        let d: Direction = vec![(0, 1.0), (1, -0.5)];
        let mut moved = observations.clone();
        for &(i, factor) in &d {
            moved[i].value -= by * factor;
        }
        let after = fit(&unknowns, &moved).unwrap().chi_square;
        let foretold =
            before.chi_square - 2.0 * by * before.pull(&d) + by * by * before.stiffness(&d, &d);
        prop_assert!((after - foretold).abs() < 1e-7 * (1.0 + after.abs()), "{after} {foretold}");
    }

    #[test]
    fn off_is_what_a_fit_without_the_observation_says((unknowns, observations) in systems()) {
        let with = fit(&unknowns, &observations).unwrap();
        let without = fit(&unknowns, &observations[1..]).unwrap();
        let first = &observations[0];
        let foretold: f64 = first.terms.iter().map(|(k, f)| f * without.estimates[*k]).sum();
        let (off, _) = with.residuals[0].off.unwrap();
        prop_assert!((first.value - foretold - off).abs() < 1e-6 * (1.0 + off.abs()));
    }

    #[test]
    fn more_observations_never_widen_an_estimate((unknowns, observations) in systems()) {
        let with = fit(&unknowns, &observations).unwrap();
        let without = fit(&unknowns, &observations[1..]).unwrap();
        for k in 0..unknowns.len() {
            prop_assert!(with.covariance[k][k] <= without.covariance[k][k] * (1.0 + 1e-9));
        }
    }
}

#[test]
fn one_observation_of_one_unknown_is_the_unknown() {
    let unknown = [Unknown { name: "x".to_owned(), prior: None }];
    for factor in [1.0, -1.0, 2.0, -0.5] {
        let seen = Observation {
            name: "seen".to_owned(),
            value: 6.0,
            standard: 0.3,
            terms: vec![(0, factor)],
        };
        let found = fit(&unknown, &[seen]).unwrap();
        assert!((found.estimates[0] - 6.0 / factor).abs() < 1e-12, "{factor}: {found:?}");
        let standard = found.covariance[0][0].sqrt();
        assert!((standard - 0.3 / f64::abs(factor)).abs() < 1e-12, "{factor}: {standard}");
        // Nothing else speaks of it.
        assert_eq!((found.degrees_of_freedom, found.p_value), (0, None));
        assert_eq!((found.residuals[0].standardised, found.residuals[0].off), (None, None));
    }
}

#[test]
fn of_two_unknowns_seen_only_together_the_second_is_named() {
    let unknown = |name: &str| Unknown { name: name.to_owned(), prior: None };
    let seen = |value: f64, terms: Vec<(usize, f64)>| Observation {
        name: "seen".to_owned(),
        value,
        standard: 0.1,
        terms,
    };
    for scale in [1e-6, 1.0, 1e6] {
        let both = vec![(0, scale), (1, 2.0 * scale)];
        let refused = fit(
            &[unknown("first"), unknown("second")],
            &[seen(1.0, both.clone()), seen(1.1, both.clone()), seen(0.9, both)],
        );
        let second = FitRefused::Undetermined { name: "second".to_owned() };
        assert_eq!(refused.unwrap_err(), second, "{scale}");
    }
}
