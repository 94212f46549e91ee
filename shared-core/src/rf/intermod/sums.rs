//! Sorted sums of up to three signed carriers, and how many of them lie below a value.
//!
//! In: carriers in whole units of their greatest common divisor, one at a time. Out: for each
//! number of terms the sums that they make, each once, sorted, with its terms. Knows no receiver,
//! no order of a product and no level.

/// One term takes seven bits: the carrier's place, and one bit for its sign.
const TERM_BITS: usize = 7;
/// Three terms.
const CODE_BITS: usize = 3 * TERM_BITS;
const CODE_MASK: i64 = (1 << CODE_BITS) - 1;
const TERM_MASK: i64 = (1 << TERM_BITS) - 1;

/// A sum of signed carriers with its terms, in one word that sorts by the sum.
///
/// The upper bits hold the sum (three carriers of 100 GHz take 40 of 43), the lower the terms.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Sum(i64);

impl Sum {
    pub(super) fn value(self) -> i64 {
        self.0 >> CODE_BITS
    }

    /// The term at a place: the carrier, twice, and one more where it is taken away.
    pub(super) fn term(self, place: usize) -> u8 {
        let term = (self.0 >> (TERM_BITS * place)) & TERM_MASK;
        u8::try_from(term).expect("seven bits fit into eight")
    }

    /// No sum of this value or more is less than this one.
    fn least_of(value: i64) -> Self {
        Self(value << CODE_BITS)
    }

    /// This sum of `has` terms with `count` more, all of them the same.
    fn with(self, value: i64, term: u8, has: usize, count: usize) -> Self {
        let place = |at: usize| i64::from(term) << (TERM_BITS * at);
        let code = (has..has + count).map(place).sum::<i64>();
        Self(((self.value() + value) << CODE_BITS) | (self.0 & CODE_MASK) | code)
    }
}

/// All sums of the carriers that were added and not taken out, by their number of terms.
pub(super) struct Sums {
    by_terms: Vec<Vec<Sum>>,
}

impl Sums {
    /// The empty sum alone; there will be sums of up to `terms` terms, at most three.
    pub(super) fn new(terms: usize) -> Self {
        let mut by_terms = vec![Vec::new(); terms + 1];
        by_terms[0].push(Sum(0));
        Self { by_terms }
    }

    pub(super) fn of(&self, terms: usize) -> &[Sum] {
        &self.by_terms[terms]
    }

    /// Adds a carrier: all sums with one, two or three times it, taken away or added.
    pub(super) fn add(&mut self, place: u8, carrier: i64) {
        // From the longest on, so that what a sum is made from does not hold this carrier yet.
        for terms in (1..self.by_terms.len()).rev() {
            let (shorter, longer) = self.by_terms.split_at_mut(terms);
            for (count, value) in (1..=terms).zip((1..).map(|count| carrier * count)) {
                let base = &shorter[terms - count];
                for (value, term) in [(value, 2 * place), (-value, 2 * place + 1)] {
                    let more = base.iter().map(|sum| sum.with(value, term, terms - count, count));
                    longer[0].extend(more);
                }
            }
            // Sorted runs behind each other: this sort finds them and merges them.
            longer[0].sort();
        }
    }

    /// Takes out the carrier that was added last.
    pub(super) fn take_last(&mut self, place: u8) {
        for (terms, sums) in self.by_terms.iter_mut().enumerate() {
            // The newest terms stand last.
            sums.retain(|sum| terms == 0 || sum.term(terms - 1) / 2 != place);
        }
    }
}

/// Says how many of a sorted list's sums lie below a value, in a few steps.
pub(super) struct Ladder<'a> {
    sums: &'a [Sum],
    least: i64,
    /// Values from the least up to one above the greatest.
    span: i64,
    shift: u32,
    /// How many sums lie below each rung; rungs are `1 << shift` apart.
    below: Vec<u32>,
}

/// Rungs a sum where every value gets its own, and no sums have to be looked at.
const RUNGS_PER_SUM_EXACT: i64 = 32;
/// Rungs a sum else: more would no longer stay in a processor's cache.
const RUNGS_PER_SUM: i64 = 8;

