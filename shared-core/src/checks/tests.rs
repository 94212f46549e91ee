//! The checks against the trade's own worked facts, on one small invented session.
//!
//! Goal: each check value of the trade comes out of the whole path from what was typed to the
//! verdict. Method: a sheet is built in JSON, as a file would hold it, and appraised.

use serde_json::{Value, json};

use super::*;
use crate::language::Language;
use crate::record::{Phase, Reading};
use crate::uncertainty::Outcome;

const AT: &str = "2026-05-14T17:00:00Z";

pub(super) fn stamp() -> Value {
    json!({ "by": "ines", "device": "tablet", "at": AT })
}

pub(super) fn chain(plane: &str, port: &str, between: Value, line: Value) -> Value {
    json!({ "name": port, "plane": plane, "instrument": "set", "port": port,
            "between": between, "line": line, "stamp": stamp() })
}

pub(super) fn reading(check: &str, chain: &str, typed: &str, unit: &str) -> Value {
    let criterion = "opens";
    json!({ "check": check, "chain": chain, "plane": "antenna-port", "criterion": criterion,
            "instrument": "set", "typed": typed, "unit": unit, "phase": "as-found",
            "stamp": stamp() })
}

fn cable(loss_db: f64) -> Value {
    json!({ "name": "cable", "kind": "cable",
            "loss": [{ "at_hz": 155_000_000, "loss_db": loss_db }],
            "tolerance_db": 0.1, "power_max_w": 100.0 })
}

/// Rated −120 dBm and 22 W, 1 dB each way, at 155 MHz in a 12.5 kHz channel.
pub(super) fn sheet() -> Value {
    json!({
        "shop": {
            "name": "shop", "decision_rule": "guard-banded",
            "people": { "ines": { "name": "Ines" } },
            "instruments": { "set": {
                "name": "test set", "calibration_due": "2027-01-01",
                "ports": {
                    "gen": { "name": "generator", "kind": "generator", "power_max_w": 0.1 },
                    "meter": { "name": "meter", "kind": "meter", "power_max_w": 100.0 },
                    "small": { "name": "small meter", "kind": "meter", "power_max_w": 10.0 },
                    "unknown": { "name": "unmarked port", "kind": "duplex", "power_max_w": null },
                    "duplex": { "name": "duplex port", "kind": "duplex", "power_max_w": 50.0 } },
                "accuracy": { "level_db": 0.5, "power_percent": 4.0, "frequency_ppm": 0.1,
                              "deviation_percent": 3.0 } } },
            "parts": {
                "none": cable(0.0), "lossy": cable(1.0),
                "coupler": { "name": "coupler", "kind": "coupler",
                    "loss": [{ "at_hz": 155_000_000, "loss_db": 0.0 }],
                    "coupling": [{ "at_hz": 155_000_000, "loss_db": 30.0 }],
                    "tolerance_db": 0.3, "power_max_w": 100.0 },
                "load": { "name": "load", "kind": "load", "tolerance_db": 0.0,
                          "power_max_w": 50.0 },
                "weak": { "name": "weak load", "kind": "load", "tolerance_db": 0.0,
                          "power_max_w": 5.0 } } },
        "site": {
            "name": "site", "access": "road", "hazards": ["batteries"],
            "repeaters": { "r": {
                "name": "base repeater", "receive_hz": 150_000_000, "transmit_hz": 155_000_000,
                "channel_width_hz": 12_500, "station": "base", "region": "us",
                "ratings": { "opening_level_dbm": -120.0, "power_w": 22.0,
                    "duplexer_transmit_loss_db": 1.0, "duplexer_receive_loss_db": 1.0,
                    "duplexer_tolerance_db": 0.2, "duplexer_power_max_w": 150.0 } } } },
        "session": {
            "site": "01ARZ3NDEKTSV4RRFFQ69G5FAV", "repeater": "r", "work_order": "w",
            "opened": stamp(),
            "chains": {
                "rx": chain("receiver-port", "gen", json!([]), json!([])),
                "tx": chain("transmitter-port", "meter", json!([]), json!([])),
                "ant": chain("antenna-port", "duplex", json!([]), json!([])),
                "coupled": chain("antenna-port", "gen", json!(["coupler"]), json!(["load"])) },
            "readings": {} }
    })
}

pub(super) fn appraised(sheet: &Value) -> Appraisal {
    let sheet: Sheet = serde_json::from_value(sheet.clone()).unwrap();
    let (plan, cautions) = (Plan::standard(), Cautions::standard());
    appraise(plan, cautions, &sheet).unwrap()
}

