//! Squelch tones (CTCSS): what a frequency is, and which tone lies below the voice.
//!
//! In: hertz, or samples. Out: the tone of the table, or that there is none.
//!
//! A tone that was *measured* is taken for the nearest of the table within ±0.5 %, as a decoder
//! would; a tone that was *written down* is of the table or it is not: 150.0 and 203.3 are not, and
//! neither is quietly made into its neighbour (trap 14 of HANDBOOK §12). Table:
//! `data/squelch.toml`, HANDBOOK 2.7.

use std::f64::consts::TAU;
use std::ops::RangeInclusive;
use std::sync::OnceLock;

use rustfft::FftPlanner;
use rustfft::num_complex::Complex;
use serde::Deserialize;

use super::baseband::Thinning;
use super::{AudioRefused, Samples};
use crate::units::in_range;

/// Where a squelch tone may lie, in hertz.
pub const BELOW_VOICE: RangeInclusive<f64> = 60.0..=260.0;
/// How long a recording must be for a tone to be told from its neighbour.
pub const DURATION_MIN_S: f64 = 0.5;
/// No more than this much of a recording is looked at for squelch.
pub const DURATION_MAX_S: f64 = 60.0;

/// A tone is there when it holds at least half of the power below the voice.
const PART_MIN: f64 = 0.5;
const LOWPASS_STOP_HZ: f64 = 420.0;
const THIN_RATE_HZ: f64 = 2000.0;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct File {
    ctcss: Tones,
    pub(super) dcs: Codes,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Tones {
    source: String,
    text_date: String,
    tag: String,
    window_percent: f64,
    tones_hz: Vec<f64>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Codes {
    pub(super) source: String,
    pub(super) text_date: String,
    pub(super) tag: String,
    pub(super) codes: String,
}

pub(super) fn shipped() -> &'static File {
    static FILE: OnceLock<File> = OnceLock::new();
    FILE.get_or_init(|| {
        toml::from_str(include_str!("../../../data/squelch.toml"))
            .expect("the shipped tables are read by a test")
    })
}

/// The tones of the table, ascending.
pub fn standard_tones_hz() -> &'static [f64] {
    &shipped().ctcss.tones_hz
}

/// Where the table stands.
pub fn source() -> String {
    let Tones { source, text_date, tag, .. } = &shipped().ctcss;
    format!("{source}, {text_date} ({tag})")
}

/// What a frequency is among the squelch tones.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Identified {
    /// The frequency asked about.
    pub frequency_hz: f64,
    /// The nearest tone of the table.
    pub nearest_hz: f64,
    /// How far the frequency lies above it, in percent of it.
    pub off_percent: f64,
    /// The tone, if a decoder with the table's window would take the frequency for it.
    pub measured_as_hz: Option<f64>,
    /// The tone, if the frequency as written is one of the table.
    pub listed_hz: Option<f64>,
}

/// Looks a frequency up, 50 to 300 Hz.
pub fn identify(frequency_hz: f64) -> Result<Identified, AudioRefused> {
    in_range("squelch tone", frequency_hz, 50.0..=300.0, "Hz")?;
    let off = |tone: f64| 100.0 * (frequency_hz - tone) / tone;
    let tones = standard_tones_hz().iter().copied();
    let nearest_hz = tones
        .min_by(|a, b| off(*a).abs().total_cmp(&off(*b).abs()))
        .expect("the table has fifty tones");
    let off_percent = off(nearest_hz);
    let taken = off_percent.abs() <= shipped().ctcss.window_percent;
    // Tones are written to a tenth of a hertz.
    let listed = (frequency_hz - nearest_hz).abs() < 0.05;
    Ok(Identified {
        frequency_hz,
        nearest_hz,
        off_percent,
        measured_as_hz: taken.then_some(nearest_hz),
        listed_hz: listed.then_some(nearest_hz),
    })
}

