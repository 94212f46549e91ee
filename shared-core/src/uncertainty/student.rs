//! Coverage factors and probabilities of Student's t and of the normal distribution.
//!
//! In: degrees of freedom and probabilities. Out: factors and probabilities. Infinite degrees of
//! freedom are the normal distribution.
//!
//!   P(|T| ≤ t) = 1 − I_x(ν/2, 1/2),  x = ν/(ν + t²)       ν degrees of freedom, t in standard
//!                                                          uncertainties
//!   k: the t at which that is the wanted coverage          HANDBOOK G6; GUM G.3, table G.2
//!
//! Many degrees of freedom cost the beta function many terms; from a thousand on t is turned into
//! the normal z of the same probability by a series (Hill 1970, from memory, unverified; a test
//! holds it against the beta function and `tests/reference` against scipy):
//!
//!   w² = (ν − ½)·ln(1 + t²/ν)
//!   z  = w + (w³ + 3w)/(48·(ν − ½)²) − …          what follows is below 1e-12 of z up to t = 4

use std::f64::consts::PI;

use libm::{erfc, lgamma};

use super::special::incomplete_beta;

/// The coverage at which k = 2 for a normal distribution.
pub const TWO_SIGMA: f64 = 0.954_499_736_103_641_6;

/// From here on the series holds to as many digits as anybody needs.
const MANY: f64 = 1e3;

/// More steps than a factor ever took: about five do.
const STEPS: u32 = 200;

/// The probability that a standard normal value is at most `z`.
pub fn normal_below(z: f64) -> f64 {
    0.5 * erfc(-z / 2f64.sqrt())
}

/// The probability that Student's t with `dof` degrees of freedom is at most `t`.
pub fn t_below(t: f64, dof: f64) -> f64 {
    let beyond = 0.5 * outside(t.abs(), dof);
    if t > 0.0 { 1.0 - beyond } else { beyond }
}

/// P(|T| > t).
fn outside(t: f64, dof: f64) -> f64 {
    if dof >= MANY {
        return erfc(normal_of(t, dof) / 2f64.sqrt());
    }
    let whole = dof + t * t;
    incomplete_beta(dof / 2.0, 0.5, dof / whole, t * t / whole)
}

/// The z that a normal value exceeds as seldom as Student's t exceeds `t`, for many degrees of
/// freedom.
fn normal_of(t: f64, dof: f64) -> f64 {
    if dof.is_infinite() {
        return t;
    }
    let a = dof - 0.5;
    let w2 = a * (t * t / dof).ln_1p();
    w2.sqrt() * (1.0 + (w2 + 3.0) / (48.0 * a * a))
}

/// ln of how much probability lies at `t`.
fn ln_density(t: f64, dof: f64) -> f64 {
    if dof.is_infinite() {
        return -0.5 * (t * t + (2.0 * PI).ln());
    }
    // Of many degrees of freedom the two ln Γ are so large that nothing is left of their
    // difference; by Stirling's series (DLMF 5.11.1) it is this, to 1/(24 ν³).
    let scale = if dof >= MANY {
        -0.5 * (2.0 * PI).ln() - 0.25 / dof
    } else {
        lgamma(0.5 * (dof + 1.0)) - lgamma(0.5 * dof) - 0.5 * (dof * PI).ln()
    };
    scale - 0.5 * (dof + 1.0) * (t * t / dof).ln_1p()
}

