//! How clean a tone is: SINAD, distortion, hum and noise.
//!
//! In: samples, the tone that was put in, a weighting. Out: dB and percent. HANDBOOK 1.4, 9.2.
//!
//!   SINAD  = 10·log10((S+N+D)/(N+D))      S the fitted tone's power, N+D what it leaves over
//!   S/(N+D) is less by a little: 12 dB SINAD is 11.717 dB (trap 3 of HANDBOOK §12)
//!   distortion and noise\[%\] = 100·√((N+D)/(S+N+D))
//!   harmonic distortion\[%\]  = 100·√(Σ harmonics / S)
//!
//! A weighting acts on the tone too, as a filter before the meter does. The tone is the one that is
//! fitted near the known frequency, never "the largest peak".

use std::f64::consts::TAU;

use super::recording::level_dbfs;
use super::sine_fit::{FREQUENCY_MAX, Sine, near, projected};
use super::weighting::Weighting;
use super::{AudioRefused, SILENT_MEAN_SQUARE, Samples};
use crate::units::{Db, in_range};

/// The highest harmonic that counts as distortion; above it nothing is heard of a voice.
pub const HARMONIC_MAX: usize = 10;

/// The most that a SINAD is told as: what is left over then is rounding.
const REST_LEAST: f64 = 1e-30;

/// A tone and what stands beside it, through one filter.
#[derive(Clone, Debug, PartialEq)]
pub struct Cleanness {
    /// The tone as it was recorded, before the filter.
    pub tone: Sine,
    /// The filter.
    pub weighting: Weighting,
    /// The tone's power behind the filter.
    pub signal_mean_square: f64,
    /// The power of all else behind the filter.
    pub rest_mean_square: f64,
    /// The power of the tone's harmonics, from the second on, behind the filter.
    pub harmonics_mean_square: f64,
}

/// Measures the tone near `tone_hz` and what stands beside it, harmonics too.
pub fn cleanness(
    samples: &Samples,
    tone_hz: f64,
    weighting: Weighting,
) -> Result<Cleanness, AudioRefused> {
    let mut found = without_harmonics(samples, tone_hz, weighting)?;
    let rest = found.tone.taken_from(samples);
    let harmonics = harmonics(&rest, samples.rate_hz(), found.tone.frequency_hz);
    let weighted = harmonics.iter().map(|(hz, power)| power * weighting.power_gain(*hz));
    // Noise at a harmonic counts with it, so of little more than noise the sum may come to more
    // than all that is left.
    found.harmonics_mean_square = weighted.sum::<f64>().min(found.rest_mean_square);
    Ok(found)
}

/// SINAD alone, which is quicker.
pub fn sinad(samples: &Samples, tone_hz: f64, weighting: Weighting) -> Result<Db, AudioRefused> {
    Ok(without_harmonics(samples, tone_hz, weighting)?.sinad())
}

fn without_harmonics(
    samples: &Samples,
    tone_hz: f64,
    weighting: Weighting,
) -> Result<Cleanness, AudioRefused> {
    if samples.mean_square() <= SILENT_MEAN_SQUARE {
        return Err(AudioRefused::Silent { level_dbfs: level_dbfs(SILENT_MEAN_SQUARE) });
    }
    let tone = near(samples, tone_hz)?;
    let share = match weighting {
        Weighting::Flat => 1.0,
        _ => weighting.share(&tone.taken_from(samples), samples.rate_hz()),
    };
    Ok(Cleanness {
        tone,
        weighting,
        signal_mean_square: tone.mean_square() * weighting.power_gain(tone.frequency_hz),
        rest_mean_square: tone.rest_mean_square * share,
        harmonics_mean_square: 0.0,
    })
}

/// Frequency and power of each harmonic that the rate can hold, projected under a Hann window.
fn harmonics(rest: &[f64], rate_hz: f64, tone_hz: f64) -> Vec<(f64, f64)> {
    let count = rest.len() as f64;
    let hann = |n: usize| 0.5 - 0.5 * (TAU * (n as f64 + 0.5) / count).cos();
    let windowed: Vec<f64> = rest.iter().enumerate().map(|(n, y)| y * hann(n)).collect();
    let heard = (2..=HARMONIC_MAX).map(|k| k as f64 * tone_hz);
    let heard = heard.take_while(|hz| *hz < FREQUENCY_MAX * rate_hz);
    // The window's mean is a half: amplitude 4/count of the sum, power half its square.
    let power = |hz: f64| 8.0 * projected(&windowed, TAU * hz / rate_hz) / (count * count);
    heard.map(|hz| (hz, power(hz))).collect()
}

impl Cleanness {
    /// (S+N+D)/(N+D).
    pub fn sinad(&self) -> Db {
        self.over_rest(self.signal_mean_square + self.rest_mean_square)
    }

