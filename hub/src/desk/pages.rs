//! What the screens are given: pages put together from the record and the core's judgement.
//!
//! Shapes only. They carry what a screen shows, so that a screen computes nothing.

use std::collections::BTreeMap;

use guyline_core::checks::{Appraisal, Verdict};
use guyline_core::record::session::Remark;
use guyline_core::record::shop::{Instrument, Part};
use guyline_core::record::{Repeater, Stamp, Step};
use guyline_core::uncertainty::Outcome;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::refusal::Refusal;

/// What to do today, and what waits to be merged.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct Today {
    /// The shop's name; none before its papers are here.
    pub shop: Option<String>,
    /// Where this node stands.
    pub standing: Standing,
    /// The shop's people: id to name.
    pub people: BTreeMap<String, String>,
    /// The visits, newest id first.
    pub sessions: Vec<SessionLine>,
    /// The nodes met so far, the last one first.
    pub peers: Vec<PeerLine>,
}

/// What happened in a session, step by step.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct SessionHistory {
    /// The session's id.
    pub id: String,
    /// The site's name.
    pub site: String,
    /// The repeater's name.
    pub repeater: String,
    /// The shop's people: id to name.
    pub people: BTreeMap<String, String>,
    /// The steps: causes before effects, the same on every device.
    pub steps: Vec<HistoryStep>,
}

/// One step, in words.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct HistoryStep {
    /// The step.
    pub step: Step,
    /// What it was, as in "receiver opens at: −121 dBm, as found".
    pub words: String,
}

/// Who holds this device and what of its work is elsewhere too. Shown on every screen.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct Standing {
    /// The device's name.
    pub device: String,
    /// Who holds it, by id.
    pub person: Option<String>,
    /// Who holds it, by name.
    pub person_name: Option<String>,
    /// How many changes this store holds. Grows with every change: screens poll it.
    #[ts(type = "number")]
    pub position: u64,
    /// How many changes made here no other node is known to hold.
    #[ts(type = "number")]
    pub only_here: u64,
    /// How many changes from elsewhere were set aside as malformed.
    #[ts(type = "number")]
    pub set_aside: u64,
}

/// A visit in a line.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct SessionLine {
    /// The session's id.
    pub id: String,
    /// The site's name.
    pub site: String,
    /// The repeater's name.
    pub repeater: String,
    /// The shop's order.
    pub work_order: String,
    /// When it was opened.
    pub opened_at: String,
    /// Who is on site, by name.
    pub crew: Vec<String>,
    /// Checks with a standing reading.
    pub checks_read: usize,
    /// Checks in the plan.
    pub checks: usize,
    /// The worst outcome so far.
    pub worst: Option<Outcome>,
    /// How many findings are faults or doubts.
    pub findings: usize,
    /// Why it cannot be shown, where it cannot.
    pub unreadable: Option<String>,
}

/// A node met before.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct PeerLine {
    /// Its name.
    pub name: String,
    /// Where it was last reached from here; none when it came to us.
    pub address: Option<String>,
    /// When, by this device's clock.
    pub last_at: String,
    /// Why the last exchange failed; none when it did not.
    pub last_failure: Option<String>,
    /// How many of this node's changes it is not known to hold.
    #[ts(type = "number")]
    pub not_there: u64,
}

/// Everything the Session screen shows.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct SessionPage {
    /// The session's id.
    pub id: String,
    /// Where this node stands.
    pub standing: Standing,
    /// The shop's name.
    pub shop: String,
    /// The site's name.
    pub site: String,
    /// How to get in.
    pub access: String,
    /// What can hurt people there.
    pub hazards: Vec<String>,
    /// The repeater.
    pub repeater: Repeater,
    /// The shop's order.
    pub work_order: String,
    /// The shop's people: id to name.
    pub people: BTreeMap<String, String>,
    /// Who is on site: id to arrival.
    pub crew: BTreeMap<String, Stamp>,
    /// The shop's instruments, for connecting.
    pub instruments: BTreeMap<String, Instrument>,
    /// The shop's parts, for connecting.
    pub parts: BTreeMap<String, Part>,
    /// Verdicts, diagrams, stops, cautions, findings.
    pub appraisal: Appraisal,
    /// Notes by id.
    pub notes: BTreeMap<String, Remark>,
    /// Adjustments by id.
    pub adjustments: BTreeMap<String, Remark>,
    /// The visit in a sentence; two when two people wrote it apart.
    pub summary: Vec<Remark>,
}

/// What would be said of an entry that is not recorded yet.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct JudgedEntry {
    /// The verdict it would get.
    pub verdict: Verdict,
    /// Why it could not be recorded, where it could not.
    pub refusal: Option<Refusal>,
}

/// A position to wait on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
pub struct Position {
    /// Grows with every change this store holds.
    #[ts(type = "number")]
    pub position: u64,
}
