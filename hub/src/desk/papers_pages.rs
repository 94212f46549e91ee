//! What the Papers and Site screens ask and are given. Shapes only.

use std::collections::BTreeMap;

use guyline_core::bench::{IntermodAnswer, IntermodQuestion};
use guyline_core::checks::plan::LimitRule;
use guyline_core::checks::{Check, Misplaced};
use guyline_core::record::shop::{Calibrated, CalibrationResult};
use guyline_core::record::{Conflict, PaperStep, Shop, Site};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use ts_rs::TS;

use super::keeping::VisitsKept;
use super::pages::{SessionLine, Standing};

/// A field of a shop or site takes a value.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct SetField {
    /// The document's id.
    pub document: String,
    /// Where the field stands.
    pub path: Vec<String>,
    /// The value; for a number also its text, for a frequency with its unit.
    #[ts(type = "unknown")]
    pub value: Value,
}

/// A new entry of a list.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct PutEntry {
    /// The document's id.
    pub document: String,
    /// The list, as in `parts`.
    pub list: String,
    /// The entry.
    #[ts(type = "unknown")]
    pub entry: Value,
}

/// An entry that no longer counts, from today on, or counts again.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct RetireEntry {
    /// The document's id.
    pub document: String,
    /// The list, as in `parts`.
    pub list: String,
    /// The entry's id.
    pub entry: String,
    /// False takes it back.
    pub retired: bool,
}

/// Something was calibrated.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct EnterCalibration {
    /// Instrument or part.
    pub of: Calibrated,
    /// Its id.
    pub item: String,
    /// The day.
    pub on: String,
    /// Who made it.
    pub by: String,
    /// The certificate's number, where there is one.
    pub certificate: Option<String>,
    /// What it found.
    pub result: CalibrationResult,
    /// The last day it holds.
    pub next_due: String,
}

/// One of the values two people wrote apart.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct ChooseClaim {
    /// The document's id.
    pub document: String,
    /// Where the field stands.
    pub path: Vec<String>,
    /// The value's id.
    pub claim: String,
}

/// A change to take back.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct UndoChange {
    /// The document's id.
    pub document: String,
    /// The change, by its hash.
    pub change: String,
}

/// What was recorded.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
pub struct Recorded {
    /// The change, by its hash: what undoing names.
    pub change: String,
}

/// A site.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct AskSite {
    /// The site's id.
    pub site: String,
}

/// A plan's text.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct PlanText {
    /// TOML.
    pub text: String,
}

/// What became of a plan's text.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
pub struct PlanTaken {
    /// The change it was recorded by; none where it was refused.
    pub change: Option<String>,
    /// Everything wrong with it.
    pub wrong: Vec<Misplaced>,
}

/// Everything the Papers screen shows.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct PapersPage {
    /// The shop document's id.
    pub id: String,
    /// Where this node stands.
    pub standing: Standing,
    /// The shop.
    pub shop: Shop,
    /// How large its sign may be.
    pub sign: SignLimits,
    /// What two people changed apart.
    pub conflicts: Vec<Conflict>,
    /// Where each of these stands, in words.
    pub disputed: Vec<String>,
    /// What does not go together.
    pub problems: Vec<PaperProblem>,
    /// How long each calibration holds, by list and id, as in `parts.cable-a`.
    pub due: BTreeMap<String, DueLine>,
    /// The checks of shipped and own plan, in the order they are worked.
    pub plan: Vec<PlanLine>,
    /// The newest changes.
    pub steps: Vec<PaperLine>,
    /// The sites whose papers are here.
    pub sites: Vec<SiteLine>,
}

/// How large a shop's sign may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, TS)]
pub struct SignLimits {
    /// In bytes.
    pub bytes_max: usize,
    /// In pixels, across and down.
    pub pixels_max: u32,
}

/// Two fields that do not go together, or a plan that does not hold.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct PaperProblem {
    /// Where.
    pub at: String,
    /// What is wrong, and what would be right.
    pub what: String,
}

/// How long a calibration holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct DueLine {
    /// The last day.
    pub on: String,
    /// How many days are left; below 0 once it has ended.
    #[ts(type = "number")]
    pub days: i64,
}

/// A check as the shop makes it.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct PlanLine {
    /// The check, with the limit that judges.
    pub check: Check,
    /// The shop does not make it.
    pub off: bool,
    /// The shop added it.
    pub added: bool,
    /// The shipped plan's limit, where the shop has its own.
    pub shipped_limit: Option<LimitRule>,
}

/// A change in words.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct PaperLine {
    /// The change.
    pub step: PaperStep,
    /// What it did, as in "cable A, tolerance: 0.1 → 0.2".
    pub words: String,
}

/// A site in a line.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct SiteLine {
    /// The document's id.
    pub id: String,
    /// The site's name.
    pub name: String,
}

/// Everything the Site screen shows.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct SitePage {
    /// The site document's id.
    pub id: String,
    /// Where this node stands.
    pub standing: Standing,
    /// The site.
    pub site: Site,
    /// The shop's people: id to name.
    pub people: BTreeMap<String, String>,
    /// What two people changed apart.
    pub conflicts: Vec<Conflict>,
    /// Where each of these stands, in words.
    pub disputed: Vec<String>,
    /// What does not go together.
    pub problems: Vec<PaperProblem>,
    /// The newest changes.
    pub steps: Vec<PaperLine>,
    /// What the site's transmitters mix to.
    pub intermod: SiteIntermod,
    /// The visits, newest first.
    pub visits: Vec<SessionLine>,
    /// Whether they are kept here.
    pub visits_kept: VisitsKept,
}

/// Products of a site's transmitters on its receivers.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct SiteIntermod {
    /// What was asked.
    pub question: IntermodQuestion,
    /// The answer; none where it cannot be worked out.
    pub answer: Option<IntermodAnswer>,
    /// Why not, where it cannot.
    pub refused: Option<String>,
}

/// Rows of a list to look at or to take.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct ImportRows {
    /// What the rows are.
    pub of: Imported,
    /// The list: comma-separated values with a first row of names.
    pub text: String,
    /// Take the good rows; false only looks.
    pub take: bool,
}

/// What can be taken in as a list.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
#[serde(rename_all = "kebab-case")]
pub enum Imported {
    /// Parts of the shop.
    Parts,
    /// Instruments of the shop.
    Instruments,
    /// Sites, each a document of its own.
    Sites,
}

/// What a list holds, and what became of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
pub struct ImportSeen {
    /// The columns that are known for this kind of list.
    pub columns: Vec<String>,
    /// The good rows' names, in their order.
    pub good: Vec<String>,
    /// Everything wrong, by row and column.
    pub wrong: Vec<WrongCell>,
    /// How many rows were taken.
    pub taken: usize,
    /// The change they were recorded by, where one was: sites make a document each.
    pub change: Option<String>,
}

/// Something wrong in a list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
pub struct WrongCell {
    /// The row as an editor counts lines, the first is 1.
    #[ts(type = "number")]
    pub line: u64,
    /// The column's name; none for the whole row.
    pub column: Option<String>,
    /// What is wrong, and what would be right.
    pub what: String,
}
