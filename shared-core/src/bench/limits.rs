//! What a regulation allows on a channel, with its source: tolerance, deviation, figures. Look-ups:
//! [`crate::limits`].
//!
//! A number from memory is answered with `verified` false and the words "limit not verified".

use std::borrow::Cow;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use crate::language::{Language, say};
use crate::limits::{LimitTable, StationClass};
use crate::units::{Hertz, shown};

/// A region's table with a shop's own rows before it.
pub(super) fn table(
    region: &str,
    shop_rows_toml: Option<&str>,
) -> Result<Cow<'static, LimitTable>, BenchRefused> {
    let shipped = LimitTable::shipped(region)?;
    Ok(match shop_rows_toml {
        None => Cow::Borrowed(shipped),
        Some(text) => Cow::Owned(shipped.with_shop_rows(text)?),
    })
}

/// What is added to an answer whose limit is from memory.
pub(super) fn unverified(verified: bool, language: Language) -> &'static str {
    if verified {
        return "";
    }
    language.pick("; limit not verified", " ; limite non vérifiée")
}

/// How far a reading is inside its limit, or outside, as it goes on in a sentence.
pub(super) fn aside(margin: f64, unit: &str, language: Language) -> String {
    let off = shown(margin.abs(), 1);
    match margin < 0.0 {
        true => say!(language, "; {off} {unit} outside", " ; {off} {unit} en dehors"),
        false => say!(language, "; {off} {unit} inside", " ; {off} {unit} à l’intérieur"),
    }
}

/// A carrier and what it may be judged by.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct ToleranceQuestion {
    /// The region, as in `us`.
    pub region: String,
    /// The carrier, in hertz.
    pub carrier_hz: u64,
    /// The channel's width, in hertz.
    pub channel_hz: u64,
    /// The class of the station; a mobile's goes by its maximum rated output.
    pub station: StationClass,
    /// The frequency error that was read, in hertz, if it is to be compared.
    pub error_hz: Option<f64>,
    /// A shop's own rows, as TOML.
    pub shop_rows_toml: Option<String>,
}

/// How far the carrier may be off.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct ToleranceAnswer {
    /// The tolerance, to either side.
    pub tolerance_ppm: f64,
    /// The same at this carrier.
    pub tolerance_hz: f64,
    /// Text, section and date.
    pub source: String,
    /// False where the number is from memory.
    pub verified: bool,
    /// What the text says besides, of things that were not asked.
    pub notes: Vec<String>,
    /// The error that was read, in parts per million.
    pub error_ppm: Option<f64>,
    /// How far the error is inside the tolerance; negative outside.
    pub margin_hz: Option<f64>,
    /// The answer in words.
    pub words: String,
}

impl ToleranceQuestion {
    pub(super) fn answer_in(&self, language: Language) -> Result<ToleranceAnswer, BenchRefused> {
        let carrier = Hertz::carrier(self.carrier_hz as f64)?;
        let table = table(&self.region, self.shop_rows_toml.as_deref())?;
        let found = table.frequency_tolerance(self.carrier_hz, self.channel_hz, self.station)?;
        let tolerance_hz = found.value.at(carrier).hertz();
        let error = self.error_hz.map(Hertz::offset).transpose()?;
        let margin_hz = error.map(|error| tolerance_hz - error.hertz().abs());
        let mut words = say!(
            language,
            "±{} ppm is ±{tolerance_hz:.1} Hz",
            "±{} ppm font ±{tolerance_hz:.1} Hz",
            found.value.ppm()
        );
        if let Some(margin) = margin_hz {
            words.push_str(&aside(margin, "Hz", language));
        }
        words.push_str(unverified(found.verified, language));
        Ok(ToleranceAnswer {
            tolerance_ppm: found.value.ppm(),
            tolerance_hz,
            source: found.source,
            verified: found.verified,
            notes: found.notes,
            error_ppm: error.map(|error| error.relative_to(carrier).ppm()),
            margin_hz,
            words,
        })
    }
}

/// A channel whose deviation is limited.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct DeviationLimitQuestion {
    /// The region, as in `us`.
    pub region: String,
    /// The channel's width, in hertz.
    pub channel_hz: u64,
    /// The peak deviation that was read, in hertz, if it is to be compared.
    pub deviation_hz: Option<f64>,
    /// A shop's own rows, as TOML.
    pub shop_rows_toml: Option<String>,
}

/// The most deviation.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct DeviationLimitAnswer {
    /// The most peak deviation.
    pub deviation_max_hz: f64,
    /// 60 % of it: standard test modulation.
    pub test_deviation_hz: f64,
    /// Text, section and date.
    pub source: String,
    /// False where the number is from memory.
    pub verified: bool,
    /// How far the reading is under the limit; negative over it.
    pub margin_hz: Option<f64>,
    /// The answer in words.
    pub words: String,
}

/// HANDBOOK 1.4: standard test modulation is 60 % of the maximum permissible deviation.
const TEST_MODULATION: f64 = 0.6;

