//! The shop document: people, instruments and parts with their calibration, and the decision rule.
//!
//! Plain data with units in the names; [`super::validate`] says which numbers make sense.

use std::collections::BTreeMap;

use autosurgeon::{Hydrate, Reconcile};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use crate::uncertainty::decision::DecisionRule;

/// A two-way-radio shop.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Shop {
    /// The shop's name.
    pub name: String,
    /// How a reading's uncertainty enters its verdict.
    pub decision_rule: DecisionRule,
    /// The people, by id.
    pub people: BTreeMap<String, Person>,
    /// The instruments, by id.
    pub instruments: BTreeMap<String, Instrument>,
    /// Cables, pads, couplers and loads, by id.
    pub parts: BTreeMap<String, Part>,
}

/// Somebody who works for the shop.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Person {
    /// What the crew calls them.
    pub name: String,
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
}

/// Something that stands between an instrument and a repeater.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Part {
    /// What the crew calls it.
    pub name: String,
    /// What it is.
    pub kind: PartKind,
    /// Its loss along the line, at the frequencies where it was measured. None for a load.
    #[serde(default)]
    pub loss: Vec<LossPoint>,
    /// A coupler's loss to its coupled port. None for other parts.
    #[serde(default)]
    pub coupling: Vec<LossPoint>,
    /// How far loss and coupling may be off: half-width, in dB.
    pub tolerance_db: f64,
    /// The most power it may be given for long, in watts.
    pub power_max_w: f64,
    /// The last day its calibration holds, where it has one.
    #[serde(default)]
    pub calibration_due: Option<String>,
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
    /// A termination.
    #[autosurgeon(rename = "load")]
    Load,
}

impl PartKind {
    /// The trade's word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Cable => "cable",
            Self::Pad => "pad",
            Self::Coupler => "coupler",
            Self::Load => "load",
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