pub(super) fn with(readings: &[(&str, Value)]) -> Appraisal {
    let mut sheet = sheet();
    for (id, reading) in readings {
        sheet["session"]["readings"][id] = reading.clone();
    }
    appraised(&sheet)
}

pub(super) fn verdict<'a>(appraisal: &'a Appraisal, check: &str) -> &'a Verdict {
    let state = appraisal.checks.iter().find(|state| state.check.id == check).unwrap();
    &state.readings.last().unwrap().verdict
}

fn value(appraisal: &Appraisal, check: &str) -> f64 {
    verdict(appraisal, check).value.unwrap()
}

#[test]
fn through_a_coupler_of_30_db() {
    // Common practice, no source: -91 dBm at the generator is -121 dBm at the port, 1 dB better
    // than -120 dBm; about -90 dBm is to be expected.
    let mut sheet = sheet();
    sheet["site"]["repeaters"]["r"]["ratings"]["duplexer_receive_loss_db"] = json!(0.0);
    sheet["session"]["readings"]["a"] = reading("receiver.opening", "rx", "-120", "dBm");
    sheet["session"]["readings"]["b"] = reading("duplexer.receive-loss", "ant", "-120", "dBm");
    sheet["session"]["readings"]["c"] = reading("desense.coupled-unkeyed", "coupled", "-91", "dBm");
    let appraisal = appraised(&sheet);
    let found = verdict(&appraisal, "desense.coupled-unkeyed");
    assert!((found.at_plane.unwrap() - -121.0).abs() < 1e-9);
    assert!((found.value.unwrap() - -1.0).abs() < 1e-9, "1 dB better than the direct reading");
    let state = appraisal.checks.iter().find(|s| s.check.id == "desense.coupled-unkeyed").unwrap();
    assert!((state.expected[state.chain.as_ref().unwrap()].value - -90.0).abs() < 1e-9);
}

#[test]
fn one_decibel_better_than_it_must_be() {
    // Common practice, no source.
    let appraisal = with(&[("a", reading("receiver.opening", "rx", "-121", "dBm"))]);
    let found = verdict(&appraisal, "receiver.opening");
    assert!((found.margin.unwrap() - 1.0).abs() < 1e-9);
    assert_eq!(found.outcome, Outcome::Pass, "{}", found.reason);
    // HANDBOOK U1, calculated there: -120.969 dBm is 0.2 µV.
    let appraisal = with(&[("a", reading("receiver.opening", "rx", "0.2", "uV"))]);
    assert!((value(&appraisal, "receiver.opening") - -120.969).abs() < 0.001);
}

#[test]
fn transmit_loss_from_two_powers() {
    // Common practice, no source: 22 W leaves 17.5 W behind 1.0 dB; 17.1 W read is 1.09 dB.
    for (watts, loss_db, within) in [("17.5", 1.0, 0.01), ("17.1", 1.09, 0.005)] {
        let appraisal = with(&[
            ("a", reading("transmitter.power", "tx", "22", "W")),
            ("b", reading("duplexer.transmit-loss", "ant", watts, "W")),
        ]);
        let loss = value(&appraisal, "duplexer.transmit-loss");
        assert!((loss - loss_db).abs() < within, "{watts} W: {loss} dB");
    }
}

#[test]
fn a_frequency_error_is_judged_by_the_regulation() {
    // HANDBOOK 2.1: 47 CFR 90.213 footnote 5, 2.5 ppm at 155 MHz is 387.5 Hz.
    let appraisal = with(&[("a", reading("transmitter.frequency-error", "tx", "150", "Hz"))]);
    let found = verdict(&appraisal, "transmitter.frequency-error");
    let limits = found.limits.unwrap();
    assert!((limits.high.unwrap() - 387.5).abs() < 1e-6);
    assert!((limits.low.unwrap() - -387.5).abs() < 1e-6);
    assert_eq!(found.outcome, Outcome::Pass);
    assert!(found.limit_verified && found.limit_source.contains("90.213"));
}

#[test]
fn a_limit_from_memory_says_so() {
    let mut sheet = sheet();
    sheet["site"]["repeaters"]["r"]["transmit_hz"] = json!(160_000_000);
    sheet["site"]["repeaters"]["r"]["station"] = json!("mobile");
    sheet["session"]["readings"]["a"] = reading("transmitter.frequency-error", "tx", "1", "Hz");
    let appraisal = appraised(&sheet);
    let found = verdict(&appraisal, "transmitter.frequency-error");
    assert!(!found.limit_verified && found.reason.contains("limit not verified"));
}

