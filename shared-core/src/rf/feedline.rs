//! A feedline's loss by frequency and length, and what a mismatched load makes of it.
//!
//! In: a cable's loss per 100 m at a few frequencies, or its name in the shipped list; a length;
//! the reflection at the load. Out: losses and the reflection at the other end. It knows loss only:
//! not the phase, the velocity or the power rating.
//!
//!   ℓ(f)  = k1·√f + k2·f                    dB per 100 m, f in MHz: conductor and dielectric
//!   L     = ℓ·length/100                    dB, matched
//!   L_tot = 10·log10[(a² − Γ²)/(a·(1 − Γ²))], a = 10^(L/10), Γ at the load
//!   Γ_in  = Γ/a                             as voltages: the return loss grows by 2·L
//!
//! Check values: HANDBOOK 5.4. The total-loss formula is from memory, unverified; the tests hold it
//! against wave propagation in an independent library. k1 and k2 cannot be negative: a law that
//! wants it is fitted without that term. A law holds from a fifth of its lowest point to twice its
//! highest (common practice, no source) and is refused beyond.

use std::sync::OnceLock;

use serde::Deserialize;

use super::chain::LossUnknown;
use super::mismatch::Reflection;
use super::standing::Tag;
use crate::language::Language;
use crate::units::{Db, Hertz, Loss, Metres, OutOfRange};

const SHIPPED: &str = include_str!("../../data/cables.toml");

/// How far below its lowest point a law is believed.
const REACH_DOWN: f64 = 5.0;
/// How far above its highest.
const REACH_UP: f64 = 2.0;
/// How far a point may lie off its cable's law: tables are printed with two or three figures. So
/// far off may a loss by the law be too.
pub const FIT_SHARE: f64 = 0.06;

/// The loss of a kind of cable at any frequency.
#[derive(Clone, Debug, PartialEq)]
pub struct CableLaw {
    /// What the cable is called.
    pub name: String,
    /// The conductor's part, dB per 100 m and √MHz.
    pub k1: f64,
    /// The dielectric's part, dB per 100 m and MHz.
    pub k2: f64,
    low: Hertz,
    high: Hertz,
}

/// A cable of the shipped list.
#[derive(Clone, Debug, PartialEq)]
pub struct ListedCable {
    /// Its short name, to ask for it by.
    pub id: String,
    /// Its loss, with its name in words.
    pub law: CableLaw,
    /// The same name in French.
    name_fr: String,
    /// Where its points stand.
    pub source: String,
    /// False where they are from memory.
    pub verified: bool,
}

impl ListedCable {
    /// Its name in words of a language.
    pub fn name(&self, language: Language) -> &str {
        language.pick(&self.law.name, &self.name_fr)
    }
}

/// Why there is no loss.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FeedlineRefused {
    /// A number that the quantity cannot have.
    #[error(transparent)]
    Number(#[from] OutOfRange),
    /// Too far from where the cable's loss is known.
    #[error(transparent)]
    Unknown(#[from] LossUnknown),
    /// No such cable.
    #[error("no cable is listed as {named:?}; listed: {known}")]
    NotListed {
        /// What was asked for.
        named: String,
        /// What there is.
        known: String,
    },
    /// A law wants points at two frequencies.
    #[error("a cable's law wants its loss at 2 frequencies or more, not at {given}")]
    TooFewFrequencies {
        /// At how many frequencies it was given.
        given: usize,
    },
    /// Points that no cable has.
    #[error(
        "no cable loses {given_db} dB per 100 m at {at_mhz} MHz with its other points as given; \
         {law_db:.3} dB would fit"
    )]
    NoCable {
        /// The frequency of the worst point, in megahertz.
        at_mhz: f64,
        /// Its loss as given.
        given_db: f64,
        /// Its loss by the law through all points.
        law_db: f64,
    },
}

