//! Exposure against HANDBOOK 3.1 to 3.5, and what an estimate may never say.

use proptest::prelude::*;

use super::*;
use crate::language::Language;

fn mhz(mhz: f64) -> Hertz {
    Hertz::carrier(mhz * 1e6).unwrap()
}

fn watts(watts: f64) -> Watts {
    Watts::new(watts).unwrap()
}

fn emitter(at_mhz: f64, power_w: f64, gain_dbi: f64, reflection: WaveReflection) -> Emitter {
    Emitter::new(mhz(at_mhz), watts(power_w), 1.0, Db::ZERO, gain_dbi, reflection).unwrap()
}

fn whole(standard: ExposureStandard, tier: ExposureTier, at_mhz: f64) -> f64 {
    limit(standard, tier, ExposureExtent::WholeBody, mhz(at_mhz)).unwrap().density_w_m2
}

#[test]
fn at_the_edge_of_two_rows_the_lower_limit_holds() {
    // HANDBOOK 3.1: occupational 100 mW/cm² to 3.0 MHz and 900/f² from there; public from 1.34.
    assert!((whole(ExposureStandard::Fcc, ExposureTier::Workers, 3.0) - 1000.0).abs() < 1e-6);
    assert!((whole(ExposureStandard::Fcc, ExposureTier::Public, 1.34) - 1000.0).abs() < 1e-6);
    assert!(
        (whole(ExposureStandard::Fcc, ExposureTier::Public, 2.0) - 450.0).abs() < 1e-6,
        "180/f², not 100"
    );
    assert!(
        (whole(ExposureStandard::Fcc, ExposureTier::Workers, 2.0) - 1000.0).abs() < 1e-6,
        "not 180/f²"
    );
    // Safety Code 6 at 6 GHz: 10.003 falls to 10; at 300 MHz 1.2912 to 1.291.
    assert!(
        (whole(ExposureStandard::SafetyCode6, ExposureTier::Public, 6000.0) - 10.0).abs() < 1e-9
    );
    assert!(
        (whole(ExposureStandard::SafetyCode6, ExposureTier::Public, 300.0) - 1.291).abs() < 1e-9
    );
}

#[test]
fn what_a_standard_does_not_limit_is_refused() {
    for (standard, tier, extent, at) in [
        (ExposureStandard::Fcc, ExposureTier::Public, ExposureExtent::WholeBody, 0.2),
        (ExposureStandard::Fcc, ExposureTier::Public, ExposureExtent::Local, 155.0),
        (ExposureStandard::SafetyCode6, ExposureTier::Workers, ExposureExtent::WholeBody, 5.0),
    ] {
        let refused = limit(standard, tier, extent, mhz(at)).unwrap_err();
        assert!(matches!(refused, ExposureRefused::NoLimit { .. }), "{refused}");
        let extent = if extent == ExposureExtent::Local { "no local" } else { "no whole-body" };
        let told = format!("{extent} limit for {tier} at {at} MHz");
        assert!(refused.to_string().contains(&told), "{refused} lacks {told:?}");
    }
}

#[test]
fn limits_of_fields_alone_are_told_as_such() {
    let found = limit(
        ExposureStandard::Icnirp2020,
        ExposureTier::Public,
        ExposureExtent::WholeBody,
        mhz(10.0),
    )
    .unwrap();
    assert!(found.from_fields && found.verified);
    let workers = limit(
        ExposureStandard::Icnirp2020,
        ExposureTier::Workers,
        ExposureExtent::WholeBody,
        mhz(10.0),
    )
    .unwrap();
    assert!(!workers.verified && workers.source.contains("from memory"));
    let uhf = limit(
        ExposureStandard::Icnirp2020,
        ExposureTier::Workers,
        ExposureExtent::WholeBody,
        mhz(460.0),
    )
    .unwrap();
    assert!(!uhf.from_fields && uhf.verified);
}

#[test]
fn the_exemption_is_refused_within_the_reactive_field() {
    // HANDBOOK 3.2: 144 MHz, 0.331 m.
    assert!((reactive_field_m(mhz(144.0)) - 0.331).abs() < 0.0005);
    let refused = exemption(mhz(144.0), 0.33).unwrap_err();
    assert!(matches!(refused, ExposureRefused::TooClose { .. }), "{refused}");
    assert!(
        (exemption(mhz(144.0), 0.332).unwrap().erp.watts() - 3.83 * 0.332 * 0.332).abs() < 1e-9
    );
    assert!((exemption_distance_m(mhz(144.0), watts(0.01)).unwrap() - 0.331).abs() < 0.0005);
    // Where rows meet, the lower threshold: at 300 MHz 3.83 and 0.0128·300 = 3.84.
    let exempt = exemption(mhz(300.0), 1.0).unwrap();
    assert!((exempt.erp.watts() - 3.83).abs() < 1e-9);
    assert!(exempt.verified, "HANDBOOK 3.2: read in a source that quotes the rule");
    assert!(exemption(mhz(0.2), 500.0).is_err());
}

