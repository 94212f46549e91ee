//! Exposure limits, distances and the exemption: HANDBOOK 3.1 to 3.5, X1 to X12.

use guyline_core::language::Language;
use guyline_core::rf::exposure::ExposureExtent::{Local, WholeBody};
use guyline_core::rf::exposure::ExposureStandard::{self, Fcc, Icnirp2020, SafetyCode6};
use guyline_core::rf::exposure::ExposureTier::{self, Public, Workers};
use guyline_core::rf::exposure::{
    DIPOLE_GAIN_DBI, Emitter, TransmitterMode, WaveReflection, density_w_m2, distance_to_m,
    electric_v_m, estimate, exemption, exemption_distance_m, limit, reactive_field_m,
};
use guyline_core::units::{Db, Hertz, Watts};

use crate::source::Source::{self, Computed, Published};
use crate::source::close;

const FOOT_M: f64 = 0.3048;

fn mhz(mhz: f64) -> Hertz {
    Hertz::carrier(mhz * 1e6).unwrap()
}

fn emitter(at: f64, average_w: f64, gain_dbi: f64, reflection: WaveReflection) -> Emitter {
    let power = Watts::new(average_w).unwrap();
    Emitter::new(mhz(at), power, 1.0, Db::ZERO, gain_dbi, reflection).unwrap()
}

/// Distance to the limit of 47 CFR 1.1310, in metres.
fn distance(tier: ExposureTier, emitter: Emitter) -> f64 {
    let found = estimate(Fcc, tier, WholeBody, &[(emitter, 1.0)], Language::English).unwrap();
    found.shares[0].distance_to_limit_m
}

#[test]
fn every_row_of_47_cfr_1_1310() {
    // MHz, tier, mW/cm², V/m, A/m, minutes: HANDBOOK 3.1.
    type Row = (f64, ExposureTier, f64, Option<(f64, f64)>, f64);
    let rows: [Row; 10] = [
        (1.0, Workers, 100.0, Some((614.0, 1.63)), 6.0),
        (10.0, Workers, 9.0, Some((184.2, 0.489)), 6.0),
        (155.0, Workers, 1.0, Some((61.4, 0.163)), 6.0),
        (600.0, Workers, 2.0, None, 6.0),
        (2400.0, Workers, 5.0, None, 6.0),
        (1.0, Public, 100.0, Some((614.0, 1.63)), 30.0),
        (10.0, Public, 1.8, Some((82.4, 0.219)), 30.0),
        (155.0, Public, 0.2, Some((27.5, 0.073)), 30.0),
        (600.0, Public, 0.4, None, 30.0),
        (2400.0, Public, 1.0, None, 30.0),
    ];
    let source = || Published("47 CFR 1.1310 Table 1, HANDBOOK 3.1");
    for (at, tier, density, fields, minutes) in rows {
        let id = format!("{at} MHz {tier}");
        let found = limit(Fcc, tier, WholeBody, mhz(at)).unwrap();
        close(&id, found.density_w_m2 / 10.0, density, 1e-9, &source());
        close(&id, found.averaging_min, minutes, 1e-9, &source());
        assert_eq!(found.electric_v_m.is_some(), fields.is_some(), "{id}");
        if let Some((electric, magnetic)) = fields {
            close(&id, found.electric_v_m.unwrap(), electric, 1e-9, &source());
            close(&id, found.magnetic_a_m.unwrap(), magnetic, 1e-9, &source());
        }
        assert!(found.verified && !found.from_fields);
    }
}

