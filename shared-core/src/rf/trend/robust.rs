//! A slope and its significance that one bad reading does not spoil.
//!
//! Theil-Sen: the slope is the median of the slopes between all pairs of readings taken at
//! different times. Its confidence interval is Sen's (1968, equation 2.6): the slopes of rank
//!
//!   (N ± z·σ)/2,   σ² = (n(n−1)(2n+5) − Σ t(t−1)(2t+5)) / 18
//!
//! N: pairs; n: readings; t: sizes of groups of equal times and of equal values; z: the normal
//! quantile. Kendall's τ-b and its two-sided p-value: exact up to 33 readings without ties, normal
//! with the variance corrected for ties else. Both as scipy.stats.theilslopes and kendalltau do it.

use std::cmp::Ordering;

use super::normal::{exceeded_with, upper_tail};

/// A robust line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slope {
    /// What the value gains per unit of time.
    pub slope: f64,
    /// The ends of its confidence interval; none where ties leave none.
    pub interval: Option<(f64, f64)>,
    /// The median time: every line of the interval passes here,
    pub middle_time: f64,
    /// at the median value.
    pub middle_value: f64,
}

impl Slope {
    /// The line's value at a time.
    pub fn at(&self, time: f64) -> f64 {
        self.middle_value + self.slope * (time - self.middle_time)
    }
}

/// The Theil-Sen line through the points; none where all times are equal.
pub fn theil_sen(times: &[f64], values: &[f64], confidence: f64) -> Option<Slope> {
    let points: Vec<(f64, f64)> = times.iter().copied().zip(values.iter().copied()).collect();
    let mut slopes = Vec::with_capacity(points.len() * points.len() / 2);
    for (at, (time, value)) in points.iter().enumerate() {
        let later = points[..at].iter().filter(|(other, _)| compare(*other, *time).is_ne());
        slopes.extend(later.map(|(before, first)| (value - first) / (time - before)));
    }
    if slopes.is_empty() {
        return None;
    }
    slopes.sort_by(f64::total_cmp);
    Some(Slope {
        slope: middle_of_sorted(&slopes),
        interval: interval(&slopes, times, values, confidence),
        middle_time: median(times),
        middle_value: median(values),
    })
}

fn interval(slopes: &[f64], times: &[f64], values: &[f64], confidence: f64) -> Option<(f64, f64)> {
    let term = |count: f64| count * (count - 1.0) * (2.0 * count + 5.0);
    let ties = |of: &[f64]| groups(of).into_iter().map(term).sum::<f64>();
    let variance = (term(times.len() as f64) - ties(times) - ties(values)) / 18.0;
    if variance < 0.0 {
        return None;
    }
    let pairs = slopes.len() as f64;
    let spread = exceeded_with((1.0 - confidence) / 2.0) * variance.sqrt();
    // Between 0 and the number of pairs after the clamp: a whole number that fits.
    let rank = |rank: f64| rank.round_ties_even().clamp(0.0, pairs - 1.0) as usize;
    let low = rank(((pairs - spread) / 2.0).round_ties_even() - 1.0);
    let high = rank((pairs + spread) / 2.0);
    Some((slopes[low], slopes[high]))
}

/// The middle value, or the mean of the two.
fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    middle_of_sorted(&sorted)
}

fn middle_of_sorted(sorted: &[f64]) -> f64 {
    let middle = sorted.len() / 2;
    if sorted.len().is_multiple_of(2) {
        f64::midpoint(sorted[middle - 1], sorted[middle])
    } else {
        sorted[middle]
    }
}

/// How many values each group of equal ones has.
fn groups(values: &[f64]) -> Vec<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.chunk_by(|a, b| compare(*a, *b).is_eq()).map(|group| group.len() as f64).collect()
}

/// Numbers that are finite; minus zero is zero.
fn compare(a: f64, b: f64) -> Ordering {
    a.partial_cmp(&b).expect("readings are finite")
}

/// Whether the values go with the times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kendall {
    /// τ-b, from −1 to 1.
    pub tau: f64,
    /// How likely as strong a relation is where there is none.
    pub p_value: f64,
}

