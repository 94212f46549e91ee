//! One level in every unit the trade writes it in. Formulas: [`crate::units`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use crate::units::{Entry, Unit};

/// A level or a power as somebody typed it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct LevelQuestion {
    /// The number as typed.
    pub typed: String,
    /// Its unit. Voltages are across 50 Ω.
    pub unit: Unit,
}

/// The same level in all units, 50 Ω.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct LevelAnswer {
    /// In dBm.
    pub level_dbm: f64,
    /// In watts.
    pub power_w: f64,
    /// In microvolts at the terminals, closed circuit.
    pub voltage_uv: f64,
    /// In microvolts of the open source, twice as much.
    pub emf_uv: f64,
    /// In dBµV at the terminals.
    pub voltage_dbuv: f64,
}

impl LevelQuestion {
    pub(super) fn answer(&self) -> Result<LevelAnswer, BenchRefused> {
        let level = Entry::parse(&self.typed, self.unit)?.level()?;
        let voltage_uv = level.microvolts().microvolts();
        Ok(LevelAnswer {
            level_dbm: level.dbm(),
            power_w: level.watts().watts(),
            voltage_uv,
            emf_uv: 2.0 * voltage_uv,
            voltage_dbuv: 20.0 * voltage_uv.log10(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_level_in_every_unit() {
        // HANDBOOK U1, U3: 0.5 µV closed circuit = 1 µV EMF = 0 dBµV EMF = -113.010 dBm.
        let asked = LevelQuestion { typed: "0.5".to_owned(), unit: Unit::Microvolt };
        let found = asked.answer().unwrap();
        assert!((found.level_dbm - -113.010).abs() < 0.0006);
        assert!((found.emf_uv - 1.0).abs() < 1e-9);
        assert!((found.voltage_dbuv - -6.0206).abs() < 1e-4);
    }

    #[test]
    fn what_is_no_level_is_refused() {
        let asked = LevelQuestion { typed: "loud".to_owned(), unit: Unit::Dbm };
        assert!(matches!(asked.answer(), Err(BenchRefused::Entry(_))));
        let asked = LevelQuestion { typed: "900".to_owned(), unit: Unit::Dbm };
        assert!(matches!(asked.answer(), Err(BenchRefused::Entry(_) | BenchRefused::Number(_))));
    }
}
