//! Power density, field and distance of a transmitter in its far field.
//!
//! In: EIRP, reflection, metres. Out: W/m², V/m, metres.
//!
//!   S = F·EIRP / (4·π·R²)     E = √(Z·S)     λ/2π = c / (2·π·f)
//!
//! F: 1 free space, 2.56 ground reflection (a field 1.6 times as strong), 4 full reflection.
//! Source: HANDBOOK 3.2. Z = 377 Ω as the tables of limits round it.

use std::f64::consts::PI;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::ExposureRefused;
use crate::units::{Hertz, Watts, in_range};

/// Gain of a dipole over an isotropic antenna: HANDBOOK U7, one value for the whole project.
pub const DIPOLE_GAIN_DBI: f64 = 2.15;
/// Field over field of a plane wave, in ohms, as the tables of limits round it.
pub const WAVE_IMPEDANCE_OHM: f64 = 377.0;

const SPEED_OF_LIGHT_M_S: f64 = 299_792_458.0;
const DISTANCE_M: std::ops::RangeInclusive<f64> = 0.01..=1e6;
const DENSITY_W_M2: std::ops::RangeInclusive<f64> = 1e-12..=1e6;

/// What reflections add to the direct wave.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "kebab-case")]
pub enum WaveReflection {
    /// None: 1.
    None,
    /// From the ground: 2.56.
    Ground,
    /// In full: 4.
    Full,
}

impl WaveReflection {
    /// How many times the power density of the direct wave.
    pub fn factor(self) -> f64 {
        match self {
            Self::None => 1.0,
            Self::Ground => 2.56,
            Self::Full => 4.0,
        }
    }
}

/// The power density at a distance, in W/m².
pub fn density_w_m2(
    eirp: Watts,
    reflection: WaveReflection,
    distance_m: f64,
) -> Result<f64, ExposureRefused> {
    let distance = in_range("distance", distance_m, DISTANCE_M, "m")?;
    Ok(reflection.factor() * eirp.watts() / (4.0 * PI * distance * distance))
}

/// Where the power density has come down to this, in metres.
pub fn distance_to_m(
    eirp: Watts,
    reflection: WaveReflection,
    density_w_m2: f64,
) -> Result<f64, ExposureRefused> {
    let density = in_range("power density", density_w_m2, DENSITY_W_M2, "W/m²")?;
    Ok((reflection.factor() * eirp.watts() / (4.0 * PI * density)).sqrt())
}

/// The electric field of a plane wave of this power density, in V/m.
pub fn electric_v_m(density_w_m2: f64) -> f64 {
    (WAVE_IMPEDANCE_OHM * density_w_m2).sqrt()
}

/// λ/2π: closer than this an antenna's field is not yet a wave.
pub fn reactive_field_m(frequency: Hertz) -> f64 {
    SPEED_OF_LIGHT_M_S / (2.0 * PI * frequency.hertz())
}
