//! Weighted least squares, chi-square and the normal share against numpy and scipy.
//!
//! Method: `oracle_least_squares.py` draws 1 200 systems (one to eight unknowns, with and without
//! priors, every third with a planted outlier), solves them and prints them; here the core solves
//! the same ones.

use guyline_core::rf::chi_square::{chance_of_more, normal_below};
use guyline_core::rf::least_squares::{Fit, Observation, Prior, Residual, Unknown, fit};
use serde_json::Value;

use crate::oracle::{numbers, oracle};
use crate::source::Source::Computed;
use crate::source::close;

fn unknowns(case: &Value) -> Vec<Unknown> {
    let means = case["means"].as_array().unwrap().iter();
    let both = means.zip(case["spreads"].as_array().unwrap()).enumerate();
    both.map(|(n, (mean, standard))| Unknown {
        name: format!("unknown {n}"),
        prior: mean.as_f64().map(|mean| Prior { mean, standard: standard.as_f64().unwrap() }),
    })
    .collect()
}

fn observations(case: &Value) -> Vec<Observation> {
    let (values, standards) = (numbers(&case["values"]), numbers(&case["standards"]));
    let rows = case["factors"].as_array().unwrap().iter().enumerate();
    rows.map(|(n, row)| Observation {
        name: format!("observation {n}"),
        value: values[n],
        standard: standards[n],
        terms: numbers(row).into_iter().enumerate().filter(|(_, f)| f.abs() > 0.0).collect(),
    })
    .collect()
}

/// Both sides solve in double precision at a condition up to 10⁶: 10⁻⁸ of the larger number.
fn near(id: &str, got: f64, expected: f64, scale: f64) {
    close(id, got, expected, 1e-8 * (1.0 + scale.abs()), &Computed("numpy and scipy"));
}

#[test]
fn numpy_and_scipy_find_the_same() {
    let oracle = oracle("oracle_least_squares.py");
    let systems = oracle["systems"].as_array().unwrap();
    assert!(systems.len() >= 1_000, "only {} systems", systems.len());
    let (mut offs, mut outliers) = (0, 0);
    for (n, case) in systems.iter().enumerate() {
        let found = fit(&unknowns(case), &observations(case)).unwrap();
        sums_agree(&format!("system {n}"), case, &found);
        for (k, residual) in found.residuals.iter().enumerate() {
            let Some(standardised) = residual_agrees(&format!("system {n}"), case, k, residual)
            else {
                continue;
            };
            offs += 1;
            outliers += usize::from(standardised.abs() > 5.0);
        }
    }
    assert!(offs > 1_000 && outliers > 100, "{offs} compared, {outliers} outliers among them");
    tails_agree(&oracle);
}

fn sums_agree(id: &str, case: &Value, found: &Fit) {
    let estimates = numbers(&case["estimates"]);
    let largest = estimates.iter().fold(0.0f64, |most, x| most.max(x.abs()));
    for (got, expected) in found.estimates.iter().zip(&estimates) {
        near(&format!("{id}, estimate"), *got, *expected, largest);
    }
    for (row, expected) in found.covariance.iter().zip(case["covariance"].as_array().unwrap()) {
        for (got, expected) in row.iter().zip(numbers(expected)) {
            near(&format!("{id}, covariance"), *got, expected, 100.0);
        }
    }
    let chi_square = case["chi_square"].as_f64().unwrap();
    near(&format!("{id}, chi-square"), found.chi_square, chi_square, 100.0 * chi_square);
    let freedom = case["degrees_of_freedom"].as_u64().unwrap();
    assert_eq!(found.degrees_of_freedom as u64, freedom, "{id}");
    assert_eq!(found.p_value.is_some(), freedom > 0, "{id}");
    if let (Some(got), Some(expected)) = (found.p_value, case["chance"].as_f64()) {
        close(&format!("{id}, chance"), got, expected, 1e-6, &Computed("scipy.stats.chi2"));
    }
}

/// The residual and what it is over its spread; `None` where nothing else speaks of it.
fn residual_agrees(id: &str, case: &Value, k: usize, residual: &Residual) -> Option<f64> {
    let expected = case["residuals"][k].as_f64().unwrap();
    near(&format!("{id}, residual {k}"), residual.residual, expected, 100.0);
    let off = case["off"][k].as_f64()?;
    let (got, spread) = residual.off.unwrap();
    let rounding = 1e-5 * (1.0 + off.abs());
    close(&format!("{id}, off {k}"), got, off, rounding, &Computed("numpy lstsq without it"));
    // The residual and the distance are the same number of standard deviations out.
    let standardised = residual.standardised.unwrap();
    let expected = expected / numbers(&case["residual_standards"])[k];
    let rounding = 1e-4 * (1.0 + standardised.abs());
    close(&format!("{id}, residual {k}"), standardised, expected, rounding, &Computed("numpy"));
    close(&format!("{id}, off {k}"), got / spread, standardised, rounding, &Computed("numpy"));
    Some(standardised)
}

fn tails_agree(oracle: &Value) {
    for case in oracle["tails"].as_array().unwrap() {
        let [freedom, chi_square, expected] = numbers(case)[..] else { panic!("three numbers") };
        let got = chance_of_more(chi_square, freedom as usize).unwrap();
        let id = format!("chi-square {chi_square}, {freedom}");
        close(&id, got / expected, 1.0, 1e-9, &Computed("scipy.stats.chi2.sf"));
    }
    for case in oracle["normals"].as_array().unwrap() {
        let [z, expected] = numbers(case)[..] else { panic!("two numbers") };
        let share = normal_below(z) / expected;
        close(&format!("Φ({z})"), share, 1.0, 1e-9, &Computed("scipy.stats.norm"));
    }
}
