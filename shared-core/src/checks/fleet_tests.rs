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

#[test]
fn a_band_goes_by_the_frequency_its_stage_works_on() {
    let of = |receive_hz: u64, stage: Stage| {
        let mut one = repeater("one", receive_hz, &[1.0], 0.0);
        one.histories[0].stage = stage;
        fleet(&[one])[0].band.clone()
    };
    // Bands 7 to 10 of ITU-R V.431, from memory, unverified; it transmits 5 MHz higher.
    for (receive_hz, received, transmitted) in [
        (24_999_999, "HF", "HF"),
        (25_000_000, "HF", "VHF"),
        (30_000_000, "VHF", "VHF"),
        (299_000_000, "VHF", "UHF"),
        (300_000_000, "UHF", "UHF"),
        (2_999_000_000, "UHF", "SHF"),
        (3_000_000_000, "SHF", "SHF"),
    ] {
        for stage in [Stage::Receiver, Stage::Duplexer, Stage::Desense, Stage::Prepare] {
            assert_eq!(of(receive_hz, stage), received, "{receive_hz} {stage:?}");
        }
        assert_eq!(of(receive_hz, Stage::Transmitter), transmitted, "{receive_hz}");
    }
}

#[test]
fn room_and_years_go_by_the_side_a_value_moves_to() {
    let one = |per_year: f64, limits: Limits| {
        let mut one = repeater("one", 153_000_000, &[0.5, 0.5, 0.5], per_year);
        one.histories[0].limits = Some(limits);
        fleet(&[one])[0].members[0].clone()
    };
    let both = Limits::between(-1.0, 2.0);
    // By hand, from 0.5: 1.5 up to 2, 1.5 down to −1.
    let up = one(0.5, both);
    assert!((up.room.unwrap() - 1.5).abs() < 1e-12 && (up.years_left.unwrap() - 3.0).abs() < 1e-9);
    let down = one(-0.75, both);
    assert!((down.years_left.unwrap() - 2.0).abs() < 1e-9, "{down:?}");
    assert_eq!(one(0.0, both).years_left, None, "it goes nowhere");
    let low = one(-0.25, Limits::at_least(0.25));
    assert!(
        (low.room.unwrap() - 0.25).abs() < 1e-12 && (low.years_left.unwrap() - 1.0).abs() < 1e-9
    );
    assert_eq!(one(0.25, Limits::at_least(0.25)).years_left, None, "away from its limit");
    let outside = one(0.5, Limits::at_most(0.25));
    assert!((outside.room.unwrap() - -0.25).abs() < 1e-12);
    assert_eq!(outside.years_left, None, "it has met it");
}

#[test]
fn a_value_at_its_limit_is_not_outside() {
    let at = repeater("at", 153_000_000, &[1.3, 1.3, 1.3], 0.0);
    let near = repeater("near", 153_000_000, &[1.2, 1.2, 1.2], 0.2);
    // Half a year is left to the one that moves; the other stands at the limit for ever.
    assert_eq!(order(&fleet(&[at, near])[0]), ["near", "at"]);
}

/// Scores of a class whose members have these rooms: all stand, and no instrument scatters.
fn rooms_apart(values: &[f64]) -> Vec<Option<f64>> {
    scores(&values.iter().copied().map(Some).collect::<Vec<_>>(), Vec::new())
}

#[test]
fn one_stands_apart_from_five_members_on_and_beyond_the_score() {
    // By hand: median 3, distances 2, 1, 0, 1 and x − 3, their median 1: M = 0.6745·(x − 3).
    assert_eq!(rooms_apart(&[1.0, 2.0, 3.0, 4.0, 8.0]), [None; 5]);
    let apart = rooms_apart(&[1.0, 2.0, 3.0, 4.0, 9.0]);
    assert_eq!(&apart[..4], [None; 4]);
    assert!((apart[4].unwrap() - 0.6745 * 6.0).abs() < 1e-9, "{apart:?}");
    assert_eq!(rooms_apart(&[1.0, 2.0, 3.0, 9.0]), [None; 4], "four are too few");
    assert_eq!(rooms_apart(&[3.0, 3.0, 3.0, 3.0, 9.0]), [None; 5], "no spread to measure by");
    // An instrument's own scatter holds the spread up: M = (x − 3)/2.
    let values = [3.0, 3.0, 3.0, 3.0, 9.0, 11.0].map(Some);
    let apart = scores(&values, vec![2.0, 2.0, 5.0]);
    assert_eq!(&apart[..5], [None; 5]);
    assert!((apart[5].unwrap() - 4.0).abs() < 1e-9, "{apart:?}");
}

#[test]
fn the_middle_is_the_middle_one_or_the_mean_of_two() {
    for (values, middle) in [
        (vec![], None),
        (vec![4.0], Some(4.0)),
        (vec![4.0, 1.0], Some(2.5)),
        (vec![9.0, 1.0, 4.0], Some(4.0)),
        (vec![9.0, 1.0, 5.0, 4.0], Some(4.5)),
        (vec![9.0, 1.0, 5.0, 4.0, 7.0, 6.0], Some(5.5)),
    ] {
        assert_eq!(median(values.clone()), middle, "{values:?}");
    }
}

#[test]
fn the_readings_behind_a_drift_are_the_repeaters_own() {
    let mut all: Vec<FleetRepeater> = (0..6)
        .map(|n| repeater(&format!("like {n}"), 153_000_000, &[0.9, 0.9, 0.9], 0.01 * f64::from(n)))
        .collect();
    // Two of one site are called alike; the second has another check before the one in question.
    let mut apart = repeater("apart", 153_000_000, &[-4.0, -3.0, -2.0], 1.0);
    let mut other = apart.histories[0].clone();
    other.check = "duplexer.transmit-loss".to_owned();
    other.points.truncate(1);
    apart.histories.insert(0, other);
    let mut twin = repeater("apart", 153_000_000, &[0.9], 0.0);
    for read in twin.histories[0].points.iter_mut().filter_map(|point| point.as_found.as_mut()) {
        "twin's".clone_into(&mut read.reading);
    }
    let mut elsewhere = repeater("apart", 153_000_000, &[0.9, 0.9], 0.0);
    "site elsewhere".clone_into(&mut elsewhere.site);
    all.extend([elsewhere, twin, apart]);
    let found = fleet(&all);
    let class = found.iter().find(|class| class.check == "duplexer.receive-loss").unwrap();
    let drifts = class.members.iter().flat_map(|member| &member.apart);
    let drifts: Vec<&Apart> = drifts.filter(|apart| apart.by == ApartBy::Drift).collect();
    assert_eq!(drifts.len(), 1, "{drifts:?}");
    let readings: Vec<&str> = drifts[0].readings.iter().map(|it| it.reading.as_str()).collect();
    assert_eq!(readings, ["apart 0", "apart 1", "apart 2"]);
}

#[test]
fn a_history_of_one_moment_has_no_spread_of_drift() {
    let mut spreads = Spreads::default();
    spreads.add(&repeater("one", 153_000_000, &[1.0], 0.0).histories[0]);
    assert_eq!((spreads.readings.len(), spreads.drifts.len()), (1, 0));
    spreads.add(&repeater("two", 153_000_000, &[1.0, 1.0], 0.0).histories[0]);
    // By hand: years −½ and ½ about their mean, Σ = ½; 0.1/√½.
    assert!((spreads.drifts[0] - 0.1 / 0.5f64.sqrt()).abs() < 1e-9, "{:?}", spreads.drifts);
}
