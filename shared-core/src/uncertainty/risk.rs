//! How often a decision rule is wrong: specific risk of one value, global risk of a whole process.
//!
//! In: a spread, limits, an uncertainty. Out: probabilities. Knows no reading.
//!
//!   specific   P(value outside | what was read) = 1 − probability of conformity   JCGM 106, 9.3
//!   PFA        ∫ outside: p(x)·P(read inside A | x) dx     false acceptance        JCGM 106, 9.5
//!   PFR        ∫ inside:  p(x)·P(read outside A | x) dx    false rejection
//!
//! p: the process, normal; A: the acceptance limits, the limits drawn in by the guard factor about
//! their middle; reading errors normal. Check values: HANDBOOK D1-D6. The section numbers of JCGM
//! 106 are from memory, unverified.

use std::ops::RangeInclusive;

use super::student::normal_below;
use crate::units::{OutOfRange, in_range};

/// How far out a normal process still counts, in its standard deviations: beyond lie 1e-18.
const REACH: f64 = 9.0;
/// Pieces of each smooth stretch, each integrated by [`GAUSS`].
const PIECES: u32 = 48;
/// Abscissae and weights of Gauss and Legendre's five points on −1 to 1.
const GAUSS: [(f64, f64); 5] = [
    (-0.906_179_845_938_664, 0.236_926_885_056_189_1),
    (-0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
    (0.0, 0.568_888_888_888_888_9),
    (0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
    (0.906_179_845_938_664, 0.236_926_885_056_189_1),
];

/// What spreads are taken for: more than nothing.
const SPREAD: RangeInclusive<f64> = 1e-12..=1e12;

/// A measured process between two limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Process {
    /// Where the process lies.
    pub mean: f64,
    /// How far it spreads, one standard deviation.
    pub deviation: f64,
    /// The standard uncertainty of one reading.
    pub standard: f64,
    /// The lower limit.
    pub low: f64,
    /// The upper limit.
    pub high: f64,
    /// The acceptance limits' half-width over the limits': 1 is simple acceptance.
    pub guard_factor: f64,
}

/// How often a rule is wrong about a process.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GlobalRisk {
    /// Outside, and accepted.
    pub false_acceptance: f64,
    /// Inside, and rejected.
    pub false_rejection: f64,
}

/// The share of a normal distribution outside its limits, and its capability.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpecificRisk {
    /// Below the lower limit.
    pub below: f64,
    /// Above the upper limit.
    pub above: f64,
    /// Cpk: the distance to the nearer limit over three standard deviations.
    pub cpk: f64,
}

/// The specific risk of a value with a standard uncertainty.
pub fn specific_risk(
    value: f64,
    standard: f64,
    low: f64,
    high: f64,
) -> Result<SpecificRisk, OutOfRange> {
    let standard = in_range("standard uncertainty", standard, SPREAD, "")?;
    let (low, high) = ordered(low, high)?;
    let value = in_range("value", value, -1e12..=1e12, "")?;
    Ok(SpecificRisk {
        below: normal_below((low - value) / standard),
        above: normal_below((value - high) / standard),
        cpk: (value - low).min(high - value) / (3.0 * standard),
    })
}

/// The global risk of a process, by numeric integration.
pub fn global_risk(process: &Process) -> Result<GlobalRisk, OutOfRange> {
    let deviation = in_range("process deviation", process.deviation, SPREAD, "")?;
    let standard = in_range("standard uncertainty", process.standard, SPREAD, "")?;
    let mean = in_range("process mean", process.mean, -1e12..=1e12, "")?;
    let guard_factor = in_range("guard factor", process.guard_factor, 0.0..=2.0, "")?;
    let (low, high) = ordered(process.low, process.high)?;
    let (middle, half) = (0.5 * (low + high), 0.5 * (high - low) * guard_factor);
    let (accept_low, accept_high) = (middle - half, middle + half);
    let (start, end) = (mean - REACH * deviation, mean + REACH * deviation);

    // Between these points the integrand is smooth on the scale of the piece.
    let mut cuts = vec![start, end, low, high];
    for edge in [accept_low, accept_high] {
        for reach in [-REACH, -2.0, 0.0, 2.0, REACH] {
            cuts.push(edge + reach * standard);
        }
    }
    cuts.retain(|cut| (start..=end).contains(cut));
    cuts.sort_by(f64::total_cmp);

    let accepted = |x: f64| {
        normal_below((accept_high - x) / standard) - normal_below((accept_low - x) / standard)
    };
    let rejected = |x: f64| {
        normal_below((x - accept_high) / standard) + normal_below((accept_low - x) / standard)
    };
    let density = |x: f64| {
        let z = (x - mean) / deviation;
        (-0.5 * z * z).exp() / (deviation * (2.0 * std::f64::consts::PI).sqrt())
    };
    let mut risk = GlobalRisk { false_acceptance: 0.0, false_rejection: 0.0 };
    for stretch in cuts.windows(2) {
        let (from, to) = (stretch[0], stretch[1]);
        let inside = (low..=high).contains(&(0.5 * (from + to)));
        if inside {
            risk.false_rejection += integral(from, to, |x| density(x) * rejected(x));
        } else {
            risk.false_acceptance += integral(from, to, |x| density(x) * accepted(x));
        }
    }
    Ok(risk)
}

