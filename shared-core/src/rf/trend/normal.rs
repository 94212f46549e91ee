//! The normal distribution's tail and its inverse, to the last digits of a float.

use std::f64::consts::{PI, SQRT_2};

/// How likely a standard normal value is to exceed `z`.
pub(super) fn upper_tail(z: f64) -> f64 {
    0.5 * libm::erfc(z / SQRT_2)
}

/// The value that a standard normal one exceeds with this probability, 0 < p ≤ 0.5.
pub(super) fn exceeded_with(p: f64) -> f64 {
    // Abramowitz and Stegun 26.2.23, good to 4.5e-4 (from memory, unverified; the steps that
    // follow make it exact whatever it starts with).
    let t = (-2.0 * p.ln()).sqrt();
    let above = 2.515_517 + t * (0.802_853 + t * 0.010_328);
    let under = 1.0 + t * (1.432_788 + t * (0.189_269 + t * 0.001_308));
    let mut z = t - above / under;
    for _ in 0..4 {
        let density = (-z * z / 2.0).exp() / (2.0 * PI).sqrt();
        z += (upper_tail(z) - p) / density;
    }
    z
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_as_scipy_gives_them() {
        // scipy.stats.norm.isf (calculated with scipy 1.15.3).
        for (p, z) in [
            (0.5, 0.0),
            (0.25, 0.674_489_750_196_081_7),
            (0.025, 1.959_963_984_540_054),
            (0.005, 2.575_829_303_548_901),
            (0.000_05, 3.890_591_886_413_094),
        ] {
            assert!((exceeded_with(p) - z).abs() < 1e-12, "{p}: {}", exceeded_with(p));
            assert!((upper_tail(z) / p - 1.0).abs() < 1e-12, "{z}");
        }
    }
}