#[test]
fn numbers_without_sense_are_refused_by_name() {
    let new = |power, duty, loss, gain| {
        let (power, loss) = (watts(power), Db::new(loss).unwrap());
        Emitter::new(mhz(155.0), power, duty, loss, gain, WaveReflection::None)
    };
    for (refused, word) in [
        (new(50.0, 0.0, 1.0, 6.0), "duty"),
        (new(50.0, 1.1, 1.0, 6.0), "duty"),
        (new(50.0, f64::NAN, 1.0, 6.0), "duty"),
        (new(50.0, 1.0, -0.1, 6.0), "feedline loss"),
        (new(50.0, 1.0, 1.0, 61.0), "antenna gain"),
        (new(50.0, 1.0, 1.0, f64::NAN), "antenna gain"),
    ] {
        let refused = refused.unwrap_err().to_string();
        assert!(refused.starts_with(word), "{refused}");
    }
    for distance in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert!(density_w_m2(watts(1.0), WaveReflection::None, distance).is_err());
        assert!(distance_to_m(watts(1.0), WaveReflection::None, distance).is_err());
        assert!(exemption(mhz(155.0), distance).is_err());
    }
    let none = estimate(
        ExposureStandard::Fcc,
        ExposureTier::Public,
        ExposureExtent::WholeBody,
        &[],
        Language::English,
    )
    .unwrap_err();
    assert_eq!(none, ExposureRefused::Count { count: 0, max: TRANSMITTERS_MAX });
}

#[test]
fn several_transmitters_add_up_as_fractions() {
    // Each at its own distance to the limit is the whole limit: HANDBOOK X9 and X10 (ERP 100 W).
    let dipole = 2.15;
    let vhf = (emitter(155.0, 100.0, dipole, WaveReflection::Ground), 4.087);
    let uhf = (emitter(460.0, 100.0, dipole, WaveReflection::Ground), 3.301);
    let found = estimate(
        ExposureStandard::Fcc,
        ExposureTier::Public,
        ExposureExtent::WholeBody,
        &[vhf, uhf],
        Language::English,
    )
    .unwrap();
    assert!((found.fraction_total - 2.0).abs() < 0.002, "{}", found.fraction_total);
    let together = (4.087f64.powi(2) + 3.301f64.powi(2)).sqrt();
    assert!((found.distance_together_m - together).abs() < 0.003);
    assert!(found.shares.iter().all(|share| share.shares_the_duty));
    assert!(found.notes[0].contains("over it"), "{:?}", found.notes);
    // 4 % of the limit does not make a licensee share the duty, 5 % does.
    let far = |fraction: f64| {
        (emitter(155.0, 100.0, dipole, WaveReflection::Ground), 4.087 / fraction.sqrt())
    };
    for (fraction, shares) in [(0.04, false), (0.051, true)] {
        let placed = [vhf, uhf, far(fraction)];
        let found = estimate(
            ExposureStandard::Fcc,
            ExposureTier::Public,
            ExposureExtent::WholeBody,
            &placed,
            Language::English,
        )
        .unwrap();
        assert_eq!(found.shares[2].shares_the_duty, shares, "{fraction}");
        let alone = estimate(
            ExposureStandard::Fcc,
            ExposureTier::Public,
            ExposureExtent::WholeBody,
            &placed[2..],
            Language::English,
        )
        .unwrap();
        assert!(!alone.shares[0].shares_the_duty, "the sum is not over");
        let elsewhere = estimate(
            ExposureStandard::SafetyCode6,
            ExposureTier::Public,
            ExposureExtent::WholeBody,
            &placed,
            Language::English,
        );
        assert!(!elsewhere.unwrap().shares[2].shares_the_duty, "a rule of the FCC only");
    }
}

