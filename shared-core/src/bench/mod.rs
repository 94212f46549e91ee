//! The bench: every calculation of the core as a question and an answer in plain data.
//!
//! In: a [`BenchQuestion`], numbers with their unit in the field's name. Out: a [`BenchAnswer`] of
//! the same topic, or a [`BenchRefused`] that names quantity, value and range. It only turns plain
//! numbers into quantities and back: the formulas stand in `rf`, `uncertainty` and `limits`. It
//! knows no document. A topic is one file here and one line in the table below; the command line,
//! the desk and the schema follow from that line.

mod bandwidth;
mod desense;
mod emission;
mod exposure;
mod level;
mod licence;
mod limits;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

pub use bandwidth::{BandwidthAnswer, BandwidthQuestion};
pub use desense::{DesenseAnswer, DesenseQuestion};
pub use emission::{
    EmissionAnswer, EmissionOfBandwidth, EmissionOfKeying, EmissionOfModulation, EmissionOfShift,
    EmissionQuestion, EmissionSymbol,
};
pub use exposure::{
    ExposureAnswer, ExposureEstimate, ExposureExemption, ExposureQuestion, ExposureShare,
    ExposureTransmitter,
};
pub use level::{LevelAnswer, LevelQuestion};
pub use licence::{LicenceAnswer, LicenceFound, LicenceQuestion};
pub use limits::{
    DeviationLimitAnswer, DeviationLimitQuestion, FigureLimitAnswer, FigureLimitQuestion,
    ToleranceAnswer, ToleranceQuestion,
};

use crate::limits::{LimitUnknown, ShopRowsRefused};
use crate::rf::emission::EmissionRefused;
use crate::rf::exposure::ExposureRefused;
use crate::units::{EntryRefused, OutOfRange};

/// Makes the question, the answer, the list of topics and [`ask`] from one table.
macro_rules! topics {
    ($($(#[doc = $doc:literal])+ $name:literal $variant:ident: $asks:ty => $gives:ty;)*) => {
        /// What the bench can be asked.
        #[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
        #[serde(tag = "topic", content = "with")]
        pub enum BenchQuestion {
            $($(#[doc = $doc])+ #[serde(rename = $name)] $variant($asks),)*
        }

        /// What the bench answers.
        #[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
        #[serde(tag = "topic", content = "found")]
        pub enum BenchAnswer {
            $($(#[doc = $doc])+ #[serde(rename = $name)] $variant($gives),)*
        }

        /// The topics in the order they are listed, each with what it answers.
        pub const TOPICS: &[(&str, &str)] = &[$(($name, concat!($($doc),+)),)*];

        /// Answers a question.
        pub fn ask(question: &BenchQuestion) -> Result<BenchAnswer, BenchRefused> {
            match question {
                $(BenchQuestion::$variant(given) => Ok(BenchAnswer::$variant(given.answer()?)),)*
            }
        }
    };
}

topics! {
    /// One level in every unit the trade writes it in.
    "level" Level: LevelQuestion => LevelAnswer;
    /// What a desense says of the interference behind it, and the isolation that is wanted.
    "desense" Desense: DesenseQuestion => DesenseAnswer;
    /// How far a carrier may be off, by region, band, channel and class.
    "tolerance" Tolerance: ToleranceQuestion => ToleranceAnswer;
    /// The most deviation on a channel.
    "deviation-limit" DeviationLimit: DeviationLimitQuestion => DeviationLimitAnswer;
    /// A figure of the region's measuring standard, such as audio distortion.
    "figure-limit" FigureLimit: FigureLimitQuestion => FigureLimitAnswer;
    /// The authorised bandwidth of a channel, and whether an emission fits it.
    "bandwidth" Bandwidth: BandwidthQuestion => BandwidthAnswer;
    /// An emission designator, read or made, with what its symbols say.
    "emission" Emission: EmissionQuestion => EmissionAnswer;
    /// A licence against carrier, output power and ERP as they were read.
    "licence" Licence: LicenceQuestion => LicenceAnswer;
    /// What transmitters make at a place against an exposure limit: a caution, never more.
    "exposure" Exposure: ExposureQuestion => ExposureAnswer;
}

/// Why a question has no answer.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum BenchRefused {
    /// A number that the quantity cannot have.
    #[error(transparent)]
    Number(#[from] OutOfRange),
    /// A number as typed that is none.
    #[error(transparent)]
    Entry(#[from] EntryRefused),
    /// A limit that is not known.
    #[error(transparent)]
    Limit(#[from] LimitUnknown),
    /// A shop's rows that are none.
    #[error(transparent)]
    ShopRows(#[from] ShopRowsRefused),
    /// An emission that has no designator, or a text that is none.
    #[error(transparent)]
    Emission(#[from] EmissionRefused),
    /// An exposure that cannot be estimated.
    #[error(transparent)]
    Exposure(#[from] ExposureRefused),
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_topic_is_listed_once_and_says_what_it_answers() {
        let mut names: Vec<&str> = TOPICS.iter().map(|(name, _)| *name).collect();
        for (name, answers) in TOPICS {
            assert!(answers.trim().ends_with('.'), "{name}: {answers:?} is no sentence");
        }
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), TOPICS.len());
    }

    #[test]
    fn a_question_in_another_shape_is_refused_with_its_field() {
        let read = serde_json::from_str::<BenchQuestion>;
        let refused = read(r#"{"topic": "colour", "with": {}}"#).unwrap_err().to_string();
        assert!(refused.contains("colour") && refused.contains("desense"), "{refused}");
        let refused = read(r#"{"topic": "desense", "with": {"kyed_dbm": 1}}"#).unwrap_err();
        assert!(refused.to_string().contains("kyed_dbm"), "{refused}");
    }
}
