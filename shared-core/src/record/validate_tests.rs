//! What a shop and a site may say of parts, accuracies, licence, sweep and antenna, and what not.

use serde_json::{Value, json};

use super::{Problem, shop, site};
use crate::record::{Shop, Site};

fn point(at_hz: u64, loss_db: f64) -> Value {
    json!({ "at_hz": at_hz, "loss_db": loss_db })
}

fn a_shop() -> Value {
    json!({
        "name": "shop", "decision_rule": "guard-banded", "people": {},
        "instruments": { "set": {
            "name": "set", "calibration_due": "2027-01-01", "ports": {},
            "accuracy": {
                "level_db": 1.0, "power_percent": 6.0, "frequency_ppm": 0.1,
                "deviation_percent": 5.0,
                "ranges": [{ "of": "level", "to": -110.0, "from_hz": 1_000_000, "half_width": 2.0 }]
            }
        } },
        "parts": {
            "jumper": {
                "name": "jumper", "kind": "cable", "tolerance_db": 0.1, "power_max_w": 100.0,
                "cable": { "listed": "solid-10mm", "length_m": 3.0, "length_tolerance_m": 0.1 }
            },
            "isolator": {
                "name": "isolator", "kind": "isolator", "tolerance_db": 0.1, "power_max_w": 100.0,
                "loss": [point(155_000_000, 0.4)],
                "isolator": {
                    "arrow": "away-from-repeater", "isolation": [point(155_000_000, 25.0)],
                    "reverse_power_max_w": 5.0
                }
            }
        },
        "limit_rows": { "us": "[[deviation]]\nchannel_hz = 30_000\ndeviation_max_hz = 6_000\n\
            source = \"shop rule 4\"\ntext_date = \"2025\"\n" }
    })
}

fn a_site() -> Value {
    json!({
        "name": "site", "access": "by foot", "hazards": [],
        "repeaters": { "r": {
            "name": "r", "receive_hz": 153_400_000, "transmit_hz": 158_600_000,
            "channel_width_hz": 12_500, "station": "base", "region": "us",
            "ratings": {
                "opening_level_dbm": -120.0, "power_w": 25.0, "duplexer_transmit_loss_db": 1.0,
                "duplexer_receive_loss_db": 1.0, "duplexer_tolerance_db": 0.3,
                "duplexer_power_max_w": 150.0
            },
            "licence": { "transmit_hz": 158_600_000, "erp_w": 100.0, "source": "licence 12" },
            "duplexer_sweep": {
                "transmit_path": [point(158_000_000, 1.1), point(159_000_000, 1.2)],
                "receive_path": [point(153_000_000, 1.3), point(154_000_000, 1.4)],
                "tolerance_db": 0.1, "swept_on": "2026-10-01", "source": "sweep 7"
            },
            "antenna": {
                "gain_dbd": 3.0, "other_loss_db": 0.5, "tolerance_db": 0.5,
                "feedline": { "listed": "solid-10mm", "length_m": 20.0 }
            }
        } }
    })
}

/// The value with what stands at a pointer changed.
fn with(mut value: Value, at: &str, to: Value) -> Value {
    let (parent, field) = at.rsplit_once('/').unwrap();
    value.pointer_mut(parent).unwrap()[field] = to;
    value
}

fn told(problems: Vec<Problem>) -> Vec<String> {
    problems.iter().map(ToString::to_string).collect()
}

fn of_shop(value: Value) -> Vec<String> {
    told(shop(&serde_json::from_value::<Shop>(value).unwrap()))
}

fn of_site(value: Value) -> Vec<String> {
    told(site(&serde_json::from_value::<Site>(value).unwrap()))
}

#[test]
fn what_can_be_meant_is_taken() {
    assert_eq!(of_shop(a_shop()), [""; 0]);
    assert_eq!(of_site(a_site()), [""; 0]);
}

