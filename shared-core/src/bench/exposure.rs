//! What transmitters make at a place, against an exposure limit: always a caution. Formulas and
//! limits: [`crate::rf::exposure`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use super::limits::unverified;
use super::refused::Said as _;
use crate::language::{Language, say};
use crate::rf::exposure::{
    Emitter, Estimate, ExposureExtent, ExposureStandard, ExposureTier, TransmitterMode,
    WaveReflection, caution, electric_v_m, estimate, exemption, exemption_distance_m,
};
use crate::units::{Db, Hertz, Watts, in_range};

/// Transmitters around a place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct ExposureQuestion {
    /// Whose limits.
    pub standard: ExposureStandard,
    /// What of the body is exposed; the whole of it if left out.
    #[serde(default)]
    pub extent: ExposureExtent,
    /// Who is exposed; both tiers are answered if left out.
    pub tier: Option<ExposureTier>,
    /// The transmitters.
    pub transmitters: Vec<ExposureTransmitter>,
}

/// A transmitter with its line and antenna, and how far its antenna is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct ExposureTransmitter {
    /// What the crew calls it.
    pub name: String,
    /// The carrier, in hertz.
    pub frequency_hz: u64,
    /// The power while keyed, in watts; the peak envelope power of a sideband transmitter.
    pub power_w: f64,
    /// How it is modulated.
    pub mode: TransmitterMode,
    /// The share of the averaging time it is keyed; 1 is always.
    pub keyed_share: f64,
    /// The loss from transmitter to antenna, in dB.
    pub loss_db: f64,
    /// The antenna's gain, in dBi.
    pub gain_dbi: f64,
    /// What reflections add.
    pub reflection: WaveReflection,
    /// From the antenna to the place, in metres.
    pub distance_m: f64,
}

/// Estimates, and the caution that belongs to them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct ExposureAnswer {
    /// To be shown wherever a number of this answer is shown.
    pub caution: String,
    /// One estimate a tier.
    pub estimates: Vec<ExposureEstimate>,
    /// The rule of 47 CFR 1.1307(b)(3) on each transmitter; empty under another standard.
    pub exemptions: Vec<ExposureExemption>,
}

/// What is estimated for one tier.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct ExposureEstimate {
    /// Who it is for.
    pub tier: ExposureTier,
    /// What is to be said of these numbers.
    pub notes: Vec<String>,
    /// The sum over all transmitters; 1 is the limit.
    pub fraction_total: f64,
    /// Where all of them, if they stood at one spot, come down to the limit.
    pub distance_together_m: f64,
    /// Each transmitter's part.
    pub shares: Vec<ExposureShare>,
}

/// One transmitter's part.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct ExposureShare {
    /// The transmitter.
    pub name: String,
    /// Its average power.
    pub average_w: f64,
    /// Its average power over an isotropic antenna.
    pub eirp_w: f64,
    /// The power density at the place.
    pub density_w_m2: f64,
    /// The same in the unit of 47 CFR 1.1310.
    pub density_mw_cm2: f64,
    /// The electric field of a plane wave of that density.
    pub electric_v_m: f64,
    /// The limit.
    pub limit_w_m2: f64,
    /// The limit in the unit of 47 CFR 1.1310.
    pub limit_mw_cm2: f64,
    /// Whether the table limits only the fields, and this is their plane-wave equivalent.
    pub limit_from_fields: bool,
    /// The limit of the electric field.
    pub limit_electric_v_m: Option<f64>,
    /// The limit of the magnetic field.
    pub limit_magnetic_a_m: Option<f64>,
    /// The averaging time of the limit.
    pub averaging_min: f64,
    /// Text, table and date of the limit.
    pub limit_source: String,
    /// False where the limit is from memory.
    pub limit_verified: bool,
    /// Density over limit.
    pub fraction: f64,
    /// Where this one alone comes down to the limit.
    pub distance_to_limit_m: f64,
    /// Whether the place is within λ/2π of the antenna.
    pub in_reactive_field: bool,
    /// Whether, the sum being over, its licensee shares the duty to correct it.
    pub shares_the_duty: bool,
}

