//! Where one word, choice or outcome ends and the next begins, on the small invented session of
//! `tests.rs`.
//!
//! Method: sheets in JSON, appraised, with readings on both sides of each bound. Numbers are
//! invented; each expected one is arithmetic on them, or on the HANDBOOK row named beside it.

use serde_json::{Value, json};

use super::tests::{appraised, chain, reading, sheet, stamp, verdict};
use super::*;
use crate::language::Language;
use crate::record::{Phase, Reading};
use crate::uncertainty::Outcome;

/// A sheet with readings: id, check, chain, number, unit.
pub(super) fn read(mut sheet: Value, rows: &[(&str, &str, &str, &str, &str)]) -> Value {
    for (id, check, through, typed, unit) in rows {
        sheet["session"]["readings"][id] = reading(check, through, typed, unit);
    }
    sheet
}

pub(super) fn as_left(sheet: &mut Value, id: &str) {
    sheet["session"]["readings"][id]["phase"] = json!("as-left");
}

fn state<'a>(appraisal: &'a Appraisal, check: &str) -> &'a CheckState {
    appraisal.checks.iter().find(|state| state.check.id == check).unwrap()
}

pub(super) fn whats(appraisal: &Appraisal) -> Vec<&str> {
    appraisal.findings.iter().map(|finding| finding.what.as_str()).collect()
}

#[test]
fn every_stop_of_a_chain_is_said_before_keying() {
    let mut sheet = sheet();
    sheet["shop"]["parts"]["coupler"]["power_max_w"] = json!(5.0);
    sheet["session"]["chains"]["open"] =
        chain("antenna-port", "gen", json!(["coupler"]), json!([]));
    let sheet: Sheet = serde_json::from_value(sheet).unwrap();
    let entry: Reading =
        serde_json::from_value(reading("desense.coupled", "open", "-80", "dBm")).unwrap();
    let (plan, cautions) = (Plan::standard(), Cautions::standard());
    let refused = admit_reading(Language::English, plan, cautions, &sheet, &entry);
    let said = refused.unwrap_err().to_string();
    assert!(said.starts_with("do not key: the transmitter would be keyed into an open"), "{said}");
    assert!(said.contains("; 17.5 W would arrive at coupler, rated 5.0 W"), "{said}");
}

#[test]
fn the_chain_proposed_is_one_read_through_then_one_that_may_be_keyed_then_the_newest() {
    let mut sheet = sheet();
    // Straight into the generator: it does for a level, and may not be keyed.
    sheet["session"]["chains"]["zz"] = chain("antenna-port", "gen", json!([]), json!([]));
    let proposed = |sheet: &Value, check: &str| state(&appraised(sheet), check).chain.clone();
    assert_eq!(proposed(&sheet, "duplexer.receive-loss").as_deref(), Some("zz"), "the newest");
    assert_eq!(proposed(&sheet, "desense.direct").as_deref(), Some("ant"), "may be keyed");
    let mut broken = sheet.clone();
    broken["session"]["chains"]["zz"]["port"] = json!("duplex");
    assert_eq!(proposed(&broken, "desense.direct").as_deref(), Some("zz"), "both may");
    sheet["session"]["readings"]["a"] = reading("duplexer.receive-loss", "ant", "-119", "dBm");
    assert_eq!(proposed(&sheet, "duplexer.receive-loss").as_deref(), Some("ant"), "read through");
    // Read through the other one by mistake, and corrected: what was replaced does not count.
    let mut corrected = reading("duplexer.receive-loss", "zz", "-119", "dBm");
    corrected["replaces"] = json!("a");
    sheet["session"]["readings"]["b"] = corrected;
    assert_eq!(proposed(&sheet, "duplexer.receive-loss").as_deref(), Some("zz"));
}

#[test]
fn a_chain_fits_a_check_by_its_way_on() {
    let mut sheet = sheet();
    sheet["shop"]["parts"]["antenna"] = json!({ "name": "site antenna", "kind": "antenna",
        "tolerance_db": 0.0, "power_max_w": 200.0 });
    sheet["session"]["chains"]["onair"] =
        chain("antenna-port", "gen", json!(["coupler"]), json!(["antenna"]));
    let appraisal = appraised(&sheet);
    for (id, direct, coupled, antenna) in [
        ("ant", true, false, false),
        ("coupled", false, true, false),
        ("onair", false, false, true),
        ("rx", false, false, false),
    ] {
        let fits = &appraisal.chains.iter().find(|state| state.id == id).unwrap().fits;
        let found = ["duplexer.receive-loss", "desense.coupled", "desense.antenna"]
            .map(|check| fits.iter().any(|fit| fit == check));
        assert_eq!(found, [direct, coupled, antenna], "{id}: {fits:?}");
    }
}

