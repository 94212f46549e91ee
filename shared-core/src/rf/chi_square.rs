//! How often chance alone makes a sum of squares this large, and a normal error this small.
//!
//! In: chi-square and its degrees of freedom, or a distance in standard deviations. Out: a
//! probability, 0 to 1. Knows no reading.
//!
//!   p(χ², ν)   = Q(ν/2, χ²/2)          Q: the regularised upper incomplete gamma function
//!   Q(a+1, x)  = Q(a, x) + x^a·e^(−x)/Γ(a+1)       from Q(0, x) = 0 or Q(1/2, x) = erfc(√x)
//!   Φ(z)       = erfc(−z/√2) / 2
//!
//! Degrees of freedom are whole, so that the sum ends. Formulas: DLMF 8.8.6 and 7.11.2, from
//! memory, unverified; the numbers are held against scipy in `tests/reference`. Γ and erfc are
//! libm's; the sum is written out here rather than taken from a statistics crate: such a crate
//! brings a matrix library and generators of chance that the core must not have.

use std::f64::consts::SQRT_2;

use libm::{erfc, lgamma};

use crate::units::{OutOfRange, in_range};

/// More squares than any session has readings.
const FREEDOM_MAX: f64 = 1e5;

/// The chance of a chi-square this large or larger with so many degrees of freedom.
pub fn chance_of_more(chi_square: f64, degrees_of_freedom: usize) -> Result<f64, OutOfRange> {
    in_range("degrees of freedom", degrees_of_freedom as f64, 1.0..=FREEDOM_MAX, "")?;
    let x = in_range("chi-square", chi_square, 0.0..=f64::MAX, "")? / 2.0;
    let is_odd = degrees_of_freedom % 2 == 1;
    let (least, begun) = if is_odd { (0.5, erfc(x.sqrt())) } else { (0.0, 0.0) };
    // By logarithms, as x^a alone may be more than a float holds; of nothing the first is all.
    let power = |a: f64| if a > 0.0 { a * x.ln() } else { 0.0 };
    let term = |a: f64| (power(a) - x - lgamma(a + 1.0)).exp();
    let terms = (0..degrees_of_freedom / 2).map(|step| term(least + step as f64));
    Ok((begun + terms.sum::<f64>()).min(1.0))
}

/// The share of a normal distribution that lies below `z` standard deviations.
pub fn normal_below(z: f64) -> f64 {
    erfc(-z / SQRT_2) / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_points_of_chi_square() {
        // The usual table of critical values (NIST/SEMATECH e-Handbook 1.3.6.7.4, from memory,
        // unverified): chi-square that is exceeded with this chance.
        for (freedom, chance, chi_square) in [
            (1, 0.05, 3.841),
            (1, 0.01, 6.635),
            (2, 0.05, 5.991),
            (5, 0.05, 11.070),
            (9, 0.01, 21.666),
            (10, 0.95, 3.940),
            (30, 0.05, 43.773),
            (100, 0.01, 135.807),
        ] {
            let got = chance_of_more(chi_square, freedom).unwrap();
            assert!((got / chance - 1.0).abs() < 1e-3, "{freedom}, {chi_square}: {got}");
        }
    }

    #[test]
    fn two_degrees_of_freedom_are_an_exponential() {
        for chi_square in [0.0, 1e-9, 0.5, 2.0, 10.0, 200.0] {
            let got = chance_of_more(chi_square, 2).unwrap();
            let expected = (-chi_square / 2.0f64).exp();
            assert!((got / expected - 1.0).abs() < 1e-12, "{chi_square}: {got}");
        }
    }

    #[test]
    fn nothing_is_always_exceeded_and_more_than_anything_never() {
        for freedom in [1, 2, 3, 8, 401, 100_000] {
            let chance = |chi_square| chance_of_more(chi_square, freedom).unwrap();
            assert!((chance(0.0) - 1.0).abs() < 1e-12, "{freedom}: {}", chance(0.0));
            assert!(chance(f64::MAX).abs() < 1e-300, "{freedom}");
            // About the middle of so many: scipy.stats.chi2.sf(1e5, 1e5) is 0.499405.
            if freedom == 100_000 {
                assert!((chance(1e5) - 0.499_405).abs() < 1e-5, "{}", chance(1e5));
            }
        }
        assert!(chance_of_more(1.0, 100_001).is_err());
    }

    #[test]
    fn the_normal_share_is_the_published_one() {
        // Any table of the normal distribution; from memory, unverified.
        for (z, share) in
            [(0.0, 0.5), (1.0, 0.841_344_746), (-1.96, 0.024_997_895), (-3.0, 0.001_349_898)]
        {
            let got = normal_below(z);
            assert!((got - share).abs() < 1e-9, "{z}: {got}");
        }
    }

    #[test]
    fn what_is_no_sum_of_squares_is_refused_by_name() {
        let refused = chance_of_more(-1.0, 3).unwrap_err().to_string();
        assert!(refused.starts_with("chi-square of -1"), "{refused}");
        let refused = chance_of_more(f64::NAN, 3).unwrap_err();
        assert_eq!(refused.quantity, "chi-square");
        let refused = chance_of_more(1.0, 0).unwrap_err();
        assert_eq!(refused.quantity, "degrees of freedom");
    }

    /// scipy.stats.chi2.sf and norm.cdf, 1.15.3, on both expansions and about their seam.
    #[test]
    fn scipy_agrees_on_both_expansions() {
        for (chi_square, freedom, expected) in [
            (0.1, 1, 0.751_829_634_045_849_2),
            (3.84, 1, 0.050_043_521_248_705_19),
            (2.0, 3, 0.572_406_704_470_879_8),
            (9.0, 4, 0.061_099_480_960_332_69),
            (1.0, 8, 0.998_248_377_443_709_2),
            (15.5, 8, 0.050_122_054_532_665_2),
            (40.0, 20, 0.004_995_412_308_307_578_5),
            (12.0, 30, 0.998_599_646_166_638_1),
            (150.0, 100, 0.000_903_932_042_354_018_4),
            (400.0, 300, 9.678_621_994_933_555e-5),
            (0.001, 5, 0.999_999_998_318_512_3),
            (60.0, 8, 4.661_032_000_779_303e-10),
        ] {
            let got = chance_of_more(chi_square, freedom).unwrap();
            assert!((got / expected - 1.0).abs() < 1e-11, "{chi_square}, {freedom}: {got}");
        }
        for (z, expected) in [
            (-8.0, 6.220_960_574_271_74e-16),
            (-3.0, 0.001_349_898_031_630_093_3),
            (-1.0, 0.158_655_253_931_457_07),
            (0.5, 0.691_462_461_274_013_1),
            (1.96, 0.975_002_104_851_779_5),
            (3.5, 0.999_767_370_920_964_5),
        ] {
            let got = normal_below(z);
            assert!((got / expected - 1.0).abs() < 1e-11, "{z}: {got}");
        }
    }
}
