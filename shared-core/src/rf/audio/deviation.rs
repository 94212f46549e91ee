//! Deviation: from the nulls of a carrier, and from a recording of it.
//!
//! In: a test tone and which null, or in-phase and quadrature samples. Out: hertz.
//!
//!   carrier null n: J0(deviation/tone) = 0, so deviation = tone·z_n      z_n the zeros of J0
//!   frequency\[Hz\] = rate/2π · angle between a sample and the one before it
//!
//! The angle between two samples is a mean over the time between them, which makes a tone smaller
//! by sin(x)/x, x = π·tone/rate; the tone's deviation is corrected for it, the peaks are as seen.
//! HANDBOOK 9.1, 9.2. Zeros: Abramowitz and Stegun, table 9.5, from memory; the test holds them
//! against scipy.

use std::f64::consts::{PI, TAU};
use std::ops::RangeInclusive;

use super::baseband::Thinning;
use super::iq::IqRecording;
use super::sinad::{Cleanness, cleanness};
use super::weighting::Weighting;
use super::{AudioRefused, Samples};
use crate::units::{Hertz, in_range};

/// The first zeros of J0.
pub const CARRIER_NULLS: [f64; 5] = [
    2.404_825_557_695_773,
    5.520_078_110_286_311,
    8.653_727_912_911_013,
    11.791_534_439_014_281,
    14.930_917_708_487_785,
];

/// Channels a carrier is recorded in.
pub const CHANNEL_RANGE: RangeInclusive<f64> = 5e3..=2e5;

fn zero(null: u64) -> Result<f64, AudioRefused> {
    let place = null.checked_sub(1).and_then(|place| usize::try_from(place).ok());
    place
        .and_then(|place| CARRIER_NULLS.get(place).copied())
        .ok_or(AudioRefused::NoNull { asked: null })
}

/// The deviation at which a tone makes the carrier vanish for the `null`th time, from 1.
pub fn deviation_at_null(tone: Hertz, null: u64) -> Result<Hertz, AudioRefused> {
    Ok(Hertz::offset(tone.hertz() * zero(null)?)?)
}

/// The tone that makes the carrier vanish for the `null`th time at a deviation.
pub fn tone_for_null(deviation: Hertz, null: u64) -> Result<Hertz, AudioRefused> {
    Ok(Hertz::tone(deviation.hertz() / zero(null)?)?)
}

/// The carrier's frequency against the middle of the channel, sample by sample, in hertz.
///
/// `shift_hz` is where the channel's middle lies in the recording. Where the recording is wide, it
/// is filtered to the channel and thinned first: noise from outside would be heard as modulation.
pub fn demodulated(
    recording: &IqRecording,
    shift_hz: f64,
    channel_hz: f64,
) -> Result<Samples, AudioRefused> {
    in_range("channel", channel_hz, CHANNEL_RANGE, "Hz")?;
    in_range("sample rate", recording.rate_hz, channel_hz..=*Samples::RATE_RANGE.end(), "Hz")?;
    let half = recording.rate_hz / 2.0;
    in_range("shift from the centre frequency", shift_hz, -half..=half, "Hz")?;
    let (in_phase, quadrature) = shifted(recording, shift_hz);
    let thinning = Thinning::new(recording.rate_hz, channel_hz / 2.0, channel_hz, 4.0 * channel_hz);
    let (in_phase, quadrature, rate_hz) = match thinning {
        Some(thinning) => {
            let rate_hz = recording.rate_hz / thinning.step() as f64;
            (thinning.of(&in_phase), thinning.of(&quadrature), rate_hz)
        }
        None => (in_phase, quadrature, recording.rate_hz),
    };
    let pairs = in_phase.windows(2).zip(quadrature.windows(2));
    let turned = pairs.map(|(i, q)| {
        let (re, im) = (i[1] * i[0] + q[1] * q[0], q[1] * i[0] - i[1] * q[0]);
        im.atan2(re) * rate_hz / TAU
    });
    Samples::new(turned.collect(), rate_hz)
}

