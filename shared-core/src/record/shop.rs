//! The shop document: people, instruments and parts with their calibration, the decision rule and
//! the shop's own plan.
//!
//! Plain data with units in the names; [`super::validate`] says which numbers make sense. Nothing
//! is ever deleted from a list: what no longer counts says since when, in `retired`, so that
//! nobody's change elsewhere vanishes with it.

use std::collections::BTreeMap;

use autosurgeon::{Hydrate, Reconcile};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

pub use super::calibrations::days_left;
use super::plan::{Check, LimitRule, ShopCaution};
use super::session::Stamp;
use crate::time::Timestamp;
use crate::uncertainty::decision::{CalibrationPolicy, DecisionRule};

/// The maps every shop has from its first change on. Two devices that each made one that was
/// missing would hide each other's entries in it.
pub(super) const MAPS: [&str; 10] = [
    "people",
    "instruments",
    "parts",
    "limit_rows",
    "calibrations",
    "checks_off",
    "check_limits",
    "added_checks",
    "added_cautions",
    "written",
];

/// A two-way-radio shop.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Shop {
    /// The shop's name.
    pub name: String,
    /// Where it is, as it stands on a report.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub address: Option<String>,
    /// How to reach it, as it stands on a report.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub phone: Option<String>,
    /// Further lines under its name at the head of a report.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub letterhead: Option<String>,
    /// The sign at the head of a report: a small picture's bytes as base64; [`super::logo`] says
    /// what is one.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub logo: Option<String>,
    /// What every report of the shop says besides.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub report_wording: Option<String>,
    /// How a reading's uncertainty enters its verdict.
    pub decision_rule: DecisionRule,
    /// The guard band in expanded uncertainties: 1 is w = U; 0.83, 1.5 and 3 stand in ILAC-G8.
    #[serde(default = "Shop::guard_factor_unless_chosen")]
    #[autosurgeon(missing = "Shop::guard_factor_unless_chosen")]
    pub guard_factor: f64,
    /// What becomes of a verdict when a calibration had ended before the reading.
    #[serde(default)]
    #[autosurgeon(missing = "CalibrationPolicy::default")]
    pub calibration_policy: CalibrationPolicy,
    /// How many times an uncertainty counts then, where the shop widens.
    #[serde(default = "Shop::widening_unless_chosen")]
    #[autosurgeon(missing = "Shop::widening_unless_chosen")]
    pub calibration_widening: f64,
    /// The people, by id.
    pub people: BTreeMap<String, Person>,
    /// The instruments, by id.
    pub instruments: BTreeMap<String, Instrument>,
    /// Cables, pads, couplers and loads, by id.
    pub parts: BTreeMap<String, Part>,
    /// The shop's own rows of limits, by region, each a text in the shape of the shipped tables.
    /// They go before the shipped ones.
    #[serde(default)]
    #[autosurgeon(missing = "BTreeMap::new")]
    pub limit_rows: BTreeMap<String, String>,
    /// The calibrations of instruments and parts, by id.
    #[serde(default)]
    #[autosurgeon(missing = "BTreeMap::default")]
    pub calibrations: BTreeMap<String, Calibration>,
    /// Checks of the shipped plan, by id: true for those the shop does not make.
    #[serde(default)]
    #[autosurgeon(missing = "BTreeMap::default")]
    pub checks_off: BTreeMap<String, bool>,
    /// Limits that take the place of the plan's, by check. None where it was taken back.
    #[serde(default)]
    #[autosurgeon(missing = "BTreeMap::default")]
    pub check_limits: BTreeMap<String, Option<LimitRule>>,
    /// Checks the shop adds, by id. None where it was taken back.
    #[serde(default)]
    #[autosurgeon(missing = "BTreeMap::default")]
    pub added_checks: BTreeMap<String, Option<Check>>,
    /// Cautions the shop adds, by id. None where it was taken back.
    #[serde(default)]
    #[autosurgeon(missing = "BTreeMap::default")]
    pub added_cautions: BTreeMap<String, Option<ShopCaution>>,
    /// Who last wrote each entry, and when: by list and id, as in `parts.cable-a`, or by field.
    #[serde(default)]
    #[autosurgeon(missing = "BTreeMap::default")]
    pub written: BTreeMap<String, Stamp>,
}

impl Shop {
    /// The guard band of a shop that has not chosen one: w = U.
    pub fn guard_factor_unless_chosen() -> f64 {
        1.0
    }

    /// The widening of a shop that has not chosen one. Common practice, no source.
    pub fn widening_unless_chosen() -> f64 {
        2.0
    }
}

