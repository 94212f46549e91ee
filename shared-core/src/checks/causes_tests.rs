//! The causes of a desense on invented sessions whose cause is known.
//!
//! Goal: a planted cause comes first once the tests that show it were made, and the test that is
//! named next is the one that tells the rest apart. Method: levels are made from the planted cause
//! by hand and typed into the small session of `tests.rs`.

use serde_json::{Value, json};

use super::tests::{appraised, chain, reading, sheet};
use super::*;

/// The small session with an antenna on a coupler's line.
fn at_site(readings: &[(&str, &str, &str)]) -> Appraisal {
    let mut sheet: Value = sheet();
    sheet["shop"]["parts"]["antenna"] = json!({ "name": "site antenna", "kind": "antenna",
        "tolerance_db": 0.0, "power_max_w": 200.0 });
    sheet["session"]["chains"]["onair"] =
        chain("antenna-port", "gen", json!(["coupler"]), json!(["antenna"]));
    for (index, (check, chain, typed)) in readings.iter().enumerate() {
        let id = format!("r{index:02}");
        sheet["session"]["readings"][id] = reading(check, chain, typed, "dBm");
    }
    appraised(&sheet)
}

/// Opening levels through the coupler: A into a load, B on the antenna, C keyed on the antenna, D
/// keyed into a load.
fn levels(a: &str, b: &str, c: &str, d: &str) -> Appraisal {
    let rows = [
        ("receiver.opening", "rx", "-120"),
        ("duplexer.receive-loss", "ant", "-119"),
        ("desense.coupled-unkeyed", "coupled", a),
        ("desense.antenna-unkeyed", "onair", b),
        ("desense.antenna", "onair", c),
        ("desense.coupled", "coupled", d),
    ];
    let given: Vec<_> = rows.into_iter().filter(|(_, _, typed)| !typed.is_empty()).collect();
    at_site(&given)
}

fn first(causes: &DesenseCauses) -> Cause {
    causes.suspects[0].cause
}

fn weight(causes: &DesenseCauses, cause: Cause) -> f64 {
    causes.suspects.iter().find(|suspect| suspect.cause == cause).unwrap().weight
}

#[test]
fn the_published_levels_divide_between_site_and_transmitter() {
    // HANDBOOK 6.2, test data: A −30, B −27, C −24 give site 3, transmitter 3, total 6 dB.
    let appraisal = levels("-30", "-27", "-24", "");
    let causes = appraisal.desense.as_ref().unwrap();
    for (got, expected) in
        [(causes.site_db, 3.0), (causes.transmitter_db, 3.0), (causes.total_db, 6.0)]
    {
        assert!((got.unwrap() - expected).abs() < 1e-9, "{causes:?}");
    }
    // Effective sensitivity = bench + (B − A) + (C − B): −120 and 6 dB.
    assert!((causes.effective_level_dbm.unwrap() - -114.0).abs() < 1e-9);
    // "Also repeat with load + TX on" (HANDBOOK 6.2, step 4) is what tells most now.
    assert_eq!(causes.next[0].check.as_deref(), Some("desense.coupled"), "{:?}", causes.next);
    assert!(causes.next.windows(2).all(|pair| pair[0].worth_bits >= pair[1].worth_bits));
    let finding = appraisal.findings.iter().find(|f| f.what.contains("deafens")).unwrap();
    assert!(finding.next.contains("through the coupler into a load"), "{}", finding.next);
}

#[test]
fn desense_only_with_the_antenna_is_the_antenna_system() {
    // HANDBOOK 6.2, step 4.
    let appraisal = levels("-89", "-89", "-84", "-89");
    let causes = appraisal.desense.as_ref().unwrap();
    assert_eq!(first(causes), Cause::AntennaSystem, "{:?}", causes.suspects);
    assert!(causes.suspects[0].weight > 0.8, "{:?}", causes.suspects);
    let said = &causes.suspects[0].evidence[0];
    assert!(said.factor > 1.0 && said.said.contains("5.0 ±"), "{said:?}");
    let finding = appraisal.findings.iter().find(|f| f.what.contains("deafens")).unwrap();
    assert!(finding.next.contains("return loss at the feedline"), "{}", finding.next);
}

