//! Noise: of a bandwidth, of a receiver, of stages in a row; and the level a receiver wants.
//!
//! In: bandwidths, noise figures, gains, wanted carrier over noise. Out: levels and noise figures.
//! It does not know what the antenna brings in ([`super::site_noise`]).
//!
//!   N   = k·T0·B                         W; k = 1.380649e-23 J/K, T0 = 290 K
//!   Te  = T0·(F − 1)                     K; F = 10^(NF/10)
//!   F   = F1 + (F2 − 1)/G1 + (F3 − 1)/(G1·G2) + …        as ratios (Friis)
//!   NF behind a loss L at 290 K = L + NF             dB
//!   S   = 10·log10(N/1 mW) + NF + C/N                dBm: sensitivity
//!
//! k is exact (SI 2019); T0 is the convention noise figures are defined by. Check values: HANDBOOK
//! N1-N4, F1-F4, R1-R3. A noise figure is 0 dB or more: a receiver quieter than that is a slip.

use std::ops::RangeInclusive;

use crate::units::{Db, Dbm, Hertz, Loss, OutOfRange, in_range};

/// Boltzmann's constant in joules per kelvin; exact by the definition of the kelvin, 2019.
pub const BOLTZMANN_J_PER_K: f64 = 1.380_649e-23;
/// The temperature that noise figures are referred to, in kelvin.
pub const REFERENCE_K: f64 = 290.0;

/// How much noise a stage adds, referred to its input.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct NoiseFigure(f64);

impl NoiseFigure {
    /// In dB: from a stage that adds nothing to one that hears nothing.
    pub const RANGE: RangeInclusive<f64> = 0.0..=200.0;

    /// From dB. Refuses NaN, infinities and negatives.
    pub fn new(db: f64) -> Result<Self, OutOfRange> {
        in_range("noise figure", db, Self::RANGE, "dB").map(Self)
    }

    /// From the noise factor, a ratio of 1 or more.
    pub fn from_factor(factor: f64) -> Result<Self, OutOfRange> {
        let factor = in_range("noise factor", factor, 1.0..=1e20, "")?;
        Ok(Self(10.0 * factor.log10()))
    }

    /// From the equivalent temperature of what is added, in kelvin.
    pub fn from_temperature(kelvin: f64) -> Result<Self, OutOfRange> {
        let kelvin = in_range("noise temperature", kelvin, 0.0..=1e22, "K")?;
        Self::from_factor(1.0 + kelvin / REFERENCE_K)
    }

    /// The number of dB.
    pub fn db(self) -> f64 {
        self.0
    }

    /// The noise factor.
    pub fn factor(self) -> f64 {
        10f64.powf(self.0 / 10.0)
    }

    /// The equivalent temperature of what is added, in kelvin.
    pub fn temperature_k(self) -> f64 {
        // `exp_m1` keeps the digits of a very quiet stage.
        REFERENCE_K * (self.0 / 10.0 * std::f64::consts::LN_10).exp_m1()
    }

    /// The same stage seen through something passive at 290 K ahead of it.
    pub fn behind(self, loss: Loss) -> Result<Self, OutOfRange> {
        Self::new(self.0 + loss.db())
    }
}

/// One stage of a row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stage {
    gain: Db,
    figure: NoiseFigure,
}

impl Stage {
    /// A stage with a supply; its gain may be negative, as a mixer's is.
    pub fn active(gain: Db, figure: NoiseFigure) -> Self {
        Self { gain, figure }
    }

    /// Something passive at 290 K: its noise figure is its loss.
    pub fn passive(loss: Loss) -> Self {
        let figure = NoiseFigure::new(loss.db()).expect("a loss is a noise figure's size");
        Self { gain: -loss.ratio(), figure }
    }
}

/// Stages in a row, as one.
#[derive(Clone, Debug, PartialEq)]
pub struct Cascade {
    /// The noise figure of all.
    pub figure: NoiseFigure,
    /// The gain of all.
    pub gain: Db,
    /// What each stage adds to the noise factor, referred to the input of the row.
    pub added: Vec<f64>,
}

/// The most stages taken: more is a list that is no receiver.
const STAGES_MAX: usize = 100;

/// The noise figure and gain of stages in the order the signal meets them.
pub fn cascade(stages: &[Stage]) -> Result<Cascade, OutOfRange> {
    let count = stages.len() as f64;
    in_range("number of stages", count, 1.0..=STAGES_MAX as f64, "stages")?;
    let mut gain = Db::ZERO;
    let mut added = Vec::with_capacity(stages.len());
    for stage in stages {
        let before = 10f64.powf(gain.db() / 10.0);
        let adds = stage.figure.temperature_k() / REFERENCE_K;
        added.push(adds / before);
        gain = Db::new(gain.db() + stage.gain.db())?;
    }
    let figure = NoiseFigure::from_factor(1.0 + added.iter().sum::<f64>())?;
    Ok(Cascade { figure, gain, added })
}

/// The thermal noise in a bandwidth at 290 K.
pub fn thermal_noise(bandwidth: Hertz) -> Dbm {
    let watts = BOLTZMANN_J_PER_K * REFERENCE_K * bandwidth.hertz();
    Dbm::new(10.0 * (watts * 1e3).log10()).expect("1 Hz to 100 GHz is -174 to -64 dBm")
}

/// How the noise floor changes from one bandwidth to another.
pub fn bandwidth_change(from: Hertz, to: Hertz) -> Db {
    thermal_noise(to) - thermal_noise(from)
}

