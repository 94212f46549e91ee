//! Budgets, coverage factors, conformity and risks against scipy and GTC, on random cases.
//!
//! Method: `oracle_budget.py` draws the cases from one seed and computes them; here the core
//! computes the same inputs.

use guyline_core::uncertainty::Budget;
use guyline_core::uncertainty::decision::{Limits, conformity};
use guyline_core::uncertainty::inputs::repeats;
use guyline_core::uncertainty::risk::{Process, global_risk};
use guyline_core::uncertainty::student::{coverage_factor, normal_below, t_below};
use serde_json::Value;

use crate::oracle::{numbers, oracle};
use crate::source::Source::Computed;
use crate::source::close;

fn rows<'a>(all: &'a Value, name: &str) -> &'a Vec<Value> {
    let rows = all[name].as_array().unwrap();
    assert!(rows.len() >= 1000, "{name}: only {} cases", rows.len());
    rows
}

fn number(row: &Value, name: &str) -> f64 {
    row[name].as_f64().unwrap_or_else(|| panic!("{name} in {row}"))
}

/// Close relative to the expected value, and never closer than `floor`.
fn near(id: &str, got: f64, expected: f64, relative: f64, floor: f64, library: &'static str) {
    close(id, got, expected, floor.max(relative * expected.abs()), &Computed(library));
}

fn budget_of(row: &Value) -> Budget {
    let inputs = row["inputs"].as_array().unwrap();
    let budget = inputs.iter().enumerate().fold(Budget::default(), |budget, (index, input)| {
        let dof = input["dof"].as_f64().unwrap_or(f64::INFINITY);
        let (standard, sensitivity) = (number(input, "standard"), number(input, "sensitivity"));
        budget.with_dof(&index.to_string(), "input", standard, dof, sensitivity)
    });
    let pairs: Vec<(String, String, f64)> = row["pairs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|pair| (pair[0].to_string(), pair[1].to_string(), pair[2].as_f64().unwrap()))
        .collect();
    let pairs: Vec<(&str, &str, f64)> =
        pairs.iter().map(|(one, two, r)| (one.as_str(), two.as_str(), *r)).collect();
    budget.correlated(&pairs).unwrap()
}

#[test]
fn scipy_and_gtc_agree_with_the_core() {
    let all = oracle("oracle_budget.py");
    for row in rows(&all, "coverage_factors") {
        let got = coverage_factor(number(row, "dof"), number(row, "coverage"));
        near(&row.to_string(), got, number(row, "k"), 1e-9, 0.0, "scipy.stats.t");
    }
    for row in rows(&all, "probabilities") {
        let (t, dof) = (number(row, "t"), number(row, "dof"));
        let id = row.to_string();
        near(&id, t_below(t, dof), number(row, "below"), 1e-9, 1e-14, "scipy.stats.t");
        near(&id, normal_below(t), number(row, "normal"), 1e-11, 0.0, "scipy.stats.norm");
    }
    for row in rows(&all, "conformities") {
        let limits = Limits { low: row["low"].as_f64(), high: row["high"].as_f64() };
        let dof = row["dof"].as_f64().unwrap_or(f64::INFINITY);
        let got = conformity(number(row, "value"), number(row, "standard"), dof, limits).unwrap();
        near(&row.to_string(), got, number(row, "conformity"), 0.0, 1e-10, "scipy.stats");
    }
    for row in rows(&all, "budgets") {
        let (id, budget) = (row.to_string(), budget_of(row));
        near(&id, budget.combined(), number(row, "combined"), 1e-9, 1e-12, "GTC");
        match row["dof"].as_f64() {
            Some(dof) => near(&id, budget.dof(), dof, 1e-9, 0.0, "GTC"),
            None => assert!(budget.dof().is_infinite(), "{id}: {}", budget.dof()),
        }
        // From a million degrees of freedom on k is taken for 2: the difference is under 3e-6.
        let floor = if budget.dof() >= 1e6 { 3e-6 } else { 0.0 };
        near(&id, budget.coverage_factor(), number(row, "k"), 1e-8, floor, "scipy.stats.t of GTC");
    }
    for row in rows(&all, "repeats") {
        let got = repeats(&numbers(&row["values"])).unwrap();
        let id = row.to_string();
        near(&id, got.mean, number(row, "mean"), 1e-12, 0.0, "GTC");
        near(&id, got.standard, number(row, "standard"), 1e-9, 0.0, "GTC");
        near(&id, got.dof, number(row, "dof"), 1e-12, 0.0, "GTC");
    }
    for row in rows(&all, "risks") {
        let got = global_risk(&Process {
            mean: number(row, "mean"),
            deviation: number(row, "deviation"),
            standard: number(row, "standard"),
            low: number(row, "low"),
            high: number(row, "high"),
            guard_factor: number(row, "guard_factor"),
        })
        .unwrap();
        let (id, library) = (row.to_string(), "scipy, bivariate normal");
        near(&id, got.false_acceptance, number(row, "false_acceptance"), 1e-9, 1e-10, library);
        near(&id, got.false_rejection, number(row, "false_rejection"), 1e-9, 1e-10, library);
    }
}
