//! One port's mismatch in every measure, and the error of two that face each other. Formulas:
//! [`crate::rf::mismatch`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use crate::rf::mismatch::{Reflection, mismatch_error};
use crate::units::{Db, Loss, Watts};

/// How a port's reflection is known: exactly one of these.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "snake_case")]
pub enum ReflectionKnown {
    /// As a VSWR, 1 or more.
    Vswr(f64),
    /// As the reflection coefficient's magnitude, 0 to 1.
    Reflection(f64),
    /// As a return loss, which is positive.
    ReturnLossDb(f64),
    /// As the share of the power that comes back.
    ReflectedPercent(f64),
    /// As the loss that the mismatch makes.
    MismatchLossDb(f64),
    /// As forward and reflected power.
    Powers(PowersKnown),
}

/// Forward and reflected power at one port.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct PowersKnown {
    /// What goes to the port.
    pub forward_w: f64,
    /// What comes back; 0 where the meter shows none.
    pub reflected_w: f64,
}

/// A port's reflection in one measure.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct MismatchQuestion {
    /// The measure it is known in.
    pub known: ReflectionKnown,
}

/// The same reflection in all measures.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct MismatchAnswer {
    /// The reflection coefficient's magnitude.
    pub reflection: f64,
    /// None where all comes back: no bound.
    pub vswr: Option<f64>,
    /// None where nothing measurable comes back: no bound.
    pub return_loss_db: Option<f64>,
    /// The share of the power that comes back.
    pub reflected_percent: f64,
    /// What the mismatch costs. None where all comes back.
    pub mismatch_loss_db: Option<f64>,
    /// What is absorbed, where the question gave powers.
    pub absorbed_w: Option<f64>,
}

/// Two ports that face each other.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct MismatchErrorQuestion {
    /// The port the signal comes from.
    pub source: ReflectionKnown,
    /// The port it goes to.
    pub load: ReflectionKnown,
    /// The loss of what lies between them, passed there and back; 0 where they meet.
    pub between_db: f64,
}

/// How far a level may be off.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct MismatchErrorAnswer {
    /// The most it may read too much.
    pub most_db: f64,
    /// The most it may read too little, negative. None where nothing may be left.
    pub least_db: Option<f64>,
    /// The standard uncertainty, U-shaped.
    pub standard_db: f64,
}

impl ReflectionKnown {
    pub(super) fn reflection(self) -> Result<Reflection, BenchRefused> {
        Ok(match self {
            Self::Vswr(vswr) => Reflection::from_vswr(vswr)?,
            Self::Reflection(magnitude) => Reflection::from_magnitude(magnitude)?,
            Self::ReturnLossDb(db) => Reflection::from_return_loss(Loss::named("return loss", db)?),
            Self::ReflectedPercent(percent) => Reflection::from_reflected_percent(percent)?,
            Self::MismatchLossDb(db) => {
                Reflection::from_mismatch_loss(Loss::named("mismatch loss", db)?)
            }
            Self::Powers(powers) => {
                Reflection::from_powers(Watts::new(powers.forward_w)?, powers.reflected_w)?
            }
        })
    }
}

impl MismatchQuestion {
    pub(super) fn answer(&self) -> Result<MismatchAnswer, BenchRefused> {
        let port = self.known.reflection()?;
        let absorbed_w = match self.known {
            ReflectionKnown::Powers(powers) => Some(powers.forward_w - powers.reflected_w),
            _ => None,
        };
        Ok(MismatchAnswer {
            reflection: port.magnitude(),
            vswr: port.vswr(),
            return_loss_db: port.return_loss().map(Loss::db),
            reflected_percent: 100.0 * port.reflected_share(),
            mismatch_loss_db: port.mismatch_loss().map(Loss::db),
            absorbed_w,
        })
    }
}

impl MismatchErrorQuestion {
    pub(super) fn answer(&self) -> Result<MismatchErrorAnswer, BenchRefused> {
        let between = Loss::named("loss between the ports", self.between_db)?;
        let error = mismatch_error(self.source.reflection()?, self.load.reflection()?, between);
        Ok(MismatchErrorAnswer {
            most_db: error.most.db(),
            least_db: error.least.map(Db::db),
            standard_db: error.standard_db,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_of_the_power_back_is_three_to_one() {
        // HANDBOOK E6: 100 W forward, 25 W reflected: 75 W absorbed, VSWR 3, 6.02 dB.
        let asked: MismatchQuestion =
            serde_json::from_str(r#"{"known": {"powers": {"forward_w": 100, "reflected_w": 25}}}"#)
                .unwrap();
        let found = asked.answer().unwrap();
        assert!((found.absorbed_w.unwrap() - 75.0).abs() < 1e-9);
        assert!((found.vswr.unwrap() - 3.0).abs() < 1e-9);
        assert!((found.return_loss_db.unwrap() - 6.02).abs() < 0.005);
        assert!((found.reflected_percent - 25.0).abs() < 1e-9);
    }

    #[test]
    fn a_negative_return_loss_is_refused_by_name() {
        let asked = MismatchQuestion { known: ReflectionKnown::ReturnLossDb(-14.0) };
        let refused = asked.answer().unwrap_err().to_string();
        assert_eq!(refused, "return loss of -14 dB is outside 0 to 200 dB");
    }

    #[test]
    fn two_ports_are_asked_for_by_their_own_measures() {
        // HANDBOOK 4.2, row 0.2 and 0.2: |Γ| 0.2 is a VSWR of 1.5 (HANDBOOK 5.3).
        let asked = MismatchErrorQuestion {
            source: ReflectionKnown::Vswr(1.5),
            load: ReflectionKnown::Reflection(0.2),
            between_db: 0.0,
        };
        let found = asked.answer().unwrap();
        assert!((found.most_db - 0.3407).abs() < 0.0001);
        assert!((found.least_db.unwrap() - -0.3546).abs() < 0.0001);
        assert!((found.standard_db - 0.2460).abs() < 0.0001);
        let asked = MismatchErrorQuestion { between_db: -1.0, ..asked };
        assert!(asked.answer().unwrap_err().to_string().starts_with("loss between the ports"));
    }
}
