//! Repeats, mismatch, calibration and guard band on the small invented session of `tests.rs`.
//!
//! Goal: what the shop and the plan say about uncertainty reaches the verdict. Method: sheets in
//! JSON, appraised; each expected number is arithmetic on a HANDBOOK row, named beside it.

use serde_json::{Value, json};

use super::tests::{appraised, reading, sheet, verdict, with};
use super::*;
use crate::uncertainty::Outcome;

fn opening(typed: &str) -> Value {
    reading("receiver.opening", "rx", typed, "dBm")
}

#[test]
fn three_repeats_are_judged_by_their_mean_and_scatter() {
    let appraisal =
        with(&[("a", opening("-121.0")), ("b", opening("-120.6")), ("c", opening("-121.4"))]);
    let state = &appraisal.checks[0];
    for read in &state.readings {
        let found = &read.verdict;
        assert!((found.at_plane.unwrap() - -121.0).abs() < 1e-9, "{:?}", found.working);
        // HANDBOOK G1: s = 0.4 dB, 0.4/√3 = 0.230940 with ν = 2; the generator's 0.5/√3 = 0.288675.
        let line = found.budget.iter().find(|line| line.what.contains("repeats")).unwrap();
        assert!((line.standard - 0.230_940).abs() < 1e-6);
        assert_eq!(line.degrees_of_freedom, Some(2.0));
        // ν_eff = (0.230940² + 0.288675²)²/(0.230940⁴/2) = 13.133; scipy's t there: 2.20945.
        assert!((found.degrees_of_freedom.unwrap() - 13.133).abs() < 0.001);
        assert!((found.coverage_factor.unwrap() - 2.209_45).abs() < 0.000_05);
        assert!(found.working.iter().any(|line| line.contains("3 repeats")), "{:?}", found.working);
        assert!(found.working.iter().any(|line| line.contains("13.1 degrees of freedom")));
    }
}

#[test]
fn fewer_repeats_another_person_or_one_taken_back_do_not_count() {
    let mut other = opening("-121.4");
    other["stamp"]["by"] = json!("tobias");
    let mut replaces = opening("-121.4");
    replaces["replaces"] = json!("b");
    for last in [other, replaces] {
        let appraisal = with(&[("a", opening("-121.0")), ("b", opening("-120.6")), ("c", last)]);
        for read in &appraisal.checks[0].readings {
            assert_eq!(read.verdict.degrees_of_freedom, None, "{}", read.id);
            assert!((read.verdict.coverage_factor.unwrap() - 2.0).abs() < 1e-12);
        }
    }
}

#[test]
fn repeats_alike_to_the_last_digit_are_no_surer_than_it() {
    let appraisal = with(&[("a", opening("-121")), ("b", opening("-121")), ("c", opening("-121"))]);
    let found = verdict(&appraisal, "receiver.opening");
    // HANDBOOK G2: half of 1 dB over √3.
    let line = found.budget.iter().find(|line| line.what.contains("last digit")).unwrap();
    assert!((line.standard - 0.288_675).abs() < 1e-6);
    assert_eq!(found.degrees_of_freedom, None);
}

