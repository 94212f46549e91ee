//! How far a path's tuning moved between two sweeps of it: the pass, the notch, the loss.
//!
//! In: two sweeps of the same way. Out: hertz and dB, later less earlier. The pass is the best
//! point inside the sweep, the notch the worst; each frequency is that of a parabola through it
//! and its neighbours (1/|S|² at the pass, |S|² at the notch), so it moves by less than a point.
//! The notch's depth is that of the measured point, never one that was not measured. A broad pass
//! is flat: its best point wanders far for hundredths of a dB, and the loss at the repeater's own
//! frequency says more. Common practice, no source.

use super::{DuplexerRefused, Way};
use crate::units::{Db, Hertz};

/// A pass or a notch in a sweep.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// Where it is tuned.
    pub tuned: Hertz,
    /// What it costs there.
    pub loss: Db,
}

/// What a path is tuned to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tuning {
    /// Where it lets most through. None where that is at the sweep's end.
    pub pass: Option<Mark>,
    /// Where it lets least through. None where that is at the sweep's end.
    pub notch: Option<Mark>,
}

/// How a mark moved.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moved {
    /// Up is positive, in hertz.
    pub shift_hz: f64,
    /// More loss is positive.
    pub loss_change: Db,
}

impl Mark {
    /// From this mark to a later one.
    pub fn moved_to(&self, later: &Self) -> Moved {
        Moved {
            shift_hz: later.tuned.hertz() - self.tuned.hertz(),
            loss_change: later.loss - self.loss,
        }
    }
}

impl Tuning {
    /// Reads the tuning off a sweep; refused where neither pass nor notch lies inside it.
    pub fn of(way: Way<'_>) -> Result<Self, DuplexerRefused> {
        let squared = way.squared()?;
        let inverse: Vec<(f64, f64)> = squared.iter().map(|&(hertz, s)| (hertz, 1.0 / s)).collect();
        let pass = extreme(&inverse, "pass");
        let notch = extreme(&squared, "notch");
        if let (Err(refused), Err(_)) = (&pass, &notch) {
            return Err(refused.clone());
        }
        let mark = |hertz: f64, loss_db: f64| -> Result<Mark, DuplexerRefused> {
            Ok(Mark { tuned: Hertz::carrier(hertz)?, loss: Db::new(loss_db)? })
        };
        let pass = pass.ok().map(|found| mark(found.hertz, 10.0 * found.value.log10()));
        let notch =
            notch.ok().map(|found| mark(found.hertz, -10.0 * squared[found.index].1.log10()));
        Ok(Self { pass: pass.transpose()?, notch: notch.transpose()? })
    }
}

impl Way<'_> {
    /// |S|² at every frequency; nothing at all is refused, for it has no decibels.
    pub(super) fn squared(self) -> Result<Vec<(f64, f64)>, DuplexerRefused> {
        let Self { sweep, from, to } = self;
        let value = |(hertz, response): (f64, num_complex::Complex64)| {
            let squared = response.norm_sqr();
            match squared.is_normal() {
                true => Ok((hertz, squared)),
                false => Err(DuplexerRefused::NoSignal { to, from, hertz }),
            }
        };
        sweep.course(to, from)?.map(value).collect()
    }
}

/// The least value of a course, refined between its neighbours.
pub(super) struct Extreme {
    /// The least point.
    pub(super) index: usize,
    /// Where the parabola through it and its neighbours is least.
    pub(super) hertz: f64,
    /// The parabola's value there.
    pub(super) value: f64,
}

/// Finds the least value inside a course of (hertz, value); at an end it is refused.
pub(super) fn extreme(
    course: &[(f64, f64)],
    what: &'static str,
) -> Result<Extreme, DuplexerRefused> {
    let least = course.iter().enumerate().min_by(|(_, a), (_, b)| a.1.total_cmp(&b.1));
    let (index, &(hertz, value)) = least.expect("a sweep has at least one frequency");
    let (Some(&before), Some(&after)) =
        (index.checked_sub(1).and_then(|i| course.get(i)), course.get(index + 1))
    else {
        return Err(DuplexerRefused::AtEnd { what, hertz });
    };
    // Newton's form of the parabola: value(f) = y0 + d0·(f − f0) + c·(f − f0)·(f − f1).
    let slope_before = (value - before.1) / (hertz - before.0);
    let slope_after = (after.1 - value) / (after.0 - hertz);
    let bend = (slope_after - slope_before) / (after.0 - before.0);
    let measured = Extreme { index, hertz, value };
    if bend <= 0.0 || !bend.is_finite() {
        return Ok(measured);
    }
    let least_at = 0.5 * (before.0 + hertz - slope_before / bend);
    let least = before.1
        + slope_before * (least_at - before.0)
        + bend * (least_at - before.0) * (least_at - hertz);
    // A notch between two points may be steeper than its parabola: no value is less than nothing.
    Ok(Extreme { index, hertz: least_at, value: if least > 0.0 { least } else { value } })
}

#[cfg(test)]
mod tests {
    use num_complex::Complex64;

    use super::super::super::sweep::Sweep;
    use super::*;

