//! Whether a series stands, drifts or jumped once.
//!
//! Three shapes are fitted by least squares: a level, a straight line, and two levels with a step
//! between two readings, at least two readings on each side. They are compared by
//!
//!   score = n·ln(max(RSS/n, s²)) + p·ln n          (Schwarz's criterion; the lower the better)
//!
//! RSS: sum of squared residuals; n: readings; s: standard deviation of a repeat, which no fit may
//! claim to beat; p: what is fitted with the scatter: level 2, line 3, step 4. A line or a step
//! must be lower than the level by 2 to be said, and line and step 2 apart to be told from each
//! other; 2 is where the evidence is called positive (Kass and Raftery 1995, from memory,
//! unverified).
//! Below five readings nothing is said.

/// The fewest readings of which a shape is said.
pub const READINGS_MIN: usize = 5;
/// How much lower a score must be.
const APART: f64 = 2.0;

/// What the series does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// Too few readings to say.
    TooFew,
    /// It stands.
    Steady,
    /// It drifts.
    Drift,
    /// It jumped once.
    Jump(Step),
    /// It moved, and whether by a drift or by a jump cannot be told.
    DriftOrJump(Step),
}

/// The step that fits best.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// The place of the first reading behind it.
    pub before: usize,
    /// The mean behind it less the mean before it.
    pub size: f64,
}

/// How well each shape fits: the lower the better.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scores {
    /// A level.
    pub steady: f64,
    /// A straight line.
    pub drift: f64,
    /// Two levels.
    pub jump: f64,
}

/// Compares the three shapes; `repeat` is the standard deviation of a repeated reading. No scores
/// where there are too few readings or all were taken at one time.
pub fn shape(times: &[f64], values: &[f64], repeat: f64) -> (Shape, Option<Scores>) {
    let count = values.len();
    let (squares, cross, around) = sums(times, values);
    if count < READINGS_MIN || squares <= 0.0 {
        return (Shape::TooFew, None);
    }
    let (step, left) = best_step(values);
    let n = count as f64;
    let (low, high) = values
        .iter()
        .fold((f64::MAX, f64::MIN), |(low, high), value| (low.min(*value), high.max(*value)));
    // A perfect fit has no scatter to speak of: a billionth of the range stands for rounding.
    let floor = (repeat * repeat).max((1e-9 * (high - low)).powi(2)).max(f64::MIN_POSITIVE);
    let score = |rss: f64, fitted: f64| n * (rss / n).max(floor).ln() + fitted * n.ln();
    let scores = Scores {
        steady: score(around, 2.0),
        drift: score(around - cross * cross / squares, 3.0),
        jump: score(left, 4.0),
    };
    (said(&scores, step), Some(scores))
}

fn said(scores: &Scores, step: Step) -> Shape {
    if scores.drift.min(scores.jump) > scores.steady - APART {
        Shape::Steady
    } else if scores.drift <= scores.jump - APART {
        Shape::Drift
    } else if scores.jump <= scores.drift - APART {
        Shape::Jump(step)
    } else {
        Shape::DriftOrJump(step)
    }
}

/// Σ(t−t̄)², Σ(t−t̄)(v−v̄), Σ(v−v̄)².
fn sums(times: &[f64], values: &[f64]) -> (f64, f64, f64) {
    let (time, value) = (mean(times), mean(values));
    times.iter().zip(values).fold((0.0, 0.0, 0.0), |(squares, cross, around), (t, v)| {
        let (t, v) = (t - time, v - value);
        (squares + t * t, cross + t * v, around + v * v)
    })
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// The step with the least squares left, the earliest of equal ones, and what it leaves.
fn best_step(values: &[f64]) -> (Step, f64) {
    let left_by = |part: &[f64]| {
        let mean = mean(part);
        part.iter().map(|value| (value - mean).powi(2)).sum::<f64>()
    };
    let mut best = (Step { before: 0, size: 0.0 }, f64::INFINITY);
    for before in 2..values.len().saturating_sub(1) {
        let (first, second) = values.split_at(before);
        let left = left_by(first) + left_by(second);
        if left < best.1 {
            best = (Step { before, size: mean(second) - mean(first) }, left);
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    fn times(count: i32) -> Vec<f64> {
        (0..count).map(f64::from).collect()
    }

    #[test]
    fn a_jump_a_drift_and_neither_are_told_apart() {
        let repeat = 0.3;
        let wobble = [0.1, -0.2, 0.15, 0.0, -0.1, 0.2, -0.15, 0.05];
        let with = |shape: fn(usize) -> f64| -> Vec<f64> {
            wobble.iter().enumerate().map(|(at, off)| -120.0 + shape(at) + off).collect()
        };
        let judged = |values: &[f64]| shape(&times(8), values, repeat).0;
        assert_eq!(judged(&with(|_| 0.0)), Shape::Steady);
        assert_eq!(judged(&with(|at| 0.5 * at as f64)), Shape::Drift);
        let Shape::Jump(step) = judged(&with(|at| if at < 5 { 0.0 } else { 3.0 })) else {
            panic!("a jump was not seen");
        };
        assert_eq!(step.before, 5);
        // The wobble's own means before and behind are -0.01 and 0.033: 3.043 (by hand).
        assert!((step.size - 3.0433).abs() < 0.001, "{}", step.size);
    }

    #[test]
    fn a_move_that_is_as_much_one_as_the_other_is_not_decided() {
        // A step with so much slope on both sides that a line fits as well. Scores calculated with
        // numpy (polyfit, means): steady 6.26977, drift -7.75346, jump -7.66293.
        let values = [0.0, 0.4, 0.7, 2.5, 2.7, 3.2];
        let (said, scores) = shape(&times(6), &values, 0.1);
        assert!(matches!(said, Shape::DriftOrJump(Step { before: 3, .. })), "{said:?}");
        let Scores { steady, drift, jump } = scores.unwrap();
        for (got, numpy) in [(steady, 6.26977), (drift, -7.75346), (jump, -7.66293)] {
            assert!((got - numpy).abs() < 1e-5, "{got}, numpy {numpy}");
        }
    }

    #[test]
    fn the_scatter_of_a_repeat_is_no_shape() {
        let values = [0.0, 0.1, 0.2, 0.3, 0.4, 0.5];
        assert_eq!(shape(&times(6), &values, 0.0).0, Shape::Drift);
        assert_eq!(shape(&times(6), &values, 0.5).0, Shape::Steady);
        assert_eq!(shape(&times(6), &[7.0; 6], 0.0).0, Shape::Steady);
    }

    #[test]
    fn of_four_readings_or_of_one_moment_nothing_is_said() {
        assert_eq!(shape(&times(4), &[0.0, 0.0, 5.0, 5.0], 0.1), (Shape::TooFew, None));
        assert_eq!(shape(&[1.0; 6], &[0.0, 0.0, 5.0, 5.0, 5.0, 5.0], 0.1).0, Shape::TooFew);
    }
}