#[test]
fn desense_cancels_what_both_readings_share() {
    let appraisal = with(&[
        ("a", reading("duplexer.receive-loss", "ant", "-119", "dBm")),
        ("b", reading("desense.direct", "ant", "-116", "dBm")),
    ]);
    let found = verdict(&appraisal, "desense.direct");
    assert!((found.value.unwrap() - 3.0).abs() < 1e-9);
    assert_eq!(found.outcome, Outcome::Fail);
    // One generator, one chain: only the two repeatabilities of ±0.3 dB are left,
    // 2·sqrt(2)·0.3/sqrt(3) by HANDBOOK G2 and G5.
    assert!((found.expanded.unwrap() - 0.489_898).abs() < 1e-6, "{:?}", found.budget);
    // HANDBOOK Z2: 3 dB is I/N -0.021, 1 dB is -5.868.
    let finding = appraisal.findings.iter().find(|f| f.checks == ["desense.direct"]).unwrap();
    assert!(
        finding.what.contains("0.0 dB under") && finding.what.contains("5.8 dB more"),
        "{}",
        finding.what
    );
}

#[test]
fn a_reading_waits_for_the_one_it_leans_on() {
    let appraisal = with(&[("b", reading("desense.direct", "ant", "-116", "dBm"))]);
    let found = verdict(&appraisal, "desense.direct");
    assert_eq!(found.outcome, Outcome::NotJudged);
    assert!(found.reason.contains("waits for"), "{}", found.reason);
}

#[test]
fn the_same_phase_is_compared_before_another() {
    let mut left = reading("duplexer.receive-loss", "ant", "-118", "dBm");
    left["phase"] = json!("as-left");
    let appraisal = with(&[
        ("a", reading("duplexer.receive-loss", "ant", "-119", "dBm")),
        ("b", left),
        ("c", reading("desense.direct", "ant", "-116", "dBm")),
    ]);
    assert!((value(&appraisal, "desense.direct") - 3.0).abs() < 1e-9);
}

#[test]
fn a_coupler_that_was_not_there_is_named() {
    let appraisal = with(&[
        ("a", reading("receiver.opening", "rx", "-120", "dBm")),
        ("b", reading("duplexer.receive-loss", "ant", "-119", "dBm")),
        ("c", reading("desense.coupled-unkeyed", "coupled", "-119", "dBm")),
    ]);
    let doubt = appraisal.findings.iter().find(|f| f.what.contains("do not fit")).unwrap();
    // The chain holds the coupler, and the number is one that a direct connection gives.
    assert!(doubt.what.contains("Coupler was counted and did not stand in"), "{}", doubt.what);
    assert!(doubt.checks.contains(&"desense.coupled-unkeyed".to_owned()), "{:?}", doubt.checks);
}

fn stops_of(plane: &str, port: &str, between: Value, line: Value) -> Vec<Stop> {
    let mut sheet = sheet();
    sheet["session"]["chains"] = json!({ "c": chain(plane, port, between, line) });
    let appraisal = appraised(&sheet);
    let state = &appraisal.chains[0];
    assert_eq!(state.refused, None);
    state.stops.clone()
}

fn kinds(stops: &[Stop]) -> Vec<StopKind> {
    stops.iter().map(|stop| stop.kind).collect()
}

#[test]
fn the_guard_stops_what_would_be_destroyed() {
    use StopKind::{GeneratorExposed, NoLoad, OverRating, RatingUnknown};
    let none = || json!([]);
    let table = [
        ("antenna-port", "gen", none(), none(), vec![GeneratorExposed]),
        ("transmitter-port", "gen", json!(["lossy"]), none(), vec![GeneratorExposed]),
        ("transmitter-port", "small", none(), none(), vec![OverRating]),
        ("antenna-port", "unknown", none(), none(), vec![RatingUnknown]),
        ("antenna-port", "gen", json!(["coupler"]), none(), vec![NoLoad]),
        ("antenna-port", "gen", json!(["coupler"]), json!(["weak"]), vec![OverRating]),
        ("antenna-port", "gen", json!(["coupler"]), json!(["load"]), vec![]),
        ("antenna-port", "duplex", none(), none(), vec![]),
        ("transmitter-port", "meter", none(), none(), vec![]),
        ("receiver-port", "gen", none(), none(), vec![]),
    ];
    for (plane, port, between, line, expected) in table {
        let stops = stops_of(plane, port, between.clone(), line);
        assert_eq!(kinds(&stops), expected, "{plane} {port} {between}: {stops:?}");
        assert!(stops.iter().all(|stop| !stop.help.is_empty() && stop.arriving_w > 0.0));
    }
}

