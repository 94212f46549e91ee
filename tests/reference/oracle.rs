//! The core against independent libraries from PyPI: pint, scikit-rf and uncertainties.
//!
//! Method: `oracle.py` computes a list of cases with those libraries and prints them as JSON,
//! inputs and results together; here the core computes the same inputs.

use std::path::Path;
use std::process::Command;

use guyline_core::rf::chain::{Element, Row};
use guyline_core::uncertainty::Budget;
use guyline_core::units::{Db, Dbm, Watts};
use serde_json::Value;

use crate::source::Source::Computed;
use crate::source::close;

/// What a script of this folder prints.
pub(crate) fn oracle(script: &str) -> Value {
    oracle_of(script, &[])
}

/// What a script of this folder prints about what it is given.
pub(crate) fn oracle_of(script: &str, given: &[&Path]) -> Value {
    let root = guyline_tests::repository();
    let python = root.join("target/oracle-venv/bin/python");
    let script = root.join("tests/reference").join(script);
    let output = Command::new(&python).arg(&script).args(given).output().unwrap_or_else(|error| {
        panic!("{}: {error}; `./tests/run` installs the oracle", python.display())
    });
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "the oracle failed: {errors}");
    serde_json::from_slice(&output.stdout).expect("the oracle prints JSON")
}

pub(crate) fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|number| number.as_f64().unwrap()).collect()
}

fn row(losses: &[f64], standards: &[f64]) -> Row {
    let elements = losses.iter().zip(standards).map(|(loss, standard)| Element {
        cause: loss.to_string(),
        name: loss.to_string(),
        loss: Db::new(*loss).unwrap(),
        standard_db: *standard,
        power_max: None,
        leads_to: "on".to_owned(),
    });
    Row {
        start: "generator".to_owned(),
        start_standard_db: 0.0,
        elements: elements.collect(),
        end_power_max: None,
    }
}

#[test]
fn three_libraries_agree_with_the_core() {
    let cases = oracle("oracle.py");
    for case in cases["watts"].as_array().unwrap() {
        let (watts, dbm) = (case["watts"].as_f64().unwrap(), case["dbm"].as_f64().unwrap());
        let got = Watts::new(watts).unwrap().level().dbm();
        close(&format!("{watts} W"), got, dbm, 1e-9, &Computed("pint"));
    }
    for case in cases["cascades"].as_array().unwrap() {
        let losses = numbers(&case["losses_db"]);
        let row = row(&losses, &vec![0.0; losses.len()]);
        let expected = case["loss_db"].as_f64().unwrap();
        let got = row.loss().db();
        close(&format!("{losses:?}"), got, expected, 1e-9, &Computed("scikit-rf cascade"));
        let through = row.forward(Dbm::new(0.0).unwrap()).pop().unwrap();
        close(&format!("{losses:?}"), -through.level_dbm, expected, 1e-9, &Computed("scikit-rf"));
    }
    for case in cases["chains"].as_array().unwrap() {
        let (losses, standards) = (numbers(&case["losses_db"]), numbers(&case["standards_db"]));
        let node = row(&losses, &standards).forward(Dbm::new(0.0).unwrap()).pop().unwrap();
        let expected = 2.0 * case["standard_db"].as_f64().unwrap();
        close(&format!("{losses:?}"), node.expanded_db, expected, 1e-9, &Computed("uncertainties"));
    }
    for case in cases["differences"].as_array().unwrap() {
        let budget = |name: &str| {
            let inputs = case[name].as_object().unwrap();
            inputs.iter().fold(Budget::default(), |budget, (id, standard)| {
                budget.with(id, id, standard.as_f64().unwrap(), 1.0)
            })
        };
        let got = budget("first").minus(&budget("second")).combined();
        let expected = case["standard"].as_f64().unwrap();
        close("difference", got, expected, 1e-12, &Computed("uncertainties, shared inputs"));
    }
}
