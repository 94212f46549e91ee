//! An instrument's profile: a TOML text the shop writes, which says how each quantity is asked for.
//!
//! In: text. Out: a [`Profile`], or what is wrong and on which line. What it may hold is narrow on
//! purpose: queries, and at most one command, which sets a generator's level to a number within
//! bounds. Several messages in one, common commands, and words that key a transmitter are refused.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::MESSAGE_BYTES_MAX;
use crate::units::{Dbm, Entry, EntryRefused, Reads, Unit};

/// What the text is called, so that another kind of text is not taken for one.
const FORM: &str = "guyline instrument, form 1";
/// Where the level goes in the command that sets it.
const VALUE: &str = "{value}";
/// Parts of a command that would key a transmitter, or let its power out. Common practice, no
/// source: the profile's narrow form is the protection, this is the second one.
const KEYING: [&str; 6] = ["KEY", "PTT", "XMIT", "TRAN", "OUTP", "TX"];
/// How long an instrument may take, in milliseconds.
const TIMEOUT_MS: std::ops::RangeInclusive<u64> = 50..=60_000;

/// How an instrument is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Profile {
    /// Maker and model as `*IDN?` gives them, with a comma between.
    pub identity: String,
    /// How long one answer may take, in milliseconds.
    pub timeout_ms: u64,
    /// What asks for the oldest entry of its queue of errors, where it has one.
    pub errors: Option<String>,
    /// What asks for each quantity, by its name in the plan, as `frequency-error`.
    pub reads: BTreeMap<String, Ask>,
    /// How its generator's level is set. Without it, it never is.
    pub level: Option<SetLevel>,
}

/// How a quantity is asked for.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Ask {
    /// The query.
    pub query: String,
    /// The unit of the answer, once it is scaled.
    pub unit: Unit,
    /// What the answer is multiplied by.
    #[serde(default = "one")]
    pub scale: f64,
    /// What is added then.
    #[serde(default)]
    pub offset: f64,
    /// Which part of an answer with commas, from 1. Without it the answer is one number.
    #[serde(default)]
    pub part: Option<usize>,
}

/// How a generator's level is set.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SetLevel {
    /// The command, with `{value}` where the number goes.
    pub command: String,
    /// The unit of the number: dBm, uV, uV-emf or dBuV.
    pub unit: Unit,
    /// The least level it gives, in that unit.
    pub least: f64,
    /// The most level it gives, in that unit.
    pub most: f64,
}

/// Why a text is no profile.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ProfileRefused {
    /// It is no TOML, or not this TOML.
    #[error("line {line}, column {column}: {what}")]
    Text {
        /// From 1.
        line: usize,
        /// From 1.
        column: usize,
        /// What is wrong.
        what: String,
    },
    /// A value that cannot be.
    #[error("{at}: {what}")]
    Value {
        /// Which.
        at: String,
        /// What is wrong with it.
        what: String,
    },
}

/// Why a level is not sent.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LevelRefused {
    /// It is no level.
    #[error(transparent)]
    Entry(#[from] EntryRefused),
    /// The instrument does not give it.
    #[error("{level} dBm is outside the {least} to {most} dBm that the profile allows")]
    OutOfBounds {
        /// What was asked for, in dBm.
        level: String,
        /// The least, in dBm.
        least: String,
        /// The most, in dBm.
        most: String,
    },
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    form: String,
    identity: String,
    #[serde(default = "two_seconds")]
    timeout_ms: u64,
    #[serde(default)]
    errors: Option<String>,
    #[serde(default)]
    reads: BTreeMap<String, Ask>,
    #[serde(default)]
    level: Option<SetLevel>,
}

fn one() -> f64 {
    1.0
}

fn two_seconds() -> u64 {
    2_000
}

impl Profile {
    /// Reads a profile.
    pub fn parse(text: &str) -> Result<Self, ProfileRefused> {
        let written: Written = toml::from_str(text).map_err(|error| place(text, &error))?;
        if written.form != FORM {
            return Err(wrong("form", format!("is {:?}, and {FORM:?} is known", written.form)));
        }
        if written.identity.split(',').filter(|part| !part.trim().is_empty()).count() != 2 {
            let what = "names maker and model as *IDN? gives them, with one comma between";
            return Err(wrong("identity", what.to_owned()));
        }
        if !TIMEOUT_MS.contains(&written.timeout_ms) {
            let (least, most) = (TIMEOUT_MS.start(), TIMEOUT_MS.end());
            return Err(wrong("timeout_ms", format!("lies outside {least} to {most}")));
        }
        if let Some(errors) = &written.errors {
            query("errors", errors)?;
        }
        for (quantity, ask) in &written.reads {
            ask.check(quantity)?;
        }
        if let Some(level) = &written.level {
            level.check()?;
        }
        let Written { identity, timeout_ms, errors, reads, level, .. } = written;
        Ok(Self { identity, timeout_ms, errors, reads, level })
    }

    /// How a check's quantity is asked for, where the profile says.
    pub fn ask(&self, reads: Reads) -> Option<&Ask> {
        self.reads.get(reads.name())
    }
}