/// The factor k that makes ±k·u cover the value with this probability.
///
/// `dof` of at least 1; less is taken for 1. `coverage` strictly between 0 and 1: at or beyond
/// these ends k is 0 or infinite.
pub fn coverage_factor(dof: f64, coverage: f64) -> f64 {
    let left = 1.0 - coverage;
    if left >= 1.0 {
        return 0.0;
    }
    if left <= 0.0 {
        return f64::INFINITY;
    }
    let dof = dof.max(1.0);
    let (mut k, mut high) = (0.0, 2.0);
    while outside(high, dof) > left {
        (k, high) = (high, 2.0 * high);
    }
    // What lies outside falls ever more slowly as k grows, so Newton's steps from below come
    // closer and never pass the factor: at the first that leads no further, k is there.
    for _ in 0..STEPS {
        let step = (outside(k, dof) - left) / (2.0 * ln_density(k, dof).exp());
        if step <= f64::EPSILON * k {
            break;
        }
        k += step;
    }
    k
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn factors_of_the_published_table() {
        // HANDBOOK G6, calculated there with GTC and scipy.
        for (dof, at_95, at_95_45) in [
            (4.0, 2.7764, 2.8693),
            (10.0, 2.2281, 2.2837),
            (20.0, 2.0860, 2.1330),
            (50.0, 2.0086, 2.0513),
        ] {
            assert!((coverage_factor(dof, 0.95) - at_95).abs() < 6e-5, "{dof}");
            assert!((coverage_factor(dof, TWO_SIGMA) - at_95_45).abs() < 6e-5, "{dof}");
        }
        assert!((coverage_factor(f64::INFINITY, TWO_SIGMA) - 2.0).abs() < 1e-12);
        // scipy.stats.t 1.15.3 gives 2.0000000000000004 at 7.8e15.
        for dof in [1e9, 1e12, 7.8e15, 1e300] {
            assert!((coverage_factor(dof, TWO_SIGMA) - 2.0).abs() < 1e-8, "{dof}");
        }
    }

    #[test]
    fn ends_have_ends() {
        assert!(coverage_factor(5.0, 0.0) < 1e-300);
        assert!(coverage_factor(5.0, 1.0).is_infinite());
        assert!((coverage_factor(0.2, 0.95) - coverage_factor(1.0, 0.95)).abs() < 1e-12);
        // Cauchy, t with ν = 1: the quartiles are ±1. Mathematics.
        assert!((t_below(1.0, 1.0) - 0.75).abs() < 1e-14);
        assert!((t_below(-1.0, 1.0) - 0.25).abs() < 1e-14);
        assert!((t_below(0.0, 7.0) - 0.5).abs() < 1e-14);
    }

    #[test]
    fn many_degrees_of_freedom_are_what_the_beta_function_says() {
        for dof in [1e3, 3e3, 1e5] {
            for t in [1e-3f64, 0.7, 2.0, 4.0] {
                let whole = dof + t * t;
                let beta = incomplete_beta(dof / 2.0, 0.5, dof / whole, t * t / whole);
                let off = outside(t, dof) / beta - 1.0;
                // ln Γ of a large number leaves the beta function itself some digits short.
                assert!(off.abs() < 1e-10, "{t} at {dof}: {off}");
            }
        }
        assert!((outside(2.0, f64::INFINITY) - (1.0 - TWO_SIGMA)).abs() < 1e-15);
        assert!((outside(2.0, 1e12) - (1.0 - TWO_SIGMA)).abs() < 1e-11);
    }

    /// scipy.stats.t 1.15.3: cdf, and ppf at (1 + coverage)/2.
    #[test]
    fn scipy_agrees_with_few_and_with_many() {
        for (t, dof, expected) in [
            (0.5, 1.0, 0.647_583_617_650_433_3),
            (1.0, 2.0, 0.788_675_134_594_812_9),
            (2.0, 3.0, 0.930_337_015_720_578_5),
            (2.5, 7.0, 0.979_503_890_707_123_6),
            (-1.3, 12.0, 0.109_008_585_541_757_12),
            (3.7, 45.0, 0.999_707_511_835_637_3),
            (2.0, 999.0, 0.977_114_691_513_121_6),
            (2.0, 1001.0, 0.977_114_961_723_289_8),
            (-4.0, 5000.0, 3.212_859_153_399_18e-5),
        ] {
            let got = t_below(t, dof);
            assert!((got / expected - 1.0).abs() < 1e-10, "{t}, {dof}: {got}, not {expected}");
        }
        for (dof, coverage, expected) in [
            (1.0, 0.5, 1.0),
            (2.0, 0.9, 2.919_985_580_355_516),
            (3.0, 0.99, 5.840_909_309_733_352),
            (13.133, 0.9545, 2.209_446_138_715_321_3),
            (999.0, 0.9545, 2.002_508_025_871_957_6),
            (1001.0, 0.9545, 2.002_503_013_583_815_8),
            (1e5, 0.95, 1.959_987_707_534_609_3),
            (6.0, 0.999, 5.958_816_178_818_885),
        ] {
            let got = coverage_factor(dof, coverage);
            assert!((got - expected).abs() < 2e-10, "{dof}, {coverage}: {got}, not {expected}");
        }
    }

    /// scipy.stats.t.logpdf and norm.logpdf, 1.15.3.
    #[test]
    fn the_density_is_scipys_with_few_and_with_many() {
        for (t, dof, expected) in [
            (0.0, 1.0, -1.144_729_885_849_4),
            (2.0, 5.0, -2.731_979_583_761_081),
            (0.5, 30.0, -1.055_901_769_006_622),
            (2.0, 999.0, -2.917_193_440_104_419_7),
            (2.0, 1001.0, -2.917_196_913_568_315_3),
            (1.0, 5000.0, -1.419_038_529_869_919_7),
            (0.0, f64::INFINITY, -0.918_938_533_204_672_7),
            (2.0, f64::INFINITY, -2.918_938_533_204_672_7),
        ] {
            let got = ln_density(t, dof);
            assert!((got - expected).abs() < 1e-9, "{t}, {dof}: {got}, not {expected}");
        }
    }

    #[test]
    fn the_factor_of_a_coverage_of_nearly_all_is_found_too() {
        // scipy.stats.t.isf(5e-7, 1) is 636619.8; the tails of ν = 1 end last.
        assert!((coverage_factor(1.0, 1.0 - 1e-6) / 636_619.772 - 1.0).abs() < 1e-6);
        assert!((coverage_factor(f64::INFINITY, 0.5) - 0.674_489_750_196_081_7).abs() < 1e-12);
    }

    proptest::proptest! {
        #[test]
        fn a_factor_covers_what_it_was_asked_to(dof in 1.0..5e3f64, coverage in 0.01..0.999f64) {
            let k = coverage_factor(dof, coverage);
            let covered = t_below(k, dof) - t_below(-k, dof);
            proptest::prop_assert!((covered - coverage).abs() < 1e-11, "{covered}");
        }

        #[test]
        fn fewer_degrees_of_freedom_and_more_coverage_widen_it(
            dof in 1.0..5e3f64, coverage in 0.01..0.99f64
        ) {
            let k = coverage_factor(dof, coverage);
            proptest::prop_assert!(coverage_factor(dof * 1.5, coverage) < k);
            proptest::prop_assert!(coverage_factor(dof, coverage + 0.005) > k);
            proptest::prop_assert!(coverage_factor(f64::INFINITY, coverage) < k);
        }
    }
}
