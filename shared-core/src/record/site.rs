//! The site document: access and hazards, and the repeaters with channel, licence and ratings.

use std::collections::BTreeMap;

use autosurgeon::{Hydrate, Reconcile};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::shop::{CableRun, LossPoint};
use crate::limits::StationClass;

/// The maps that schema 2 brought, as paths in the content; `*` is every entry of a map.
pub(super) const LATER: &[&[&str]] = &[];

/// A place with radio equipment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Site {
    /// The site's name.
    pub name: String,
    /// How to get there and in.
    pub access: String,
    /// What can hurt people here, in the site's own words.
    pub hazards: Vec<String>,
    /// The repeaters, by id.
    pub repeaters: BTreeMap<String, Repeater>,
}

/// A repeater: its channel, its class and what it is rated for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Repeater {
    /// What the crew calls it, as in "base repeater, VHF, 50 W".
    pub name: String,
    /// The frequency it listens on, in hertz.
    pub receive_hz: u64,
    /// The frequency it transmits on, in hertz.
    pub transmit_hz: u64,
    /// The channel's width, in hertz.
    pub channel_width_hz: u64,
    /// Base or mobile: which column of a tolerance table holds.
    pub station: StationClass,
    /// The region whose limits hold, as in `us`.
    pub region: String,
    /// What its parts are rated for.
    pub ratings: Ratings,
    /// What its licence says, where it is known.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub licence: Option<LicenceTerms>,
    /// The duplexer's paths as they were swept. They go before its rated losses where a reading is
    /// foreseen; what the duplexer is judged by stays its rating.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub duplexer_sweep: Option<DuplexerSweep>,
    /// What stands behind the antenna port, where it is known.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub antenna: Option<AntennaSystem>,
}

/// What a licence allows a repeater.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct LicenceTerms {
    /// The licensed transmit frequency, in hertz.
    pub transmit_hz: u64,
    /// The licensed output power, in watts, where the licence has one.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub output_w: Option<f64>,
    /// The licensed effective radiated power, in watts, where the licence has one.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub erp_w: Option<f64>,
    /// Which licence, and where its text was seen.
    pub source: String,
}

/// Losses of a duplexer's two paths from a sweep.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct DuplexerSweep {
    /// From the transmitter's port to the antenna's, rising in frequency.
    pub transmit_path: Vec<LossPoint>,
    /// From the antenna's port to the receiver's, rising in frequency.
    pub receive_path: Vec<LossPoint>,
    /// How far these losses may be off: half-width, in dB.
    pub tolerance_db: f64,
    /// The day it was swept, as `2027-03-31`.
    pub swept_on: String,
    /// The file, and what it was swept with.
    pub source: String,
}

/// Feedline and antenna behind a repeater's antenna port.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct AntennaSystem {
    /// The antenna's gain in its main beam, in dB over a dipole.
    pub gain_dbd: f64,
    /// The feedline by type and length, where it is known so.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub feedline: Option<CableRun>,
    /// Further losses, or the whole loss of a feedline that is not listed, in dB.
    pub other_loss_db: f64,
    /// How far gain less losses may be off: half-width, in dB.
    pub tolerance_db: f64,
}

/// Rated values of a repeater and its duplexer.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Ratings {
    /// The level at which the receiver must open, at its port, in dBm.
    pub opening_level_dbm: f64,
    /// The transmitter's power at its port, in watts.
    pub power_w: f64,
    /// The duplexer's loss from transmitter port to antenna port, in dB.
    pub duplexer_transmit_loss_db: f64,
    /// The duplexer's loss from antenna port to receiver port, in dB.
    pub duplexer_receive_loss_db: f64,
    /// How far the duplexer's losses may be off their rating when foreseeing a reading, in dB.
    pub duplexer_tolerance_db: f64,
    /// The most power the duplexer may be given, in watts.
    pub duplexer_power_max_w: f64,
    /// Return loss of the receiver at its port, in dB, where it is known.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub receiver_port_return_loss_db: Option<f64>,
    /// Return loss of the transmitter at its port, in dB, where it is known.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub transmitter_port_return_loss_db: Option<f64>,
    /// Return loss of the duplexer at its antenna port, in dB, where it is known.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub antenna_port_return_loss_db: Option<f64>,
}
