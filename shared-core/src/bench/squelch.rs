//! Squelch tones and codes. Formulas and tables: [`crate::rf::audio::tones`] and
//! [`crate::rf::audio::dcs`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use crate::rf::audio::Samples;
use crate::rf::audio::dcs::{self, Code};
use crate::rf::audio::tones;

/// A frequency, measured or as somebody wrote it down.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct ToneQuestion {
    /// The frequency.
    pub frequency_hz: f64,
}

/// What it is among the squelch tones.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct ToneAnswer {
    /// If it was measured: the tone a decoder takes it for, within ±0.5 %.
    pub measured_as_hz: Option<f64>,
    /// If it was written down: the tone it is. None for 150.0 and 203.3, which are none.
    pub listed_hz: Option<f64>,
    /// The nearest tone of the table.
    pub nearest_hz: f64,
    /// How far the frequency lies above that.
    pub off_percent: f64,
    /// Where the table stands.
    pub source: String,
}

impl ToneQuestion {
    pub(super) fn answer(&self) -> Result<ToneAnswer, BenchRefused> {
        let found = tones::identify(self.frequency_hz)?;
        Ok(ToneAnswer {
            measured_as_hz: found.measured_as_hz,
            listed_hz: found.listed_hz,
            nearest_hz: found.nearest_hz,
            off_percent: found.off_percent,
            source: tones::source(),
        })
    }
}

/// A code of digital squelch.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct DcsCodeQuestion {
    /// Three digits from 0 to 7, as it is written: `023`.
    pub code: String,
}

/// What is sent for it, and what that may be read as.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct DcsCodeAnswer {
    /// Whether it is one of the 104 of the table.
    pub standard: bool,
    /// The 23 bits, the one that is sent first on the right.
    pub word_binary: String,
    /// The same as a hexadecimal number.
    pub word_hex: String,
    /// The code of the table that it reads as upside down.
    pub inverse: Option<String>,
    /// Other codes that the same bits read as when begun elsewhere.
    pub rotations: Vec<String>,
    /// Where the table stands.
    pub source: String,
}

impl DcsCodeQuestion {
    pub(super) fn answer(&self) -> Result<DcsCodeAnswer, BenchRefused> {
        let code: Code = self.code.parse()?;
        Ok(DcsCodeAnswer {
            standard: code.is_standard(),
            word_binary: format!("{:023b}", code.word()),
            word_hex: format!("0x{:06X}", code.word()),
            inverse: code.inverse().map(|code| code.to_string()),
            rotations: code.rotations().iter().map(Code::to_string).collect(),
            source: dcs::source(),
        })
    }
}

/// A tone found below the voice.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct FoundTone {
    /// Its frequency.
    pub frequency_hz: f64,
    /// The tone a decoder takes it for. None where it is of no table, like 150.0 Hz.
    pub measured_as_hz: Option<f64>,
    /// The nearest tone of the table.
    pub nearest_hz: f64,
    /// How far it lies above that.
    pub off_percent: f64,
    /// Its peak: of a recording's full scale, or of a carrier the deviation in hertz.
    pub peak: f64,
}

impl FoundTone {
    pub(super) fn below(samples: &Samples) -> Option<Self> {
        let tones::Found { identified, amplitude } = tones::find(samples)?;
        Some(Self {
            frequency_hz: identified.frequency_hz,
            measured_as_hz: identified.measured_as_hz,
            nearest_hz: identified.nearest_hz,
            off_percent: identified.off_percent,
            peak: amplitude,
        })
    }
}

/// A code found below the voice.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct FoundDcs {
    /// As read with a rise for a one.
    pub code: String,
    /// As read the other way up: only the radio's setting tells which was meant.
    pub inverse: Option<String>,
    /// How many words in a row were read without an error.
    pub words: u64,
    /// Half of its swing: of a recording's full scale, or of a carrier the deviation in hertz.
    pub peak: f64,
}

impl FoundDcs {
    pub(super) fn below(samples: &Samples) -> Option<Self> {
        let found = dcs::find(samples)?;
        Some(Self {
            code: found.code.to_string(),
            inverse: found.inverse.map(|code| code.to_string()),
            words: found.words as u64,
            peak: found.amplitude,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_typo_tone_is_told_from_a_measured_one() {
        let asked = |frequency_hz| ToneQuestion { frequency_hz }.answer();
        let typo = asked(203.3).unwrap();
        assert_eq!((typo.measured_as_hz, typo.listed_hz), (Some(203.5), None));
        let odd = asked(150.0).unwrap();
        assert_eq!((odd.measured_as_hz, odd.listed_hz, odd.nearest_hz), (None, None, 151.4));
        assert!(matches!(asked(f64::NAN), Err(BenchRefused::Audio(_))));
    }

    #[test]
    fn a_code_comes_with_what_it_may_be_read_as() {
        // HANDBOOK 2.8: 023 is 0x763813, reads as 340 and 766 too, upside down as 047.
        let found = DcsCodeQuestion { code: "023".to_owned() }.answer().unwrap();
        assert_eq!(found.word_hex, "0x763813");
        assert_eq!(found.word_binary, "11101100011100000010011");
        assert_eq!((found.inverse.as_deref(), found.standard), (Some("047"), true));
        assert_eq!(found.rotations, ["340", "766"]);
        let refused = DcsCodeQuestion { code: "080".to_owned() }.answer().unwrap_err();
        assert!(refused.to_string().contains("080"), "{refused}");
    }
}
