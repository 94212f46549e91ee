//! Frequencies and frequency errors.
//!
//!   error\[ppm\] = error\[Hz\] / carrier\[MHz\]
//!
//! Check values: HANDBOOK 2.1 "Tests".

use std::ops::RangeInclusive;

use super::{OutOfRange, in_range};

/// A frequency, a frequency error (which may be negative) or a deviation, in hertz.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Hertz(f64);

/// A relative frequency error in parts per million.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Ppm(f64);

impl Hertz {
    /// Carriers a two-way radio shop may meet, in hertz.
    pub const CARRIER_RANGE: RangeInclusive<f64> = 1e5..=1e11;
    /// Errors and deviations: no land-mobile channel is a megahertz wide.
    pub const OFFSET_RANGE: RangeInclusive<f64> = -1e6..=1e6;
    /// Bandwidths: from the hertz that a noise density is given in.
    pub const BANDWIDTH_RANGE: RangeInclusive<f64> = 1.0..=1e9;

    /// Test tones: what an audio generator gives and a transmitter can be modulated with.
    pub const TONE_RANGE: RangeInclusive<f64> = 1.0..=1e5;

    /// A test tone, 1 Hz to 100 kHz.
    pub fn tone(hertz: f64) -> Result<Self, OutOfRange> {
        in_range("tone", hertz, Self::TONE_RANGE, "Hz").map(Self)
    }

    /// A carrier frequency, 100 kHz to 100 GHz.
    pub fn carrier(hertz: f64) -> Result<Self, OutOfRange> {
        in_range("carrier frequency", hertz, Self::CARRIER_RANGE, "Hz").map(Self)
    }

    /// A frequency error or a deviation, up to 1 MHz to either side.
    pub fn offset(hertz: f64) -> Result<Self, OutOfRange> {
        in_range("frequency offset", hertz, Self::OFFSET_RANGE, "Hz").map(Self)
    }

    /// A bandwidth, 1 Hz to 1 GHz.
    pub fn bandwidth(hertz: f64) -> Result<Self, OutOfRange> {
        in_range("bandwidth", hertz, Self::BANDWIDTH_RANGE, "Hz").map(Self)
    }

    /// The number of hertz.
    pub fn hertz(self) -> f64 {
        self.0
    }

    /// This error relative to a carrier.
    pub fn relative_to(self, carrier: Self) -> Ppm {
        Ppm(self.0 / carrier.0 * 1e6)
    }
}

impl Ppm {
    /// Up to one part in a thousand to either side: more is another channel, not an error.
    pub const RANGE: RangeInclusive<f64> = -1000.0..=1000.0;

    /// Refuses NaN, infinities and anything outside [`Ppm::RANGE`].
    pub fn new(ppm: f64) -> Result<Self, OutOfRange> {
        in_range("frequency error", ppm, Self::RANGE, "ppm").map(Self)
    }

    /// The number of parts per million.
    pub fn ppm(self) -> f64 {
        self.0
    }

    /// This error in hertz at a carrier.
    pub fn at(self, carrier: Hertz) -> Hertz {
        Hertz(self.0 * carrier.0 / 1e6)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_tolerances_in_hertz() {
        // HANDBOOK 2.1 "Tests": calculated there from the published parts per million.
        for (carrier_mhz, ppm, hertz) in [
            (155.0, 2.5, 387.5),
            (155.0, 5.0, 775.0),
            (155.1, 5.0, 775.5),
            (460.0, 1.5, 690.0),
            (460.0, 2.5, 1150.0),
            (853.0, 1.0, 853.0),
            (862.0, 1.5, 1293.0),
            (898.0, 0.1, 89.8),
            // FCC Element 4 pool 2016-20, E4B03.
            (146.52, 1.0, 146.52),
        ] {
            let carrier = Hertz::carrier(carrier_mhz * 1e6).unwrap();
            let error = Ppm::new(ppm).unwrap().at(carrier);
            assert!((error.hertz() - hertz).abs() < 1e-6, "{ppm} ppm at {carrier_mhz} MHz");
            assert!((error.relative_to(carrier).ppm() - ppm).abs() < 1e-9);
        }
    }

    #[test]
    fn absurd_frequencies_are_refused_by_name() {
        let refused = Hertz::carrier(155.0).unwrap_err();
        assert!(refused.to_string().starts_with("carrier frequency of 155 Hz"), "{refused}");
        assert!(Hertz::offset(f64::NAN).is_err());
        assert!(Hertz::bandwidth(0.0).unwrap_err().to_string().starts_with("bandwidth of 0 Hz"));
        assert!(Ppm::new(1e6).is_err());
    }
}
