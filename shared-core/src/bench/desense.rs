//! What a desense says of the interference behind it. Formulas: [`crate::rf::desense`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use crate::rf::desense::{desense, extra_isolation, interference_over_noise};
use crate::units::{Db, Dbm};

/// Two opening levels at one plane and criterion.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct DesenseQuestion {
    /// With the transmitter keyed.
    pub keyed_dbm: f64,
    /// With it not keyed.
    pub unkeyed_dbm: f64,
    /// The desense that would be accepted.
    pub wanted_db: f64,
}

/// What the two levels say.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct DesenseAnswer {
    /// How much worse the receiver opens while the transmitter is keyed.
    pub desense_db: f64,
    /// Interference over the receiver's noise. None where no interference was seen.
    pub interference_over_noise_db: Option<f64>,
    /// How much more isolation brings the desense down to what is wanted. None where it is there.
    pub extra_isolation_db: Option<f64>,
}

impl DesenseQuestion {
    pub(super) fn answer(&self) -> Result<DesenseAnswer, BenchRefused> {
        let found = desense(Dbm::new(self.keyed_dbm)?, Dbm::new(self.unkeyed_dbm)?);
        let extra = extra_isolation(found, Db::new(self.wanted_db)?);
        Ok(DesenseAnswer {
            desense_db: found.db(),
            interference_over_noise_db: interference_over_noise(found).map(Db::db),
            extra_isolation_db: extra.map(Db::db),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn six_decibels_of_desense_want_ten_and_a_half_of_isolation() {
        // HANDBOOK Z2: 6 dB is I/N 4.744, 1 dB is I/N -5.868: 10.612 dB apart.
        let asked = DesenseQuestion { keyed_dbm: -110.0, unkeyed_dbm: -116.0, wanted_db: 1.0 };
        let found = asked.answer().unwrap();
        assert!((found.desense_db - 6.0).abs() < 1e-9);
        assert!((found.interference_over_noise_db.unwrap() - 4.744).abs() < 0.001);
        assert!((found.extra_isolation_db.unwrap() - 10.612).abs() < 0.002);
    }

    #[test]
    fn an_absurd_level_is_refused_by_name() {
        let asked = DesenseQuestion { keyed_dbm: f64::NAN, unkeyed_dbm: -116.0, wanted_db: 1.0 };
        assert!(matches!(asked.answer(), Err(BenchRefused::Number(_))));
    }
}
