//! A scale: round numbers, and where a value stands between two ends of a drawing.

/// Steps between round numbers, times a power of ten.
const STEPS: [f64; 3] = [1.0, 2.0, 5.0];

/// Values from low to high along a stretch of a drawing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Scale {
    low: f64,
    high: f64,
    step: f64,
    /// Where the low end and the high end are drawn.
    ends: [f64; 2],
}

impl Scale {
    /// A scale that holds every value with at least half a step free beyond them, and has at most
    /// `lines` steps between the outermost values.
    pub(super) fn holding(values: &[f64], lines: f64, ends: [f64; 2]) -> Self {
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let step = step((high - low).max(f64::MIN_POSITIVE) / lines);
        let first = ((low - step / 2.0) / step).floor() * step;
        let last = ((high + step / 2.0) / step).ceil() * step;
        Self { low: first, high: last, step, ends }
    }

    /// Where a value stands.
    pub(super) fn at(&self, value: f64) -> f64 {
        let [from, to] = self.ends;
        from + (to - from) * (value - self.low) / (self.high - self.low)
    }

    /// The round numbers on it, from low to high.
    pub(super) fn round_numbers(&self) -> Vec<f64> {
        let count = ((self.high - self.low) / self.step).round() as usize;
        (0..=count).map(|index| self.low + index as f64 * self.step).collect()
    }

    /// Decimals that tell its round numbers apart.
    pub(super) fn decimals(&self) -> usize {
        (0..6).find(|&places| self.step >= 0.999 * 10_f64.powi(-places)).unwrap_or(6) as usize
    }
}

/// The least round step that is not less than this.
fn step(least: f64) -> f64 {
    let least = least.max(0.01);
    let decade = 10_f64.powf(least.log10().floor());
    let steps = STEPS.iter().map(|step| step * decade);
    steps.into_iter().find(|step| *step >= least * 0.999_999).unwrap_or(10.0 * decade)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_lies_within_on_round_numbers() {
        for values in [&[-120.0, -90.0][..], &[-121.3], &[47.0, 46.0, 16.0, 30.0], &[0.0, 0.04]] {
            let scale = Scale::holding(values, 6.0, [100.0, 0.0]);
            let round = scale.round_numbers();
            assert!((2..=10).contains(&round.len()), "{values:?}: {round:?}");
            for value in values {
                let at = scale.at(*value);
                assert!(0.0 < at && at < 100.0, "{value} of {values:?} at {at}");
            }
            assert!((scale.at(round[0]) - 100.0).abs() < 1e-9);
            assert!(scale.at(round[round.len() - 1]).abs() < 1e-9);
        }
    }

    #[test]
    fn steps_are_one_two_and_five() {
        let steps = [0.3, 1.0, 1.1, 3.0, 7.0, 12.0, 40.0].map(step);
        let round = [0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0];
        assert!(steps.iter().zip(round).all(|(a, b)| (a - b).abs() < 1e-9), "{steps:?}");
        assert_eq!(Scale::holding(&[0.0, 0.3], 6.0, [0.0, 1.0]).decimals(), 2);
        assert_eq!(Scale::holding(&[0.0, 30.0], 6.0, [0.0, 1.0]).decimals(), 0);
    }
}