#[test]
fn only_what_ended_is_widened() {
    let mut sheet = sheet();
    sheet["shop"]["calibration_policy"] = json!("widen");
    sheet["shop"]["parts"]["lossy"]["calibration_due"] = json!("2026-01-31");
    sheet["session"]["chains"]["rx"]["between"] = json!(["lossy"]);
    sheet["session"]["readings"]["a"] = reading("receiver.opening", "rx", "-121", "dBm");
    let appraisal = appraised(&sheet);
    // HANDBOOK G2: 0.5 dB/√3 of the generator as it was, 0.1 dB/√3 of the cable twice.
    for (what, standard) in [("level of test set", 0.288_675), ("loss of cable", 0.115_470)] {
        let budget = &verdict(&appraisal, "receiver.opening").budget;
        let line = budget.iter().find(|line| line.what == what).unwrap();
        assert!((line.standard - standard).abs() < 1e-6, "{line:?}");
    }
}

#[test]
fn a_reading_only_thought_of_is_judged_by_its_own_number() {
    let sheet = read(sheet(), &[("a", "receiver.opening", "rx", "-121", "dBm")]);
    let sheet: Sheet = serde_json::from_value(sheet).unwrap();
    let (repeater, session) = (&sheet.site.repeaters["r"], &sheet.session);
    let case = Case::new(Plan::standard(), &sheet.shop, repeater, session);
    let recorded = &session.readings["a"];
    let thought = |typed: &str| {
        let reading = Reading { typed: typed.to_owned(), ..recorded.clone() };
        judge(&case, "a", &reading).value.unwrap()
    };
    for typed in ["-100", "-110", "-121"] {
        assert!((thought(typed) - typed.parse::<f64>().unwrap()).abs() < 1e-9, "{typed}");
    }
    assert!((judge(&case, "a", recorded).value.unwrap() - -121.0).abs() < 1e-9);
    assert!((thought("-90") - -90.0).abs() < 1e-9);
}

#[test]
fn a_caution_says_who_acknowledged_it_and_ends_with_the_deferral() {
    let mut sheet = sheet();
    let by = |who: &str, caution: &str| {
        let mut stamp = stamp();
        stamp["by"] = json!(who);
        json!({ "caution": caution, "stamp": stamp })
    };
    sheet["session"]["acknowledgements"] = json!({
        "a": by("tobias", "rf-burns"), "b": by("ines", "rf-burns"), "c": by("ines", "rf-burns"),
        "d": by("wren", "rf-burns"), "e": by("wren", "load-in-place") });
    sheet["session"]["retractions"] =
        json!({ "x": { "list": "acknowledgements", "entry": "d", "stamp": stamp() } });
    let found = appraised(&sheet).cautions;
    let shipped = Cautions::standard();
    assert_eq!(found.len(), shipped.all.len());
    for state in &found {
        let wanted: &[&str] = match state.id.as_str() {
            "rf-burns" => &["ines", "tobias"],
            "load-in-place" => &["wren"],
            _ => &[],
        };
        assert_eq!(state.acknowledged_by, wanted, "{}", state.id);
        assert!(state.text.ends_with(&shipped.deferral), "{}", state.text);
    }
}

#[test]
fn a_rating_for_a_while_holds_for_parts_in_the_line_too() {
    let mut sheet = sheet();
    sheet["shop"]["parts"]["pad"] = json!({ "name": "pad", "kind": "pad",
        "loss": [{ "at_hz": 155_000_000, "loss_db": 10.0 }], "tolerance_db": 0.2,
        "power_max_w": 10.0, "short_time": { "power_w": 50.0, "seconds": 60.0 } });
    sheet["session"]["chains"]["tx"] =
        chain("transmitter-port", "meter", json!(["pad"]), json!([]));
    let of = |sheet: &Value| {
        let appraisal = appraised(sheet);
        let state = appraisal.chains.into_iter().find(|state| state.id == "tx").unwrap();
        state.keyed.into_iter().find(|element| element.at == "pad").unwrap()
    };
    assert_eq!(of(&sheet).may, MayKey::ForAWhile);
    sheet["shop"]["parts"]["pad"]["short_time"] = Value::Null;
    assert_eq!(of(&sheet).may, MayKey::Not, "22 W on 10 W");
}