/// Somebody who works for the shop.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Person {
    /// What the crew calls them.
    pub name: String,
    /// What they do, as in "technician".
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub role: Option<String>,
    /// Their last day with the shop, where that is known.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub until: Option<String>,
    /// The sites they are sent to, by id: their device keeps the visits there.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub sites: Option<Vec<String>>,
    /// The day from which the entry no longer counts: it was made by mistake.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub retired: Option<String>,
}

impl Person {
    /// Whether they are with the shop at a moment: not taken off the list, nor past their last day.
    pub fn is_here(&self, now: Timestamp) -> bool {
        let until = self.until.as_deref().and_then(|until| days_left(until, now));
        self.retired.is_none() && until.is_none_or(|days| days >= 0)
    }
}

/// A calibration that was made. The item's own `calibration_due` is set with it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Calibration {
    /// What was calibrated.
    pub of: Calibrated,
    /// Its id among those.
    pub item: String,
    /// The day it was made, as `2026-03-31`.
    pub on: String,
    /// The laboratory or the person who made it.
    pub by: String,
    /// The number of its certificate, where there is one.
    pub certificate: Option<String>,
    /// What it found.
    pub result: CalibrationResult,
    /// The last day it holds.
    pub next_due: String,
    /// The due date that stood until it was entered.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub before: Option<String>,
    /// The day from which the entry no longer counts: it was made by mistake.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub retired: Option<String>,
}

/// What can be calibrated.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate,
)]
#[serde(rename_all = "kebab-case")]
pub enum Calibrated {
    /// An instrument.
    #[autosurgeon(rename = "instrument")]
    Instrument,
    /// A part.
    #[autosurgeon(rename = "part")]
    Part,
}

/// What a calibration found.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate,
)]
#[serde(rename_all = "kebab-case")]
pub enum CalibrationResult {
    /// It was within its accuracy.
    #[autosurgeon(rename = "within")]
    Within,
    /// It was outside and was brought within.
    #[autosurgeon(rename = "adjusted")]
    Adjusted,
    /// It was outside and stayed so.
    #[autosurgeon(rename = "outside")]
    Outside,
}

/// A measuring instrument.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Instrument {
    /// What the crew calls it.
    pub name: String,
    /// The last day its calibration holds, as `2027-03-31`.
    pub calibration_due: String,
    /// Its connectors, by id.
    pub ports: BTreeMap<String, Port>,
    /// How far it may be off.
    pub accuracy: Accuracy,
    /// The number its maker gave it.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub serial_number: Option<String>,
    /// How it is asked for live readings: the text of its profile.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub profile: Option<String>,
    /// The day from which it is no longer used.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub retired: Option<String>,
}

/// A connector of an instrument.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Port {
    /// As written beside it.
    pub name: String,
    /// What it does.
    pub kind: PortKind,
    /// The most power it may be given, in watts. Unknown is treated as none.
    pub power_max_w: Option<f64>,
    /// How much weaker than it came a signal comes back from it, in dB, where that is known.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub return_loss_db: Option<f64>,
}

/// What a connector of an instrument does.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate,
)]
#[serde(rename_all = "kebab-case")]
pub enum PortKind {
    /// Gives a signal; is not made to take power.
    #[autosurgeon(rename = "generator")]
    Generator,
    /// Takes a transmitter's power and measures it.
    #[autosurgeon(rename = "meter")]
    Meter,
    /// Gives a signal and takes power at the same time.
    #[autosurgeon(rename = "duplex")]
    Duplex,
}

/// How far an instrument may be off: half-widths of a rectangular distribution.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Accuracy {
    /// Of the generator's level, in dB.
    pub level_db: f64,
    /// Of a power reading, in percent of the reading.
    pub power_percent: f64,
    /// Of a frequency, in parts per million of the carrier.
    pub frequency_ppm: f64,
    /// Of a deviation reading, in percent of the reading.
    pub deviation_percent: f64,
    /// Where its data sheet says something else for a part of a range. Of those that hold for a
    /// reading the widest counts; without one, the figures above.
    #[serde(default)]
    #[autosurgeon(missing = "Vec::new")]
    pub ranges: Vec<AccuracyRange>,
}

/// An accuracy that holds for a part of an instrument's range. Ends that are left out are open.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct AccuracyRange {
    /// The quantity it is of.
    pub of: AccuracyOf,
    /// The least reading it holds for: dBm of a level, W of a power, Hz of a deviation or of how
    /// far a carrier is off.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub from: Option<f64>,
    /// The greatest.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub to: Option<f64>,
    /// The lowest frequency it holds at, in hertz.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub from_hz: Option<u64>,
    /// The highest.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub to_hz: Option<u64>,
    /// How far it may be off there: half-width, in the unit of the figure it stands for.
    pub half_width: f64,
}

