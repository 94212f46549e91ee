//! The session document: one visit. Crew, chains as connected, readings, acknowledgements, notes.
//!
//! A reading is never overwritten: each is its own entry, a correction is a new one that names the
//! one it replaces, and taking one back is an entry of its own.

use std::collections::BTreeMap;

use autosurgeon::{Hydrate, Reconcile};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::ids::DocumentId;
use crate::time::Timestamp;
use crate::units::Unit;

/// Who wrote something, on which device, and when by that device's clock.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Stamp {
    /// The person's id in the shop document.
    pub by: String,
    /// The device's name.
    pub device: String,
    /// When, by that device's clock.
    #[ts(type = "string")]
    pub at: Timestamp,
}

/// One visit to one repeater.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct Session {
    /// The site document.
    #[ts(type = "string")]
    pub site: DocumentId,
    /// The repeater's id in the site document.
    pub repeater: String,
    /// The shop's order for this visit.
    pub work_order: String,
    /// Who planned the visit, and when.
    pub opened: Stamp,
    /// Who is on site: person's id to arrival.
    #[serde(default)]
    pub crew: BTreeMap<String, Stamp>,
    /// What was connected, by id.
    #[serde(default)]
    pub chains: BTreeMap<String, Chain>,
    /// What was read, by id.
    #[serde(default)]
    pub readings: BTreeMap<String, Reading>,
    /// Readings taken back, by id of the taking back.
    #[serde(default)]
    pub withdrawals: BTreeMap<String, Withdrawal>,
    /// Cautions acknowledged by name, by id.
    #[serde(default)]
    pub acknowledgements: BTreeMap<String, Acknowledgement>,
    /// What was adjusted, by id.
    #[serde(default)]
    pub adjustments: BTreeMap<String, Remark>,
    /// Notes, by id.
    #[serde(default)]
    pub notes: BTreeMap<String, Remark>,
    /// The visit in a sentence. Two when two people wrote it without seeing each other's.
    #[serde(default)]
    pub summary: Vec<Remark>,
}

/// Where on the repeater something is connected.
#[derive(
    Clone,
    Copy,
    Debug,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Serialize,
    Deserialize,
    JsonSchema,
    TS,
    Reconcile,
    Hydrate,
)]
#[serde(rename_all = "kebab-case")]
pub enum Plane {
    /// The receiver's own connector.
    #[autosurgeon(rename = "receiver-port")]
    ReceiverPort,
    /// The transmitter's own connector.
    #[autosurgeon(rename = "transmitter-port")]
    TransmitterPort,
    /// The duplexer's common connector.
    #[autosurgeon(rename = "antenna-port")]
    AntennaPort,
}

impl Plane {
    /// The trade's words.
    pub fn words(self) -> &'static str {
        match self {
            Self::ReceiverPort => "receiver port",
            Self::TransmitterPort => "transmitter port",
            Self::AntennaPort => "antenna port",
        }
    }
}

/// What is connected between an instrument and a plane of the repeater.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Chain {
    /// What the crew calls it.
    pub name: String,
    /// Where it ends on the repeater.
    pub plane: Plane,
    /// The instrument's id in the shop document.
    pub instrument: String,
    /// The port's id on that instrument.
    pub port: String,
    /// Parts in order from the instrument to the plane. A coupler stands last and is met at its
    /// coupled port.
    pub between: Vec<String>,
    /// What the coupler's through line goes on to, away from the repeater, ending in a load.
    /// Empty without a coupler.
    #[serde(default)]
    pub line: Vec<String>,
    /// Who connected it, and when.
    pub stamp: Stamp,
}

/// Before or after adjustment.
#[derive(
    Clone,
    Copy,
    Debug,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Serialize,
    Deserialize,
    JsonSchema,
    TS,
    Reconcile,
    Hydrate,
)]
#[serde(rename_all = "kebab-case")]
pub enum Phase {
    /// As the visit found it.
    #[autosurgeon(rename = "as-found")]
    AsFound,
    /// As the visit left it.
    #[autosurgeon(rename = "as-left")]
    AsLeft,
}

impl Phase {
    /// The trade's words.
    pub fn words(self) -> &'static str {
        match self {
            Self::AsFound => "as found",
            Self::AsLeft => "as left",
        }
    }
}

/// One reading, kept as typed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Reading {
    /// The check it was taken for.
    pub check: String,
    /// The chain it was taken through, by id.
    pub chain: String,
    /// The plane it speaks of.
    pub plane: Plane,
    /// What counted as the result, in the check's words, as in "opens".
    pub criterion: String,
    /// The instrument it was read on, by id.
    pub instrument: String,
    /// The number as typed.
    pub typed: String,
    /// The unit it was typed in.
    pub unit: Unit,
    /// Before or after adjustment.
    pub phase: Phase,
    /// The reading this one corrects, by id.
    #[serde(default)]
    pub replaces: Option<String>,
    /// Who read it, and when.
    pub stamp: Stamp,
}

/// A reading taken back. The reading stays in view.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Withdrawal {
    /// The reading, by id.
    pub reading: String,
    /// Why.
    pub reason: String,
    /// Who, and when.
    pub stamp: Stamp,
}

/// A caution somebody has read and answers for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Acknowledgement {
    /// The caution's id.
    pub caution: String,
    /// Who, and when.
    pub stamp: Stamp,
}

/// Words somebody wrote.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Remark {
    /// The words.
    pub text: String,
    /// Who, and when.
    pub stamp: Stamp,
}

impl Session {
    /// The readings that stand: neither taken back nor replaced by one that stands itself.
    pub fn standing_readings(&self) -> BTreeMap<&str, &Reading> {
        let withdrawn = |id: &str| self.taken_back(id).is_some();
        let replaced = |id: &str| {
            self.readings.iter().any(|(by, r)| r.replaces.as_deref() == Some(id) && !withdrawn(by))
        };
        self.readings
            .iter()
            .filter(|(id, _)| !withdrawn(id) && !replaced(id))
            .map(|(id, reading)| (id.as_str(), reading))
            .collect()
    }

    /// The taking back of a reading, where there is one: the first, should two have done it.
    pub fn taken_back(&self, reading: &str) -> Option<&Withdrawal> {
        self.withdrawals.values().find(|withdrawal| withdrawal.reading == reading)
    }

    /// Whether this person has acknowledged this caution in this session.
    pub fn has_acknowledged(&self, person: &str, caution: &str) -> bool {
        self.acknowledgements.values().any(|a| a.caution == caution && a.stamp.by == person)
    }
}