#[test]
fn closeness_and_workers_are_spoken_of() {
    let near = [(emitter(155.0, 5.0, 2.15, WaveReflection::None), 0.26)];
    let found = estimate(
        ExposureStandard::Fcc,
        ExposureTier::Workers,
        ExposureExtent::WholeBody,
        &near,
        Language::English,
    )
    .unwrap();
    assert!(found.shares[0].in_reactive_field);
    assert!(found.notes.iter().any(|note| note.contains("λ/2π")), "{:?}", found.notes);
    assert!(found.notes.iter().any(|note| note == WORKERS_CAUTION));
    let far = [(emitter(155.0, 5.0, 2.15, WaveReflection::None), 0.31)];
    let found = estimate(
        ExposureStandard::Fcc,
        ExposureTier::Public,
        ExposureExtent::WholeBody,
        &far,
        Language::English,
    )
    .unwrap();
    assert!(!found.shares[0].in_reactive_field);
    assert_eq!(found.notes.len(), 1, "{:?}", found.notes);
}

/// Words that would make an estimate a clearance. "Safety Code 6" is a name and none of them.
pub(crate) const NEVER: [&str; 22] = [
    "safe",
    "safely",
    "unsafe",
    "ok",
    "okay",
    "cleared",
    "clear",
    "clears",
    "clearance",
    "compliant",
    "compliance",
    "complies",
    "harmless",
    "permitted",
    "allowed",
    "acceptable",
    "pass",
    "passes",
    "passed",
    "fine",
    "good",
    "enter",
];

#[test]
fn the_caution_is_an_estimate_that_defers() {
    for words in ["estimate", "qualified assessment", "local code", "site owner"] {
        assert!(CAUTION.contains(words), "{words}");
    }
}

