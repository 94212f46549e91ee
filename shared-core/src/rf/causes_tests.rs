//! Weights, doubt, evidence and next tests against a second program.
//!
//! Method: the formulas of the module's head written once more in Python (math, tomllib) over the
//! same table; its numbers stand here. What the formulas mean is tested on sessions in `checks`.

use super::*;
use crate::language::Language;

const ORDER: [Cause; 7] = [
    Cause::DuplexerTransmitSide,
    Cause::DuplexerReceiveSide,
    Cause::TransmitterNoise,
    Cause::ReceiverOverload,
    Cause::CablingShielding,
    Cause::AntennaSystem,
    Cause::SiteNoise,
];

fn rise(db: f64, expanded_db: f64) -> Option<Rise> {
    Some(Rise::new(db, 0.5 * expanded_db, expanded_db))
}

/// The probability that a loss of ± 0.5 dB lies within 1.3 dB: Φ((1.3 − loss)/0.25).
fn holds(loss_db: f64) -> Option<PathRead> {
    Some(PathRead { holds: normal_below((1.3 - loss_db) / 0.25), said: "loss".to_owned() })
}

fn compare(tests: &Tests, weights: [f64; 7], doubt_bits: f64, next: &[(&str, f64)]) {
    let found = causes(tests, Language::English).unwrap();
    for (cause, expected) in ORDER.into_iter().zip(weights) {
        let suspect = found.suspects.iter().find(|suspect| suspect.cause == cause).unwrap();
        assert!((suspect.weight - expected).abs() < 1e-7, "{cause:?}: {suspect:?}");
    }
    assert!(found.suspects.windows(2).all(|pair| pair[0].weight >= pair[1].weight));
    assert!((found.doubt_bits - doubt_bits).abs() < 1e-7, "{}", found.doubt_bits);
    let named: Vec<&str> = found.next.iter().map(|test| test.title.as_str()).collect();
    assert_eq!(named, next.iter().map(|(title, _)| *title).collect::<Vec<_>>());
    for (test, (title, bits)) in found.next.iter().zip(next) {
        assert!((test.worth_bits - bits).abs() < 1e-7, "{title}: {}", test.worth_bits);
    }
}

#[test]
fn load_antenna_and_a_port_together() {
    let tests = Tests {
        coupled: rise(4.0, 0.6),
        antenna_unkeyed: rise(0.3, 0.6),
        antenna: rise(4.2, 0.6),
        transmit_path: holds(1.2),
        ..Tests::default()
    };
    compare(
        &tests,
        [
            0.249_247_212,
            0.227_610_767,
            0.155_614_355,
            0.155_614_355,
            0.209_531_784,
            0.002_330_209,
            0.000_051_319,
        ],
        2.314_486_219,
        &[
            ("a pad in the receiver's line", 0.647_130_503),
            ("sweep of the duplexer's transmit side", 0.411_557_898),
            ("sweep of the duplexer's receive side", 0.389_285_514),
            ("other jumpers", 0.351_573_294),
            ("direct against through the coupler", 0.108_089_290),
            ("loss of the receive path", 0.106_063_310),
        ],
    );
    let found = causes(&tests, Language::English).unwrap();
    let of = |cause| found.suspects.iter().find(|suspect| suspect.cause == cause).unwrap();
    let factors: Vec<f64> =
        of(Cause::AntennaSystem).evidence.iter().map(|evidence| evidence.factor).collect();
    for (got, expected) in factors.iter().zip([1.079_257, 0.916_606, 0.194_090, 0.112_755]) {
        assert!((got - expected).abs() < 1e-6, "{factors:?}");
    }
    let said = &of(Cause::CablingShielding).evidence[0].said;
    assert_eq!(said, "keyed into a load it opens 4.0 ± 0.6 dB later: it goes deaf");
}

#[test]
fn both_ways_a_pad_and_a_bad_port() {
    let tests = Tests {
        direct: rise(5.0, 0.6),
        coupled: rise(3.5, 0.6),
        padded_unkeyed: rise(5.5, 0.4),
        padded: rise(1.2, 0.6),
        receive_path: holds(2.0),
        ..Tests::default()
    };
    compare(
        &tests,
        [
            0.237_578_307,
            0.157_810_989,
            0.079_859_314,
            0.017_579_059,
            0.493_810_258,
            0.009_595_806,
            0.003_766_267,
        ],
        1.904_012_444,
        &[
            ("other jumpers", 0.491_118_054),
            ("sweep of the duplexer's transmit side", 0.399_806_563),
            ("sweep of the duplexer's receive side", 0.302_418_975),
            ("loss of the transmit path", 0.069_767_458),
            ("keyed on the antenna", 0.040_680_621),
        ],
    );
    let found = causes(&tests, Language::English).unwrap();
    let evidence = &found.suspects[0].evidence;
    assert_eq!(
        evidence[0].said,
        "through the coupler it is −1.5 ± 0.8 dB more than straight on: the two disagree"
    );
    // 3.5 dB is I/N 0.93 dB; behind 5.5 dB −4.57 dB and 1.30 dB; behind three times that −15.57 dB.
    let pad = evidence.iter().find(|evidence| evidence.said.contains("pad of 5.5 dB")).unwrap();
    assert!(pad.said.contains("noise would leave 1.3 dB, overload 0.1 dB"), "{pad:?}");
    assert!((pad.factor - 0.518_684).abs() < 1e-6, "{pad:?}");
}