/// A tone found below the voice.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// What its frequency is.
    pub identified: Identified,
    /// Its amplitude, in the unit of the samples: of a demodulated carrier its deviation.
    pub amplitude: f64,
}

/// The tone below the voice. None where no single one holds half of the power there, or where the
/// recording is shorter than [`DURATION_MIN_S`].
pub fn find(samples: &Samples) -> Option<Found> {
    let (thin, rate_hz) = below_voice(samples)?;
    let count = thin.len();
    let hann = |n: usize| 0.5 - 0.5 * (TAU * (n as f64 + 0.5) / count as f64).cos();
    let padded = (4 * count).next_power_of_two();
    let mut bins: Vec<Complex<f64>> =
        thin.iter().enumerate().map(|(n, y)| Complex::new(y * hann(n), 0.0)).collect();
    bins.resize(padded, Complex::default());
    FftPlanner::new().plan_fft_forward(padded).process(&mut bins);
    let bin_hz = rate_hz / padded as f64;
    let power = |k: usize| bins[k].norm_sqr();
    let bin = |hz: f64| (hz / bin_hz).round() as usize;
    let band = bin(*BELOW_VOICE.start())..=bin(*BELOW_VOICE.end());
    let peak = band.clone().max_by(|&a, &b| power(a).total_cmp(&power(b)))?;
    // The lobe of a Hann window is four bins of the unpadded transform wide.
    let lobe = 2 * padded / count;
    let all: f64 = band.map(power).sum();
    let part: f64 = (peak.saturating_sub(lobe)..=peak + lobe).map(power).sum();
    if all <= 0.0 || part < PART_MIN * all {
        return None;
    }
    let frequency_hz =
        (peak as f64 + between([power(peak - 1), power(peak), power(peak + 1)])) * bin_hz;
    let turned = thin
        .iter()
        .enumerate()
        .map(|(n, y)| Complex::from_polar(y * hann(n), -TAU * frequency_hz * n as f64 / rate_hz));
    let amplitude = 4.0 / count as f64 * turned.sum::<Complex<f64>>().norm();
    Some(Found { identified: identify(frequency_hz).ok()?, amplitude })
}

/// Where between its neighbours a peak stands: the top of the parabola through the logarithms.
fn between(power: [f64; 3]) -> f64 {
    let [left, at, right] = power.map(|power| power.max(f64::MIN_POSITIVE).ln());
    let bend = left - 2.0 * at + right;
    if bend < 0.0 { (0.5 * (left - right) / bend).clamp(-0.5, 0.5) } else { 0.0 }
}

