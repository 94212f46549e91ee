//! What shop and site say of cables, isolators, sweeps, accuracies, limits and licence reaches the
//! verdict, on the small invented session of `tests.rs`.
//!
//! Method: sheets in JSON, appraised; each expected number is arithmetic on what the sheet says or
//! on a HANDBOOK row, named beside it.

use serde_json::{Value, json};

use super::tests::{appraised, chain, reading, sheet, verdict};
use super::*;
use crate::uncertainty::Outcome;

fn points(loss_db: f64) -> Value {
    json!([150_000_000, 155_000_000].map(|at_hz| json!({ "at_hz": at_hz, "loss_db": loss_db })))
}

fn isolator(arrow: &str) -> Value {
    json!({ "name": "isolator", "kind": "isolator", "loss": points(0.5), "tolerance_db": 0.1,
            "power_max_w": 100.0, "short_time": { "power_w": 200.0, "seconds": 60.0 },
            "isolator": { "arrow": arrow, "isolation": points(25.0), "reverse_power_max_w": 5.0 } })
}

/// The sheet with the transmitter on a meter through an isolator, 22 W rated.
fn isolated(arrow: &str) -> Value {
    let mut sheet = sheet();
    sheet["shop"]["parts"]["isolator"] = isolator(arrow);
    sheet["session"]["chains"]["tx"] =
        chain("transmitter-port", "meter", json!(["isolator"]), json!([]));
    sheet
}

fn state<'a>(appraisal: &'a Appraisal, id: &str) -> &'a ChainState {
    appraisal.chains.iter().find(|state| state.id == id).unwrap()
}

#[test]
fn a_cable_is_known_by_type_and_length() {
    let mut sheet = sheet();
    sheet["shop"]["parts"]["run"] = json!({ "name": "run", "kind": "cable", "tolerance_db": 0.1,
        "power_max_w": 100.0,
        "cable": { "listed": "solid-10mm", "length_m": 20.0, "length_tolerance_m": 0.5 } });
    sheet["session"]["chains"]["rx"] = chain("receiver-port", "gen", json!(["run"]), json!([]));
    sheet["session"]["readings"]["a"] = reading("receiver.opening", "rx", "-117", "dBm");
    let appraisal = appraised(&sheet);
    let found = verdict(&appraisal, "receiver.opening");
    let cable = crate::rf::feedline::cable("solid-10mm").unwrap();
    let per_100m = cable.law.k1 * 150f64.sqrt() + cable.law.k2 * 150.0;
    let loss = per_100m / 5.0;
    assert!((found.at_plane.unwrap() - (-117.0 - loss)).abs() < 1e-9);
    // Connectors ±0.1 dB, law ±6 %, length ±0.5 m of 20 m, each rectangular (HANDBOOK G2).
    let line = found.budget.iter().find(|line| line.what.contains("20 m of")).unwrap();
    let squares = 0.1f64.powi(2) + (0.06 * loss).powi(2) + (loss / 40.0).powi(2);
    assert!((line.standard - (squares / 3.0).sqrt()).abs() < 1e-9, "{line:?}");
    assert_eq!(line.what.contains("not verified"), !cable.verified, "{line:?}");
}

#[test]
fn a_cable_whose_type_is_not_known_there_spoils_its_chain_only() {
    let mut sheet = sheet();
    sheet["shop"]["parts"]["run"] = json!({ "name": "run", "kind": "cable", "tolerance_db": 0.1,
        "power_max_w": 100.0, "cable": { "listed": "solid-10mm", "length_m": 20.0 } });
    sheet["site"]["repeaters"]["r"]["receive_hz"] = json!(50_000_000_000u64);
    sheet["session"]["chains"]["rx"] = chain("receiver-port", "gen", json!(["run"]), json!([]));
    let appraisal = appraised(&sheet);
    let refused = state(&appraisal, "rx").refused.as_ref().unwrap();
    assert!(refused.contains("run") && refused.contains("50000 MHz"), "{refused}");
}