impl CableLaw {
    /// The law nearest to the points (frequency, loss per 100 m), by least squares of the relative
    /// distance. Exact for two points. Refuses points that no cable has.
    pub fn fitted(name: &str, points: &[(Hertz, Loss)]) -> Result<Self, FeedlineRefused> {
        let mut at: Vec<f64> = points.iter().map(|(at, _)| at.hertz()).collect();
        at.sort_by(f64::total_cmp);
        at.dedup();
        let (Some(&first), Some(&last)) = (at.first(), at.last()) else {
            return Err(FeedlineRefused::TooFewFrequencies { given: 0 });
        };
        if at.len() < 2 {
            return Err(FeedlineRefused::TooFewFrequencies { given: at.len() });
        }
        if let Some((_, none)) = points.iter().find(|(_, loss)| loss.db() < LOSS_LEAST_DB) {
            let allowed = LOSS_LEAST_DB..=*Loss::RANGE.end();
            let quantity = "cable loss per 100 m";
            return Err(OutOfRange { quantity, value: none.db(), unit: "dB", allowed }.into());
        }
        let (k1, k2) = coefficients(points);
        let law = Self {
            name: name.to_owned(),
            k1,
            k2,
            low: Hertz::carrier((first / REACH_DOWN).max(*Hertz::CARRIER_RANGE.start()))?,
            high: Hertz::carrier((last * REACH_UP).min(*Hertz::CARRIER_RANGE.end()))?,
        };
        law.check(points)?;
        Ok(law)
    }

    /// Refuses the point that lies furthest off the law, if it lies too far off.
    fn check(&self, points: &[(Hertz, Loss)]) -> Result<(), FeedlineRefused> {
        let off = |(at, loss): &(Hertz, Loss)| (self.db_per_100m(*at) / loss.db() - 1.0).abs();
        let worst = points.iter().max_by(|a, b| off(a).total_cmp(&off(b)));
        match worst.filter(|point| off(point) > FIT_SHARE) {
            Some(&(at, loss)) => Err(FeedlineRefused::NoCable {
                at_mhz: at.hertz() / 1e6,
                given_db: loss.db(),
                law_db: self.db_per_100m(at),
            }),
            None => Ok(()),
        }
    }

    fn db_per_100m(&self, at: Hertz) -> f64 {
        let mhz = at.hertz() / 1e6;
        self.k1 * mhz.sqrt() + self.k2 * mhz
    }

    /// The frequencies between which the law is believed, in hertz.
    pub fn known_hz(&self) -> (f64, f64) {
        (self.low.hertz(), self.high.hertz())
    }

    /// The loss of a length at a frequency, matched at both ends.
    pub fn loss(&self, at: Hertz, length: Metres) -> Result<Loss, FeedlineRefused> {
        if at < self.low || at > self.high {
            return Err(LossUnknown {
                part: self.name.clone(),
                low_hz: whole_hertz(self.low),
                high_hz: whole_hertz(self.high),
                wanted_hz: whole_hertz(at),
            }
            .into());
        }
        Ok(Loss::named("line loss", self.db_per_100m(at) * length.metres() / 100.0)?)
    }
}

/// The least loss a point of a law may have: relative distances want something to be relative to.
const LOSS_LEAST_DB: f64 = 1e-6;

fn whole_hertz(frequency: Hertz) -> u64 {
    // Carriers are 1e5 to 1e11 Hz: whole hertz of them fit.
    frequency.hertz().round() as u64
}

/// k1 and k2 by least squares of the relative distances; a negative one is set to nothing and the
/// other fitted alone.
fn coefficients(points: &[(Hertz, Loss)]) -> (f64, f64) {
    let [mut uu, mut uv, mut vv, mut u1, mut v1] = [0.0; 5];
    for (at, loss) in points {
        let mhz = at.hertz() / 1e6;
        let (u, v) = (mhz.sqrt() / loss.db(), mhz / loss.db());
        uu += u * u;
        uv += u * v;
        vv += v * v;
        u1 += u;
        v1 += v;
    }
    let determinant = uu * vv - uv * uv;
    let k1 = (u1 * vv - v1 * uv) / determinant;
    let k2 = (v1 * uu - u1 * uv) / determinant;
    match (k1 >= 0.0, k2 >= 0.0) {
        (true, true) => (k1, k2),
        (true, false) => (u1 / uu, 0.0),
        _ => (0.0, v1 / vv),
    }
}

