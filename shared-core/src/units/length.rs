//! Lengths: of a line, of a path through the air, of a height above ground. In metres.

use std::ops::RangeInclusive;

use super::{OutOfRange, in_range};

/// A length, made under the name of what is measured so that a refusal says which.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Metres(f64);

impl Metres {
    /// No feedline of a two-way radio site is longer than a kilometre.
    pub const LINE_RANGE: RangeInclusive<f64> = 0.0..=1000.0;
    /// From across a bench to a satellite.
    pub const PATH_RANGE: RangeInclusive<f64> = 1e-3..=1e9;
    /// Above the ground that the horizon is seen over.
    pub const HEIGHT_RANGE: RangeInclusive<f64> = 0.0..=10_000.0;

    /// The length of a line.
    pub fn line(metres: f64) -> Result<Self, OutOfRange> {
        in_range("line length", metres, Self::LINE_RANGE, "m").map(Self)
    }

    /// The length of a path through the air.
    pub fn path(metres: f64) -> Result<Self, OutOfRange> {
        in_range("path length", metres, Self::PATH_RANGE, "m").map(Self)
    }

    /// The height of an antenna.
    pub fn height(metres: f64) -> Result<Self, OutOfRange> {
        in_range("antenna height", metres, Self::HEIGHT_RANGE, "m").map(Self)
    }

    /// The number of metres.
    pub fn metres(self) -> f64 {
        self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn absurd_lengths_are_refused_under_their_name() {
        let text = |refused: Result<Metres, OutOfRange>| refused.unwrap_err().to_string();
        assert_eq!(text(Metres::line(-1.0)), "line length of -1 m is outside 0 to 1000 m");
        assert!(text(Metres::path(0.0)).starts_with("path length of 0 m"));
        assert!(text(Metres::height(f64::NAN)).starts_with("antenna height of NaN m"));
        assert!((Metres::line(30.0).unwrap().metres() - 30.0).abs() < 1e-12);
    }
}
