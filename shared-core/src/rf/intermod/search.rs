//! Which products fall into which windows: met in the middle.
//!
//! A product of order n is a sum of n signed carriers. Write its terms down in the order of the
//! carriers: the carrier that the middle term belongs to is its pivot, at most n/2 terms stand left
//! of it and fewer than n/2 right of it, and the pivot's sign may be taken as plus, because a
//! product and its mirror are one. So each product is, in exactly one way,
//!
//!   left sum + k·pivot + right sum,   k ≥ 1
//!
//! For each pivot the sorted sums left and right of it are kept as the pivot moves on, and for each
//! value of the shorter list one look into the longer one tells how many complete it to a hit. With
//! 60 carriers and order 7 that is fewer than 10^6 sums a window instead of 3.6·10^10 products, and
//! the lists take a few megabytes. Values are in units of the carriers' greatest common divisor:
//! the coarser their raster, the fewer values, and the quicker the look.

use std::cell::OnceCell;
use std::ops::RangeInclusive;

use super::sums::{Ladder, Sum, Sums};

/// Sums that are a hit of a receiver: from `low` to `high`, both within.
#[derive(Clone, Copy, Debug)]
pub(super) struct Window {
    pub(super) receiver: usize,
    pub(super) low: i64,
    pub(super) high: i64,
}

/// A product that is a hit: its parts as the search met them.
pub(super) struct Met {
    /// The sum, not folded: a negative one is a product whose mirror is positive.
    pub(super) value: i64,
    left: (Sum, usize),
    pivot: (u8, usize),
    right: (Sum, usize),
}

/// The most terms a product has.
pub(super) const TERMS_MAX: usize = 7;

impl Met {
    /// The terms by carrier: the carrier's place, twice, and one more where it is taken away. What
    /// is not needed holds 255. A product whose sum is negative is shown as its mirror.
    pub(super) fn terms(&self) -> [u8; TERMS_MAX] {
        let mut terms = [u8::MAX; TERMS_MAX];
        // Left of the pivot the carriers came in one after the other, right of it from the end.
        let left = (0..self.left.1).map(|at| self.left.0.term(at));
        let pivot = std::iter::repeat_n(2 * self.pivot.0, self.pivot.1);
        let right = (0..self.right.1).rev().map(|at| self.right.0.term(at));
        let mirror = u8::from(self.value < 0);
        for (to, term) in terms.iter_mut().zip(left.chain(pivot).chain(right)) {
            *to = term ^ mirror;
        }
        terms
    }
}

/// Sums of so many terms on one side, with what is made of them once it is asked for.
struct Side<'a> {
    terms: usize,
    sums: &'a [Sum],
    ladder: OnceCell<Option<Ladder<'a>>>,
    /// Each value, and how many sums have it.
    values: OnceCell<Vec<(i64, u32)>>,
}

impl<'a> Side<'a> {
    fn of(sums: &'a Sums, terms_max: usize) -> Vec<Self> {
        let side = |terms| Self {
            terms,
            sums: sums.of(terms),
            ladder: OnceCell::new(),
            values: OnceCell::new(),
        };
        (0..=terms_max).map(side).collect()
    }

    fn ladder(&self) -> Option<&Ladder<'a>> {
        self.ladder.get_or_init(|| Ladder::new(self.sums)).as_ref()
    }

    fn values(&self) -> &[(i64, u32)] {
        self.values.get_or_init(|| {
            let mut values: Vec<(i64, u32)> = Vec::with_capacity(self.sums.len());
            for value in self.sums.iter().map(|sum| sum.value()) {
                match values.last_mut() {
                    Some((last, count)) if *last == value => *count += 1,
                    _ => values.push((value, 1)),
                }
            }
            values
        })
    }
}

/// The sums on both sides of a pivot that is taken so many times.
pub(super) struct Pair<'p, 's> {
    left: &'p Side<'s>,
    right: &'p Side<'s>,
    place: u8,
    times: usize,
    /// The pivot's frequency, as often as it is taken.
    pivot: i64,
}

/// Goes through the pairs that together make each product of these orders exactly once.
pub(super) fn each_pair(
    carriers: &[i64],
    orders: RangeInclusive<usize>,
    mut take: impl FnMut(usize, &Pair),
) {
    let right_of = |order: usize| order - order / 2 - 1;
    let (left_max, right_max) = (orders.end() / 2, right_of(*orders.end()));
    let (mut left, mut right) = (Sums::new(left_max), Sums::new(right_max));
    let places: Vec<(u8, i64)> = (0..).zip(carriers.iter().copied()).collect();
    for &(place, carrier) in places.iter().rev() {
        right.add(place, carrier);
    }
    for &(place, carrier) in &places {
        right.take_last(place);
        let (lefts, rights) = (Side::of(&left, left_max), Side::of(&right, right_max));
        for order in orders.clone() {
            for left in &lefts[..=order / 2] {
                for right in &rights[..=right_of(order)] {
                    let times = order - left.terms - right.terms;
                    let pivot = (1..=times).map(|_| carrier).sum();
                    take(order, &Pair { left, right, place, times, pivot });
                }
            }
        }
        drop((lefts, rights));
        left.add(place, carrier);
    }
}

impl<'p, 's> Pair<'p, 's> {
    fn left_is_short(&self) -> bool {
        self.left.sums.len() <= self.right.sums.len()
    }

    fn short_and_long(&self) -> (&'p Side<'s>, &'p Side<'s>) {
        if self.left_is_short() { (self.left, self.right) } else { (self.right, self.left) }
    }

    /// How many products of this pair a window holds.
    pub(super) fn count(&self, window: &Window) -> u64 {
        let (short, long) = self.short_and_long();
        let Some(long) = long.ladder() else { return 0 };
        let (low, high) = (window.low - self.pivot, window.high - self.pivot);
        // Only these can be completed by anything in the longer list.
        let short = short.values();
        let from = short.partition_point(|(value, _)| *value < low - long.greatest());
        let to = short.partition_point(|(value, _)| *value <= high - long.least());
        let mut count = 0;
        for &(value, times) in short.get(from..to).unwrap_or_default() {
            let completed = long.below(high - value + 1) - long.below(low - value);
            count += completed as u64 * u64::from(times);
        }
        count
    }

    /// Shows each product of this pair that a window holds.
    pub(super) fn show(&self, window: &Window, mut seen: impl FnMut(&Met)) {
        let (short, long) = self.short_and_long();
        let Some(ladder) = long.ladder() else { return };
        let (low, high) = (window.low - self.pivot, window.high - self.pivot);
        for sum in short.sums {
            let first = ladder.below(low - sum.value());
            let end = ladder.below(high - sum.value() + 1);
            for other in &long.sums[first..end] {
                let (left, right) =
                    if self.left_is_short() { (*sum, *other) } else { (*other, *sum) };
                seen(&Met {
                    value: left.value() + self.pivot + right.value(),
                    left: (left, self.left.terms),
                    pivot: (self.place, self.times),
                    right: (right, self.right.terms),
                });
            }
        }
    }
}
