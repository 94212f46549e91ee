//! Reconciling on the demo's repeater: a day that fits, and the same day with one slip or fault.
//!
//! Goal: each kind of slip comes out first on readings that differ in nothing else. Method: the
//! demo's shop and site, a session of the standard plan's readings around the ratings. How often it
//! is right under noise is measured in `tests/simulation`.

use serde_json::{Value, json};

use super::super::{Appraisal, Cautions, Plan, Sheet, appraise};
use super::*;

const SHOP: &str = include_str!("../../../../demo-data/shop.json");
const SITE: &str = include_str!("../../../../demo-data/site.json");

/// One reading: id, check, chain, number, unit.
type Row = (&'static str, &'static str, &'static str, &'static str, &'static str);

/// Opening level −120.5 dBm, 22 W, 1 dB each way, 1 dB of desense; cable A 0.3 dB, cable B 0.2 dB.
pub(super) const CLEAN: [Row; 8] = [
    ("a-opening", "receiver.opening", "receiver", "-120.2", "dBm"),
    ("b-power", "transmitter.power", "transmitter", "21.0", "W"),
    ("c-carrier", "transmitter.frequency-error", "transmitter", "150", "Hz"),
    ("d-through", "duplexer.transmit-loss", "out", "16.7", "W"),
    ("e-antenna", "duplexer.receive-loss", "antenna", "0.256", "uV"),
    ("f-keyed", "desense.direct", "antenna", "-118.1", "dBm"),
    ("g-coupled", "desense.coupled-unkeyed", "coupled", "-89.2", "dBm"),
    ("h-coupled-keyed", "desense.coupled", "coupled", "-88.2", "dBm"),
];

pub(super) fn sheet(rows: &[Row]) -> Value {
    let stamp = json!({ "by": "ines", "device": "tablet", "at": "2026-05-14T17:00:00Z" });
    let chain = |plane: &str, instrument: &str, port: &str, between: Value, line: Value| {
        json!({ "name": format!("{instrument} on the {plane}"), "plane": plane,
                "instrument": instrument, "port": port, "between": between, "line": line,
                "stamp": stamp })
    };
    let none = json!([]);
    let chains = json!({
        "receiver": chain("receiver-port", "monitor-1", "gen", json!(["cable-a"]), none.clone()),
        "transmitter":
            chain("transmitter-port", "wattmeter-1", "in", json!(["cable-b"]), none.clone()),
        "out": chain("antenna-port", "wattmeter-1", "in", json!(["cable-b"]), none.clone()),
        "antenna": chain("antenna-port", "monitor-1", "duplex", json!(["cable-a"]), none),
        "coupled": chain("antenna-port", "monitor-1", "gen", json!(["cable-a", "coupler-30"]),
            json!(["load-50"])),
    });
    let reading = |&(id, check, chain, typed, unit): &Row| {
        let plane = chains[chain]["plane"].clone();
        let instrument = chains[chain]["instrument"].clone();
        let value = json!({ "check": check, "chain": chain, "plane": plane, "criterion": "opens",
            "instrument": instrument, "typed": typed, "unit": unit, "phase": "as-found",
            "stamp": stamp });
        (id.to_owned(), value)
    };
    let readings: serde_json::Map<String, Value> = rows.iter().map(reading).collect();
    let mut site: Value = serde_json::from_str(SITE).unwrap();
    let mut neighbour = site["repeaters"]["lookout-vhf"].clone();
    neighbour["name"] = json!("highway repeater");
    neighbour["receive_hz"] = json!(153_450_000);
    neighbour["transmit_hz"] = json!(158_650_000);
    site["repeaters"]["highway"] = neighbour;
    json!({
        "shop": serde_json::from_str::<Value>(SHOP).unwrap(),
        "site": site,
        "session": { "site": "01JV3M0000000000000000S1TE", "repeater": "lookout-vhf",
            "work_order": "w", "opened": stamp, "chains": chains, "readings": readings }
    })
}

pub(super) fn appraised(sheet: Value) -> Appraisal {
    let sheet: Sheet = serde_json::from_value(sheet).unwrap();
    appraise(Plan::standard(), Cautions::standard(), &sheet).unwrap()
}

/// The clean day with some numbers typed otherwise.
pub(super) fn with(changes: &[(&str, &'static str, &'static str)]) -> Appraisal {
    let rows = CLEAN.map(|mut row| {
        for (_, typed, unit) in changes.iter().filter(|(id, ..)| *id == row.0) {
            (row.3, row.4) = (typed, unit);
        }
        row
    });
    appraised(sheet(&rows))
}

fn doubts(appraisal: &Appraisal) -> Vec<&str> {
    let starts = "Readings do not fit together";
    let all = appraisal.findings.iter().map(|finding| finding.what.as_str());
    all.filter(|what| what.starts_with(starts)).collect()
}

#[test]
fn a_day_that_fits_accuses_nobody_and_sharpens_what_is_known() {
    let appraisal = with(&[]);
    let found = appraisal.reconciled.as_ref().unwrap();
    assert!(found.fits && found.chance > 0.2, "{}", found.said);
    assert_eq!((found.degrees_of_freedom, found.readings.len()), (8, 8));
    assert!(found.explanations.is_empty() && found.misfit.is_none());
    assert!(doubts(&appraisal).is_empty());
    let estimate = |what: &str| found.estimates.iter().find(|e| e.what.contains(what)).unwrap();
    // What the readings were made from; each within its own uncertainty.
    for (what, truth) in [
        ("opening level", -120.5),
        ("power at the transmitter", 43.42),
        ("loss of the receive path", 1.0),
        ("loss of the transmit path", 1.0),
        ("carrier", 150.0),
    ] {
        let got = estimate(what);
        assert!((got.value - truth).abs() <= got.expanded, "{what}: {got:?}");
        assert!(got.expanded < got.before_expanded, "{what}: nothing was learnt");
    }
    // One generator behind all levels: its error is one unknown, and stays as wide as stated.
    let generator = estimate("error of the level of service monitor 1");
    assert!((generator.before_expanded - 2.0 / 3f64.sqrt()).abs() < 1e-9);
    assert!(generator.expanded > 0.95 * generator.before_expanded, "{generator:?}");
}

/// The whole fit of the clean day by numpy 2 (normal equations over the same readings, ratings and
/// stated errors, written down by hand from the demo's papers).
#[test]
fn numpy_fits_the_clean_day_to_the_same() {
    let found = with(&[]).reconciled.unwrap();
    assert!((found.chi_square - 2.872_042).abs() < 1e-5, "{}", found.said);
    assert!((found.chance - 0.942_129).abs() < 1e-5, "{}", found.said);
    let said = "8 readings, ratings and calibration fit together: chi-square 2.9 with 8 degrees of \
                freedom, chance 94 %";
    assert_eq!(found.said, said);
    // What, value, expanded uncertainty; errors in dB: the standard uncertainty times the share.
    for (what, value, expanded) in [
        ("opening level at the receiver port", -120.385_554, 1.170_481),
        ("power at the transmitter port", 43.435_306, 0.234_540),
        ("loss of the receive path", 1.098_296, 0.276_617),
        ("loss of the transmit path", 0.995_828, 0.085_734),
        ("desense", 0.927_383, 0.878_911),
        ("carrier's distance from its channel", 149.862_578, 19.201_955),
        ("error of the level of service monitor 1", -0.014_280, 1.133_944),
        ("error of the power of power meter 1", -0.005_262, 0.195_744),
        ("error of the loss of cable A", 0.000_143, 0.115_449),
        ("error of the loss of 30 dB coupler, coupled", 0.128_644, 0.317_469),
    ] {
        let got = found.estimates.iter().find(|e| e.what == what);
        let got = got.unwrap_or_else(|| panic!("{what}: {:#?}", found.estimates));
        assert!((got.value - value).abs() < 2e-5, "{got:?}, not {value}");
        assert!((got.expanded - expanded).abs() < 2e-5, "{got:?}, not {expanded}");
    }
    // Reading, at its plane, residual, standardised, foretold, expanded.
    for (id, numbers) in [
        ("a-opening", [-120.502_656, -0.102_680, -0.954_029, -120.228_458, 0.574_822]),
        ("b-power", [43.427_568, -0.000_662, -0.120_359, 43.448_773, 0.352_355]),
        ("c-carrier", [150.0, 0.137_422, 0.472_671, 0.0, 634.690_801]),
        ("d-through", [42.432_540, 0.000_138, 0.024_862, 42.428_095, 0.357_533]),
        ("e-antenna", [-119.127_557, 0.174_123, 1.468_417, -119.501_485, 0.509_294]),
        ("f-keyed", [-118.402_656, -0.002_408, -0.067_375, -118.344_349, 1.730_830]),
        ("g-coupled", [-119.504_781, -0.074_457, -0.763_931, -119.262_328, 0.634_751]),
        ("h-coupled-keyed", [-118.504_781, -0.000_156, -0.004_372, -118.500_997, 1.731_017]),
    ] {
        let held = found.readings.iter().find(|held| held.id == id).unwrap();
        let got = [
            held.at_plane,
            held.residual,
            held.standardised.unwrap(),
            held.foretold.unwrap(),
            held.foretold_expanded.unwrap(),
        ];
        for (got, expected) in got.iter().zip(numbers) {
            assert!((got - expected).abs() < 2e-5 * expected.abs().max(1.0), "{held:?}");
        }
    }
}

/// A site whose duplexer costs 6 dB each way, so that a reading on its other side shows.
pub(super) fn lossy_day(changes: &[(&str, &'static str, &'static str)]) -> Reconciled {
    let rows = CLEAN.map(|mut row| {
        for (_, typed, unit) in changes.iter().filter(|(id, ..)| *id == row.0) {
            (row.3, row.4) = (typed, unit);
        }
        row
    });
    let mut sheet = sheet(&rows);
    let ratings = &mut sheet["site"]["repeaters"]["lookout-vhf"]["ratings"];
    ratings["duplexer_transmit_loss_db"] = json!(6.0);
    ratings["duplexer_receive_loss_db"] = json!(6.0);
    appraised(sheet).reconciled.unwrap()
}

#[test]
fn a_reading_on_the_other_side_of_the_duplexer_is_named() {
    // −120.5 dBm at the receiver is −114.5 dBm at the antenna; 22 W there are 5.5 W.
    let sound: [Typed; 5] = [
        ("d-through", "5.3", "W"),
        ("e-antenna", "-114.2", "dBm"),
        ("f-keyed", "-113.2", "dBm"),
        ("g-coupled", "-84.2", "dBm"),
        ("h-coupled-keyed", "-83.2", "dBm"),
    ];
    assert!(lossy_day(&sound).fits);
    for (id, typed, unit, value, words) in [
        (
            "a-opening",
            "-114.2",
            "dBm",
            -120.5,
            "was taken at the antenna port, not at the receiver",
        ),
        (
            "e-antenna",
            "-120.2",
            "dBm",
            -114.5,
            "was taken at the receiver port, not at the antenna",
        ),
        ("b-power", "5.3", "W", 43.42, "was taken at the antenna port, not at the transmitter"),
        ("d-through", "21.0", "W", 37.45, "was taken at the transmitter port, not at the antenna"),
    ] {
        let mut changes = sound.to_vec();
        changes.retain(|(other, ..)| *other != id);
        changes.push((id, typed, unit));
        let found = lossy_day(&changes);
        let first = &found.explanations[0];
        assert_eq!(first.kind, ExplanationKind::WrongPlane, "{id}: {:#?}", found.explanations);
        assert!(first.words.contains(words), "{}", first.words);
        assert!((first.readings[0].value - value).abs() < 0.5, "{id}: {first:?}");
        assert_eq!(found.misfit.as_deref(), Some(id));
    }
}

#[test]
fn an_instrument_that_showed_another_unit_all_the_time_is_said_once() {
    // Levels of monitor 1, all typed in dBm and shown in dBµV: 106.99 dB over what they mean.
    let found = with(&[
        ("a-opening", "-13.2", "dBm"),
        ("e-antenna", "-12.2", "dBm"),
        ("f-keyed", "-11.1", "dBm"),
        ("g-coupled", "17.8", "dBm"),
        ("h-coupled-keyed", "18.8", "dBm"),
    ]);
    let first = &found.reconciled.as_ref().unwrap().explanations[0];
    assert_eq!(first.kind, ExplanationKind::DecibelUnit, "{first:?}");
    let words = "Service monitor 1 showed dBµV where dBm was typed, every time";
    assert!(first.words.starts_with(words), "{}", first.words);
    assert_eq!(first.readings.len(), 5);
}

#[test]
fn a_generator_on_another_channel_all_the_time_is_said_once() {
    // Every level of monitor 1 is 75 dB over what opens the squelch on its own channel.
    let found = with(&[
        ("a-opening", "-45.2", "dBm"),
        ("e-antenna", "-44.2", "dBm"),
        ("f-keyed", "-43.1", "dBm"),
        ("g-coupled", "-14.2", "dBm"),
        ("h-coupled-keyed", "-13.2", "dBm"),
    ]);
    let first = &found.reconciled.as_ref().unwrap().explanations[0];
    assert_eq!(first.kind, ExplanationKind::WrongChannel, "{first:?}");
    assert!(first.words.contains("highway repeater"), "{}", first.words);
    assert!(first.words.contains("all the time"), "{}", first.words);
    assert_eq!(first.readings.len(), 5);
}

/// Readings typed otherwise, the kind of slip, a part of its words, one of the readings, and what
/// that one would have meant at its plane.
type Slipped = (&'static [Typed], ExplanationKind, &'static str, &'static str, f64);
/// Id, number and unit.
pub(super) type Typed = (&'static str, &'static str, &'static str);

#[test]
fn each_slip_is_named_with_what_the_reading_would_have_meant() {
    use ExplanationKind::*;
    let table: [Slipped; 13] = [
        (
            &[("g-coupled", "-119.2", "dBm"), ("h-coupled-keyed", "-118.2", "dBm")],
            CountedElement,
            "30 dB coupler was counted",
            "g-coupled",
            -119.5,
        ),
        (
            &[("a-opening", "-110.2", "dBm")],
            ForgottenElement,
            "10 dB pad stood",
            "a-opening",
            -120.5,
        ),
        (&[("a-opening", "-90.2", "dBm")], ForgottenElement, "30 dB coupler", "a-opening", -120.5),
        // A meter behind a pad shows less.
        (&[("b-power", "2.1", "W")], ForgottenElement, "10 dB pad", "b-power", 43.42),
        (&[("e-antenna", "0.512", "uV")], Emf, "is in µV EMF, not in µV", "e-antenna", -119.1),
        (&[("a-opening", "-13.2", "dBm")], DecibelUnit, "is in dBµV", "a-opening", -120.5),
        (&[("g-coupled", "-89.2", "dBuV")], DecibelUnit, "is in dBm", "g-coupled", -119.5),
        (&[("g-coupled", "89.2", "dBm")], Sign, "The sign typed", "g-coupled", -119.5),
        (&[("b-power", "42.0", "W")], PeakPower, "Peak power", "b-power", 43.42),
        (&[("d-through", "16.7", "dBm")], OtherUnit, "is in W", "d-through", 42.43),
        (&[("c-carrier", "-49850", "Hz")], WrongChannel, "highway repeater", "c-carrier", 150.0),
        (&[("a-opening", "-45.2", "dBm")], WrongChannel, "highway repeater", "a-opening", -120.5),
        (&[("a-opening", "-116.0", "dBm")], Unexplained, "is wrong by itself", "a-opening", -120.5),
    ];
    for (changes, kind, words, id, value) in table {
        let appraisal = with(changes);
        let found = appraisal.reconciled.as_ref().unwrap();
        let first =
            found.explanations.first().unwrap_or_else(|| panic!("{kind:?}: {}", found.said));
        assert_eq!(first.kind, kind, "{changes:?}: {:#?}", found.explanations);
        assert!(first.words.contains(words), "{} lacks {words:?}", first.words);
        let meant = first.readings.iter().find(|meant| meant.id == id).unwrap();
        let within = if kind == Unexplained || id == "a-opening" && kind == WrongChannel {
            1.0
        } else {
            0.3
        };
        assert!((meant.value - value).abs() < within, "{changes:?}: {meant:?}, not {value}");
        assert!(first.chi_square < found.chi_square / 2.0, "undone, it fits better");
        assert_eq!(doubts(&appraisal).len(), 1, "{kind:?}");
    }
}

#[test]
fn an_error_that_cannot_be_is_no_unknown() {
    let mut sheet = sheet(&CLEAN);
    let errors = |sheet: &Value| {
        let estimates = appraised(sheet.clone()).reconciled.unwrap().estimates;
        estimates.iter().filter(|e| e.what.contains("cable A")).count()
    };
    assert_eq!(errors(&sheet), 1, "cable A is behind every level");
    sheet["shop"]["parts"]["cable-a"]["tolerance_db"] = json!(0.0);
    assert_eq!(errors(&sheet), 0);
}

#[test]
fn two_slips_at_once_are_not_said_to_be_one() {
    let appraisal = with(&[("a-opening", "-90.2", "dBm"), ("b-power", "42.0", "W")]);
    let found = appraisal.reconciled.as_ref().unwrap();
    assert!(!found.explanations[0].rest_fits, "{:#?}", found.explanations);
    let evidence = &appraisal.findings.iter().find(|f| f.what.starts_with("Readings")).unwrap();
    assert!(evidence.evidence.contains("look for a second one"), "{}", evidence.evidence);
}

#[test]
fn swapped_duplexer_ports_touch_everything_at_the_antenna_port() {
    let appraisal = with(&[
        ("d-through", "-32.1", "dBm"),
        ("e-antenna", "-38.8", "dBm"),
        ("f-keyed", "-37.9", "dBm"),
        ("g-coupled", "-9.1", "dBm"),
        ("h-coupled-keyed", "-8.2", "dBm"),
    ]);
    let first = &appraisal.reconciled.as_ref().unwrap().explanations[0];
    assert_eq!(first.kind, ExplanationKind::SwappedDuplexer, "{first:#?}");
    let ids: Vec<&str> = first.readings.iter().map(|meant| meant.id.as_str()).collect();
    assert_eq!(ids, ["e-antenna", "f-keyed", "g-coupled", "h-coupled-keyed", "d-through"]);
    assert!(first.next.starts_with("Do not key."));
}

#[test]
fn a_lossy_path_is_no_slip() {
    // 5 dB more on the receive path, in all four readings that go through it.
    let appraisal = with(&[
        ("e-antenna", "-113.8", "dBm"),
        ("f-keyed", "-113.1", "dBm"),
        ("g-coupled", "-84.2", "dBm"),
        ("h-coupled-keyed", "-83.2", "dBm"),
    ]);
    let found = appraisal.reconciled.as_ref().unwrap();
    let first = &found.explanations[0];
    assert_eq!(first.kind, ExplanationKind::ReceivePath, "{:#?}", found.explanations);
    assert!(
        first.words.contains("loses 4.") || first.words.contains("loses 5."),
        "{}",
        first.words
    );
    assert!(first.words.starts_with("As found, the receive path loses"), "{}", first.words);
    // For a fault the readings stand as they are, and its verdict says it already.
    assert!((first.readings[0].value - -114.1).abs() < 0.1, "{first:?}");
    assert!(doubts(&appraisal).is_empty());
    assert!(appraisal.findings.iter().any(|f| f.what.starts_with("The receive path loses")));
}

#[test]
fn a_finding_says_what_to_do_next() {
    let appraisal = with(&[("e-antenna", "0.512", "uV")]);
    let found = appraisal.reconciled.as_ref().unwrap();
    assert_eq!(found.misfit.as_deref(), Some("e-antenna"));
    assert!(found.explanations[0].rest_fits);
    let held = found.readings.iter().find(|held| held.id == "e-antenna").unwrap();
    assert!((held.foretold.unwrap() - -119.5).abs() < held.foretold_expanded.unwrap(), "{held:?}");
    let opening = found.estimates.iter().find(|e| e.what.contains("opening")).unwrap();
    assert!(
        (opening.value - -120.5).abs() < opening.expanded,
        "the slip is out of it: {opening:?}"
    );
    let finding =
        appraisal.findings.iter().find(|f| f.what.starts_with("Readings do not fit")).unwrap();
    assert_eq!(finding.weight, super::super::findings::Weight::Doubt);
    assert_eq!(finding.checks, ["duplexer.receive-loss"]);
    assert!(finding.evidence.contains("foretold by all else"), "{}", finding.evidence);
    assert!(finding.evidence.ends_with("The rest fits then"), "{}", finding.evidence);
    assert!(finding.evidence.contains("is \u{2212}119."), "{}", finding.evidence);
    assert!(finding.next.contains("unit"), "{}", finding.next);
    assert!(appraisal.findings.is_sorted_by_key(|finding| finding.weight));
}

#[test]
fn only_readings_that_stand_and_mean_something_take_part() {
    assert!(appraised(sheet(&[])).reconciled.is_none());
    let mut wrong = sheet(&CLEAN);
    let mut again = wrong["session"]["readings"]["a-opening"].clone();
    wrong["session"]["readings"]["a-opening"]["typed"] = json!("-90.2");
    again["replaces"] = json!("a-opening");
    wrong["session"]["readings"]["z-again"] = again;
    let found = appraised(wrong).reconciled.unwrap();
    assert!(found.fits, "{}", found.said);
    assert!(found.readings.iter().all(|held| held.id != "a-opening"));
    let mut voltage = sheet(&CLEAN);
    voltage["session"]["readings"]["a-opening"]["check"] = json!("transmitter.deviation");
    let found = appraised(voltage).reconciled.unwrap();
    assert_eq!(found.readings.len(), 7, "a deviation says nothing of levels");
}

#[test]
fn adjusting_is_no_slip() {
    // As left the receiver opens 8 dB better: another phase, another unknown.
    let mut adjusted = sheet(&CLEAN);
    for (id, typed) in [("a-opening", "-112.2"), ("e-antenna", "-110.9"), ("g-coupled", "-81.2")] {
        let mut left = adjusted["session"]["readings"][id].clone();
        left["phase"] = json!("as-left");
        adjusted["session"]["readings"][format!("{id}-left")] = left;
        adjusted["session"]["readings"][id]["typed"] = json!(typed);
        adjusted["session"]["readings"][id]["unit"] = json!("dBm");
    }
    for (id, typed) in [("f-keyed", "-110.1"), ("h-coupled-keyed", "-80.2")] {
        adjusted["session"]["readings"][id]["typed"] = json!(typed);
    }
    let found = appraised(adjusted).reconciled.unwrap();
    assert!(found.fits, "{}: {:#?}", found.said, found.explanations);
    let opening: Vec<f64> =
        found.estimates.iter().filter(|e| e.what.contains("opening")).map(|e| e.value).collect();
    assert!((opening[0] - opening[1] - 8.0).abs() < 1.0, "{opening:?}");
}

#[test]
fn any_number_of_readings_is_bounded() {
    let mut many = sheet(&CLEAN);
    let one = many["session"]["readings"]["a-opening"].clone();
    for n in 0..600 {
        many["session"]["readings"][format!("again-{n}")] = one.clone();
    }
    // One of the latest is 30 dB off, so that every slip is thought of.
    many["session"]["readings"]["h-coupled-keyed"]["typed"] = json!("-58.2");
    let sheet: Sheet = serde_json::from_value(many).unwrap();
    let repeater = &sheet.site.repeaters["lookout-vhf"];
    let (shop, session) = (&sheet.shop, &sheet.session);
    let case = Case::new(Plan::standard(), shop, repeater, session);
    let found = reconcile(&case, &sheet.site).unwrap().unwrap();
    assert_eq!(found.readings.len(), 400);
    assert!(found.readings.iter().any(|held| held.id == "h-coupled-keyed"), "the latest take part");
    assert!(!found.fits && found.explanations.len() <= 5);
}

#[test]
fn a_rating_that_is_none_is_refused() {
    let mut sheet: Sheet = serde_json::from_value(sheet(&CLEAN)).unwrap();
    sheet.site.repeaters.get_mut("lookout-vhf").unwrap().ratings.power_w = 0.0;
    let repeater = &sheet.site.repeaters["lookout-vhf"];
    let (shop, session) = (&sheet.shop, &sheet.session);
    let case = Case::new(Plan::standard(), shop, repeater, session);
    let refused = reconcile(&case, &sheet.site).unwrap_err().to_string();
    assert!(refused.contains("Power") && refused.contains("finite"), "{refused}");
}