    /// S/(N+D): always a little less than SINAD.
    pub fn signal_over_rest(&self) -> Db {
        self.over_rest(self.signal_mean_square)
    }

    fn over_rest(&self, power: f64) -> Db {
        let all = self.signal_mean_square + self.rest_mean_square;
        ratio(power, self.rest_mean_square.max(all * REST_LEAST))
    }

    /// Distortion and noise together, as a meter with a notch reads them, of the total voltage.
    pub fn distortion_and_noise_percent(&self) -> f64 {
        percent(self.rest_mean_square, self.signal_mean_square + self.rest_mean_square)
    }

    /// The harmonics alone, of the tone's voltage.
    pub fn harmonic_distortion_percent(&self) -> f64 {
        percent(self.harmonics_mean_square, self.signal_mean_square)
    }

    /// What is left without tone and harmonics, against the tone: below 0 dB where it is less.
    pub fn hum_and_noise(&self) -> Db {
        let left = (self.rest_mean_square - self.harmonics_mean_square).max(0.0);
        ratio(left.max(self.signal_mean_square * REST_LEAST), self.signal_mean_square)
    }
}

/// Hum and noise of a transmitter: the deviation that is left without modulation against a
/// reference deviation, 60 % of the rated one. Told as how far it lies below. HANDBOOK 2.6.
pub fn hum_and_noise_below(residual_hz: f64, reference_hz: f64) -> Result<Db, AudioRefused> {
    let residual = in_range("residual deviation", residual_hz, 1e-3..=1e6, "Hz")?;
    let reference = in_range("reference deviation", reference_hz, 1.0..=1e6, "Hz")?;
    Ok(Db::new(20.0 * (reference / residual).log10())?)
}

/// A part of a voltage as the trade's dB: 1 % is −40 dB.
pub fn distortion_db(percent: f64) -> Result<Db, AudioRefused> {
    let percent = in_range("distortion", percent, 1e-6..=100.0, "%")?;
    Ok(Db::new(20.0 * (percent / 100.0).log10())?)
}

fn percent(part: f64, whole: f64) -> f64 {
    if whole > 0.0 { 100.0 * (part / whole).sqrt() } else { 100.0 }
}