#[test]
fn limits_at_published_frequencies() {
    let cfr = || Published("47 CFR 1.1310 checks, HANDBOOK 3.1");
    let icnirp = || Published("ICNIRP 2020 checks, HANDBOOK 3.4");
    let code = || Computed("HANDBOOK 3.5");
    let rows: [(ExposureStandard, ExposureTier, f64, f64, f64, Source); 26] = [
        // standard, tier, MHz, W/m², rounding, where
        (Fcc, Workers, 146.0, 10.0, 1e-9, cfr()),
        (Fcc, Public, 146.0, 2.0, 1e-9, cfr()),
        (Fcc, Workers, 460.0, 15.333, 0.0005, cfr()),
        (Fcc, Public, 460.0, 3.0667, 0.0001, cfr()),
        (Fcc, Workers, 850.0, 28.333, 0.0005, cfr()),
        (Fcc, Public, 915.0, 6.1, 1e-9, cfr()),
        (Fcc, Workers, 2400.0, 50.0, 1e-9, cfr()),
        (Fcc, Public, 2400.0, 10.0, 1e-9, cfr()),
        (Fcc, Workers, 3.75, 640.0, 0.005, cfr()),
        (Fcc, Public, 3.75, 128.0, 0.15, cfr()), // printed as 12.81 mW/cm² there
        (Icnirp2020, Public, 460.0, 2.3, 1e-9, icnirp()),
        (Icnirp2020, Workers, 460.0, 11.5, 1e-9, icnirp()),
        (Icnirp2020, Public, 400.0, 2.0, 1e-9, icnirp()),
        (Icnirp2020, Public, 2000.0, 10.0, 1e-9, icnirp()),
        (Icnirp2020, Public, 155.0, 2.0, 1e-9, icnirp()),
        (Icnirp2020, Workers, 155.0, 10.0, 1e-9, icnirp()),
        (Icnirp2020, Workers, 5000.0, 50.0, 1e-9, icnirp()),
        (SafetyCode6, Public, 460.0, 1.7293, 0.0001, code()),
        (SafetyCode6, Public, 850.0, 2.6309, 0.0001, code()),
        (SafetyCode6, Workers, 155.0, 8.0364, 0.0001, code()),
        (SafetyCode6, Workers, 460.0, 13.8444, 0.0001, code()),
        (SafetyCode6, Public, 300.0, 1.2912, 0.0003, code()),
        (SafetyCode6, Public, 6000.0, 10.003, 0.0035, code()),
        (SafetyCode6, Workers, 6000.0, 50.0, 0.001, code()),
        (SafetyCode6, Public, 155.0, 1.291, 1e-9, code()),
        (SafetyCode6, Public, 15.0, 2.0, 1e-9, code()),
    ];
    for (standard, tier, at, expected, rounding, source) in rows {
        let found = limit(standard, tier, WholeBody, mhz(at)).unwrap();
        let id = format!("{} {tier} {at} MHz", standard.name());
        close(&id, found.density_w_m2, expected, rounding, &source);
        assert!(found.verified, "{id}");
    }
    for (tier, expected) in [(Public, 11.308), (Workers, 56.54)] {
        let found = limit(Icnirp2020, tier, Local, mhz(460.0)).unwrap();
        close("local 460 MHz", found.density_w_m2, expected, 0.005, &Computed("HANDBOOK 3.4"));
    }
    let edge = limit(Icnirp2020, Public, WholeBody, mhz(30.0)).unwrap();
    close("30 MHz", edge.electric_v_m.unwrap(), 27.69, 0.01, &icnirp());
    let late = limit(SafetyCode6, Public, WholeBody, mhz(100_000.0)).unwrap();
    close("100 GHz", late.averaging_min, 0.616, 0.0005, &Computed("616000/f^1.2, HANDBOOK 3.5"));
}

#[test]
fn x1_density_at_a_hundred_feet() {
    let station = emitter(3.8, 1500.0, 2.20, WaveReflection::Ground);
    let got = density_w_m2(station.eirp(), WaveReflection::Ground, 100.0 * FOOT_M).unwrap();
    close("X1", got / 10.0, 0.054587, 0.000_001, &Computed("HANDBOOK X1"));
    close("X1", got / 10.0, 0.0546, 0.000_05, &Published("station evaluation page, X1"));
}

#[test]
fn x2_to_x4_distances_of_a_large_array() {
    for (id, power, workers, public, rounding) in [
        ("X2", 1500.0, 287.4, 642.7, 0.1),
        ("X3", 500.0, 166.0, 371.1, 0.1),
        ("X4", 150.0, 90.9, 203.3, 0.1),
    ] {
        let array = || emitter(144.0, power, 24.0, WaveReflection::Ground);
        let source = || Published("OET 65B table, X2 to X4");
        close(id, distance(Workers, array()) / FOOT_M, workers, rounding, &source());
        close(id, distance(Public, array()) / FOOT_M, public, rounding, &source());
    }
}

#[test]
fn x5_and_x6_distances_of_small_sets() {
    let rows = [
        // W average, reflection, public m, workers m
        ("X5", 5.0, WaveReflection::Ground, 0.91, 0.41),
        ("X5", 5.0, WaveReflection::None, 0.57, 0.26),
        ("X6", 2.0, WaveReflection::Ground, 0.58, 0.26),
        ("X6", 1.0, WaveReflection::Ground, 0.41, 0.18),
    ];
    for (id, power, reflection, public, workers) in rows {
        let set = || emitter(146.0, power, DIPOLE_GAIN_DBI, reflection);
        close(id, distance(Public, set()), public, 0.006, &Published("a public source, X5, X6"));
        close(id, distance(Workers, set()), workers, 0.006, &Published("a public source, X5, X6"));
    }
}

