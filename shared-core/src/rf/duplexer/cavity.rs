//! One resonator: its loss, its width, and what is off its tuning; from numbers or from a sweep.
//!
//! In: loaded and unloaded Q, frequencies in hertz, a sweep. Out: dB and hertz.
//!
//!   loss at resonance = −20·log10(1 − Q_L/Q_u)              dB; equal couplings in and out
//!   unloaded Q        = Q_L / (1 − 10^(−loss/20))           the same, turned round
//!   off tuning        = 10·log10(1 + [Q_L·(f/f0 − f0/f)]²)  dB more than at resonance; one pole
//!   half-power width  = f0 / Q_L                            Hz
//!
//! Formulas: HANDBOOK Z6 (from memory there, unverified, with a published check), Z7, Z8. In a
//! sweep the tuning is the lowest point of a parabola through 1/|S|² of the best point and its
//! neighbours, and the half-power points are where √(1/|S|² relative to it − 1) is 1, taken
//! linearly between points: for one pole the first is a parabola and the second a straight line.

use std::ops::RangeInclusive;

use super::drift::{Extreme, extreme};
use super::{DuplexerRefused, Way};
use crate::units::{Db, Hertz, OutOfRange, in_range};

/// Qs of resonators, from a lossy coil to a superconducting cavity.
pub const Q_RANGE: RangeInclusive<f64> = 0.5..=1e9;

/// The fewest points within the half-power width that measure it.
const POINTS_MIN: usize = 5;

/// A loaded resonator.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cavity {
    loaded_q: f64,
}

impl Cavity {
    /// Refuses what lies outside [`Q_RANGE`].
    pub fn new(loaded_q: f64) -> Result<Self, OutOfRange> {
        let loaded_q = in_range("loaded Q", loaded_q, Q_RANGE, "(ratio)")?;
        Ok(Self { loaded_q })
    }

    /// What it costs at resonance. The unloaded Q is more than the loaded one: coupling takes.
    pub fn loss(self, unloaded_q: f64) -> Result<Db, OutOfRange> {
        let above_loaded = self.loaded_q * (1.0 + 1e-9)..=*Q_RANGE.end();
        in_range("unloaded Q", unloaded_q, above_loaded, "(ratio)")?;
        Db::new(-20.0 * (1.0 - self.loaded_q / unloaded_q).log10())
    }

    /// The unloaded Q of a cavity that costs so much at resonance.
    pub fn unloaded_q(self, loss: Db) -> Result<f64, OutOfRange> {
        let loss_db = in_range("loss at resonance", loss.db(), 1e-6..=60.0, "dB")?;
        Ok(self.loaded_q / (1.0 - 10f64.powf(-loss_db / 20.0)))
    }

    /// How much more it costs at `at` than where it is tuned.
    pub fn off_tune(self, tuned: Hertz, at: Hertz) -> Db {
        let ratio = at.hertz() / tuned.hertz();
        let off = self.loaded_q * (ratio - 1.0 / ratio);
        Db::new(10.0 * (off * off).ln_1p() / std::f64::consts::LN_10)
            .expect("any Q and any two carriers stay under 400 dB")
    }

    /// The width between its half-power points, in hertz.
    pub fn half_power_width_hz(self, tuned: Hertz) -> f64 {
        tuned.hertz() / self.loaded_q
    }
}

/// A resonance found in a sweep.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Resonance {
    /// Where it is tuned.
    pub tuned: Hertz,
    /// What it costs there.
    pub loss: Db,
    /// The width between its half-power points, in hertz.
    pub half_power_width_hz: f64,
    /// Its loaded Q.
    pub loaded_q: f64,
    /// Its unloaded Q. None where it is found to cost nothing, which is the calibration's error.
    pub unloaded_q: Option<f64>,
}

