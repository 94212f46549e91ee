//! What a person typed, and the one step that turns it into a quantity.
//!
//! In: text as typed ("−121,5") and a unit. Out: a number in that unit, or why it is none. The text
//! itself is what the record keeps. Both "." and "," are decimal marks, so neither groups digits:
//! "1,234.5" is refused rather than guessed at.

use std::fmt;

use autosurgeon::{Hydrate, Reconcile};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::{Dbm, Hertz, Microvolts, OutOfRange, Ppm, Watts};
use crate::language::Language;

/// The units a reading can be entered in.
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
pub enum Unit {
    /// Level re 1 mW.
    #[serde(rename = "dBm")]
    #[autosurgeon(rename = "dBm")]
    Dbm,
    /// Microvolts at the terminals, 50 Ω.
    #[serde(rename = "uV")]
    #[autosurgeon(rename = "uV")]
    Microvolt,
    /// Microvolts open circuit (EMF): twice the closed-circuit voltage.
    #[serde(rename = "uV-emf")]
    #[autosurgeon(rename = "uV-emf")]
    MicrovoltEmf,
    /// Decibel re 1 µV at the terminals, 50 Ω.
    #[serde(rename = "dBuV")]
    #[autosurgeon(rename = "dBuV")]
    DbMicrovolt,
    /// Watts.
    #[serde(rename = "W")]
    #[autosurgeon(rename = "W")]
    Watt,
    /// Milliwatts.
    #[serde(rename = "mW")]
    #[autosurgeon(rename = "mW")]
    Milliwatt,
    /// Hertz.
    #[serde(rename = "Hz")]
    #[autosurgeon(rename = "Hz")]
    Hertz,
    /// Kilohertz.
    #[serde(rename = "kHz")]
    #[autosurgeon(rename = "kHz")]
    Kilohertz,
    /// Parts per million of the carrier.
    #[serde(rename = "ppm")]
    #[autosurgeon(rename = "ppm")]
    Ppm,
}

impl Unit {
    /// How the unit is written for people.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Dbm => "dBm",
            Self::Microvolt => "µV",
            Self::MicrovoltEmf => "µV EMF",
            Self::DbMicrovolt => "dBµV",
            Self::Watt => "W",
            Self::Milliwatt => "mW",
            Self::Hertz => "Hz",
            Self::Kilohertz => "kHz",
            Self::Ppm => "ppm",
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

/// A number somebody typed, in the unit they chose.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Entry {
    value: f64,
    unit: Unit,
}

/// Why an entry is no reading.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum EntryRefused {
    /// Not a number.
    #[error("{typed:?} is not a number such as -121.5 or -121,5")]
    NotANumber {
        /// The text as typed.
        typed: String,
    },
    /// A number, but none this quantity can have.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// A unit of another quantity.
    #[error("{unit} is no unit of {quantity}")]
    WrongUnit {
        /// The unit that was given.
        unit: Unit,
        /// The quantity that was asked for.
        quantity: &'static str,
    },
}

impl EntryRefused {
    /// Why, in a language.
    pub(crate) fn said(&self, language: Language) -> String {
        match self {
            _ if language == Language::English => self.to_string(),
            Self::NotANumber { typed } => {
                format!("« {typed} » n’est pas un nombre comme \u{2212}121,5 ou \u{2212}121.5")
            }
            Self::OutOfRange(number) => number.said(language),
            Self::WrongUnit { unit, quantity } => {
                let quantity = super::french::quantity(quantity).unwrap_or(quantity);
                format!("{unit} n’est pas une unité de : {quantity}")
            }
        }
    }
}

impl Entry {
    /// The longest entry taken; longer text is a slip of the finger or of a paste.
    pub const TEXT_MAX: usize = 24;

    /// Reads a typed number.
    pub fn parse(typed: &str, unit: Unit) -> Result<Self, EntryRefused> {
        let refused = || EntryRefused::NotANumber { typed: typed.chars().take(40).collect() };
        let text = typed.trim();
        let plain: String = text
            .chars()
            .map(|c| match c {
                '\u{2212}' => '-',
                ',' => '.',
                other => other,
            })
            .collect();
        let digits = |c: char| c.is_ascii_digit() || matches!(c, '.' | '-' | '+');
        if plain.len() > Self::TEXT_MAX || !plain.chars().all(digits) {
            return Err(refused());
        }
        let value = plain.parse::<f64>().map_err(|_| refused())?;
        Ok(Self { value, unit })
    }

