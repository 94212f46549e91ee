//! Budgets and decisions: HANDBOOK 4.1 to 4.3.

use guyline_core::uncertainty::Budget;
use guyline_core::uncertainty::budget::rectangular;
use guyline_core::uncertainty::decision::{DecisionRule, Limits, Outcome, decide};

use crate::source::Source::{Computed, Published};
use crate::source::close;

#[test]
fn the_end_gauge_of_the_gum() {
    // GUM H.1: u = 32 nm; HANDBOOK G7 gives the contributions and 31.664 as calculated with GTC.
    let contributions = [25.0, 16.599, 6.7, 5.8, 3.9, 2.887];
    let budget = contributions.iter().enumerate().fold(Budget::default(), |budget, (n, u)| {
        budget.with(&n.to_string(), "contribution", *u, 1.0)
    });
    close("H.1", budget.combined(), 31.664, 0.01, &Computed("HANDBOOK G7"));
    close("H.1", budget.combined(), 32.0, 0.5, &Published("GUM H.1"));
}

#[test]
fn a_rectangle() {
    close("G2", rectangular(1.0), 0.577_350_269_2, 1e-10, &Published("GTC, type_b.uniform"));
}

#[test]
fn the_zones_of_ilac_g8_on_both_sides() {
    // ILAC-G8:09/2019, 4.2.1-4.2.3 as read in HANDBOOK 4.3; T = 100, w = U = 2.
    let zones = [
        (97.9, Outcome::Pass),
        (98.1, Outcome::ConditionalPass),
        (99.9, Outcome::ConditionalPass),
        (100.1, Outcome::ConditionalFail),
        (101.9, Outcome::ConditionalFail),
        (102.1, Outcome::Fail),
    ];
    for (value, expected) in zones {
        let rule = DecisionRule::GuardBanded;
        let upper = decide(value, 2.0, Limits::at_most(100.0), rule).unwrap();
        assert_eq!(upper.outcome, expected, "upper limit, {value}");
        let mirrored = 200.0 - value;
        let lower = decide(mirrored, 2.0, Limits::at_least(100.0), rule).unwrap();
        assert_eq!(lower.outcome, expected, "lower limit, {mirrored}");
    }
}
