//! A seeded source of chance: the same seed gives the same numbers on every machine.
//!
//! splitmix64 (a public-domain generator of 64-bit words), and what the simulation draws from it.

/// A stream of chance.
pub(crate) struct Chance(u64);

impl Chance {
    /// The stream of a seed.
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x5DEE_CE66_D1CE_4E5B)
    }

    fn word(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// From 0 up to 1.
    pub(crate) fn share(&mut self) -> f64 {
        (self.word() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Evenly from `low` up to `high`.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    /// Normal, by the method of Box and Muller.
    pub(crate) fn normal(&mut self, mean: f64, standard: f64) -> f64 {
        let radius = (-2.0 * (1.0 - self.share()).ln()).sqrt();
        mean + standard * radius * (std::f64::consts::TAU * self.share()).cos()
    }

    /// Whether something of this chance happens.
    pub(crate) fn happens(&mut self, chance: f64) -> bool {
        self.share() < chance
    }

    /// One of them.
    pub(crate) fn pick<'a, T>(&mut self, from: &'a [T]) -> &'a T {
        &from[(self.share() * from.len() as f64) as usize]
    }
}

#[test]
fn the_draws_have_the_moments_they_claim() {
    let mut chance = Chance::new(7);
    let count = 200_000;
    let moments = |mut draw: Box<dyn FnMut() -> f64>| {
        let (mut sum, mut squares) = (0.0, 0.0);
        for _ in 0..count {
            let value = draw();
            sum += value;
            squares += value * value;
        }
        let mean = sum / f64::from(count);
        (mean, (squares / f64::from(count) - mean * mean).sqrt())
    };
    let (mean, standard) = moments(Box::new(move || chance.normal(3.0, 2.0)));
    assert!((mean - 3.0).abs() < 0.02 && (standard - 2.0).abs() < 0.02, "{mean} {standard}");
    let mut chance = Chance::new(8);
    let (mean, standard) = moments(Box::new(move || chance.between(-1.0, 1.0)));
    assert!(mean.abs() < 0.01 && (standard - 1.0 / 3f64.sqrt()).abs() < 0.01, "{mean} {standard}");
}
