//! Audio: HANDBOOK S1-S8, 2.6 (hum and noise), 2.7, 2.8, 9.1, 9.2, 9.3; and scipy on random cases.

use std::f64::consts::TAU;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use guyline_core::bench::{BenchAnswer, BenchQuestion, ask};
use guyline_core::rf::audio::Samples;
use guyline_core::rf::audio::dcs::{self, Code, standard_codes};
use guyline_core::rf::audio::deviation::{
    CARRIER_NULLS, demodulated, deviation_at_null, modulation, tone_for_null,
};
use guyline_core::rf::audio::iq::read_sigmf;
use guyline_core::rf::audio::sinad::{cleanness, distortion_db, hum_and_noise_below};
use guyline_core::rf::audio::sine_fit::{four_parameter, near, three_parameter};
use guyline_core::rf::audio::tones::{identify, standard_tones_hz};
use guyline_core::rf::audio::weighting::Weighting;
use guyline_core::units::Hertz;
use guyline_tests::recordings::{Noise, carrier, coded, receiver_at_opening, sampled, wav};
use serde_json::{Value, json};

use crate::oracle::oracle;
use crate::source::Source::{Computed, Published};
use crate::source::close;

fn at_48_khz(seconds: f64, signal: impl FnMut(f64) -> f64) -> Samples {
    Samples::new(sampled(48e3, seconds, signal), 48e3).unwrap()
}

fn sine(hz: f64, t: f64) -> f64 {
    (TAU * hz * t).sin()
}

#[test]
fn sinad_is_not_signal_over_the_rest() {
    // Trap 3: 12 dB SINAD is 11.717 dB S/(N+D), and 25 % of the voltage.
    let rows = [
        ("S1", 6.0, 4.744, 50.12),
        ("S2", 10.0, 9.542, 31.62),
        ("S3", 12.0, 11.717, 25.12),
        ("S4", 14.0, 13.824, 19.95),
        ("S5", 17.0, 16.912, 14.13),
        ("S6", 20.0, 19.956, 10.00),
    ];
    for (id, sinad_db, over_rest_db, percent) in rows {
        let rest = 10f64.powf(-over_rest_db / 20.0);
        let samples = at_48_khz(0.5, |t| sine(1e3, t) + rest * sine(1700.0, t + 1e-4));
        let found = cleanness(&samples, 1e3, Weighting::Flat).unwrap();
        let source = Computed("HANDBOOK S1-S6");
        close(id, found.sinad().db(), sinad_db, 0.001, &source);
        close(id, found.signal_over_rest().db(), over_rest_db, 0.001, &source);
        close(id, found.distortion_and_noise_percent(), percent, 0.006, &source);
    }
}

#[test]
fn published_sinad_of_known_signals() {
    let harmonic = at_48_khz(1.0, |t| sine(1e3, t) + 0.025 * sine(2e3, t));
    let found = cleanness(&harmonic, 1e3, Weighting::Flat).unwrap();
    let source = Published("HANDBOOK S7: a toolbox's page, 32.04 dB");
    close("S7 S/D", found.signal_over_rest().db(), 32.041, 0.001, &source);
    close("S7 (S+D)/D", found.sinad().db(), 32.044, 0.001, &source);

    let mut noise = Noise::seeded(8);
    let signal = |t| sine(1e3, t) + 0.02 * sine(2e3, t) + 0.01 * noise.value();
    let found = cleanness(&at_48_khz(10.0, signal), 1e3, Weighting::Flat).unwrap();
    let source = Published("HANDBOOK S8: the same page, 32.2 dB");
    close("S8 S/(N+D)", found.signal_over_rest().db(), 32.218, 0.02, &source);
    close("S8 SINAD", found.sinad().db(), 32.221, 0.02, &source);
    close("S8 harmonics", found.harmonic_distortion_percent(), 2.0, 0.02, &source);
}

#[test]
fn distortion_and_hum_in_decibels() {
    for (percent, db) in [(1.0, -40.0), (3.0, -30.46), (5.0, -26.02), (10.0, -20.0)] {
        let got = distortion_db(percent).unwrap().db();
        close(&format!("{percent} %"), got, db, 0.005, &Computed("HANDBOOK 9.3"));
    }
    for (reference, residual, db) in [(3000.0, 30.0, 40.0), (1500.0, 20.0, 37.5)] {
        let got = hum_and_noise_below(residual, reference).unwrap().db();
        close("hum and noise", got, db, 0.005, &Computed("HANDBOOK 2.6"));
    }
}