#[test]
fn a_powers_way_through_an_isolator_decides_what_it_loses() {
    // 22 W is 43.42 dBm (HANDBOOK U5's formula). Along the arrow it loses 0.5 dB, against it 25 dB.
    for (arrow, loss) in [("away-from-repeater", 0.5), ("towards-repeater", 25.0)] {
        let mut sheet = isolated(arrow);
        sheet["session"]["readings"]["p"] = reading("transmitter.power", "tx", "1", "W");
        let appraisal = appraised(&sheet);
        let found = verdict(&appraisal, "transmitter.power");
        assert!((found.at_plane.unwrap() - (30.0 + loss)).abs() < 1e-9, "{arrow}: {found:?}");
        let tx = state(&appraisal, "tx");
        let keyed = tx.diagrams.iter().find(|diagram| diagram.keyed).unwrap();
        let arrives = keyed.nodes.last().unwrap().level_dbm;
        assert!((arrives - (43.424_227 - loss)).abs() < 1e-4, "{arrow}: {arrives}");
        let expected =
            &appraisal.checks.iter().find(|c| c.check.id == "transmitter.power").unwrap();
        let watts = expected.expected["tx"].value;
        assert!((watts - 22.0 / 10f64.powf(loss / 10.0)).abs() < 1e-6, "{arrow}: {watts}");
    }
}

#[test]
fn power_against_the_arrow_meets_the_isolators_own_termination() {
    let along = appraised(&isolated("away-from-repeater"));
    assert!(state(&along, "tx").stops.is_empty(), "22 W on 100 W");
    // 22 W on a termination of 5 W; what it takes for a while holds along the arrow only.
    let against = appraised(&isolated("towards-repeater"));
    let stops = &state(&against, "tx").stops;
    assert_eq!(stops.len(), 1, "{stops:?}");
    assert_eq!((stops[0].kind, stops[0].power_max_w), (StopKind::OverRating, Some(5.0)));
    assert!(stops[0].at.contains("against its arrow"), "{stops:?}");
}

#[test]
fn an_isolator_alone_does_not_let_a_generator_be_keyed_into() {
    let mut sheet = isolated("towards-repeater");
    sheet["shop"]["parts"]["isolator"]["isolator"]["reverse_power_max_w"] = json!(50.0);
    sheet["session"]["chains"]["tx"] =
        chain("transmitter-port", "gen", json!(["isolator"]), json!([]));
    let appraisal = appraised(&sheet);
    let kinds: Vec<StopKind> = state(&appraisal, "tx").stops.iter().map(|stop| stop.kind).collect();
    assert_eq!(kinds, [StopKind::GeneratorExposed]);
}

#[test]
fn a_generators_way_through_an_isolator_is_the_other_one() {
    for (arrow, loss) in [("towards-repeater", 0.5), ("away-from-repeater", 25.0)] {
        let mut sheet = sheet();
        sheet["shop"]["parts"]["isolator"] = isolator(arrow);
        sheet["session"]["chains"]["rx"] =
            chain("receiver-port", "gen", json!(["isolator"]), json!([]));
        sheet["session"]["readings"]["a"] = reading("receiver.opening", "rx", "-95", "dBm");
        let appraisal = appraised(&sheet);
        let found = verdict(&appraisal, "receiver.opening");
        assert!((found.at_plane.unwrap() - (-95.0 - loss)).abs() < 1e-9, "{arrow}");
    }
}

fn swept() -> Value {
    let mut sheet = sheet();
    sheet["site"]["repeaters"]["r"]["duplexer_sweep"] = json!({
        "transmit_path": [{ "at_hz": 154_000_000, "loss_db": 1.2 },
                          { "at_hz": 156_000_000, "loss_db": 1.4 }],
        "receive_path": [{ "at_hz": 149_000_000, "loss_db": 1.6 },
                         { "at_hz": 151_000_000, "loss_db": 2.0 }],
        "tolerance_db": 0.1, "swept_on": "2026-05-01", "source": "sweep 7" });
    sheet
}

