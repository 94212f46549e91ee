//! Recordings for the bench's first questions: made when asked for, so that no file is kept.
//!
//! Out: base64 of a WAV file and of SigMF samples (`ci16_le`, 48 kHz). Invented signals.

use std::f64::consts::TAU;
use std::io::Cursor;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

const AUDIO_HZ: u32 = 8_000;
const CARRIER_SAMPLES_HZ: f64 = 48_000.0;

/// Half a second of a 1 kHz tone with 3 % of its second harmonic over a 100 Hz squelch tone.
pub(super) fn tone_wav() -> String {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: AUDIO_HZ,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut file = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut file, spec).expect("this is a form of WAV");
    for n in 0..AUDIO_HZ / 2 {
        let turns = TAU * f64::from(n) / f64::from(AUDIO_HZ);
        let tone = (1e3 * turns).sin() + 0.03 * (2e3 * turns).sin() + 0.15 * (100.0 * turns).sin();
        writer.write_sample(whole(16e3 * tone)).expect("memory takes all samples");
    }
    writer.finalize().expect("memory takes the header");
    STANDARD.encode(file.into_inner())
}

/// A quarter of a second of a carrier 150 Hz high, with 1 kHz at 1.5 kHz of deviation.
pub(super) fn carrier_samples() -> String {
    let samples = (0..12_000).flat_map(|n| {
        let turns = TAU * f64::from(n) / CARRIER_SAMPLES_HZ;
        let (sin, cos) = (150.0 * turns + 1.5 * (1e3 * turns).sin()).sin_cos();
        [cos, sin].map(|part| whole(30e3 * part).to_le_bytes()).concat()
    });
    STANDARD.encode(samples.collect::<Vec<u8>>())
}

/// A sample within sixteen bits: `as` holds it at either end.
fn whole(sample: f64) -> i16 {
    sample.round() as i16
}
