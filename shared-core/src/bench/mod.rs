//! The bench: every calculation of the core as a question and an answer in plain data.
//!
//! In: a [`BenchQuestion`], numbers with their unit in the field's name. Out: a [`BenchAnswer`] of
//! the same topic, or a [`BenchRefused`] that names quantity, value and range. It only turns plain
//! numbers into quantities and back: the formulas stand in `rf`, `uncertainty` and `limits`. It
//! knows no document. A topic is one file here and one line in the table below; the command line,
//! the desk and the schema follow from that line.

mod audio;
mod carrier_null;
mod desense;
mod iq;
mod level;
mod squelch;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

pub use audio::{AudioAnswer, AudioQuestion, HeardTone};
pub use carrier_null::{CarrierNullAnswer, CarrierNullQuestion};
pub use desense::{DesenseAnswer, DesenseQuestion};
pub use iq::{CarriedTone, IqAnswer, IqQuestion};
pub use level::{LevelAnswer, LevelQuestion};
pub use squelch::{DcsCodeAnswer, DcsCodeQuestion, FoundDcs, FoundTone, ToneAnswer, ToneQuestion};

use crate::rf::audio::AudioRefused;
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
    /// How clean the audio of a WAV recording is, and which squelch tone or code it carries.
    "audio" Audio: AudioQuestion => AudioAnswer;
    /// The deviation at a null of the carrier, or the tone that makes the null.
    "carrier-null" CarrierNull: CarrierNullQuestion => CarrierNullAnswer;
    /// Frequency error, deviation and SINAD from a SigMF recording of a carrier.
    "iq" Iq: IqQuestion => IqAnswer;
    /// Which squelch tone a frequency is, if any.
    "tone" Tone: ToneQuestion => ToneAnswer;
    /// The word of a digital squelch code, and the codes it may be read as.
    "dcs-code" DcsCode: DcsCodeQuestion => DcsCodeAnswer;
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
    /// A recording that says nothing, or a tone or code that is none.
    #[error(transparent)]
    Audio(#[from] AudioRefused),
    /// A file's bytes that are not written as base64.
    #[error("{field} is not base64: {source}")]
    Base64 {
        /// The field they stand in.
        field: &'static str,
        /// What is wrong, and where.
        source: base64::DecodeError,
    },
    /// Two fields of which one is to be found from the other.
    #[error("either {one} or {other} is wanted, and not both")]
    EitherOr {
        /// One field.
        one: &'static str,
        /// The other.
        other: &'static str,
    },
}

/// The bytes of a field, which may be no more than `bytes_max`.
fn bytes_of(field: &'static str, text: &str, bytes_max: usize) -> Result<Vec<u8>, BenchRefused> {
    // Four letters a three bytes: what would come out too large is not decoded at all.
    let bytes = text.len() / 4 * 3;
    if bytes > bytes_max + 3 {
        return Err(AudioRefused::TooLarge { bytes, most: bytes_max }.into());
    }
    STANDARD.decode(text).map_err(|source| BenchRefused::Base64 { field, source })
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
