//! What reconciling says at its bounds: of one reading or of all, of one phase or of both, of a
//! fault or a slip.
//!
//! Method: the clean day of `tests.rs` with numbers typed otherwise, all of them invented.

use serde_json::json;

use super::super::findings::Finding;
use super::super::{Plan, Sheet};
use super::tests::{CLEAN, Typed, appraised, lossy_day, sheet, with};
use super::*;

#[test]
fn repeats_are_one_fact_and_two_readings_are_two() {
    let with_more = |more: &[(&'static str, &'static str)]| {
        let mut rows = CLEAN.to_vec();
        let opening = |&(id, typed)| (id, "receiver.opening", "receiver", typed, "dBm");
        rows.extend(more.iter().map(opening));
        appraised(sheet(&rows)).reconciled.unwrap()
    };
    let two = with_more(&[("a-second", "-120.4")]);
    assert_eq!((two.degrees_of_freedom, two.readings.len()), (9, 9));
    let three = with_more(&[("a-second", "-120.4"), ("a-third", "-120.0")]);
    assert_eq!((three.degrees_of_freedom, three.readings.len()), (8, 10));
    let of = |id: &str| three.readings.iter().find(|held| held.id == id).unwrap();
    for id in ["a-second", "a-third"] {
        assert!((of(id).at_plane - of("a-opening").at_plane).abs() < 1e-12);
        assert_eq!(of(id).foretold, of("a-opening").foretold);
    }
    assert!(three.said.starts_with("10 readings"), "{}", three.said);
    let one = appraised(sheet(&CLEAN[..1])).reconciled.unwrap();
    assert!(one.said.starts_with("1 reading, "), "{}", one.said);
}

#[test]
fn a_reading_is_held_and_told_in_its_own_unit() {
    let found = with(&[]).reconciled.unwrap();
    for held in &found.readings {
        let unit = if held.id == "c-carrier" { "Hz" } else { "dBm" };
        assert_eq!(held.unit, unit, "{}", held.id);
    }
    for (id, typed, unit, text) in [
        ("c-carrier", "-49850", "Hz", "150 Hz"),
        ("b-power", "42.0", "W", "22.0 W (43.4 dBm) at the transmitter port"),
        ("a-opening", "-13.2", "dBm", "\u{2212}120.5 dBm at the receiver port"),
    ] {
        let found = with(&[(id, typed, unit)]).reconciled.unwrap();
        assert_eq!(found.explanations[0].readings[0].text, text, "{:?}", found.explanations[0]);
    }
}

#[test]
fn shares_are_parts_of_a_whole() {
    for (id, typed, unit) in [("a-opening", "-116.0", "dBm"), ("e-antenna", "0.512", "uV")] {
        let found = with(&[(id, typed, unit)]).reconciled.unwrap();
        let shares: Vec<f64> = found.explanations.iter().map(|e| e.share).collect();
        assert!(shares.is_sorted_by(|a, b| a >= b), "{shares:?}");
        assert!(shares.iter().sum::<f64>() <= 1.0 + 1e-9, "{shares:?}");
        assert!(shares.iter().all(|share| *share >= 0.005), "{shares:?}");
    }
}

/// What was thought of, likeliest first.
fn thought_of(changes: &[Typed]) -> Vec<(ExplanationKind, String)> {
    let found = with(changes).reconciled.unwrap();
    found.explanations.into_iter().map(|e| (e.kind, e.words)).collect()
}

#[test]
fn a_slip_of_one_reading_is_not_said_of_all_and_the_other_way_round() {
    let units = thought_of(&[("e-antenna", "0.512", "uV")]);
    assert!(units.iter().all(|(_, words)| !words.contains("every time")), "{units:#?}");
    let pad = thought_of(&[("a-opening", "-110.2", "dBm")]);
    assert!(pad.iter().all(|(_, words)| !words.ends_with("only.")), "{pad:#?}");
    let one = thought_of(&[("g-coupled", "-119.2", "dBm")]);
    let words = "30 dB coupler was counted and did not stand in \"monitor-1 on the \
                 antenna-port\", for \"Through the coupler, not keyed\" only.";
    assert_eq!(one[0], (ExplanationKind::CountedElement, words.to_owned()));
}

