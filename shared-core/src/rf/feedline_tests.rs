//! Tests of a feedline's loss: the shipped list, the law and its refusals, the mismatched line.

use proptest::prelude::*;

use super::*;

fn loss(db: f64) -> Loss {
    Loss::new(db).unwrap()
}

fn mhz(frequency_mhz: f64) -> Hertz {
    Hertz::carrier(frequency_mhz * 1e6).unwrap()
}

fn law(points: &[(f64, f64)]) -> Result<CableLaw, FeedlineRefused> {
    let points: Vec<_> = points.iter().map(|(at, db)| (mhz(*at), loss(*db))).collect();
    CableLaw::fitted("cable", &points)
}

#[test]
fn every_shipped_cable_is_a_cable_with_a_source() {
    let mut ids: Vec<&str> = cables().iter().map(|cable| cable.id.as_str()).collect();
    assert!(ids.len() >= 12, "{} cables", ids.len());
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), cables().len(), "a short name stands twice");
    let hundred = Metres::line(100.0).unwrap();
    for cable in cables() {
        assert!(cable.source.len() > 20 && cable.source.contains("; "), "{}", cable.source);
        assert_eq!(cable.source.contains("from memory"), !cable.verified, "{}", cable.id);
        let at = |frequency| cable.law.loss(mhz(frequency), hundred).unwrap().db();
        // No cable of this size at this frequency is better or worse: common practice, no source.
        assert!((0.8..=40.0).contains(&at(155.0)), "{}: {} dB", cable.id, at(155.0));
        let ratio = at(460.0) / at(155.0);
        assert!((1.7..=3.0).contains(&ratio), "{}: ratio {ratio}", cable.id);
    }
    // The head of the list says: thinnest first, so the loss falls (a flexible one may be lossier).
    let ends = [cables().first().unwrap(), cables().last().unwrap()];
    let [thin, thick] = ends.map(|c| c.law.loss(mhz(155.0), hundred).unwrap().db());
    assert!(thin > 10.0 * thick, "{thin} and {thick} dB");
}

#[test]
fn a_listed_cable_is_found_and_another_is_refused_with_the_list() {
    assert_eq!(cable("foam-13mm").unwrap().law.name, "foam dielectric, 12.7 mm (1/2 inch)");
    let refused = cable("string").unwrap_err();
    assert!(matches!(refused, FeedlineRefused::NotListed { .. }));
    assert!(refused.to_string().contains("foam-13mm"), "{refused}");
}

#[test]
fn points_that_no_cable_has_are_refused_with_the_worst_one() {
    let few = |given| FeedlineRefused::TooFewFrequencies { given };
    assert_eq!(law(&[]).unwrap_err(), few(0));
    assert_eq!(law(&[(150.0, 2.8), (150.0, 2.9)]).unwrap_err(), few(1));
    // Loss must grow at least with the root of frequency and at most with it.
    for points in [[(150.0, 2.8), (450.0, 2.9)], [(150.0, 2.8), (450.0, 12.0)]] {
        assert!(matches!(law(&points), Err(FeedlineRefused::NoCable { .. })), "{points:?}");
    }
    let none = law(&[(150.0, 0.0), (450.0, 1.0)]).unwrap_err();
    assert!(none.to_string().starts_with("cable loss per 100 m of 0 dB"), "{none}");
    // The least that a refusal allows is taken; at 450 MHz twice as much is between √3 and 3 times.
    assert!(law(&[(150.0, LOSS_LEAST_DB), (450.0, 2.0 * LOSS_LEAST_DB)]).is_ok());
}

#[test]
fn points_a_little_below_the_root_of_frequency_are_taken_as_rounding() {
    let law = law(&[(150.0, 1.0), (450.0, 1.7)]).unwrap();
    assert!(law.k2.abs() < 1e-12 && law.k1 > 0.0);
}

#[test]
fn a_law_is_refused_far_from_its_points() {
    let law = law(&[(150.0, 2.8), (450.0, 5.2)]).unwrap();
    let metre = Metres::line(1.0).unwrap();
    assert!(law.loss(mhz(30.0), metre).is_ok() && law.loss(mhz(900.0), metre).is_ok());
    for outside in [29.0, 901.0] {
        let refused = law.loss(mhz(outside), metre).unwrap_err();
        assert!(matches!(refused, FeedlineRefused::Unknown(_)));
        assert!(refused.to_string().contains("from 30 to 900 MHz"), "{refused}");
    }
    let long = CableLaw { k1: 100.0, ..law }.loss(mhz(150.0), Metres::line(1000.0).unwrap());
    assert!(long.unwrap_err().to_string().starts_with("line loss of "));
}

#[test]
fn a_load_that_takes_nothing_has_no_total_loss() {
    let open = Reflection::from_magnitude(1.0).unwrap();
    assert!(total_loss(loss(1.0), open).is_none());
    assert!(added_loss(loss(1.0), open).is_none());
    assert!(total_loss(Loss::ZERO, Reflection::NONE).unwrap().db().abs() < 1e-12);
}

#[test]
fn more_reflection_than_an_open_line_shows_is_refused() {
    // 3 dB there and back shows a return loss of at least 6 dB: |Γ| 0.501.
    let seen = Reflection::from_magnitude(0.6).unwrap();
    let refused = reflection_at_load(loss(3.0), seen).unwrap_err();
    assert_eq!(refused.quantity, "reflection coefficient at the input of this line");
    assert!((refused.allowed.end() - 0.501_187).abs() < 1e-6);
    let open = Reflection::from_magnitude(1.0).unwrap();
    let back = reflection_at_load(loss(3.0), reflection_at_input(loss(3.0), open)).unwrap();
    assert!((back.magnitude() - 1.0).abs() < 1e-9);
}