impl<'a> Ladder<'a> {
    /// A ladder to the sums; none where there are no sums.
    pub(super) fn new(sums: &'a [Sum]) -> Option<Self> {
        let least = sums.first()?.value();
        let span = sums.last()?.value() - least + 1;
        let count = i64::try_from(sums.len()).expect("the sums fit into memory");
        let mut shift = 0;
        if span > RUNGS_PER_SUM_EXACT * count {
            while span >> shift > RUNGS_PER_SUM * count {
                shift += 1;
            }
        }
        let rung = |value: i64| {
            usize::try_from((value - least) >> shift).expect("no value is less than the least")
        };
        // The end of the span may be a rung of its own.
        let mut below = vec![0; rung(least + span) + 2];
        for sum in sums {
            below[rung(sum.value()) + 1] += 1;
        }
        let mut count = 0;
        for rung in &mut below {
            count += *rung;
            *rung = count;
        }
        Some(Self { sums, least, span, shift, below })
    }

    pub(super) fn least(&self) -> i64 {
        self.least
    }

    pub(super) fn greatest(&self) -> i64 {
        self.least + self.span - 1
    }

    /// How many sums are less than `value`.
    #[inline]
    pub(super) fn below(&self, value: i64) -> usize {
        let from_least = (value - self.least).clamp(0, self.span);
        // Not below 0 and no longer than the ladder, by the clamp.
        let mut count = self.below[(from_least >> self.shift) as usize] as usize;
        if self.shift > 0 {
            let bound = Sum::least_of(self.least + from_least);
            // Two at a time: mostly the second is not less, and the first cannot be foretold.
            while let Some([first, second]) = self.sums.get(count..count + 2) {
                count += usize::from(*first < bound) + usize::from(*second < bound);
                if *second >= bound {
                    return count;
                }
            }
            count += usize::from(self.sums.get(count).is_some_and(|sum| *sum < bound));
        }
        count
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Small carriers, so that sums coincide, and large ones, so that a rung holds many.
    const CARRIERS: [i64; 6] = [3, 5, 6, 90_001, 90_007, 1_000_000_000];

    fn filled() -> Sums {
        let mut sums = Sums::new(3);
        for (place, carrier) in (0..).zip(CARRIERS) {
            sums.add(place, carrier);
        }
        sums
    }

    #[test]
    fn sums_are_sorted_each_once_and_worth_their_terms() {
        let sums = filled();
        // Signed sums of exactly n terms over 6 carriers: 12, 72 and 292 (counted by hand as
        // C(6,k)·C(n-1,k-1)·2^k over k).
        for (terms, count) in [(1, 12), (2, 72), (3, 292)] {
            let list = sums.of(terms);
            assert_eq!(list.len(), count);
            assert!(list.windows(2).all(|pair| pair[0] < pair[1]));
            for sum in list {
                let worth = (0..terms).map(|place| {
                    let term = sum.term(place);
                    CARRIERS[usize::from(term / 2)] * if term % 2 == 0 { 1 } else { -1 }
                });
                assert_eq!(worth.sum::<i64>(), sum.value());
            }
        }
    }

    #[test]
    fn the_last_carrier_comes_out_as_if_it_had_never_been_in() {
        let (mut sums, mut never) = (filled(), Sums::new(3));
        sums.take_last(5);
        for (place, carrier) in (0..5).zip(CARRIERS) {
            never.add(place, carrier);
        }
        assert!((0..=3).all(|terms| sums.of(terms) == never.of(terms)));
    }

    #[test]
    fn a_ladder_counts_as_one_would_by_hand() {
        let sums = filled();
        for terms in 0..=3 {
            let list = sums.of(terms);
            let ladder = Ladder::new(list).unwrap();
            let near = list.iter().flat_map(|sum| (-2..=2).map(|off| sum.value() + off));
            for value in near.chain([i64::from(i32::MIN) * 1000, i64::from(i32::MAX) * 1000]) {
                let by_hand = list.iter().filter(|sum| sum.value() < value).count();
                assert_eq!(ladder.below(value), by_hand, "{terms} terms below {value}");
            }
        }
        assert!(Ladder::new(&[]).is_none());
    }
}
