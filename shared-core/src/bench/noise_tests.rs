//! Tests of the noise questions: that they ask the right formula in the right unit.

use super::*;

#[test]
fn the_noise_of_a_bandwidth_and_the_change_to_another() {
    // HANDBOOK N2: 12 kHz is -133.183 dBm; N4: 288.626 K is 3 dB; N3: 50 to 1000 Hz is 13 dB.
    let asked = NoiseQuestion {
        bandwidth_hz: 12e3,
        adds: NoiseKnown::TemperatureK(288.626),
        other_bandwidth_hz: Some(240e3),
    };
    let found = asked.answer().unwrap();
    assert!((found.thermal_dbm - -133.183).abs() < 0.001);
    assert!((found.noise_figure_db - 3.0).abs() < 1e-5);
    assert!((found.floor_dbm - -130.183).abs() < 0.001);
    assert!((found.change_db.unwrap() - 13.0).abs() < 0.05, "twenty times the bandwidth");
    let asked = NoiseQuestion { adds: NoiseKnown::NoiseFactor(2.0), ..asked };
    assert!((asked.answer().unwrap().temperature_k - 290.0).abs() < 1e-9, "HANDBOOK N4");
    let asked = NoiseQuestion { bandwidth_hz: 0.0, ..asked };
    assert!(asked.answer().unwrap_err().to_string().starts_with("bandwidth of 0 Hz"));
}

#[test]
fn a_pad_ahead_of_a_receiver_is_a_passive_stage() {
    // HANDBOOK F4: 0.5 + 1.5 dB ahead of 6 dB is 8.000 dB.
    let asked: CascadeQuestion = serde_json::from_str(
        r#"{"stages": [{"passive_loss_db": 0.5}, {"passive_loss_db": 1.5},
            {"active": {"gain_db": 20, "noise_figure_db": 6}}]}"#,
    )
    .unwrap();
    let found = asked.answer().unwrap();
    assert!((found.noise_figure_db - 8.0).abs() < 1e-9);
    assert!((found.gain_db - 18.0).abs() < 1e-9);
    let sum: f64 = found.added_k.iter().sum();
    assert!((sum - found.temperature_k).abs() < 1e-6);
    let none = CascadeQuestion { stages: Vec::new() };
    assert!(none.answer().unwrap_err().to_string().starts_with("number of stages"));
}

#[test]
fn sensitivity_through_a_duplexer_and_back() {
    // HANDBOOK R2: NF 6, 12 kHz, C/N 7 dB, 2 dB ahead: -118.183 dBm.
    let asked = SensitivityQuestion {
        known: SensitivityKnown::NoiseFigureDb(6.0),
        bandwidth_hz: 12e3,
        carrier_over_noise_db: 7.0,
        loss_ahead_db: 2.0,
    };
    let found = asked.answer().unwrap();
    assert!((found.sensitivity_dbm - -118.183).abs() < 0.001);
    assert!((found.sensitivity_emf_uv / found.sensitivity_uv - 2.0).abs() < 1e-12);
    assert!((found.floor_dbm - -125.183).abs() < 0.001);
    let known = SensitivityKnown::SensitivityDbm(found.sensitivity_dbm);
    let back = SensitivityQuestion { known, ..asked }.answer().unwrap();
    assert!((back.noise_figure_db - 6.0).abs() < 1e-9);
    let slip = SensitivityQuestion { loss_ahead_db: -2.0, ..asked };
    assert!(slip.answer().unwrap_err().to_string().starts_with("loss ahead of -2 dB"));
}

#[test]
fn twelve_decibels_of_sinad_are_a_quarter_of_distortion() {
    // HANDBOOK S3.
    let found = SinadQuestion::SinadDb(12.0).answer().unwrap();
    assert!((found.signal_over_rest_db.unwrap() - 11.717).abs() < 0.001);
    assert!((found.distortion_percent - 25.12).abs() < 0.005);
    let back = SinadQuestion::DistortionPercent(25.12).answer().unwrap();
    assert!((back.sinad_db - 12.0).abs() < 0.002);
    let back = SinadQuestion::SignalOverRestDb(11.717).answer().unwrap();
    assert!((back.sinad_db - 12.0).abs() < 0.001);
}

#[test]
fn a_site_among_houses() {
    // HANDBOOK 6.3: residential, 155 MHz, NF 6: 11.83, combined 12.60, degradation 6.60 dB.
    let asked: SiteNoiseQuestion = serde_json::from_str(
        r#"{"surroundings": "residential", "frequency_hz": 155000000,
            "noise_figure_db": 6, "bandwidth_hz": 12000}"#,
    )
    .unwrap();
    let found = asked.answer().unwrap();
    assert!((found.external_db - 11.83).abs() < 0.006);
    assert!((found.combined_db - 12.60).abs() < 0.006);
    assert!((found.degradation_db - 6.60).abs() < 0.006);
    assert!((found.external_dbm - (-133.183 + 11.83)).abs() < 0.007);
    let asked = SiteNoiseQuestion { frequency_hz: 460_000_000, ..asked };
    let refused = asked.answer().unwrap_err().to_string();
    assert!(refused.contains("460 MHz is outside 0.3 to 250 MHz"), "{refused}");
}