#[test]
fn deviation_from_carrier_nulls() {
    let zeros = [2.404826, 5.520078, 8.653728, 11.791534, 14.930918];
    for (got, zero) in CARRIER_NULLS.into_iter().zip(zeros) {
        close("zero of J0", got, zero, 6e-7, &Computed("HANDBOOK 9.1, scipy"));
    }
    let deviation = |tone, null| deviation_at_null(Hertz::tone(tone).unwrap(), null).unwrap();
    for (tone, khz) in [(999.0, 2.4), (500.0, 1.2), (2079.0, 5.0), (1248.0, 3.0)] {
        // Told to a tenth of a kilohertz there, tones to a hertz.
        let got = deviation(tone, 1).hertz() / 1e3;
        close(&format!("{tone} Hz"), got, khz, 0.003, &Published("HANDBOOK 9.1, a public source"));
    }
    for (null, hz) in [(1, 2404.8), (2, 5520.1), (3, 8653.7)] {
        let got = deviation(1000.0, null).hertz();
        close("1 kHz", got, hz, 0.05, &Computed("HANDBOOK 9.1"));
    }
    let rows: [(f64, [f64; 3]); 5] = [
        (1500.0, [623.7, 271.7, 173.3]),
        (2500.0, [1039.6, 452.9, 288.9]),
        (3000.0, [1247.5, 543.5, 346.7]),
        (4000.0, [1663.3, 724.6, 462.2]),
        (5000.0, [2079.2, 905.8, 577.8]),
    ];
    for (hz, tones) in rows {
        for (null, tone) in (1..).zip(tones) {
            let got = tone_for_null(Hertz::offset(hz).unwrap(), null).unwrap().hertz();
            close(&format!("{hz} Hz, null {null}"), got, tone, 0.06, &Computed("HANDBOOK 9.1"));
        }
    }
}

#[test]
fn published_sine_fits() {
    let samples = at_48_khz(0.1, |t| 0.3 + (TAU * 1000.7 * t).cos());
    let found = near(&samples, 1000.0).unwrap();
    let source = Computed("HANDBOOK 9.2, adctoolbox");
    close("9.2 frequency", found.frequency_hz, 1000.7, 1e-5, &source);
    close("9.2 amplitude", found.amplitude(), 1.00000007, 1e-6, &source);
    close("9.2 offset", found.offset, 0.3, 1e-6, &source);

    // One draw of 4800 samples scatters by 0.09 dB (10/ln 10 · √(2/4800)).
    let mut noise = Noise::seeded(9);
    let samples = at_48_khz(0.1, |t| sine(1e3, t) + 0.1 * noise.value());
    let found = three_parameter(&samples, 1e3).unwrap();
    let db = 10.0 * (found.mean_square() / found.rest_mean_square).log10();
    close("9.2 noise", db, 16.990, 0.27, &Computed("HANDBOOK 9.2"));
}

#[test]
fn weighting_of_flat_noise() {
    // Trap 4: the same noise through another filter is another reading.
    let mut noise = Noise::seeded(41);
    let values: Vec<f64> = (0..1_000_000).map(|_| noise.value()).collect();
    let share = |weighting: Weighting| weighting.share(&values, 48e3);
    let in_band = share(Weighting::SpeechBand);
    close("speech band", in_band, 3100.0 / 24e3, 0.002, &Computed("the definition"));
    // Flat 300-3400 Hz noise: what lies outside is taken away by the table before the mean is made.
    let mean = |weighting: Weighting| {
        let gains = (3000..=34_000).map(|tenth| weighting.power_gain(f64::from(tenth) / 10.0));
        10.0 * (gains.sum::<f64>() / 31_001.0).log10()
    };
    let textbook = Published("HANDBOOK 9.3: a textbook's 2.5 dB, -2.51 calculated");
    close("psophometric", mean(Weighting::Psophometric), -2.51, 0.01, &textbook);
    close("C-message", mean(Weighting::CMessage), -1.91, 0.01, &Computed("HANDBOOK 9.3"));
    let width = share(Weighting::Psophometric) * 24e3;
    close("noise bandwidth", width, 1802.0, 15.0, &Computed("HANDBOOK 9.3"));
}