#[test]
fn a_carrier_far_off_is_the_carriers_fault_or_a_slip_of_a_frequency() {
    use ExplanationKind::{Carrier, OtherUnit, WrongChannel};
    let found = thought_of(&[("c-carrier", "3000", "Hz")]);
    let words = "As found, the carrier is off its channel by 29";
    assert!(found[0].0 == Carrier && found[0].1.starts_with(words), "{found:#?}");
    let kinds = found.iter().map(|(kind, _)| *kind);
    assert!(kinds.clone().all(|kind| matches!(kind, Carrier | OtherUnit | WrongChannel)));
}

#[test]
fn a_part_or_an_instrument_that_changed_is_thought_of_with_its_size() {
    // Meter and cable B read 6 dB low at both ends of the duplexer.
    let found = with(&[("b-power", "5.28", "W"), ("d-through", "4.20", "W")]).reconciled.unwrap();
    let said = |kind: ExplanationKind| {
        let known = found.explanations.iter().find(|explanation| explanation.kind == kind);
        known.unwrap_or_else(|| panic!("{kind:?}: {:#?}", found.explanations)).words.clone()
    };
    let part = said(ExplanationKind::Part);
    let (start, end) = ("The loss of cable B is ", " dB more than when it was measured.");
    let size = part.strip_prefix(start).and_then(|rest| rest.strip_suffix(end));
    let size: f64 = size.unwrap_or_else(|| panic!("{part}")).parse().unwrap();
    assert!((5.0..6.2).contains(&size), "{part}");
    let instrument = said(ExplanationKind::Instrument);
    let start = "The power of power meter 1 is off by \u{2212}";
    assert!(instrument.starts_with(start), "{instrument}");
    assert!(instrument.ends_with(" dB, more than its accuracy."), "{instrument}");
}

#[test]
fn what_lasts_through_an_adjustment_is_said_without_a_phase() {
    let lossy = [
        ("e-antenna", "-113.8"),
        ("f-keyed", "-113.1"),
        ("g-coupled", "-84.2"),
        ("h-coupled-keyed", "-83.2"),
    ];
    let mut both = sheet(&CLEAN);
    let readings = both["session"]["readings"].as_object_mut().unwrap();
    for (id, typed) in lossy {
        readings[id]["typed"] = json!(typed);
        readings[id]["unit"] = json!("dBm");
    }
    for id in ["a-opening", "e-antenna", "f-keyed", "g-coupled", "h-coupled-keyed"] {
        let mut left = readings[id].clone();
        left["phase"] = json!("as-left");
        readings.insert(format!("{id}-left"), left);
    }
    let found = appraised(both).reconciled.unwrap();
    let first = &found.explanations[0];
    assert!(first.words.starts_with("The receive path loses"), "{:#?}", found.explanations);
    assert_eq!(first.readings.len(), 8);
    let once = thought_of(&[
        ("e-antenna", "-113.8", "dBm"),
        ("f-keyed", "-113.1", "dBm"),
        ("g-coupled", "-84.2", "dBm"),
        ("h-coupled-keyed", "-83.2", "dBm"),
    ]);
    let lossy: Vec<_> = once.iter().filter(|(_, words)| words.contains("receive path")).collect();
    assert_eq!(lossy.len(), 1, "said once: {once:#?}");
}

#[test]
fn swapped_ports_are_told_of_the_phase_they_were_swapped_in() {
    let mut swapped = sheet(&CLEAN);
    let readings = swapped["session"]["readings"].as_object_mut().unwrap();
    for (id, typed) in [
        ("d-through", "-32.1"),
        ("e-antenna", "-38.8"),
        ("f-keyed", "-37.9"),
        ("g-coupled", "-9.1"),
        ("h-coupled-keyed", "-8.2"),
    ] {
        let mut left = readings[id].clone();
        left["phase"] = json!("as-left");
        readings.insert(format!("{id}-left"), left);
        readings[id]["typed"] = json!(typed);
        readings[id]["unit"] = json!("dBm");
    }
    for id in ["a-opening", "b-power"] {
        let mut left = readings[id].clone();
        left["phase"] = json!("as-left");
        readings.insert(format!("{id}-left"), left);
    }
    let found = appraised(swapped).reconciled.unwrap();
    let first = &found.explanations[0];
    assert_eq!(first.kind, ExplanationKind::SwappedDuplexer, "{:#?}", found.explanations);
    let ids: Vec<&str> = first.readings.iter().map(|meant| meant.id.as_str()).collect();
    assert_eq!(ids, ["e-antenna", "f-keyed", "g-coupled", "h-coupled-keyed", "d-through"]);
    let power = first.readings.last().unwrap();
    assert!((power.value - 42.4).abs() < 1.0, "a meter shows less, not more: {power:?}");
}

