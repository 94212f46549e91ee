//! How strong and how wide a product is, by intercept points.
//!
//!   equal levels   L_n = n·P − (n−1)·IP_n                              dBm  (HANDBOOK I2, I6)
//!   any levels     L_n = Σ|c_i|·P_i − (n−1)·IP_n + M                   dBm
//!   terms          M = 20·log10((n! / Π|c_i|!) / (n! / (⌈n/2⌉!·⌊n/2⌋!)))   dB   (HANDBOOK I3)
//!   width          B_n = 2·(n·Δf + f_a)                                Hz
//!
//! P_i: level of carrier i where it mixes; c_i: its coefficient; n = Σ|c_i|: the order; IP_n: the
//! intercept point of order n at the same place, which two equal carriers define (for n = 3 by
//! 2A−B). M is how often the product's terms occur in the n-th power of the sum of all carriers,
//! against how often those of the two-carrier product do: 0 dB for 2A−B, 6.02 dB for A+B−C.
//!
//! Valid a good way (some 10 dB) below the intercept point and where the n-th power alone makes the
//! product; nearer, the levels are too high. Formulas: HANDBOOK I2, I6; M and B_n from memory,
//! unverified (B_n is Carson's rule, with the deviation of all terms added up: the widest case, as
//! when all speak at once; Δf peak deviation and f_a highest audio frequency of one carrier).

use crate::units::{Db, Dbm, OutOfRange, in_range};

/// Orders that are looked at: below 2 nothing mixes, and above 7 nothing was ever asked for.
pub const ORDERS: std::ops::RangeInclusive<usize> = 2..=7;

/// An order within [`ORDERS`].
pub(super) fn order(order: usize) -> Result<f64, OutOfRange> {
    let allowed = *ORDERS.start() as f64..=*ORDERS.end() as f64;
    in_range("product order", order as f64, allowed, "carriers")
}

/// 20·log10(n!) for n up to 7.
fn factorial_db(n: usize) -> f64 {
    20.0 * (1..=n).map(|k| (k as f64).log10()).sum::<f64>()
}

/// How much stronger a product of these magnitudes is than the two-carrier product of its order.
pub fn terms_db(magnitudes: impl Iterator<Item = usize>) -> f64 {
    let (mut order, mut own) = (0, 0.0);
    for magnitude in magnitudes {
        order += magnitude;
        own += factorial_db(magnitude);
    }
    factorial_db(order.div_ceil(2)) + factorial_db(order / 2) - own
}

/// The level of the product of these carriers, each given by its magnitude and its level.
pub fn product_dbm(terms: &[(usize, Dbm)], intercept: Dbm) -> f64 {
    let order: usize = terms.iter().map(|(magnitude, _)| magnitude).sum();
    let carriers: f64 = terms.iter().map(|(times, level)| *times as f64 * level.dbm()).sum();
    let magnitudes = terms.iter().map(|(magnitude, _)| *magnitude);
    carriers - (order as f64 - 1.0) * intercept.dbm() + terms_db(magnitudes)
}

/// The intercept point that two equal carriers and their product of this order show:
/// IP_n = P + (P − L_n)/(n−1).
pub fn intercept(carrier: Dbm, product: Dbm, of_order: usize) -> Result<Dbm, OutOfRange> {
    let order = order(of_order)?;
    Dbm::new(carrier.dbm() + (carrier - product).db() / (order - 1.0))
}

/// How far above a floor two equal carriers may be until their product stands on it:
/// (n−1)/n·(IP_n − floor).
pub fn free_range(intercept: Dbm, floor: Dbm, of_order: usize) -> Result<Db, OutOfRange> {
    let order = order(of_order)?;
    Db::new((order - 1.0) / order * (intercept - floor).db())
}

/// What the carriers are modulated with; not at all where the deviation is zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Modulation {
    /// Peak deviation of one carrier.
    pub peak_deviation_hz: u64,
    /// The highest frequency it is modulated with.
    pub audio_hz: u64,
}

