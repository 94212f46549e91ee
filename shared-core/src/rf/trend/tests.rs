//! Trends of visits: adjustments taken out, limits met, and what is refused.

use proptest::prelude::*;

use super::*;

fn at(day: i64) -> Timestamp {
    Timestamp::from_unix_ms(1_700_000_000_000 + day * 86_400_000).unwrap()
}

fn found(values: &[f64]) -> Vec<Visit> {
    let visit = |(year, value): (i64, &f64)| Visit {
        // 1461 days are four years of 365.25.
        at: at(year * 1461),
        as_found: *value,
        as_left: None,
    };
    (0..).zip(values).map(visit).collect()
}

/// Half a decibel a year, four years between visits.
const DRIFT: [f64; 5] = [-120.0, -118.0, -116.0, -114.0, -112.0];

#[test]
fn a_drift_meets_its_limit_when_it_must() {
    let trend = Trend::of(&found(&DRIFT), 0.95, 0.3).unwrap();
    assert!((trend.slope.slope - 0.5).abs() < 1e-12);
    assert_eq!(trend.shape, Shape::Drift);
    assert!((trend.last() - -112.0).abs() < 1e-9);
    // 3 dB to go at 0.5 dB a year: six years, 2191.5 days after the last visit at day 5844.
    let on = |limit| trend.meets(limit).unwrap();
    let six_years = Timestamp::from_unix_ms(at(5844).unix_ms() + 2191 * 86_400_000 + 43_200_000);
    let Outlook::Ahead { at: met, earliest, latest } = on(Limit::AtMost(-109.0)) else {
        panic!("the limit is ahead");
    };
    assert_eq!(met, six_years.ok());
    // All pairs have the same slope, so the interval is that slope.
    assert_eq!((earliest, latest), (met, met));
    assert_eq!(on(Limit::AtMost(-112.0)), Outlook::Met);
    assert_eq!(on(Limit::AtLeast(-111.0)), Outlook::Met);
    let never = Outlook::Ahead { at: None, earliest: None, latest: None };
    assert_eq!(on(Limit::AtLeast(-125.0)), never);
    // Half a decibel a year comes to 10 000 dB after the last year there is.
    assert_eq!(on(Limit::AtMost(10_000.0)), never);
}

#[test]
fn the_interval_of_the_date_is_that_of_the_slope() {
    let trend = Trend::of(&found(&[0.0, 2.1, 3.9, 6.2, 7.8, 10.1]), 0.95, 0.3).unwrap();
    let (low, high) = trend.slope.interval.unwrap();
    assert!(low < trend.slope.slope && trend.slope.slope < high);
    let Outlook::Ahead { at: Some(met), earliest: Some(earliest), latest: Some(latest) } =
        trend.meets(Limit::AtMost(15.0)).unwrap()
    else {
        panic!("all three lines lead there");
    };
    assert!(earliest < met && met < latest);
    // Downward towards a lower limit it is the mirror.
    let down = Trend::of(&found(&[-0.0, -2.1, -3.9, -6.2, -7.8, -10.1]), 0.95, 0.3).unwrap();
    let mirrored = Outlook::Ahead { at: Some(met), earliest: Some(earliest), latest: Some(latest) };
    assert_eq!(down.meets(Limit::AtLeast(-15.0)).unwrap(), mirrored);
}

#[test]
fn an_uncertain_slope_may_never_lead_there() {
    let trend = Trend::of(&found(&[0.0, 1.5, 0.4, 1.0, 0.9]), 0.95, 0.3).unwrap();
    let outlook = trend.meets(Limit::AtMost(5.0)).unwrap();
    assert!(
        matches!(outlook, Outlook::Ahead { earliest: Some(_), latest: None, .. }),
        "{outlook:?}"
    );
}

#[test]
fn a_level_line_meets_nothing() {
    // Down, and level at last: one end of the slope's interval is exactly 0.
    let trend = Trend::of(&found(&[4.0, 3.0, 2.0, 1.0, 1.0]), 0.95, 0.01).unwrap();
    assert_eq!(trend.slope.interval.map(|(_, high)| high), Some(0.0));
    let below = trend.meets(Limit::AtLeast(-5.0)).unwrap();
    assert!(
        matches!(below, Outlook::Ahead { at: Some(_), earliest: Some(_), latest: None }),
        "{below:?}"
    );
    // Above the last value, below the middle one: no line of the interval goes up to it.
    let never = Outlook::Ahead { at: None, earliest: None, latest: None };
    assert_eq!(trend.meets(Limit::AtMost(1.5)).unwrap(), never);
}

