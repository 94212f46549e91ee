//! A resonator from its Qs, or from a sweep of it. Formulas: [`crate::rf::duplexer::cavity`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use super::sweep::file;
use crate::rf::duplexer::Way;
use crate::rf::duplexer::cavity::{Cavity, Resonance, resonance};
use crate::units::{Db, Hertz};

/// A sweep of a cavity, or where it is tuned with its loaded Q and its loss or unloaded Q.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct CavityQuestion {
    /// A Touchstone file's text: a two-port, in at port 1, out at port 2. Then no numbers.
    pub touchstone: Option<String>,
    /// Where it is tuned, in hertz.
    pub tuned_hz: Option<f64>,
    /// Its loaded Q.
    pub loaded_q: Option<f64>,
    /// Its unloaded Q; or the loss.
    pub unloaded_q: Option<f64>,
    /// Its loss where it is tuned, in dB; or the unloaded Q.
    pub loss_db: Option<f64>,
    /// Where else its loss is asked, in hertz.
    pub at_hz: Option<f64>,
}

/// What the cavity does.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct CavityAnswer {
    /// Where it is tuned, in hertz.
    pub tuned_hz: f64,
    /// What it costs there, in dB.
    pub loss_db: f64,
    /// The width between its half-power points, in hertz.
    pub half_power_width_hz: f64,
    /// Its loaded Q.
    pub loaded_q: f64,
    /// Its unloaded Q. None where the sweep shows no loss.
    pub unloaded_q: Option<f64>,
    /// What it costs where else it was asked, in dB.
    pub loss_at_db: Option<f64>,
}

impl CavityQuestion {
    pub(super) fn answer(&self) -> Result<CavityAnswer, BenchRefused> {
        let Resonance { tuned, loss, half_power_width_hz, loaded_q, unloaded_q } = self.found()?;
        let cavity = Cavity::new(loaded_q)?;
        let at = self.at_hz.map(Hertz::carrier).transpose()?;
        let loss_at = at.map(|at| loss + cavity.off_tune(tuned, at));
        Ok(CavityAnswer {
            tuned_hz: tuned.hertz(),
            loss_db: loss.db(),
            half_power_width_hz,
            loaded_q,
            unloaded_q,
            loss_at_db: loss_at.map(Db::db),
        })
    }

    fn found(&self) -> Result<Resonance, BenchRefused> {
        let expected = "either `touchstone`, or `tuned_hz`, `loaded_q` and one of `unloaded_q` \
                        and `loss_db`";
        let refused = BenchRefused::Given { expected };
        let numbers = (self.tuned_hz, self.loaded_q, self.unloaded_q, self.loss_db);
        let (tuned, loaded_q, unloaded_q, loss) = match (&self.touchstone, numbers) {
            (Some(text), (None, None, None, None)) => {
                let sweep = file(text, Some(2))?.connectors()?;
                return Ok(resonance(Way::new(&sweep, 1, 2)?)?);
            }
            (None, (Some(tuned), Some(loaded), Some(unloaded), None)) => {
                (tuned, loaded, unloaded, Cavity::new(loaded)?.loss(unloaded)?)
            }
            (None, (Some(tuned), Some(loaded), None, Some(loss_db))) => {
                let loss = Db::new(loss_db)?;
                (tuned, loaded, Cavity::new(loaded)?.unloaded_q(loss)?, loss)
            }
            _ => return Err(refused),
        };
        let tuned = Hertz::carrier(tuned)?;
        let half_power_width_hz = Cavity::new(loaded_q)?.half_power_width_hz(tuned);
        Ok(Resonance { tuned, loss, half_power_width_hz, loaded_q, unloaded_q: Some(unloaded_q) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cavity_from_its_qs() {
        let asked = CavityQuestion {
            tuned_hz: Some(155e6),
            loaded_q: Some(500.0),
            loss_db: Some(0.5),
            at_hz: Some(155.6e6),
            ..CavityQuestion::default()
        };
        let found = asked.answer().unwrap();
        // HANDBOOK Z6: 0.5 dB is Q_L/Q_u 0.0559; Z7: Q_L 500 at 155 MHz, +0.6 MHz costs 12.02 dB.
        assert!((500.0 / found.unloaded_q.unwrap() - 0.0559).abs() < 0.0001);
        assert!((found.loss_at_db.unwrap() - 12.52).abs() < 0.01);
    }

    #[test]
    fn too_little_and_too_much_are_refused() {
        let half = CavityQuestion { tuned_hz: Some(155e6), ..CavityQuestion::default() };
        let both = CavityQuestion { touchstone: Some(String::new()), ..half.clone() };
        for asked in [half, both, CavityQuestion::default()] {
            let refused = asked.answer().unwrap_err().to_string();
            assert!(refused.starts_with("expected either `touchstone`, or"), "{refused}");
        }
    }
}
