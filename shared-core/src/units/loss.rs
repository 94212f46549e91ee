//! The loss of something that has no supply: a ratio that is never a gain.
//!
//!   a = 10^(L/10)     power in over power out; 1 for no loss
//!
//! A negative loss is refused, so that a slipped sign stops where it was typed.

use std::ops::RangeInclusive;

use super::{Db, OutOfRange, in_range};

/// A loss in decibel, zero or more. A return loss is one too.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Loss(f64);

impl Loss {
    /// Nothing beyond 200 dB is measured, and a rounding error away from nothing is −156 dB.
    pub const RANGE: RangeInclusive<f64> = 0.0..=200.0;
    /// No loss.
    pub const ZERO: Self = Self(0.0);

    /// Refuses NaN, infinities, negatives and anything outside [`Loss::RANGE`].
    pub fn new(db: f64) -> Result<Self, OutOfRange> {
        Self::named("loss", db)
    }

    /// The same, refused under the name of what was asked for.
    pub fn named(quantity: &'static str, db: f64) -> Result<Self, OutOfRange> {
        in_range(quantity, db, Self::RANGE, "dB").map(Self)
    }

    /// The sum of losses in a row.
    pub fn sum(losses: &[Self]) -> Result<Self, OutOfRange> {
        Self::named("sum of losses", losses.iter().map(|loss| loss.0).sum())
    }

    /// The number of dB.
    pub fn db(self) -> f64 {
        self.0
    }

    /// As a ratio of powers, to add to or take from a level.
    pub fn ratio(self) -> Db {
        Db::new(self.0).expect("the range of losses lies inside the range of ratios")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gain_is_no_loss() {
        for value in [-0.001, -3.0, f64::NAN, f64::INFINITY, 200.1] {
            assert!(Loss::new(value).is_err(), "{value} dB was taken for a loss");
        }
        let refused = Loss::named("return loss", -14.0).unwrap_err().to_string();
        assert_eq!(refused, "return loss of -14 dB is outside 0 to 200 dB");
    }

    #[test]
    fn losses_in_a_row_add() {
        // HANDBOOK 5.4: two 1.5 dB attenuators are 3.000 dB.
        let half = Loss::new(1.5).unwrap();
        assert!((Loss::sum(&[half, half]).unwrap().db() - 3.0).abs() < 1e-12);
        assert!((Loss::sum(&[]).unwrap().db()).abs() < 1e-12);
        let most = Loss::new(200.0).unwrap();
        assert!(Loss::sum(&[most, half]).is_err());
    }
}
