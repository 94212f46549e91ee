//! Emission designators, read and made. Formulas: [`crate::rf::emission`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use crate::language::Language;
use crate::rf::emission::{
    Bandwidth, Emission, FADING_CARRIER_K, SHIFT_KEYING_K, VOICE_K, frequency_modulation_hz,
    keyed_carrier_hz, modulation_index, morse_bd, shift_keying_hz,
};

/// A designator to read, or what to make one from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "kebab-case")]
pub enum EmissionQuestion {
    /// A designator as written, as in `16K0F3E`.
    Designator(String),
    /// A bandwidth.
    Bandwidth(EmissionOfBandwidth),
    /// Frequency modulation.
    FrequencyModulation(EmissionOfModulation),
    /// Frequency shift keying.
    ShiftKeying(EmissionOfShift),
    /// A keyed carrier, as in Morse.
    KeyedCarrier(EmissionOfKeying),
}

/// An emission of a bandwidth that is known.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct EmissionOfBandwidth {
    /// The necessary bandwidth, in hertz.
    pub bandwidth_hz: f64,
    /// Three to five symbols, as in `F3E`.
    pub symbols: String,
}

/// An emission by frequency modulation.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct EmissionOfModulation {
    /// The highest modulating frequency, in hertz.
    pub highest_hz: f64,
    /// The peak deviation, in hertz.
    pub deviation_hz: f64,
    /// The factor K; 1 if left out.
    pub k: Option<f64>,
    /// Three to five symbols, as in `F3E`.
    pub symbols: String,
}

/// An emission by frequency shift keying.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct EmissionOfShift {
    /// The keying rate, in baud.
    pub rate_bd: f64,
    /// The shift between the two frequencies, in hertz.
    pub shift_hz: f64,
    /// The factor K; 1.2 if left out.
    pub k: Option<f64>,
    /// Three to five symbols, as in `F1D`.
    pub symbols: String,
}

/// An emission by keying a carrier.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct EmissionOfKeying {
    /// The speed in words a minute.
    pub speed_wpm: f64,
    /// The factor K; 5 if left out, for a fading path.
    pub k: Option<f64>,
    /// Three to five symbols, as in `A1A`.
    pub symbols: String,
}

/// A symbol and what it says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct EmissionSymbol {
    /// The symbol.
    pub symbol: String,
    /// What its place says of an emission.
    pub place: String,
    /// What the symbol says there.
    pub words: String,
}

/// The designator with its meaning.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct EmissionAnswer {
    /// The designator.
    pub designator: String,
    /// The bandwidth it writes, rounded as published.
    pub bandwidth_hz: f64,
    /// The bandwidth before rounding; none where a designator was read.
    pub exact_hz: Option<f64>,
    /// Deviation over highest modulating frequency, for frequency modulation.
    pub modulation_index: Option<f64>,
    /// Its symbols.
    pub symbols: Vec<EmissionSymbol>,
}

impl EmissionQuestion {
    pub(super) fn answer_in(&self, language: Language) -> Result<EmissionAnswer, BenchRefused> {
        let mut index = None;
        let (exact_hz, symbols) = match self {
            Self::Designator(text) => {
                return Ok(told(&Emission::parse(text)?, None, None, language));
            }
            Self::Bandwidth(of) => (of.bandwidth_hz, &of.symbols),
            Self::FrequencyModulation(of) => {
                index = Some(modulation_index(of.deviation_hz, of.highest_hz)?);
                let k = of.k.unwrap_or(VOICE_K);
                (frequency_modulation_hz(of.highest_hz, of.deviation_hz, k)?, &of.symbols)
            }
            Self::ShiftKeying(of) => {
                let k = of.k.unwrap_or(SHIFT_KEYING_K);
                (shift_keying_hz(of.rate_bd, of.shift_hz, k)?, &of.symbols)
            }
            Self::KeyedCarrier(of) => {
                let rate = morse_bd(of.speed_wpm)?;
                (keyed_carrier_hz(rate, of.k.unwrap_or(FADING_CARRIER_K))?, &of.symbols)
            }
        };
        let emission = Emission::new(Bandwidth::from_hertz(exact_hz)?, symbols)?;
        Ok(told(&emission, Some(exact_hz), index, language))
    }
}

fn told(
    emission: &Emission,
    exact_hz: Option<f64>,
    index: Option<f64>,
    language: Language,
) -> EmissionAnswer {
    let symbols = emission.meanings(language).into_iter().map(|meaning| EmissionSymbol {
        symbol: meaning.symbol.to_string(),
        place: meaning.place.to_owned(),
        words: meaning.words.to_owned(),
    });
    EmissionAnswer {
        designator: emission.to_string(),
        bandwidth_hz: emission.bandwidth().hertz(),
        exact_hz,
        modulation_index: index,
        symbols: symbols.collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(json: &str) -> Result<EmissionAnswer, BenchRefused> {
        serde_json::from_str::<EmissionQuestion>(json).unwrap().answer_in(Language::English)
    }

    #[test]
    fn designators_both_ways() {
        // HANDBOOK B1: 3 kHz and 5 kHz make 16K0F3E.
        let made = asked(
            r#"{"frequency-modulation":
                {"highest_hz": 3000, "deviation_hz": 5000, "symbols": "F3E"}}"#,
        );
        let made = made.unwrap();
        assert_eq!(made.designator, "16K0F3E");
        assert!((made.modulation_index.unwrap() - 1.6667).abs() < 1e-4);
        let read = asked(r#"{"designator": "16K0F3E"}"#).unwrap();
        assert!((read.bandwidth_hz - 16e3).abs() < 1e-9);
        assert_eq!(read.symbols, made.symbols);
        assert_eq!(read.symbols[2].words, "telephony");
    }

    #[test]
    fn keyed_kinds_and_their_usual_factors() {
        // HANDBOOK B5, B9.
        let made = r#"{"shift-keying": {"rate_bd": 9600, "shift_hz": 4800, "symbols": "F1D"}}"#;
        assert_eq!(asked(made).unwrap().designator, "15K4F1D");
        let made = r#"{"keyed-carrier": {"speed_wpm": 13, "symbols": "A1A"}}"#;
        assert!((asked(made).unwrap().exact_hz.unwrap() - 52.0).abs() < 1e-9);
        let made = r#"{"bandwidth": {"bandwidth_hz": 999.6, "symbols": "f3e"}}"#;
        assert_eq!(asked(made).unwrap().designator, "1K00F3E");
    }

    #[test]
    fn what_makes_no_designator_is_refused() {
        let made = r#"{"bandwidth": {"bandwidth_hz": 0, "symbols": "F3E"}}"#;
        assert!(matches!(asked(made), Err(BenchRefused::Emission(_))));
        let made = r#"{"bandwidth": {"bandwidth_hz": 5, "symbols": "F"}}"#;
        assert!(matches!(asked(made), Err(BenchRefused::Emission(_))));
        for unknown in [
            r#"{"bandwidth": {"bandwidth_hz": 5, "symbols": "F3E", "tetx": 1}}"#,
            r#"{"designator": "16K0F3E", "tetx": 1}"#,
            r#"{"tetx": "16K0F3E"}"#,
        ] {
            assert!(serde_json::from_str::<EmissionQuestion>(unknown).is_err(), "{unknown}");
        }
    }
}
