//! From what is known of an input to its standard uncertainty.
//!
//! In: half-widths, repeats, reflection coefficients, percentages. Out: standard uncertainties in
//! the unit that came in, or in dB where the name says so. Knows no reading and no budget.
//!
//!   repeats       s/√n, n − 1 degrees of freedom          HANDBOOK G1
//!   rectangular   a/√3                                    HANDBOOK G2
//!   triangular    a/√6                                    HANDBOOK G3
//!   U-shaped      a/√2                                    HANDBOOK G4
//!   mismatch      |Γ1|·|Γ2|·|S21|·|S12|·100/(√2·11.5) dB   HANDBOOK 4.2, U-shaped
//!   percent       %/11.5 (voltage), %/23 (power) in dB    HANDBOOK G9, for small %
//!
//! a: half-width; s: standard deviation; n: count; Γ: reflection coefficients of the two ends;
//! S: transmission between them, 1 where they meet directly.

use crate::units::OutOfRange;
use crate::units::in_range;

/// The divisor that turns a small percentage of voltage into dB: ETSI's, 8.686/100 rounded.
const VOLTAGE_PERCENT_PER_DB: f64 = 11.5;
/// The same for a percentage of power.
const POWER_PERCENT_PER_DB: f64 = 23.0;

/// The standard uncertainty of a value known only to lie within ±`half_width`.
pub fn rectangular(half_width: f64) -> f64 {
    half_width / 3f64.sqrt()
}

/// The standard uncertainty of a value that lies within ±`half_width`, rather in the middle.
pub fn triangular(half_width: f64) -> f64 {
    half_width / 6f64.sqrt()
}

/// The standard uncertainty of a value that swings between ±`half_width`, as mismatch does.
pub fn u_shaped(half_width: f64) -> f64 {
    half_width / 2f64.sqrt()
}

/// What repeats of one reading say.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Repeats {
    /// Their mean.
    pub mean: f64,
    /// The standard deviation s of one of them.
    pub deviation: f64,
    /// The standard uncertainty of the mean, s/√n.
    pub standard: f64,
    /// Its degrees of freedom, n − 1.
    pub dof: f64,
}

/// Mean and scatter of repeats. None for fewer than two: one reading shows no scatter.
pub fn repeats(values: &[f64]) -> Option<Repeats> {
    if values.len() < 2 {
        return None;
    }
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    let dof = count - 1.0;
    let deviation = (squares / dof).sqrt();
    Some(Repeats { mean, deviation, standard: deviation / count.sqrt(), dof })
}

/// The standard uncertainty, in dB, that two reflections make between them. `transmission` is
/// |S21|·|S12| of what stands between the two: 1 where they meet directly.
pub fn mismatch_db(first: f64, second: f64, transmission: f64) -> Result<f64, OutOfRange> {
    // A passive end reflects no more than comes; a passive part passes no more than it gets.
    let first = in_range("reflection", first, 0.0..=1.0, "")?;
    let second = in_range("reflection", second, 0.0..=1.0, "")?;
    let transmission = in_range("transmission", transmission, 0.0..=1.0, "")?;
    Ok(u_shaped(voltage_percent_db(first * second * transmission * 100.0)))
}

/// The reflection |Γ| of a return loss in dB, 10^(−RL/20).
pub fn reflection(return_loss_db: f64) -> Result<f64, OutOfRange> {
    let return_loss_db = in_range("return loss", return_loss_db, 0.0..=100.0, "dB")?;
    Ok(10f64.powf(-return_loss_db / 20.0))
}

/// A small percentage of voltage in dB.
pub fn voltage_percent_db(percent: f64) -> f64 {
    percent / VOLTAGE_PERCENT_PER_DB
}

/// A small percentage of power in dB.
pub fn power_percent_db(percent: f64) -> f64 {
    percent / POWER_PERCENT_PER_DB
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shapes_have_their_published_standard_uncertainty() {
        // HANDBOOK G2-G4.
        assert!((rectangular(1.0) - 0.577_350_269_2).abs() < 1e-10);
        assert!((triangular(1.0) - 0.408_248_290_5).abs() < 1e-10);
        assert!((u_shaped(10.0) - 7.071_067_812).abs() < 1e-9);
    }

    #[test]
    fn repeats_have_mean_scatter_and_freedom() {
        // 2, 4, 4, 4, 5, 5, 7, 9: mean 5, squares 32, so s = √(32/7): arithmetic.
        let found = repeats(&[2.0, 4.0, 4.0, 4.0, 5.0, 5.0, 7.0, 9.0]).unwrap();
        assert!((found.mean - 5.0).abs() < 1e-12);
        assert!((found.deviation - (32.0f64 / 7.0).sqrt()).abs() < 1e-12);
        assert!((found.standard - (32.0f64 / 56.0).sqrt()).abs() < 1e-12);
        assert!((found.dof - 7.0).abs() < 1e-12);
        assert!(repeats(&[1.0]).is_none() && repeats(&[]).is_none());
    }

    #[test]
    fn a_small_percentage_in_decibels() {
        // HANDBOOK G9.
        assert!((voltage_percent_db(11.5) - 1.0).abs() < 1e-12);
        assert!((power_percent_db(23.0) - 1.0).abs() < 1e-12);
        // What the rounded divisors stand for, at 1 %: 20·log10(1.01) and 10·log10(1.01).
        assert!((voltage_percent_db(1.0) / (20.0 * 1.01f64.log10()) - 1.0).abs() < 0.01);
        assert!((power_percent_db(1.0) / (10.0 * 1.01f64.log10()) - 1.0).abs() < 0.01);
    }

    #[test]
    fn mismatch_of_two_ends() {
        // HANDBOOK 4.2, calculated there.
        for (first, second, expected) in [
            (0.1, 0.1, 0.0615),
            (0.2, 0.2, 0.2460),
            (0.333, 0.2, 0.4095),
            (1.0 / 3.0, 1.0 / 3.0, 0.6832),
        ] {
            let got = mismatch_db(first, second, 1.0).unwrap();
            assert!((got - expected).abs() < 6e-5, "{first}, {second}: {got}");
        }
        let refused = mismatch_db(1.2, 0.1, 1.0).unwrap_err();
        assert_eq!(refused.quantity, "reflection");
        assert!(mismatch_db(0.1, -0.1, 1.0).is_err() && mismatch_db(0.1, 0.1, 2.0).is_err());
        assert!(reflection(-1.0).is_err());
        // HANDBOOK 5.3: 13.98 dB is |Γ| 0.2000.
        assert!((reflection(13.98).unwrap() - 0.2).abs() < 1e-4);
    }
}