proptest! {
    #[test]
    fn an_estimate_never_clears_anything(
        at in 30.0f64..3000.0,
        power in 0.001f64..2000.0,
        gain in -3.0f64..20.0,
        distance in 0.05f64..10_000.0,
        which in 0usize..3,
        workers: bool,
        reflection in prop_oneof![
            Just(WaveReflection::None), Just(WaveReflection::Ground), Just(WaveReflection::Full)
        ],
    ) {
        let tier = if workers { ExposureTier::Workers } else { ExposureTier::Public };
        let placed = [(emitter(at, power, gain, reflection), distance)];
        let standard = ExposureStandard::ALL[which];
        let body = ExposureExtent::WholeBody;
        let found = estimate(standard, tier, body, &placed, Language::English).unwrap();
        prop_assert_eq!(&found.caution, CAUTION);
        prop_assert!(!found.notes.is_empty());
        let text = format!("{} {}", found.caution, found.notes.join(" ")).to_lowercase();
        for word in text.split(|c: char| !c.is_alphanumeric()) {
            prop_assert!(!NEVER.contains(&word), "{word:?} in {text}");
        }
        let over = found.fraction_total > 1.0;
        prop_assert_eq!(found.notes[0].contains("over it"), over);
    }

    #[test]
    fn density_at_the_distance_to_a_limit_is_the_limit(
        eirp in 1e-3f64..1e6, density in 1e-3f64..1e3,
    ) {
        for reflection in [WaveReflection::None, WaveReflection::Ground, WaveReflection::Full] {
            let distance = distance_to_m(watts(eirp), reflection, density).unwrap();
            prop_assume!(distance >= 0.01);
            let back = density_w_m2(watts(eirp), reflection, distance).unwrap();
            prop_assert!((back / density - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn nearer_and_stronger_is_never_less(
        eirp in 1e-3f64..1e5, distance in 0.02f64..1e4, more in 1.001f64..10.0,
    ) {
        let at = |eirp, distance_m| {
            density_w_m2(watts(eirp), WaveReflection::None, distance_m).unwrap()
        };
        prop_assert!(at(eirp * more, distance) > at(eirp, distance));
        prop_assert!(at(eirp, distance * more) < at(eirp, distance));
    }

    #[test]
    fn the_public_is_never_allowed_more_than_workers(at in 10.1f64..100_000.0) {
        for standard in ExposureStandard::ALL {
            let workers = whole(standard, ExposureTier::Workers, at);
            let public = whole(standard, ExposureTier::Public, at);
            prop_assert!(public <= workers, "{standard:?} at {at} MHz");
        }
    }
}

#[test]
fn a_field_follows_from_its_power_density() {
    // E = √(377·S): 10 W/m² is 61.4 V/m, the limit of 30 to 300 MHz in 47 CFR 1.1310 as rounded.
    assert!((electric_v_m(10.0) - 61.4).abs() < 0.01);
    assert!((electric_v_m(0.0)).abs() < 1e-12);
}

#[test]
fn duty_is_what_the_mode_puts_out_on_average() {
    use TransmitterMode::*;
    // OET 65B Table 2, as HANDBOOK 3.3 has it.
    for (mode, duty) in [
        (FmVoice, 1.0),
        (Carrier, 1.0),
        (ShiftKeying, 1.0),
        (KeyedCarrier, 0.4),
        (SidebandVoice, 0.2),
        (ProcessedSidebandVoice, 0.5),
    ] {
        assert!((mode.duty() - duty).abs() < 1e-12, "{mode:?}");
    }
}

#[test]
fn a_caution_names_whom_it_is_for_and_how_much_of_the_limit_it_is() {
    let fm = [(emitter(155.0, 100.0, 2.15, WaveReflection::None), 3.0)];
    let whole = ExposureExtent::WholeBody;
    for (tier, words, share) in [
        // 100 W ERP is 164.06 W EIRP: /(4π·9) = 1.4506 W/m² of 2 and of 10 (HANDBOOK 3.1, X9).
        (ExposureTier::Public, "72.53 % of the limit for the public.", 0.725_3),
        (ExposureTier::Workers, "14.51 % of the limit for workers.", 0.145_06),
    ] {
        let found = estimate(ExposureStandard::Fcc, tier, whole, &fm, Language::English).unwrap();
        assert!((found.fraction_total - share).abs() < 1e-4, "{}", found.fraction_total);
        assert!(found.notes[0].contains(words), "{:?}", found.notes);
        assert_eq!(tier.name(), tier.to_string());
    }
    let close = [(emitter(155.0, 100.0, 2.15, WaveReflection::None), 1.5)];
    let over =
        estimate(ExposureStandard::Fcc, ExposureTier::Public, whole, &close, Language::English)
            .unwrap();
    assert!(over.notes[0].contains("290 % of the limit for the public: over it"), "{over:?}");
}

#[test]
fn whoever_makes_a_twentieth_of_its_limit_shares_the_duty_where_the_sum_is_over() {
    // HANDBOOK 3.2: 5 % of its own limit, 47 CFR 1.1307(b)(5).
    let at = |share: f64| {
        let one = emitter(155.0, 100.0, 0.0, WaveReflection::None);
        let limit = whole(ExposureStandard::Fcc, ExposureTier::Public, 155.0);
        (one, distance_to_m(one.eirp(), WaveReflection::None, share * limit).unwrap())
    };
    let shares = |parts: &[f64], standard| -> Vec<bool> {
        let placed: Vec<_> = parts.iter().map(|part| at(*part)).collect();
        let extent = ExposureExtent::WholeBody;
        let found =
            estimate(standard, ExposureTier::Public, extent, &placed, Language::English).unwrap();
        found.shares.iter().map(|share| share.shares_the_duty).collect()
    };
    assert_eq!(shares(&[0.97, 0.0501, 0.0499], ExposureStandard::Fcc), [true, true, false]);
    assert_eq!(shares(&[0.9, 0.05], ExposureStandard::Fcc), [false, false], "not over");
    assert_eq!(shares(&[2.0, 0.5], ExposureStandard::SafetyCode6), [false, false]);
}

#[test]
fn as_many_transmitters_as_a_site_may_have_are_taken() {
    let one = (emitter(155.0, 1.0, 0.0, WaveReflection::None), 100.0);
    let of = |count: usize| {
        let extent = ExposureExtent::WholeBody;
        estimate(
            ExposureStandard::Fcc,
            ExposureTier::Public,
            extent,
            &vec![one; count],
            Language::English,
        )
    };
    let most = of(TRANSMITTERS_MAX).unwrap();
    let alone = of(1).unwrap();
    assert!((most.fraction_total / alone.fraction_total - 1000.0).abs() < 1e-6);
    for count in [0, TRANSMITTERS_MAX + 1] {
        assert!(matches!(of(count), Err(ExposureRefused::Count { .. })), "{count}");
    }
}

#[test]
fn a_plane_waves_equivalent_is_the_lower_of_its_two_fields() {
    // HANDBOOK 3.1, 47 CFR 1.1310 below 30 MHz: E²/377 and 377·H² of the same row.
    for standard in ExposureStandard::ALL {
        for at in [0.5, 3.0, 10.0, 25.0] {
            let (tier, extent) = (ExposureTier::Public, ExposureExtent::WholeBody);
            let Ok(found) = limit(standard, tier, extent, mhz(at)) else { continue };
            let (Some(e), Some(h)) = (found.electric_v_m, found.magnetic_a_m) else { continue };
            if found.from_fields {
                let lower = (e * e / 377.0).min(377.0 * h * h);
                assert!((found.density_w_m2 / lower - 1.0).abs() < 1e-9, "{standard:?} {at}");
            }
        }
    }
}