/// Finds the pass of a resonator in a sweep of it.
pub fn resonance(way: Way<'_>) -> Result<Resonance, DuplexerRefused> {
    let points = way.squared()?;
    // 1/|S|²: a parabola about the resonance.
    let inverse: Vec<(f64, f64)> = points.iter().map(|&(hertz, s)| (hertz, 1.0 / s)).collect();
    let Extreme { index, hertz, value } = extreme(&inverse, "pass")?;
    let edge = |towards: &mut dyn Iterator<Item = usize>, end: usize| {
        half_power(&inverse, value, towards)
            .ok_or(DuplexerRefused::AtEnd { what: "half-power point", hertz: inverse[end].0 })
    };
    let (low, from) = edge(&mut (0..index).rev(), 0)?;
    let (high, to) = edge(&mut (index + 1..inverse.len()), inverse.len() - 1)?;
    let within = to - from - 1;
    if within < POINTS_MIN {
        return Err(DuplexerRefused::TooCoarse { points: within, expected: POINTS_MIN });
    }
    let tuned = Hertz::carrier(hertz)?;
    let loss = Db::new(10.0 * value.log10())?;
    let cavity = Cavity::new(hertz / (high - low))?;
    Ok(Resonance {
        tuned,
        loss,
        half_power_width_hz: high - low,
        loaded_q: cavity.loaded_q,
        unloaded_q: cavity.unloaded_q(loss).ok(),
    })
}

/// The first half-power point on the way out of a resonance, and the first point beyond it.
fn half_power(
    inverse: &[(f64, f64)],
    best: f64,
    towards: &mut dyn Iterator<Item = usize>,
) -> Option<(f64, usize)> {
    let off = |value: f64| (value / best - 1.0).max(0.0).sqrt();
    // From the point nearest the resonance outwards: the one inside is the one before.
    let mut inside: Option<(f64, f64)> = None;
    for index in towards {
        let (hertz, value) = inverse[index];
        if off(value) >= 1.0 {
            // Where already the first point is outside, there are too few: the width says so.
            let (near, near_off) = inside.unwrap_or((hertz, 0.0));
            let part = (1.0 - near_off) / (off(value) - near_off);
            let at = if part.is_finite() { near + (hertz - near) * part } else { near };
            return Some((at, index));
        }
        inside = Some((hertz, off(value)));
    }
    None
}

#[cfg(test)]
mod tests {
    use num_complex::Complex64;
    use proptest::prelude::*;

    use super::super::super::sweep::Sweep;
    use super::*;

    fn hertz(hertz: f64) -> Hertz {
        Hertz::carrier(hertz).unwrap()
    }

    /// A cavity of one pole as Z6 and Z7 have it, swept with so many points over so many widths.
    fn swept(tuned: f64, loaded_q: f64, unloaded_q: f64, points: usize, widths: f64) -> Sweep {
        let width = tuned / loaded_q * widths;
        let frequencies: Vec<f64> = (0..points)
            .map(|n| tuned - 0.47 * width + width * n as f64 / (points - 1) as f64)
            .collect();
        let through = |f: f64| {
            Complex64::new(1.0 - loaded_q / unloaded_q, 0.0)
                / Complex64::new(1.0, loaded_q * (f / tuned - tuned / f))
        };
        let values = frequencies.iter().flat_map(|&f| {
            let s = through(f);
            [Complex64::new(1.0, 0.0) - s, s, s, Complex64::new(1.0, 0.0) - s]
        });
        Sweep::new(frequencies.clone(), values.collect(), vec![50.0; 2]).unwrap()
    }

    #[test]
    fn published_losses_and_widths() {
        // HANDBOOK Z6: Q_L/Q_u to loss.
        for (ratio, loss_db) in [(0.1, 0.915), (0.125, 1.160), (0.1087, 1.0), (0.2057, 2.0)] {
            let cavity = Cavity::new(1000.0 * ratio).unwrap();
            let got = cavity.loss(1000.0).unwrap();
            assert!((got.db() - loss_db).abs() < 0.001, "{ratio}: {got:?}");
            assert!((cavity.unloaded_q(got).unwrap() - 1000.0).abs() < 1e-6);
        }
        // HANDBOOK Z8: FCC Element 4 pool, E5A11.
        let width = Cavity::new(150.0).unwrap().half_power_width_hz(hertz(7.1e6));
        assert!((width - 47_300.0).abs() < 50.0, "{width} Hz");
    }

