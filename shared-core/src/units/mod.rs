//! Quantities as types: a level is not a ratio, a power is not a level, and none is a bare number.
//!
//! In: plain numbers and what a person typed. Out: finite values within a range that means
//! something, or a refusal that names quantity, value and range. Knows no check and no record.

pub mod entry;
mod french;
pub mod frequency;
pub mod length;
pub mod level;
pub mod loss;
pub mod power;
pub mod reads;
pub mod resistance;
pub mod voltage;

use std::ops::RangeInclusive;

use crate::language::{Language, english_only};

pub use entry::{Entry, EntryRefused, Unit};
pub use frequency::{Hertz, Ppm};
pub use length::Metres;
pub use level::{Db, Dbm};
pub use loss::Loss;
pub use power::Watts;
pub use reads::Reads;
pub use resistance::{Ohms, Volts};
pub use voltage::Microvolts;

/// A number that no reading or rating of this quantity can have.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{quantity} of {value}{space}{unit} is outside {min} to {max}{space}{unit}",
        // A ratio has no unit, and then no space before it.
        space = if .unit.is_empty() { "" } else { " " },
        min = .allowed.start(), max = .allowed.end())]
pub struct OutOfRange {
    /// The quantity that was given, in the trade's word.
    pub quantity: &'static str,
    /// The number that was given.
    pub value: f64,
    /// The unit it was given in.
    pub unit: &'static str,
    /// What would have been taken.
    pub allowed: RangeInclusive<f64>,
}

impl OutOfRange {
    /// The same in a language. What nobody on a screen can meet has no French name.
    pub(crate) fn said(&self, language: Language) -> String {
        let Self { quantity, value, unit, allowed } = self;
        let french = match (language, french::quantity(quantity)) {
            (Language::English, _) => return self.to_string(),
            (Language::French, None) => return english_only(language, self),
            (Language::French, Some(french)) => french,
        };
        let (least, most, unit) = (allowed.start(), allowed.end(), french::unit(unit));
        // A ratio has no unit, and then no space before it.
        let space = if unit.is_empty() { "" } else { " " };
        format!("{french} de {value}{space}{unit}, hors de {least} à {most}{space}{unit}")
    }
}

/// Refuses NaN, infinities and what lies outside `allowed`.
pub(crate) fn in_range(
    quantity: &'static str,
    value: f64,
    allowed: RangeInclusive<f64>,
    unit: &'static str,
) -> Result<f64, OutOfRange> {
    // `contains` is false for NaN, so NaN needs no test of its own.
    if allowed.contains(&value) {
        Ok(value)
    } else {
        Err(OutOfRange { quantity, value, unit, allowed })
    }
}

/// A number as people read it: so many decimals, a true minus sign, no negative zero.
pub fn shown(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest.to_owned(),
        Some(rest) => format!("\u{2212}{rest}"),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::shown;

    #[test]
    fn numbers_for_people_have_a_true_minus_and_no_negative_zero() {
        assert_eq!(shown(-121.04, 1), "\u{2212}121.0");
        assert_eq!(shown(-0.04, 1), "0.0");
        assert_eq!(shown(17.5, 0), "18");
    }
}
