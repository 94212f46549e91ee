//! Power in watts.
//!
//!   P\[W\] = 10^((P\[dBm\] − 30) / 10)
//!
//! Formula: HANDBOOK U4.

use std::ops::RangeInclusive;

use super::{Dbm, OutOfRange, in_range};

/// A power, greater than nothing.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Watts(f64);

impl Watts {
    /// The powers whose level [`Dbm`] can hold: 1e-28 W is −250 dBm, 1e12 W is 150 dBm.
    pub const RANGE: RangeInclusive<f64> = 1e-28..=1e12;

    /// Refuses NaN, infinities, zero, negatives and anything outside [`Watts::RANGE`].
    pub fn new(watts: f64) -> Result<Self, OutOfRange> {
        in_range("power", watts, Self::RANGE, "W").map(Self)
    }

    /// The power of a level.
    pub fn from_level(level: Dbm) -> Self {
        Self(10f64.powf((level.dbm() - 30.0) / 10.0))
    }

    /// The number of watts.
    pub fn watts(self) -> f64 {
        self.0
    }

    /// The level of this power.
    pub fn level(self) -> Dbm {
        let dbm = 10.0 * self.0.log10() + 30.0;
        // Rounding may put the two ends a hair outside.
        Dbm::new(dbm.clamp(*Dbm::RANGE.start(), *Dbm::RANGE.end()))
            .expect("the range of powers is the range of levels")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_powers_have_their_published_levels() {
        // HANDBOOK U4: calculated there; 10 W = +40 dBm also in FCC Element 4, 2024-28, E4D12.
        for (watts, dbm) in [
            (1.0, 30.000),
            (5.0, 36.990),
            (10.0, 40.0),
            (25.0, 43.979),
            (50.0, 46.990),
            (100.0, 50.0),
            (110.0, 50.414),
            (150.0, 51.761),
        ] {
            let power = Watts::new(watts).unwrap();
            assert!((power.level().dbm() - dbm).abs() < 0.0006, "{watts} W");
            assert!((power.level().watts().watts() / watts - 1.0).abs() < 1e-12, "{watts} W back");
        }
    }

    #[test]
    fn nothing_and_less_are_no_powers() {
        for value in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e13] {
            let refused = Watts::new(value).unwrap_err();
            assert!(refused.to_string().starts_with("power of "), "{refused}");
        }
    }
}