/// The exemption from routine evaluation, which says nothing of an exposure.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct ExposureExemption {
    /// The transmitter.
    pub name: String,
    /// Its average power over a dipole.
    pub erp_w: f64,
    /// The threshold at its distance; none where the rule is not for it.
    pub threshold_erp_w: Option<f64>,
    /// The least distance at which the threshold is met; none where the rule is not for it.
    pub threshold_distance_m: Option<f64>,
    /// The rule, or why it is not for this transmitter.
    pub words: String,
}

impl ExposureQuestion {
    pub(super) fn answer_in(&self, language: Language) -> Result<ExposureAnswer, BenchRefused> {
        let placed: Vec<(Emitter, f64)> =
            self.transmitters.iter().map(ExposureTransmitter::placed).collect::<Result<_, _>>()?;
        let tiers = match self.tier {
            Some(tier) => vec![tier],
            None => vec![ExposureTier::Workers, ExposureTier::Public],
        };
        let estimates = tiers
            .into_iter()
            .map(|tier| {
                let found = estimate(self.standard, tier, self.extent, &placed, language)?;
                Ok(self.told(found, &placed))
            })
            .collect::<Result<_, BenchRefused>>()?;
        let exemptions = match self.standard {
            ExposureStandard::Fcc => self.exemptions(&placed, language)?,
            ExposureStandard::Icnirp2020 | ExposureStandard::SafetyCode6 => Vec::new(),
        };
        Ok(ExposureAnswer { caution: caution(language).to_owned(), estimates, exemptions })
    }

    fn told(&self, found: Estimate, placed: &[(Emitter, f64)]) -> ExposureEstimate {
        let shares = found.shares.into_iter().zip(placed).zip(&self.transmitters);
        let shares = shares.map(|((share, (emitter, _)), transmitter)| ExposureShare {
            name: transmitter.name.clone(),
            average_w: emitter.average().watts(),
            eirp_w: emitter.eirp().watts(),
            density_w_m2: share.density_w_m2,
            density_mw_cm2: share.density_w_m2 / 10.0,
            electric_v_m: electric_v_m(share.density_w_m2),
            limit_w_m2: share.limit.density_w_m2,
            limit_mw_cm2: share.limit.density_w_m2 / 10.0,
            limit_from_fields: share.limit.from_fields,
            limit_electric_v_m: share.limit.electric_v_m,
            limit_magnetic_a_m: share.limit.magnetic_a_m,
            averaging_min: share.limit.averaging_min,
            limit_source: share.limit.source,
            limit_verified: share.limit.verified,
            fraction: share.fraction,
            distance_to_limit_m: share.distance_to_limit_m,
            in_reactive_field: share.in_reactive_field,
            shares_the_duty: share.shares_the_duty,
        });
        ExposureEstimate {
            tier: found.tier,
            notes: found.notes,
            fraction_total: found.fraction_total,
            distance_together_m: found.distance_together_m,
            shares: shares.collect(),
        }
    }

    fn exemptions(
        &self,
        placed: &[(Emitter, f64)],
        language: Language,
    ) -> Result<Vec<ExposureExemption>, BenchRefused> {
        let each = self.transmitters.iter().zip(placed);
        each.map(|(transmitter, (emitter, distance_m))| {
            let frequency = transmitter.frequency()?;
            let erp = emitter.erp()?;
            let threshold = exemption(frequency, *distance_m);
            let words = match &threshold {
                Ok(found) => say!(
                    language,
                    "{}: on routine evaluation only, it says nothing of an exposure{}",
                    "{} : sur l’évaluation de routine seulement, ne dit rien d’une exposition{}",
                    found.source,
                    unverified(found.verified, language)
                ),
                Err(refused) => refused.said(language),
            };
            Ok(ExposureExemption {
                name: transmitter.name.clone(),
                erp_w: erp.watts(),
                threshold_erp_w: threshold.ok().map(|found| found.erp.watts()),
                threshold_distance_m: exemption_distance_m(frequency, erp).ok(),
                words,
            })
        })
        .collect()
    }
}

impl ExposureTransmitter {
    fn frequency(&self) -> Result<Hertz, BenchRefused> {
        Ok(Hertz::carrier(self.frequency_hz as f64)?)
    }