#[test]
fn what_a_shop_cannot_mean_is_named_where_it_stands() {
    let range = "/instruments/set/accuracy/ranges/0";
    let cases = [
        (format!("{range}/half_width"), json!(20.5), "half_width: 20.5 is outside 0 to 20"),
        (format!("{range}/half_width"), json!(-0.1), "half_width: -0.1 is outside 0 to 20"),
        (format!("{range}/from"), json!(-100.0), "to: lies below from"),
        (format!("{range}/to_hz"), json!(999_999), "to_hz: lies below from_hz"),
        (format!("{range}/to"), json!(2e9), "to: 2000000000 is outside"),
        ("/parts/jumper/cable/listed".into(), json!("none"), "no cable is listed as \"none\""),
        ("/parts/jumper/cable/length_m".into(), json!(0.0), "length_m: 0 is outside 0.01"),
        ("/parts/jumper/cable/length_m".into(), json!(2_001.0), "outside 0.01 to 2000"),
        ("/parts/jumper/cable/length_tolerance_m".into(), json!(3.1), "is more than the length"),
        ("/parts/jumper/loss".into(), json!([point(155_000_000, 0.4)]), "loss: has no place here"),
        ("/parts/jumper/cable".into(), Value::Null, "loss: at least one point is wanted"),
        ("/parts/jumper/kind".into(), json!("pad"), "cable: has no place here: only a cable"),
        ("/parts/isolator/kind".into(), json!("pad"), "isolator: has no place here"),
        ("/parts/isolator/isolator".into(), Value::Null, "isolator: is wanted"),
        ("/parts/isolator/isolator/isolation".into(), json!([]), "isolation: at least one point"),
        ("/parts/isolator/isolator/reverse_power_max_w".into(), json!(-1.0), "power of -1 W"),
        ("/limit_rows/us".into(), json!("x"), "limit_rows.us: line 1"),
        ("/limit_rows".into(), json!({ "xx": "" }), "limit_rows.xx: no limits are known"),
    ];
    for (at, to, expected) in cases {
        let problems = of_shop(with(a_shop(), &at, to)).join("\n");
        assert!(problems.contains(expected), "{at}: {problems:?}, not {expected:?}");
    }
}

#[test]
fn what_a_site_cannot_mean_is_named_where_it_stands() {
    let many: Vec<Value> = (0..65).map(|k| point(158_000_000 + k, 1.0)).collect();
    let cases = [
        ("licence/transmit_hz", json!(0), "licence.transmit_hz: "),
        ("licence/erp_w", json!(0.0), "licence.erp_w: power of 0 W"),
        ("licence/output_w", json!(-1.0), "licence.output_w: power of -1 W"),
        ("licence/source", json!(" "), "licence.source: is empty"),
        ("duplexer_sweep/transmit_path", json!([]), "transmit_path: at least one point is wanted"),
        ("duplexer_sweep/transmit_path", json!(many), "65 points; 64 is the most"),
        (
            "duplexer_sweep/receive_path",
            json!([point(2_000_000, 1.0), point(1_000_000, 1.0)]),
            "receive_path: the points must rise",
        ),
        (
            "duplexer_sweep/receive_path",
            json!([point(153_400_001, 1.0), point(154_000_000, 1.0)]),
            "receive_path: does not reach the path's own frequency, 153400000 Hz",
        ),
        (
            "duplexer_sweep/transmit_path",
            json!([point(158_000_000, 1.0), point(158_599_999, 1.0)]),
            "transmit_path: does not reach the path's own frequency, 158600000 Hz",
        ),
        ("duplexer_sweep/tolerance_db", json!(10.5), "tolerance_db: 10.5 is outside 0 to 10"),
        ("duplexer_sweep/swept_on", json!("yesterday"), "swept_on: \"yesterday\" is no date"),
        ("duplexer_sweep/source", json!(""), "duplexer_sweep.source: is empty"),
        ("antenna/gain_dbd", json!(31.0), "antenna.gain_dbd: 31 is outside -30 to 30"),
        ("antenna/other_loss_db", json!(-0.1), "other_loss_db: -0.1 is outside 0 to 60"),
        ("antenna/tolerance_db", json!(21.0), "tolerance_db: 21 is outside 0 to 20"),
        ("antenna/feedline/listed", json!("none"), "no cable is listed"),
    ];
    for (at, to, expected) in cases {
        let problems = of_site(with(a_site(), &format!("/repeaters/r/{at}"), to)).join("\n");
        assert!(problems.contains(expected), "{at}: {problems:?}, not {expected:?}");
    }
}