#[test]
fn a_power_that_may_be_over_a_rating_is_told_from_one_that_is() {
    let said = |rated: f64| {
        let mut sheet = sheet();
        sheet["shop"]["parts"]["load"]["power_max_w"] = json!(rated);
        let appraisal = appraised(&sheet);
        let state = appraisal.chains.into_iter().find(|state| state.id == "coupled").unwrap();
        state.stops.first().map(|stop| stop.what.clone())
    };
    // 22 W less 1 dB is 17.48 W; ± 2·sqrt(0.2² + 0.3²)/√3 = 0.416 dB (HANDBOOK G2) up to 19.2 W.
    assert_eq!(said(17.0).unwrap(), "17.5 W would arrive at load, rated 17.0 W");
    let may = "17.5 W ± 0.4 dB would arrive at load, rated 18.0 W: it may be over";
    assert_eq!(said(18.0).unwrap(), may);
    assert_eq!(said(19.5), None);
}

#[test]
fn watts_are_shown_in_the_unit_people_say() {
    for (watts, shown) in [
        (1_500.0, "1500 W"),
        (100.0, "100 W"),
        (99.9, "99.9 W"),
        (1.0, "1.0 W"),
        (0.999, "999 mW"),
        (0.05, "50.0 mW"),
        (0.001, "1.0 mW"),
        (0.000_5, "500 µW"),
        (0.000_001_5, "1.5 µW"),
    ] {
        assert_eq!(guard::watts_shown(watts), shown, "{watts}");
    }
}

#[test]
fn an_allowance_widens_a_limit_on_both_sides() {
    let mut plan = Plan::standard().clone();
    for check in &mut plan.checks {
        match check.id.as_str() {
            "desense.coupled-unkeyed" => check.limit.allow = 0.25,
            "receiver.opening" => check.limit.allow = 0.5,
            _ => {}
        }
    }
    let sheet = read(
        sheet(),
        &[
            ("a", "receiver.opening", "rx", "-119.6", "dBm"),
            ("b", "duplexer.receive-loss", "ant", "-119", "dBm"),
            ("c", "desense.coupled-unkeyed", "coupled", "-87.8", "dBm"),
        ],
    );
    let sheet: Sheet = serde_json::from_value(sheet).unwrap();
    let appraisal = appraise(&plan, Cautions::standard(), &sheet).unwrap();
    let limits = |check: &str| verdict(&appraisal, check).limits.unwrap();
    let both = limits("desense.coupled-unkeyed");
    assert_eq!((both.low, both.high), (Some(-1.25), Some(1.25)));
    assert_eq!(limits("receiver.opening").high, Some(-119.5));
}

#[test]
fn repeats_are_told_in_their_own_unit() {
    let frequency = "transmitter.frequency-error";
    let sheet = read(
        sheet(),
        &[
            ("a", frequency, "tx", "100", "Hz"),
            ("b", frequency, "tx", "110", "Hz"),
            ("c", frequency, "tx", "105", "Hz"),
            ("d", "receiver.opening", "rx", "-121.0", "dBm"),
            ("e", "receiver.opening", "rx", "-120.6", "dBm"),
            ("f", "receiver.opening", "rx", "-121.4", "dBm"),
        ],
    );
    let appraisal = appraised(&sheet);
    // HANDBOOK G1: s of −5, 0 and 5 is 5; of −0.4, 0 and 0.4 it is 0.4.
    let first = |check: &str| verdict(&appraisal, check).working[0].clone();
    let said = "mean of 3 repeats (100 Hz, 110 Hz, 105 Hz; s = 5.0 Hz) = 105 Hz";
    assert_eq!(first(frequency), said);
    let said = "mean of 3 repeats (-121.0 dBm, -120.6 dBm, -121.4 dBm; s = 0.40 dB) = −121.0 dBm \
                at the generator";
    assert_eq!(first("receiver.opening"), said);
}

#[test]
fn what_stands_before_the_plane_is_taken_off_a_level_and_put_on_a_power() {
    let mut sheet = sheet();
    sheet["session"]["chains"]["rx"]["between"] = json!(["lossy"]);
    sheet["session"]["chains"]["tx"]["between"] = json!(["lossy"]);
    let sheet = read(
        sheet,
        &[
            ("a", "receiver.opening", "rx", "-119", "dBm"),
            ("b", "transmitter.power", "tx", "40", "dBm"),
        ],
    );
    let appraisal = appraised(&sheet);
    let working = |check: &str| verdict(&appraisal, check).working[..3].join("\n");
    let level = "-119 dBm typed = −119.0 dBm at the generator\n− 1.00 dB, cable\n\
                 = −120.0 dBm at the antenna port";
    assert_eq!(working("receiver.opening"), level);
    let power = "40 dBm typed = 40.00 dBm at the meter\n+ 1.00 dB, cable\n\
                 = 41.0 dBm at the antenna port";
    assert_eq!(working("transmitter.power"), power);
}

