//! The three special functions that decisions need: ln Γ, the incomplete beta, and erfc.
//!
//! In: plain numbers. Out: plain numbers, to about 1e-13. Own code, not a crate: three short
//! functions, held against scipy on random arguments (`tests/reference/oracle_budget.rs`), where a
//! statistics crate would bring two more into everything that is built on the core.
//!
//!   ln Γ(x)            Lanczos, g = 7, nine terms                    x > 0
//!   I_x(a, b)          continued fraction after Lentz                a, b > 0, 0 ≤ x ≤ 1
//!   erfc(x)            Q(1/2, x²): series below, continued fraction above x² = 1.5

use std::f64::consts::PI;

/// Stops a continued fraction from dividing by nothing.
const TINY: f64 = 1e-300;
/// Terms change the result by less than this at the end.
const ENOUGH: f64 = 1e-16;
/// More terms than any argument met here wants: a beta with a = 5e5 takes about 2000.
const TERMS: u32 = 20_000;

const LANCZOS: [f64; 9] = [
    0.999_999_999_999_809_9,
    676.520_368_121_885_1,
    -1_259.139_216_722_402_8,
    771.323_428_777_653_1,
    -176.615_029_162_140_6,
    12.507_343_278_686_905,
    -0.138_571_095_265_720_12,
    9.984_369_578_019_572e-6,
    1.505_632_735_149_311_6e-7,
];

/// ln Γ(x) for x > 0.
pub(crate) fn ln_gamma(x: f64) -> f64 {
    if x < 0.5 {
        return (PI / (PI * x).sin()).ln() - ln_gamma(1.0 - x);
    }
    let shifted = x - 1.0;
    let base = shifted + 7.5;
    let terms = LANCZOS[1..].iter().zip(1u8..);
    let sum = terms.fold(LANCZOS[0], |sum, (c, n)| sum + c / (shifted + f64::from(n)));
    0.5 * (2.0 * PI).ln() + (shifted + 0.5) * base.ln() - base + sum.ln()
}

/// The regularised incomplete beta I_x(a, b). `rest` is 1 − x, from the caller: where x is nearly 1
/// it holds the digits that x has lost.
pub(crate) fn incomplete_beta(a: f64, b: f64, x: f64, rest: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if rest <= 0.0 {
        return 1.0;
    }
    let ln_front = ln_gamma(a + b) - ln_gamma(a) - ln_gamma(b) + a * x.ln() + b * rest.ln();
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

/// The complementary error function, good in its far tail too.
pub(crate) fn erfc(x: f64) -> f64 {
    if x < 0.0 {
        return 2.0 - erfc(-x);
    }
    let z = x * x;
    if z < 1.5 {
        // erf(x) = 2x·exp(−z)/√π · Σ (2z)^n / (1·3·5…(2n+1))
        let (mut term, mut sum) = (1.0, 1.0);
        for n in 1..=TERMS {
            term *= 2.0 * z / f64::from(2 * n + 1);
            sum += term;
            if term < sum * ENOUGH {
                break;
            }
        }
        return 1.0 - 2.0 * x * (-z).exp() / PI.sqrt() * sum;
    }
    // Q(1/2, z)·√π = exp(−z)·√z·(1/(z+1/2 − (1·1/2)/(z+5/2 − (2·3/2)/(z+9/2 − …))))
    let mut b = z + 0.5;
    let mut c = 1.0 / TINY;
    let mut d = 1.0 / b;
    let mut result = d;
    for term in 1..=TERMS {
        let n = f64::from(term);
        let a = -n * (n - 0.5);
        b += 2.0;
        d = 1.0 / off_zero(a * d + b);
        c = off_zero(b + a / c);
        result *= c * d;
        if (c * d - 1.0).abs() < ENOUGH {
            break;
        }
    }
    (-z).exp() * x / PI.sqrt() * result
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn factorials_and_the_half() {
        // Γ(n) = (n−1)!, Γ(1/2) = √π: mathematics. 170! is near the largest a float holds.
        assert!((ln_gamma(5.0) - 24f64.ln()).abs() < 1e-13);
        assert!((ln_gamma(11.0) - 3_628_800f64.ln()).abs() < 1e-12);
        assert!((ln_gamma(0.5) - PI.sqrt().ln()).abs() < 1e-14);
        assert!((ln_gamma(0.25) - 3.625_609_908_221_908f64.ln()).abs() < 1e-13, "scipy.special");
    }

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

    #[test]
    fn erfc_on_both_sides_of_its_seam_and_far_out() {
        // scipy.special.erfc.
        for (x, expected) in [
            (0.0, 1.0),
            (0.5, 0.479_500_122_186_953_5),
            (1.2, 0.089_686_021_770_364_64),
            (1.25, 0.077_099_871_743_541_74),
            (-1.0, 1.842_700_792_949_714_8),
            (4.0, 1.541_725_790_028_002e-8),
            (10.0, 2.088_487_583_762_545e-45),
        ] {
            let got = erfc(x);
            assert!((got / expected - 1.0).abs() < 1e-12, "{x}: {got}, scipy {expected}");
        }
    }

    /// scipy.special 1.15.3: gammaln, betainc and erfc, on every branch.
    #[test]
    fn scipy_agrees_on_every_branch() {
        for (x, expected) in [
            (0.1, 2.252_712_651_734_206),
            (0.75, 0.203_280_951_431_295_38),
            (1.5, -0.120_782_237_635_245_26),
            (3.3, 0.987_098_577_894_734_3),
            (10.25, 13.368_023_671_476_045),
            (100.5, 361.435_540_467_777_57),
            (1000.0, 5_905.220_423_209_181),
        ] {
            let off: f64 = ln_gamma(x) - expected;
            assert!(off.abs() < 1e-12 * expected.abs().max(1.0), "{x}: {off}");
        }
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
        for (x, expected) in [
            (0.01, 0.988_716_584_444_150_3),
            (0.3, 0.671_373_240_540_872_6),
            (0.9, 0.203_091_787_577_167_84),
            (1.22, 0.084_466_118_973_353_18),
            (1.23, 0.081_949_895_873_238_63),
            (2.0, 0.004_677_734_981_047_266),
            (3.0, 2.209_049_699_858_544_5e-5),
            (6.0, 2.151_973_671_249_891_3e-17),
            (-0.4, 1.428_392_355_046_668_4),
            (-2.5, 1.999_593_047_982_555),
        ] {
            let got = erfc(x);
            assert!((got / expected - 1.0).abs() < 1e-12, "{x}: {got}, not {expected}");
        }
    }
}
