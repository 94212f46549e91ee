//! Exposure of people to radio-frequency fields: an estimate, and always a caution.
//!
//! In: transmitters with power, duty, feedline loss, gain, reflection and distance; a standard and
//! a tier. Out: an [`Estimate`]: density, share of the limit and distance to the limit for each
//! transmitter, their sum, and the caution that goes with it. It never says that a place may be
//! entered: that is for a qualified assessment, the local code and the site owner.
//!
//!   P_avg = P·duty·keyed share                      W
//!   EIRP  = P_avg · 10^((gain\[dBi\] − loss\[dB\])/10)  W
//!   S     = F·EIRP / (4·π·R²)                       W/m²; F = 1, 2.56 or 4 for reflection
//!   R_lim = √(F·EIRP / (4·π·S_lim))                 m
//!   sum   = Σ S_i/S_lim,i                           of the limit; from memory, unverified (OET 65)
//!
//! Far field, in the main beam. Source: HANDBOOK 3.1 to 3.5; check values X1 to X12.

mod exemption;
mod field;
mod limit;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use crate::language::{Language, say};
use crate::units::{Db, Hertz, OutOfRange, Watts, in_range};

pub use exemption::{Exemption, exemption, exemption_distance_m};
pub use field::{
    DIPOLE_GAIN_DBI, WAVE_IMPEDANCE_OHM, WaveReflection, density_w_m2, distance_to_m, electric_v_m,
    reactive_field_m,
};
pub use limit::{ExposureExtent, ExposureLimit, ExposureStandard, ExposureTier, limit};

/// What stands beside every estimate.
pub const CAUTION: &str = "This is an estimate, made from the numbers that were typed in, for the \
    far field in the main beam; it is no measurement and no assessment. Other transmitters, \
    reflections, near fields and what people carry are not in it. Defer to a qualified \
    assessment, to the local code and to the site owner's rules before anybody goes there.";

/// The same in French.
const CAUTION_FR: &str = "Ceci est une estimation, faite des nombres saisis, pour le champ \
    lointain dans le lobe principal ; ce n’est ni une mesure ni une évaluation. Les autres \
    émetteurs, les réflexions, les champs proches et ce que les gens portent n’y sont pas. S’en \
    remettre à une évaluation qualifiée, aux codes locaux et aux règles du propriétaire du site \
    avant que quiconque s’y rende.";

/// What stands beside every estimate, in a language.
pub fn caution(language: Language) -> &'static str {
    language.pick(CAUTION, CAUTION_FR)
}

/// What stands beside an estimate for workers as well.
pub const WORKERS_CAUTION: &str = "The limits for workers are only for people who are fully aware \
    of the exposure and can control it; for everybody else the limits for the public hold.";

/// The same in French.
const WORKERS_CAUTION_FR: &str = "Les limites des travailleurs ne sont que pour qui connaît \
    pleinement l’exposition et peut la maîtriser ; pour tous les autres, celles du public valent.";

/// How a transmitter is modulated, which says how much of its power it makes on average.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "kebab-case")]
pub enum TransmitterMode {
    /// Voice by frequency or phase modulation: the full power while keyed.
    FmVoice,
    /// A carrier.
    Carrier,
    /// Frequency shift keying.
    ShiftKeying,
    /// A keyed carrier, as in Morse.
    KeyedCarrier,
    /// Single-sideband voice.
    SidebandVoice,
    /// Single-sideband voice with speech processing.
    ProcessedSidebandVoice,
}

impl TransmitterMode {
    /// The average over the peak while keyed: OET 65B Table 2, as HANDBOOK 3.3 has it.
    pub fn duty(self) -> f64 {
        match self {
            Self::FmVoice | Self::Carrier | Self::ShiftKeying => 1.0,
            Self::KeyedCarrier => 0.4,
            Self::SidebandVoice => 0.2,
            Self::ProcessedSidebandVoice => 0.5,
        }
    }
}

/// A transmitter with its line and antenna.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Emitter {
    frequency: Hertz,
    average: Watts,
    eirp: Watts,
    reflection: WaveReflection,
}

