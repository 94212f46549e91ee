//! The languages in which the core can say what it says, and how a sentence is written in both.
//!
//! Whoever asks names the language; nothing of it is stored, and no verdict depends on it. What
//! people typed, names and the wording of sources stay as they were written. What is said in
//! English only goes into a French sentence as such, in quotes.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

/// The languages.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "kebab-case")]
pub enum Language {
    /// English.
    #[default]
    English,
    /// French.
    French,
}

impl Language {
    /// The text of this language.
    pub fn pick<'a>(self, english: &'a str, french: &'a str) -> &'a str {
        match self {
            Self::English => english,
            Self::French => french,
        }
    }
}

/// What is said in English only, as it stands in a sentence of the language asked for.
pub(crate) fn english_only(language: Language, said: impl std::fmt::Display) -> String {
    match language {
        Language::English => said.to_string(),
        Language::French => format!("dit en anglais : « {said} »"),
    }
}

/// A sentence in the language asked for: both stand beside each other, so that none is forgotten.
#[macro_export]
macro_rules! say {
    ($language:expr, $english:literal, $french:literal $(, $($rest:tt)*)?) => {
        match $language {
            $crate::language::Language::English => format!($english $(, $($rest)*)?),
            $crate::language::Language::French => format!($french $(, $($rest)*)?),
        }
    };
}
pub use crate::say;