/// Kendall's τ-b and its p-value; none where all times or all values are equal.
pub fn kendall(times: &[f64], values: &[f64]) -> Option<Kendall> {
    let count = times.len();
    let (mut concordant, mut discordant) = (0_u64, 0_u64);
    let (mut equal_times, mut equal_values) = (0_u64, 0_u64);
    for first in 0..count {
        for second in first + 1..count {
            let time = compare(times[first], times[second]);
            let value = compare(values[first], values[second]);
            equal_times += u64::from(time.is_eq());
            equal_values += u64::from(value.is_eq());
            if time.is_ne() && value.is_ne() {
                *(if time == value { &mut concordant } else { &mut discordant }) += 1;
            }
        }
    }
    let pairs = (count * count.saturating_sub(1) / 2) as u64;
    if equal_times == pairs || equal_values == pairs {
        return None;
    }
    let excess = concordant as f64 - discordant as f64;
    let scale = ((pairs - equal_times) as f64).sqrt() * ((pairs - equal_values) as f64).sqrt();
    let rarer = concordant.min(discordant);
    let no_ties = equal_times == 0 && equal_values == 0;
    let p_value = if no_ties && (count <= EXACT_MAX || rarer <= 1) {
        exact(count, usize::try_from(rarer).expect("pairs fit into memory"))
    } else {
        2.0 * upper_tail(excess.abs() / variance(times, values).sqrt())
    };
    Some(Kendall { tau: (excess / scale).clamp(-1.0, 1.0), p_value })
}

/// Up to so many readings without ties the p-value is counted out.
const EXACT_MAX: usize = 33;

/// The share of orders of `count` readings with at most `discordant` pairs turned round, twice.
fn exact(count: usize, discordant: usize) -> f64 {
    // Shares of the orders of so many readings by how many pairs are turned round: one more
    // reading can be put so that it turns round none to all of those before it.
    let mut shares = vec![0.0; discordant + 1];
    shares[0] = 1.0;
    for readings in 2..=count {
        let before = shares.clone();
        for (turned, share) in shares.iter_mut().enumerate() {
            let least = (turned + 1).saturating_sub(readings);
            *share = before[least..=turned].iter().sum::<f64>() / readings as f64;
        }
    }
    (2.0 * shares.iter().sum::<f64>()).min(1.0)
}