#[test]
fn an_adjustment_is_no_drift() {
    // 1 dB lost between visits, set right again each time: the readings as found stand still.
    let mut visits = found(&[-120.0, -119.0, -119.0, -119.0]);
    for visit in &mut visits[1..3] {
        visit.as_left = Some(-120.0);
    }
    let trend = Trend::of(&visits, 0.95, 0.1).unwrap();
    assert!((trend.slope.slope - 0.25).abs() < 1e-12, "{:?}", trend.slope);
    assert!((trend.adjusted - -2.0).abs() < 1e-12);
    assert!((trend.last() - -119.0).abs() < 1e-9, "{}", trend.last());
    for between in &trend.between {
        assert!((between.drift - 1.0).abs() < 1e-12);
        assert!((between.drift_per_year - 0.25).abs() < 1e-12);
    }
    // 2 dB to go from -119 at a quarter decibel a year: eight years behind the last visit.
    let eight_years = Timestamp::from_unix_ms(at(3 * 1461 + 2 * 1461).unix_ms()).unwrap();
    let outlook = trend.meets(Limit::AtMost(-117.0)).unwrap();
    assert!(matches!(outlook, Outlook::Ahead { at: Some(met), .. } if met == eight_years));
}

#[test]
fn a_jump_has_no_date() {
    let trend = Trend::of(&found(&[0.0, 0.1, 0.0, 3.1, 3.0, 3.1]), 0.95, 0.1).unwrap();
    assert!(matches!(trend.shape, Shape::Jump(Step { before: 3, .. })), "{:?}", trend.shape);
    assert_eq!(trend.meets(Limit::AtMost(6.0)).unwrap(), Outlook::NoDate);
    assert_eq!(trend.meets(Limit::AtMost(2.0)).unwrap(), Outlook::Met);
}

#[test]
fn what_is_no_series_is_refused_by_name() {
    let text = |visits: &[Visit], confidence, repeat| {
        Trend::of(visits, confidence, repeat).unwrap_err().to_string()
    };
    let good = found(&DRIFT);
    assert!(text(&good[..2], 0.95, 0.0).starts_with("2 visits were given; a trend needs 3 to"));
    assert!(text(&vec![good[0]; 2001], 0.95, 0.0).starts_with("2001 visits"));
    assert_eq!(
        text(&[good[0]; 3], 0.95, 0.0),
        "visit 2 at 2023-11-14T22:13:20Z is not later than the one before it"
    );
    assert!(text(&[good[1], good[2], good[0]], 0.95, 0.0).starts_with("visit 3 at"));
    assert!(text(&good, 1.0, 0.0).starts_with("confidence of 1 "));
    assert!(text(&good, 0.95, -0.1).starts_with("standard deviation of a repeat of -0.1"));
    let with = |value: f64, left: Option<f64>| {
        let mut bad = good.clone();
        (bad[1].as_found, bad[1].as_left) = (value, left);
        text(&bad, 0.95, 0.0)
    };
    assert!(with(f64::NAN, None).starts_with("value as found of NaN"));
    assert!(with(0.0, Some(f64::INFINITY)).starts_with("value as left of inf"));
    let refused = Trend::of(&good, 0.95, 0.0).unwrap().meets(Limit::AtMost(f64::NAN));
    assert!(matches!(refused, Err(TrendRefused::Number(_))));
}

proptest! {
    #[test]
    fn a_series_turned_upside_down_trends_the_other_way(
        values in proptest::collection::vec(-10.0_f64..10.0, 3..20),
        slope in -2.0_f64..2.0,
    ) {
        let up: Vec<f64> = (0..).zip(&values).map(|(at, v)| v + slope * f64::from(at)).collect();
        let down: Vec<f64> = up.iter().map(|value| -value).collect();
        let up = Trend::of(&found(&up), 0.9, 0.2).unwrap();
        let down = Trend::of(&found(&down), 0.9, 0.2).unwrap();
        prop_assert!((up.slope.slope + down.slope.slope).abs() < 1e-9);
        let (low, high) = up.slope.interval.unwrap();
        prop_assert!(low <= up.slope.slope && up.slope.slope <= high);
        let (of_up, of_down) = (up.kendall.unwrap(), down.kendall.unwrap());
        prop_assert!((of_up.tau + of_down.tau).abs() < 1e-9);
        prop_assert!((of_up.p_value - of_down.p_value).abs() < 1e-9);
        prop_assert!((0.0..=1.0).contains(&of_up.p_value));
    }

    #[test]
    fn a_line_added_to_the_values_is_added_to_the_slope(
        values in proptest::collection::vec(-10.0_f64..10.0, 3..20),
        per_year in -5.0_f64..5.0,
    ) {
        let tilted: Vec<f64> =
            (0..).zip(&values).map(|(at, value)| value + 4.0 * per_year * f64::from(at)).collect();
        let flat = Trend::of(&found(&values), 0.95, 0.0).unwrap().slope.slope;
        let tilted = Trend::of(&found(&tilted), 0.95, 0.0).unwrap().slope.slope;
        prop_assert!((tilted - flat - per_year).abs() < 1e-9);
    }
}