#[test]
fn desense_into_the_load_too_is_duplexer_cabling_or_shielding() {
    // HANDBOOK 6.2, step 4: D − A > 0.
    let appraisal = levels("-89", "-89", "-84", "-84");
    let causes = appraisal.desense.as_ref().unwrap();
    let inside: f64 = causes
        .suspects
        .iter()
        .filter(|s| !matches!(s.cause, Cause::AntennaSystem | Cause::SiteNoise))
        .map(|suspect| suspect.weight)
        .sum();
    assert!(inside > 0.95, "{:?}", causes.suspects);
    let total: f64 = causes.suspects.iter().map(|suspect| suspect.weight).sum();
    assert!((total - 1.0).abs() < 1e-9);
}

#[test]
fn a_noisy_antenna_with_nothing_keyed_is_the_site() {
    let appraisal = levels("-89", "-84", "-84", "-89");
    let causes = appraisal.desense.as_ref().unwrap();
    assert_eq!(first(causes), Cause::SiteNoise, "{:?}", causes.suspects);
    assert!(causes.suspects[0].weight > 0.8);
}

/// The session of a desense of 9 dB, padded.
fn padded(with_pad: &str) -> DesenseCauses {
    let appraisal = at_site(&[
        ("receiver.opening", "rx", "-120"),
        ("desense.coupled-unkeyed", "coupled", "-89"),
        ("desense.coupled", "coupled", "-80"),
        ("desense.padded-unkeyed", "coupled", "-83"),
        ("desense.padded", "coupled", with_pad),
    ]);
    appraisal.desense.unwrap()
}

#[test]
fn a_pad_tells_noise_from_overload_from_what_comes_past_the_line() {
    // 9 dB is I/N 8.415 dB; 6 dB less is 2.415 dB, a rise of 4.383 dB; 18 dB less is −9.585 dB, a
    // rise of 0.453 dB. Arithmetic on HANDBOOK Z1.
    let noise = padded("-78.6");
    let noisy =
        weight(&noise, Cause::DuplexerTransmitSide) + weight(&noise, Cause::TransmitterNoise);
    assert!(noisy > 0.7, "{:?}", noise.suspects);
    let overload = padded("-82.5");
    let over =
        weight(&overload, Cause::DuplexerReceiveSide) + weight(&overload, Cause::ReceiverOverload);
    assert!(over > 0.7, "{:?}", overload.suspects);
    let past = padded("-74");
    assert_eq!(first(&past), Cause::CablingShielding, "{:?}", past.suspects);
    let said = past.suspects[0].evidence[0].said.as_str();
    assert!(said.contains("pad of 6.0 dB") && said.contains("noise would leave 4.4 dB"), "{said}");
    assert!(said.contains("overload 0.5 dB"), "{said}");
    assert!(past.next.iter().all(|test| test.check.as_deref() != Some("desense.padded")));
}

#[test]
fn the_pad_is_named_where_it_would_tell_and_only_there() {
    let named = |keyed: &str| {
        let appraisal = at_site(&[
            ("desense.coupled-unkeyed", "coupled", "-89"),
            ("desense.coupled", "coupled", keyed),
        ]);
        let next = appraisal.desense.unwrap().next;
        next.iter().any(|test| test.check.as_deref() == Some("desense.padded"))
    };
    assert!(named("-80"));
    // At 1.2 dB noise and overload behind 6 dB lie 0.3 dB apart: no reading tells them.
    assert!(!named("-87.8"));
}

#[test]
fn nothing_deafened_is_no_cause() {
    assert!(levels("-89", "-88.8", "-88.7", "-88.9").desense.is_none());
    assert!(at_site(&[("receiver.opening", "rx", "-120")]).desense.is_none());
}

#[test]
fn a_desense_put_right_asks_for_no_cause() {
    let mut sheet = sheet();
    for (id, typed, phase) in [("a", "-80", "as-found"), ("b", "-88.8", "as-left")] {
        let mut read = reading("desense.coupled", "coupled", typed, "dBm");
        read["phase"] = json!(phase);
        sheet["session"]["readings"][id] = read;
    }
    sheet["session"]["readings"]["c"] = reading("desense.coupled-unkeyed", "coupled", "-89", "dBm");
    assert!(appraised(&sheet).desense.is_none());
}

#[test]
fn every_test_that_is_a_check_stands_in_the_plan() {
    let named: Vec<&str> = crate::rf::causes::checks_named().collect();
    assert!(named.len() >= 7, "{named:?}");
    for check in named {
        assert!(Plan::standard().find(check).is_some(), "{check}");
    }
}