#[test]
fn a_swept_duplexer_foretells_readings_and_its_rating_judges_them() {
    let mut sheet = swept();
    for (id, check, through, typed, unit) in [
        ("a", "receiver.opening", "rx", "-121", "dBm"),
        ("b", "duplexer.receive-loss", "ant", "-119.2", "dBm"),
        ("c", "transmitter.power", "tx", "22", "W"),
    ] {
        sheet["session"]["readings"][id] = reading(check, through, typed, unit);
    }
    let appraisal = appraised(&sheet);
    let check = |id: &str| appraisal.checks.iter().find(|state| state.check.id == id).unwrap();
    // −121 dBm and 1.8 dB halfway between the points; 22 W less 1.3 dB.
    let receive = check("duplexer.receive-loss");
    assert!((receive.expected_at_plane.unwrap() - -119.2).abs() < 1e-9);
    let because = &receive.expected["ant"].because;
    assert!(because.contains("swept loss"), "{because}");
    let transmit = check("duplexer.transmit-loss");
    assert!((transmit.expected_at_plane.unwrap() - (43.424_227 - 1.3)).abs() < 1e-4);
    // Its limit stays the rated 1 dB with the plan's allowance.
    let found = verdict(&appraisal, "duplexer.receive-loss");
    assert!((found.value.unwrap() - 1.8).abs() < 1e-9);
    assert!(found.limits.unwrap().high.unwrap() < 1.8, "{:?}", found.limits);
    let diagram = &state(&appraisal, "ant").diagrams[0];
    let last = diagram.nodes.last().unwrap();
    assert_eq!(last.element.as_deref(), Some("duplexer, receive path, swept 2026-05-01"));
    assert!((last.loss_db.unwrap() - 1.8).abs() < 1e-9);
    let reconciled = appraisal.reconciled.unwrap();
    let loss = reconciled.estimates.iter().find(|e| e.what == "loss of the receive path").unwrap();
    assert!((loss.before - 1.8).abs() < 1e-9, "{loss:?}");
}

#[test]
fn an_accuracy_by_range_reaches_the_budget() {
    let mut sheet = sheet();
    sheet["shop"]["instruments"]["set"]["accuracy"]["ranges"] = json!([
        { "of": "level", "to": -115.0, "half_width": 2.0 },
        { "of": "level", "to": -115.0, "from_hz": 151_000_000, "half_width": 4.0 },
        { "of": "power", "from": 10.0, "half_width": 8.0 },
        { "of": "frequency", "half_width": 0.5 },
        { "of": "deviation", "to": 1_000.0, "half_width": 10.0 } ]);
    for (id, check, through, typed, unit) in [
        ("a", "receiver.opening", "rx", "-121", "dBm"),
        ("b", "transmitter.power", "tx", "22", "W"),
        ("c", "transmitter.frequency-error", "tx", "-100", "Hz"),
        ("d", "transmitter.deviation", "tx", "2", "kHz"),
    ] {
        sheet["session"]["readings"][id] = reading(check, through, typed, unit);
    }
    let appraisal = appraised(&sheet);
    // Rectangular, HANDBOOK G2: 2 dB, 8 % as 10·log10(1.08), 0.5 ppm of 155 MHz, 3 % of 2 kHz.
    for (check, half_width) in [
        ("receiver.opening", 2.0),
        ("transmitter.power", 0.334_238),
        ("transmitter.frequency-error", 77.5),
        ("transmitter.deviation", 60.0),
    ] {
        let found = verdict(&appraisal, check);
        let own = found.budget.iter().find(|line| line.what.ends_with("test set")).unwrap();
        assert!((own.standard - half_width / 3f64.sqrt()).abs() < 1e-5, "{check}: {own:?}");
    }
    // The generator of the level diagram is as sure as at the level it would be set to.
    let start = &state(&appraisal, "rx").diagrams[0].nodes[0];
    assert!((start.expanded_db - 2.0 * 2.0 / 3f64.sqrt()).abs() < 1e-9, "{start:?}");
}

const OWN: &str = "[[frequency_tolerance]]\nfrom_hz = 150_000_000\nto_hz = 174_000_000\n\
    channel_hz = 12_500\nbase_ppm = 4.0\nsource = \"shop rule 4\"\ntext_date = \"2026\"\n";

#[test]
fn a_shops_own_row_judges_and_says_so() {
    let mut sheet = sheet();
    sheet["session"]["readings"]["a"] = reading("transmitter.frequency-error", "tx", "500", "Hz");
    let shipped = appraised(&sheet);
    let before = verdict(&shipped, "transmitter.frequency-error");
    // HANDBOOK 2.1, footnote 5: 2.5 ppm of 155 MHz is 387.5 Hz; 4 ppm are 620 Hz.
    assert!((before.limits.unwrap().high.unwrap() - 387.5).abs() < 1e-9);
    assert_eq!(before.outcome, Outcome::Fail);
    sheet["shop"]["limit_rows"] = json!({ "us": OWN });
    let own = appraised(&sheet);
    let found = verdict(&own, "transmitter.frequency-error");
    assert!((found.limits.unwrap().high.unwrap() - 620.0).abs() < 1e-9);
    assert_eq!(found.outcome, Outcome::Pass);
    assert_eq!(found.limit_source, "4 ppm, shop: shop rule 4, text of 2026");
    assert!(found.working.iter().any(|line| line.contains("shop: shop rule 4")));
}