#[test]
fn mismatch_is_an_input_once_both_ends_are_known() {
    let mut sheet = sheet();
    sheet["session"]["readings"]["a"] = reading("duplexer.receive-loss", "coupled", "-91", "dBm");
    sheet["session"]["readings"]["b"] = opening("-120");
    let lines = |sheet: &Value| -> Vec<(String, f64)> {
        let appraisal = appraised(sheet);
        let budget = &verdict(&appraisal, "duplexer.receive-loss").budget;
        let mismatch = budget.iter().filter(|line| line.what.starts_with("mismatch"));
        mismatch.map(|line| (line.what.clone(), line.standard)).collect()
    };
    // |Γ| = 0.2 is a return loss of 13.9794 dB.
    sheet["shop"]["instruments"]["set"]["ports"]["gen"]["return_loss_db"] = json!(13.9794);
    assert!(lines(&sheet).is_empty(), "one end alone says nothing");
    sheet["shop"]["parts"]["coupler"]["return_loss_db"] = json!(13.9794);
    let found = lines(&sheet);
    // HANDBOOK 4.2: 0.2 and 0.2 make 0.2460 dB.
    assert_eq!(found.len(), 1, "{found:?}");
    assert!((found[0].1 - 0.2460).abs() < 5e-5);
    // The antenna port behind 30 dB: 0.2460/1000 with the generator, 0.2460 with the coupler.
    sheet["site"]["repeaters"]["r"]["ratings"]["antenna_port_return_loss_db"] = json!(13.9794);
    let mut found: Vec<f64> = lines(&sheet).into_iter().map(|(_, standard)| standard).collect();
    found.sort_by(f64::total_cmp);
    assert_eq!(found.len(), 3);
    for (got, (expected, within)) in
        found.iter().zip([(0.000_246, 6e-8), (0.2460, 6e-5), (0.2460, 6e-5)])
    {
        assert!((got - expected).abs() < within, "{found:?}");
    }
    sheet["shop"]["parts"]["coupler"]["return_loss_db"] = json!(-1.0);
    let sheet: Sheet = serde_json::from_value(sheet).unwrap();
    let problems = appraise(Plan::standard(), Cautions::standard(), &sheet).unwrap_err();
    assert_eq!(problems[0].at, "shop.parts.coupler.return_loss_db");
}

fn with_calibration(policy: Option<Value>, due: &str, readings: &[(&str, Value)]) -> Appraisal {
    let mut sheet = sheet();
    sheet["shop"]["instruments"]["set"]["calibration_due"] = json!(due);
    if let Some(policy) = policy {
        sheet["shop"]["calibration_policy"] = policy;
    }
    for (id, reading) in readings {
        sheet["session"]["readings"][id] = reading.clone();
    }
    appraised(&sheet)
}

#[test]
fn an_ended_calibration_withholds_the_verdict_unless_the_shop_chose_otherwise() {
    let readings = [("a", opening("-121"))];
    // The readings are of 2026-05-14: that day still holds.
    let holds = with_calibration(None, "2026-05-14", &readings);
    assert_eq!(verdict(&holds, "receiver.opening").outcome, Outcome::Pass);
    let ended = with_calibration(None, "2026-05-13", &readings);
    let found = verdict(&ended, "receiver.opening");
    assert_eq!(found.outcome, Outcome::NotJudged);
    for part in ["withheld", "test set", "2026-05-13", "2026-05-14", "would be a pass"] {
        assert!(found.reason.contains(part), "{:?} lacks {part:?}", found.reason);
    }
    assert!((found.margin.unwrap() - 1.0).abs() < 1e-9, "the numbers are still shown");
    assert!(ended.findings.iter().any(|f| f.what.contains("out of calibration")));
}

#[test]
fn a_shop_that_widens_counts_the_uncertainty_of_what_ended_several_times() {
    let readings = [("a", opening("-121"))];
    let widened = with_calibration(Some(json!("widen")), "2026-05-13", &readings);
    let found = verdict(&widened, "receiver.opening");
    // 2·sqrt((2·0.5/√3)² + (0.3/√3)²) = 1.205543, by HANDBOOK G2 and G5.
    assert!((found.expanded.unwrap() - 1.205_543).abs() < 1e-6, "{:?}", found.budget);
    assert_eq!(found.outcome, Outcome::ConditionalPass);
    assert!(found.reason.contains("counts 2.0 times"), "{}", found.reason);
}

#[test]
fn a_reading_leaned_on_brings_its_ended_calibration_along() {
    let mut sheet = sheet();
    sheet["shop"]["parts"]["lossy"]["calibration_due"] = json!("2026-01-31");
    sheet["session"]["chains"]["rx"]["between"] = json!(["lossy"]);
    sheet["session"]["readings"]["a"] = opening("-120");
    sheet["session"]["readings"]["b"] = reading("duplexer.receive-loss", "ant", "-120", "dBm");
    let appraisal = appraised(&sheet);
    let found = verdict(&appraisal, "duplexer.receive-loss");
    assert_eq!(found.outcome, Outcome::NotJudged);
    assert!(found.reason.contains("cable held to 2026-01-31"), "{}", found.reason);
}