#[test]
fn weighting_at_rows_of_the_published_tables() {
    let psophometric = [(50.0, -63.0), (300.0, -10.6), (800.0, 0.0), (1000.0, 1.0), (3500.0, -8.5)];
    let c_message = [(60.0, -55.7), (500.0, -7.7), (1000.0, 0.0), (2500.0, -1.1), (5000.0, -28.7)];
    let tables = [(Weighting::Psophometric, psophometric), (Weighting::CMessage, c_message)];
    for (weighting, rows) in tables {
        for (hz, db) in rows {
            let got = 10.0 * weighting.power_gain(hz).log10();
            close(weighting.name(), got, db, 1e-9, &Published("ITU-T O.41, HANDBOOK 9.3"));
        }
    }
}

#[test]
fn squelch_tones_of_the_table() {
    assert_eq!(standard_tones_hz().len(), 50, "HANDBOOK 2.7");
    assert!(standard_tones_hz().is_sorted_by(|a, b| a < b), "HANDBOOK 2.7");
    // Trap 14: 150.0 and 203.3 are tones of no table; 151.0 is a measured 151.4.
    assert_eq!(identify(151.0).unwrap().measured_as_hz, Some(151.4));
    assert_eq!(identify(150.0).unwrap().measured_as_hz, None);
    assert_eq!(identify(150.0).unwrap().listed_hz, None);
    assert_eq!(identify(203.3).unwrap().listed_hz, None);
    for &tone in standard_tones_hz() {
        for (factor, taken) in [(0.9951, true), (1.0049, true), (0.9949, false), (1.0051, false)] {
            let found = identify(tone * factor).unwrap().measured_as_hz == Some(tone);
            assert_eq!(found, taken, "{tone} Hz times {factor}");
        }
    }
}

#[test]
fn squelch_codes_and_their_words() {
    let code = |text: &str| text.parse::<Code>().unwrap();
    let words = [("023", 0x763813), ("025", 0x6B7815), ("047", 0xFD827), ("754", 0x20F9EC)];
    for (text, word) in words {
        assert_eq!(code(text).word(), word, "{text}: HANDBOOK 2.8");
    }
    assert_eq!(code("023").rotations(), [code("340"), code("766")], "HANDBOOK 2.8");
    let pairs = "023-047 025-244 026-464 031-627 032-051 036-172 043-445 116-754 155-731 411-226 \
                 606-631 703-565 743-654";
    for pair in pairs.split_whitespace() {
        let (one, other) = pair.split_once('-').unwrap();
        assert_eq!(code(one).inverse(), Some(code(other)), "HANDBOOK 2.8");
        assert_eq!(code(other).inverse(), Some(code(one)), "HANDBOOK 2.8");
    }
    assert_eq!(standard_codes().len(), 104, "HANDBOOK 2.8");
    for one in standard_codes() {
        // Exactly one inverse in the table, and no other code of it that reads the same.
        assert_eq!(one.inverse().and_then(Code::inverse), Some(*one), "{one}: HANDBOOK 2.8");
        assert!(!one.rotations().iter().any(|turned| turned.is_standard()), "{one}");
    }
}

fn asked(topic: &str, with: Value) -> Value {
    let question: BenchQuestion =
        serde_json::from_value(json!({ "topic": topic, "with": with })).unwrap();
    let answer: BenchAnswer = ask(&question).unwrap();
    serde_json::to_value(answer).unwrap()["found"].clone()
}

#[test]
fn recordings_made_to_order_read_as_made() {
    let audio = |samples: &[f64], weighting: &str| {
        let recording = STANDARD.encode(wav(16_000, samples));
        let with = json!({ "recording_base64": recording, "channel": 1, "tone_hz": 1000.0,
            "weighting": weighting });
        asked("audio", with)
    };
    let opening = audio(&receiver_at_opening(16_000, 4.0), "flat");
    let sinad = opening["tone"]["sinad_db"].as_f64().unwrap();
    close("12 dB SINAD", sinad, 12.0, 0.15, &Computed("HANDBOOK S3"));
    assert_eq!(opening["ctcss"]["measured_as_hz"], json!(123.0));
    assert_eq!(opening["weighting"], json!("flat"));
    let code = "754".parse().unwrap();
    let sent = audio(&coded(16_000, 2.0, code), "speech-band");
    assert_eq!((&sent["dcs"]["code"], &sent["dcs"]["inverse"]), (&json!("754"), &json!("116")));
    assert_eq!(dcs::WORDS_MIN, 3);

    let (meta, data) = carrier(250.0, 1000.0, 3000.0);
    let with = json!({ "meta": meta, "data_base64": STANDARD.encode(data), "assigned_hz": 155e6,
        "channel_hz": 25e3, "tone_hz": 1000.0, "weighting": "flat" });
    let found = asked("iq", with);
    let number = |name: &str| found[name].as_f64().unwrap();
    close("offset", number("carrier_offset_hz"), 250.0, 0.1, &Computed("as made"));
    close("error", number("error_ppm"), 250.0 / 155.0, 0.001, &Computed("Hz / MHz"));
    let deviation = found["tone"]["deviation_hz"].as_f64().unwrap();
    close("deviation", deviation, 3000.0, 1.0, &Computed("as made"));
}

