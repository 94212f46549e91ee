//! A history tells each visit once, in the order of time, and a drift with the day of its limit.

use super::*;
use crate::checks::kept_visit::sheet;
use crate::checks::{Cautions, Plan, Sheet, appraise};

const OPENING: &str = "receiver.opening";
/// A year of 365.25 days, as trends count them.
const YEAR_MS: i64 = 31_557_600_000;

/// The kept visit so many years later, its opening level read as this.
fn visit(years: i64, level_dbm: f64) -> Appraisal {
    let mut sheet: Sheet = sheet();
    for reading in sheet.session.readings.values_mut() {
        let ms = reading.stamp.at.unix_ms() + years * YEAR_MS;
        reading.stamp.at = Timestamp::from_unix_ms(ms).unwrap();
        if reading.check == OPENING {
            reading.typed = format!("{level_dbm}");
        }
    }
    // The kept calibrations end before the later visits.
    for instrument in sheet.shop.instruments.values_mut() {
        "2099-01-01".clone_into(&mut instrument.calibration_due);
    }
    for part in sheet.shop.parts.values_mut().filter(|part| part.calibration_due.is_some()) {
        part.calibration_due = Some("2099-01-01".to_owned());
    }
    appraise(Plan::standard(), Cautions::standard(), &sheet).unwrap()
}

fn opening(levels_dbm: &[f64]) -> CheckHistory {
    let visits: Vec<Appraisal> = (0..).zip(levels_dbm).map(|(y, dbm)| visit(y, *dbm)).collect();
    // Their order must not matter.
    let named: Vec<(&str, &Appraisal)> =
        visits.iter().rev().map(|visit| ("session", visit)).collect();
    histories(&named).into_iter().find(|it| it.check == OPENING).unwrap()
}

#[test]
fn a_drift_is_told_with_the_day_its_limit_is_met() {
    let found = opening(&[-125.0, -124.0, -123.0, -122.0, -121.0]);
    assert_eq!((found.unit.as_str(), found.points.len()), ("dBm", 5));
    assert!(found.points.is_sorted_by_key(|point| point.at));
    let trend = found.trend.as_ref().unwrap();
    // A dB a year, by the levels written above.
    assert!((trend.per_year - 1.0).abs() < 1e-9, "{}", trend.per_year);
    assert_eq!((trend.shape, trend.step), (HistoryShape::Drift, None));
    let outlook = trend.outlook.as_ref().unwrap();
    let last = found.points[4].as_found.as_ref().unwrap();
    let years = found.limits.unwrap().high.unwrap() - last.value;
    assert!(years > 0.0, "the last level is within its limit");
    let ms = found.points[4].at.unix_ms() + (years * YEAR_MS as f64) as i64;
    let day = Timestamp::from_unix_ms(ms).unwrap().day();
    let told: chrono::NaiveDate = outlook.day.as_ref().unwrap().parse().unwrap();
    assert!((told - day).num_days().abs() <= 1, "{told} is not {day}");
    assert!(!outlook.met);
}

#[test]
fn what_stands_has_no_day_and_what_jumped_has_a_place() {
    let found = opening(&[-121.0, -121.1, -121.0, -120.9, -121.0]);
    let trend = found.trend.unwrap();
    assert_eq!((trend.shape, trend.outlook), (HistoryShape::Steady, None));
    let found = opening(&[-125.0, -125.1, -125.0, -121.1, -121.0, -121.0]);
    let trend = found.trend.unwrap();
    assert_eq!(trend.shape, HistoryShape::Jump);
    assert_eq!(trend.step_day, Some(found.points[3].at.day().to_string()));
    assert!((trend.step.unwrap() - 4.0).abs() < 0.1, "{:?}", trend.step);
}

#[test]
fn two_visits_are_a_history_and_no_trend() {
    let found = opening(&[-121.0, -121.5]);
    assert_eq!((found.points.len(), found.trend), (2, None));
}

#[test]
fn an_adjustment_is_no_drift() {
    let read = |value: f64, at: i64| HistoryRead {
        reading: "R".to_owned(),
        value,
        expanded: Some(0.4),
        outcome: Outcome::Pass,
        text: String::new(),
        at: Timestamp::from_unix_ms(at).unwrap(),
        standard: Some(0.2),
    };
    let point = |year: i64, found: Option<f64>, left: Option<f64>| HistoryPoint {
        session: "S".to_owned(),
        at: Timestamp::from_unix_ms(year * YEAR_MS).unwrap(),
        as_found: found.map(|value| read(value, year * YEAR_MS)),
        as_left: left.map(|value| read(value, year * YEAR_MS)),
    };
    // Two dB lost each year and put back each time: by hand, 2 a year whatever was adjusted.
    let points: Vec<_> = (0..6).map(|year| point(year, Some(2.0), Some(0.0))).collect();
    let points = [vec![point(0, Some(0.0), Some(0.0))], points[1..].to_vec()].concat();
    let found = trend(&points, None).unwrap();
    assert!((found.per_year - 2.0).abs() < 1e-9, "{}", found.per_year);
    assert_eq!(found.shape, HistoryShape::Drift);
    for line in &found.line[1..] {
        assert!((line.found - 2.0).abs() < 1e-9 && line.left.abs() < 1e-9, "{line:?}");
    }
    // A visit that read only as left says nothing of how it was found: the trend begins there.
    let late = [vec![point(0, Some(50.0), None)], vec![point(1, None, Some(0.0))]].concat();
    let late = [late, (2..5).map(|year| point(year, Some(0.0), None)).collect()].concat();
    assert!(trend(&late, None).unwrap().per_year.abs() < 1e-9);
}

