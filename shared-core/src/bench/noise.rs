//! Noise of a bandwidth, of stages in a row, of a site; sensitivity; SINAD. Formulas:
//! [`crate::rf::noise`], [`crate::rf::site_noise`], [`crate::rf::sinad`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use super::feedline::carrier;
use crate::rf::noise::{
    NoiseFigure, Stage, bandwidth_change, cascade, figure_of_sensitivity, noise_floor, sensitivity,
    thermal_noise,
};
use crate::rf::sinad::Sinad;
use crate::rf::site_noise::{Surroundings, combined, degradation, external_noise, source};
use crate::units::{Db, Dbm, Hertz, Loss};

/// How the noise of a stage is known: exactly one of these.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "snake_case")]
pub enum NoiseKnown {
    /// As a noise figure.
    NoiseFigureDb(f64),
    /// As a noise factor, 1 or more.
    NoiseFactor(f64),
    /// As the equivalent temperature of what it adds.
    TemperatureK(f64),
}

/// The noise in a bandwidth.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct NoiseQuestion {
    /// The bandwidth.
    pub bandwidth_hz: f64,
    /// What the receiver adds.
    pub adds: NoiseKnown,
    /// Another bandwidth, to see what changes; none where none is meant.
    pub other_bandwidth_hz: Option<f64>,
}

/// The noise in a bandwidth, and a stage's noise in every measure.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct NoiseAnswer {
    /// Of a receiver that adds nothing, at 290 K.
    pub thermal_dbm: f64,
    /// Of this one, referred to its input.
    pub floor_dbm: f64,
    /// The same across 50 Ω, closed circuit.
    pub floor_uv: f64,
    /// The noise figure.
    pub noise_figure_db: f64,
    /// The same as a ratio.
    pub noise_factor: f64,
    /// The same as a temperature.
    pub temperature_k: f64,
    /// How much higher the floor is in the other bandwidth.
    pub change_db: Option<f64>,
}

/// One stage of a row.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "snake_case")]
pub enum CascadeStage {
    /// An amplifier or a mixer.
    Active(ActiveStage),
    /// A cable, a pad or a filter: its loss at 290 K.
    PassiveLossDb(f64),
}

/// A stage with a supply.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct ActiveStage {
    /// Its gain; negative where it loses.
    pub gain_db: f64,
    /// Its noise figure.
    pub noise_figure_db: f64,
}

/// Stages in the order the signal meets them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct CascadeQuestion {
    /// The stages.
    pub stages: Vec<CascadeStage>,
}

/// The row as one stage.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct CascadeAnswer {
    /// The noise figure of all.
    pub noise_figure_db: f64,
    /// The gain of all.
    pub gain_db: f64,
    /// The equivalent temperature of all.
    pub temperature_k: f64,
    /// What each stage adds to that, referred to the input, in kelvin.
    pub added_k: Vec<f64>,
}

/// What is known of a receiver: exactly one of these.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "snake_case")]
pub enum SensitivityKnown {
    /// Its noise figure, at the receiver's own port.
    NoiseFigureDb(f64),
    /// Its level at the criterion, ahead of the loss.
    SensitivityDbm(f64),
}

/// A receiver behind a loss.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct SensitivityQuestion {
    /// What is known of it.
    pub known: SensitivityKnown,
    /// Its noise bandwidth.
    pub bandwidth_hz: f64,
    /// Carrier over noise at the criterion (12 dB SINAD or the squelch opening).
    pub carrier_over_noise_db: f64,
    /// The loss ahead of it (duplexer, jumper); 0 at its own port.
    pub loss_ahead_db: f64,
}

/// Its level at the criterion and its noise figure.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct SensitivityAnswer {
    /// The level ahead of the loss.
    pub sensitivity_dbm: f64,
    /// The same across 50 Ω, closed circuit.
    pub sensitivity_uv: f64,
    /// The same as a generator's EMF.
    pub sensitivity_emf_uv: f64,
    /// The noise figure at the receiver's own port.
    pub noise_figure_db: f64,
    /// The noise floor ahead of the loss.
    pub floor_dbm: f64,
}

/// How a receiver's audio was read: exactly one of these.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "snake_case")]
pub enum SinadQuestion {
    /// As a SINAD.
    SinadDb(f64),
    /// As the tone over noise and distortion.
    SignalOverRestDb(f64),
    /// As a distortion meter reads it.
    DistortionPercent(f64),
}

/// The same reading in all forms.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct SinadAnswer {
    /// Everything over everything but the tone.
    pub sinad_db: f64,
    /// The tone over the rest. None where there is no tone.
    pub signal_over_rest_db: Option<f64>,
    /// The share of the voltage that is not the tone.
    pub distortion_percent: f64,
}

/// A receiver at a site.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct SiteNoiseQuestion {
    /// What makes noise around the antenna.
    pub surroundings: Surroundings,
    /// The receive frequency.
    pub frequency_hz: u64,
    /// The receiver's noise figure at the antenna: with the losses ahead of it.
    pub noise_figure_db: f64,
    /// Its noise bandwidth.
    pub bandwidth_hz: f64,
}