impl Modulation {
    /// The width that a product of this order takes up.
    pub fn width_hz(self, order: usize) -> u64 {
        if self.peak_deviation_hz == 0 {
            return 0;
        }
        2 * (order as u64 * self.peak_deviation_hz + self.audio_hz)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dbm(value: f64) -> Dbm {
        Dbm::new(value).unwrap()
    }

    #[test]
    fn published_levels_by_intercept() {
        // HANDBOOK I2: P −30, IIP3 0 makes −90; P −40, IIP3 −5 makes −110; +40 meets itself at +40.
        for (level, third, product) in
            [(-30.0, 0.0, -90.0), (-40.0, -5.0, -110.0), (40.0, 40.0, 40.0)]
        {
            let found = product_dbm(&[(2, dbm(level)), (1, dbm(level))], dbm(third));
            assert!((found - product).abs() < 1e-9, "{level}: {found}");
            if level < third {
                let back = intercept(dbm(level), dbm(product), 3).unwrap();
                assert!((back.dbm() - third).abs() < 1e-9, "{back:?}");
            }
        }
        // HANDBOOK I6: n·P − (n−1)·IP_n, of the two carriers that define it.
        for (terms, order) in
            [([1, 1], 2.0), ([2, 1], 3.0), ([2, 2], 4.0), ([3, 2], 5.0), ([4, 3], 7.0)]
        {
            let found = product_dbm(&terms.map(|times| (times, dbm(-20.0))), dbm(10.0));
            let expected = order * -20.0 - (order - 1.0) * 10.0;
            assert!((found - expected).abs() < 1e-9, "{terms:?}: {found}");
        }
        // Carriers of unlike levels count as often as they occur.
        let found = product_dbm(&[(2, dbm(-20.0)), (1, dbm(-35.0))], dbm(10.0));
        assert!((found - (-40.0 - 35.0 - 20.0)).abs() < 1e-9, "{found}");
    }

    #[test]
    fn three_carriers_make_more_than_two() {
        // HANDBOOK I3: A+B−C is 6.02 dB over 2A−B. By hand: 5!/(2!·2!·1!) = 30 against 5!/(3!·2!) =
        // 10 is 9.54 dB; the second harmonic is half of A+B, −6.02 dB.
        for (terms, db) in [
            (&[1, 1, 1][..], 6.0206),
            (&[2, 1], 0.0),
            (&[2, 2, 1], 9.5424),
            (&[3, 2], 0.0),
            (&[4, 1], -6.0206),
            (&[2], -6.0206),
            (&[1, 1], 0.0),
        ] {
            let found = terms_db(terms.iter().copied());
            assert!((found - db).abs() < 1e-4, "{terms:?}: {found}");
        }
    }

    #[test]
    fn how_far_two_carriers_may_be_over_a_floor() {
        // HANDBOOK I2: two thirds of the way from the floor to the third intercept.
        for (order, expected) in [(2, 50.0), (3, 66.666_667), (5, 80.0)] {
            let found = free_range(dbm(0.0), dbm(-100.0), order).unwrap().db();
            assert!((found - expected).abs() < 1e-5, "{order}: {found}");
        }
        for order in [0, 1, 8] {
            assert!(free_range(dbm(0.0), dbm(-100.0), order).is_err(), "{order}");
            assert!(intercept(dbm(0.0), dbm(-10.0), order).is_err(), "{order}");
        }
    }

    #[test]
    fn a_product_is_as_wide_as_all_its_terms_together() {
        // By the formula above: 2·(3·2.5 kHz + 3 kHz) = 21 kHz; nothing where nothing is modulated.
        let voice = Modulation { peak_deviation_hz: 2_500, audio_hz: 3_000 };
        assert_eq!([2, 3, 5].map(|order| voice.width_hz(order)), [16_000, 21_000, 31_000]);
        assert_eq!(Modulation { peak_deviation_hz: 0, audio_hz: 3_000 }.width_hz(3), 0);
    }
}
