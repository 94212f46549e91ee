//! A class is ranked by the years its members have left, and whoever is unlike them is named with
//! the readings that say so.

use super::*;
use crate::checks::history::{HistoryOutlook, HistoryShape};
use crate::time::Timestamp;
use crate::uncertainty::Outcome;

const YEAR_MS: i64 = 31_557_600_000;

fn repeater(name: &str, receive_hz: u64, values: &[f64], per_year: f64) -> FleetRepeater {
    let read = |(year, value): (i64, &f64)| HistoryRead {
        reading: format!("{name} {year}"),
        value: *value,
        expanded: Some(0.2),
        outcome: Outcome::Pass,
        text: format!("{value} dB"),
        at: Timestamp::from_unix_ms(year * YEAR_MS).unwrap(),
        standard: Some(0.1),
    };
    let point = |(year, value): (i64, &f64)| HistoryPoint {
        session: format!("S{year}"),
        at: Timestamp::from_unix_ms(year * YEAR_MS).unwrap(),
        as_found: Some(read((year, value))),
        as_left: None,
    };
    let history = CheckHistory {
        check: "duplexer.receive-loss".to_owned(),
        title: "Receive-path loss".to_owned(),
        stage: Stage::Duplexer,
        judged: "loss".to_owned(),
        unit: "dB".to_owned(),
        limits: Some(Limits::at_most(1.3)),
        limit_text: "at most 1.3 dB".to_owned(),
        points: (0..).zip(values).map(point).collect(),
        trend: Some(HistoryTrend {
            per_year,
            low: None,
            high: None,
            shape: HistoryShape::Drift,
            step: None,
            step_day: None,
            outlook: None::<HistoryOutlook>,
            line: Vec::new(),
        }),
    };
    FleetRepeater {
        site: format!("site of {name}"),
        site_name: name.to_owned(),
        repeater: "base repeater".to_owned(),
        receive_hz,
        transmit_hz: receive_hz + 5_000_000,
        histories: vec![history],
    }
}

fn order(class: &FleetClass) -> Vec<&str> {
    class.members.iter().map(|member| member.site_name.as_str()).collect()
}

#[test]
fn the_worst_is_outside_then_who_has_the_fewest_years_left() {
    let vhf = 153_000_000;
    let found = fleet(&[
        repeater("steady", vhf, &[1.0, 1.0, 1.0], 0.0),
        repeater("slow", vhf, &[0.9, 1.0, 1.1], 0.1),
        repeater("fast", vhf, &[0.3, 0.6, 0.9], 0.3),
        repeater("outside", vhf, &[1.4, 1.4, 1.4], 0.0),
        repeater("mends itself", vhf, &[1.2, 1.1, 1.05], -0.1),
        repeater("other band", 460_000_000, &[1.0], 0.0),
    ]);
    assert_eq!(found.iter().map(|class| class.band.as_str()).collect::<Vec<_>>(), ["UHF", "VHF"]);
    let class = &found[1];
    // By hand: fast has 0.4 dB at 0.3 a year, 1.33 years; slow 0.2 at 0.1, 2 years; then by room.
    assert_eq!(order(class), ["outside", "fast", "slow", "mends itself", "steady"]);
    let years: Vec<Option<f64>> = class.members.iter().map(|member| member.years_left).collect();
    assert!((years[1].unwrap() - 4.0 / 3.0).abs() < 1e-9 && (years[2].unwrap() - 2.0).abs() < 1e-9);
    assert_eq!((years[3], years[4]), (None, None));
    // The middle of −0.1, 0, 0, 0.1 and 0.3.
    assert!(class.middle_per_year.unwrap().abs() < 1e-9);
}

#[test]
fn who_stands_apart_is_named_with_the_readings_that_make_it_so() {
    let like: Vec<FleetRepeater> = (0..6)
        .map(|n| {
            repeater(&format!("like {n}"), 153_000_000, &[0.9, 0.9, 0.9 + 0.01 * f64::from(n)], 0.0)
        })
        .collect();
    let apart = repeater("apart", 153_000_000, &[-4.0, -3.0, -2.0], 1.0);
    let found = fleet(&[like, vec![apart]].concat());
    let members = &found[0].members;
    let named = members.iter().filter(|member| !member.apart.is_empty());
    let named: Vec<&str> = named.map(|member| member.site_name.as_str()).collect();
    assert_eq!(named, ["apart"]);
    let apart = members.iter().find(|member| member.site_name == "apart").unwrap();
    let [room, drift] = apart.apart.as_slice() else { panic!("{:?}", apart.apart) };
    assert_eq!((room.by, room.readings.len()), (ApartBy::Room, 1));
    assert_eq!(room.readings[0], apart.newest);
    assert_eq!((drift.by, drift.readings.len()), (ApartBy::Drift, 3));
    // MAD is held up by what a deviation of 0.1 makes of a line through years 0, 1 and 2, by hand
    // 0.1/√2: 0.6745·1 / (0.6745·0.1/√2) = 10·√2.
    assert!((drift.score - 200.0_f64.sqrt()).abs() < 1e-9, "{}", drift.score);
}

#[test]
fn four_are_too_few_for_one_to_stand_apart() {
    let like = |n: i32| repeater(&format!("{n}"), 153_000_000, &[0.9, 0.9, 0.9], 0.0);
    let all =
        [(0..3).map(like).collect(), vec![repeater("far", 153_000_000, &[-9.0], 5.0)]].concat();
    assert!(fleet(&all)[0].members.iter().all(|member| member.apart.is_empty()));
}

#[test]
fn a_fleet_of_nobody_has_no_class() {
    assert!(fleet(&[]).is_empty());
}