#[test]
fn the_newest_visit_says_the_limit_and_what_is_judged_otherwise_is_left_out() {
    let mut old = visit(0, -121.0);
    let older = |old: &mut Appraisal, change: fn(&mut crate::checks::Verdict)| {
        let state = old.checks.iter_mut().find(|state| state.check.id == OPENING).unwrap();
        state.readings.iter_mut().for_each(|read| change(&mut read.verdict));
    };
    older(&mut old, |verdict| verdict.limits = Some(Limits::at_most(-50.0)));
    let new = visit(3, -120.5);
    let of = |old: &Appraisal| {
        let found = histories(&[("old", old), ("new", &new)]);
        found.into_iter().find(|it| it.check == OPENING).unwrap()
    };
    let found = of(&old);
    let newest = new.checks.iter().find(|state| state.check.id == OPENING).unwrap();
    let judged = newest.readings.iter().find_map(|read| read.verdict.limits);
    assert!(judged.is_some() && found.limits == judged, "{:?}", found.limits);
    assert_eq!(found.points.len(), 2);
    older(&mut old, |verdict| "dB".clone_into(&mut verdict.unit));
    let found = of(&old);
    assert_eq!((found.unit.as_str(), found.points.len()), ("dBm", 1), "another unit");
    assert_eq!(found.points[0].session, "new");
}

/// Visits a year apart that found these values, each known to a standard deviation of `standard`.
fn years(values: &[f64], standard: f64) -> Vec<HistoryPoint> {
    let point = |(year, value): (i64, &f64)| {
        let at = Timestamp::from_unix_ms(year * YEAR_MS).unwrap();
        let read = HistoryRead {
            reading: format!("R{year}"),
            value: *value,
            expanded: Some(2.0 * standard),
            outcome: Outcome::Pass,
            text: String::new(),
            at,
            standard: Some(standard),
        };
        HistoryPoint { session: format!("S{year}"), at, as_found: Some(read), as_left: None }
    };
    (0..).zip(values).map(point).collect()
}

#[test]
fn a_date_is_given_for_a_drift_and_for_few_visits_only_where_all_of_them_go_one_way() {
    let outlook = |values: &[f64], limits: Limits| {
        let found = trend(&years(values, 0.1), Some(limits)).unwrap();
        (found.shape, found.outlook)
    };
    // By hand: from 3 at a dB a year to 5 in two years, five of 365.25 days after the first.
    let (shape, ahead) = outlook(&[0.0, 1.0, 2.0, 3.0], Limits::at_most(5.0));
    assert_eq!(shape, HistoryShape::TooFew);
    assert_eq!(ahead.unwrap().day.as_deref(), Some("1975-01-01"));
    let (shape, ahead) = outlook(&[3.0, 2.0, 1.0, 0.0], Limits::at_least(-2.0));
    assert_eq!(shape, HistoryShape::TooFew);
    assert_eq!(ahead.unwrap().day.as_deref(), Some("1975-01-01"));
    // To and fro: of the slopes between pairs some are up and some are down.
    let (shape, ahead) = outlook(&[0.0, 1.0, 0.2, 1.5], Limits::at_most(5.0));
    assert_eq!((shape, ahead), (HistoryShape::TooFew, None));
    // A slope that may be nothing is not sure.
    let (_, ahead) = outlook(&[0.0, 0.0, 1.0, 2.0], Limits::at_most(5.0));
    assert_eq!(ahead, None);
    let (_, ahead) = outlook(&[2.0, 1.0, 0.0, 0.0], Limits::at_least(-5.0));
    assert_eq!(ahead, None);
    let (shape, ahead) = outlook(&[0.0, 0.1, -0.1, 0.0, 0.1, 0.0], Limits::at_most(5.0));
    assert_eq!((shape, ahead), (HistoryShape::Steady, None));
}

#[test]
fn of_two_limits_the_one_that_is_met_is_told() {
    let of = |values: &[f64], limits| trend(&years(values, 0.1), Some(limits)).unwrap().outlook;
    let both = Limits::between(-7.0, 7.0);
    let up = of(&[0.0, 1.0, 2.0, 3.0, 4.0], both).unwrap();
    assert_eq!((up.limit, up.met, up.day.as_deref()), (7.0, false, Some("1976-12-31")));
    let down = of(&[0.0, -1.0, -2.0, -3.0, -4.0], both).unwrap();
    assert_eq!((down.limit, down.met, down.day.as_deref()), (-7.0, false, Some("1976-12-31")));
    let met = of(&[4.0, 5.0, 6.0, 7.0, 8.0], both).unwrap();
    assert_eq!((met.limit, met.met, met.day), (7.0, true, None));
    let under = of(&[-4.0, -5.0, -6.0, -7.0, -8.0], both).unwrap();
    assert_eq!((under.limit, under.met, under.day), (-7.0, true, None));
}

#[test]
fn a_move_within_what_readings_scatter_is_no_drift() {
    let values = [0.0, 0.1, 0.2, 0.3, 0.4, 0.5];
    let shape = |standard: f64| trend(&years(&values, standard), None).unwrap().shape;
    assert_eq!((shape(0.001), shape(0.5)), (HistoryShape::Drift, HistoryShape::Steady));
    // Of deviations that differ the middle one counts; none known, none is taken.
    let mut points = years(&[0.0; 3], 0.1);
    for (point, standard) in points.iter_mut().zip([Some(0.7), Some(0.1), Some(0.4)]) {
        point.as_found.as_mut().unwrap().standard = standard;
    }
    assert!((repeat(&points) - 0.4).abs() < 1e-12);
    points[2].as_found.as_mut().unwrap().standard = None;
    assert!((repeat(&points) - 0.7).abs() < 1e-12, "the upper of two");
    points.iter_mut().for_each(|point| point.as_found.as_mut().unwrap().standard = None);
    assert!(repeat(&points).abs() < 1e-12);
}