impl Emitter {
    /// Antenna gains taken, in dBi.
    pub const GAIN_DBI: std::ops::RangeInclusive<f64> = -30.0..=60.0;
    /// Losses of a line taken, in dB: a passive line has no gain.
    pub const LOSS_DB: std::ops::RangeInclusive<f64> = 0.0..=100.0;

    /// A transmitter of this power while keyed, `duty` of it on average, through a line into an
    /// antenna.
    pub fn new(
        frequency: Hertz,
        power: Watts,
        duty: f64,
        loss: Db,
        gain_dbi: f64,
        reflection: WaveReflection,
    ) -> Result<Self, ExposureRefused> {
        let duty = in_range("duty", duty, 1e-6..=1.0, "")?;
        let loss_db = in_range("feedline loss", loss.db(), Self::LOSS_DB, "dB")?;
        let gain = in_range("antenna gain", gain_dbi, Self::GAIN_DBI, "dBi")?;
        let average = Watts::new(power.watts() * duty)?;
        let eirp = Watts::new(average.watts() * 10f64.powf((gain - loss_db) / 10.0))?;
        Ok(Self { frequency, average, eirp, reflection })
    }

    /// The average power at the transmitter.
    pub fn average(&self) -> Watts {
        self.average
    }

    /// The average power an isotropic antenna would need to make the same field.
    pub fn eirp(&self) -> Watts {
        self.eirp
    }

    /// The same for a dipole.
    pub fn erp(&self) -> Result<Watts, OutOfRange> {
        Watts::new(self.eirp.watts() / 10f64.powf(DIPOLE_GAIN_DBI / 10.0))
    }
}

/// What is estimated of one transmitter at its distance.
#[derive(Clone, Debug, PartialEq)]
pub struct Share {
    /// The limit at its frequency.
    pub limit: ExposureLimit,
    /// The power density there, in watts a square metre.
    pub density_w_m2: f64,
    /// That over the limit; 1 is the limit.
    pub fraction: f64,
    /// Where it alone comes down to the limit, in metres.
    pub distance_to_limit_m: f64,
    /// Whether the distance lies within λ/2π, where the formula says little.
    pub in_reactive_field: bool,
    /// Whether, the sum being over, its part alone makes its licensee share the duty to correct it.
    pub shares_the_duty: bool,
}

/// An estimate for one tier: never more than a caution.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimate {
    /// Who it is for.
    pub tier: ExposureTier,
    /// What must be shown with the numbers.
    pub caution: String,
    /// What is to be said of these numbers.
    pub notes: Vec<String>,
    /// Each transmitter's part, in the order given.
    pub shares: Vec<Share>,
    /// The sum of the parts; 1 is the limit.
    pub fraction_total: f64,
    /// Where all of them, if they stood at one spot, come down to the limit, in metres.
    pub distance_together_m: f64,
}

/// Why there is no estimate.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ExposureRefused {
    /// A number outside what the quantity can be.
    #[error(transparent)]
    Number(#[from] OutOfRange),
    /// The standard has no such limit, or none was seen.
    #[error("{standard} has no {extent} limit for {tier} at {at_mhz} MHz that was seen")]
    NoLimit {
        /// The standard.
        standard: &'static str,
        /// Who it is for.
        tier: &'static str,
        /// Whole body or local.
        extent: &'static str,
        /// The frequency, in megahertz.
        at_mhz: f64,
    },
    /// The exemption is not for this close.
    #[error("{distance_m} m is closer than λ/2π = {least_m:.3} m; the exemption is not for that")]
    TooClose {
        /// The distance.
        distance_m: f64,
        /// The least distance the rule is for.
        least_m: f64,
    },
    /// None, or more than a site has.
    #[error("{count} transmitters; give 1 to {max}")]
    Count {
        /// How many were given.
        count: usize,
        /// The most.
        max: usize,
    },
}

/// The most transmitters of one estimate.
pub const TRANSMITTERS_MAX: usize = 1000;