/// A calibration of the test set, as the shop's list holds it.
fn calibration(on: &str, next_due: &str, result: &str, before: Option<&str>) -> Value {
    json!({ "of": "instrument", "item": "set", "on": on, "by": "an invented laboratory",
            "certificate": null, "result": result, "next_due": next_due, "before": before })
}

/// The verdict of a reading of 2026-05-14, with a list of calibrations beside the due date.
fn with_history(due: &str, list: &[Value]) -> Appraisal {
    let mut sheet = sheet();
    sheet["shop"]["instruments"]["set"]["calibration_due"] = json!(due);
    sheet["session"]["readings"]["a"] = opening("-121");
    let list = list.iter().enumerate().map(|(n, made)| (format!("c{n}"), made.clone()));
    sheet["shop"]["calibrations"] = list.collect::<serde_json::Map<_, _>>().into();
    appraised(&sheet)
}

#[test]
fn a_recalibration_does_not_reach_back_into_a_lapse() {
    let lapsed = calibration("2025-03-31", "2026-03-31", "within", None);
    let again = calibration("2026-06-01", "2027-06-01", "within", Some("2026-03-31"));
    let outcome =
        |due: &str, list: &[Value]| verdict(&with_history(due, list), "receiver.opening").outcome;
    // Both are listed: the one in force on the day had ended.
    let found = with_history("2027-06-01", &[lapsed.clone(), again.clone()]);
    let found = verdict(&found, "receiver.opening");
    assert_eq!(found.outcome, Outcome::NotJudged);
    assert!(found.reason.contains("held to 2026-03-31"), "{}", found.reason);
    // Only the later one is listed: it keeps the date that stood before it.
    assert_eq!(outcome("2027-06-01", std::slice::from_ref(&again)), Outcome::NotJudged);
    let held = calibration("2026-06-01", "2027-06-01", "within", Some("2026-05-14"));
    assert_eq!(outcome("2027-06-01", &[held]), Outcome::Pass);
    // One made on the day of the reading, or before it, holds as its own due date says.
    let fresh = calibration("2026-05-14", "2027-05-14", "within", Some("2026-03-31"));
    assert_eq!(outcome("2027-05-14", &[lapsed.clone(), fresh]), Outcome::Pass);
    // An entry that was a mistake counts for nothing.
    let mut mistaken = again;
    mistaken["retired"] = json!("2026-06-02");
    assert_eq!(outcome("2027-06-01", &[mistaken]), Outcome::Pass);
}

#[test]
fn what_the_next_calibration_found_off_casts_doubt_on_what_was_read_before() {
    let told = |result: &str, on: &str| {
        let list = [calibration(on, "2027-06-01", result, Some("2026-12-31"))];
        let found = with_history("2027-06-01", &list);
        assert_eq!(verdict(&found, "receiver.opening").outcome, Outcome::Pass);
        found.findings.iter().any(|finding| finding.what.contains("was found off"))
    };
    assert!(told("adjusted", "2026-06-01"));
    assert!(told("outside", "2026-06-01"));
    assert!(!told("within", "2026-06-01"));
    assert!(
        !told("adjusted", "2026-05-14"),
        "what was adjusted before the reading does not touch it"
    );
}

#[test]
fn the_guard_band_and_the_probability_of_conformity_are_the_shops() {
    let mut sheet = sheet();
    // U = 2·sqrt((0.5/√3)² + (0.3/√3)²) = 0.673300 by HANDBOOK G2 and G5.
    sheet["session"]["readings"]["a"] = opening("-120.6");
    let found = |sheet: &Value| verdict(&appraised(sheet), "receiver.opening").clone();
    let usual = found(&sheet);
    assert_eq!(usual.outcome, Outcome::ConditionalPass);
    assert!((usual.guard.unwrap() - 0.673_300).abs() < 1e-6);
    // Φ(0.6/0.33665) = Φ(1.782265): scipy.stats.norm.cdf gives 0.962647.
    assert!((usual.conformity.unwrap() - 0.962_647).abs() < 2e-6);
    assert!(usual.working.iter().any(|line| line.contains("96.3 %")), "{:?}", usual.working);
    sheet["shop"]["guard_factor"] = json!(0.83);
    let narrow = found(&sheet);
    assert_eq!(narrow.outcome, Outcome::Pass, "0.83·U is 0.559 dB");
    sheet["shop"]["guard_factor"] = json!(1.5);
    let wide = found(&sheet);
    assert_eq!(wide.outcome, Outcome::ConditionalPass);
    assert!(wide.reason.contains("guard band of 1.01"), "{}", wide.reason);
}

