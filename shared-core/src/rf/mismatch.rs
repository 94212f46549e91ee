//! What comes back from a port that is not matched, in every measure the trade has for it.
//!
//! In: one of VSWR, |Γ|, return loss, reflected share, mismatch loss, or forward and reflected
//! power. Out: all the others; and, for two ports that face each other, how far a level may be off.
//!
//!   |Γ| = (s − 1)/(s + 1)                 s: VSWR, a ratio of 1 or more
//!   RL  = −20·log10|Γ|                    return loss, dB
//!   |Γ|² = P_reflected/P_forward
//!   ML  = −10·log10(1 − |Γ|²)             mismatch loss, dB
//!   limits 20·log10(1 ± x), x = |Γg|·|Γl|·|S21|·|S12|        dB; the phase is not known
//!   u   = x·100/(√2·11.5)                 dB; U-shaped: the phase is anything, with equal chance
//!
//! Valid for a passive port seen from a lossless reference impedance: |Γ| ≤ 1, else refused. A
//! negative return loss is refused: it is a slipped sign. The first four are HANDBOOK 5.3 (E6 for
//! powers); limits and u are HANDBOOK 4.2, which quotes TR 100 028 by way of a guide to it; 11.5 is
//! its divisor from percent of voltage to dB (HANDBOOK G9) and is 0.1 % small. x wants the path
//! between the two ports passed there and back.

use std::f64::consts::LN_10;
use std::ops::RangeInclusive;

use crate::units::{Db, Loss, OutOfRange, Watts, in_range};

/// Percent of a voltage in one dB, as radio standards round it; HANDBOOK G9.
const PERCENT_PER_DB: f64 = 11.5;

/// The reflection coefficient's magnitude at a passive port: 0 (matched) to 1 (all comes back).
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Reflection(f64);

impl Reflection {
    /// Nothing comes back.
    pub const NONE: Self = Self(0.0);
    /// What a passive port can have.
    pub const RANGE: RangeInclusive<f64> = 0.0..=1.0;
    /// A billion to one is an open or a short with the last loss counted.
    pub const VSWR_RANGE: RangeInclusive<f64> = 1.0..=1e9;

    /// From |Γ|. Over 1 is no passive port, and is refused.
    pub fn from_magnitude(magnitude: f64) -> Result<Self, OutOfRange> {
        in_range("reflection coefficient", magnitude, Self::RANGE, "").map(Self)
    }

    /// From a VSWR of 1 or more.
    pub fn from_vswr(vswr: f64) -> Result<Self, OutOfRange> {
        let vswr = in_range("VSWR", vswr, Self::VSWR_RANGE, "")?;
        Ok(Self((vswr - 1.0) / (vswr + 1.0)))
    }

    /// From a return loss, which is positive.
    pub fn from_return_loss(return_loss: Loss) -> Self {
        Self(10f64.powf(-return_loss.db() / 20.0))
    }

    /// From the share of the power that comes back, in percent.
    pub fn from_reflected_percent(percent: f64) -> Result<Self, OutOfRange> {
        let percent = in_range("reflected power", percent, 0.0..=100.0, "%")?;
        Ok(Self((percent / 100.0).sqrt()))
    }

    /// From the loss that the mismatch makes.
    pub fn from_mismatch_loss(loss: Loss) -> Self {
        Self((-(-loss.db() * LN_10 / 10.0).exp_m1()).sqrt())
    }

    /// From forward power and reflected power in watts. A meter that shows no reflected power shows
    /// 0; more reflected than forward is refused.
    pub fn from_powers(forward: Watts, reflected_w: f64) -> Result<Self, OutOfRange> {
        let forward_w = forward.watts();
        let reflected_w = in_range("reflected power", reflected_w, 0.0..=forward_w, "W")?;
        Ok(Self((reflected_w / forward_w).sqrt()))
    }

    /// |Γ|.
    pub fn magnitude(self) -> f64 {
        self.0
    }

    /// The VSWR. None where all comes back: it has no bound there.
    pub fn vswr(self) -> Option<f64> {
        (self.0 < 1.0).then(|| (1.0 + self.0) / (1.0 - self.0))
    }

    /// The return loss. None where nothing measurable comes back: it has no bound there.
    pub fn return_loss(self) -> Option<Loss> {
        // By the inverse, so that a port that reflects all has a plain 0 and not a negative one.
        Loss::new(20.0 * (1.0 / self.0).log10()).ok()
    }

    /// The share of the power that comes back, 0 to 1.
    pub fn reflected_share(self) -> f64 {
        self.0 * self.0
    }

    /// What the mismatch costs. None where all comes back: it has no bound there.
    pub fn mismatch_loss(self) -> Option<Loss> {
        Loss::new(-10.0 / LN_10 * (-self.reflected_share()).ln_1p()).ok()
    }
}

