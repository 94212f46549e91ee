//! Budgets, decisions and risks: HANDBOOK 4.1 to 4.3, G1-G9 and D1-D6.

use guyline_core::uncertainty::Budget;
use guyline_core::uncertainty::decision::{DecisionRule, Limits, Outcome, conformity, decide};
use guyline_core::uncertainty::inputs::{
    mismatch_db, power_percent_db, rectangular, repeats, triangular, u_shaped, voltage_percent_db,
};
use guyline_core::uncertainty::risk::{
    GuardBand, Process, global_risk, guard_factor, specific_risk,
};
use guyline_core::uncertainty::student::{TWO_SIGMA, coverage_factor, normal_below};

use crate::source::Source::{Computed, Published};
use crate::source::close;

#[test]
fn the_end_gauge_of_the_gum() {
    // GUM H.1: u = 32 nm; HANDBOOK G7 gives the contributions, 31.664 and ν = 16.75 as calculated
    // with GTC. The degrees of freedom are those of GUM H.1: from memory, unverified.
    let inputs = [(25.0, 18.0), (16.599, 2.0), (6.7, 8.0), (5.8, 24.0), (3.9, 5.0), (2.887, 50.0)];
    let budget = inputs.iter().enumerate().fold(Budget::default(), |budget, (n, (u, dof))| {
        budget.with_dof(&n.to_string(), "contribution", *u, *dof, 1.0)
    });
    close("G7 u", budget.combined(), 31.664, 0.01, &Computed("HANDBOOK G7"));
    close("G7 u", budget.combined(), 32.0, 0.5, &Published("GUM H.1"));
    close("G7 ν", budget.dof(), 16.75, 0.005, &Computed("HANDBOOK G7, GTC"));
    let expanded = coverage_factor(budget.dof(), 0.99) * budget.combined();
    close("G7 U99", expanded, 91.9, 0.05, &Computed("HANDBOOK G7, GTC"));
    // The GUM rounds ν down to 16: 93 nm, from memory, unverified.
    let rounded_down = coverage_factor(budget.dof().floor(), 0.99) * 32.0;
    close("G7 U99", rounded_down, 93.0, 0.6, &Published("GUM H.1, from memory, unverified"));
}

#[test]
fn shapes_and_repeats() {
    let gtc = Published("GTC, type_b");
    close("G2", rectangular(1.0), 0.577_350_269_2, 1e-10, &gtc);
    close("G3", triangular(1.0), 0.408_248_290_5, 1e-10, &gtc);
    close("G4", u_shaped(10.0), 7.071_067_812, 1e-9, &gtc);
    // s/√n of 1, 2, 3: 1/√3, ν = 2.
    let found = repeats(&[1.0, 2.0, 3.0]).unwrap();
    close("G1", found.standard, 0.577_350_269_2, 1e-10, &Computed("plain arithmetic"));
    close("G1", found.dof, 2.0, 1e-12, &Computed("plain arithmetic"));
    // HANDBOOK 4.2: 0.1 V with 10 %(p)/V and 3 %(p)/V, as RSS; duty 2 %.
    let supply = power_percent_db(0.1 / 3f64.sqrt() * 10f64.hypot(3.0));
    close("G9 supply", supply, 0.026, 0.0005, &Published("a radio-test uncertainty guide"));
    let duty = power_percent_db(2.0);
    close("G9 duty", duty, 0.087, 0.0005, &Published("a radio-test uncertainty guide"));
    close("G9", voltage_percent_db(11.5), 1.0, 1e-12, &Published("TR 100 028, Table F.1"));
    // G5: two of 0.3 and 0.4 make 0.5, U = 2u.
    let budget = Budget::default().with("a", "a", 0.3, 1.0).with("b", "b", 0.2, -2.0);
    close("G5", budget.expanded(), 1.0, 1e-12, &Computed("plain arithmetic"));
}