#[test]
fn a_row_from_memory_and_what_stands_beside_a_limit_are_said() {
    let mut sheet = sheet();
    sheet["site"]["repeaters"]["r"]["transmit_hz"] = json!(460_000_000);
    sheet["session"]["readings"]["a"] = reading("transmitter.frequency-error", "tx", "50", "Hz");
    let appraisal = appraised(&sheet);
    let found = verdict(&appraisal, "transmitter.frequency-error");
    // HANDBOOK 2.1, footnotes 7 and 14: from memory, unverified.
    assert!(!found.limit_verified && found.limit_source.contains("from memory, unverified"));
    assert!(found.reason.ends_with("limit not verified"), "{}", found.reason);
    assert!(!found.limit_notes.is_empty());
    for note in &found.limit_notes {
        assert!(found.working.iter().any(|line| line.contains(note.as_str())), "{note}");
    }
}

/// The sheet with a licence for 155 MHz, 20 W and 40 W ERP; 3 dBd behind 0.7 dB.
fn licensed() -> Value {
    let mut sheet = sheet();
    sheet["site"]["repeaters"]["r"]["licence"] = json!({ "transmit_hz": 155_000_000,
        "output_w": 22.0, "erp_w": 30.0, "source": "licence 12, page 1" });
    sheet["site"]["repeaters"]["r"]["antenna"] =
        json!({ "gain_dbd": 3.0, "other_loss_db": 0.7, "tolerance_db": 0.3 });
    sheet
}

fn said<'a>(appraisal: &'a Appraisal, subject: &str) -> &'a LicenceVerdict {
    appraisal.licence.iter().find(|verdict| verdict.subject == subject).unwrap()
}

#[test]
fn a_licence_closes_the_upper_side_of_a_rated_power() {
    let mut sheet = licensed();
    sheet["session"]["readings"]["p"] = reading("transmitter.power", "tx", "22", "W");
    let appraisal = appraised(&sheet);
    let found = verdict(&appraisal, "transmitter.power");
    assert!((found.limits.unwrap().high.unwrap() - 43.424_227).abs() < 1e-4);
    assert!(found.limit_source.contains("licence 12, page 1"), "{}", found.limit_source);
    assert!((found.margin.unwrap()).abs() < 1e-9, "exactly the licensed power");
    sheet["site"]["repeaters"]["r"]["licence"]["output_w"] = json!(100.0);
    let wider = appraised(&sheet);
    let found = verdict(&wider, "transmitter.power");
    assert!(!found.limit_source.contains("licence 12"), "a rating below it holds");
}

#[test]
fn carrier_output_and_erp_are_held_against_the_licence() {
    let mut sheet = licensed();
    sheet["session"]["readings"]["f"] = reading("transmitter.frequency-error", "tx", "-100", "Hz");
    sheet["session"]["readings"]["p"] = reading("transmitter.power", "tx", "22", "W");
    let appraisal = appraised(&sheet);
    let carrier = said(&appraisal, "carrier");
    assert_eq!(carrier.outcome, Outcome::Pass);
    assert!((carrier.off - -100.0).abs() < 1e-6 && (carrier.margin - 287.5).abs() < 1e-6);
    assert!(carrier.source.contains("licence 12") && carrier.source.contains("2.5 ppm"));
    assert!(said(&appraisal, "output power").off.abs() < 1e-9);
    // 43.4242 dBm − 1 dB duplexer − 0.7 dB + 3 dBd = 44.7242 dBm; 30 W is 44.7712 dBm.
    let erp = said(&appraisal, "ERP");
    assert!((erp.off - (44.724_227 - 44.771_213)).abs() < 1e-4, "{erp:?}");
    assert_eq!(erp.outcome, Outcome::ConditionalPass, "nearer than its uncertainty");
    // Meter 4 % as 10·log10(1.04), duplexer 0.2 dB, antenna 0.3 dB, and the plan's repeatability.
    let meter = 10.0 * 1.04f64.log10();
    let repeat = Plan::standard().find("transmitter.power").unwrap().repeat;
    let squares: f64 = [meter, 0.2, 0.3, repeat].iter().map(|half| half * half / 3.0).sum();
    assert!((erp.expanded - 2.0 * squares.sqrt()).abs() < 1e-9, "{erp:?}");
    assert!(appraisal.findings.iter().all(|f| !f.what.contains("licence does not allow")));
}