#[test]
fn x7_and_x8_distance_and_average_power() {
    let eirp = Watts::new(100.0).unwrap();
    let got = distance_to_m(eirp, WaveReflection::None, 10.0).unwrap();
    close("X7", got, 0.892062, 0.000_000_6, &Published("a public source, X7"));
    let power = Watts::new(500.0).unwrap();
    let duty = TransmitterMode::KeyedCarrier.duty() * 0.125;
    let made = Emitter::new(mhz(146.0), power, duty, Db::ZERO, 0.0, WaveReflection::None).unwrap();
    close("X8", made.average().watts(), 25.0, 1e-9, &Published("OET 65B, X8"));
}

#[test]
fn x9_to_x11_distances_by_erp() {
    for (id, erp, at, reflection, public, workers) in [
        ("X9", 100.0, 155.0, WaveReflection::Ground, 4.087, 1.828),
        ("X9", 100.0, 155.0, WaveReflection::None, 2.554, 1.142),
        ("X10", 100.0, 460.0, WaveReflection::Ground, 3.301, 1.476),
        ("X11", 500.0, 860.0, WaveReflection::Ground, 5.398, 2.414),
    ] {
        // ERP·1.64 there, 2.15 dB here: 0.002 dB apart (HANDBOOK U7), 0.02 % of a distance.
        let source = || Computed("HANDBOOK X9 to X11");
        let station = || emitter(at, erp, DIPOLE_GAIN_DBI, reflection);
        close(id, distance(Public, station()), public, 0.002, &source());
        close(id, distance(Workers, station()), workers, 0.001, &source());
    }
}

#[test]
fn x12_the_exemption_and_its_rows() {
    let rule = || Published("47 CFR 1.1307(b)(3)(i)(C) Table 1, HANDBOOK 3.2");
    for (erp, expected) in [(1.0, 0.51), (5.0, 1.14)] {
        let got = exemption_distance_m(mhz(144.0), Watts::new(erp).unwrap()).unwrap();
        close("X12", got, expected, 0.005, &Published("a public source, X12"));
    }
    for (at, expected, from_limit) in [
        (1.0, 1920.0, 1915.6),
        (10.0, 34.5, 34.481),
        (155.0, 3.83, 3.831),
        (460.0, 0.0128 * 460.0, 0.01277 * 460.0),
        (2400.0, 19.2, 19.16),
    ] {
        // At 60 m all five are past λ/2π; the rule goes with R².
        let got = exemption(mhz(at), 60.0).unwrap().erp.watts() / 3600.0;
        close(&format!("{at} MHz"), got, expected, 1e-9 * expected, &rule());
        // π·R²·S/1.64 of the public's limit gives nearly the same: HANDBOOK 3.2.
        let identity = Computed("HANDBOOK 3.2 identity");
        close(&format!("{at} MHz"), got, from_limit, 0.003 * from_limit, &identity);
    }
    close("λ/2π", reactive_field_m(mhz(144.0)), 0.331, 0.0005, &Published("a public source"));
    assert!(exemption(mhz(144.0), 0.33).is_err(), "trap 10");
}

#[test]
fn fields_and_factors() {
    for (reflection, factor) in
        [(WaveReflection::None, 1.0), (WaveReflection::Ground, 2.56), (WaveReflection::Full, 4.0)]
    {
        close("factor", reflection.factor(), factor, 1e-12, &Published("HANDBOOK 3.2"));
    }
    // OET 65's shortcut: S µW/cm² = 33.4·ERP/R², from memory, reproduced as 33.410.
    let station = emitter(155.0, 1.0, DIPOLE_GAIN_DBI, WaveReflection::Ground);
    let got = density_w_m2(station.eirp(), WaveReflection::Ground, 1.0).unwrap() * 100.0;
    close("33.41", got, 33.410, 0.02, &Computed("HANDBOOK 3.2, 2.56·1.64/(4π)·100"));
    // E = √(30·EIRP)/R and S = E²/377 differ by the rounding of 377 only: 120π is 376.99.
    let eirp = Watts::new(100.0).unwrap();
    let density = density_w_m2(eirp, WaveReflection::None, 10.0).unwrap();
    close("E", electric_v_m(density), 3000f64.sqrt() / 10.0, 0.001, &Published("HANDBOOK 3.2"));
    for (mode, duty) in [
        (TransmitterMode::FmVoice, 1.0),
        (TransmitterMode::SidebandVoice, 0.2),
        (TransmitterMode::ProcessedSidebandVoice, 0.5),
        (TransmitterMode::KeyedCarrier, 0.4),
        (TransmitterMode::ShiftKeying, 1.0),
        (TransmitterMode::Carrier, 1.0),
    ] {
        close("duty", mode.duty(), duty, 1e-12, &Published("OET 65B Table 2, HANDBOOK 3.3"));
    }
}