    #[test]
    fn what_is_no_cavity_is_refused_by_name() {
        for q in [0.0, -3.0, f64::NAN, f64::INFINITY] {
            assert!(Cavity::new(q).is_err(), "{q}");
        }
        let cavity = Cavity::new(500.0).unwrap();
        let refused = cavity.loss(500.0).unwrap_err().to_string();
        assert!(
            refused.starts_with("unloaded Q of 500 (ratio) is outside 500.0000005"),
            "{refused}"
        );
        assert!(cavity.unloaded_q(Db::ZERO).is_err());
    }

    #[test]
    fn a_sweep_that_does_not_hold_the_resonance_is_refused() {
        let found = |sweep: &Sweep| resonance(Way::new(sweep, 1, 2).unwrap());
        let narrow = swept(155e6, 500.0, 5000.0, 201, 0.9);
        let refused = found(&narrow).unwrap_err().to_string();
        assert!(refused.starts_with("the half-power point lies at the end"), "{refused}");
        let coarse = swept(155e6, 500.0, 5000.0, 21, 20.0);
        assert!(matches!(found(&coarse), Err(DuplexerRefused::TooCoarse { .. })));
        let (below, values): (Vec<f64>, Vec<_>) = swept(155e6, 500.0, 5000.0, 201, 3.0)
            .frequencies_hz()
            .iter()
            .take(60)
            .map(|&f| (f, Complex64::new(f / 1e9, 0.0)))
            .unzip();
        let four = values.into_iter().flat_map(|s| [s; 4]).collect();
        let edge = Sweep::new(below, four, vec![50.0; 2]).unwrap();
        let refused = found(&edge).unwrap_err().to_string();
        assert!(refused.starts_with("the pass lies at the end of the sweep"), "{refused}");
    }

    proptest! {
        #[test]
        fn a_swept_cavity_gives_back_what_it_was_made_of(
            tuned in 30e6f64..900e6, loaded in 80f64..3000.0, more in 1.5f64..40.0,
            points in 101usize..800, widths in 2f64..8.0,
        ) {
            let sweep = swept(tuned, loaded, loaded * more, points, widths);
            let got = resonance(Way::new(&sweep, 1, 2).unwrap()).unwrap();
            prop_assert!((got.tuned.hertz() / tuned - 1.0).abs() < 1e-4 / loaded, "{got:?}");
            prop_assert!((got.loaded_q / loaded - 1.0).abs() < 1e-3, "{got:?}");
            let width = got.half_power_width_hz * loaded / tuned;
            prop_assert!((width - 1.0).abs() < 1e-3, "{got:?}");
            let unloaded = got.unloaded_q.unwrap();
            prop_assert!((unloaded / (loaded * more) - 1.0).abs() < 2e-3, "{got:?}");
        }

        #[test]
        fn off_tuning_costs_more_the_further(
            loaded in 1f64..1e5, tuned in 1e6f64..1e9,
            near in 1.0001f64..1.5, step in 1.001f64..1.5,
        ) {
            let cavity = Cavity::new(loaded).unwrap();
            let off = |ratio: f64| cavity.off_tune(hertz(tuned), hertz(tuned * ratio)).db();
            prop_assert!(off(near) < off(near * step));
            // The same ratio below as above costs the same.
            prop_assert!((off(near) - off(1.0 / near)).abs() < 1e-6);
        }
    }

    #[test]
    fn five_points_within_the_half_power_width_are_enough_and_four_are_not() {
        // So many points over so many half-power widths: n/widths of them lie within.
        let of = |points: usize| {
            let sweep = swept(155e6, 500.0, 5000.0, points, 6.0);
            resonance(Way::new(&sweep, 1, 2).unwrap()).map(|found| found.loaded_q)
        };
        let Err(DuplexerRefused::TooCoarse { points, expected }) = of(25) else { panic!("coarse") };
        assert_eq!((points, expected), (4, 5));
        let five = (26..60).map(of).find_map(Result::ok).unwrap();
        assert!((five / 500.0 - 1.0).abs() < 0.02, "{five}");
        let counts = (12..40).filter_map(|points| match of(points) {
            Err(DuplexerRefused::TooCoarse { points, .. }) => Some(points),
            _ => None,
        });
        assert!(counts.into_iter().all(|within| within < 5), "what is refused has fewer than five");
    }
}