fn ordered(low: f64, high: f64) -> Result<(f64, f64), OutOfRange> {
    let low = in_range("lower limit", low, -1e12..=1e12, "")?;
    Ok((low, in_range("upper limit", high, low..=1e12, "")?))
}

fn integral(from: f64, to: f64, of: impl Fn(f64) -> f64) -> f64 {
    let half = 0.5 * (to - from) / f64::from(PIECES);
    let mut sum = 0.0;
    for piece in 0..PIECES {
        let middle = from + half * (2.0 * f64::from(piece) + 1.0);
        sum += GAUSS.iter().map(|(at, weight)| weight * of(middle + at * half)).sum::<f64>();
    }
    sum * half
}

/// How a guard factor is got from the ratio of tolerance to uncertainty (TUR). HANDBOOK D6.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GuardBand {
    /// √(1 − 1/r²).
    RootSumSquare,
    /// 1 − 1/r: the whole expanded uncertainty is taken off.
    Uncertainty,
    /// 1.25 − 1/r, at most 1.
    RecommendedPractice10,
    /// 1 − M/r, M = 1.04 − exp(0.38·ln r − 0.54), at most 1: about 2 % false acceptance.
    ManagedRisk,
}

/// The guard factor at a tolerance-to-uncertainty ratio of 1 or more.
pub fn guard_factor(band: GuardBand, ratio: f64) -> Result<f64, OutOfRange> {
    let r = in_range("tolerance over uncertainty", ratio, 1.0..=1000.0, "")?;
    let factor = match band {
        GuardBand::RootSumSquare => (1.0 - 1.0 / (r * r)).sqrt(),
        GuardBand::Uncertainty => 1.0 - 1.0 / r,
        GuardBand::RecommendedPractice10 => 1.25 - 1.0 / r,
        GuardBand::ManagedRisk => 1.0 - (1.04 - (0.38 * r.ln() - 0.54).exp()) / r,
    };
    // A guard band never reaches outside the limits.
    Ok(factor.min(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn standard(limit: f64, standard: f64, guard_factor: f64) -> Process {
        Process { mean: 0.0, deviation: 1.0, standard, low: -limit, high: limit, guard_factor }
    }

    #[test]
    fn published_global_risks() {
        // HANDBOOK D1-D3, as calculated there; D2 gives 0.002445 for a quarter of the process.
        for (id, process, acceptance, rejection) in [
            ("D1", standard(2.0, 0.25, 1.0), 0.008_006, Some(0.014_851)),
            ("D2", standard(2.5, 0.25, 1.0), 0.002_445, None),
            ("D3", standard(2.0, 0.5, 0.91), 0.008_052, Some(0.066_106)),
        ] {
            let risk = global_risk(&process).unwrap();
            assert!((risk.false_acceptance - acceptance).abs() < 6e-7, "{id}: {risk:?}");
            if let Some(rejection) = rejection {
                assert!((risk.false_rejection - rejection).abs() < 6e-7, "{id}: {risk:?}");
            }
        }
    }

    #[test]
    fn published_specific_risks() {
        // HANDBOOK D4, D5.
        let centred = specific_risk(10.0, 0.4, 9.0, 11.0).unwrap();
        assert!((centred.cpk - 0.8333).abs() < 5e-5);
        assert!((centred.below - 0.00621).abs() < 5e-6 && (centred.above - 0.00621).abs() < 5e-6);
        let aside = specific_risk(10.5, 0.4, 9.0, 11.0).unwrap();
        assert!((aside.cpk - 0.41667).abs() < 5e-6);
        assert!((aside.below - 0.00009).abs() < 5e-6 && (aside.above - 0.10565).abs() < 5e-6);
    }

    #[test]
    fn published_guard_factors() {
        // HANDBOOK D6, r = 2.5.
        for (band, expected) in [
            (GuardBand::RootSumSquare, 0.9165),
            (GuardBand::Uncertainty, 0.600),
            (GuardBand::RecommendedPractice10, 0.850),
        ] {
            let got = guard_factor(band, 2.5).unwrap();
            assert!((got - expected).abs() < 5e-5, "{band:?}: {got}");
        }
        assert!((guard_factor(GuardBand::RecommendedPractice10, 8.0).unwrap() - 1.0).abs() < 1e-12);
        assert!(guard_factor(GuardBand::RootSumSquare, 0.5).is_err());
    }

    #[test]
    fn a_process_that_cannot_be_is_refused_by_name() {
        let refused = |process: Process| global_risk(&process).unwrap_err().quantity;
        assert_eq!(refused(standard(2.0, 0.0, 1.0)), "standard uncertainty");
        assert_eq!(refused(standard(-2.0, 0.5, 1.0)), "upper limit");
        assert_eq!(refused(standard(2.0, 0.5, f64::NAN)), "guard factor");
        assert!(specific_risk(f64::NAN, 0.4, 9.0, 11.0).is_err());
    }

    /// scipy.integrate.quad over scipy.stats.norm, 1.15.3: about the middle, off it, drawn in,
    /// let out, and a reading that is worse than the process.
    #[test]
    fn scipy_integrates_to_the_same() {
        for (mean, deviation, standard, low, high, guard_factor, accepted, rejected) in [
            (10.0, 0.4, 0.1, 9.0, 11.0, 1.0, 0.002_445_348_712_703_592, 0.005_319_389_091_350_322),
            (10.3, 0.7, 0.25, 9.0, 11.5, 0.8, 0.003_687_817_057_665_831, 0.108_299_968_167_742_8),
            (0.2, 2.0, 0.5, -1.0, 3.0, 1.1, 0.064_578_954_305_278_14, 0.030_911_555_423_797_49),
            (5.0, 0.3, 0.9, 4.0, 6.0, 1.0, 0.000_390_291_581_625_88, 0.291_372_716_059_020_7),
        ] {
            let process = Process { mean, deviation, standard, low, high, guard_factor };
            let found = global_risk(&process).unwrap();
            for (got, expected) in
                [(found.false_acceptance, accepted), (found.false_rejection, rejected)]
            {
                assert!((got - expected).abs() < 1e-10, "{process:?}: {got}, not {expected}");
            }
        }
    }

    #[test]
    fn the_unit_makes_no_difference() {
        let risk = |scale: f64| {
            let of = |value: f64| value * scale;
            global_risk(&Process {
                mean: of(10.3),
                deviation: of(0.7),
                standard: of(0.25),
                low: of(9.0),
                high: of(11.5),
                guard_factor: 0.8,
            })
            .unwrap()
        };
        let one = risk(1.0);
        for scale in [1e-6, 0.01, 50.0, 1e6] {
            let other = risk(scale);
            for (got, expected) in [
                (other.false_acceptance, one.false_acceptance),
                (other.false_rejection, one.false_rejection),
            ] {
                assert!((got / expected - 1.0).abs() < 1e-9, "{scale}: {got}, not {expected}");
            }
        }
    }

    #[test]
    fn a_value_is_as_near_to_the_lower_limit_as_to_the_upper() {
        // HANDBOOK D5, mirrored: 9.5 for 10.5 between 9 and 11.
        let aside = specific_risk(9.5, 0.4, 9.0, 11.0).unwrap();
        assert!((aside.cpk - 0.41667).abs() < 5e-6, "{aside:?}");
        assert!((aside.above - 0.00009).abs() < 5e-6 && (aside.below - 0.10565).abs() < 5e-6);
    }

    #[test]
    fn managed_risk_follows_its_formula_and_never_reaches_outside() {
        // HANDBOOK D6's formula in Python; beyond 1 it is held.
        for (ratio, expected) in
            [(1.0, 0.542_748_252), (2.5, 0.914_185_635), (4.0, 0.986_719_675), (10.0, 1.0)]
        {
            let got = guard_factor(GuardBand::ManagedRisk, ratio).unwrap();
            assert!((got - expected).abs() < 1e-9, "{ratio}: {got}");
        }
        for band in [GuardBand::RootSumSquare, GuardBand::Uncertainty] {
            assert!(guard_factor(band, 1.0).unwrap().abs() < 1e-12, "{band:?}");
        }
    }
}
