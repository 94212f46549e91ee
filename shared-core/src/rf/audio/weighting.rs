//! Weighting of noise by what the ear makes of it, and the speech band.
//!
//! In: a filter's name, a frequency in hertz. Out: its gain, and the share of a signal's power that
//! it leaves. A reading carries the name of its filter (trap 4 of HANDBOOK §12): on flat noise the
//! two telephone weightings read about 2.5 and 1.9 dB less than none.
//!
//!   share = Σ W(f)·P(f) / Σ P(f)      P by Welch's method, Hann windows that overlap by half
//!
//! Between the table's rows the gain in dB is a line over log f; beyond its ends the end's line
//! goes on. Tables: `data/weighting.toml`, HANDBOOK 9.3.

use std::f64::consts::TAU;
use std::sync::OnceLock;

use rustfft::FftPlanner;
use rustfft::num_complex::Complex;
use serde::Deserialize;

use super::recording::level_dbfs;
use super::{AudioRefused, SILENT_MEAN_SQUARE, Samples};

/// The longest stretch that is transformed at once: 0.4 Hz fine at 48 kHz.
const STRETCH_MAX: usize = 1 << 17;

/// A filter a reading is made through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weighting {
    /// None: all that was recorded.
    Flat,
    /// 300 to 3400 Hz with steep sides, which leaves squelch tones out.
    SpeechBand,
    /// Psophometric, for commercial telephone circuits; 0 dB at 800 Hz.
    Psophometric,
    /// C-message; 0 dB at 1 kHz.
    CMessage,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    filter: Vec<Table>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    name: String,
    source: String,
    text_date: String,
    tag: String,
    /// Frequency in hertz, gain in dB.
    points: Vec<(f64, f64)>,
}

fn table(name: &str) -> &'static Table {
    static TABLES: OnceLock<Vec<Table>> = OnceLock::new();
    let read = || {
        let text = include_str!("../../../data/weighting.toml");
        toml::from_str::<File>(text).expect("the shipped tables are read by a test").filter
    };
    let found = TABLES.get_or_init(read).iter().find(|table| table.name == name);
    found.expect("a test looks at each filter's table")
}

impl Weighting {
    /// The filters there are.
    pub const ALL: [Self; 4] = [Self::Flat, Self::SpeechBand, Self::Psophometric, Self::CMessage];

    /// The name that stands beside a reading.
    pub fn name(self) -> &'static str {
        match self {
            Self::Flat => "flat",
            Self::SpeechBand => "speech-band",
            Self::Psophometric => "psophometric",
            Self::CMessage => "c-message",
        }
    }

    /// The filter of a name; an unknown one is refused, never taken for none.
    pub fn named(name: &str) -> Result<Self, AudioRefused> {
        Self::ALL.into_iter().find(|filter| filter.name() == name).ok_or_else(|| {
            let known = Self::ALL.map(Self::name).join(", ");
            AudioRefused::NoWeighting { name: name.to_owned(), known }
        })
    }

    /// Where the filter's numbers stand.
    pub fn source(self) -> String {
        match self {
            Self::Flat => "no filter".to_owned(),
            Self::SpeechBand => "300 to 3400 Hz, common practice".to_owned(),
            Self::Psophometric | Self::CMessage => {
                let table = table(self.name());
                format!("{}, text of {} ({})", table.source, table.text_date, table.tag)
            }
        }
    }

    /// What it makes of a sine of this frequency, as a ratio of powers; 0 at and below 0 Hz.
    pub fn power_gain(self, hz: f64) -> f64 {
        match self {
            Self::Flat => 1.0,
            Self::SpeechBand => f64::from(u8::from((300.0..=3400.0).contains(&hz))),
            Self::Psophometric | Self::CMessage if hz > 0.0 => {
                10f64.powf(on_line(&table(self.name()).points, hz) / 10.0)
            }
            Self::Psophometric | Self::CMessage => 0.0,
        }
    }

    /// The power of what is heard through it.
    pub fn mean_square(self, samples: &Samples) -> Result<f64, AudioRefused> {
        let (power, mean) = (samples.mean_square(), samples.mean());
        if power <= SILENT_MEAN_SQUARE {
            return Err(AudioRefused::Silent { level_dbfs: level_dbfs(SILENT_MEAN_SQUARE) });
        }
        let heard: Vec<f64> = samples.values().iter().map(|value| value - mean).collect();
        // A filter that leaves nothing still leaves a level that can be told.
        Ok((power * self.share(&heard, samples.rate_hz())).max(SILENT_MEAN_SQUARE))
    }

    /// How much of the power of these values it leaves: 1 for all of it. The values should have no
    /// mean. Nothing left over from nothing counts as all of it.
    pub fn share(self, values: &[f64], rate_hz: f64) -> f64 {
        if self == Self::Flat || values.is_empty() {
            return 1.0;
        }
        let power = spectrum(values);
        let stretch = values.len().min(STRETCH_MAX);
        let all: f64 = power.iter().sum();
        let left = power
            .iter()
            .enumerate()
            .map(|(bin, power)| power * self.power_gain(bin as f64 * rate_hz / stretch as f64));
        if all > 0.0 { left.sum::<f64>() / all } else { 1.0 }
    }
}

/// The gain in dB on the line over log f through the rows about `hz`, or through the end's two.
fn on_line(points: &[(f64, f64)], hz: f64) -> f64 {
    let above = points.iter().position(|(at, _)| *at >= hz).unwrap_or(points.len() - 1).max(1);
    let [(low_hz, low_db), (high_hz, high_db)] = [points[above - 1], points[above]];
    low_db + (high_db - low_db) * (hz / low_hz).ln() / (high_hz / low_hz).ln()
}

