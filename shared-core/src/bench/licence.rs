//! A licence against what was read: carrier, output power, ERP. Comparison: [`crate::limits`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use super::limits::{table, unverified};
use crate::language::Language;
use crate::limits::{AsRead, Licence, LicenceSubject, StationClass, licence_findings};
use crate::units::{Db, Hertz, Watts};

/// A licence and the readings.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct LicenceQuestion {
    /// The region, as in `us`.
    pub region: String,
    /// The licensed carrier, in hertz.
    pub licensed_hz: u64,
    /// The channel's width, in hertz.
    pub channel_hz: u64,
    /// The class of the station.
    pub station: StationClass,
    /// The licensed output power, in watts.
    pub licensed_output_w: Option<f64>,
    /// The licensed effective radiated power, in watts.
    pub licensed_erp_w: Option<f64>,
    /// The carrier that was read, in hertz.
    pub read_hz: Option<f64>,
    /// The power that was read at the transmitter's port, in watts.
    pub read_output_w: Option<f64>,
    /// The losses from there to the antenna, in dB: duplexer, isolator, feedline.
    #[serde(default)]
    pub losses_db: Vec<f64>,
    /// The antenna's gain over a dipole, in dBd; without it no ERP is worked out.
    pub gain_dbd: Option<f64>,
    /// A shop's own rows, as TOML.
    pub shop_rows_toml: Option<String>,
}

/// One comparison.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct LicenceFound {
    /// `carrier`, `output` or `erp`.
    pub subject: String,
    /// Whether the reading is within the licence.
    pub within: bool,
    /// How far the reading is from the licence.
    pub off: f64,
    /// Its unit: Hz or dB.
    pub unit: String,
    /// The finding in words.
    pub words: String,
}

/// The comparisons that could be made.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct LicenceAnswer {
    /// The effective radiated power worked out from the reading.
    pub erp_w: Option<f64>,
    /// What the tolerance of the carrier rests on.
    pub tolerance_source: String,
    /// False where the tolerance is from memory.
    pub tolerance_verified: bool,
    /// The findings.
    pub findings: Vec<LicenceFound>,
}

impl LicenceQuestion {
    pub(super) fn answer_in(&self, language: Language) -> Result<LicenceAnswer, BenchRefused> {
        let carrier = Hertz::carrier(self.licensed_hz as f64)?;
        let table = table(&self.region, self.shop_rows_toml.as_deref())?;
        let tolerance =
            table.frequency_tolerance(self.licensed_hz, self.channel_hz, self.station)?;
        let licence = Licence {
            carrier,
            output: self.licensed_output_w.map(Watts::new).transpose()?,
            erp: self.licensed_erp_w.map(Watts::new).transpose()?,
        };
        let output = self.read_output_w.map(Watts::new).transpose()?;
        let erp = self.erp(output)?;
        let read = self.read_hz.map(Hertz::carrier).transpose()?;
        let as_read = AsRead { carrier: read, output, erp };
        let found =
            licence_findings(&licence, &as_read, tolerance.value, self.channel_hz, language);
        let findings = found.into_iter().map(|finding| {
            let (subject, unit) = match finding.subject {
                LicenceSubject::Carrier => ("carrier", "Hz"),
                LicenceSubject::Output => ("output", "dB"),
                LicenceSubject::Erp => ("erp", "dB"),
            };
            let unverified = match finding.subject {
                LicenceSubject::Carrier => unverified(tolerance.verified, language),
                LicenceSubject::Output | LicenceSubject::Erp => "",
            };
            LicenceFound {
                subject: subject.to_owned(),
                within: finding.within,
                off: finding.off,
                unit: unit.to_owned(),
                words: format!("{}{unverified}", finding.words),
            }
        });
        Ok(LicenceAnswer {
            erp_w: erp.map(Watts::watts),
            findings: findings.collect(),
            tolerance_source: tolerance.source,
            tolerance_verified: tolerance.verified,
        })
    }

    /// Output less the losses plus the gain over a dipole: HANDBOOK 1.6.
    fn erp(&self, output: Option<Watts>) -> Result<Option<Watts>, BenchRefused> {
        let (Some(output), Some(gain)) = (output, self.gain_dbd) else { return Ok(None) };
        let mut net = Db::new(gain)?;
        for loss in &self.losses_db {
            net = Db::new(net.db() - passive(*loss)?.db())?;
        }
        Ok(Some(Watts::new(output.watts() * 10f64.powf(net.db() / 10.0))?))
    }
}

/// A loss on the way to the antenna, where nothing amplifies.
fn passive(loss_db: f64) -> Result<Db, BenchRefused> {
    Ok(Db::new(crate::units::in_range("loss", loss_db, 0.0..=200.0, "dB")?)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked() -> LicenceQuestion {
        LicenceQuestion {
            region: "us".to_owned(),
            licensed_hz: 155_000_000,
            channel_hz: 12_500,
            station: StationClass::Base,
            licensed_output_w: Some(150.0),
            licensed_erp_w: Some(280.0),
            read_hz: Some(155_000_200.0),
            read_output_w: Some(150.0),
            losses_db: vec![2.0, 2.2],
            gain_dbd: Some(7.0),
            shop_rows_toml: None,
        }
    }

    #[test]
    fn three_findings_and_the_erp_behind_them() {
        // HANDBOOK E1: 150 W, 2 and 2.2 dB, 7 dBd: 286 W (285.82).
        let found = asked().answer_in(Language::English).unwrap();
        assert!((found.erp_w.unwrap() - 285.82).abs() < 0.01);
        let within: Vec<bool> = found.findings.iter().map(|finding| finding.within).collect();
        assert_eq!(within, [true, true, false]);
        assert_eq!(found.findings[2].subject, "erp");
        assert!(found.tolerance_verified);
    }

    #[test]
    fn a_tolerance_from_memory_says_so_in_the_finding() {
        let uhf = LicenceQuestion { licensed_hz: 460_000_000, read_hz: Some(460e6), ..asked() };
        let found = uhf.answer_in(Language::English).unwrap();
        assert!(found.findings[0].words.ends_with("limit not verified"), "{found:?}");
        assert!(!found.findings[1].words.contains("limit not verified"), "{found:?}");
    }

    #[test]
    fn a_loss_that_is_a_gain_is_refused() {
        let refused = LicenceQuestion { losses_db: vec![-1.0], ..asked() }
            .answer_in(Language::English)
            .unwrap_err();
        assert!(refused.to_string().starts_with("loss of -1 dB"), "{refused}");
        let without =
            LicenceQuestion { gain_dbd: None, ..asked() }.answer_in(Language::English).unwrap();
        assert_eq!((without.erp_w, without.findings.len()), (None, 2));
    }
}
