//! An intercept point from two equal carriers and their product. Formulas:
//! [`crate::rf::intermod::level`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use crate::rf::intermod::level::{free_range, intercept};
use crate::units::Dbm;

/// Two equal carriers and what they make.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct InterceptQuestion {
    /// The level of each carrier.
    pub carrier_dbm: f64,
    /// The level of their product.
    pub product_dbm: f64,
    /// The product's order, 2 to 7.
    pub order: u32,
    /// The noise floor of whatever listens there.
    pub floor_dbm: f64,
}

/// What the levels say of where the carriers mix.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct InterceptAnswer {
    /// The level at which carriers and product would be equal.
    pub intercept_dbm: f64,
    /// How far above the floor the carriers may be until their product stands on it.
    pub free_range_db: f64,
}

impl InterceptQuestion {
    pub(super) fn answer(&self) -> Result<InterceptAnswer, BenchRefused> {
        let order = self.order as usize;
        let (carrier, product) = (Dbm::new(self.carrier_dbm)?, Dbm::new(self.product_dbm)?);
        let point = intercept(carrier, product, order)?;
        let range = free_range(point, Dbm::new(self.floor_dbm)?, order)?;
        Ok(InterceptAnswer { intercept_dbm: point.dbm(), free_range_db: range.db() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_published_intercept_read_backwards() {
        // HANDBOOK I2: -40 dBm at an IIP3 of -5 dBm makes -110 dBm; SFDR = 2/3·(IP3 - floor).
        let asked = InterceptQuestion {
            carrier_dbm: -40.0,
            product_dbm: -110.0,
            order: 3,
            floor_dbm: -125.0,
        };
        let found = asked.answer().unwrap();
        assert!((found.intercept_dbm - -5.0).abs() < 1e-9);
        assert!((found.free_range_db - 80.0).abs() < 1e-9);
        let refused = InterceptQuestion { order: 1, ..asked }.answer().unwrap_err();
        assert!(refused.to_string().starts_with("product order of 1 carriers is outside 2 to 7"));
    }
}