    /// A pass at one frequency and a notch at another, each shaped as a single resonance is.
    fn path(pass_hz: f64, notch_hz: f64, pass_loss_db: f64) -> Sweep {
        let frequencies: Vec<f64> = (0..1001).map(|n| 150e6 + 12e3 * f64::from(n)).collect();
        let scale = 10f64.powf(-pass_loss_db / 20.0);
        let through = |f: f64| {
            let off = 700.0 * (f / pass_hz - pass_hz / f);
            let notch = 900.0 * (f / notch_hz - notch_hz / f);
            Complex64::new(scale, 0.0) / Complex64::new(1.0, off) * Complex64::new(0.002, notch)
                / Complex64::new(1.0, notch)
        };
        let values = frequencies.iter().flat_map(|&f| [through(f); 4]).collect();
        Sweep::new(frequencies, values, vec![50.0; 2]).unwrap()
    }

    fn tuning(sweep: &Sweep) -> Tuning {
        Tuning::of(Way::new(sweep, 1, 2).unwrap()).unwrap()
    }

    #[test]
    fn a_shift_smaller_than_a_point_is_seen() {
        let (before, after) =
            (path(158.6e6, 153.4e6, 1.0), path(158.6e6 + 5e3, 153.4e6 - 4e3, 1.2));
        let (before, after) = (tuning(&before), tuning(&after));
        let pass = before.pass.unwrap().moved_to(&after.pass.unwrap());
        assert!((pass.shift_hz - 5e3).abs() < 50.0, "{pass:?}");
        assert!((pass.loss_change.db() - 0.2).abs() < 0.001, "{pass:?}");
        let notch = before.notch.unwrap().moved_to(&after.notch.unwrap());
        assert!((notch.shift_hz - -4e3).abs() < 400.0, "{notch:?}");
        let back = after.pass.unwrap().moved_to(&before.pass.unwrap());
        assert!((back.shift_hz + pass.shift_hz).abs() < 1e-6);
    }

    #[test]
    fn a_mark_at_the_end_is_none_and_two_are_refused() {
        // Only falling: the best and the worst point are the ends.
        let frequencies: Vec<f64> = (0..11).map(|n| 150e6 + 1e6 * f64::from(n)).collect();
        let falling = (0..11).flat_map(|n| [Complex64::new(1.0 - 0.05 * f64::from(n), 0.0); 4]);
        let sweep = Sweep::new(frequencies, falling.collect(), vec![50.0; 2]).unwrap();
        let refused = Tuning::of(Way::new(&sweep, 1, 2).unwrap()).unwrap_err();
        assert!(matches!(refused, DuplexerRefused::AtEnd { what: "pass", .. }), "{refused}");
        let dead = Sweep::new(vec![1e6], vec![Complex64::ZERO; 4], vec![50.0; 2]).unwrap();
        let refused = Tuning::of(Way::new(&dead, 1, 2).unwrap()).unwrap_err();
        assert!(matches!(refused, DuplexerRefused::NoSignal { .. }), "{refused}");
    }

    #[test]
    fn a_parabolas_least_point_and_value_are_found_and_a_flat_course_keeps_its_own() {
        // y = 2 + (f − 4.3)², at 3, 4 and 5: least 2 at 4.3. Arithmetic.
        let course = [3.0, 4.0, 5.0].map(|f: f64| (f, 2.0 + (f - 4.3).powi(2)));
        let found = extreme(&course, "pass").unwrap();
        assert!((found.hertz - 4.3).abs() < 1e-12 && (found.value - 2.0).abs() < 1e-12);
        assert_eq!(found.index, 1);
        let flat = extreme(&[(3.0, 1.0), (4.0, 1.0), (5.0, 1.0)], "pass");
        assert!(flat.is_err(), "the first of equal points is the end");
        // On a straight line down and level there is no parabola that opens upwards but at its end.
        let level = extreme(&[(3.0, 2.0), (4.0, 1.0), (5.0, 1.0), (6.0, 3.0)], "pass").unwrap();
        // Newton's form by hand: slopes −1 and 0, bend ½, least at 4.5, 2 − 1.5 + 0.375 = 0.875.
        assert!((level.hertz - 4.5).abs() < 1e-12 && (level.value - 0.875).abs() < 1e-12);
        // A parabola that would go under nothing leaves the measured point its value.
        let steep = extreme(&[(3.0, 4.0), (4.0, 0.01), (5.0, 0.02), (6.0, 9.0)], "notch").unwrap();
        assert!((steep.value - 0.01).abs() < 1e-12, "{}", steep.value);
    }

    #[test]
    fn a_mark_says_what_it_costs_where_it_is() {
        // The notch stands on a swept point.
        let found = tuning(&path(158.6e6, 153.396e6, 1.0));
        let (pass, notch) = (found.pass.unwrap(), found.notch.unwrap());
        assert!((pass.tuned.hertz() - 158.6e6).abs() < 50.0 && (pass.loss.db() - 1.0).abs() < 0.01);
        // At the notch 20·log10(0.002) = 54 dB more than the pass filter costs 5.2 MHz off:
        // 1 + 10·log10(1 + (700·0.0667)²) = 34.4 dB (HANDBOOK Z7).
        assert!((notch.loss.db() - 88.4).abs() < 0.7, "{notch:?}");
    }
}