/// The quantities an instrument has an accuracy of.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate,
)]
#[serde(rename_all = "kebab-case")]
pub enum AccuracyOf {
    /// A generator's level; half-width in dB.
    #[autosurgeon(rename = "level")]
    Level,
    /// A power; half-width in percent of the reading.
    #[autosurgeon(rename = "power")]
    Power,
    /// A frequency; half-width in parts per million of the carrier.
    #[autosurgeon(rename = "frequency")]
    Frequency,
    /// A deviation; half-width in percent of the reading.
    #[autosurgeon(rename = "deviation")]
    Deviation,
}

/// Something that stands between an instrument and a repeater.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Part {
    /// What the crew calls it.
    pub name: String,
    /// What it is.
    pub kind: PartKind,
    /// Its loss along the line, at the frequencies where it was measured. None for a load, nor for
    /// a cable known by type and length.
    #[serde(default)]
    pub loss: Vec<LossPoint>,
    /// A cable known by type and length rather than measured.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub cable: Option<CableRun>,
    /// An isolator's other direction. None for other parts.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub isolator: Option<Isolator>,
    /// A coupler's loss to its coupled port. None for other parts.
    #[serde(default)]
    pub coupling: Vec<LossPoint>,
    /// How far loss and coupling may be off: half-width, in dB.
    pub tolerance_db: f64,
    /// The most power it may be given for long, in watts.
    pub power_max_w: f64,
    /// More power than that, which it takes for a while when cold. None where it has no such
    /// rating: then it takes none of it.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub short_time: Option<ShortTime>,
    /// How much weaker than it came a signal comes back from either end, in dB, where that is
    /// known.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub return_loss_db: Option<f64>,
    /// The last day its calibration holds, where it has one.
    #[serde(default)]
    pub calibration_due: Option<String>,
    /// The number its maker gave it.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub serial_number: Option<String>,
    /// The day from which it is no longer used.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub retired: Option<String>,
}

/// A length of a cable of the shipped list.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct CableRun {
    /// Its short name in the list.
    pub listed: String,
    /// How long it is, in metres.
    pub length_m: f64,
    /// How far the length may be off: half-width, in metres.
    #[serde(default)]
    #[autosurgeon(missing = "Default::default")]
    pub length_tolerance_m: f64,
}

/// What an isolator does to what comes against its arrow. Along it, its `loss` holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Isolator {
    /// Which way its arrow points as the shop connects it.
    pub arrow: Arrow,
    /// Its loss against the arrow, at the frequencies where it was measured.
    pub isolation: Vec<LossPoint>,
    /// The most power that may come against the arrow for long, in watts: what its own termination
    /// takes.
    pub reverse_power_max_w: f64,
}

/// Which way a one-way part points.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate,
)]
#[serde(rename_all = "kebab-case")]
pub enum Arrow {
    /// Towards the repeater: what the instrument gives passes, what the transmitter makes does not.
    #[autosurgeon(rename = "towards-repeater")]
    TowardsRepeater,
    /// Away from the repeater: what the transmitter makes passes.
    #[autosurgeon(rename = "away-from-repeater")]
    AwayFromRepeater,
}

/// What a part takes for a while, starting cold.
#[derive(
    Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate,
)]
#[serde(deny_unknown_fields)]
pub struct ShortTime {
    /// The most power, however short, in watts.
    pub power_w: f64,
    /// How long it takes that, in seconds.
    pub seconds: f64,
}

/// Kinds of parts.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate,
)]
#[serde(rename_all = "kebab-case")]
pub enum PartKind {
    /// A cable or a jumper.
    #[autosurgeon(rename = "cable")]
    Cable,
    /// An attenuator.
    #[autosurgeon(rename = "pad")]
    Pad,
    /// A coupler with a through line and a coupled port.
    #[autosurgeon(rename = "coupler")]
    Coupler,
    /// A part that lets power through one way only.
    #[autosurgeon(rename = "isolator")]
    Isolator,
    /// A termination.
    #[autosurgeon(rename = "load")]
    Load,
    /// The site's own antenna with its feedline: a line may end in it.
    #[autosurgeon(rename = "antenna")]
    Antenna,
}

impl PartKind {
    /// Whether a line ends in it.
    pub fn ends_a_line(self) -> bool {
        matches!(self, Self::Load | Self::Antenna)
    }

    /// The trade's word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Cable => "cable",
            Self::Pad => "pad",
            Self::Coupler => "coupler",
            Self::Isolator => "isolator",
            Self::Load => "load",
            Self::Antenna => "antenna",
        }
    }
}

/// A loss measured at one frequency.
#[derive(
    Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate,
)]
#[serde(deny_unknown_fields)]
pub struct LossPoint {
    /// Where it was measured, in hertz.
    pub at_hz: u64,
    /// The loss there, in dB.
    pub loss_db: f64,
}
