//! Noise, sensitivity, SINAD and site noise: HANDBOOK 1.2 to 1.5 and 6.3.

use guyline_core::rf::noise::{
    NoiseFigure, Stage, bandwidth_change, cascade, figure_of_sensitivity, sensitivity,
    thermal_noise,
};
use guyline_core::rf::sinad::Sinad;
use guyline_core::rf::site_noise::{Surroundings, combined, degradation, external_noise};
use guyline_core::units::{Db, Dbm, Hertz, Loss};

use crate::source::Source::{self, Computed, Published};
use crate::source::close;

fn db(value: f64) -> Db {
    Db::new(value).unwrap()
}

fn figure(value: f64) -> NoiseFigure {
    NoiseFigure::new(value).unwrap()
}

fn bandwidth(hertz: f64) -> Hertz {
    Hertz::bandwidth(hertz).unwrap()
}

#[test]
fn thermal_noise_by_bandwidth() {
    let rows: [(&str, f64, f64, f64, Source); 11] = [
        ("N1", 1.0, -173.975, 0.0006, Computed("HANDBOOK N1")),
        ("N1", 1.0, -174.0, 0.05, Published("FCC Element 4, E4C05")),
        ("N2", 400.0, -147.955, 0.0006, Computed("HANDBOOK N2")),
        ("N2", 400.0, -148.0, 0.05, Published("FCC Element 4 2016-24, E4C06")),
        ("N2", 3e3, -139.204, 0.0006, Computed("HANDBOOK N2")),
        ("N2", 8e3, -134.944, 0.0006, Computed("HANDBOOK N2")),
        ("N2", 8.5e3, -134.681, 0.0006, Computed("HANDBOOK N2")),
        ("N2", 12e3, -133.183, 0.0006, Computed("HANDBOOK N2")),
        ("N2", 12.5e3, -133.006, 0.0006, Computed("HANDBOOK N2")),
        // One too many in the last digit as printed there: 10·log10(k·290·15000/1 mW) is -132.2143.
        ("N2", 15e3, -132.215, 0.001, Computed("HANDBOOK N2")),
        ("N2", 16e3, -131.934, 0.0006, Computed("HANDBOOK N2")),
    ];
    for (id, hertz, expected, rounding, source) in rows {
        let got = thermal_noise(bandwidth(hertz)).dbm();
        close(&format!("{id}, {hertz} Hz"), got, expected, rounding, &source);
    }
    let change = bandwidth_change(bandwidth(50.0), bandwidth(1000.0)).db();
    close("N3", change, 13.0, 0.05, &Published("FCC Element 4 2024-28, E4C06; HANDBOOK N3"));
}

#[test]
fn noise_figure_and_temperature() {
    let source = Published("documentation of the crate rfconversions, HANDBOOK N4");
    close("N4, 3 dB", figure(3.0).temperature_k(), 288.626, 0.0006, &source);
    let two = NoiseFigure::from_factor(2.0).unwrap();
    close("N4, F = 2", two.temperature_k(), 290.0, 1e-9, &source);
    let back = NoiseFigure::from_temperature(288.626).unwrap();
    close("N4, 288.626 K", back.db(), 3.0, 1e-5, &source);
}

fn stages(rows: &[(f64, f64)]) -> Vec<Stage> {
    rows.iter().map(|(gain, nf)| Stage::active(db(*gain), figure(*nf))).collect()
}

#[test]
fn stages_in_a_row() {
    let factor = |f: f64| 10.0 * f.log10();
    let (a, b) = ((10.0, factor(1.5)), (15.0, factor(3.0)));
    let source = Computed("HANDBOOK F1-F3, inputs from a textbook's companion script");
    for (id, row, expected_factor, expected_db) in
        [("F1", [a, b], 1.7, 2.304), ("F2", [b, a], 3.015_81, 4.794)]
    {
        let got = cascade(&stages(&row)).unwrap();
        close(id, got.figure.factor(), expected_factor, 6e-6, &source);
        close(id, got.figure.db(), expected_db, 0.0006, &source);
    }
    let radar = [(20.0, 3.0), (-0.5, 0.5), (-6.0, 6.0), (-1.0, 1.0), (30.0, 5.0)];
    let got = cascade(&stages(&radar)).unwrap();
    close("F3", got.figure.db(), 3.3507, 0.00006, &source);
    close("F3, gain", got.gain.db(), 42.5, 1e-9, &source);
    // The three losses as passive parts are the same row.
    let passive = |loss: f64| Stage::passive(Loss::new(loss).unwrap());
    let ends = stages(&[radar[0], radar[4]]);
    let got = cascade(&[ends[0], passive(0.5), passive(6.0), passive(1.0), ends[1]]).unwrap();
    close("F3, passive", got.figure.db(), 3.3507, 0.00006, &source);
    let receiver = stages(&[(20.0, 6.0)])[0];
    let got = cascade(&[passive(0.5), passive(1.5), receiver]).unwrap();
    close("F4", got.figure.db(), 8.0, 1e-9, &Computed("HANDBOOK F4"));
}