fn load_of(power_max_w: f64, short_time: Value) -> ChainState {
    let mut sheet = sheet();
    sheet["shop"]["parts"]["load"]["power_max_w"] = json!(power_max_w);
    sheet["shop"]["parts"]["load"]["short_time"] = short_time;
    let appraisal = appraised(&sheet);
    appraisal.chains.into_iter().find(|state| state.id == "coupled").unwrap()
}

#[test]
fn every_element_says_what_keying_does_to_it() {
    let held = load_of(50.0, Value::Null);
    let at: Vec<&str> = held.keyed.iter().map(|element| element.at.as_str()).collect();
    let wanted = ["duplexer, transmit path", "coupler", "load", "coupler, coupled", "generator"];
    assert_eq!(at, wanted);
    assert!(held.keyed.iter().all(|element| element.may == MayKey::ForLong));
    // 22 W less 1 dB is 17.5 W, and 30 dB less 17.5 mW: common practice, no source.
    for (index, expected) in [(0, 22.0), (2, 17.5), (4, 0.0175)] {
        let arriving_w = held.keyed[index].arriving_w;
        assert!((arriving_w / expected - 1.0).abs() < 0.003, "{}: {arriving_w}", at[index]);
    }
}

#[test]
fn a_load_with_a_rating_for_a_while_is_keyed_for_a_while() {
    let for_a_while = load_of(10.0, json!({ "power_w": 50.0, "seconds": 60.0 }));
    assert!(for_a_while.stops.is_empty(), "{:?}", for_a_while.stops);
    let load = for_a_while.keyed.iter().find(|element| element.at == "load").unwrap();
    assert_eq!(load.may, MayKey::ForAWhile);
    // Arithmetic: τ = −60/ln(1 − 10/50) = 268.885 s. At most 22 W less 1 dB, more the expanded
    // 2·sqrt(0.2² + 0.3²)/√3 = 0.4163 dB: 19.233 W; −τ·ln(1 − 10/19.233) = 197.31 s.
    assert!((load.longest_s.unwrap() - 197.31).abs() < 0.02, "{load:?}");
    // Half as long, 98.66 s: left = 1 − 1.9233·(1 − e^(−98.66/268.885)) = 0.40930, rest
    // −268.885·ln(0.40930) − 98.66 = 141.54 s.
    assert!((load.rest_s.unwrap() - 141.5).abs() < 0.2, "{load:?}");
    assert!(load.why.ends_with("197 s at the most, from cold; 98 s at a time with 142 s of rest"));
    // Arithmetic: 1 W for long and 50 W for 2 s hold 19.233 W for 5.3 s: no reading is that fast.
    let short = load_of(1.0, json!({ "power_w": 50.0, "seconds": 2.0 }));
    assert_eq!(short.stops.len(), 1);
    assert_eq!(short.stops[0].kind, StopKind::OverRating);
    let over = load_of(10.0, Value::Null);
    assert_eq!(over.keyed.iter().filter(|element| element.may == MayKey::Not).count(), 1);
}

#[test]
fn the_guard_goes_by_the_most_that_was_read_not_by_the_mean() {
    let mut sheet = sheet();
    sheet["shop"]["parts"]["load"]["power_max_w"] = json!(20.0);
    for (id, typed) in [("a", "22"), ("b", "22"), ("c", "28")] {
        sheet["session"]["readings"][id] = reading("transmitter.power", "tx", typed, "W");
    }
    let appraisal = appraised(&sheet);
    let coupled = appraisal.chains.iter().find(|state| state.id == "coupled").unwrap();
    // 28 W less 1 dB: 22.2 W on a load of 20 W. Their mean of 23.9 W would leave 19.0 W.
    assert_eq!(coupled.stops.len(), 1, "{:?}", coupled.keyed);
    assert!((coupled.stops[0].arriving_w - 22.24).abs() < 0.01);
}
