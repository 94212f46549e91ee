//! SINAD, signal over the rest, and distortion: one reading of a receiver's audio in three forms.
//!
//!   SINAD     = 10·log10((S + N + D)/(N + D))      dB, 0 or more
//!   S/(N + D) = 10·log10(10^(SINAD/10) − 1)        dB; 12 dB SINAD is 11.717 dB, not 12
//!   share     = 100·10^(−SINAD/20)                 % of the total voltage that is not the signal
//!
//! S, N, D: powers of tone, noise and distortion. Definition: HANDBOOK 1.4; check values S1-S6, and
//! S7, S8 for the two forms of a distortion figure. It does not measure: that is for the audio.

use std::ops::RangeInclusive;

use crate::units::{Db, OutOfRange, in_range};

/// The ratio of everything heard to everything but the tone.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Sinad(f64);

impl Sinad {
    /// From no tone at all to what no receiver reaches.
    pub const RANGE: RangeInclusive<f64> = 0.0..=150.0;

    /// From dB. A negative SINAD is refused: the whole is not less than its part.
    pub fn new(db: f64) -> Result<Self, OutOfRange> {
        in_range("SINAD", db, Self::RANGE, "dB").map(Self)
    }

    /// From the tone over the rest.
    pub fn from_signal_over_rest(ratio: Db) -> Result<Self, OutOfRange> {
        let rest = 10f64.powf(ratio.db() / 10.0);
        Self::new(10.0 / std::f64::consts::LN_10 * rest.ln_1p())
    }

    /// From the share of the voltage that is not the tone, in percent: what a distortion meter
    /// reads.
    pub fn from_distortion_percent(percent: f64) -> Result<Self, OutOfRange> {
        // 150 dB is 3.16e-6 %.
        let percent = in_range("distortion", percent, 3.2e-6..=100.0, "%")?;
        Self::new(-20.0 * (percent / 100.0).log10())
    }

    /// The number of dB.
    pub fn db(self) -> f64 {
        self.0
    }

    /// The tone over the rest. None where there is no tone.
    pub fn signal_over_rest(self) -> Option<Db> {
        let ratio = (self.0 / 10.0 * std::f64::consts::LN_10).exp_m1();
        Db::new(10.0 * ratio.log10()).ok()
    }

    /// The share of the voltage that is not the tone, in percent.
    pub fn distortion_percent(self) -> f64 {
        100.0 * 10f64.powf(-self.0 / 20.0)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn what_is_no_sinad_is_refused_by_name() {
        let refused = Sinad::new(-0.5).unwrap_err().to_string();
        assert_eq!(refused, "SINAD of -0.5 dB is outside 0 to 150 dB");
        let refused = Sinad::from_distortion_percent(0.0).unwrap_err().to_string();
        assert!(refused.starts_with("distortion of 0 %"), "{refused}");
        assert!(Sinad::from_distortion_percent(101.0).is_err());
        assert!(Sinad::from_signal_over_rest(Db::new(300.0).unwrap()).is_err());
    }

    #[test]
    fn nothing_but_noise_has_no_signal_over_it() {
        let none = Sinad::from_distortion_percent(100.0).unwrap();
        assert!(none.db().abs() < 1e-12);
        assert!(none.signal_over_rest().is_none());
    }

    proptest! {
        #[test]
        fn the_three_forms_are_inverses(db in 0.01..120.0f64) {
            let sinad = Sinad::new(db).unwrap();
            let ratio = Sinad::from_signal_over_rest(sinad.signal_over_rest().unwrap()).unwrap();
            let share = Sinad::from_distortion_percent(sinad.distortion_percent()).unwrap();
            prop_assert!((ratio.db() - db).abs() < 1e-9);
            prop_assert!((share.db() - db).abs() < 1e-9);
            // The tone alone is always less than the tone with the rest.
            prop_assert!(sinad.signal_over_rest().unwrap().db() < db);
        }
    }
}
