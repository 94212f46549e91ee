//! The session document: one visit. Crew, chains as connected, readings, acknowledgements, notes.
//!
//! A reading is never overwritten: each is its own entry, a correction is a new one that names the
//! one it replaces, and taking one back is an entry of its own.

use std::collections::{BTreeMap, BTreeSet};

use autosurgeon::{Hydrate, Reconcile};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::attachment::{ATTACHMENTS, Attachment, CAPTIONS, Caption};
use super::ids::DocumentId;
use crate::language::Language;
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

/// The list of what was taken back.
pub(super) const RETRACTIONS: &str = "retractions";

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
    /// Who left the site, by id of the leaving.
    #[serde(default)]
    pub departures: BTreeMap<String, Stamp>,
    /// What was put back as it belongs, by id.
    #[serde(default)]
    pub restorations: BTreeMap<String, Remark>,
    /// Entries other than readings that were taken back, by id of the taking back.
    #[serde(default)]
    pub retractions: BTreeMap<String, Retraction>,
    /// Who signed the visit off, by id. Two when two people did without seeing each other's.
    #[serde(default)]
    pub sign_offs: BTreeMap<String, SignOff>,
    /// Why something was changed after it was signed off, by id.
    #[serde(default)]
    pub amendments: BTreeMap<String, Amendment>,
    /// What was attached, by id.
    #[serde(default)]
    pub attachments: BTreeMap<String, Attachment>,
    /// Captions that were written later, by id.
    #[serde(default)]
    pub captions: BTreeMap<String, Caption>,
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
        self.said(Language::English)
    }

    /// The same in a language.
    pub fn said(self, language: Language) -> &'static str {
        match self {
            Self::ReceiverPort => language.pick("receiver port", "port du récepteur"),
            Self::TransmitterPort => language.pick("transmitter port", "port de l’émetteur"),
            Self::AntennaPort => language.pick("antenna port", "port d’antenne"),
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
        self.said(Language::English)
    }

    /// The same in a language.
    pub fn said(self, language: Language) -> &'static str {
        match self {
            Self::AsFound => language.pick("as found", "à l’arrivée"),
            Self::AsLeft => language.pick("as left", "au départ"),
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
    /// Who the instrument said it is, where it gave the number itself and nobody typed it.
    #[serde(default)]
    #[autosurgeon(missing = "Option::default")]
    pub answered_by: Option<String>,
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

/// An entry other than a reading taken back: it stays in view, and no longer counts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Retraction {
    /// The list, as in `notes`.
    pub list: String,
    /// The entry's id.
    pub entry: String,
    /// Who, and when.
    pub stamp: Stamp,
}

/// A statement about the whole visit, signed by a device.
///
/// What it says is not this room's affair: the bytes are kept as they were signed, so that nothing
/// that rewrites them can make a true signature look false years later.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct SignOff {
    /// The statement, as it was signed.
    pub statement: String,
    /// The device's public key, in hexadecimal.
    pub key: String,
    /// Its signature of the statement's bytes, in hexadecimal.
    pub signature: String,
    /// Who, and when.
    pub stamp: Stamp,
}

/// Why somebody changes what is signed off. Their changes after it belong to it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Amendment {
    /// The sign-offs it follows, by id: all that its author had seen.
    pub of: Vec<String>,
    /// Why.
    pub reason: String,
    /// Who, and when.
    pub stamp: Stamp,
}

impl Session {
    /// Whether a list holds an entry of this id, standing or not.
    pub fn holds(&self, list: &str, entry: &str) -> bool {
        match list {
            "crew" => self.crew.contains_key(entry),
            "chains" => self.chains.contains_key(entry),
            "readings" => self.readings.contains_key(entry),
            "withdrawals" => self.withdrawals.contains_key(entry),
            "acknowledgements" => self.acknowledgements.contains_key(entry),
            "adjustments" => self.adjustments.contains_key(entry),
            "notes" => self.notes.contains_key(entry),
            "departures" => self.departures.contains_key(entry),
            "restorations" => self.restorations.contains_key(entry),
            RETRACTIONS => self.retractions.contains_key(entry),
            "sign_offs" => self.sign_offs.contains_key(entry),
            "amendments" => self.amendments.contains_key(entry),
            ATTACHMENTS => self.attachments.contains_key(entry),
            CAPTIONS => self.captions.contains_key(entry),
            _ => false,
        }
    }

