//! A number out of an instrument's reply (IEEE 488.2, sections 8.7.2 to 8.7.4: NR1, NR2, NR3).

use super::{Ask, REPLY_BYTES_MAX};
use crate::units::Unit;

/// SCPI-1999, volume 1, section 7.2.1.4: a value that is none. From memory, unverified.
const NOT_A_NUMBER: f64 = 9.91e37;
/// The same section: out of range upwards; its negative downwards. From memory, unverified.
const INFINITY: f64 = 9.9e37;

/// Why a reply is no reading. None of them ever becomes a number.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ReplyRefused {
    /// Nothing but blanks.
    #[error("the instrument answered with an empty line")]
    Empty,
    /// More than any number has.
    #[error("the instrument answered with more than {REPLY_BYTES_MAX} bytes")]
    TooLong,
    /// Data of another kind.
    #[error("the instrument answered with a block of data; a number is wanted")]
    Block,
    /// Not a number.
    #[error("{part:?} of the answer {reply:?} is no number")]
    NotANumber {
        /// The part that was read.
        part: String,
        /// What came, cut.
        reply: String,
    },
    /// Several numbers and the profile does not say which, or fewer than it says.
    #[error("the answer has {found} parts, and the profile wants part {wanted} of it")]
    Parts {
        /// How many there are.
        found: usize,
        /// Which one is wanted, from 1.
        wanted: usize,
    },
    /// A number in another unit than the profile's.
    #[error("the answer is in {found:?}, and the profile says {wanted}")]
    Unit {
        /// What stood behind the number.
        found: String,
        /// What the profile says.
        wanted: Unit,
    },
    /// The instrument says that it has no value, or none it can show.
    #[error("the instrument shows no value: it is {how}")]
    NoValue {
        /// How it says so.
        how: &'static str,
    },
    /// A queued error of the instrument.
    #[error("the instrument reports an error: {said}")]
    Reported {
        /// Its words.
        said: String,
    },
}

impl Ask {
    /// The reading in a reply, as text a person could have typed in the profile's unit.
    pub fn reading(&self, reply: &str) -> Result<String, ReplyRefused> {
        let reply = reply.trim();
        if reply.len() > REPLY_BYTES_MAX {
            return Err(ReplyRefused::TooLong);
        }
        if reply.is_empty() {
            return Err(ReplyRefused::Empty);
        }
        if reply.starts_with('#') {
            return Err(ReplyRefused::Block);
        }
        let parts: Vec<&str> = reply.split(',').map(str::trim).collect();
        let wanted = self.part.unwrap_or(1);
        // One that was meant alone and comes with others is not the one that was meant.
        if parts.len() < wanted || (self.part.is_none() && parts.len() > 1) {
            return Err(ReplyRefused::Parts { found: parts.len(), wanted });
        }
        let value = number(parts[wanted - 1], reply, self.unit)? * self.scale + self.offset;
        Ok(as_typed(value))
    }
}

/// The error in an answer to the error queue's query, if it holds one: `0,"No error"` does not.
pub fn error_entry(reply: &str) -> Result<(), ReplyRefused> {
    let said: String = reply.trim().chars().take(200).collect();
    let code = said.split(',').next().unwrap_or_default().trim();
    match code.parse::<i32>() {
        Ok(0) => Ok(()),
        Ok(_) => Err(ReplyRefused::Reported { said }),
        Err(_) => Err(ReplyRefused::NotANumber { part: code.to_owned(), reply: said }),
    }
}

/// A number with no unit behind it, or the expected one.
fn number(part: &str, reply: &str, unit: Unit) -> Result<f64, ReplyRefused> {
    let refused = || ReplyRefused::NotANumber {
        part: part.chars().take(40).collect(),
        reply: reply.chars().take(80).collect(),
    };
    let is_digit = |c: char| c.is_ascii_digit() || matches!(c, '.' | '+' | '-');
    let mantissa = part.find(|c| !is_digit(c)).unwrap_or(part.len());
    let end = mantissa + exponent(&part[mantissa..]);
    let value: f64 = part[..end].parse().map_err(|_| refused())?;
    let behind = part[end..].trim();
    if !behind.is_empty() {
        if !behind.chars().all(char::is_alphanumeric) {
            return Err(refused());
        }
        if suffix(unit) != Some(behind.to_ascii_uppercase().as_str()) {
            return Err(ReplyRefused::Unit { found: behind.to_owned(), wanted: unit });
        }
    }
    let like = |special: f64| (value.abs() / special - 1.0).abs() < 1e-6;
    match value {
        _ if like(NOT_A_NUMBER) => Err(ReplyRefused::NoValue { how: "not a number" }),
        _ if like(INFINITY) || !value.is_finite() => {
            Err(ReplyRefused::NoValue { how: "out of its range" })
        }
        value => Ok(value),
    }
}

/// How many bytes of `text` are an exponent, as in `E+02`.
fn exponent(text: &str) -> usize {
    let Some(rest) = text.strip_prefix(['e', 'E']) else { return 0 };
    let digits = rest.strip_prefix(['+', '-']).unwrap_or(rest);
    let count = digits.bytes().take_while(u8::is_ascii_digit).count();
    if count == 0 { 0 } else { text.len() - digits.len() + count }
}

/// How a unit is written behind a number (IEEE 488.2, section 7.7.3). Units that prefixes make
/// ambiguous are not taken.
fn suffix(unit: Unit) -> Option<&'static str> {
    match unit {
        Unit::Dbm => Some("DBM"),
        Unit::Microvolt => Some("UV"),
        Unit::DbMicrovolt => Some("DBUV"),
        Unit::Watt => Some("W"),
        Unit::Hertz => Some("HZ"),
        Unit::Kilohertz => Some("KHZ"),
        Unit::Ppm => Some("PPM"),
        Unit::MicrovoltEmf | Unit::Milliwatt => None,
    }
}

/// Nine significant digits without an exponent: more than any instrument has, and fewer than the
/// scaling's own rounding shows.
fn as_typed(value: f64) -> String {
    let rounded: f64 = format!("{value:.8e}").parse().expect("a number that was just written");
    // No instrument reads a negative nothing.
    let rounded = if rounded == 0.0 { 0.0 } else { rounded };
    format!("{rounded}")
}
