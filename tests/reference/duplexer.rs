//! Isolation, cavities and drift: HANDBOOK Z3 to Z8, scikit-rf's fit of resonances, and the
//! demonstration's own sweeps.

use guyline_core::rf::duplexer::cavity::{Cavity, resonance};
use guyline_core::rf::duplexer::drift::Tuning;
use guyline_core::rf::duplexer::isolation::{
    Listening, TransmitNoise, wanted_for_carrier, wanted_for_noise,
};
use guyline_core::rf::duplexer::{Channel, IsolationFound, Way};
use guyline_core::rf::sweep::Sweep;
use guyline_core::rf::touchstone::read;
use guyline_core::units::{Db, Dbm, Hertz, Watts};
use num_complex::Complex64;
use serde_json::Value;

use crate::oracle::numbers;
use crate::source::Source::{Computed, Published};
use crate::source::close;

fn db(value: f64) -> Db {
    Db::new(value).unwrap()
}

fn hertz(value: f64) -> Hertz {
    Hertz::carrier(value).unwrap()
}

#[test]
fn z3_isolation_wanted_for_a_transmitters_noise() {
    let receiver = Listening::new(12_000.0, db(6.0)).unwrap();
    let noise = TransmitNoise::new(-150.0).unwrap();
    let power = Watts::new(50.0).unwrap();
    // The row reckons with −174 dBm/Hz (§12 item 2), 0.025 dB from kT at 290 K.
    let source = Computed("HANDBOOK Z3");
    close("Z3 noise", receiver.noise(power, noise).unwrap().dbm(), -62.21, 0.03, &source);
    close("Z3 floor", receiver.floor().dbm(), -127.21, 0.03, &source);
    for (desense_db, isolation_db) in [(3.010, 65.0), (1.0, 70.9), (0.414, 75.0)] {
        let got = wanted_for_noise(power, noise, receiver, db(desense_db)).unwrap();
        close(&format!("Z3 {desense_db} dB"), got.db(), isolation_db, 0.08, &source);
    }
}

#[test]
fn n2_the_floor_of_a_receiver_without_noise_of_its_own() {
    let rows = [(400.0, -147.955), (8.5e3, -134.681), (12.5e3, -133.006), (16e3, -131.934)];
    for (bandwidth_hz, floor_dbm) in rows {
        let got = Listening::new(bandwidth_hz, Db::ZERO).unwrap().floor().dbm();
        close("N2", got, floor_dbm, 6e-4, &Computed("HANDBOOK N2"));
    }
}

#[test]
fn z4_and_z5_isolation_wanted_for_a_carrier() {
    let power = Watts::new(50.0).unwrap();
    let faint = Dbm::new(-120.969).unwrap();
    let source = Published("HANDBOOK Z5: 50 W against 0.2 µV, a mail archive's 168 dB");
    close("Z5", wanted_for_carrier(power, faint).db(), 167.96, 0.005, &source);
}

#[test]
fn z6_loss_and_unloaded_q_of_a_cavity() {
    let rows = [
        // Q_L/Q_u, loss dB
        (0.1, 0.915),
        (0.125, 1.160),
        (0.0559, 0.5),
        (0.1087, 1.0),
        (0.1586, 1.5),
        (0.2057, 2.0),
        (0.2921, 3.0),
    ];
    for (ratio, loss_db) in rows {
        let cavity = Cavity::new(7000.0 * ratio).unwrap();
        let source = Computed("HANDBOOK Z6, formula from memory, unverified");
        close("Z6 loss", cavity.loss(7000.0).unwrap().db(), loss_db, 0.001, &source);
        let back = 7000.0 * ratio / cavity.unloaded_q(db(loss_db)).unwrap();
        close("Z6 ratio", back, ratio, 6e-5, &source);
    }
    // NPL Report MAT 58, figure 6b: Q_L 7454, circle diameter 0.0121 (that is |S21|), Q_0 7546.
    let diameter = 0.0121f64;
    let got = Cavity::new(7454.0).unwrap().unloaded_q(db(-20.0 * diameter.log10())).unwrap();
    close("Z6 NPL", got, 7546.0, 1.0, &Published("NPL Report MAT 58, figure 6b"));
}

