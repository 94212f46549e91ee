//! Robust slopes against scipy, and shapes against numpy, on 1500 random series.

use guyline_core::rf::trend::{Shape, kendall, shape, theil_sen};
use serde_json::Value;

use crate::oracle::{numbers, oracle};
use crate::source::Source::Computed;
use crate::source::close;

/// Compares a number that either side may not have.
fn same(id: &str, got: Option<f64>, expected: &Value, within: f64, with: &'static str) {
    assert_eq!(got.is_some(), expected.is_number(), "{id}: got {got:?}, {with} says {expected}");
    if let (Some(got), Some(expected)) = (got, expected.as_f64()) {
        close(id, got, expected, within * expected.abs().max(1.0), &Computed(with));
    }
}

#[test]
fn scipy_finds_the_same_slopes() {
    let printed = oracle("oracle_trend.py");
    let cases = printed["cases"].as_array().unwrap();
    assert!(cases.len() >= 1000, "only {} cases", cases.len());
    let (mut without, mut exact, mut shapes) = (0, 0, 0);
    for case in cases {
        let (times, values) = (numbers(&case["times"]), numbers(&case["values"]));
        let confidence = case["confidence"].as_f64().unwrap();
        let line = theil_sen(&times, &values, confidence);
        let slope = line.map(|line| line.slope);
        same("slope", slope, &case["slope"], 1e-12, "scipy.stats.theilslopes");
        let at_zero = line.map(|line| line.at(0.0));
        same("at zero", at_zero, &case["intercept"], 1e-9, "scipy.stats.theilslopes");
        let (low, high) = line.and_then(|line| line.interval).unzip();
        same("low", low, &case["low"], 1e-12, "scipy.stats.theilslopes");
        same("high", high, &case["high"], 1e-12, "scipy.stats.theilslopes");
        let found = kendall(&times, &values);
        same("tau", found.map(|k| k.tau), &case["tau"], 1e-12, "scipy.stats.kendalltau");
        let p_value = found.map(|k| k.p_value);
        same("p-value", p_value, &case["p_value"], 1e-12, "scipy.stats.kendalltau");
        without += usize::from(found.is_none());
        exact += usize::from(times.len() <= 33);
        if let Some(scores) = case["scores"].as_object() {
            let (_, found) = shape(&times, &values, case["repeat"].as_f64().unwrap());
            let found = found.unwrap();
            for (name, got) in
                [("steady", found.steady), ("drift", found.drift), ("jump", found.jump)]
            {
                same(name, Some(got), &scores[name], 1e-9, "numpy, least squares");
            }
            shapes += step(&times, &values, case);
        }
    }
    // Series of one value have no relation; most others have one that is counted out.
    assert!(without > 5 && exact > 800 && shapes > 100, "{without}, {exact}, {shapes}");
}

/// Compares the step of a series that has one. Returns how many were compared.
fn step(times: &[f64], values: &[f64], case: &Value) -> usize {
    let scores = &case["scores"];
    let [steady, drift, jump] =
        ["steady", "drift", "jump"].map(|name| scores[name].as_f64().unwrap());
    let found = shape(times, values, case["repeat"].as_f64().unwrap()).0;
    // A jump by the rule as it is written down: 2 below the level, and 2 below the line.
    if jump > steady - 2.0 || jump > drift - 2.0 {
        assert!(!matches!(found, Shape::Jump(_)), "{case}");
        return 0;
    }
    let Shape::Jump(step) = found else { panic!("no jump in {case}") };
    assert_eq!(step.before as u64, scores["split"].as_u64().unwrap(), "{case}");
    same("step", Some(step.size), &scores["step"], 1e-9, "numpy, means");
    1
}