#[test]
fn a_chain_that_cannot_be_is_refused_by_name() {
    let table = [
        (json!(["cable-9"]), json!([]), "part \"cable-9\""),
        (json!(["load"]), json!([]), "a load ends a line"),
        (json!(["coupler", "none"]), json!([]), "it stands last"),
        (json!(["none"]), json!(["load"]), "there is none"),
        (json!(["coupler"]), json!(["load", "none"]), "nothing comes after it"),
    ];
    for (between, line, part) in table {
        let mut sheet = sheet();
        sheet["session"]["chains"]["bad"] = chain("antenna-port", "gen", between, line);
        let appraisal = appraised(&sheet);
        let bad = appraisal.chains.iter().find(|state| state.id == "bad").unwrap();
        let refused = bad.refused.as_deref().unwrap_or("nothing was refused");
        assert!(refused.contains(part), "{refused}");
        assert!(bad.fits.is_empty());
    }
}

fn admitted(sheet: &Value, typed: &str, unit: &str, check: &str, chain: &str) -> Option<String> {
    let sheet: Sheet = serde_json::from_value(sheet.clone()).unwrap();
    let entry: Reading = serde_json::from_value(reading(check, chain, typed, unit)).unwrap();
    assert_eq!(entry.phase, Phase::AsFound);
    let (plan, cautions) = (Plan::standard(), Cautions::standard());
    admit_reading(Language::English, plan, cautions, &sheet, &entry).err().map(|e| e.to_string())
}

#[test]
fn a_reading_is_admitted_only_when_all_of_it_fits() {
    let mut sheet = sheet();
    sheet["session"]["chains"]["exposed"] = chain("antenna-port", "gen", json!([]), json!([]));
    let refused = |typed, unit, check, chain, part: &str| {
        let words = admitted(&sheet, typed, unit, check, chain).unwrap_or_default();
        assert!(words.contains(part), "{check} {typed} {unit}: {words:?} lacks {part:?}");
    };
    assert_eq!(admitted(&sheet, "-120", "dBm", "receiver.opening", "rx"), None);
    refused("-120", "W", "receiver.opening", "rx", "is not read in W");
    refused("250", "dBm", "receiver.opening", "rx", "level of 250 dBm is outside");
    refused("x", "dBm", "receiver.opening", "rx", "is not a number");
    refused("-120", "dBm", "receiver.colour", "rx", "no check \"receiver.colour\"");
    refused("-120", "dBm", "receiver.opening", "nowhere", "no chain \"nowhere\"");
    refused("-120", "dBm", "receiver.opening", "ant", "is taken at the receiver port");
    refused("-120", "dBm", "desense.direct", "exposed", "do not key");
    refused("-120", "dBm", "desense.direct", "ant", "has not acknowledged");
}

#[test]
fn acknowledged_by_name_opens_the_way_for_that_person_only() {
    let mut sheet = sheet();
    let wanted = ["site-hazards", "tell-control-point", "load-in-place", "rf-burns"];
    for (index, caution) in wanted.iter().enumerate() {
        sheet["session"]["acknowledgements"][index.to_string()] =
            json!({ "caution": caution, "stamp": stamp() });
    }
    assert_eq!(admitted(&sheet, "22", "W", "transmitter.power", "tx"), None);
    for index in 0..wanted.len() {
        let mut other = sheet.clone();
        other["session"]["acknowledgements"][index.to_string()]["stamp"]["by"] = json!("tobias");
        let words = admitted(&other, "22", "W", "transmitter.power", "tx").unwrap();
        assert!(words.contains("ines has not acknowledged"), "{words}");
    }
}

#[test]
fn impossible_numbers_in_a_sheet_are_named_with_their_place() {
    let mut sheet = sheet();
    sheet["shop"]["parts"]["none"]["loss"][0]["loss_db"] = json!(-3.0);
    let sheet: Sheet = serde_json::from_value(sheet).unwrap();
    let (plan, cautions) = (Plan::standard(), Cautions::standard());
    let problems = appraise(plan, cautions, &sheet).unwrap_err();
    assert_eq!(problems[0].at, "shop.parts.none.loss.0.loss_db");
    assert!(problems[0].what.contains("-3 is outside"), "{}", problems[0]);
}