    /// Whether an entry still counts: nobody took it back, or that was itself taken back.
    pub fn stands(&self, list: &str, entry: &str) -> bool {
        !self.retractions.iter().any(|(id, retraction)| {
            retraction.list == list && retraction.entry == entry && self.retraction_counts(id)
        })
    }

    /// A taking back may be taken back, once: what is done a third time is done anew.
    fn retraction_counts(&self, id: &str) -> bool {
        !self.retractions.values().any(|later| later.list == RETRACTIONS && later.entry == id)
    }

    /// Whether a chain is part of the visit: it stands, or somebody read through it all the same.
    pub fn chain_counts(&self, chain: &str) -> bool {
        self.stands("chains", chain) || self.reads_through(chain)
    }

    /// Whether a reading that was not taken back leans on a chain.
    pub(super) fn reads_through(&self, chain: &str) -> bool {
        let not_taken_back = |id: &String| self.taken_back(id).is_none();
        self.readings.iter().any(|(id, reading)| reading.chain == chain && not_taken_back(id))
    }

    /// The entry of this author that was made last and still counts: what an undo takes back.
    pub fn newest_entry(&self, by: &str, device: &str) -> Option<(&'static str, &str)> {
        let own = |stamp: &Stamp| stamp.by == by && stamp.device == device;
        let remarks = [
            ("adjustments", &self.adjustments),
            ("notes", &self.notes),
            ("restorations", &self.restorations),
        ];
        let remarks = remarks.into_iter().flat_map(|(list, remarks)| {
            remarks.iter().map(move |(id, remark)| (list, id, &remark.stamp))
        });
        let others = (self.chains.iter().map(|(id, e)| ("chains", id, &e.stamp)))
            .chain(self.readings.iter().map(|(id, e)| ("readings", id, &e.stamp)))
            .chain(self.withdrawals.iter().map(|(id, e)| ("withdrawals", id, &e.stamp)))
            .chain(self.acknowledgements.iter().map(|(id, e)| ("acknowledgements", id, &e.stamp)))
            .chain(self.departures.iter().map(|(id, stamp)| ("departures", id, stamp)))
            .chain(self.attachments.iter().map(|(id, e)| (ATTACHMENTS, id, &e.stamp)))
            .chain(self.captions.iter().map(|(id, e)| (CAPTIONS, id, &e.stamp)));
        // Ids grow on a device, so that no clock decides which of its entries is the newer.
        let counting = remarks.chain(others).filter(|(list, id, stamp)| {
            own(stamp)
                && self.stands(list, id)
                && (*list != "readings" || self.taken_back(id).is_none())
        });
        counting.max_by_key(|(_, id, _)| *id).map(|(list, id, _)| (list, id.as_str()))
    }

    /// The sign-offs this person has not yet given a reason to change anything after.
    pub fn awaits_reason(&self, person: &str) -> Vec<&str> {
        let answered = |id: &String| {
            self.amendments.values().any(|a| a.stamp.by == person && a.of.contains(id))
        };
        self.sign_offs.keys().filter(|id| !answered(id)).map(String::as_str).collect()
    }

    /// The readings that stand: neither taken back nor replaced by one that stands itself.
    pub fn standing_readings(&self) -> BTreeMap<&str, &Reading> {
        let taken_back: BTreeSet<&str> = self
            .withdrawals
            .iter()
            .filter(|(id, _)| self.stands("withdrawals", id))
            .map(|(_, withdrawal)| withdrawal.reading.as_str())
            .collect();
        let left = || self.readings.iter().filter(|(id, _)| !taken_back.contains(id.as_str()));
        let replaced: BTreeSet<&str> =
            left().filter_map(|(_, reading)| reading.replaces.as_deref()).collect();
        left()
            .filter(|(id, _)| !replaced.contains(id.as_str()))
            .map(|(id, reading)| (id.as_str(), reading))
            .collect()
    }

    /// The taking back of a reading, where there is one: the first, should two have done it.
    pub fn taken_back(&self, reading: &str) -> Option<&Withdrawal> {
        let mut taking_back = self.withdrawals.iter().filter(|(_, w)| w.reading == reading);
        taking_back.find(|(id, _)| self.stands("withdrawals", id)).map(|(_, withdrawal)| withdrawal)
    }

    /// Whether this person has acknowledged this caution in this session.
    pub fn has_acknowledged(&self, person: &str, caution: &str) -> bool {
        self.acknowledgements.iter().any(|(id, acknowledgement)| {
            acknowledgement.caution == caution
                && acknowledgement.stamp.by == person
                && self.stands("acknowledgements", id)
        })
    }
}