#[test]
fn of_the_readings_a_slip_touches_the_one_farthest_off_is_named() {
    for (coupled, keyed, misfit) in
        [("-119.2", "-117.6", "g-coupled"), ("-118.6", "-118.2", "h-coupled-keyed")]
    {
        let found = with(&[("g-coupled", coupled, "dBm"), ("h-coupled-keyed", keyed, "dBm")]);
        let found = found.reconciled.unwrap();
        assert_eq!(found.explanations[0].kind, ExplanationKind::CountedElement);
        assert_eq!(found.misfit.as_deref(), Some(misfit), "{:#?}", found.readings);
    }
}

#[test]
fn a_keyed_reading_was_not_taken_with_the_duplexer_out_of_the_line() {
    for (id, typed) in [("f-keyed", "-119.1"), ("h-coupled-keyed", "-89.2")] {
        let found = lossy_day(&[
            ("d-through", "5.3", "W"),
            ("e-antenna", "-114.2", "dBm"),
            ("f-keyed", if id == "f-keyed" { typed } else { "-113.2" }, "dBm"),
            ("g-coupled", "-84.2", "dBm"),
            ("h-coupled-keyed", if id == "f-keyed" { "-83.2" } else { typed }, "dBm"),
        ]);
        let touched = found.explanations.iter().filter(|explanation| {
            explanation.kind == ExplanationKind::WrongPlane
                && explanation.readings.iter().any(|meant| meant.id == id)
        });
        assert_eq!(touched.count(), 0, "{:#?}", found.explanations);
    }
}

/// What is said where these explanations were found: kind and share, likeliest first.
fn told(explanations: &[(ExplanationKind, f64)]) -> Option<Finding> {
    let sheet: Sheet = serde_json::from_value(sheet(&CLEAN)).unwrap();
    let (repeater, session) = (&sheet.site.repeaters["lookout-vhf"], &sheet.session);
    let case = Case::new(Plan::standard(), &sheet.shop, repeater, session);
    let mut reconciled = reconcile(&case, &sheet.site).unwrap().unwrap();
    let explanation = |&(kind, share): &(ExplanationKind, f64)| Explanation {
        kind,
        words: format!("{kind:?}."),
        next: "look".to_owned(),
        share,
        chi_square: 1.0,
        rest_fits: true,
        readings: Vec::new(),
    };
    reconciled.explanations = explanations.iter().map(explanation).collect();
    finding(&case, &reconciled)
}

#[test]
fn a_fault_with_a_verdict_of_its_own_is_said_only_beside_a_slip_that_comes_near() {
    use ExplanationKind::{Emf, Instrument, Part, ReceivePath, Sign};
    assert_eq!(told(&[(ReceivePath, 0.9)]), None);
    assert_eq!(told(&[(ReceivePath, 0.9), (Emf, 0.09)]), None);
    let near = told(&[(ReceivePath, 0.8), (Emf, 0.1)]).unwrap();
    assert_eq!(near.what, "Readings do not fit together. Likeliest: ReceivePath. Or: Emf.");
    // No verdict tells of a part or an instrument: they are said by themselves.
    for kind in [Part, Instrument] {
        let found = told(&[(kind, 0.9), (Emf, 0.05)]).unwrap();
        assert_eq!(found.what, format!("Readings do not fit together. Likeliest: {kind:?}."));
    }
    assert!(told(&[(Sign, 0.05)]).is_some(), "a slip is always said");
    assert_eq!(told(&[]), None);
}
