//! A seeded source of chance: SplitMix64 (Steele, Lea and Flood), the same on every machine.

/// A stream of numbers.
#[derive(Clone, Debug)]
pub struct Chance(u64);

impl Chance {
    /// The stream of a seed.
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next number.
    pub fn word(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// From 0 to `bound` − 1; 0 where that is nothing.
    pub fn below(&mut self, bound: usize) -> usize {
        (self.word() % bound.max(1) as u64) as usize
    }

    /// Puts a list into another order.
    pub fn shuffle<T>(&mut self, list: &mut [T]) {
        for last in (1..list.len()).rev() {
            list.swap(last, self.below(last + 1));
        }
    }
}
