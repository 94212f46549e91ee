//! How a path's tuning moved between two sweeps. Formulas: [`crate::rf::duplexer::drift`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use super::sweep::file;
use crate::rf::duplexer::Way;
use crate::rf::duplexer::drift::{Mark, Tuning};
use crate::units::Hertz;

/// Two sweeps of the same two-port, in at port 1, out at port 2.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct DriftQuestion {
    /// The earlier Touchstone file's text.
    pub before_touchstone: String,
    /// The later one's.
    pub after_touchstone: String,
    /// Where the loss is compared besides, in hertz: the repeater's frequencies. 100 at most.
    #[serde(default)]
    pub frequencies_hz: Vec<f64>,
}

/// What moved, later less earlier.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct DriftAnswer {
    /// Where most goes through. None where that is at a sweep's end.
    pub pass: Option<DriftMark>,
    /// Where least goes through. None where that is at a sweep's end.
    pub notch: Option<DriftMark>,
    /// The loss at the frequencies asked.
    pub at: Vec<DriftLoss>,
}

/// A pass or a notch in both sweeps.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct DriftMark {
    /// Where it was, in hertz.
    pub before_hz: f64,
    /// Where it is, in hertz.
    pub after_hz: f64,
    /// How far it moved up, in hertz.
    pub shift_hz: f64,
    /// What it cost there, in dB.
    pub before_loss_db: f64,
    /// What it costs there, in dB.
    pub after_loss_db: f64,
    /// How much more, in dB.
    pub loss_change_db: f64,
}

/// The loss at one frequency in both sweeps.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct DriftLoss {
    /// In hertz.
    pub frequency_hz: f64,
    /// What it cost, in dB.
    pub before_loss_db: f64,
    /// What it costs, in dB.
    pub after_loss_db: f64,
    /// How much more, in dB.
    pub loss_change_db: f64,
}

/// The most frequencies of one question.
const FREQUENCIES_MAX: usize = 100;

impl DriftQuestion {
    pub(super) fn answer(&self) -> Result<DriftAnswer, BenchRefused> {
        if self.frequencies_hz.len() > FREQUENCIES_MAX {
            return Err(BenchRefused::Given { expected: "at most 100 frequencies" });
        }
        let before = file(&self.before_touchstone, Some(2))?.connectors()?;
        let after = file(&self.after_touchstone, Some(2))?.connectors()?;
        let (before, after) = (Way::new(&before, 1, 2)?, Way::new(&after, 1, 2)?);
        let (was, is) = (Tuning::of(before)?, Tuning::of(after)?);
        let losses = self.frequencies_hz.iter().map(|&hertz| loss(before, after, hertz));
        Ok(DriftAnswer {
            pass: was.pass.zip(is.pass).map(|(was, is)| mark(&was, &is)),
            notch: was.notch.zip(is.notch).map(|(was, is)| mark(&was, &is)),
            at: losses.collect::<Result<_, BenchRefused>>()?,
        })
    }
}

fn mark(was: &Mark, is: &Mark) -> DriftMark {
    let moved = was.moved_to(is);
    DriftMark {
        before_hz: was.tuned.hertz(),
        after_hz: is.tuned.hertz(),
        shift_hz: moved.shift_hz,
        before_loss_db: was.loss.db(),
        after_loss_db: is.loss.db(),
        loss_change_db: moved.loss_change.db(),
    }
}

fn loss(before: Way<'_>, after: Way<'_>, frequency_hz: f64) -> Result<DriftLoss, BenchRefused> {
    let frequency = Hertz::carrier(frequency_hz)?;
    let (was, is) = (before.loss(frequency)?, after.loss(frequency)?);
    Ok(DriftLoss {
        frequency_hz,
        before_loss_db: was.db(),
        after_loss_db: is.db(),
        loss_change_db: (is - was).db(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A pass in dB of loss, point by point from 150 MHz on, a megahertz apart.
    fn swept(losses_db: &[f64]) -> String {
        let line =
            |(n, loss): (usize, &f64)| format!("{} -20 0 {} 0 {} 0 -20 0\n", 150 + n, -loss, -loss);
        let lines: String = losses_db.iter().enumerate().map(line).collect();
        format!("# MHz S DB R 50\n{lines}")
    }

    #[test]
    fn a_pass_that_moved_up_by_a_point() {
        let asked = DriftQuestion {
            before_touchstone: swept(&[3.0, 1.0, 3.0, 9.0]),
            after_touchstone: swept(&[9.0, 3.0, 1.5, 3.0]),
            frequencies_hz: vec![151e6],
        };
        let found = asked.answer().unwrap();
        let pass = found.pass.unwrap();
        assert!((pass.shift_hz - 1e6).abs() < 30e3, "{pass:?}");
        assert!((pass.loss_change_db - 0.5).abs() < 0.03, "{pass:?}");
        assert!(found.notch.is_none(), "the worst points are the ends");
        assert!((found.at[0].loss_change_db - 2.0).abs() < 1e-9);
    }

    #[test]
    fn a_file_that_is_none_is_refused_with_its_line() {
        let asked = DriftQuestion {
            before_touchstone: swept(&[3.0, 1.0, 3.0]),
            after_touchstone: "# MHz S DB R 50\n150 x\n".to_owned(),
            frequencies_hz: Vec::new(),
        };
        let refused = asked.answer().unwrap_err().to_string();
        assert_eq!(refused, "line 2: expected a number, found \"x\"");
    }
}
