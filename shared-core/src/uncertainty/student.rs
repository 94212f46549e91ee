//! Coverage factors and probabilities of Student's t and of the normal distribution.
//!
//! In: degrees of freedom and probabilities. Out: factors and probabilities. Infinite degrees of
//! freedom are the normal distribution.
//!
//!   P(|T| ≤ t) = 1 − I_x(ν/2, 1/2),  x = ν/(ν + t²)       ν degrees of freedom, t in standard
//!                                                          uncertainties
//!   k: the t at which that is the wanted coverage          HANDBOOK G6; GUM G.3, table G.2

use super::special::{erfc, incomplete_beta};

/// The coverage at which k = 2 for a normal distribution.
pub const TWO_SIGMA: f64 = 0.954_499_736_103_641_6;

/// From here on t is the normal distribution: their k differ by less than 1e-5.
const NORMAL_FROM: f64 = 1e6;

/// The probability that a standard normal value is at most `z`.
pub fn normal_below(z: f64) -> f64 {
    0.5 * erfc(-z / 2f64.sqrt())
}

/// The probability that Student's t with `dof` degrees of freedom is at most `t`.
pub fn t_below(t: f64, dof: f64) -> f64 {
    if dof >= NORMAL_FROM {
        return normal_below(t);
    }
    let beyond = 0.5 * outside(t.abs(), dof);
    if t > 0.0 { 1.0 - beyond } else { beyond }
}

/// P(|T| > t).
fn outside(t: f64, dof: f64) -> f64 {
    if dof >= NORMAL_FROM {
        return erfc(t / 2f64.sqrt());
    }
    let whole = dof + t * t;
    incomplete_beta(dof / 2.0, 0.5, dof / whole, t * t / whole)
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
    let (mut low, mut high) = (0.0, 2.0);
    while outside(high, dof) > left {
        (low, high) = (high, 2.0 * high);
    }
    // Halving ends when the two are neighbours: some sixty steps, the same on every machine.
    loop {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            return middle;
        }
        if outside(middle, dof) > left {
            low = middle;
        } else {
            high = middle;
        }
    }
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