/// What lies below the voice without its mean, and its rate. None where the recording is too short.
pub(super) fn below_voice(samples: &Samples) -> Option<(Vec<f64>, f64)> {
    if samples.duration_s() < DURATION_MIN_S {
        return None;
    }
    let most = (DURATION_MAX_S * samples.rate_hz()).floor() as usize;
    let values = &samples.values()[..samples.values().len().min(most)];
    let rate_hz = samples.rate_hz();
    let thinning = Thinning::new(rate_hz, *BELOW_VOICE.end(), LOWPASS_STOP_HZ, THIN_RATE_HZ)?;
    let mut thin = thinning.of(values);
    let mean = thin.iter().sum::<f64>() / thin.len().max(1) as f64;
    thin.iter_mut().for_each(|value| *value -= mean);
    (thin.len() >= Samples::COUNT_MIN).then_some((thin, rate_hz / thinning.step() as f64))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn recorded(seconds: f64, y: impl Fn(f64) -> f64) -> Samples {
        let count = (seconds * 8e3) as usize;
        Samples::new((0..count).map(|n| y(n as f64 / 8e3)).collect(), 8e3).unwrap()
    }

    #[test]
    fn the_shipped_table_is_fifty_ascending_tones_with_a_source() {
        let tones = standard_tones_hz();
        assert_eq!(tones.len(), 50);
        assert!(tones.is_sorted_by(|a, b| a < b));
        assert!(source().contains("seen-secondary"));
        // The windows of two neighbours may not meet, or "the nearest" would decide alone.
        assert!(tones.windows(2).all(|pair| pair[1] * 0.995 > pair[0] * 1.005));
    }

    #[test]
    fn typo_tones_do_not_snap_to_a_standard_one() {
        // Trap 14 of HANDBOOK §12.
        let [odd, typo] = [150.0, 203.3].map(|hz| identify(hz).unwrap());
        assert_eq!((odd.measured_as_hz, odd.listed_hz), (None, None));
        assert_eq!((typo.measured_as_hz, typo.listed_hz), (Some(203.5), None));
        assert_eq!(identify(151.0).unwrap().measured_as_hz, Some(151.4));
        assert_eq!(identify(203.5).unwrap().listed_hz, Some(203.5));
        for hz in [49.9, 300.1, 0.0, f64::NAN] {
            assert!(matches!(identify(hz), Err(AudioRefused::Number(_))), "{hz}");
        }
    }

    #[test]
    fn every_tone_is_found_under_a_louder_test_tone() {
        for tone in standard_tones_hz() {
            let both = |t: f64| (TAU * 1e3 * t).sin() + 0.15 * (TAU * tone * t + 0.4).sin();
            let found = find(&recorded(1.0, both)).unwrap();
            assert_eq!(found.identified.measured_as_hz, Some(*tone), "{tone}");
            assert!((found.identified.frequency_hz - tone).abs() < 0.05, "{found:?}");
            assert!((found.amplitude - 0.15).abs() < 0.002, "{found:?}");
        }
    }

    #[test]
    fn no_tone_is_found_where_there_is_none() {
        let voice = |t: f64| (TAU * 400.0 * t).sin() + (TAU * 1200.0 * t).sin();
        assert!(find(&recorded(0.4, |t| (TAU * 100.0 * t).sin())).is_none(), "too short");
        let two =
            |t: f64| (TAU * 100.0 * t).sin() + (TAU * 151.4 * t).sin() + (TAU * 203.5 * t).sin();
        assert!(find(&recorded(1.0, two)).is_none(), "three of a size are no squelch tone");
        let found = find(&recorded(1.0, voice));
        assert!(found.is_none_or(|found| found.amplitude < 1e-3), "{found:?}");
        let odd = find(&recorded(2.0, |t| (TAU * 150.0 * t).sin())).unwrap();
        assert_eq!(odd.identified.measured_as_hz, None);
    }

    #[test]
    fn a_measured_tone_is_taken_within_half_a_percent_of_one() {
        // HANDBOOK 2.7: ±0.5 %; of 100 Hz half a hertz.
        for (hz, taken, off) in [
            (100.0, Some(100.0), 0.0),
            (100.499, Some(100.0), 0.499),
            (99.501, Some(100.0), -0.499),
            (100.501, None, 0.501),
            (99.499, None, -0.501),
        ] {
            let found = identify(hz).unwrap();
            assert_eq!(found.measured_as_hz, taken, "{hz}");
            assert!((found.off_percent - off).abs() < 1e-9, "{found:?}");
            assert_eq!(found.listed_hz.is_some(), off.abs() < 1e-9, "{hz}");
        }
        assert_eq!(identify(100.04).unwrap().listed_hz, Some(100.0), "written to a tenth");
        assert!(identify(50.0).is_ok() && identify(300.0).is_ok());
    }

    #[test]
    fn the_top_of_a_parabola_lies_between_its_neighbours() {
        let of = |at: f64| {
            let power = |x: f64| (-(x - at).powi(2)).exp();
            between([power(-1.0), power(0.0), power(1.0)])
        };
        for at in [-0.4, -0.1, 0.0, 0.3] {
            assert!((of(at) - at).abs() < 1e-9, "{at}: {}", of(at));
        }
        assert!(between([1.0, 1.0, 1.0]).abs() < 1e-12, "a plain has no top");
    }
}