/// What the site adds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct SiteNoiseAnswer {
    /// The noise that comes in, over 290 K: a median.
    pub external_db: f64,
    /// The same with the receiver's own.
    pub combined_db: f64,
    /// How much more level the receiver wants than at a generator's port.
    pub degradation_db: f64,
    /// The noise that comes in, as a level in the bandwidth.
    pub external_dbm: f64,
    /// Where the numbers stand.
    pub source: String,
}

impl NoiseQuestion {
    pub(super) fn answer(&self) -> Result<NoiseAnswer, BenchRefused> {
        let bandwidth = Hertz::bandwidth(self.bandwidth_hz)?;
        let figure = match self.adds {
            NoiseKnown::NoiseFigureDb(db) => NoiseFigure::new(db)?,
            NoiseKnown::NoiseFactor(factor) => NoiseFigure::from_factor(factor)?,
            NoiseKnown::TemperatureK(kelvin) => NoiseFigure::from_temperature(kelvin)?,
        };
        let floor = noise_floor(bandwidth, figure)?;
        let other = self.other_bandwidth_hz.map(Hertz::bandwidth).transpose()?;
        Ok(NoiseAnswer {
            thermal_dbm: thermal_noise(bandwidth).dbm(),
            floor_dbm: floor.dbm(),
            floor_uv: floor.microvolts().microvolts(),
            noise_figure_db: figure.db(),
            noise_factor: figure.factor(),
            temperature_k: figure.temperature_k(),
            change_db: other.map(|other| bandwidth_change(bandwidth, other).db()),
        })
    }
}

impl CascadeQuestion {
    pub(super) fn answer(&self) -> Result<CascadeAnswer, BenchRefused> {
        let stages: Result<Vec<Stage>, BenchRefused> = self
            .stages
            .iter()
            .map(|stage| match stage {
                CascadeStage::Active(stage) => {
                    let figure = NoiseFigure::new(stage.noise_figure_db)?;
                    Ok(Stage::active(Db::new(stage.gain_db)?, figure))
                }
                CascadeStage::PassiveLossDb(db) => Ok(Stage::passive(Loss::new(*db)?)),
            })
            .collect();
        let row = cascade(&stages?)?;
        let kelvin = |added: &f64| added * crate::rf::noise::REFERENCE_K;
        Ok(CascadeAnswer {
            noise_figure_db: row.figure.db(),
            gain_db: row.gain.db(),
            temperature_k: row.figure.temperature_k(),
            added_k: row.added.iter().map(kelvin).collect(),
        })
    }
}

impl SensitivityQuestion {
    pub(super) fn answer(&self) -> Result<SensitivityAnswer, BenchRefused> {
        let bandwidth = Hertz::bandwidth(self.bandwidth_hz)?;
        let wanted = Db::new(self.carrier_over_noise_db)?;
        let ahead = Loss::named("loss ahead", self.loss_ahead_db)?;
        let figure = match self.known {
            SensitivityKnown::NoiseFigureDb(db) => NoiseFigure::new(db)?,
            SensitivityKnown::SensitivityDbm(dbm) => {
                let at_port = Dbm::new(dbm)? - ahead.ratio();
                figure_of_sensitivity(bandwidth, at_port, wanted)?
            }
        };
        let behind = figure.behind(ahead)?;
        let level = sensitivity(bandwidth, behind, wanted)?;
        let microvolts = level.microvolts().microvolts();
        Ok(SensitivityAnswer {
            sensitivity_dbm: level.dbm(),
            sensitivity_uv: microvolts,
            sensitivity_emf_uv: 2.0 * microvolts,
            noise_figure_db: figure.db(),
            floor_dbm: noise_floor(bandwidth, behind)?.dbm(),
        })
    }
}

impl SinadQuestion {
    pub(super) fn answer(&self) -> Result<SinadAnswer, BenchRefused> {
        let sinad = match *self {
            Self::SinadDb(db) => Sinad::new(db)?,
            Self::SignalOverRestDb(db) => Sinad::from_signal_over_rest(Db::new(db)?)?,
            Self::DistortionPercent(percent) => Sinad::from_distortion_percent(percent)?,
        };
        Ok(SinadAnswer {
            sinad_db: sinad.db(),
            signal_over_rest_db: sinad.signal_over_rest().map(Db::db),
            distortion_percent: sinad.distortion_percent(),
        })
    }
}

impl SiteNoiseQuestion {
    pub(super) fn answer(&self) -> Result<SiteNoiseAnswer, BenchRefused> {
        let receiver = NoiseFigure::new(self.noise_figure_db)?;
        let external = external_noise(self.surroundings, carrier(self.frequency_hz)?)?;
        let thermal = thermal_noise(Hertz::bandwidth(self.bandwidth_hz)?);
        Ok(SiteNoiseAnswer {
            external_db: external.db(),
            combined_db: combined(external, receiver)?.db(),
            degradation_db: degradation(external, receiver)?.db(),
            external_dbm: (thermal + external).dbm(),
            source: source(),
        })
    }
}

#[cfg(test)]
#[path = "noise_tests.rs"]
mod tests;