impl DeviationLimitQuestion {
    pub(super) fn answer_in(
        &self,
        language: Language,
    ) -> Result<DeviationLimitAnswer, BenchRefused> {
        let table = table(&self.region, self.shop_rows_toml.as_deref())?;
        let found = table.deviation(self.channel_hz)?;
        let read = self.deviation_hz.map(Hertz::offset).transpose()?;
        let margin_hz = read.map(|read| found.value - read.hertz().abs());
        let words = say!(
            language,
            "at most {} Hz peak{}",
            "au plus {} Hz de crête{}",
            shown(found.value, 0),
            unverified(found.verified, language)
        );
        Ok(DeviationLimitAnswer {
            deviation_max_hz: found.value,
            test_deviation_hz: found.value * TEST_MODULATION,
            source: found.source,
            verified: found.verified,
            margin_hz,
            words,
        })
    }
}

/// A figure of the region's standards.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct FigureLimitQuestion {
    /// The region, as in `us`.
    pub region: String,
    /// The quantity, as in `audio distortion`; another one is refused with those there are.
    pub quantity: String,
    /// The channel's width, in hertz, for figures that go by it.
    pub channel_hz: Option<u64>,
    /// A shop's own rows, as TOML.
    pub shop_rows_toml: Option<String>,
}

/// What the quantity must stay over or under.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct FigureLimitAnswer {
    /// The least it may be.
    pub at_least: Option<f64>,
    /// The most it may be.
    pub at_most: Option<f64>,
    /// The unit of both.
    pub unit: String,
    /// Text, section and date.
    pub source: String,
    /// False where the number is from memory.
    pub verified: bool,
}

impl FigureLimitQuestion {
    pub(super) fn answer(&self) -> Result<FigureLimitAnswer, BenchRefused> {
        let table = table(&self.region, self.shop_rows_toml.as_deref())?;
        let found = table.figure(&self.quantity, self.channel_hz)?;
        Ok(FigureLimitAnswer {
            at_least: found.value.at_least,
            at_most: found.value.at_most,
            unit: found.value.unit,
            source: found.source,
            verified: found.verified,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(error_hz: Option<f64>) -> ToleranceQuestion {
        ToleranceQuestion {
            region: "us".to_owned(),
            carrier_hz: 155_000_000,
            channel_hz: 12_500,
            station: StationClass::Base,
            error_hz,
            shop_rows_toml: None,
        }
    }

    #[test]
    fn a_tolerance_with_its_hertz_and_margin() {
        // HANDBOOK 2.1 "Tests": 155 MHz × 2.5 ppm = 387.5 Hz.
        let found = asked(Some(-150.0)).answer_in(Language::English).unwrap();
        assert!((found.tolerance_hz - 387.5).abs() < 1e-9);
        assert!((found.margin_hz.unwrap() - 237.5).abs() < 1e-9);
        assert_eq!(found.words, "±2.5 ppm is ±387.5 Hz; 237.5 Hz inside");
        let found = asked(Some(400.0)).answer_in(Language::English).unwrap();
        assert!((found.margin_hz.unwrap() - -12.5).abs() < 1e-9);
        assert!(found.words.contains("12.5 Hz outside"));
    }

    #[test]
    fn a_limit_from_memory_says_so() {
        let uhf = ToleranceQuestion { carrier_hz: 460_000_000, ..asked(None) };
        let found = uhf.answer_in(Language::English).unwrap();
        assert!(!found.verified && found.words.ends_with("; limit not verified"), "{found:?}");
        let own = "[[frequency_tolerance]]\nfrom_hz = 450_000_000\nto_hz = 470_000_000\n\
                   base_ppm = 1.5\nsource = \"read by the office\"\ntext_date = \"2026\"\n";
        let found = ToleranceQuestion { shop_rows_toml: Some(own.to_owned()), ..uhf };
        let found = found.answer_in(Language::English);
        let found = found.unwrap();
        assert!(found.verified && found.source.starts_with("shop: "), "{found:?}");
    }

    #[test]
    fn wrong_questions_are_refused() {
        let mars = ToleranceQuestion { region: "mars".to_owned(), ..asked(None) };
        assert!(matches!(mars.answer_in(Language::English), Err(BenchRefused::Limit(_))));
        let rows = ToleranceQuestion { shop_rows_toml: Some("[x".to_owned()), ..asked(None) };
        let refused = rows.answer_in(Language::English).unwrap_err();
        assert!(refused.to_string().starts_with("line 1: "), "{refused}");
        assert!(matches!(
            asked(Some(f64::NAN)).answer_in(Language::English),
            Err(BenchRefused::Number(_))
        ));
        let low = ToleranceQuestion { carrier_hz: 155, ..asked(None) };
        assert!(matches!(low.answer_in(Language::English), Err(BenchRefused::Number(_))));
    }

    #[test]
    fn deviation_and_figures() {
        let asked = DeviationLimitQuestion {
            region: "us".to_owned(),
            channel_hz: 12_500,
            deviation_hz: Some(2_600.0),
            shop_rows_toml: None,
        };
        let found = asked.answer_in(Language::English).unwrap();
        assert!((found.margin_hz.unwrap() - -100.0).abs() < 1e-9);
        assert!((found.test_deviation_hz - 1_500.0).abs() < 1e-9);
        let figure = FigureLimitQuestion {
            region: "us".to_owned(),
            quantity: "hum and noise".to_owned(),
            channel_hz: None,
            shop_rows_toml: None,
        };
        assert_eq!(figure.answer().unwrap().at_least, Some(40.0));
        let none = FigureLimitQuestion { quantity: "charm".to_owned(), ..figure };
        assert!(none.answer().unwrap_err().to_string().contains("hum and noise"));
    }
}
