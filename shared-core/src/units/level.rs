//! Levels (dBm) and ratios (dB): a point and a distance.
//!
//!   P\[dBm\] = 10·log10(P / 1 mW)
//!
//! Formula: HANDBOOK U1, U4. Levels have a difference, which is a ratio, and no sum.

use std::ops::{Add, AddAssign, Neg, RangeInclusive, Sub};

use super::{Microvolts, OutOfRange, Watts, in_range};

/// A power level referred to one milliwatt. Two levels have a difference, not a sum.
///
/// ```compile_fail
/// # use guyline_core::units::{Dbm, OutOfRange};
/// let nonsense = Dbm::new(-90.0)? + Dbm::new(30.0)?;
/// # Ok::<(), OutOfRange>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Dbm(f64);

/// A ratio of two powers in decibel: a loss, a gain, a margin, a difference of levels.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Db(f64);

impl Dbm {
    /// From far under any noise floor to a hundred times the largest broadcast transmitter.
    pub const RANGE: RangeInclusive<f64> = -250.0..=150.0;

    /// Refuses NaN, infinities and anything outside [`Dbm::RANGE`].
    pub fn new(dbm: f64) -> Result<Self, OutOfRange> {
        in_range("level", dbm, Self::RANGE, "dBm").map(Self)
    }

    /// The number of dBm.
    pub fn dbm(self) -> f64 {
        self.0
    }

    /// The power this level stands for.
    pub fn watts(self) -> Watts {
        Watts::from_level(self)
    }

    /// The closed-circuit voltage of this level across 50 Ω.
    pub fn microvolts(self) -> Microvolts {
        Microvolts::from_level(self)
    }
}

impl Db {
    /// Wide enough for any chain, narrow enough to catch a slipped decimal.
    pub const RANGE: RangeInclusive<f64> = -400.0..=400.0;
    /// No difference.
    pub const ZERO: Self = Self(0.0);

    /// Refuses NaN, infinities and anything outside [`Db::RANGE`].
    pub fn new(db: f64) -> Result<Self, OutOfRange> {
        in_range("ratio", db, Self::RANGE, "dB").map(Self)
    }

    /// The ratio of two powers: `out` over `reference`.
    pub fn of(out: Watts, reference: Watts) -> Self {
        out.level() - reference.level()
    }

    /// The number of dB.
    pub fn db(self) -> f64 {
        self.0
    }
}

impl Sub for Dbm {
    type Output = Db;
    fn sub(self, other: Self) -> Db {
        Db(self.0 - other.0)
    }
}

impl Add<Db> for Dbm {
    type Output = Self;
    fn add(self, gain: Db) -> Self {
        Self(self.0 + gain.0)
    }
}

impl Sub<Db> for Dbm {
    type Output = Self;
    fn sub(self, loss: Db) -> Self {
        Self(self.0 - loss.0)
    }
}

impl Add for Db {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl AddAssign for Db {
    fn add_assign(&mut self, other: Self) {
        self.0 += other.0;
    }
}

impl Sub for Db {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

impl Neg for Db {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_number_that_is_no_level_gets_in() {
        for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 151.0, -250.1] {
            assert!(Dbm::new(value).is_err(), "{value} was taken for a level");
        }
        let refused = Dbm::new(f64::NAN).unwrap_err();
        assert_eq!(refused.to_string(), "level of NaN dBm is outside -250 to 150 dBm");
    }

    #[test]
    fn levels_differ_by_ratios() {
        // Common practice, no source: -91 dBm behind a 30 dB coupler is -121 dBm, 1 dB better
        // than -120 dBm.
        let generator = Dbm::new(-91.0).unwrap();
        let at_port = generator - Db::new(30.0).unwrap();
        assert!((at_port.dbm() - -121.0).abs() < 1e-9);
        let better = Dbm::new(-120.0).unwrap() - at_port;
        assert!((better.db() - 1.0).abs() < 1e-9);
    }
}