/// How far a level may be off because two ports that face each other both reflect.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MismatchError {
    /// The most it may read too much.
    pub most: Db,
    /// The most it may read too little, negative. None where both reflect all and nothing is left.
    pub least: Option<Db>,
    /// Its standard uncertainty, in dB.
    pub standard_db: f64,
}

/// The mismatch error between two ports with a path between them, which is passed there and back.
pub fn mismatch_error(source: Reflection, load: Reflection, between: Loss) -> MismatchError {
    let product = source.0 * load.0 * 10f64.powf(-between.db() / 10.0);
    let limit = |sum: f64| Db::new(20.0 * sum.log10());
    MismatchError {
        most: limit(1.0 + product).expect("a sum of 1 to 2 is 0 to 6 dB"),
        least: limit(1.0 - product).ok(),
        standard_db: product * 100.0 / (std::f64::consts::SQRT_2 * PERCENT_PER_DB),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_matched_port_and_an_open_one_have_no_infinities() {
        assert!(Reflection::NONE.return_loss().is_none());
        assert!((Reflection::NONE.vswr().unwrap() - 1.0).abs() < 1e-12);
        assert!(Reflection::NONE.mismatch_loss().unwrap().db().abs() < 1e-12);
        let open = Reflection::from_magnitude(1.0).unwrap();
        assert!(open.vswr().is_none() && open.mismatch_loss().is_none());
        let return_loss = open.return_loss().unwrap().db();
        assert!(return_loss.abs() < 1e-12 && return_loss.is_sign_positive());
        let both = mismatch_error(open, open, Loss::ZERO);
        assert!(both.least.is_none());
        assert!((both.most.db() - 6.0206).abs() < 1e-4, "HANDBOOK U3: twice the voltage");
    }

    #[test]
    fn what_no_passive_port_has_is_refused_by_name() {
        let text = |refused: Result<Reflection, OutOfRange>| refused.unwrap_err().to_string();
        assert!(
            text(Reflection::from_magnitude(1.01)).starts_with("reflection coefficient of 1.01")
        );
        assert!(text(Reflection::from_magnitude(-0.1)).contains("outside 0 to 1"));
        assert_eq!(text(Reflection::from_vswr(0.99)), "VSWR of 0.99 is outside 1 to 1000000000");
        assert!(text(Reflection::from_reflected_percent(100.1)).starts_with("reflected power"));
        let forward = Watts::new(25.0).unwrap();
        let refused = text(Reflection::from_powers(forward, 30.0));
        assert_eq!(refused, "reflected power of 30 W is outside 0 to 25 W");
        assert!(Reflection::from_powers(forward, f64::NAN).is_err());
        assert!((Reflection::from_powers(forward, 0.0).unwrap().magnitude()).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn every_measure_leads_back_to_the_same_reflection(magnitude in 1e-6..0.999_999f64) {
            let port = Reflection::from_magnitude(magnitude).unwrap();
            let forward = Watts::new(40.0).unwrap();
            for back in [
                Reflection::from_vswr(port.vswr().unwrap()).unwrap(),
                Reflection::from_return_loss(port.return_loss().unwrap()),
                Reflection::from_reflected_percent(port.reflected_share() * 100.0).unwrap(),
                Reflection::from_mismatch_loss(port.mismatch_loss().unwrap()),
                Reflection::from_powers(forward, 40.0 * port.reflected_share()).unwrap(),
            ] {
                prop_assert!((back.magnitude() - magnitude).abs() < 1e-9, "{back:?}");
            }
        }

        #[test]
        fn more_reflection_is_worse_in_every_measure(a in 0.001..0.99f64, step in 0.001..0.009f64) {
            let better = Reflection::from_magnitude(a).unwrap();
            let worse = Reflection::from_magnitude(a + step).unwrap();
            prop_assert!(worse.vswr() > better.vswr());
            prop_assert!(worse.return_loss() < better.return_loss());
            prop_assert!(worse.mismatch_loss() > better.mismatch_loss());
        }

        #[test]
        fn the_error_is_the_same_from_either_side_and_shrinks_behind_a_pad(
            a in 0.001..1.0f64, b in 0.001..1.0f64, pad in 0.1..30.0f64,
        ) {
            let (a, b) = (Reflection(a), Reflection(b));
            let bare = mismatch_error(a, b, Loss::ZERO);
            prop_assert_eq!(bare, mismatch_error(b, a, Loss::ZERO));
            let padded = mismatch_error(a, b, Loss::new(pad).unwrap());
            let factor = padded.standard_db / bare.standard_db;
            prop_assert!((factor - 10f64.powf(-pad / 10.0)).abs() < 1e-9);
            prop_assert!(padded.most < bare.most && padded.least > bare.least);
            prop_assert!(bare.least.unwrap().db() < -bare.most.db() + 1e-12);
        }
    }
}
