//! What a recording of a receiver's audio says. Formulas: [`crate::rf::audio`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::squelch::{FoundDcs, FoundTone};
use super::{BenchRefused, bytes_of};
use crate::rf::audio::recording::{BYTES_MAX, Recording, level_dbfs, read_wav};
use crate::rf::audio::sinad::{Cleanness, cleanness};
use crate::rf::audio::weighting::Weighting;

/// A recording and the tone that was put in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct AudioQuestion {
    /// The WAV file, as base64.
    pub recording_base64: String,
    /// Which channel of it, from 1.
    pub channel: u64,
    /// The test tone, where one was put in. Without it no SINAD is given.
    pub tone_hz: Option<f64>,
    /// The filter: `flat`, `speech-band`, `psophometric` or `c-message`.
    pub weighting: String,
    /// The level that this recording is to be told against: of the same recorder at the same
    /// setting, say, with the tone on where this one is of hum and noise.
    pub reference_dbfs: Option<f64>,
}

/// What the recording says. Levels are re a sine that just reaches full scale.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct AudioAnswer {
    /// How many samples a second.
    pub sample_rate_hz: f64,
    /// How long it is.
    pub duration_s: f64,
    /// How many samples stand at full scale: any makes the distortion doubtful.
    pub clipped_samples: u64,
    /// The filter's name, which goes with every number below it.
    pub weighting: String,
    /// Where the filter's numbers stand.
    pub weighting_source: String,
    /// All that is heard, through the filter.
    pub level_dbfs: f64,
    /// The same against the reference that was given.
    pub relative_db: Option<f64>,
    /// The test tone, where one was named.
    pub tone: Option<HeardTone>,
    /// A tone below the voice. None where none stands out or the recording is under half a second.
    pub ctcss: Option<FoundTone>,
    /// A code below the voice. None where no word is repeated without an error.
    pub dcs: Option<FoundDcs>,
}

/// A test tone and what stands beside it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct HeardTone {
    /// Its frequency as fitted.
    pub frequency_hz: f64,
    /// (S+N+D)/(N+D), through the filter.
    pub sinad_db: f64,
    /// S/(N+D), a little less.
    pub signal_over_rest_db: f64,
    /// Distortion and noise of the total, as a meter with a notch reads.
    pub distortion_and_noise_percent: f64,
    /// The harmonics alone, of the tone.
    pub harmonic_distortion_percent: f64,
    /// What is left without tone and harmonics, against the tone.
    pub hum_and_noise_db: f64,
}

impl HeardTone {
    pub(super) fn of(found: &Cleanness) -> Self {
        Self {
            frequency_hz: found.tone.frequency_hz,
            sinad_db: found.sinad().db(),
            signal_over_rest_db: found.signal_over_rest().db(),
            distortion_and_noise_percent: found.distortion_and_noise_percent(),
            harmonic_distortion_percent: found.harmonic_distortion_percent(),
            hum_and_noise_db: found.hum_and_noise().db(),
        }
    }
}

impl AudioQuestion {
    pub(super) fn answer(&self) -> Result<AudioAnswer, BenchRefused> {
        let weighting = Weighting::named(&self.weighting)?;
        let bytes = bytes_of("recording_base64", &self.recording_base64, BYTES_MAX)?;
        let Recording { samples, clipped, .. } = read_wav(&bytes, self.channel)?;
        let found = self.tone_hz.map(|hz| cleanness(&samples, hz, weighting)).transpose()?;
        let heard = weighting.mean_square(&samples)?;
        Ok(AudioAnswer {
            sample_rate_hz: samples.rate_hz(),
            duration_s: samples.duration_s(),
            clipped_samples: clipped as u64,
            weighting: weighting.name().to_owned(),
            weighting_source: weighting.source(),
            level_dbfs: level_dbfs(heard),
            relative_db: self.reference_dbfs.map(|reference| level_dbfs(heard) - reference),
            tone: found.as_ref().map(HeardTone::of),
            ctcss: FoundTone::below(&samples),
            dcs: FoundDcs::below(&samples),
        })
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;
    use std::io::Cursor;

    use base64::Engine;
    use base64::engine::general_purpose::STANDARD;
    use hound::{SampleFormat, WavSpec, WavWriter};

    use super::*;

    fn asked(y: impl Fn(f64) -> f64) -> AudioQuestion {
        let mut bytes = Cursor::new(Vec::new());
        let spec = WavSpec {
            channels: 1,
            sample_rate: 8000,
            bits_per_sample: 16,
            sample_format: SampleFormat::Int,
        };
        let mut writer = WavWriter::new(&mut bytes, spec).unwrap();
        for n in 0..16_000 {
            writer.write_sample((y(f64::from(n) / 8e3) * 32767.0).round() as i16).unwrap();
        }
        writer.finalize().unwrap();
        AudioQuestion {
            recording_base64: STANDARD.encode(bytes.into_inner()),
            channel: 1,
            tone_hz: Some(1000.0),
            weighting: "speech-band".to_owned(),
            reference_dbfs: Some(0.0),
        }
    }

    #[test]
    fn a_recording_with_a_squelch_tone_is_read_as_a_whole() {
        let y = |t: f64| {
            0.5 * (TAU * 1000.0 * t).sin()
                + 0.05 * (TAU * 2000.0 * t).sin()
                + 0.1 * (TAU * 123.0 * t).sin()
        };
        let found = asked(y).answer().unwrap();
        let tone = found.tone.unwrap();
        // A tenth is 20 dB; the squelch tone is outside the speech band.
        assert!((tone.signal_over_rest_db - 20.0).abs() < 0.01, "{tone:?}");
        assert!((tone.harmonic_distortion_percent - 10.0).abs() < 0.01);
        assert!((found.level_dbfs + 5.977).abs() < 0.01, "{}", found.level_dbfs);
        assert!((found.relative_db.unwrap() - found.level_dbfs).abs() < 1e-12);
        assert_eq!(found.ctcss.unwrap().measured_as_hz, Some(123.0));
        assert_eq!((found.dcs, found.clipped_samples), (None, 0));
        assert_eq!(found.weighting, "speech-band");
    }

    #[test]
    fn what_cannot_be_read_is_refused_by_name() {
        let sound = asked(|t| 0.5 * (TAU * 1000.0 * t).sin());
        let refused = |question: AudioQuestion| question.answer().unwrap_err().to_string();
        let base64 = AudioQuestion { recording_base64: "?".to_owned(), ..sound.clone() };
        assert!(refused(base64).starts_with("recording_base64 is not base64"));
        let filter = AudioQuestion { weighting: "loud".to_owned(), ..sound.clone() };
        assert!(refused(filter).contains("no weighting \"loud\""));
        let channel = AudioQuestion { channel: 2, ..sound.clone() };
        assert!(refused(channel).contains("no channel 2"));
        let tone = AudioQuestion { tone_hz: Some(440.0), ..sound.clone() };
        assert!(refused(tone).contains("no tone was found within 8.8 Hz of 440 Hz"));
        let large = AudioQuestion { recording_base64: "A".repeat(BYTES_MAX / 3 * 4 + 99), ..sound };
        assert!(refused(large).contains("too large"));
    }
}
