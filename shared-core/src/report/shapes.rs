//! The shapes of a report: plain data, each number a text with its unit.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use crate::checks::findings::Weight;
use crate::checks::{Stage, Stop};
use crate::rf::chain::LevelDiagram;
use crate::uncertainty::Outcome;
use crate::uncertainty::decision::DecisionRule;

/// A visit, as its customer is told of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct VisitReport {
    /// The shop's name.
    pub shop: String,
    /// Where the shop is, where it says so.
    pub shop_address: Option<String>,
    /// How the shop is called, where it says so.
    pub shop_phone: Option<String>,
    /// What the shop adds to every report, where it does.
    pub shop_wording: Option<String>,
    /// The site's name.
    pub site: String,
    /// The repeater.
    pub repeater: String,
    /// What it listens on, in hertz.
    pub receive_hz: u64,
    /// What it transmits on, in hertz.
    pub transmit_hz: u64,
    /// The channel's width, in hertz.
    pub channel_width_hz: u64,
    /// The region whose limits hold.
    pub region: String,
    /// The shop's order.
    pub work_order: String,
    /// The day of the first entry, by the clock that wrote it.
    pub first_day: String,
    /// The day of the last one.
    pub last_day: String,
    /// Who was there, by name.
    pub crew: Vec<String>,
    /// How a reading's uncertainty enters its verdict.
    pub decision_rule: DecisionRule,
    /// What comes of it all.
    pub overall: Overall,
    /// The visit in a sentence: two where two people wrote it apart.
    pub summary: Vec<DoneBy>,
    /// What does not pass, gravest first.
    pub concluded: Vec<Concluded>,
    /// What was adjusted.
    pub adjusted: Vec<DoneBy>,
    /// What was put back as it belongs.
    pub put_back: Vec<DoneBy>,
    /// What was found, and what to do about it.
    pub found: Vec<Said>,
    /// The readings, stage by stage.
    pub stages: Vec<StageLines>,
    /// What was read against the licence.
    pub licence: Vec<LicenceLine>,
    /// What was read with, and until when its calibration holds.
    pub instruments: Vec<InstrumentLine>,
    /// Levels along what was connected.
    pub diagrams: Vec<LevelDiagram>,
    /// What forbade keying, where something did.
    pub stops: Vec<Stop>,
    /// The cautions that were read, and by whom.
    pub cautions: Vec<CautionLine>,
    /// How every caution ends.
    pub deferral: String,
    /// Notes.
    pub notes: Vec<DoneBy>,
    /// Readings that were taken back or corrected, with the reason.
    pub withdrawn: Vec<Line>,
    /// Who signed, on which device, when.
    pub signatures: Vec<Signature>,
    /// Why something was changed after that.
    pub amended: Vec<DoneBy>,
}

impl VisitReport {
    /// The day of the visit, or the first and the last with `to` between them.
    pub fn days(&self, to: &str) -> String {
        match self.first_day == self.last_day {
            true => self.first_day.clone(),
            false => format!("{}{to}{}", self.first_day, self.last_day),
        }
    }
}

/// How many checks ended how.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Overall {
    /// The worst outcome; none where nothing was judged.
    pub worst: Option<Outcome>,
    /// Checks that pass.
    pub pass: usize,
    /// Checks that pass in doubt.
    pub conditional_pass: usize,
    /// Checks that fail in doubt.
    pub conditional_fail: usize,
    /// Checks that fail.
    pub fail: usize,
    /// Checks that were read and could not be judged.
    pub not_judged: usize,
    /// Checks of the plan that were not read.
    pub not_read: usize,
}

impl Overall {
    /// The counts in the order of [`super::Words`]'s.
    pub fn counts(&self) -> [usize; 6] {
        let Self { pass, conditional_pass, conditional_fail, fail, not_judged, not_read, .. } =
            *self;
        [pass, conditional_pass, conditional_fail, fail, not_judged, not_read]
    }
}

/// A check that does not simply pass.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Concluded {
    /// The check's title.
    pub title: String,
    /// Its outcome.
    pub outcome: Outcome,
    /// Why, in a sentence.
    pub reason: String,
}

/// Something found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Said {
    /// How grave it is.
    pub weight: Weight,
    /// What was found.
    pub what: String,
    /// What points to it.
    pub evidence: String,
    /// What to do next.
    pub next: String,
}

/// The readings of a stage.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct StageLines {
    /// The stage.
    pub stage: Stage,
    /// Its checks that were read or should have been.
    pub lines: Vec<Line>,
}

/// A check with its readings.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Line {
    /// The check's title.
    pub title: String,
    /// Where it was taken.
    pub plane: String,
    /// The readings that stand, as found.
    pub as_found: Vec<Cell>,
    /// The readings that stand, as left.
    pub as_left: Vec<Cell>,
    /// Why these no longer stand, where they do not.
    pub taken_back: Option<String>,
}

/// One reading with what is said of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Cell {
    /// The reading's id.
    pub id: String,
    /// As typed, with its unit.
    pub typed: String,
    /// What was judged, as in "loss".
    pub judged: String,
    /// Its value, with its unit.
    pub value: String,
    /// Its expanded uncertainty, with its unit and k.
    pub uncertainty: String,
    /// The limit.
    pub limit: String,
    /// What the limit rests on.
    pub source: String,
    /// Whether that was seen, and not only remembered.
    pub verified: bool,
    /// The distance to the nearer limit.
    pub margin: String,
    /// The probability that what was measured lies within the limits, in percent.
    pub conformity_percent: Option<f64>,
    /// The outcome.
    pub outcome: Outcome,
    /// Why, in a sentence.
    pub reason: String,
    /// The instrument's name.
    pub instrument: String,
    /// The chain's name.
    pub chain: String,
    /// Who read it, by name.
    pub by: String,
    /// When, by that device's clock.
    pub at: String,
}

/// Something the licence speaks of.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct LicenceLine {
    /// Carrier, output power or effective radiated power.
    pub subject: String,
    /// The outcome.
    pub outcome: Outcome,
    /// In words.
    pub words: String,
    /// What it rests on.
    pub source: String,
    /// Whether that was seen, and not only remembered.
    pub verified: bool,
}

/// Words somebody wrote.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct DoneBy {
    /// The words.
    pub text: String,
    /// Who, by name.
    pub by: String,
    /// When, by that device's clock.
    pub at: String,
}

/// An instrument that was used.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct InstrumentLine {
    /// Its name.
    pub name: String,
    /// The last day of the calibration in force when it was last used in the visit.
    pub calibration_due: String,
    /// Whether every reading with it was taken by then.
    pub held: bool,
}

/// A caution that was read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct CautionLine {
    /// A few words.
    pub title: String,
    /// What it says.
    pub text: String,
    /// Who read it, by name.
    pub read_by: Vec<String>,
}

/// Somebody who signed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Signature {
    /// Who, by name.
    pub by: String,
    /// On which device.
    pub device: String,
    /// When, by that device's clock.
    pub at: String,
    /// The public key that signed, in hexadecimal.
    pub key: String,
}