#[test]
fn a_power_meters_accuracy_goes_by_the_watts_it_was_read_at() {
    let mut sheet = sheet();
    sheet["shop"]["instruments"]["set"]["accuracy"]["ranges"] =
        json!([{ "of": "power", "from": 19.0, "to": 21.0, "half_width": 8.0 }]);
    // 4 % is 10·log10(1.04) = 0.170333 dB, 8 % 0.334238 dB; rectangular by HANDBOOK G2.
    for (watts, half_width) in [("18.9", 0.170_333), ("20", 0.334_238), ("21.2", 0.170_333)] {
        let sheet = read(sheet.clone(), &[("p", "transmitter.power", "tx", watts, "W")]);
        let appraisal = appraised(&sheet);
        let budget = &verdict(&appraisal, "transmitter.power").budget;
        let own = budget.iter().find(|line| line.what == "power of test set").unwrap();
        assert!((own.standard - half_width / 3f64.sqrt()).abs() < 1e-6, "{watts} W: {own:?}");
    }
}

#[test]
fn readings_as_left_are_asked_for_once_there_are_some() {
    let mut sheet = read(sheet(), &[("a", "receiver.opening", "rx", "-118", "dBm")]);
    let outcome = |sheet: &Value| state(&appraised(sheet), "receiver.opening").outcome;
    assert_eq!(outcome(&sheet), Some(Outcome::Fail));
    sheet["session"]["readings"]["b"] = reading("receiver.opening", "rx", "-122", "dBm");
    assert_eq!(outcome(&sheet), Some(Outcome::Fail), "the worse of one phase");
    as_left(&mut sheet, "b");
    assert_eq!(outcome(&sheet), Some(Outcome::Pass), "the latest phase");
    let found: Sheet = serde_json::from_value(sheet).unwrap();
    assert_eq!(found.session.readings["b"].phase, Phase::AsLeft);
}

#[test]
fn what_was_replaced_is_judged_by_itself_and_repeats_by_their_mean() {
    let opening = |typed| reading("receiver.opening", "rx", typed, "dBm");
    let mut sheet = sheet();
    for (id, typed) in [("a", "-121.0"), ("b", "-120.6"), ("c", "-121.4"), ("d", "-100")] {
        sheet["session"]["readings"][id] = opening(typed);
    }
    sheet["session"]["readings"]["c"]["replaces"] = json!("d");
    let appraisal = appraised(&sheet);
    let readings = &state(&appraisal, "receiver.opening").readings;
    let values: Vec<f64> = readings.iter().map(|it| it.verdict.at_plane.unwrap()).collect();
    for (got, wanted) in values.iter().zip([-121.0, -121.0, -121.0, -100.0]) {
        assert!((got - wanted).abs() < 1e-9, "{values:?}");
    }
    // One more that is only thought of, in place of the third: −121.0, −120.6 and −120.2.
    let whole: Sheet = serde_json::from_value(sheet).unwrap();
    let repeater = &whole.site.repeaters["r"];
    let case = Case::new(Plan::standard(), &whole.shop, repeater, &whole.session);
    let mut thought: Reading = serde_json::from_value(opening("-120.2")).unwrap();
    thought.replaces = Some("c".to_owned());
    assert!((judge(&case, "new", &thought).at_plane.unwrap() - -120.6).abs() < 1e-9);
    thought.replaces = None;
    let four = judge(&case, "new", &thought).at_plane.unwrap();
    assert!((four - (-121.0 - 120.6 - 121.4 - 120.2) / 4.0).abs() < 1e-9, "{four}");
}

#[test]
fn a_level_diagram_names_each_point_and_is_drawn_only_where_there_is_a_signal() {
    let mut sheet = sheet();
    sheet["session"]["chains"] = json!({
        "two": chain("receiver-port", "gen", json!(["none", "lossy"]), json!([])),
        "bare": chain("receiver-port", "gen", json!([]), json!([])),
        "meter": chain("antenna-port", "meter", json!([]), json!([])),
        "transmitter": chain("transmitter-port", "duplex", json!([]), json!([])) });
    sheet["shop"]["parts"]["none"]["name"] = json!("jumper");
    let appraisal = appraised(&sheet);
    let labels = |id: &str| -> Vec<String> {
        let state = appraisal.chains.iter().find(|state| state.id == id).unwrap();
        let signal = state.diagrams.iter().filter(|diagram| !diagram.keyed);
        signal.flat_map(|diagram| diagram.nodes.iter().map(|node| node.label.clone())).collect()
    };
    assert_eq!(labels("two"), ["generator of test set", "behind jumper", "receiver port"]);
    assert_eq!(labels("bare"), ["generator, on the receiver port"]);
    assert!(labels("meter").is_empty(), "a meter gives no signal");
    assert!(labels("transmitter").is_empty(), "no receiver behind the transmitter's port");
}
