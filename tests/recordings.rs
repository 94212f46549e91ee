//! Recordings made to order: no binary lies in the repository. Numbers in, WAV or SigMF bytes out.

use std::f64::consts::TAU;
use std::io::Cursor;

use guyline_core::rf::audio::dcs::{BITS_PER_SECOND, Code, WORD_BITS};
use hound::{SampleFormat, WavSpec, WavWriter};

/// Gaussian noise of standard deviation 1, the same on every machine for a seed.
pub struct Noise(u64);

impl Noise {
    /// Begins at a seed.
    pub fn seeded(seed: u64) -> Self {
        Self(seed)
    }

    /// Evenly between 0 and 1 (splitmix64, the upper 53 bits).
    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / 2f64.powi(53)
    }

    /// The next value (Box and Muller).
    pub fn value(&mut self) -> f64 {
        let (radius, turn) = (1.0 - self.even(), self.even());
        (-2.0 * radius.ln()).sqrt() * (TAU * turn).cos()
    }
}

/// `seconds` of a signal at a rate.
pub fn sampled(rate_hz: f64, seconds: f64, mut signal: impl FnMut(f64) -> f64) -> Vec<f64> {
    let count = (rate_hz * seconds).round() as usize;
    (0..count).map(|n| signal(n as f64 / rate_hz)).collect()
}

/// A mono WAV file of 16 bits, full scale being 1.
pub fn wav(rate_hz: u32, samples: &[f64]) -> Vec<u8> {
    let spec = WavSpec {
        channels: 1,
        sample_rate: rate_hz,
        bits_per_sample: 16,
        sample_format: SampleFormat::Int,
    };
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = WavWriter::new(&mut bytes, spec).expect("memory takes a WAV file");
    for sample in samples {
        let step = (sample * 32768.0).round().clamp(-32768.0, 32767.0);
        writer.write_sample(step as i16).expect("memory takes a sample");
    }
    writer.finalize().expect("memory takes a WAV file");
    bytes.into_inner()
}

/// A receiver's audio as the demo has it: 1 kHz at half of full scale, noise for about 12 dB SINAD
/// over the whole band, and the squelch tone 123.0 Hz.
pub fn receiver_at_opening(rate_hz: u32, seconds: f64) -> Vec<f64> {
    let mut noise = Noise::seeded(123);
    // 12 dB SINAD is 11.717 dB S/(N+D): a rest of 0.1835 of the tone's rms (HANDBOOK S3), of which
    // the squelch tone takes 0.05·0.7071.
    let rest: f64 = 0.5 * 0.5f64.sqrt() * 0.25954;
    let spread = (rest.powi(2) - 0.05f64.powi(2) / 2.0).sqrt();
    sampled(f64::from(rate_hz), seconds, |t| {
        0.5 * (TAU * 1000.0 * t).sin() + 0.05 * (TAU * 123.0 * t).sin() + spread * noise.value()
    })
}

/// The audio of a transmitter that sends a squelch code under a 1 kHz tone.
pub fn coded(rate_hz: u32, seconds: f64, code: Code) -> Vec<f64> {
    sampled(f64::from(rate_hz), seconds, |t| {
        let bit = (t * BITS_PER_SECOND) as usize % WORD_BITS;
        let level = if code.word() >> bit & 1 == 1 { 0.1 } else { -0.1 };
        level + 0.4 * (TAU * 1000.0 * t).sin()
    })
}

/// The meta data and `ci16_le` data of a carrier `offset_hz` above 155 MHz, modulated by a tone.
pub fn carrier(offset_hz: f64, tone_hz: f64, deviation_hz: f64) -> (String, Vec<u8>) {
    let meta = r#"{"global": {"core:datatype": "ci16_le", "core:sample_rate": 48000,
        "core:version": "1.2.0", "core:description": "made to order"},
        "captures": [{"core:sample_start": 0, "core:frequency": 155000000}], "annotations": []}"#;
    let data = (0..48_000).flat_map(|n| {
        let t = f64::from(n) / 48e3;
        let swing = deviation_hz / tone_hz * (TAU * tone_hz * t).sin();
        let (sin, cos) = (TAU * offset_hz * t + swing).sin_cos();
        [cos, sin].map(|part| ((part * 20_000.0).round() as i16).to_le_bytes()).concat()
    });
    (meta.to_owned(), data.collect())
}