#[test]
fn one_uncertain_test() {
    let tests = Tests { direct: rise(2.2, 1.0), ..Tests::default() };
    compare(
        &tests,
        [
            0.267_007_119,
            0.200_255_339,
            0.133_503_559,
            0.133_503_559,
            0.239_145_531,
            0.018_458_478,
            0.008_126_414,
        ],
        2.405_282_514,
        &[
            ("a pad in the receiver's line", 0.638_502_556),
            ("sweep of the duplexer's transmit side", 0.428_296_269),
            ("other jumpers", 0.381_672_595),
            ("sweep of the duplexer's receive side", 0.358_058_871),
            ("direct against through the coupler", 0.117_176_140),
            ("loss of the transmit path", 0.107_830_135),
            ("loss of the receive path", 0.101_507_742),
            ("keyed on the antenna", 0.070_207_174),
            ("antenna against load, not keyed", 0.015_444_104),
        ],
    );
}

#[test]
fn the_antenna_alone() {
    let tests = Tests {
        antenna: rise(3.0, 0.6),
        antenna_unkeyed: rise(1.6, 0.8),
        own_level_dbm: Some(-120.0),
        ..Tests::default()
    };
    compare(
        &tests,
        [
            0.198_255_077,
            0.148_691_307,
            0.099_127_538,
            0.099_127_538,
            0.187_820_599,
            0.216_875_343,
            0.050_102_598,
        ],
        2.680_524_788,
        &[
            ("keyed into a load", 0.512_136_272),
            ("sweep of the duplexer's transmit side", 0.355_636_974),
            ("other jumpers", 0.330_440_324),
            ("sweep of the duplexer's receive side", 0.289_255_589),
            ("loss of the transmit path", 0.110_639_567),
            ("loss of the receive path", 0.100_350_846),
        ],
    );
    let found = causes(&tests, Language::English).unwrap();
    assert!((found.effective_level_dbm.unwrap() - -115.4).abs() < 1e-9);
    assert!((found.site_db.unwrap() - 1.6).abs() < 1e-9 && found.into_load_db.is_none());
}

#[test]
fn a_desense_too_small_to_tell_by_wants_no_pad() {
    let named = |db: f64| {
        let tests = Tests { direct: rise(db, 0.2), antenna: rise(3.0, 0.2), ..Tests::default() };
        let next = causes(&tests, Language::English).unwrap().next;
        next.iter().any(|test| test.title == "a pad in the receiver's line")
    };
    // Behind 6 dB of pad 1.9 dB leave 0.56 or 0.04 dB: apart by 0.52; 1.7 dB leave 0.49 or 0.03.
    assert!(named(1.9) && !named(1.7) && !named(0.5));
}

#[test]
fn far_from_all_that_a_pad_could_show_nothing_is_said() {
    let far = pad([rise(9.0, 0.6), rise(6.0, 0.6), rise(60.0, 0.6)], Language::English).unwrap();
    for agrees in far.outcomes {
        assert!((agrees - 1.0 / 3.0).abs() < 1e-9, "{agrees}");
    }
    // As much as without the pad: it comes past the line.
    let past = pad([rise(9.0, 0.6), rise(6.0, 0.6), rise(9.0, 0.6)], Language::English).unwrap();
    assert!(past.outcomes[0] > 0.99, "{:?}", past.outcomes);
    assert!((past.outcomes.iter().sum::<f64>() - 1.0).abs() < 1e-12);
}

#[test]
fn what_is_sure_leaves_no_doubt() {
    assert!(doubt(&[1.0, 0.0, 0.0]).abs() < 1e-12, "nothing of it is no number");
    assert!((doubt(&[0.5, 0.5, 0.0]) - 1.0).abs() < 1e-12, "one bit, by its definition");
    assert!((doubt(&[0.25; 4]) - 2.0).abs() < 1e-12);
}
