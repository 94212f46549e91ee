//! The shapes of a site's report: plain data, each number with its unit beside it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::mixing::SiteIntermod;
use super::shapes::{Concluded, Letterhead, Overall, Signature};
use crate::bench::{ExposureAnswer, TrendShape};
use crate::uncertainty::Outcome;

/// A site over the years, as its owner is told of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct SiteReport {
    /// The shop's name.
    pub shop: String,
    /// What else stands at the head and the foot of the shop's papers.
    pub letterhead: Letterhead,
    /// The site's name.
    pub site: String,
    /// The last day anybody read anything here; none where nobody did.
    pub last_day: Option<String>,
    /// How each repeater stands after its latest visit.
    pub standing: Vec<Standing>,
    /// What needs doing, the most urgent first.
    pub to_do: Vec<ToDo>,
    /// The channels with what is licensed.
    pub channels: Vec<ChannelLine>,
    /// What stands there.
    pub equipment: Vec<EquipmentLine>,
    /// Every quantity over the visits.
    pub histories: Vec<History>,
    /// The visits, newest first.
    pub visits: Vec<SiteVisit>,
    /// The calibrations that stood behind the readings.
    pub calibrations: Vec<CalibrationBehind>,
    /// What can hurt people there, in the site's own words.
    pub hazards: Vec<String>,
    /// What is said before work there: title and text.
    pub cautions: Vec<[String; 2]>,
    /// How every caution ends.
    pub deferral: String,
    /// What the site's transmitters mix to.
    pub mixing: SiteIntermod,
    /// How far their fields reach, where the papers say what stands behind the antenna port.
    pub exposure: Option<ExposureAnswer>,
}

/// A repeater after its latest visit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Standing {
    /// The repeater.
    pub repeater: String,
    /// The latest visit's last day; none where it was never visited.
    pub day: Option<String>,
    /// How many checks ended how.
    pub overall: Overall,
    /// What does not simply pass, gravest first.
    pub concluded: Vec<Concluded>,
    /// Whether the visit was signed off.
    pub signed_off: bool,
}

/// Something that needs doing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum ToDo {
    /// A check fails as it was left.
    PutRight {
        /// The repeater.
        repeater: String,
        /// The check's title.
        title: String,
        /// Its outcome.
        outcome: Outcome,
        /// Why, in a sentence.
        reason: String,
        /// The day of the first visit of those in a row that left it so.
        since: String,
    },
    /// Something else was found wrong or doubtful.
    LookInto {
        /// The repeater.
        repeater: String,
        /// What.
        what: String,
        /// What to do next.
        next: String,
    },
    /// A drift will meet its limit.
    BeforeLimit {
        /// The repeater.
        repeater: String,
        /// The check's title.
        title: String,
        /// The day the line meets it.
        at: String,
        /// The day the faster end of its interval does, where there is one.
        earliest: Option<String>,
    },
    /// Checks of the plan were not made.
    Read {
        /// The repeater.
        repeater: String,
        /// How many.
        checks: usize,
    },
    /// A licence ends.
    RenewLicence {
        /// The repeater.
        repeater: String,
        /// Its last day.
        by: String,
    },
    /// The next visit.
    Visit {
        /// The repeater.
        repeater: String,
        /// A year after the latest one; none where it was never visited.
        by: Option<String>,
    },
}

/// A channel with what is licensed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct ChannelLine {
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
    /// Its rated power at the transmitter's port, in watts.
    pub power_w: f64,
    /// The level its receiver must open at, in dBm.
    pub opening_level_dbm: f64,
    /// Its call sign.
    pub call_sign: Option<String>,
    /// The licensed emission.
    pub emission: Option<String>,
    /// The licensed output power, in watts.
    pub output_w: Option<f64>,
    /// The licensed effective radiated power, in watts.
    pub erp_w: Option<f64>,
    /// The licence's last day.
    pub expires: Option<String>,
    /// Which licence, and where its text was seen.
    pub source: Option<String>,
}

/// Something that stands at the site.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct EquipmentLine {
    /// What it is called.
    pub name: String,
    /// The number its maker gave it.
    pub serial_number: Option<String>,
    /// What it is rated for, in words.
    pub rating: Option<String>,
    /// The repeater it belongs to, where it belongs to one.
    pub repeater: Option<String>,
}

/// A quantity over the visits.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct History {
    /// The repeater.
    pub repeater: String,
    /// The check's title.
    pub title: String,
    /// The unit of all its numbers: dBm, dB or Hz.
    pub unit: String,
    /// The visits, oldest first.
    pub points: Vec<HistoryPoint>,
    /// Not less than this, by the latest visit's limit.
    pub low: Option<f64>,
    /// Not more than this.
    pub high: Option<f64>,
    /// The limit in words, by the latest visit.
    pub limit: String,
    /// What it gains a year; none with fewer than three visits.
    pub trend: Option<HistoryTrend>,
}

/// A visit's reading of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct HistoryPoint {
    /// The day.
    pub day: String,
    /// As found.
    pub as_found: Option<f64>,
    /// As left, where it was read again.
    pub as_left: Option<f64>,
    /// Expanded uncertainty of both.
    pub expanded: Option<f64>,
    /// The outcome of the later one.
    pub outcome: Outcome,
}

/// What a quantity does over the visits, adjustments taken out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct HistoryTrend {
    /// A jump, a drift or neither.
    pub shape: TrendShape,
    /// What it gains a year.
    pub per_year: f64,
    /// The lower end of its 95 % interval.
    pub per_year_low: Option<f64>,
    /// The upper end.
    pub per_year_high: Option<f64>,
    /// The day its line meets the limit, where it drifts towards it.
    pub meets: Option<String>,
    /// The day the faster end of the interval does.
    pub earliest: Option<String>,
}

/// A visit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct SiteVisit {
    /// The session's id.
    pub session: String,
    /// Its first day.
    pub first_day: String,
    /// Its last day.
    pub last_day: String,
    /// The repeater.
    pub repeater: String,
    /// The shop's order.
    pub work_order: String,
    /// Who was there, by name.
    pub crew: Vec<String>,
    /// How many checks ended how.
    pub overall: Overall,
    /// Who signed it off.
    pub signatures: Vec<Signature>,
    /// Whether something was changed after that.
    pub amended: bool,
}

/// A calibration that stood behind readings.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct CalibrationBehind {
    /// The instrument.
    pub instrument: String,
    /// The last day the calibration held.
    pub due: String,
    /// The first day it was read with under it.
    pub from: String,
    /// The last.
    pub to: String,
    /// Whether it held at every one of these readings.
    pub held: bool,
}