/// Held within what a ratio can be: a filter may leave nothing of the tone at all.
fn ratio(power: f64, reference: f64) -> Db {
    let (low, high) = (*Db::RANGE.start(), *Db::RANGE.end());
    let db = 10.0 * (power / reference).log10();
    let db = if db.is_nan() { 0.0 } else { db.clamp(low, high) };
    Db::new(db).expect("clamped to the range")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made(count: usize, y: impl Fn(f64) -> f64) -> Samples {
        Samples::new((0..count).map(|n| y(n as f64 / 48e3)).collect(), 48e3).unwrap()
    }

    #[test]
    fn a_second_harmonic_reads_as_published() {
        // HANDBOOK S7: 1 kHz and 0.025 of second harmonic: 32.04 dB.
        let two = |t: f64| (TAU * 1e3 * t).sin() + 0.025 * (TAU * 2e3 * t + 1.0).sin();
        let found = cleanness(&made(48_000, two), 1000.0, Weighting::Flat).unwrap();
        assert!((found.sinad().db() - 32.044).abs() < 0.001, "{}", found.sinad().db());
        assert!((found.signal_over_rest().db() - 32.041).abs() < 0.001);
        assert!((found.harmonic_distortion_percent() - 2.5).abs() < 0.0001);
        assert!(found.hum_and_noise().db() < -100.0, "{}", found.hum_and_noise().db());
    }

    #[test]
    fn distortion_and_hum_are_told_apart() {
        let y = |t: f64| {
            (TAU * 1e3 * t).sin() + 0.03 * (TAU * 3e3 * t).sin() + 0.01 * (TAU * 120.0 * t).sin()
        };
        let found = cleanness(&made(48_000, y), 1000.0, Weighting::Flat).unwrap();
        assert!((found.harmonic_distortion_percent() - 3.0).abs() < 0.001);
        assert!((found.hum_and_noise().db() + 40.0).abs() < 0.01);
        assert!((found.distortion_and_noise_percent() - 3.1607).abs() < 0.001);
        // 120 Hz is not in the speech band.
        let speech = cleanness(&made(48_000, y), 1000.0, Weighting::SpeechBand).unwrap();
        assert!((speech.sinad().db() - 30.462).abs() < 0.01, "{}", speech.sinad().db());
    }

    #[test]
    fn a_weighting_acts_on_the_tone_and_on_the_rest() {
        // Psophometric: 1 kHz +1.0 dB, 3 kHz -5.6 dB: 6.6 dB more than unweighted.
        let y = |t: f64| (TAU * 1e3 * t).sin() + 0.1 * (TAU * 3e3 * t).sin();
        let samples = made(96_000, y);
        let read = |weighting| cleanness(&samples, 1000.0, weighting).unwrap();
        assert!((read(Weighting::Flat).signal_over_rest().db() - 20.0).abs() < 0.001);
        assert!((read(Weighting::Psophometric).signal_over_rest().db() - 26.6).abs() < 0.01);
        assert!((read(Weighting::CMessage).signal_over_rest().db() - 23.0).abs() < 0.01);
        let quick = sinad(&samples, 1000.0, Weighting::CMessage).unwrap();
        assert!((quick.db() - read(Weighting::CMessage).sinad().db()).abs() < 1e-9);
    }

    #[test]
    fn what_the_rate_cannot_hold_is_no_harmonic() {
        // At 48 kHz the fourth harmonic of 10 kHz would fold to 8 kHz; the third lies above 24 kHz.
        let with = |hz: f64| {
            let y = |t: f64| (TAU * 1e4 * t).sin() + 0.1 * (TAU * hz * t).sin();
            let found = cleanness(&made(48_000, y), 1e4, Weighting::Flat).unwrap();
            found.harmonic_distortion_percent()
        };
        assert!((with(2e4) - 10.0).abs() < 0.01, "{} %", with(2e4));
        assert!(with(8e3) < 0.01, "{} %", with(8e3));
    }

    #[test]
    fn a_filter_that_stops_the_tone_leaves_no_sinad() {
        let y = |t: f64| (TAU * 200.0 * t).sin() + 0.1 * (TAU * 1e3 * t).sin();
        let found = cleanness(&made(48_000, y), 200.0, Weighting::SpeechBand).unwrap();
        assert!(found.sinad().db().abs() < 1e-6 && found.signal_over_rest().db() < -100.0);
        assert!((found.distortion_and_noise_percent() - 100.0).abs() < 1e-6);
    }

    #[test]
    fn silence_and_absurd_parts_are_refused() {
        let refused = cleanness(&made(48_000, |_| 0.25), 1000.0, Weighting::Flat);
        assert!(matches!(refused, Err(AudioRefused::Silent { .. })), "{refused:?}");
        for percent in [0.0, -1.0, 101.0, f64::NAN] {
            assert!(matches!(distortion_db(percent), Err(AudioRefused::Number(_))));
        }
        assert!(hum_and_noise_below(0.0, 3000.0).is_err());
        assert!(hum_and_noise_below(30.0, f64::NAN).is_err());
    }

    #[test]
    fn parts_of_a_voltage_and_hum_are_told_in_decibels() {
        // A tenth of a voltage is 20 dB: mathematics.
        for (percent, db) in [(100.0, 0.0), (10.0, -20.0), (1.0, -40.0), (1e-6, -160.0)] {
            assert!((distortion_db(percent).unwrap().db() - db).abs() < 1e-9, "{percent}");
        }
        for (residual, db) in [(3000.0, 0.0), (300.0, 20.0), (30.0, 40.0), (6000.0, -6.0206)] {
            let found = hum_and_noise_below(residual, 3000.0).unwrap().db();
            assert!((found - db).abs() < 1e-4, "{residual}: {found}");
        }
        // Twelve decibels of SINAD are 25.1 %: HANDBOOK 1.4, 100·10^(−12/20).
        let all = 10f64.powf(1.2);
        let at_12 = Cleanness {
            tone: Sine {
                frequency_hz: 1e3,
                cosine: 0.0,
                sine: 1.0,
                offset: 0.0,
                rest_mean_square: 1.0,
            },
            weighting: Weighting::Flat,
            signal_mean_square: all - 1.0,
            rest_mean_square: 1.0,
            harmonics_mean_square: 0.25,
        };
        assert!((at_12.sinad().db() - 12.0).abs() < 1e-9);
        // HANDBOOK §12, trap 3: 12 dB SINAD is 11.717 dB of S/(N+D).
        assert!((at_12.signal_over_rest().db() - 11.717).abs() < 5e-4);
        assert!((at_12.distortion_and_noise_percent() - 25.119).abs() < 5e-4);
        let harmonics = 100.0 * (0.25 / (all - 1.0)).sqrt();
        assert!((at_12.harmonic_distortion_percent() - harmonics).abs() < 1e-9);
        let left = 10.0 * (0.75 / (all - 1.0)).log10();
        assert!((at_12.hum_and_noise().db() - left).abs() < 1e-9);
    }

    #[test]
    fn a_part_of_nothing_is_all_of_it() {
        assert!((percent(0.0, 0.0) - 100.0).abs() < 1e-12);
        assert!(percent(0.0, 1.0).abs() < 1e-12);
        assert!((percent(0.25, 1.0) - 50.0).abs() < 1e-12);
    }
}