/// The noise a receiver has, referred to its input.
pub fn noise_floor(bandwidth: Hertz, figure: NoiseFigure) -> Result<Dbm, OutOfRange> {
    Dbm::new(thermal_noise(bandwidth).dbm() + figure.db())
}

/// The level at which a receiver has the carrier over noise that it wants.
pub fn sensitivity(
    bandwidth: Hertz,
    figure: NoiseFigure,
    carrier_over_noise: Db,
) -> Result<Dbm, OutOfRange> {
    Dbm::new(noise_floor(bandwidth, figure)?.dbm() + carrier_over_noise.db())
}

/// The noise figure of a receiver with this sensitivity. Refused where it would be better than a
/// receiver that adds no noise: the level was read in another unit, or without the coupler's loss.
pub fn figure_of_sensitivity(
    bandwidth: Hertz,
    sensitivity: Dbm,
    carrier_over_noise: Db,
) -> Result<NoiseFigure, OutOfRange> {
    NoiseFigure::new(sensitivity.dbm() - thermal_noise(bandwidth).dbm() - carrier_over_noise.db())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn figure(db: f64) -> NoiseFigure {
        NoiseFigure::new(db).unwrap()
    }

    #[test]
    fn what_no_receiver_has_is_refused_by_name() {
        let text = |refused: OutOfRange| refused.to_string();
        let refused = text(NoiseFigure::new(-0.1).unwrap_err());
        assert_eq!(refused, "noise figure of -0.1 dB is outside 0 to 200 dB");
        assert!(text(NoiseFigure::from_factor(0.9).unwrap_err()).starts_with("noise factor"));
        assert!(text(NoiseFigure::from_temperature(-1.0).unwrap_err()).contains("temperature"));
        assert!(text(cascade(&[]).unwrap_err()).starts_with("number of stages of 0"));
        let stage = Stage::active(Db::new(1.0).unwrap(), figure(1.0));
        assert!(cascade(&[stage; STAGES_MAX]).is_ok());
        assert!(cascade(&[stage; STAGES_MAX + 1]).is_err());
        assert!(figure(199.0).behind(Loss::new(2.0).unwrap()).is_err());
        // A receiver that opens at -141 dBm in 12 kHz: no receiver does.
        let better = figure_of_sensitivity(
            Hertz::bandwidth(12e3).unwrap(),
            Dbm::new(-141.0).unwrap(),
            Db::new(7.0).unwrap(),
        );
        assert!(text(better.unwrap_err()).starts_with("noise figure of -1"));
    }

    #[test]
    fn an_endless_gain_or_loss_is_refused_and_not_infinite() {
        for db in [400.0, -400.0] {
            let stage = Stage::active(Db::new(db).unwrap(), figure(0.0));
            assert!(cascade(&[stage]).is_ok());
            let refused = cascade(&[stage, stage]).unwrap_err().to_string();
            assert!(refused.starts_with("ratio of "), "{refused}");
        }
    }

    #[test]
    fn a_stage_that_adds_nothing_leaves_the_row_as_it_was() {
        let quiet = Stage::active(Db::ZERO, figure(0.0));
        let noisy = Stage::active(Db::new(10.0).unwrap(), figure(6.0));
        let row = cascade(&[quiet, noisy, quiet]).unwrap();
        assert!((row.figure.db() - 6.0).abs() < 1e-12);
        assert!(row.added[0].abs() < 1e-12 && row.added[2].abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn figure_factor_and_temperature_are_inverses(db in 0.001..60.0f64) {
            let one = figure(db);
            let factor = NoiseFigure::from_factor(one.factor()).unwrap();
            let temperature = NoiseFigure::from_temperature(one.temperature_k()).unwrap();
            prop_assert!((factor.db() - db).abs() < 1e-9);
            prop_assert!((temperature.db() - db).abs() < 1e-9);
        }

        #[test]
        fn a_loss_ahead_adds_to_the_figure(loss in 0.0..30.0f64, db in 0.0..30.0f64) {
            let loss = Loss::new(loss).unwrap();
            let row = cascade(&[Stage::passive(loss), Stage::active(Db::ZERO, figure(db))]);
            let behind = figure(db).behind(loss).unwrap();
            prop_assert!((row.unwrap().figure.db() - behind.db()).abs() < 1e-9);
        }

        #[test]
        fn another_stage_never_makes_it_quieter(
            dbs in prop::collection::vec((-20.0..30.0f64, 0.0..20.0f64), 2..6),
        ) {
            let stages: Vec<_> = dbs
                .iter()
                .map(|(gain, nf)| Stage::active(Db::new(*gain).unwrap(), figure(*nf)))
                .collect();
            let all = cascade(&stages).unwrap();
            let less = cascade(&stages[..stages.len() - 1]).unwrap();
            prop_assert!(all.figure.db() >= less.figure.db() - 1e-12);
        }

        #[test]
        fn sensitivity_and_figure_are_inverses(
            b in 1e3..1e5f64, nf in 0.001..20.0f64, cn in -10.0..30.0f64,
        ) {
            let (bandwidth, wanted) = (Hertz::bandwidth(b).unwrap(), Db::new(cn).unwrap());
            let level = sensitivity(bandwidth, figure(nf), wanted).unwrap();
            let back = figure_of_sensitivity(bandwidth, level, wanted).unwrap();
            prop_assert!((back.db() - nf).abs() < 1e-9);
        }
    }
}