#[test]
fn power_read_at_the_antenna_port_goes_before_the_transmitters() {
    let mut sheet = licensed();
    sheet["session"]["readings"]["p"] = reading("transmitter.power", "tx", "22", "W");
    sheet["session"]["readings"]["q"] = reading("duplexer.transmit-loss", "ant", "19.3", "W");
    let appraisal = appraised(&sheet);
    // 19.3 W is 42.8556 dBm: + 3 − 0.7 dB = 45.1556 dBm, over 30 W by 0.3844 dB.
    let erp = said(&appraisal, "ERP");
    assert!((erp.off - 0.384_360).abs() < 1e-4, "{erp:?}");
    assert_eq!(erp.outcome, Outcome::ConditionalFail);
    let finding = appraisal.findings.iter().find(|f| f.what.contains("does not allow this ERP"));
    let finding = finding.unwrap();
    assert_eq!(finding.weight, findings::Weight::Fault);
    assert!(finding.evidence.contains("licence 12"), "{finding:?}");
    // Adjusted since: what goes out now follows from the transmitter as left.
    let mut left = reading("transmitter.power", "tx", "10", "W");
    left["phase"] = json!("as-left");
    sheet["session"]["readings"]["s"] = left;
    let erp_w = 10f64.powf((40.0 - 1.0 - 0.7 + 3.0 - 30.0) / 10.0);
    let off = 10.0 * (erp_w / 30.0).log10();
    assert!((said(&appraised(&sheet), "ERP").off - off).abs() < 1e-6);
}

#[test]
fn a_feedline_by_type_and_length_is_taken_off_the_erp() {
    let mut sheet = licensed();
    sheet["session"]["readings"]["p"] = reading("transmitter.power", "tx", "22", "W");
    let without = said(&appraised(&sheet), "ERP").clone();
    sheet["site"]["repeaters"]["r"]["antenna"]["feedline"] =
        json!({ "listed": "solid-10mm", "length_m": 20.0 });
    let with = said(&appraised(&sheet), "ERP").clone();
    let law = &crate::rf::feedline::cable("solid-10mm").unwrap().law;
    let loss = (law.k1 * 155f64.sqrt() + law.k2 * 155.0) / 5.0;
    assert!((without.off - with.off - loss).abs() < 1e-9);
    assert!(with.expanded > without.expanded);
}

#[test]
fn a_licence_judged_by_a_row_from_memory_says_so() {
    let mut sheet = licensed();
    sheet["session"]["readings"]["f"] = reading("transmitter.frequency-error", "tx", "50", "Hz");
    let seen = said(&appraised(&sheet), "carrier").clone();
    assert!(seen.verified && !seen.words.contains("not verified"), "{seen:?}");
    for place in ["/transmit_hz", "/licence/transmit_hz"] {
        let repeater = &mut sheet["site"]["repeaters"]["r"];
        *repeater.pointer_mut(place).unwrap() = json!(460_000_000);
    }
    // HANDBOOK 2.1, footnote 7: from memory, unverified.
    let remembered = said(&appraised(&sheet), "carrier").clone();
    assert!(!remembered.verified && remembered.words.ends_with("; tolerance not verified"));
}

#[test]
fn a_licence_for_another_channel_is_a_fault() {
    let mut sheet = licensed();
    sheet["site"]["repeaters"]["r"]["licence"]["transmit_hz"] = json!(155_012_500);
    sheet["session"]["readings"]["f"] = reading("transmitter.frequency-error", "tx", "0", "Hz");
    let appraisal = appraised(&sheet);
    assert!(said(&appraisal, "carrier").words.contains("another channel"));
    let fault = appraisal.findings.iter().find(|f| f.what.contains("this carrier")).unwrap();
    assert_eq!(fault.weight, findings::Weight::Fault);
}