    fn placed(&self) -> Result<(Emitter, f64), BenchRefused> {
        let keyed = in_range("keyed share", self.keyed_share, 1e-4..=1.0, "")?;
        let emitter = Emitter::new(
            self.frequency()?,
            Watts::new(self.power_w)?,
            self.mode.duty() * keyed,
            Db::new(self.loss_db)?,
            self.gain_dbi,
            self.reflection,
        )?;
        Ok((emitter, self.distance_m))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rf::exposure::CAUTION;
    use crate::rf::exposure::tests::NEVER;

    fn asked(standard: &str, distance_m: f64) -> ExposureQuestion {
        // HANDBOOK X9: ERP 100 W at 155 MHz, ground reflection.
        let transmitter = serde_json::json!({
            "name": "repeater", "frequency_hz": 155_000_000, "power_w": 100.0, "mode": "fm-voice",
            "keyed_share": 1.0, "loss_db": 1.0, "gain_dbi": 3.15, "reflection": "ground",
            "distance_m": distance_m,
        });
        let question = serde_json::json!({ "standard": standard, "transmitters": [transmitter] });
        serde_json::from_value(question).unwrap()
    }

    #[test]
    fn distances_for_both_tiers_with_the_caution() {
        let found = asked("fcc", 4.087).answer_in(Language::English).unwrap();
        assert_eq!(found.caution, CAUTION);
        let [workers, public] = found.estimates.as_slice() else { panic!("two tiers") };
        assert!((workers.shares[0].distance_to_limit_m - 1.828).abs() < 0.001);
        assert!((public.shares[0].distance_to_limit_m - 4.087).abs() < 0.001);
        assert!((public.fraction_total - 1.0).abs() < 0.001);
        assert!((public.shares[0].limit_mw_cm2 - 0.2).abs() < 1e-9);
        // 3.83·R² is near the same distance without reflection: HANDBOOK 3.2.
        let exempt = &found.exemptions[0];
        assert!((exempt.threshold_distance_m.unwrap() - (100.0f64 / 3.83).sqrt()).abs() < 0.001);
        assert!((exempt.threshold_erp_w.unwrap() - 3.83 * 4.087 * 4.087).abs() < 1e-6);
    }

    #[test]
    fn the_other_standards_have_no_such_exemption() {
        for standard in ["icnirp-2020", "safety-code-6"] {
            let found = asked(standard, 10.0).answer_in(Language::English).unwrap();
            assert!(found.exemptions.is_empty() && found.estimates.len() == 2);
        }
    }

    #[test]
    fn close_to_the_antenna_the_exemption_says_why_not() {
        let found = asked("fcc", 0.2).answer_in(Language::English).unwrap();
        assert_eq!(found.exemptions[0].threshold_erp_w, None);
        assert!(found.exemptions[0].words.contains("λ/2π"), "{:?}", found.exemptions);
        assert!(found.estimates[1].shares[0].in_reactive_field);
    }

    #[test]
    fn no_answer_holds_a_word_that_clears() {
        for (standard, distance_m) in [
            ("fcc", 0.2),
            ("fcc", 3.0),
            ("fcc", 900.0),
            ("icnirp-2020", 9.0),
            ("safety-code-6", 9.0),
        ] {
            let found = asked(standard, distance_m).answer_in(Language::English).unwrap();
            assert!(found.caution.contains("qualified assessment"), "{standard}");
            let text = serde_json::to_string(&found).unwrap().to_lowercase();
            for word in text.split(|c: char| !c.is_alphanumeric()) {
                assert!(!NEVER.contains(&word), "{word:?} in {text}");
            }
        }
    }

    #[test]
    fn half_the_time_keyed_is_half_the_power() {
        let mut half = asked("fcc", 5.0);
        half.transmitters[0].keyed_share = 0.5;
        half.tier = Some(ExposureTier::Public);
        let (half, full) = (
            half.answer_in(Language::English).unwrap(),
            asked("fcc", 5.0).answer_in(Language::English).unwrap(),
        );
        assert_eq!(half.estimates.len(), 1);
        let [half, full] = [&half.estimates[0], &full.estimates[1]];
        assert!((half.fraction_total * 2.0 / full.fraction_total - 1.0).abs() < 1e-12);
        for share in [0.0, 1.5, f64::NAN] {
            let mut wrong = asked("fcc", 5.0);
            wrong.transmitters[0].keyed_share = share;
            assert!(
                matches!(wrong.answer_in(Language::English), Err(BenchRefused::Number(_))),
                "{share}"
            );
        }
        let mut none = asked("fcc", 5.0);
        none.transmitters.clear();
        assert!(matches!(none.answer_in(Language::English), Err(BenchRefused::Exposure(_))));
    }
}