/// Power at each multiple of rate/stretch up to half the rate, summed over stretches.
fn spectrum(values: &[f64]) -> Vec<f64> {
    let stretch = values.len().min(STRETCH_MAX);
    let hann = |i: usize| 0.5 - 0.5 * (TAU * (i as f64 + 0.5) / stretch as f64).cos();
    let window: Vec<f64> = (0..stretch).map(hann).collect();
    let transform = FftPlanner::new().plan_fft_forward(stretch);
    let mut scratch = vec![Complex::default(); transform.get_inplace_scratch_len()];
    let mut power = vec![0.0; stretch / 2 + 1];
    // The last stretch ends with the values, so that none is left out.
    let last = values.len() - stretch;
    let starts = (0..last).step_by((stretch / 2).max(1)).chain([last]);
    for start in starts {
        let part = values[start..start + stretch].iter().zip(&window);
        let mut bins: Vec<Complex<f64>> = part.map(|(y, w)| Complex::new(y * w, 0.0)).collect();
        transform.process_with_scratch(&mut bins, &mut scratch);
        power.iter_mut().zip(&bins).for_each(|(sum, bin)| *sum += bin.norm_sqr());
    }
    power
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shipped_table_rises_in_frequency_and_has_a_source() {
        for filter in [Weighting::Psophometric, Weighting::CMessage] {
            let table = table(filter.name());
            assert!(table.points.len() > 20 && table.points.is_sorted_by(|a, b| a.0 < b.0));
            assert!(!table.source.is_empty() && filter.source().contains(&table.source));
            assert!(["seen", "seen-secondary", "from-memory"].contains(&table.tag.as_str()));
        }
    }

    #[test]
    fn between_rows_the_gain_is_a_line_over_the_logarithm() {
        let points = [(100.0, -40.0), (400.0, -10.0), (1600.0, 0.0)];
        for (hz, db) in [(100.0, -40.0), (200.0, -25.0), (400.0, -10.0), (800.0, -5.0)] {
            assert!((on_line(&points, hz) - db).abs() < 1e-12, "{hz} Hz");
        }
        // Beyond the ends the line goes on.
        assert!((on_line(&points, 50.0) + 55.0).abs() < 1e-12);
        assert!((on_line(&points, 6400.0) - 10.0).abs() < 1e-12);
    }

    #[test]
    fn the_share_of_two_tones_is_what_the_table_gives_them() {
        // 800 Hz: 0 dB, 3000 Hz: -5.6 dB; equal tones leave (1 + 0.2754)/2.
        let two = |n: usize| {
            let t = n as f64 / 48e3;
            (TAU * 800.0 * t).sin() + (TAU * 3000.0 * t).cos()
        };
        for count in [9_600, 48_000, 300_000] {
            let values: Vec<f64> = (0..count).map(two).collect();
            let share = Weighting::Psophometric.share(&values, 48e3);
            assert!((share - 0.6377).abs() < 0.0005, "{count}: {share}");
            assert!((Weighting::SpeechBand.share(&values, 48e3) - 1.0).abs() < 1e-6);
        }
    }

    #[test]
    fn an_unknown_filter_is_refused_with_the_known_ones() {
        let refused = Weighting::named("a-weighting").unwrap_err().to_string();
        assert!(refused.contains("a-weighting") && refused.contains("psophometric"), "{refused}");
        assert_eq!(Weighting::named("c-message"), Ok(Weighting::CMessage));
        assert!(Weighting::CMessage.power_gain(0.0) < 1e-12);
    }

    #[test]
    fn a_filter_is_known_by_its_name_and_says_where_its_numbers_stand() {
        for filter in Weighting::ALL {
            assert_eq!(Weighting::named(filter.name()), Ok(filter));
        }
        assert_eq!(Weighting::Flat.source(), "no filter");
        assert_eq!(Weighting::SpeechBand.source(), "300 to 3400 Hz, common practice");
        for (hz, passes) in [(299.9, 0.0), (300.0, 1.0), (3400.0, 1.0), (3400.1, 0.0)] {
            assert!((Weighting::SpeechBand.power_gain(hz) - passes).abs() < 1e-12, "{hz}");
            assert!((Weighting::Flat.power_gain(hz) - 1.0).abs() < 1e-12);
        }
        // HANDBOOK 9.3: 0 dB at 800 Hz and at 1 kHz.
        assert!((Weighting::Psophometric.power_gain(800.0) - 1.0).abs() < 1e-9);
        assert!((Weighting::CMessage.power_gain(1000.0) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn nothing_of_nothing_is_all_of_it() {
        for filter in Weighting::ALL {
            assert!((filter.share(&[], 8e3) - 1.0).abs() < 1e-12);
            assert!((filter.share(&[0.0; 128], 8e3) - 1.0).abs() < 1e-12);
        }
        let tone = |n: usize| 0.25 + 0.5 * (TAU * 1e3 * n as f64 / 8e3).sin();
        let samples = Samples::new((0..8_000).map(tone).collect(), 8e3).unwrap();
        // Half the square of a half, the offset left out; 200 Hz does not pass the speech band.
        assert!((Weighting::Flat.mean_square(&samples).unwrap() - 0.125).abs() < 1e-9);
        let hum = |n: usize| 0.5 * (TAU * 200.0 * n as f64 / 8e3).sin();
        let hum = Samples::new((0..8_000).map(hum).collect(), 8e3).unwrap();
        let left = Weighting::SpeechBand.mean_square(&hum).unwrap();
        assert!((SILENT_MEAN_SQUARE..1e-6).contains(&left), "{left}");
        let silent = Samples::new(vec![0.25; 128], 8e3).unwrap();
        assert!(matches!(Weighting::Flat.mean_square(&silent), Err(AudioRefused::Silent { .. })));
    }
}
