//! Voltage across a resistance of any size, and the power it makes there.
//!
//!   P = V²/R                         V in volts RMS, R in ohms, P in watts; HANDBOOK U1
//!   P\[dBm\] = dBµV − (90 + 10·log10 R)    closed circuit; HANDBOOK U2
//!   V_pp = 2·√2·V                    of a sine; HANDBOOK U5
//!
//! [`super::Microvolts`] is the receiver's voltage, always across 50 Ω.

use std::ops::RangeInclusive;

use super::{OutOfRange, Watts, in_range};

/// A resistance.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Ohms(f64);

/// The RMS voltage of a sine, at the terminals.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Volts(f64);

impl Ohms {
    /// From a stub of wire to a high-impedance input.
    pub const RANGE: RangeInclusive<f64> = 0.01..=1e7;

    /// Refuses NaN, infinities, zero, negatives and anything outside [`Ohms::RANGE`].
    pub fn new(ohms: f64) -> Result<Self, OutOfRange> {
        in_range("resistance", ohms, Self::RANGE, "\u{3a9}").map(Self)
    }

    /// The number of ohms.
    pub fn ohms(self) -> f64 {
        self.0
    }
}

impl Volts {
    /// A thousandth of a nanovolt to a megavolt.
    pub const RANGE: RangeInclusive<f64> = 1e-12..=1e6;

    /// An RMS voltage. Refuses NaN, infinities, zero and anything outside [`Volts::RANGE`].
    pub fn rms(volts: f64) -> Result<Self, OutOfRange> {
        in_range("voltage", volts, Self::RANGE, "V").map(Self)
    }

    /// The RMS voltage of a sine with this distance from peak to peak.
    pub fn from_peak_to_peak(volts: f64) -> Result<Self, OutOfRange> {
        Self::rms(volts / 8f64.sqrt())
    }

    /// The voltage of decibels over one microvolt.
    pub fn from_dbuv(dbuv: f64) -> Result<Self, OutOfRange> {
        Self::rms(1e-6 * 10f64.powf(dbuv / 20.0))
    }

    /// The voltage that makes this power across a resistance.
    pub fn of(power: Watts, across: Ohms) -> Result<Self, OutOfRange> {
        Self::rms((power.watts() * across.0).sqrt())
    }

    /// The number of volts RMS.
    pub fn volts(self) -> f64 {
        self.0
    }

    /// Volts from peak to peak, of a sine.
    pub fn peak_to_peak(self) -> f64 {
        self.0 * 8f64.sqrt()
    }

    /// In decibels over one microvolt.
    pub fn dbuv(self) -> f64 {
        20.0 * (self.0 / 1e-6).log10()
    }

    /// The power across a resistance.
    pub fn power(self, across: Ohms) -> Result<Watts, OutOfRange> {
        Watts::new(self.0 * self.0 / across.0)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn what_is_no_voltage_or_resistance_is_refused_by_name() {
        assert!(Ohms::new(0.0).unwrap_err().to_string().starts_with("resistance of 0 \u{3a9}"));
        assert!(Volts::rms(-1.0).unwrap_err().to_string().starts_with("voltage of -1 V"));
        assert!(Volts::from_peak_to_peak(f64::NAN).is_err());
        let faint = Volts::rms(1e-12).unwrap().power(Ohms::new(1e7).unwrap());
        assert!(faint.unwrap_err().to_string().starts_with("power of "));
    }

    proptest! {
        #[test]
        fn power_and_voltage_are_inverses(volts in 1e-6..1e3f64, ohms in 1.0..1e4f64) {
            let across = Ohms::new(ohms).unwrap();
            let power = Volts::rms(volts).unwrap().power(across).unwrap();
            let back = Volts::of(power, across).unwrap();
            prop_assert!((back.volts() / volts - 1.0).abs() < 1e-12);
            let decibels = Volts::from_dbuv(back.dbuv()).unwrap();
            prop_assert!((decibels.volts() / volts - 1.0).abs() < 1e-12);
            let peaks = Volts::from_peak_to_peak(back.peak_to_peak()).unwrap();
            prop_assert!((peaks.volts() / volts - 1.0).abs() < 1e-12);
        }
    }
}