proptest! {
    #[test]
    fn two_points_of_a_law_give_the_law(k1 in 0.05..5.0f64, k2 in 0.0..0.02f64) {
        let at = |f: f64| k1 * f.sqrt() + k2 * f;
        let found = law(&[(150.0, at(150.0)), (450.0, at(450.0))]).unwrap();
        prop_assert!((found.k1 / k1 - 1.0).abs() < 1e-6, "{found:?}");
        prop_assert!((found.k2 - k2).abs() < 1e-6);
    }

    #[test]
    fn loss_grows_with_frequency_and_in_proportion_to_length(
        f in 30.0..800.0f64, metres in 1.0..100.0f64,
    ) {
        for cable in cables() {
            let one = cable.law.loss(mhz(f), Metres::line(metres).unwrap()).unwrap().db();
            let more = cable.law.loss(mhz(f * 1.05), Metres::line(metres).unwrap()).unwrap().db();
            prop_assert!(more > one);
            let double = cable.law.loss(mhz(f), Metres::line(2.0 * metres).unwrap()).unwrap().db();
            prop_assert!((double / one - 2.0).abs() < 1e-9);
        }
    }

    #[test]
    fn a_mismatched_line_loses_more_and_shows_less(
        matched in 0.01..20.0f64, magnitude in 0.01..0.99f64,
    ) {
        let load = Reflection::from_magnitude(magnitude).unwrap();
        let added = added_loss(loss(matched), load).unwrap().db();
        prop_assert!(added > 0.0);
        // More can not be lost to it than the bare mismatch at the end of a long line.
        prop_assert!(added <= load.mismatch_loss().unwrap().db() + 1e-9);
        let input = reflection_at_input(loss(matched), load);
        prop_assert!(input < load);
        let seen = input.return_loss().unwrap().db() - load.return_loss().unwrap().db();
        prop_assert!((seen - 2.0 * matched).abs() < 1e-9);
        let back = reflection_at_load(loss(matched), input).unwrap();
        prop_assert!((back.magnitude() - magnitude).abs() < 1e-9);
    }
}

#[test]
fn a_law_is_believed_a_little_beyond_its_points() {
    let law = law(&[(150.0, 3.0), (450.0, 5.5)]).unwrap();
    let (low, high) = law.known_hz();
    assert!((low - 150e6 / REACH_DOWN).abs() < 1e-3 && (high - 450e6 * REACH_UP).abs() < 1e-3);
    let length = Metres::line(10.0).unwrap();
    for at in [low, high] {
        assert!(law.loss(Hertz::carrier(at).unwrap(), length).is_ok(), "{at}");
    }
    for at in [low - 1.0, high + 1.0] {
        assert!(law.loss(Hertz::carrier(at).unwrap(), length).is_err(), "{at}");
    }
}

#[test]
fn a_law_that_would_turn_negative_is_fitted_with_one_term() {
    // Less than with the root of frequency between them: k2 would be negative; within 6 % of the
    // root law. By hand: u = √mhz/dB, k1 = Σu/Σu².
    let (one, two) = (2.9, 4.9);
    let fitted = law(&[(150.0, one), (450.0, two)]).unwrap();
    let (u1, u2) = (150f64.sqrt() / one, 450f64.sqrt() / two);
    assert!(fitted.k2.abs() < 1e-12, "{fitted:?}");
    assert!((fitted.k1 - (u1 + u2) / (u1 * u1 + u2 * u2)).abs() < 1e-12, "{fitted:?}");
    // More than with frequency: k1 would be.
    let (one, two) = (2.0, 6.2);
    let fitted = law(&[(150.0, one), (450.0, two)]).unwrap();
    let (v1, v2) = (150.0 / one, 450.0 / two);
    assert!(fitted.k1.abs() < 1e-12, "{fitted:?}");
    assert!((fitted.k2 - (v1 + v2) / (v1 * v1 + v2 * v2)).abs() < 1e-12, "{fitted:?}");
}

#[test]
fn the_point_that_no_cable_has_is_named() {
    let Err(FeedlineRefused::NoCable { at_mhz, given_db, .. }) =
        law(&[(100.0, 2.3), (150.0, 2.8), (200.0, 9.0), (450.0, 5.1)])
    else {
        panic!("200 MHz stands far off")
    };
    assert!((at_mhz - 200.0).abs() < 1e-9 && (given_db - 9.0).abs() < 1e-9, "{at_mhz}");
}

#[test]
fn an_open_end_may_be_seen_to_the_last_digit() {
    let there_and_back = 10f64.powf(-0.3);
    let seen = |magnitude: f64| {
        reflection_at_load(loss(3.0), Reflection::from_magnitude(magnitude).unwrap())
    };
    assert!((seen(there_and_back).unwrap().magnitude() - 1.0).abs() < 1e-12);
    assert!((seen(there_and_back * (1.0 + 5e-10)).unwrap().magnitude() - 1.0).abs() < 1e-12);
    assert!(seen(there_and_back * 1.001).is_err());
    assert!((seen(0.5 * there_and_back).unwrap().magnitude() - 0.5).abs() < 1e-12);
}
