//! What is found and what is not: faults put right, pairs of readings, a licence, the causes of a
//! desense, on the small invented session of `tests.rs`.
//!
//! Method: sheets in JSON, appraised. Numbers are invented; each expected one is arithmetic on
//! them, or on the HANDBOOK row named beside it.

use serde_json::{Value, json};

use super::bounds_tests::{as_left, read, whats};
use super::tests::{appraised, reading, sheet, verdict};
use super::*;
use crate::language::Language;
use crate::uncertainty::Outcome;

#[test]
fn one_reading_is_not_two_facts_and_frequencies_are_not_held_together() {
    let one = read(sheet(), &[("a", "receiver.opening", "rx", "-121", "dBm")]);
    let frequency = "transmitter.frequency-error";
    let two = [("a", frequency, "tx", "100", "Hz"), ("b", frequency, "tx", "120", "Hz")];
    for sheet in [one, read(sheet(), &two)] {
        let appraisal = appraised(&sheet);
        assert!(whats(&appraisal).iter().all(|what| !what.contains("times")), "{sheet}");
    }
}

#[test]
fn what_was_put_right_is_a_note_and_what_was_not_stays_a_fault() {
    // −118.6 dBm is 1.4 dB outside; −121 dBm is a pass, −118.7 dBm as left is none.
    let of = |found: &str, left: Option<&str>| {
        let mut sheet = read(sheet(), &[("a", "receiver.opening", "rx", found, "dBm")]);
        if let Some(left) = left {
            sheet["session"]["readings"]["b"] = reading("receiver.opening", "rx", left, "dBm");
            as_left(&mut sheet, "b");
        }
        let appraisal = appraised(&sheet);
        let opens = appraisal.findings.iter().filter(|f| f.what.contains("opens only at"));
        opens.map(|f| (f.weight, f.what.starts_with("As found, and put right: "))).collect()
    };
    use findings::Weight::{Fault, Note};
    let told: Vec<Vec<(findings::Weight, bool)>> = vec![
        of("-118.6", None),
        of("-118.6", Some("-121")),
        of("-118.6", Some("-118.7")),
        of("-121", Some("-118.6")),
        of("-121", Some("-121.5")),
    ];
    let wanted = vec![
        vec![(Fault, false)],
        vec![(Note, true)],
        vec![(Fault, false), (Fault, false)],
        vec![(Fault, false)],
        vec![],
    ];
    assert_eq!(told, wanted);
    // A second reading as found that passes puts nothing right.
    let sheet = read(
        sheet(),
        &[
            ("a", "receiver.opening", "rx", "-118.6", "dBm"),
            ("b", "receiver.opening", "rx", "-121", "dBm"),
        ],
    );
    let appraisal = appraised(&sheet);
    assert!(whats(&appraisal).iter().any(|what| what.starts_with("The receiver opens only")));
}

#[test]
fn a_pad_that_does_not_cost_what_it_should_is_named_by_its_check() {
    let sheet = read(
        sheet(),
        &[
            ("a", "desense.coupled-unkeyed", "coupled", "-89", "dBm"),
            ("b", "desense.padded-unkeyed", "coupled", "-80", "dBm"),
        ],
    );
    let appraisal = appraised(&sheet);
    let wanted = "Pad in the receiver's line, not keyed: 9.00 dB is outside 5.0 dB to 7.0 dB.";
    assert!(whats(&appraisal).contains(&wanted), "{:?}", whats(&appraisal));
}

/// The sheet with a licence for 155 MHz, 22 W and 30 W ERP; 3 dBd behind 0.7 dB.
fn licensed() -> Value {
    let mut sheet = sheet();
    let repeater = &mut sheet["site"]["repeaters"]["r"];
    repeater["licence"] = json!({ "transmit_hz": 155_000_000, "output_w": 22.0, "erp_w": 30.0,
        "source": "licence 12" });
    repeater["antenna"] = json!({ "gain_dbd": 3.0, "other_loss_db": 0.7, "tolerance_db": 0.3 });
    sheet
}

#[test]
fn the_licensed_output_is_held_against_the_transmitters_own_power_only() {
    let sheet = read(
        licensed(),
        &[
            ("p", "transmitter.power", "tx", "22", "W"),
            ("q", "duplexer.transmit-loss", "ant", "17.5", "W"),
            ("r", "receiver.opening", "rx", "-121", "dBm"),
        ],
    );
    let appraisal = appraised(&sheet);
    let said = |subject: &str| appraisal.licence.iter().find(|v| v.subject == subject).unwrap();
    assert!(said("output power").off.abs() < 1e-9, "{:?}", said("output power"));
    let working = said("ERP").working.join("\n");
    for line in ["− 0.70 dB, other losses behind the antenna port", "+ 3.00 dB, the antenna's"] {
        assert!(working.contains(line), "{working}");
    }
}

#[test]
fn the_shops_guard_factor_holds_for_licences_too() {
    let outcome = |factor: f64, watts: &str| {
        let mut sheet = read(licensed(), &[("p", "transmitter.power", "tx", watts, "W")]);
        sheet["shop"]["guard_factor"] = json!(factor);
        let appraisal = appraised(&sheet);
        appraisal.licence.iter().find(|v| v.subject == "output power").unwrap().outcome
    };
    // 21 W is 0.202 dB under 22 W; U = 2·sqrt((10·log10 1.04)² + 0.05²)/√3 = 0.205 dB.
    assert_eq!(outcome(1.0, "21"), Outcome::ConditionalPass);
    assert_eq!(outcome(0.9, "21"), Outcome::Pass);
    assert_eq!(outcome(1.1, "20.9"), Outcome::ConditionalPass, "0.223 dB under it");
    assert_eq!(outcome(1.0, "20.9"), Outcome::Pass);
}