/// The recording turned so that `shift_hz` comes to lie at zero.
fn shifted(recording: &IqRecording, shift_hz: f64) -> (Vec<f64>, Vec<f64>) {
    if shift_hz == 0.0 {
        return (recording.in_phase.clone(), recording.quadrature.clone());
    }
    let parts = recording.in_phase.iter().zip(&recording.quadrature).enumerate();
    parts
        .map(|(n, (i, q))| {
            // Whole turns are dropped first, so that a long recording keeps its digits.
            let (sin, cos) = (TAU * (shift_hz / recording.rate_hz * n as f64).fract()).sin_cos();
            (i * cos + q * sin, q * cos - i * sin)
        })
        .unzip()
}

/// What a demodulated carrier carries.
#[derive(Clone, Debug, PartialEq)]
pub struct Modulation {
    /// How far the carrier lies above the channel's middle.
    pub carrier_offset_hz: f64,
    /// How far the frequency swings above the carrier at most, noise included.
    pub peak_above_hz: f64,
    /// How far below.
    pub peak_below_hz: f64,
    /// The test tone, where one was named.
    pub tone: Option<ToneModulation>,
}

/// A test tone on a carrier.
#[derive(Clone, Debug, PartialEq)]
pub struct ToneModulation {
    /// Its peak deviation, by the fitted tone: without noise and distortion.
    pub deviation_hz: f64,
    /// How clean it is.
    pub cleanness: Cleanness,
}