/// The loss of a line with a mismatched load: matched loss, and what goes up and down it again.
/// None where the load takes nothing.
pub fn total_loss(matched: Loss, load: Reflection) -> Option<Loss> {
    let a = 10f64.powf(matched.db() / 10.0);
    let back = load.reflected_share();
    let db = 10.0 * ((a * a - back) / (a * (1.0 - back))).log10();
    Loss::new(db.max(0.0)).ok()
}

/// What is seen at the input of a line that ends in `load`: the loss hides a bad load.
pub fn reflection_at_input(matched: Loss, load: Reflection) -> Reflection {
    let there_and_back = 10f64.powf(-matched.db() / 10.0);
    Reflection::from_magnitude(load.magnitude() * there_and_back)
        .expect("a loss makes a reflection smaller")
}

/// What the load must be for `input` to be seen. Refused where no passive load shows so much
/// through a line of this loss: then the line is shorter, better or broken.
pub fn reflection_at_load(matched: Loss, input: Reflection) -> Result<Reflection, OutOfRange> {
    let there_and_back = 10f64.powf(-matched.db() / 10.0);
    let seen = input.magnitude();
    // An open line is allowed the last digit of its own reflection.
    if seen > there_and_back * (1.0 + 1e-9) {
        return Err(OutOfRange {
            quantity: "reflection coefficient at the input of this line",
            value: seen,
            unit: "",
            allowed: 0.0..=there_and_back,
        });
    }
    Reflection::from_magnitude((seen / there_and_back).min(1.0))
}

/// What a mismatched load adds to a line's matched loss. None where the load takes nothing.
pub fn added_loss(matched: Loss, load: Reflection) -> Option<Db> {
    total_loss(matched, load).map(|total| total.ratio() - matched.ratio())
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct CableFile {
    cable: Vec<CableRow>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct CableRow {
    id: String,
    name: String,
    #[serde(rename = "name-fr")]
    name_fr: String,
    /// Megahertz and dB per 100 m.
    points: Vec<(f64, f64)>,
    source: String,
    text_date: String,
    tag: Tag,
}

impl CableRow {
    fn listed(self) -> Result<ListedCable, FeedlineRefused> {
        let points: Result<Vec<(Hertz, Loss)>, OutOfRange> = self
            .points
            .iter()
            .map(|(mhz, db)| Ok((Hertz::carrier(mhz * 1e6)?, Loss::new(*db)?)))
            .collect();
        Ok(ListedCable {
            law: CableLaw::fitted(&self.name, &points?)?,
            name_fr: self.name_fr,
            id: self.id,
            source: format!("{}; {}{}", self.source, self.text_date, self.tag.doubt()),
            verified: self.tag.verified(),
        })
    }
}

/// The shipped list of cables, thinnest first.
pub fn cables() -> &'static [ListedCable] {
    static CABLES: OnceLock<Vec<ListedCable>> = OnceLock::new();
    CABLES.get_or_init(|| {
        let file: CableFile = toml::from_str(SHIPPED).expect("the shipped list is read by a test");
        let listed: Result<_, _> = file.cable.into_iter().map(CableRow::listed).collect();
        listed.expect("the shipped list is fitted by a test")
    })
}

/// A cable of the shipped list by its short name.
pub fn cable(id: &str) -> Result<&'static ListedCable, FeedlineRefused> {
    cables().iter().find(|cable| cable.id == id).ok_or_else(|| FeedlineRefused::NotListed {
        named: id.chars().take(40).collect(),
        known: cables().iter().map(|c| c.id.as_str()).collect::<Vec<_>>().join(", "),
    })
}

#[cfg(test)]
#[path = "feedline_tests.rs"]
mod tests;