#[test]
fn factors_of_student() {
    // ν, k for 95 %, k for 95.45 %; HANDBOOK G6.
    for (dof, at_95, at_95_45) in [
        (4.0, 2.7764, 2.8693),
        (10.0, 2.2281, 2.2837),
        (20.0, 2.0860, 2.1330),
        (50.0, 2.0086, 2.0513),
    ] {
        let id = format!("G6 ν = {dof}");
        let source = Computed("HANDBOOK G6, GTC and scipy");
        close(&id, coverage_factor(dof, 0.95), at_95, 6e-5, &source);
        close(&id, coverage_factor(dof, TWO_SIGMA), at_95_45, 6e-5, &source);
    }
    // GUM table G.2, 95.45 %: rows 1 to 6, from memory, unverified, equal to what scipy gives.
    for (dof, k) in [(1.0, 13.97), (2.0, 4.53), (3.0, 3.31), (4.0, 2.87), (5.0, 2.65), (6.0, 2.52)]
    {
        let source = Published("GUM table G.2, from memory, unverified");
        close(&format!("G.2 ν = {dof}"), coverage_factor(dof, TWO_SIGMA), k, 0.0051, &source);
    }
}

/// The budget of one result of GUM H.2 from its sensitivities to V, I and φ.
fn of_v_i_phi(sensitivities: [f64; 3]) -> Budget {
    let [c_v, c_i, c_phi] = sensitivities;
    Budget::default()
        .with("v", "V", 0.0032, c_v)
        .with("i", "I", 9.5e-6, c_i)
        .with("phi", "φ", 7.5e-4, c_phi)
        .correlated(&[("v", "i", -0.36), ("v", "phi", 0.86), ("i", "phi", -0.65)])
        .unwrap()
}

#[test]
fn resistance_reactance_and_impedance_of_the_gum() {
    // GUM H.2, HANDBOOK G8: R = V/I·cos φ, X = V/I·sin φ, Z = V/I.
    let (v, i, phi) = (4.999, 19.661e-3, 1.04446_f64);
    let z = v / i;
    let (r, x) = (z * phi.cos(), z * phi.sin());
    let [of_r, of_x, of_z] =
        [[r / v, -r / i, -x], [x / v, -x / i, r], [z / v, -z / i, 0.0]].map(of_v_i_phi);
    let gum = Published("GUM H.2");
    close("G8 R", r, 127.732, 0.0005, &gum);
    close("G8 X", x, 219.85, 0.005, &gum);
    close("G8 Z", z, 254.26, 0.005, &gum);
    close("G8 u(R)", of_r.combined(), 0.070, 0.002, &gum);
    close("G8 u(X)", of_x.combined(), 0.30, 0.005, &gum);
    close("G8 u(Z)", of_z.combined(), 0.24, 0.005, &gum);
    let together = |a: &Budget, b: &Budget| a.covariance(b) / (a.combined() * b.combined());
    // The inputs are rounded, so the last digit of the correlations is theirs.
    let computed = Computed("HANDBOOK G8, uncertainties");
    close("G8 r(R,X)", together(&of_r, &of_x), -0.5915, 0.0006, &computed);
    close("G8 r(R,Z)", together(&of_r, &of_z), -0.4906, 0.0006, &computed);
    close("G8 r(X,Z)", together(&of_x, &of_z), 0.9928, 0.0006, &computed);
}

