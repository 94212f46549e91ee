//! What is read from an instrument, and the units it may be typed in. Knows no check and no limit.

use autosurgeon::{Hydrate, Reconcile};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::Unit;

/// What is typed in for a check.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate,
)]
#[serde(rename_all = "kebab-case")]
pub enum Reads {
    /// A generator's level.
    #[autosurgeon(rename = "level")]
    Level,
    /// A meter's power.
    #[autosurgeon(rename = "power")]
    Power,
    /// A carrier's distance from its channel.
    #[autosurgeon(rename = "frequency-error")]
    FrequencyError,
    /// A peak deviation.
    #[autosurgeon(rename = "deviation")]
    Deviation,
}

impl Reads {
    /// Every one.
    pub const ALL: [Self; 4] = [Self::Level, Self::Power, Self::FrequencyError, Self::Deviation];

    /// Its name in data.
    pub fn name(self) -> &'static str {
        match self {
            Self::Level => "level",
            Self::Power => "power",
            Self::FrequencyError => "frequency-error",
            Self::Deviation => "deviation",
        }
    }

    /// The units it may be typed in, the usual one first.
    pub fn units(self) -> &'static [Unit] {
        match self {
            Self::Level => &[Unit::Dbm, Unit::Microvolt, Unit::MicrovoltEmf, Unit::DbMicrovolt],
            Self::Power => &[Unit::Watt, Unit::Dbm, Unit::Milliwatt],
            Self::FrequencyError => &[Unit::Hertz, Unit::Kilohertz, Unit::Ppm],
            Self::Deviation => &[Unit::Hertz, Unit::Kilohertz],
        }
    }
}