/// 47 CFR 1.1307(b)(5), as HANDBOOK 3.2 has it: 5 % of its own limit.
const DUTY_SHARE: f64 = 0.05;

/// Estimates what transmitters make together at a place, each at its own distance in metres.
pub fn estimate(
    standard: ExposureStandard,
    tier: ExposureTier,
    extent: ExposureExtent,
    placed: &[(Emitter, f64)],
    language: Language,
) -> Result<Estimate, ExposureRefused> {
    if placed.is_empty() || placed.len() > TRANSMITTERS_MAX {
        return Err(ExposureRefused::Count { count: placed.len(), max: TRANSMITTERS_MAX });
    }
    let mut shares = Vec::with_capacity(placed.len());
    let mut at_one_metre = 0.0;
    for (emitter, distance_m) in placed {
        let limit = limit(standard, tier, extent, emitter.frequency)?;
        let density = density_w_m2(emitter.eirp, emitter.reflection, *distance_m)?;
        at_one_metre += density_w_m2(emitter.eirp, emitter.reflection, 1.0)? / limit.density_w_m2;
        shares.push(Share {
            density_w_m2: density,
            fraction: density / limit.density_w_m2,
            distance_to_limit_m: distance_to_m(
                emitter.eirp,
                emitter.reflection,
                limit.density_w_m2,
            )?,
            in_reactive_field: *distance_m < reactive_field_m(emitter.frequency),
            shares_the_duty: false,
            limit,
        });
    }
    let total: f64 = shares.iter().map(|share| share.fraction).sum();
    for share in &mut shares {
        share.shares_the_duty =
            standard == ExposureStandard::Fcc && total > 1.0 && share.fraction >= DUTY_SHARE;
    }
    let notes = notes(total, tier, &shares, language);
    let distance_together_m = at_one_metre.sqrt();
    let caution = caution(language).to_owned();
    Ok(Estimate { tier, caution, notes, shares, fraction_total: total, distance_together_m })
}

fn notes(total: f64, tier: ExposureTier, shares: &[Share], language: Language) -> Vec<String> {
    let whom = tier.said(language);
    let percent = total * 100.0;
    let first = match total > 1.0 {
        true => say!(
            language,
            "As estimated this is {percent:.0} % of the limit for {whom}: over it. Nobody is to be \
             there until a qualified person has assessed it.",
            "Selon l’estimation, {percent:.0} % de la limite pour {whom} : au-dessus. Personne ne \
             doit s’y trouver avant qu’une personne qualifiée l’ait évalué."
        ),
        false => say!(
            language,
            "As estimated this is {percent:.2} % of the limit for {whom}. Only an assessment can \
             say what that means on site.",
            "Selon l’estimation, {percent:.2} % de la limite pour {whom}. Seule une évaluation \
             peut dire ce que cela signifie sur place."
        ),
    };
    let mut notes = vec![first];
    let mut note = |english, french| notes.push(language.pick(english, french).to_owned());
    if tier == ExposureTier::Workers {
        note(WORKERS_CAUTION, WORKERS_CAUTION_FR);
    }
    if shares.iter().any(|share| share.in_reactive_field) {
        note(
            "A distance is within λ/2π of an antenna, where this formula says little: the field \
             there may be far stronger than estimated.",
            "Une distance est à moins de λ/2π d’une antenne, où cette formule dit peu : le champ \
             peut y être bien plus fort qu’estimé.",
        );
    }
    if shares.iter().any(|share| share.limit.from_fields) {
        note(
            "A limit is of electric and magnetic field; the power density beside it is its \
             plane-wave equivalent, and both fields have to be assessed.",
            "Une limite porte sur les champs électrique et magnétique ; la densité de puissance à \
             côté est son équivalent en onde plane, et les deux champs sont à évaluer.",
        );
    }
    if shares.iter().any(|share| !share.limit.verified) {
        note(
            "A limit is from memory: limit not verified.",
            "Une limite est citée de mémoire : limite non vérifiée.",
        );
    }
    notes
}

#[cfg(test)]
pub(crate) mod tests;