#[test]
fn mismatch_of_two_ends_and_of_a_published_chain() {
    // HANDBOOK 4.2, first table: |Γ|, |Γ|, u in dB.
    for (first, second, u_db) in [
        (0.1, 0.1, 0.0615),
        (0.2, 0.2, 0.2460),
        (0.333, 0.2, 0.4095),
        (1.0 / 3.0, 1.0 / 3.0, 0.6832),
    ] {
        let got = mismatch_db(first, second, 1.0).unwrap();
        close(&format!("4.2 {first}, {second}"), got, u_db, 6e-5, &Computed("HANDBOOK 4.2"));
    }
    // HANDBOOK 4.2, published chain: |Γ| of the two ends, |S| between them, u in dB.
    let chain = [
        (0.7, 0.099, 1.0, 0.426),
        (0.099, 0.333, 1.0, 0.203),
        (0.333, 0.091, 1.0, 0.186),
        (0.7, 0.333, 0.912, 1.192),
        (0.099, 0.333, 0.794, 0.128),
        (0.7, 0.091, 0.724, 0.205),
    ];
    let mut budget = Budget::default();
    for (index, (first, second, s, u_db)) in chain.into_iter().enumerate() {
        let got = mismatch_db(first, second, s * s).unwrap();
        let id = format!("4.2 chain, term {}", index + 1);
        close(&id, got, u_db, 0.0006, &Published("a radio-test uncertainty guide"));
        budget = budget.with(&id, &id, got, 1.0);
    }
    let source = Published("a radio-test uncertainty guide");
    close("4.2 chain, together", budget.combined(), 1.318, 0.0006, &source);
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

#[test]
fn the_rules_of_ilac_g8_table_1() {
    // Guard factor g of w = g·U, specific risk of false acceptance just inside A; HANDBOOK 4.3: the
    // names from memory, the numbers calculated there; 3U is under a part in a million.
    for (g, risk, rounding) in [
        (0.0, 0.5, 1e-12),
        (1.0, 0.0228, 5e-5),
        (0.83, 0.0485, 5e-5),
        (1.5, 0.001_35, 5e-6),
        (3.0, 9.9e-10, 1e-11),
    ] {
        let u = 0.3;
        let (limits, sure) = (Limits::at_most(10.0), f64::INFINITY);
        let at = 10.0 - g * 2.0 * u;
        // What is not conform, without the rounding of 1 − p.
        let got = specific_risk(at, u, -1e6, 10.0).unwrap().above;
        let source = Computed("HANDBOOK 4.3, ILAC-G8 table 1");
        close(&format!("w = {g}·U"), got, risk, rounding, &source);
        let chance = conformity(at, u, sure, limits).unwrap();
        close(&format!("w = {g}·U"), 1.0 - chance, risk, rounding.max(1e-9), &source);
        let just_in = decide(at - 1e-6, g * 2.0 * u, limits, DecisionRule::GuardBanded).unwrap();
        assert_eq!(just_in.outcome, Outcome::Pass, "w = {g}·U");
    }
    // HANDBOOK 4.3: 1 % on one side wants 2.326 u, and 3.747 u with ν = 4; 5 % wants 1.645 u.
    let source = Published("HANDBOOK 4.3");
    close("1 %", 1.0 - normal_below(2.326), 0.01, 2e-5, &source);
    close("5 %", 1.0 - normal_below(1.645), 0.05, 2e-5, &source);
    close("1 %, ν = 4", coverage_factor(4.0, 0.98), 3.747, 0.0005, &source);
}

#[test]
fn global_and_specific_risks() {
    // Half-width in process σ, reading σ, guard factor, PFA, PFR; HANDBOOK D1-D3.
    for (id, limit, standard, factor, acceptance, rejection) in [
        ("D1", 2.0, 0.25, 1.0, 0.008_006, Some(0.014_851)),
        ("D2", 2.5, 0.25, 1.0, 0.002_445, None),
        ("D3", 2.0, 0.5, 0.91, 0.008_052, Some(0.066_106)),
    ] {
        let found = global_risk(&Process {
            mean: 0.0,
            deviation: 1.0,
            standard,
            low: -limit,
            high: limit,
            guard_factor: factor,
        })
        .unwrap();
        close(id, found.false_acceptance, acceptance, 6e-7, &Computed("HANDBOOK D1-D3"));
        if let Some(rejection) = rejection {
            close(id, found.false_rejection, rejection, 6e-7, &Computed("HANDBOOK D1-D3"));
        }
    }
    // Value, Cpk, below, above in percent; HANDBOOK D4, D5.
    for (id, value, cpk, below, above) in
        [("D4", 10.0, 0.8333, 0.621, 0.621), ("D5", 10.5, 0.41667, 0.009, 10.565)]
    {
        let found = specific_risk(value, 0.4, 9.0, 11.0).unwrap();
        let source = Published("a risk test suite, HANDBOOK D4, D5");
        close(id, found.cpk, cpk, 5e-5, &source);
        close(id, 100.0 * found.below, below, 5e-4, &source);
        close(id, 100.0 * found.above, above, 5e-4, &source);
    }
}

#[test]
fn guard_factors() {
    for (band, expected) in [
        (GuardBand::RootSumSquare, 0.9165),
        (GuardBand::Uncertainty, 0.600),
        (GuardBand::RecommendedPractice10, 0.850),
    ] {
        close("D6", guard_factor(band, 2.5).unwrap(), expected, 5e-5, &Computed("HANDBOOK D6"));
    }
    // exp(0.38·ln 2.5 − 0.54) = 0.825464; 1 − (1.04 − 0.825464)/2.5 = 0.914186.
    let managed = guard_factor(GuardBand::ManagedRisk, 2.5).unwrap();
    close("D6", managed, 0.914_186, 5e-7, &Computed("plain arithmetic on HANDBOOK D6"));
}
