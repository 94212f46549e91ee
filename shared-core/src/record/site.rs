//! The site document: access and hazards, the repeaters with channel, licence and ratings, and what
//! else stands there.
//!
//! Nothing is ever deleted from a list: what no longer counts says since when, in `retired`.

use std::collections::BTreeMap;

use autosurgeon::{Hydrate, Reconcile};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::session::Stamp;
use super::shop::{CableRun, LossPoint};
use crate::limits::StationClass;
use crate::units::Unit;

/// The maps every site has from its first change on. Two devices that each made one that was
/// missing would hide each other's entries in it.
pub(super) const MAPS: [&str; 6] =
    ["repeaters", "hazard_entries", "equipment", "co_sited", "baselines", "written"];

/// A place with radio equipment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Site {
    /// The site's name.
    pub name: String,
    /// How to get there and in.
    pub access: String,
    /// What can hurt people here, as older versions kept it; [`Site::all_hazards`] has them all.
    #[serde(default)]
    #[autosurgeon(missing = "Vec::default")]
    pub hazards: Vec<String>,
    /// What can hurt people here, in the site's own words, by id.
    #[serde(default)]
    #[autosurgeon(missing = "BTreeMap::default")]
    pub hazard_entries: BTreeMap<String, Hazard>,
    /// The repeaters, by id.
    pub repeaters: BTreeMap<String, Repeater>,
    /// What else of the shop's care stands here, by id.
    #[serde(default)]
    #[autosurgeon(missing = "BTreeMap::default")]
    pub equipment: BTreeMap<String, Equipment>,
    /// Other people's transmitters here, by id.
    #[serde(default)]
    #[autosurgeon(missing = "BTreeMap::default")]
    pub co_sited: BTreeMap<String, CoSited>,
    /// Usual values, by id: what a reading of a later visit is held against.
    #[serde(default)]
    #[autosurgeon(missing = "BTreeMap::default")]
    pub baselines: BTreeMap<String, Baseline>,
    /// Where it is. None unless somebody keeps it here on purpose: it tells strangers too.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub position: Option<Position>,
    /// Who last wrote each entry, and when: by list and id, as in `equipment.rack`, or by field.
    #[serde(default)]
    #[autosurgeon(missing = "BTreeMap::default")]
    pub written: BTreeMap<String, Stamp>,
}

impl Site {
    /// Everything that can hurt people here and has not been taken off the list.
    pub fn all_hazards(&self) -> Vec<String> {
        let entries = self.hazard_entries.values().filter(|hazard| hazard.retired.is_none());
        self.hazards.iter().chain(entries.map(|hazard| &hazard.text)).cloned().collect()
    }
}

/// Something that can hurt people.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Hazard {
    /// In the site's own words.
    pub text: String,
    /// The day from which the entry no longer counts.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub retired: Option<String>,
}

/// A place on earth, in degrees of WGS 84.
#[derive(
    Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate,
)]
#[serde(deny_unknown_fields)]
// The desk has a position of its own: how far this store has come.
#[ts(rename = "GeoPosition")]
pub struct Position {
    /// North of the equator.
    pub latitude_degrees: f64,
    /// East of Greenwich.
    pub longitude_degrees: f64,
}

/// Something that stands at the site.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Equipment {
    /// What the crew calls it.
    pub name: String,
    /// The number its maker gave it.
    pub serial_number: Option<String>,
    /// What it is rated for, in words.
    pub rating: Option<String>,
    /// The repeater it belongs to, by id, where it belongs to one.
    pub repeater: Option<String>,
    /// The day from which the entry no longer counts.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub retired: Option<String>,
}

/// Somebody else's transmitter at the site.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct CoSited {
    /// What the crew calls it.
    pub name: String,
    /// What it transmits on, in hertz.
    pub frequency_hz: u64,
    /// Its power at its port, in watts, where that is known.
    pub power_w: Option<f64>,
    /// Its antenna, in words.
    pub antenna: Option<String>,
    /// The day from which the entry no longer counts.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub retired: Option<String>,
}

/// What a check usually reads here.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Baseline {
    /// The repeater, by id.
    pub repeater: String,
    /// The check, by id, as in `transmitter.power`.
    pub check: String,
    /// The usual value, in the unit named.
    pub value: f64,
    /// Its unit.
    pub unit: Unit,
    /// Since when, as `2026-03-31`.
    pub since: String,
    /// The day from which the entry no longer counts.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub retired: Option<String>,
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
    /// The call sign it is licensed under.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub call_sign: Option<String>,
    /// The emission its licence names, as in `11K2F3E`.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub emission: Option<String>,
    /// The last day of its licence.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub licence_expires: Option<String>,
    /// The day from which the entry no longer counts.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub retired: Option<String>,
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