/// Measures a demodulated carrier, and the test tone near `tone_hz` on it.
pub fn modulation(
    demodulated: &Samples,
    tone_hz: Option<f64>,
    weighting: Weighting,
) -> Result<Modulation, AudioRefused> {
    let found = tone_hz.map(|hz| cleanness(demodulated, hz, weighting)).transpose()?;
    // The offset of the fit is not pulled by a part of a cycle at the end, as the mean is.
    let carrier_offset_hz =
        found.as_ref().map_or_else(|| demodulated.mean(), |found| found.tone.offset);
    let swings = demodulated.values().iter().map(|hz| hz - carrier_offset_hz);
    let (below, above) = swings
        .fold((0.0f64, 0.0f64), |(below, above), swing| (below.max(-swing), above.max(swing)));
    let tone = found.map(|cleanness| {
        let x = PI * cleanness.tone.frequency_hz / demodulated.rate_hz();
        ToneModulation { deviation_hz: cleanness.tone.amplitude() * x / x.sin(), cleanness }
    });
    Ok(Modulation { carrier_offset_hz, peak_above_hz: above, peak_below_hz: below, tone })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// A carrier, modulated by one tone.
    fn carrier(rate_hz: f64, count: usize, offset_hz: f64, tone_hz: f64, hz: f64) -> IqRecording {
        let phase = |n: usize| {
            let t = n as f64 / rate_hz;
            TAU * offset_hz * t + hz / tone_hz * (TAU * tone_hz * t).sin()
        };
        let part = |turn: fn(f64) -> f64| (0..count).map(|n| 0.5 * turn(phase(n))).collect();
        let (in_phase, quadrature) = (part(f64::cos), part(f64::sin));
        IqRecording { rate_hz, centre_hz: Some(155e6), in_phase, quadrature, clipped: 0 }
    }

    #[test]
    fn deviation_and_error_of_a_carrier() {
        let recording = carrier(48e3, 24_000, 312.0, 1000.0, 3000.0);
        let audio = demodulated(&recording, 0.0, 25e3).unwrap();
        let found = modulation(&audio, Some(1000.0), Weighting::Flat).unwrap();
        assert!((found.carrier_offset_hz - 312.0).abs() < 0.01, "{found:?}");
        let tone = found.tone.unwrap();
        assert!((tone.deviation_hz - 3000.0).abs() < 0.01, "{tone:?}");
        assert!(tone.cleanness.sinad().db() > 80.0);
        assert!((found.peak_above_hz - 3000.0).abs() < 10.0);
        assert!((found.peak_below_hz - 3000.0).abs() < 10.0);
    }

    #[test]
    fn a_wide_recording_is_shifted_and_filtered_first() {
        let mut recording = carrier(480e3, 96_000, 60_312.0, 1000.0, 3000.0);
        // As strong a carrier 100 kHz away would drown it.
        let other = carrier(480e3, 96_000, -40_000.0, 700.0, 2000.0);
        let add = |a: &mut Vec<f64>, b: &[f64]| a.iter_mut().zip(b).for_each(|(a, b)| *a += b);
        add(&mut recording.in_phase, &other.in_phase);
        add(&mut recording.quadrature, &other.quadrature);
        let audio = demodulated(&recording, 60e3, 25e3).unwrap();
        assert!((audio.rate_hz() - 120e3).abs() < 1e-6);
        let found = modulation(&audio, Some(1000.0), Weighting::SpeechBand).unwrap();
        assert!((found.carrier_offset_hz - 312.0).abs() < 0.5, "{found:?}");
        let tone = found.tone.unwrap();
        assert!((tone.deviation_hz - 3000.0).abs() < 5.0, "{tone:?}");
        assert!(tone.cleanness.sinad().db() > 45.0, "{:?}", tone.cleanness.sinad());
    }

    #[test]
    fn a_bare_carrier_has_an_error_and_no_deviation() {
        let recording = carrier(48e3, 4800, -55.5, 1000.0, 0.0);
        let audio = demodulated(&recording, 0.0, 12.5e3).unwrap();
        let found = modulation(&audio, None, Weighting::Flat).unwrap();
        assert!((found.carrier_offset_hz + 55.5).abs() < 1e-6, "{found:?}");
        assert!(found.peak_above_hz < 1e-3 && found.tone.is_none());
    }

    #[test]
    fn what_cannot_be_is_refused_by_name() {
        let recording = carrier(48e3, 4800, 0.0, 1000.0, 3000.0);
        let refused = |shift, channel| demodulated(&recording, shift, channel).unwrap_err();
        for (shift, channel) in [(0.0, 0.0), (0.0, 60e3), (25e3, 25e3), (f64::NAN, 25e3)] {
            assert!(matches!(refused(shift, channel), AudioRefused::Number(_)));
        }
        let tone = Hertz::tone(1000.0).unwrap();
        for asked in [0, 6, u64::MAX] {
            assert_eq!(deviation_at_null(tone, asked), Err(AudioRefused::NoNull { asked }));
        }
    }

    #[test]
    fn published_pairs_of_tone_and_deviation() {
        // HANDBOOK 9.1: 999 Hz and 2.4 kHz, 500 and 1.2, 2079 and 5, 1248 and 3 at the first null.
        for (tone, deviation) in [(999.0, 2.4e3), (500.0, 1.2e3), (2079.0, 5e3), (1248.0, 3e3)] {
            let found = tone_for_null(Hertz::offset(deviation).unwrap(), 1).unwrap().hertz();
            assert!((found - tone).abs() < 1.5, "{deviation} Hz: {found}");
            let found = deviation_at_null(Hertz::tone(tone).unwrap(), 1).unwrap().hertz();
            assert!((found - deviation).abs() < 3.5, "{tone} Hz: {found}");
        }
        // HANDBOOK 9.1: the zeros of J0.
        let zeros = [2.404_826, 5.520_078, 8.653_728, 11.791_534, 14.930_918];
        for (null, zero) in (1..).zip(zeros) {
            let found = deviation_at_null(Hertz::tone(100.0).unwrap(), null).unwrap().hertz();
            assert!((found - 100.0 * zero).abs() < 1e-4, "{null}: {found}");
        }
    }

    #[test]
    fn a_carrier_swings_as_far_as_it_does_on_either_side() {
        let hz = (0..4800).map(|n| match n % 48 {
            0 => 2_600.0,
            24 => -1_900.0,
            _ => 100.0,
        });
        let audio = Samples::new(hz.collect(), 48e3).unwrap();
        let found = modulation(&audio, None, Weighting::Flat).unwrap();
        // The mean, by hand: (46·100 + 2600 − 1900)/48 = 110.416 667 Hz.
        assert!((found.carrier_offset_hz - 110.416_667).abs() < 1e-5, "{found:?}");
        assert!((found.peak_above_hz - 2_489.583_333).abs() < 1e-5, "{found:?}");
        assert!((found.peak_below_hz - 2_010.416_667).abs() < 1e-5, "{found:?}");
    }

    proptest! {
        #[test]
        fn tone_and_deviation_at_a_null_are_inverse(hz in 20.0..10_000.0f64, null in 1u64..=5) {
            let deviation = deviation_at_null(Hertz::tone(hz).unwrap(), null).unwrap();
            let back = tone_for_null(deviation, null).unwrap();
            prop_assert!((back.hertz() - hz).abs() < 1e-9 * hz);
            if null > 1 {
                let before = deviation_at_null(Hertz::tone(hz).unwrap(), null - 1).unwrap();
                prop_assert!(before < deviation);
            }
        }
    }
}
