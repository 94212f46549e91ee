//! The noise that comes in with the antenna, by the kind of surroundings.
//!
//! In: surroundings, frequency, the receiver's noise figure. Out: the external noise figure, both
//! together, and what the site costs against the bench. A median over place and time: one site may
//! be far off it, and a spectrum look beats it.
//!
//!   Fam = c − d·log10(f/MHz)                dB; c and d by surroundings, `data/site_noise.toml`
//!   f   = fa + f_rx − 1                     as ratios; f_rx is the receiver behind its losses
//!   degradation = F − F_rx                  dB
//!
//! Valid 0.3 to 250 MHz and refused outside: above, only a measurement tells (HANDBOOK trap 11).
//! Source and check values: HANDBOOK 6.3.

use std::sync::OnceLock;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::noise::{NoiseFigure, REFERENCE_K};
use super::standing::Tag;
use crate::units::{Db, Hertz, OutOfRange, in_range};

const SHIPPED: &str = include_str!("../../data/site_noise.toml");

/// What makes noise around an antenna.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "kebab-case")]
pub enum Surroundings {
    /// Business and industry, dense traffic.
    City,
    /// Houses.
    Residential,
    /// Scattered houses and farms.
    Rural,
    /// Far from any machine.
    QuietRural,
    /// Nothing but the sky.
    Galactic,
}

impl Surroundings {
    /// All, the noisiest first.
    pub const ALL: [Self; 5] =
        [Self::City, Self::Residential, Self::Rural, Self::QuietRural, Self::Galactic];
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    source: String,
    text_date: String,
    tag: Tag,
    from_mhz: f64,
    to_mhz: f64,
    surrounding: Vec<Row>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    id: Surroundings,
    c: f64,
    d: f64,
}

fn table() -> &'static Table {
    static TABLE: OnceLock<Table> = OnceLock::new();
    TABLE.get_or_init(|| toml::from_str(SHIPPED).expect("the shipped table is read by a test"))
}

/// Where the numbers stand.
pub fn source() -> String {
    let table = table();
    format!("{}; {}{}", table.source, table.text_date, table.tag.doubt())
}

/// The median external noise figure; below 0 dB where the sky is quieter than 290 K.
pub fn external_noise(surroundings: Surroundings, at: Hertz) -> Result<Db, OutOfRange> {
    let table = table();
    let allowed = table.from_mhz..=table.to_mhz;
    let mhz = in_range("frequency for man-made noise", at.hertz() / 1e6, allowed, "MHz")?;
    let row = table
        .surrounding
        .iter()
        .find(|row| row.id == surroundings)
        .expect("a test holds that every surrounding has its row");
    Db::new(row.c - row.d * mhz.log10())
}

/// External noise and the receiver's own, as one noise figure. It may be below 0 dB: it is of the
/// noise that is there, not of what a stage adds.
pub fn combined(external: Db, receiver: NoiseFigure) -> Result<Db, OutOfRange> {
    let adds = receiver.temperature_k() / REFERENCE_K;
    Db::new(10.0 * (10f64.powf(external.db() / 10.0) + adds).log10())
}

/// How much more level the receiver wants at this site than at a generator's port.
pub fn degradation(external: Db, receiver: NoiseFigure) -> Result<Db, OutOfRange> {
    Db::new(combined(external, receiver)?.db() - receiver.db())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn mhz(frequency_mhz: f64) -> Hertz {
        Hertz::carrier(frequency_mhz * 1e6).unwrap()
    }

    #[test]
    fn the_shipped_table_has_one_row_for_each_surrounding() {
        assert_eq!(table().surrounding.len(), Surroundings::ALL.len());
        for (row, surroundings) in table().surrounding.iter().zip(Surroundings::ALL) {
            assert_eq!(row.id, surroundings);
            assert!(row.c > 0.0 && row.d > 0.0);
        }
        assert!(source().contains("P.372"));
        assert!(!source().contains("from memory"));
    }

    #[test]
    fn frequencies_the_table_does_not_reach_are_refused() {
        for outside in [250.001, 460.0, 0.299, 0.1] {
            let refused = external_noise(Surroundings::City, mhz(outside)).unwrap_err();
            assert_eq!(refused.quantity, "frequency for man-made noise");
            assert!(refused.to_string().contains("outside 0.3 to 250 MHz"), "{refused}");
        }
        for inside in [0.3, 250.0] {
            assert!(external_noise(Surroundings::City, mhz(inside)).is_ok(), "{inside} MHz");
        }
    }

    #[test]
    fn external_noise_of_290_kelvin_is_what_the_generator_brings_too() {
        let receiver = NoiseFigure::new(6.0).unwrap();
        assert!(degradation(Db::ZERO, receiver).unwrap().db().abs() < 1e-12);
        let quiet = degradation(Db::new(-3.0).unwrap(), receiver).unwrap();
        assert!(quiet.db() < 0.0, "a sky colder than the generator helps");
    }

    proptest! {
        #[test]
        fn noise_falls_with_frequency_and_with_people(f in 0.3..240.0f64) {
            for surroundings in Surroundings::ALL {
                let here = external_noise(surroundings, mhz(f)).unwrap();
                let above = external_noise(surroundings, mhz(f * 1.04)).unwrap();
                prop_assert!(above < here);
            }
            let by_people = [Surroundings::City, Surroundings::Residential, Surroundings::Rural]
                .map(|surroundings| external_noise(surroundings, mhz(f)).unwrap());
            prop_assert!(by_people[0] > by_people[1] && by_people[1] > by_people[2]);
        }

        #[test]
        fn a_better_receiver_gains_less_and_less(fa in 1.0..30.0f64, nf in 1.0..20.0f64) {
            let external = Db::new(fa).unwrap();
            let cost = |nf| degradation(external, NoiseFigure::new(nf).unwrap()).unwrap();
            prop_assert!(cost(nf) > Db::ZERO);
            prop_assert!(cost(nf - 0.5) > cost(nf), "the quieter receiver loses more to the site");
        }
    }
}
