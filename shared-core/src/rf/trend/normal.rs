//! The normal distribution's tail and its inverse, to the last digits of a float.

use std::f64::consts::SQRT_2;

/// How likely a standard normal value is to exceed `z`.
pub(super) fn upper_tail(z: f64) -> f64 {
    0.5 * libm::erfc(z / SQRT_2)
}

/// Beyond this many standard deviations lies less than a float can tell from nothing.
const FARTHEST: f64 = 40.0;

/// Halvings of the way there until no float lies between.
const HALVINGS: usize = 64;

/// The value that a standard normal one exceeds with this probability, 0 < p ≤ 0.5: between the
/// middle and the farthest, halved and halved again.
pub(super) fn exceeded_with(p: f64) -> f64 {
    let (mut low, mut high) = (0.0, FARTHEST);
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if upper_tail(middle) > p {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
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
            (0.4, 0.253_347_103_135_799_7),
            (1e-9, 5.997_807_015_007_686_5),
        ] {
            assert!((exceeded_with(p) - z).abs() < 1e-12, "{p}: {}", exceeded_with(p));
            assert!((upper_tail(z) / p - 1.0).abs() < 1e-12, "{z}");
        }
    }

    #[test]
    fn tails_on_both_sides_as_scipy_gives_them() {
        for (z, tail) in [
            (-3.0, 0.998_650_101_968_369_9),
            (-0.2, 0.579_259_709_439_103),
            (0.3, 0.382_088_577_811_047_4),
            (1.5, 0.066_807_201_268_858_07),
            (6.0, 9.865_876_450_376_946e-10),
        ] {
            assert!((upper_tail(z) / tail - 1.0).abs() < 1e-12, "{z}: {}", upper_tail(z));
        }
    }
}
