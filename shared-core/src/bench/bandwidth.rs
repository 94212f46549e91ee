//! The authorised bandwidth of a channel, and whether an emission fits it. Look-ups:
//! [`crate::limits`]; designators: [`crate::rf::emission`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use super::limits::{table, unverified};
use crate::language::{Language, say};
use crate::rf::emission::{Bandwidth, Emission};
use crate::units::Hertz;

/// A channel, and an emission if it is to be compared.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct BandwidthQuestion {
    /// The region, as in `us`.
    pub region: String,
    /// The carrier, in hertz.
    pub carrier_hz: u64,
    /// The channel's width, in hertz.
    pub channel_hz: u64,
    /// The emission's designator, as in `11K2F3E`.
    pub designator: Option<String>,
    /// A shop's own rows, as TOML.
    pub shop_rows_toml: Option<String>,
}

/// What is authorised.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct BandwidthAnswer {
    /// The authorised bandwidth.
    pub authorised_hz: f64,
    /// The same as a designator writes it.
    pub authorised: String,
    /// Text, section and date.
    pub source: String,
    /// False where the number is from memory.
    pub verified: bool,
    /// The emission's necessary bandwidth.
    pub necessary_hz: Option<f64>,
    /// Whether it is wider than authorised by more than one in the designator's last figure.
    pub exceeds: Option<bool>,
    /// The answer in words.
    pub words: String,
}

impl BandwidthQuestion {
    pub(super) fn answer_in(&self, language: Language) -> Result<BandwidthAnswer, BenchRefused> {
        Hertz::carrier(self.carrier_hz as f64)?;
        let table = table(&self.region, self.shop_rows_toml.as_deref())?;
        let emission = self.designator.as_deref().map(Emission::parse).transpose()?;
        // Some classes of emission have a bandwidth of their own, whatever the channel.
        let by_class = emission.as_ref().and_then(|emission| {
            table.emission_bandwidth(self.carrier_hz, emission.symbols()).ok()
        });
        let found = match by_class {
            Some(found) => found,
            None => table.authorised_bandwidth(self.carrier_hz, self.channel_hz)?,
        };
        let authorised = Bandwidth::from_hertz(found.value)?;
        let necessary = emission.as_ref().map(Emission::bandwidth);
        let exceeds = necessary.map(|necessary| necessary.exceeds(authorised));
        let mut words = say!(language, "authorised {authorised}", "autorisé : {authorised}");
        if let (Some(necessary), Some(exceeds)) = (necessary, exceeds) {
            let fits = match exceeds {
                true => say!(language, "; {necessary} is wider", " ; {necessary} est plus large"),
                false => say!(
                    language,
                    "; {necessary} is not wider",
                    " ; {necessary} n’est pas plus large"
                ),
            };
            words.push_str(&fits);
        }
        words.push_str(unverified(found.verified, language));
        Ok(BandwidthAnswer {
            authorised_hz: found.value,
            authorised: authorised.to_string(),
            source: found.source,
            verified: found.verified,
            necessary_hz: necessary.map(Bandwidth::hertz),
            exceeds,
            words,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(channel_hz: u64, designator: Option<&str>) -> Result<BandwidthAnswer, BenchRefused> {
        BandwidthQuestion {
            region: "us".to_owned(),
            carrier_hz: 155_000_000,
            channel_hz,
            designator: designator.map(str::to_owned),
            shop_rows_toml: None,
        }
        .answer_in(Language::English)
    }

    #[test]
    fn the_last_figure_rejects_no_licence() {
        // HANDBOOK B3: 11.25 kHz is shown as 11K2 and as 11K3.
        for (designator, exceeds) in
            [("11K2F3E", false), ("11K3F3E", false), ("11K4F3E", false), ("11K5F3E", true)]
        {
            let found = asked(12_500, Some(designator)).unwrap();
            assert_eq!(found.exceeds, Some(exceeds), "{designator}");
            assert!(found.words.ends_with("limit not verified"), "{}", found.words);
        }
        assert_eq!(asked(12_500, None).unwrap().authorised, "11K3");
        assert_eq!(asked(12_500, Some("16K0F3E")).unwrap().exceeds, Some(true));
        assert_eq!(asked(25_000, Some("16K0F3E")).unwrap().exceeds, Some(false));
    }

    #[test]
    fn a_class_with_a_bandwidth_of_its_own() {
        // HANDBOOK 2.3: 47 CFR 90.209(b)(1), A3E 8 kHz.
        let found = asked(25_000, Some("8K00A3E")).unwrap();
        assert!((found.authorised_hz - 8_000.0).abs() < 1e-9 && found.verified);
        assert_eq!(found.exceeds, Some(false));
        assert_eq!(asked(25_000, Some("9K00A3E")).unwrap().exceeds, Some(true));
    }

    #[test]
    fn what_is_not_known_is_refused() {
        assert!(matches!(asked(30_000, None), Err(BenchRefused::Limit(_))));
        assert!(matches!(asked(12_500, Some("wide")), Err(BenchRefused::Emission(_))));
    }
}