fn number(case: &Value, name: &str) -> f64 {
    case[name].as_f64().unwrap_or_else(|| panic!("{name} is missing in {case}"))
}

fn samples(case: &Value) -> Samples {
    let bytes = STANDARD.decode(case["samples_i16"].as_str().unwrap()).unwrap();
    let steps = bytes.chunks_exact(2).map(|two| i16::from_le_bytes([two[0], two[1]]));
    let values = steps.map(|step| f64::from(step) / 32768.0).collect();
    Samples::new(values, number(case, "rate_hz")).unwrap()
}

#[test]
fn scipy_agrees_on_random_recordings() {
    let cases = oracle("oracle_audio.py");
    for (got, case) in CARRIER_NULLS.iter().zip(cases["zeros"].as_array().unwrap()) {
        let zero = case.as_f64().unwrap();
        close("zero of J0", *got, zero, 1e-12 * zero, &Computed("scipy.special.jn_zeros"));
    }
    let fits = cases["fits"].as_array().unwrap();
    assert!(fits.len() >= 1000, "{} fits", fits.len());
    for (n, case) in fits.iter().enumerate() {
        let samples = samples(case);
        let found = near(&samples, number(case, "tone_hz")).unwrap();
        let again = four_parameter(&samples, found.frequency_hz).unwrap();
        let measured = cleanness(&samples, number(case, "tone_hz"), Weighting::Flat).unwrap();
        let source = Computed("scipy.optimize.least_squares");
        let id = |name: &str| format!("fit {n}, {name}");
        let hz = number(case, "frequency_hz");
        close(&id("frequency"), found.frequency_hz, hz, 1e-7 * hz, &source);
        close(&id("again"), again.frequency_hz, hz, 1e-7 * hz, &source);
        close(&id("amplitude"), found.amplitude(), number(case, "amplitude"), 1e-7, &source);
        close(&id("offset"), found.offset, number(case, "offset"), 1e-7, &source);
        let db = number(case, "signal_over_rest_db");
        close(&id("S/(N+D)"), measured.signal_over_rest().db(), db, 1e-6, &source);
    }
    for (n, case) in cases["weighted"].as_array().unwrap().iter().enumerate() {
        let weighting = Weighting::named(case["weighting"].as_str().unwrap()).unwrap();
        let found = cleanness(&samples(case), number(case, "tone_hz"), weighting).unwrap();
        let got = found.signal_over_rest().db();
        let source = Computed("scipy.signal.firwin2 in the time domain");
        // The filter leaves out its own length at the ends, a sixth of the noise.
        let db = number(case, "signal_over_rest_db");
        close(&format!("weighted {n}"), got, db, 0.25, &source);
    }
    for (n, case) in cases["carriers"].as_array().unwrap().iter().enumerate() {
        let rate = number(case, "rate_hz");
        let meta =
            format!(r#"{{"global": {{"core:datatype": "cf32_le", "core:sample_rate": {rate}}}}}"#);
        let data = STANDARD.decode(case["data_base64"].as_str().unwrap()).unwrap();
        let audio = demodulated(&read_sigmf(&meta, &data).unwrap(), 0.0, 25e3).unwrap();
        let found = modulation(&audio, Some(number(case, "tone_hz")), Weighting::Flat).unwrap();
        let source = Computed("numpy, as made");
        let id = |name: &str| format!("carrier {n}, {name}");
        let (offset, hz) = (number(case, "offset_hz"), number(case, "deviation_hz"));
        close(&id("offset"), found.carrier_offset_hz, offset, 0.05, &source);
        let deviation = found.tone.unwrap().deviation_hz;
        close(&id("deviation"), deviation, hz, 0.0005 * hz, &source);
    }
}
