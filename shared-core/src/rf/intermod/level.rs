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
