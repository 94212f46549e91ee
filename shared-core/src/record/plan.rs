//! A plan's shapes, as the shop document keeps them and the shipped plan is written: checks, limits
//! and the cautions a shop adds.
//!
//! Plain data. What holds a plan together, and how a check is judged, is the business of
//! `checks::plan` and `checks::judge`.

use autosurgeon::{Hydrate, Reconcile};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::session::Plane;
pub use crate::units::Reads;

/// A part of the visit.
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
pub enum Stage {
    /// Hazards, people, instruments.
    #[autosurgeon(rename = "prepare")]
    Prepare,
    /// The receiver alone.
    #[autosurgeon(rename = "receiver")]
    Receiver,
    /// The transmitter alone.
    #[autosurgeon(rename = "transmitter")]
    Transmitter,
    /// The duplexer's two paths.
    #[autosurgeon(rename = "duplexer")]
    Duplexer,
    /// Receiver and transmitter together.
    #[autosurgeon(rename = "desense")]
    Desense,
}

impl Stage {
    /// The trade's word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Prepare => "prepare",
            Self::Receiver => "receiver",
            Self::Transmitter => "transmitter",
            Self::Duplexer => "duplexer",
            Self::Desense => "desense",
        }
    }
}

/// What of a reading is judged.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate,
)]
#[serde(rename_all = "kebab-case")]
pub enum Judges {
    /// The quantity at the plane.
    #[autosurgeon(rename = "itself")]
    Itself,
    /// What is lost between the other reading and this one, in dB.
    #[autosurgeon(rename = "loss")]
    Loss,
    /// How far this one lies over the other, in dB.
    #[autosurgeon(rename = "rise")]
    Rise,
    /// How well this one and the other agree, in dB.
    #[autosurgeon(rename = "agreement")]
    Agreement,
}

/// How the instrument meets the plane.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate,
)]
#[serde(rename_all = "kebab-case")]
pub enum Through {
    /// Straight on.
    #[autosurgeon(rename = "direct")]
    Direct,
    /// Through a coupler whose through line goes into a load.
    #[autosurgeon(rename = "coupler")]
    Coupler,
    /// Through a coupler whose through line goes on to the site's antenna.
    #[autosurgeon(rename = "antenna")]
    Antenna,
}

/// How a limit bounds a value.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate,
)]
#[serde(rename_all = "kebab-case")]
pub enum LimitKind {
    /// Not more than number + allow.
    #[autosurgeon(rename = "at-most")]
    AtMost,
    /// From number − allow_below to number + allow_above.
    #[autosurgeon(rename = "around")]
    Around,
    /// From −number to +number.
    #[autosurgeon(rename = "within")]
    Within,
}

/// Where a limit's number comes from.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate,
)]
#[serde(rename_all = "kebab-case")]
pub enum LimitOf {
    /// The receiver's rating, dBm.
    #[autosurgeon(rename = "rated-opening-level")]
    RatedOpeningLevel,
    /// The transmitter's rating, as a level in dBm.
    #[autosurgeon(rename = "rated-power")]
    RatedPower,
    /// The duplexer's rating, dB.
    #[autosurgeon(rename = "rated-transmit-loss")]
    RatedTransmitLoss,
    /// The duplexer's rating, dB.
    #[autosurgeon(rename = "rated-receive-loss")]
    RatedReceiveLoss,
    /// The region's table, Hz at the carrier.
    #[autosurgeon(rename = "frequency-tolerance")]
    FrequencyTolerance,
    /// The region's table, Hz.
    #[autosurgeon(rename = "channel-deviation")]
    ChannelDeviation,
    /// The number in the plan, in the judged value's unit.
    #[autosurgeon(rename = "fixed")]
    Fixed,
}

/// A limit as the plan states it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct LimitRule {
    /// How it bounds.
    pub kind: LimitKind,
    /// Where its number comes from.
    pub of: LimitOf,
    /// The number, for `fixed`.
    #[serde(default)]
    pub value: Option<f64>,
    /// Added to the number, for `at-most` and `within`.
    #[serde(default)]
    pub allow: f64,
    /// Allowed below, for `around`.
    #[serde(default)]
    pub allow_below: f64,
    /// Allowed above, for `around`.
    #[serde(default)]
    pub allow_above: f64,
    /// What it rests on.
    pub source: String,
    /// False where a number in this rule is from memory.
    #[serde(default = "verified")]
    pub verified: bool,
}

fn verified() -> bool {
    true
}

/// One check.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Check {
    /// Its id, as in `duplexer.transmit-loss`.
    pub id: String,
    /// What the crew calls it.
    pub title: String,
    /// The part of the visit.
    pub stage: Stage,
    /// Where it is taken.
    pub plane: Plane,
    /// How the instrument meets the plane.
    pub through: Through,
    /// What is typed in.
    pub reads: Reads,
    /// What of it is judged.
    pub judges: Judges,
    /// The other reading, for all but `itself`.
    #[serde(default)]
    pub from: Option<String>,
    /// What counts as the result.
    pub criterion: String,
    /// Whether the transmitter is keyed.
    pub keyed: bool,
    /// How far a repeat differs: half-width, in dB or Hz as the reading is. Common practice.
    pub repeat: f64,
    /// From how many repeats on their own scatter takes that number's place and their mean is
    /// judged: at least 2. None: each reading is judged by itself.
    #[serde(default)]
    pub repeats_from: Option<u32>,
    /// Made only where something points to it: it is not missing when it was not made.
    #[serde(default)]
    pub optional: bool,
    /// How to connect and read.
    pub instruction: String,
    /// Cautions before it, by id.
    pub cautions: Vec<String>,
    /// Its limit.
    pub limit: LimitRule,
}

/// A caution of the shop's own, said beside the shipped ones.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct ShopCaution {
    /// The stage it goes before.
    pub stage: Stage,
    /// Whether it must be acknowledged before a reading of that stage with the transmitter keyed.
    pub keyed: bool,
    /// A few words.
    pub title: String,
    /// What is said. It ends with the deferral by itself.
    pub text: String,
}
