//! The special function that decisions need beside libm's ln Γ and erfc: the incomplete beta.
//!
//! In: plain numbers. Out: plain numbers, to about 1e-13. Own code, not a crate: one short
//! function, held against scipy on random arguments (`tests/reference/oracle_budget.rs`), where a
//! statistics crate would bring two more into everything that is built on the core.
//!
//!   I_x(a, b)          continued fraction after Lentz                a, b > 0, 0 ≤ x ≤ 1

use libm::lgamma;

/// Stops a continued fraction from dividing by nothing.
const TINY: f64 = 1e-300;
/// Terms change the result by less than this at the end.
const ENOUGH: f64 = 1e-16;
/// More terms than any argument met here wants: a beta with a = 5e5 takes about 2000.
const TERMS: u32 = 20_000;

/// The regularised incomplete beta I_x(a, b). `rest` is 1 − x, from the caller: where x is nearly 1
/// it holds the digits that x has lost.
pub(crate) fn incomplete_beta(a: f64, b: f64, x: f64, rest: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if rest <= 0.0 {
        return 1.0;
    }
    let ln_front = lgamma(a + b) - lgamma(a) - lgamma(b) + a * x.ln() + b * rest.ln();
    let front = ln_front.exp();
    // The fraction converges fast on one side of the mean; the other side mirrors it.
    if x < (a + 1.0) / (a + b + 2.0) {
        front * beta_fraction(a, b, x) / a
    } else {
        1.0 - front * beta_fraction(b, a, rest) / b
    }
}

fn off_zero(value: f64) -> f64 {
    if value.abs() < TINY { TINY } else { value }
}

fn beta_fraction(a: f64, b: f64, x: f64) -> f64 {
    let mut c = 1.0;
    let mut d = 1.0 / off_zero(1.0 - (a + b) * x / (a + 1.0));
    let mut result = d;
    for term in 1..=TERMS {
        let m = f64::from(term);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / off_zero(1.0 + even * d);
        c = off_zero(1.0 + even / c);
        result *= c * d;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / off_zero(1.0 + odd * d);
        c = off_zero(1.0 + odd / c);
        result *= c * d;
        if (c * d - 1.0).abs() < ENOUGH {
            break;
        }
    }
    result
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beta_of_simple_shapes() {
        // I_x(1, 1) = x, I_x(a, 1) = x^a, I_x(1, b) = 1 − (1−x)^b: mathematics.
        for x in [0.0, 0.1, 0.5, 0.93, 1.0] {
            let beta = |a, b| incomplete_beta(a, b, x, 1.0 - x);
            assert!((beta(1.0, 1.0) - x).abs() < 1e-14, "{x}");
            assert!((beta(2.5, 1.0) - x.powf(2.5)).abs() < 1e-14, "{x}");
            assert!((beta(1.0, 4.0) - (1.0 - (1.0 - x).powi(4))).abs() < 1e-14);
        }
    }

    /// scipy.special 1.15.3: betainc, on both sides of the mean.
    #[test]
    fn scipy_agrees_on_every_branch() {
        for (a, b, x, expected) in [
            (0.5, 0.5, 0.1, 0.204_832_764_699_133_45),
            (0.5, 0.5, 0.9, 0.795_167_235_300_866_5),
            (2.0, 0.5, 0.3, 0.037_840_969_485_813_08),
            (2.0, 0.5, 0.95, 0.670_179_973_318_781),
            (10.0, 0.5, 0.8, 0.036_904_842_934_184_69),
            (60.0, 0.5, 0.97, 0.056_408_770_295_683_97),
            (3.0, 5.0, 0.2, 0.148_032_000_000_000_05),
            (3.0, 5.0, 0.6, 0.903_744),
            (300.0, 0.5, 0.999, 0.438_654_268_870_091),
            (7.5, 2.5, 0.5, 0.045_031_330_623_661_29),
        ] {
            let got = incomplete_beta(a, b, x, 1.0 - x);
            assert!((got / expected - 1.0).abs() < 2e-12, "{a}, {b}, {x}: {got}, not {expected}");
        }
    }
}