#[test]
fn a_licence_at_the_rating_or_above_leaves_the_rating_to_judge() {
    // The plan allows 0.8 dB over 22 W: 26.45 W.
    let sides = |output_w: f64| {
        let mut sheet = read(
            licensed(),
            &[
                ("p", "transmitter.power", "tx", "22", "W"),
                ("q", "duplexer.transmit-loss", "ant", "17.5", "W"),
            ],
        );
        sheet["site"]["repeaters"]["r"]["licence"]["output_w"] = json!(output_w);
        let appraisal = appraised(&sheet);
        let of = |check: &str| verdict(&appraisal, check).limit_source.contains("licence 12");
        (of("transmitter.power"), of("duplexer.transmit-loss"))
    };
    assert_eq!(sides(26.0), (true, false), "a loss is nothing a licence speaks of");
    assert_eq!(sides(27.0), (false, false));
    // Nor is a deviation, however many hertz: 2 kHz of 2.5 kHz (HANDBOOK 2.3).
    let deviation = [("d", "transmitter.deviation", "tx", "2", "kHz")];
    let appraisal = appraised(&read(licensed(), &deviation));
    let found = verdict(&appraisal, "transmitter.deviation");
    assert_eq!((found.outcome, found.limits.unwrap().high), (Outcome::Pass, Some(2_500.0)));
}

/// Readings of a desense whose cause is looked for, as [`crate::rf::causes`] is asked by hand.
#[test]
fn causes_are_weighed_by_what_stands_of_the_latest_phase() {
    use crate::rf::causes::{PathRead, Rise, Tests, causes};
    let mut sheet = read(
        sheet(),
        &[
            // A path's loss holds from whatever phase it was read in.
            ("a", "transmitter.power", "tx", "22", "W"),
            ("b", "duplexer.transmit-loss", "ant", "17.1", "W"),
            ("c", "desense.coupled-unkeyed", "coupled", "-89", "dBm"),
            ("d", "desense.coupled", "coupled", "-80", "dBm"),
            ("e", "desense.coupled-unkeyed", "coupled", "-89", "dBm"),
            ("f", "desense.coupled", "coupled", "-85", "dBm"),
            // Typed wrongly and replaced, by one with a lesser id.
            ("z", "desense.coupled", "coupled", "-70", "dBm"),
        ],
    );
    for id in ["e", "f", "z"] {
        as_left(&mut sheet, id);
    }
    sheet["session"]["readings"]["f"]["replaces"] = json!("z");
    let appraisal = appraised(&sheet);
    let path = verdict(&appraisal, "duplexer.transmit-loss");
    // Two readings repeat within 0.3 dB each, one generator: 2·√2·0.3/√3 (HANDBOOK G2, G5).
    let expanded = 2.0 * 2f64.sqrt() * 0.3 / 3f64.sqrt();
    let tests = Tests {
        coupled: Some(Rise::new(4.0, expanded / 2.0, expanded)),
        transmit_path: Some(PathRead {
            holds: path.conformity.unwrap(),
            said: format!("{}, {}", path.value_text, path.limit_text),
        }),
        ..Tests::default()
    };
    let own = causes(&tests, Language::English).unwrap();
    let found = appraisal.desense.as_ref().unwrap();
    for (got, own) in found.suspects.iter().zip(&own.suspects) {
        assert_eq!(got.cause, own.cause);
        assert!((got.weight - own.weight).abs() < 1e-9, "{got:?}, not {own:?}");
    }
    assert!(found.suspects.iter().any(|suspect| {
        suspect.evidence.iter().any(|evidence| evidence.said.contains("1.09 dB, at most 1.3 dB"))
    }));
}

#[test]
fn the_likeliest_cause_is_said_with_what_points_to_it_and_the_next_step() {
    let sheet = read(
        sheet(),
        &[
            ("a", "receiver.opening", "rx", "-120", "dBm"),
            ("c", "desense.coupled-unkeyed", "coupled", "-89", "dBm"),
            ("d", "desense.coupled", "coupled", "-80", "dBm"),
        ],
    );
    let appraisal = appraised(&sheet);
    let causes = appraisal.desense.as_ref().unwrap();
    let finding = appraisal.findings.iter().find(|f| f.what.contains("deafens")).unwrap();
    let [first, second, ..] = causes.suspects.as_slice() else { panic!("{causes:?}") };
    let percent = |weight: f64| format!("({:.0} %)", 100.0 * weight);
    assert!(first.weight < 0.8, "{first:?}");
    for part in [&first.title, &second.title, &percent(first.weight), &percent(second.weight)] {
        assert!(finding.what.contains(part.as_str()), "{} lacks {part}", finding.what);
    }
    for evidence in &first.evidence {
        let told = finding.evidence.contains(&evidence.said);
        assert_eq!(told, evidence.factor > 1.0, "{evidence:?}: {}", finding.evidence);
    }
    assert!(finding.next.starts_with(&causes.next[0].how), "{}", finding.next);
    // The checks of the stage that were read; the opening level is none of them.
    assert_eq!(finding.checks, ["desense.coupled-unkeyed", "desense.coupled"]);
}
