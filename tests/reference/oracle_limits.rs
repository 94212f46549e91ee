//! Limits, designators and exposure against python's decimal, scipy and pint: thousands of random
//! cases from `oracle_limits.py`.

use guyline_core::language::Language;
use guyline_core::limits::{StationClass, frequency_tolerance};
use guyline_core::rf::emission::{Bandwidth, frequency_modulation_hz, shift_keying_hz};
use guyline_core::rf::exposure::{
    Emitter, ExposureExtent, ExposureStandard, ExposureTier, WaveReflection, estimate,
};
use guyline_core::units::{Db, Hertz, Watts};
use serde_json::Value;

use crate::oracle::oracle;
use crate::source::Source::Computed;
use crate::source::close;

fn number(case: &Value, field: &str) -> f64 {
    case[field].as_f64().unwrap_or_else(|| panic!("{field} of {case} is no number"))
}

fn named<T: serde::de::DeserializeOwned>(value: &Value) -> T {
    serde_json::from_value(value.clone()).unwrap()
}

/// Within one part in a thousand million.
fn same(id: &str, got: f64, expected: f64, how: &'static str) {
    close(id, got, expected, expected.abs() * 1e-9, &Computed(how));
}

fn cases<'a>(all: &'a Value, name: &str) -> &'a [Value] {
    let cases = all[name].as_array().unwrap();
    assert!(cases.len() >= 1000, "{name}: only {} cases", cases.len());
    cases
}

#[test]
fn python_agrees_with_the_core() {
    let all = oracle("oracle_limits.py");
    cases(&all, "tolerances").iter().for_each(tolerance);
    cases(&all, "designators").iter().for_each(designator);
    cases(&all, "bandwidths").iter().for_each(bandwidth);
    cases(&all, "exposures").iter().for_each(exposure);
}

fn tolerance(case: &Value) {
    let carrier_hz = case["carrier_hz"].as_u64().unwrap();
    let station: StationClass = named(&case["station"]);
    // A width that no footnote names: the table's own cell.
    let found = frequency_tolerance("us", carrier_hz, 25_000, station);
    let id = format!("{carrier_hz} Hz {station:?}");
    match case["ppm"].as_f64() {
        None => assert!(found.is_err(), "{id}: no cell, yet {found:?}"),
        Some(ppm) => {
            let got = found.unwrap_or_else(|unknown| panic!("{id}: {unknown}")).value;
            same(&id, got.ppm(), ppm, "the table typed anew");
            let carrier = Hertz::carrier(carrier_hz as f64).unwrap();
            same(&id, got.at(carrier).hertz(), number(case, "hz"), "python's decimal");
        }
    }
}

fn designator(case: &Value) {
    let hz = number(case, "hz");
    let made = Bandwidth::from_hertz(hz).ok().map(|bandwidth| bandwidth.to_string());
    assert_eq!(made.as_deref(), case["text"].as_str(), "{hz} Hz by python's decimal");
}

fn bandwidth(case: &Value) {
    let [highest, deviation, k] = ["highest_hz", "deviation_hz", "k"].map(|f| number(case, f));
    let got = frequency_modulation_hz(highest, deviation, k).unwrap();
    same(&case.to_string(), got, number(case, "fm_hz"), "python's decimal");
    let got = shift_keying_hz(number(case, "rate_bd"), number(case, "shift_hz"), k).unwrap();
    same(&case.to_string(), got, number(case, "fsk_hz"), "python's decimal");
}

fn exposure(case: &Value) {
    let standard: ExposureStandard = named(&case["standard"]);
    let tier: ExposureTier = named(&case["tier"]);
    let transmitters = case["transmitters"].as_array().unwrap();
    let placed: Vec<(Emitter, f64)> = transmitters.iter().map(placed).collect();
    let found =
        estimate(standard, tier, ExposureExtent::WholeBody, &placed, Language::English).unwrap();
    let id = case.to_string();
    let shares = found.shares.iter().zip(&placed);
    for ((share, (emitter, _)), transmitter) in shares.zip(transmitters) {
        same(&id, emitter.eirp().watts(), number(transmitter, "eirp_w"), "pint");
        same(&id, share.limit.density_w_m2, number(transmitter, "limit_w_m2"), "typed anew");
        same(&id, share.density_w_m2, number(transmitter, "density_w_m2"), "pint, by the field");
        let root = number(transmitter, "distance_to_limit_m");
        same(&id, share.distance_to_limit_m, root, "scipy's root");
    }
    same(&id, found.fraction_total, number(case, "fraction_total"), "a plain sum");
    same(&id, found.distance_together_m, number(case, "distance_together_m"), "scipy's root");
}

fn placed(transmitter: &Value) -> (Emitter, f64) {
    let reflection: WaveReflection = named(&transmitter["reflection"]);
    let emitter = Emitter::new(
        Hertz::carrier(number(transmitter, "frequency_hz")).unwrap(),
        Watts::new(number(transmitter, "power_w")).unwrap(),
        number(transmitter, "duty"),
        Db::new(number(transmitter, "loss_db")).unwrap(),
        number(transmitter, "gain_dbi"),
        reflection,
    );
    (emitter.unwrap(), number(transmitter, "distance_m"))
}
