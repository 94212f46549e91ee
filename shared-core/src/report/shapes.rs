//! The shapes of a report: plain data, each number a text with its unit.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::AttachedLine;
use super::words::Language;
use crate::checks::findings::Weight;
use crate::checks::{Stage, Stop};
use crate::record::logo::Logo;
use crate::record::{Phase, Shop};
use crate::rf::chain::LevelDiagram;
use crate::uncertainty::Outcome;
use crate::uncertainty::decision::DecisionRule;
use crate::units::shown;

/// A visit, as its customer is told of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct VisitReport {
    /// The shop's name.
    pub shop: String,
    /// What else stands at the head and the foot of the shop's papers.
    pub letterhead: Letterhead,
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
    /// Levels along what was connected, and what was read there.
    pub diagrams: Vec<Levels>,
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
    /// What is attached to the visit.
    #[serde(default)]
    pub attached: Vec<AttachedLine>,
    /// Those of its pictures that are to be shown, by hash: JPEG, no larger than is printed.
    /// Whoever has them puts them here; they are no part of the report as data.
    #[serde(skip)]
    #[ts(skip)]
    pub pictures: BTreeMap<String, Vec<u8>>,
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

/// What stands at the head and the foot of the shop's papers besides its name, where it does.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Letterhead {
    /// Where the shop is.
    pub address: Option<String>,
    /// How it is called.
    pub phone: Option<String>,
    /// Further lines under its name.
    pub lines: Option<String>,
    /// What it adds to every report.
    pub wording: Option<String>,
    /// Its sign.
    pub logo: Option<Logo>,
}

impl Letterhead {
    /// What a shop has on its papers.
    pub fn of(shop: &Shop) -> Self {
        Self {
            address: shop.address.clone(),
            phone: shop.phone.clone(),
            lines: shop.letterhead.clone(),
            wording: shop.report_wording.clone(),
            logo: shop.logo.as_deref().and_then(|text| Logo::read(text).ok()),
        }
    }

    /// The lines under the shop's name, in their order.
    pub fn under_name(&self) -> impl Iterator<Item = &str> {
        let texts = [&self.lines, &self.address, &self.phone];
        texts.into_iter().flatten().flat_map(|text| text.lines())
    }
}

/// Levels along something that was connected, with what was read there.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Levels {
    /// What was connected so, by name.
    pub chains: Vec<String>,
    /// The levels that are expected.
    pub diagram: LevelDiagram,
    /// What was read, as levels where the readings speak of.
    pub marks: Vec<LevelMark>,
    /// Where more arrives than something takes.
    pub stops: Vec<LevelStop>,
}

/// A reading as a level at its plane.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct LevelMark {
    /// The reading's id.
    pub reading: String,
    /// The check's title.
    pub title: String,
    /// Before or after adjustment.
    pub phase: Phase,
    /// The node it speaks of, counted from 0.
    pub node: usize,
    /// The level there, in dBm.
    pub level_dbm: f64,
    /// Its expanded uncertainty, in dB, where it is known.
    pub expanded_db: Option<f64>,
}

impl LevelMark {
    /// Whether it was read after adjustment.
    pub fn is_left(&self) -> bool {
        self.phase == Phase::AsLeft
    }

    /// What was read, in words.
    pub fn said(&self, language: Language) -> String {
        let words = language.words();
        let phase = if self.is_left() { words.as_left } else { words.as_found }.to_lowercase();
        let spread = self.expanded_db.map(|by| format!(" \u{b1}{} dB", shown(by, 2)));
        let spread = spread.unwrap_or_default();
        format!("{}, {phase}: {} dBm{spread}", self.title, shown(self.level_dbm, 1))
    }
}

/// More arrives somewhere than something takes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct LevelStop {
    /// The node, counted from 0.
    pub node: usize,
    /// What would happen.
    pub what: String,
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
    /// The same as numbers, where it was judged against a limit.
    pub figures: Option<Figures>,
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

/// A judged value as numbers, all in one unit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Figures {
    /// The value.
    pub value: f64,
    /// Its expanded uncertainty.
    pub expanded: f64,
    /// How near to a limit a value is in doubt by the shop's rule.
    pub guard: f64,
    /// Not less than this.
    pub low: Option<f64>,
    /// Not more than this.
    pub high: Option<f64>,
    /// dBm, dB or Hz.
    pub unit: String,
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