impl Ask {
    fn check(&self, quantity: &str) -> Result<(), ProfileRefused> {
        let at = |field: &str| format!("reads.{quantity}.{field}");
        let Some(reads) = Reads::ALL.into_iter().find(|reads| reads.name() == quantity) else {
            let known = Reads::ALL.map(Reads::name).join(", ");
            return Err(wrong("reads", format!("{quantity:?} is none of {known}")));
        };
        query(&at("query"), &self.query)?;
        if !reads.units().contains(&self.unit) {
            return Err(wrong(&at("unit"), format!("{} is no unit of {quantity}", self.unit)));
        }
        if !self.scale.is_finite() || self.scale == 0.0 {
            return Err(wrong(&at("scale"), "makes no number of any other".to_owned()));
        }
        if !self.offset.is_finite() {
            return Err(wrong(&at("offset"), "is no number".to_owned()));
        }
        match self.part {
            Some(part) if !(1..=1_000).contains(&part) => {
                Err(wrong(&at("part"), "counts from 1 to 1000".to_owned()))
            }
            _ => Ok(()),
        }
    }
}

impl SetLevel {
    /// What to send for a level, if the instrument is meant to give it. `typed` may be in any unit
    /// of a level.
    pub fn message(&self, typed: &str, unit: Unit) -> Result<String, LevelRefused> {
        let level = Entry::parse(typed, unit)?.level()?;
        let in_dbm = |value: f64| self.in_dbm(value).expect("bounds were read with the profile");
        let (least, most) = (in_dbm(self.least), in_dbm(self.most));
        if level.dbm() < least.dbm() - 1e-9 || level.dbm() > most.dbm() + 1e-9 {
            let shown = |level: Dbm| crate::units::shown(level.dbm(), 1);
            let (level, least, most) = (shown(level), shown(least), shown(most));
            return Err(LevelRefused::OutOfBounds { level, least, most });
        }
        let value = match self.unit {
            Unit::Microvolt => level.microvolts().microvolts(),
            // Open circuit it is twice as much.
            Unit::MicrovoltEmf => 2.0 * level.microvolts().microvolts(),
            Unit::DbMicrovolt => 20.0 * level.microvolts().microvolts().log10(),
            _ => level.dbm(),
        };
        Ok(self.command.replace(VALUE, &format!("{value:.3}")))
    }

    fn in_dbm(&self, value: f64) -> Result<Dbm, EntryRefused> {
        Entry::parse(&format!("{value}"), self.unit)?.level()
    }

    fn check(&self) -> Result<(), ProfileRefused> {
        let at = "level.command";
        message(at, &self.command)?;
        if self.command.matches(VALUE).count() != 1 {
            return Err(wrong(at, format!("says {VALUE} once, where the number goes")));
        }
        if self.command.contains('?') {
            return Err(wrong(at, "asks instead of setting".to_owned()));
        }
        let header = self.command.split_whitespace().next().unwrap_or_default();
        let upper = header.to_ascii_uppercase();
        if let Some(word) = KEYING.iter().find(|word| has_mnemonic(&upper, word)) {
            let what = format!("{word} in {header:?} could key a transmitter; nothing here does");
            return Err(wrong(at, what));
        }
        if !Reads::Level.units().contains(&self.unit) {
            return Err(wrong("level.unit", format!("{} is no unit of a level", self.unit)));
        }
        for (at, value) in [("level.least", self.least), ("level.most", self.most)] {
            self.in_dbm(value).map_err(|error| wrong(at, error.to_string()))?;
        }
        if self.least > self.most {
            return Err(wrong("level.most", "lies below level.least".to_owned()));
        }
        Ok(())
    }
}

/// Whether one of the colon-separated words of a header begins so.
fn has_mnemonic(header: &str, word: &str) -> bool {
    header.split([':', '*']).any(|mnemonic| mnemonic.starts_with(word))
}

/// One message: printable, short, and not several.
fn message(at: &str, text: &str) -> Result<(), ProfileRefused> {
    if text.trim().is_empty() || text.len() > MESSAGE_BYTES_MAX {
        return Err(wrong(at, format!("has 1 to {MESSAGE_BYTES_MAX} characters")));
    }
    if let Some(odd) = text.chars().find(|c| !(' '..='~').contains(c)) {
        return Err(wrong(at, format!("holds {odd:?}; plain characters are sent, and no others")));
    }
    if text.contains(';') {
        return Err(wrong(at, "holds a semicolon: one message, and not several".to_owned()));
    }
    if text.trim_start().starts_with('*') {
        return Err(wrong(at, "is a common command, which a profile has no use for".to_owned()));
    }
    Ok(())
}

/// One query: its header ends with a question mark.
fn query(at: &str, text: &str) -> Result<(), ProfileRefused> {
    message(at, text)?;
    let header = text.split_whitespace().next().unwrap_or_default();
    if !header.ends_with('?') {
        return Err(wrong(at, format!("{header:?} does not end with a question mark: no query")));
    }
    Ok(())
}

fn wrong(at: &str, what: String) -> ProfileRefused {
    ProfileRefused::Value { at: at.to_owned(), what }
}

fn place(text: &str, error: &toml::de::Error) -> ProfileRefused {
    let start = error.span().map_or(0, |span| span.start.min(text.len()));
    let before = &text.as_bytes()[..start];
    let line = before.iter().filter(|byte| **byte == b'\n').count() + 1;
    let column = before.iter().rev().take_while(|byte| **byte != b'\n').count() + 1;
    ProfileRefused::Text { line, column, what: error.message().to_owned() }
}
