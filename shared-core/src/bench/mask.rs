//! How far down an emission must be beside its channel. Look-ups: [`crate::limits`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use super::limits::{aside, unverified};
use super::refused::Said as _;
use crate::language::{Language, say};
use crate::limits::{attenuation, masks_of};
use crate::units::{Db, Hertz, Watts, shown};

/// A transmitter, and a place beside its channel.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct EmissionMaskQuestion {
    /// The carrier, in hertz.
    pub carrier_hz: f64,
    /// The authorised bandwidth, in hertz.
    pub authorised_hz: f64,
    /// The power, in watts.
    pub power_w: f64,
    /// Whether it has an audio low-pass filter.
    pub audio_low_pass: bool,
    /// How far from the channel's centre, in hertz.
    pub offset_hz: f64,
    /// The mask to be held against; all that the band may ask for where it is not given.
    pub mask: Option<String>,
    /// How far below the unmodulated carrier it was read there, in dB.
    pub read_db: Option<f64>,
}

/// What the masks ask.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct EmissionMaskAnswer {
    /// The masks that the band may ask for; of several the one of the channel's width holds.
    pub of_band: Vec<String>,
    /// Where that stands. None where the band's row was not seen.
    pub of_band_source: Option<String>,
    /// Each mask that was asked for.
    pub masks: Vec<EmissionMaskAsks>,
}

/// What one mask asks.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct EmissionMaskAsks {
    /// The mask.
    pub mask: String,
    /// How far down the emission must be, in dB. None where its numbers were not seen.
    pub at_least_db: Option<f64>,
    /// How much further down it was read; negative where not far enough.
    pub margin_db: Option<f64>,
    /// Text, section and date; or why there is no number.
    pub source: String,
    /// False where the number is from memory.
    pub verified: bool,
    /// The answer in words.
    pub words: String,
}

impl EmissionMaskQuestion {
    pub(super) fn answer_in(&self, language: Language) -> Result<EmissionMaskAnswer, BenchRefused> {
        let carrier = Hertz::carrier(self.carrier_hz)?;
        let band = masks_of(carrier, self.audio_low_pass);
        let masks: Vec<String> = match (&self.mask, &band) {
            (Some(mask), _) => vec![mask.clone()],
            (None, Ok(band)) => band.value.to_vec(),
            (None, Err(error)) => return Err(error.clone().into()),
        };
        let asks =
            masks.into_iter().map(|mask| self.asks(mask, language)).collect::<Result<_, _>>()?;
        Ok(EmissionMaskAnswer {
            of_band: band.as_ref().map(|band| band.value.to_vec()).unwrap_or_default(),
            of_band_source: band.ok().map(|band| band.source),
            masks: asks,
        })
    }

    fn asks(&self, mask: String, language: Language) -> Result<EmissionMaskAsks, BenchRefused> {
        let offset = Hertz::offset(self.offset_hz)?;
        let authorised = Hertz::bandwidth(self.authorised_hz)?;
        let power = Watts::new(self.power_w)?;
        let read = self.read_db.map(Db::new).transpose()?;
        let found = match attenuation(&mask, offset, authorised, power) {
            Ok(found) => found,
            Err(error) => {
                let words = error.said(language);
                let (source, none) = (words.clone(), None);
                let (at_least_db, margin_db, verified) = (none, none, false);
                return Ok(EmissionMaskAsks {
                    mask,
                    at_least_db,
                    margin_db,
                    source,
                    verified,
                    words,
                });
            }
        };
        let margin_db = read.map(|read| read.db() - found.value);
        let mut words = say!(
            language,
            "mask {mask}: at least {} dB down",
            "masque {mask} : au moins {} dB plus bas",
            shown(found.value, 1)
        );
        if let Some(margin) = margin_db {
            words.push_str(&aside(margin, "dB", language));
        }
        words.push_str(unverified(found.verified, language));
        Ok(EmissionMaskAsks {
            mask,
            at_least_db: Some(found.value),
            margin_db,
            source: found.source,
            verified: found.verified,
            words,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn question() -> EmissionMaskQuestion {
        EmissionMaskQuestion {
            carrier_hz: 155e6,
            authorised_hz: 11_250.0,
            power_w: 10.0,
            audio_low_pass: true,
            offset_hz: 12_500.0,
            mask: None,
            read_db: Some(58.5),
        }
    }

    #[test]
    fn every_mask_of_the_band_is_asked_and_none_is_taken_for_verified() {
        let found = question().answer_in(Language::English).unwrap();
        assert_eq!(found.of_band, ["B", "D", "E"]);
        assert!(found.of_band_source.unwrap().contains("90.210"));
        // HANDBOOK 2.2 (from memory): B at 111 % of 11.25 kHz 35 dB; D and E by 10 W: 60 and 65 dB.
        let at_least: Vec<f64> = found.masks.iter().map(|m| m.at_least_db.unwrap()).collect();
        for (got, expected) in at_least.iter().zip([35.0, 60.0, 65.0]) {
            assert!((got - expected).abs() < 1e-9, "{at_least:?}");
        }
        assert!((found.masks[0].margin_db.unwrap() - 23.5).abs() < 1e-9);
        assert_eq!(
            found.masks[1].words,
            "mask D: at least 60.0 dB down; 1.5 dB outside; limit not verified"
        );
        assert!(found.masks.iter().all(|mask| !mask.verified));
    }

    #[test]
    fn a_mask_that_was_not_seen_says_so_and_a_band_without_one_is_refused() {
        let without = EmissionMaskQuestion { audio_low_pass: false, ..question() };
        let found = without.answer_in(Language::English).unwrap();
        assert_eq!((found.masks[0].mask.as_str(), found.masks[0].at_least_db), ("C", None));
        assert!(found.masks[0].words.contains("were not seen"));
        let nowhere = EmissionMaskQuestion { carrier_hz: 300e6, ..question() };
        assert!(matches!(nowhere.answer_in(Language::English), Err(BenchRefused::Mask(_))));
        let named = EmissionMaskQuestion { mask: Some("D".to_owned()), ..nowhere };
        let found = named.answer_in(Language::English).unwrap();
        assert_eq!((found.of_band.len(), found.masks.len()), (0, 1));
        let absurd = EmissionMaskQuestion { power_w: 0.0, ..question() };
        assert!(matches!(absurd.answer_in(Language::English), Err(BenchRefused::Number(_))));
    }
}