/// The variance of concordant less discordant pairs where there is no relation.
fn variance(times: &[f64], values: &[f64]) -> f64 {
    let n = times.len() as f64;
    let (times, values) = (groups(times), groups(values));
    let sum = |of: &[f64], term: fn(f64) -> f64| of.iter().map(|t| term(*t)).sum::<f64>();
    let pairs = |t: f64| t * (t - 1.0);
    let triples = |t: f64| t * (t - 1.0) * (t - 2.0);
    let weighted = |t: f64| t * (t - 1.0) * (2.0 * t + 5.0);
    let first = weighted(n) - sum(&times, weighted) - sum(&values, weighted);
    first / 18.0
        + sum(&times, pairs) * sum(&values, pairs) / (2.0 * pairs(n))
        + sum(&times, triples) * sum(&values, triples) / (9.0 * triples(n))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_bad_reading_does_not_move_the_slope() {
        let times: Vec<f64> = (0..9).map(f64::from).collect();
        let mut values: Vec<f64> = times.iter().map(|time| -120.0 + 0.25 * time).collect();
        values[4] = -90.0;
        let line = theil_sen(&times, &values, 0.95).unwrap();
        assert!((line.slope - 0.25).abs() < 1e-12, "{line:?}");
        assert!((line.at(8.0) - -118.0).abs() < 0.3, "{line:?}");
    }

    #[test]
    fn three_readings_in_a_row_prove_nothing() {
        // Of the 3! = 6 orders of three readings two are in a row: p = 1/3.
        let found = kendall(&[1.0, 2.0, 3.0], &[5.0, 6.0, 9.0]).unwrap();
        assert!((found.tau - 1.0).abs() < 1e-12 && (found.p_value - 1.0 / 3.0).abs() < 1e-12);
        let found = kendall(&[1.0, 2.0, 3.0], &[9.0, 6.0, 5.0]).unwrap();
        assert!((found.tau - -1.0).abs() < 1e-12 && (found.p_value - 1.0 / 3.0).abs() < 1e-12);
    }

    /// scipy.stats.kendalltau and theilslopes, 1.15.3.
    #[test]
    fn scipy_agrees_with_ties_and_without() {
        let forty: Vec<f64> = (0..40).map(f64::from).collect();
        let saw: Vec<f64> = (0..40).map(|i| f64::from(i * 7 % 13) + 0.1 * f64::from(i)).collect();
        let tied = [1.0, 2.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 7.0, 7.0];
        let tied_values = [1.0, 3.0, 2.0, 2.0, 5.0, 4.0, 4.0, 9.0, 8.0, 4.0];
        let twelve = [1.0, 1.0, 2.0, 3.0, 3.0, 3.0, 4.0, 4.0, 5.0, 6.0, 7.0, 8.0];
        let twelve_values = [2.0, 2.0, 2.0, 1.0, 5.0, 5.0, 6.0, 7.0, 7.0, 7.0, 9.0, 9.0];
        let seven: Vec<f64> = (1..=7).map(f64::from).collect();
        let swapped = [1.0, 3.0, 2.0, 5.0, 4.0, 7.0, 6.0];
        let cases: [(&[f64], &[f64], f64, f64); 4] = [
            (&tied, &tied_values, 0.707_317_073_170_731_7, 0.007_096_957_867_173_328),
            (&twelve, &twelve_values, 0.823_791_232_945_381, 0.000_501_733_172_348_092),
            (&forty, &saw, 0.307_692_307_692_307_76, 0.005_169_966_455_457_713),
            (&seven, &swapped, 0.714_285_714_285_714_3, 0.030_158_730_158_730_16),
        ];
        for (times, values, tau, p_value) in cases {
            let found = kendall(times, values).unwrap();
            assert!((found.tau - tau).abs() < 1e-12, "{found:?}, not {tau}");
            assert!((found.p_value / p_value - 1.0).abs() < 1e-9, "{found:?}, not {p_value}");
        }
        let slopes = theil_sen(&tied, &tied_values, 0.95).unwrap();
        assert!((slopes.slope - 1.0).abs() < 1e-12);
        let (low, high) = slopes.interval.unwrap();
        assert!((low - 0.25).abs() < 1e-12 && (high - 1.4).abs() < 1e-12, "{slopes:?}");
        let slopes = theil_sen(&twelve, &twelve_values, 0.9).unwrap();
        let (low, high) = slopes.interval.unwrap();
        assert!((low - 1.0).abs() < 1e-12 && (high - 1.5).abs() < 1e-12, "{slopes:?}");
    }

    #[test]
    fn what_does_not_vary_has_neither() {
        assert!(theil_sen(&[1.0, 1.0, 1.0], &[1.0, 2.0, 3.0], 0.95).is_none());
        assert!(kendall(&[1.0, 1.0, 1.0], &[1.0, 2.0, 3.0]).is_none());
        assert!(kendall(&[1.0, 2.0, 3.0], &[4.0, 4.0, 4.0]).is_none());
    }

    /// scipy.stats.theilslopes and kendalltau, 1.15.3, on many readings and with ties in both.
    #[test]
    fn scipy_agrees_on_the_interval_of_many_readings() {
        let whole = |of: fn(i32) -> i32, count| (0..count).map(move |i| f64::from(of(i)));
        let forty: Vec<f64> = whole(|i| i, 40).collect();
        let saw: Vec<f64> = (0..40).map(|i| f64::from(i * 7 % 13) + 0.1 * f64::from(i)).collect();
        let threes: Vec<f64> = whole(|i| i / 3, 45).collect();
        let tied: Vec<f64> = whole(|i| i * 5 % 11 / 2 + i / 9, 45).collect();
        for (times, values, confidence, slope, low, high) in [
            (&forty, &saw, 0.95, 1.0 / 6.0, 0.009_090_909_090_909_139, 0.290_476_190_476_190_44),
            (&forty, &saw, 0.9, 1.0 / 6.0, 0.058_333_333_333_333_31, 0.257_894_736_842_105_3),
            (&forty, &saw, 0.5, 1.0 / 6.0, 0.100_000_000_000_000_02, 0.193_749_999_999_999_98),
            (&threes, &tied, 0.95, 2.0 / 7.0, 0.2, 3.0 / 7.0),
            (&threes, &tied, 0.8, 2.0 / 7.0, 0.25, 0.375),
        ] {
            let found = theil_sen(times, values, confidence).unwrap();
            let (found_low, found_high) = found.interval.unwrap();
            assert!((found.slope - slope).abs() < 1e-12, "{confidence}: {found:?}");
            assert!((found_low - low).abs() < 1e-12, "{confidence}: {found:?}");
            assert!((found_high - high).abs() < 1e-12, "{confidence}: {found:?}");
        }
        let found = kendall(&threes, &tied).unwrap();
        assert!((found.tau - 0.467_111_944_452_493_77).abs() < 1e-12, "{found:?}");
        assert!((found.p_value / 2.483_023_144_508_58e-5 - 1.0).abs() < 1e-9, "{found:?}");
    }

    #[test]
    fn ties_that_leave_no_variance_leave_no_interval() {
        // By Sen's variance above: term(3) − term(2) − term(3) is negative, term(3) − term(3) is 0.
        let both = theil_sen(&[1.0, 1.0, 2.0], &[5.0, 5.0, 5.0], 0.95).unwrap();
        assert_eq!((both.slope, both.interval), (0.0, None));
        let level = theil_sen(&[1.0, 2.0, 3.0], &[5.0, 5.0, 5.0], 0.95).unwrap();
        assert_eq!(level.interval, Some((0.0, 0.0)));
    }

    #[test]
    fn as_many_turned_round_as_not_is_no_relation() {
        // Of 4 readings three pairs of six are turned round: tau 0, p 1.
        let found = kendall(&[1.0, 2.0, 3.0, 4.0], &[2.0, 4.0, 1.0, 3.0]).unwrap();
        assert!(found.tau.abs() < 1e-12 && (found.p_value - 1.0).abs() < 1e-12, "{found:?}");
    }
}
