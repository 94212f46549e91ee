//! What a recording of a carrier says. Formulas: [`crate::rf::audio::deviation`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::audio::HeardTone;
use super::squelch::{FoundDcs, FoundTone};
use super::{BenchRefused, bytes_of};
use crate::rf::audio::AudioRefused;
use crate::rf::audio::deviation::{ToneModulation, demodulated, modulation};
use crate::rf::audio::iq::{BYTES_MAX, MetaRefused, read_sigmf};
use crate::rf::audio::weighting::Weighting;
use crate::units::Hertz;

/// A SigMF recording and what it is of.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct IqQuestion {
    /// The text of the `.sigmf-meta` file.
    pub meta: String,
    /// The `.sigmf-data` file, as base64.
    pub data_base64: String,
    /// The carrier's frequency on the licence. Without it the centre of the recording is taken for
    /// the channel, and no error is given.
    pub assigned_hz: Option<f64>,
    /// How wide the channel is that the recording is filtered to.
    pub channel_hz: f64,
    /// The test tone, where one modulates.
    pub tone_hz: Option<f64>,
    /// The filter: `flat`, `speech-band`, `psophometric` or `c-message`.
    pub weighting: String,
}

/// What the recording says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct IqAnswer {
    /// How many samples a second were recorded.
    pub sample_rate_hz: f64,
    /// How many samples stand at full scale.
    pub clipped_samples: u64,
    /// How far the carrier lies above the middle of the channel.
    pub carrier_offset_hz: f64,
    /// The carrier's frequency, where the meta data names the centre. As good as the receiver's
    /// own reference.
    pub carrier_hz: Option<f64>,
    /// How far it is off the licence, where that was given.
    pub error_ppm: Option<f64>,
    /// The most that the frequency swings above the carrier, noise included.
    pub peak_above_hz: f64,
    /// The most that it swings below.
    pub peak_below_hz: f64,
    /// The filter's name, which goes with the tone's numbers.
    pub weighting: String,
    /// The test tone, where one was named.
    pub tone: Option<CarriedTone>,
    /// A tone below the voice, its peak in hertz of deviation.
    pub ctcss: Option<FoundTone>,
    /// A code below the voice, its peak in hertz of deviation.
    pub dcs: Option<FoundDcs>,
}

/// A test tone on a carrier.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct CarriedTone {
    /// Its peak deviation, without what is beside it.
    pub deviation_hz: f64,
    /// How clean it is.
    pub heard: HeardTone,
}

impl CarriedTone {
    fn of(found: &ToneModulation) -> Self {
        Self { deviation_hz: found.deviation_hz, heard: HeardTone::of(&found.cleanness) }
    }
}

impl IqQuestion {
    pub(super) fn answer(&self) -> Result<IqAnswer, BenchRefused> {
        let weighting = Weighting::named(&self.weighting)?;
        let data = bytes_of("data_base64", &self.data_base64, BYTES_MAX)?;
        let recording = read_sigmf(&self.meta, &data)?;
        let assigned = self.assigned_hz.map(Hertz::carrier).transpose()?;
        let shift_hz = match (assigned, recording.centre_hz) {
            (None, _) => 0.0,
            (Some(assigned), Some(centre_hz)) => assigned.hertz() - centre_hz,
            (Some(_), None) => return Err(AudioRefused::from(MetaRefused::NoFrequency).into()),
        };
        let audio = demodulated(&recording, shift_hz, self.channel_hz)?;
        let found = modulation(&audio, self.tone_hz, weighting)?;
        let offset = Hertz::offset(found.carrier_offset_hz)?;
        Ok(IqAnswer {
            sample_rate_hz: recording.rate_hz,
            clipped_samples: recording.clipped as u64,
            carrier_offset_hz: offset.hertz(),
            carrier_hz: recording.centre_hz.map(|hz| hz + shift_hz + offset.hertz()),
            error_ppm: assigned.map(|assigned| offset.relative_to(assigned).ppm()),
            peak_above_hz: found.peak_above_hz,
            peak_below_hz: found.peak_below_hz,
            weighting: weighting.name().to_owned(),
            tone: found.tone.as_ref().map(CarriedTone::of),
            ctcss: FoundTone::below(&audio),
            dcs: FoundDcs::below(&audio),
        })
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use base64::Engine;
    use base64::engine::general_purpose::STANDARD;

    use super::*;

    /// 155.0001 MHz with 3 kHz of 1 kHz and 500 Hz of 100 Hz, recorded 20 kHz beside.
    fn asked(frequency: &str) -> IqQuestion {
        let phase = |n: usize| {
            let t = n as f64 / 96e3;
            TAU * 20_100.0 * t + 3.0 * (TAU * 1e3 * t).sin() + 5.0 * (TAU * 100.0 * t).sin()
        };
        let data = (0..96_000).flat_map(|n| {
            let (sin, cos) = phase(n).sin_cos();
            [cos, sin].map(|part| ((part * 30_000.0) as i16).to_le_bytes()).concat()
        });
        IqQuestion {
            meta: format!(
                r#"{{"global": {{"core:datatype": "ci16_le", "core:sample_rate": 96000,
                    "core:version": "1.2.0"}},
                    "captures": [{{"core:sample_start": 0 {frequency}}}], "annotations": []}}"#
            ),
            data_base64: STANDARD.encode(data.collect::<Vec<u8>>()),
            assigned_hz: Some(155e6),
            channel_hz: 25e3,
            tone_hz: Some(1000.0),
            weighting: "speech-band".to_owned(),
        }
    }

    #[test]
    fn a_transmitter_is_measured_from_one_recording() {
        let found = asked(r#", "core:frequency": 154980000"#).answer().unwrap();
        assert!((found.carrier_hz.unwrap() - 155_000_100.0).abs() < 0.5, "{found:?}");
        assert!((found.error_ppm.unwrap() - 0.645).abs() < 0.005);
        let tone = found.tone.unwrap();
        assert!((tone.deviation_hz - 3000.0).abs() < 3.0, "{tone:?}");
        assert!(tone.heard.sinad_db > 50.0, "{tone:?}");
        let below = found.ctcss.unwrap();
        assert_eq!(below.measured_as_hz, Some(100.0));
        assert!((below.peak - 500.0).abs() < 2.0, "{below:?}");
        assert!((found.peak_above_hz - 3500.0).abs() < 20.0, "{}", found.peak_above_hz);
    }

    #[test]
    fn an_error_without_a_known_centre_is_refused() {
        let refused = asked("").answer().unwrap_err().to_string();
        assert!(refused.contains("core:frequency"), "{refused}");
        let offset_only = IqQuestion { assigned_hz: None, ..asked("") }.answer();
        assert_eq!(offset_only.unwrap().carrier_hz, None);
    }
}