#[test]
fn z7_and_z8_off_tuning_and_half_power_width() {
    let rows = [
        // Q_L, tuned Hz, off by Hz, dB
        (500.0, 155e6, 0.6e6, 12.02),
        (500.0, 460e6, 5e6, 20.71),
        (300.0, 460e6, 5e6, 16.34),
    ];
    for (loaded, tuned, off, expected) in rows {
        let cavity = Cavity::new(loaded).unwrap();
        let got = cavity.off_tune(hertz(tuned), hertz(tuned + off)).db();
        close("Z7", got, expected, 0.006, &Computed("HANDBOOK Z7"));
    }
    for (loaded, tuned, width, question) in [
        (150.0, 7.1e6, 47.3e3, "FCC Element 4 pool, E5A11"),
        (118.0, 3.7e6, 31.4e3, "FCC Element 4 pool, E5A12"),
    ] {
        let got = Cavity::new(loaded).unwrap().half_power_width_hz(hertz(tuned));
        close("Z8", got, width, 50.0, &Published(question));
    }
}

/// Resonances against scikit-rf's six-parameter fit.
pub(crate) fn against(cases: &Value) {
    let cavities = cases["cavities"].as_array().unwrap();
    assert!(cavities.len() >= 40);
    for case in cavities {
        let parts = numbers(&case["real"]).into_iter().zip(numbers(&case["imaginary"]));
        let values = parts.map(|(re, im)| Complex64::new(re, im)).collect();
        let sweep = Sweep::new(numbers(&case["hertz"]), values, vec![50.0; 2]).unwrap();
        let found = resonance(Way::new(&sweep, 1, 2).unwrap()).unwrap();
        let ratio = |name: &str, got: f64| got / case[name].as_f64().unwrap();
        let source = Computed("scikit-rf, Qfactor NLQFIT6");
        close("tuned", ratio("tuned", found.tuned.hertz()), 1.0, 1e-5, &source);
        close("loaded Q", ratio("loaded_q", found.loaded_q), 1.0, 2e-3, &source);
        close("unloaded Q", ratio("unloaded_q", found.unloaded_q.unwrap()), 1.0, 4e-3, &source);
    }
}

fn demo(name: &str) -> Sweep {
    let path = guyline_tests::demo_data().join("sweeps").join(name);
    let bytes = std::fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    read(&bytes, Some(2)).unwrap().connectors().unwrap()
}

#[test]
fn the_demonstrations_duplexer_is_one_and_drifts() {
    // Invented, so only what any such duplexer does is held: HANDBOOK 6.1, "typical isolation".
    let channel = Channel::new(hertz(158.6e6), hertz(153.4e6)).unwrap();
    let (transmit, receive) = (channel.transmit(), channel.receive());
    let (out, back) = (demo("transmit.s2p"), demo("receive.s2p"));
    let way = |sweep| Way::new(sweep, 1, 2).unwrap();
    let out_path = way(&out).path(transmit, receive).unwrap();
    let back_path = way(&back).path(receive, transmit).unwrap();
    for path in [out_path, back_path] {
        assert!((0.5..1.5).contains(&path.insertion_loss.db()), "{path:?}");
        assert!((75.0..120.0).contains(&path.rejection.db()), "{path:?}");
        assert!(path.return_loss_in.unwrap().db() > 14.0, "{path:?}");
    }
    let isolation = IsolationFound::of_paths(&out_path, &back_path);
    assert!(isolation.at_receive.db() > out_path.rejection.db());
    let later = demo("transmit-later.s2p");
    let (was, is) = (Tuning::of(way(&out)).unwrap(), Tuning::of(way(&later)).unwrap());
    let moved = was.notch.unwrap().moved_to(&is.notch.unwrap());
    // The script moves the later sweep's notches up by 40 kHz.
    close("drift", moved.shift_hz, 40e3, 5e3, &Computed("demo-data/sweeps/make.py"));
}