#[test]
fn sensitivity_from_noise_figure_and_back() {
    let (twelve, wanted) = (bandwidth(12e3), db(7.0));
    let source = Computed("HANDBOOK R1, R2");
    let bare = sensitivity(twelve, figure(6.0), wanted).unwrap();
    close("R1", bare.dbm(), -120.183, 0.0006, &source);
    close("R1, \u{b5}V", bare.microvolts().microvolts(), 0.219, 0.0006, &source);
    let behind = figure(6.0).behind(Loss::new(2.0).unwrap()).unwrap();
    let ahead = sensitivity(twelve, behind, wanted).unwrap();
    close("R2", ahead.dbm(), -118.183, 0.0006, &source);
    let back = figure_of_sensitivity(twelve, Dbm::new(-120.183).unwrap(), wanted).unwrap();
    close("R1, back", back.db(), 6.0, 0.0006, &source);
    let textbook = Published("a textbook's companion script, example 3.6, HANDBOOK R3");
    let level = sensitivity(bandwidth(2.1e3), figure(8.0), Db::ZERO).unwrap();
    close("R3", level.dbm(), -132.8, 0.06, &textbook);
    // The script prints the source's EMF: 2·the closed-circuit voltage.
    let emf = 2.0 * level.microvolts().microvolts();
    close("R3, EMF \u{b5}V", emf, 0.10, 0.005, &textbook);
}

#[test]
fn sinad_in_three_forms() {
    for (id, sinad, over_rest, percent) in [
        ("S1", 6.0, 4.744, 50.12),
        ("S2", 10.0, 9.542, 31.62),
        ("S3", 12.0, 11.717, 25.12),
        ("S4", 14.0, 13.824, 19.95),
        ("S5", 17.0, 16.912, 14.13),
        ("S6", 20.0, 19.956, 10.00),
    ] {
        let source = Computed("HANDBOOK 1.4");
        let from_sinad = Sinad::new(sinad).unwrap();
        close(id, from_sinad.signal_over_rest().unwrap().db(), over_rest, 0.0006, &source);
        close(id, from_sinad.distortion_percent(), percent, 0.006, &source);
        let back = Sinad::from_signal_over_rest(db(over_rest)).unwrap();
        close(id, back.db(), sinad, 0.0006, &source);
        let back = Sinad::from_distortion_percent(percent).unwrap();
        close(id, back.db(), sinad, 0.005, &source);
    }
    for (id, over_rest, sinad, published) in
        [("S7", 32.041, 32.044, 32.04), ("S8", 32.218, 32.221, 32.2)]
    {
        let got = Sinad::from_signal_over_rest(db(over_rest)).unwrap().db();
        close(id, got, sinad, 0.0006, &Computed("HANDBOOK 1.4"));
        close(id, got, published, 0.03, &Published("a signal toolbox's page, HANDBOOK 1.4"));
    }
    // The seen conversions of (S+N)/N to S/N, and trap 3: 12 dB SINAD is not 12 dB of S/N.
    for (whole, part) in [(6.0, 4.7), (10.0, 9.5), (3.0, 0.0)] {
        let got = Sinad::new(whole).unwrap().signal_over_rest().unwrap().db();
        close("1.4", got, part, 0.05, &Published("a public conversion table, HANDBOOK 1.4"));
    }
}

#[test]
fn external_noise_by_surroundings() {
    use Surroundings::{City, Galactic, Residential, Rural};
    for (surroundings, mhz, expected) in [
        (City, 155.0, 16.13),
        (Residential, 155.0, 11.83),
        (Rural, 155.0, 6.53),
        (Galactic, 155.0, 1.62),
        (City, 75.0, 24.86),
        (City, 40.0, 32.42),
        (Residential, 220.0, 7.61),
    ] {
        let got = external_noise(surroundings, Hertz::carrier(mhz * 1e6).unwrap()).unwrap().db();
        let id = format!("6.3, {surroundings:?} at {mhz} MHz");
        close(&id, got, expected, 0.006, &Computed("HANDBOOK 6.3, from ITU-R P.372"));
    }
    for (surroundings, both, costs) in [(Residential, 12.60, 6.60), (Rural, 8.74, 2.74)] {
        let at = Hertz::carrier(155e6).unwrap();
        let external = external_noise(surroundings, at).unwrap();
        let id = format!("6.3, {surroundings:?}, NF 6");
        let source = Computed("HANDBOOK 6.3");
        close(&id, combined(external, figure(6.0)).unwrap().db(), both, 0.006, &source);
        close(&id, degradation(external, figure(6.0)).unwrap().db(), costs, 0.006, &source);
    }
}

#[test]
fn trap_11_uhf_site_noise_is_not_made_up() {
    for mhz in [250.5, 460.0, 850.0] {
        let at = Hertz::carrier(mhz * 1e6).unwrap();
        let refused = external_noise(Surroundings::City, at).unwrap_err().to_string();
        assert!(refused.contains("outside 0.3 to 250 MHz"), "{refused}");
    }
}

#[test]
fn quiet_rural_by_its_own_coefficients() {
    // HANDBOOK 6.3 gives c 53.6 and d 28.6 and no worked value: at 1 MHz it is c, at 10 MHz c - d.
    for (mhz, expected) in [(1.0, 53.6), (10.0, 25.0)] {
        let at = Hertz::carrier(mhz * 1e6).unwrap();
        let got = external_noise(Surroundings::QuietRural, at).unwrap().db();
        close("6.3, quiet rural", got, expected, 1e-9, &Published("ITU-R P.372 by HANDBOOK 6.3"));
    }
}
