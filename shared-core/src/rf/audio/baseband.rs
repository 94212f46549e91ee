//! Thinning: what lies below a frequency, at a lower rate.
//!
//! In: values at a rate, the highest frequency kept and the lowest stopped. Out: fewer values, each
//! from a full window, so that nothing is made up at the ends.
//!
//! A windowed sinc under a Blackman window: stop band below −74 dB, transition 6/taps of the
//! rate (Oppenheim and Schafer's table of windows, from memory, unverified; the test measures it).

use std::f64::consts::{PI, TAU};

use super::sine_fit::dot;

/// A low pass and how many values it goes on by.
#[derive(Clone, Debug, PartialEq)]
pub struct Thinning {
    taps: Vec<f64>,
    step: usize,
}

impl Thinning {
    /// Keeps what lies below `pass_hz`, stops what lies above `stop_hz`, and leaves at least
    /// `rate_least_hz`. None where the rate is so low that nothing needs to be stopped.
    pub fn new(rate_hz: f64, pass_hz: f64, stop_hz: f64, rate_least_hz: f64) -> Option<Self> {
        if stop_hz >= rate_hz / 2.0 || pass_hz >= stop_hz {
            return None;
        }
        // Positive, and at most the count of values that a rate of 10 MHz can ask for.
        let half = (3.0 * rate_hz / (stop_hz - pass_hz)).ceil() as usize;
        let step = (rate_hz / rate_least_hz).floor().max(1.0) as usize;
        let cut = (pass_hz + stop_hz) / rate_hz;
        let window = |x: f64| 0.42 + 0.5 * (PI * x).cos() + 0.08 * (TAU * x).cos();
        let tap = |n: usize| {
            let t = n as f64 - half as f64;
            let sinc = if n == half { 1.0 } else { (PI * cut * t).sin() / (PI * cut * t) };
            sinc * window(t / (half as f64 + 1.0))
        };
        let mut taps: Vec<f64> = (0..=2 * half).map(tap).collect();
        let sum: f64 = taps.iter().sum();
        taps.iter_mut().for_each(|tap| *tap /= sum);
        Some(Self { taps, step })
    }

    /// How many values it takes for one.
    pub fn window(&self) -> usize {
        self.taps.len()
    }

    /// How many values one stands for.
    pub fn step(&self) -> usize {
        self.step
    }

    /// The thinned values; none where there are fewer than a window.
    pub fn of(&self, values: &[f64]) -> Vec<f64> {
        let windows = values.windows(self.taps.len()).step_by(self.step);
        windows.map(|window| dot(window, &self.taps)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_passes_passes_and_what_is_stopped_is_gone() {
        let thinning = Thinning::new(48e3, 260.0, 420.0, 2000.0).unwrap();
        assert_eq!(thinning.step(), 24);
        let peak = |hz: f64| {
            let values: Vec<f64> =
                (0..48_000).map(|n| (TAU * hz * n as f64 / 48e3).cos()).collect();
            thinning.of(&values).iter().fold(0.0f64, |peak, value| peak.max(value.abs()))
        };
        for hz in [5.0, 67.0, 134.4, 254.1] {
            assert!((peak(hz) - 1.0).abs() < 0.002, "{hz} Hz comes out at {}", peak(hz));
        }
        for hz in [420.0, 600.0, 1000.0, 2000.0, 3400.0, 23_000.0] {
            assert!(peak(hz) < 10f64.powf(-74.0 / 20.0), "{hz} Hz comes out at {}", peak(hz));
        }
    }

    #[test]
    fn fewer_values_than_a_window_leave_nothing() {
        let thinning = Thinning::new(48e3, 260.0, 420.0, 2000.0).unwrap();
        assert!(thinning.of(&vec![1.0; thinning.window() - 1]).is_empty());
        assert_eq!(thinning.of(&vec![1.0; thinning.window()]).len(), 1);
        assert!(Thinning::new(800.0, 260.0, 420.0, 800.0).is_none());
    }
}