    /// The number in the unit it was typed in.
    pub fn value(self) -> f64 {
        self.value
    }

    /// The unit it was typed in.
    pub fn unit(self) -> Unit {
        self.unit
    }

    /// This entry as a level.
    pub fn level(self) -> Result<Dbm, EntryRefused> {
        let level = match self.unit {
            Unit::Dbm => Dbm::new(self.value)?,
            Unit::Microvolt => Microvolts::closed_circuit(self.value)?.level(),
            Unit::MicrovoltEmf => Microvolts::from_emf(self.value)?.level(),
            Unit::DbMicrovolt => {
                let microvolts = 10f64.powf(self.value / 20.0);
                Microvolts::closed_circuit(microvolts)?.level()
            }
            Unit::Watt => Watts::new(self.value)?.level(),
            Unit::Milliwatt => Watts::new(self.value / 1000.0)?.level(),
            unit => {
                return Err(EntryRefused::WrongUnit { unit, quantity: "level or power" });
            }
        };
        Ok(level)
    }

    /// This entry as a frequency error at a carrier, or as a deviation.
    pub fn offset(self, carrier: Hertz) -> Result<Hertz, EntryRefused> {
        let offset = match self.unit {
            Unit::Hertz => Hertz::offset(self.value)?,
            Unit::Kilohertz => Hertz::offset(self.value * 1000.0)?,
            Unit::Ppm => Ppm::new(self.value)?.at(carrier),
            unit => {
                return Err(EntryRefused::WrongUnit {
                    unit,
                    quantity: "frequency error or deviation",
                });
            }
        };
        Ok(offset)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn level(typed: &str, unit: Unit) -> Result<f64, EntryRefused> {
        Entry::parse(typed, unit)?.level().map(Dbm::dbm)
    }

    #[test]
    fn every_spelling_of_one_reading_means_the_same() {
        // HANDBOOK U1-U4, calculated there.
        for (typed, unit) in [
            ("-120.969", Unit::Dbm),
            ("\u{2212}120,969", Unit::Dbm),
            (" -120.969 ", Unit::Dbm),
            ("0.2", Unit::Microvolt),
            ("0,4", Unit::MicrovoltEmf),
            ("-13.979", Unit::DbMicrovolt),
        ] {
            let got = level(typed, unit).unwrap();
            assert!((got - -120.969).abs() < 0.001, "{typed} {unit} was read as {got} dBm");
        }
        assert!((level("50", Unit::Watt).unwrap() - 46.990).abs() < 0.001);
        assert!((level("50000", Unit::Milliwatt).unwrap() - 46.990).abs() < 0.001);
    }

    #[test]
    fn offsets_read_in_all_three_units() {
        let carrier = Hertz::carrier(155e6).unwrap();
        for (typed, unit) in
            [("387.5", Unit::Hertz), ("0.3875", Unit::Kilohertz), ("2.5", Unit::Ppm)]
        {
            // HANDBOOK 2.1 "Tests": 155 MHz × 2.5 ppm = 387.5 Hz.
            let got = Entry::parse(typed, unit).unwrap().offset(carrier).unwrap().hertz();
            assert!((got - 387.5).abs() < 1e-9, "{typed} {unit} was read as {got} Hz");
        }
    }

    #[test]
    fn what_is_no_number_or_no_such_unit_is_refused_by_name() {
        for typed in ["", "abc", "NaN", "inf", "1,234.5", "1e5", "--3", "9".repeat(30).as_str()] {
            assert!(
                matches!(level(typed, Unit::Dbm), Err(EntryRefused::NotANumber { .. })),
                "{typed:?} was taken"
            );
        }
        assert_eq!(
            level("5", Unit::Hertz).unwrap_err().to_string(),
            "Hz is no unit of level or power"
        );
        assert_eq!(
            level("250", Unit::Dbm).unwrap_err().to_string(),
            "level of 250 dBm is outside -250 to 150 dBm"
        );
        let carrier = Hertz::carrier(155e6).unwrap();
        assert!(Entry::parse("5", Unit::Watt).unwrap().offset(carrier).is_err());
    }
}
