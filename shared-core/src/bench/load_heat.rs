//! How long a load may be keyed, and the rest it wants. Formulas: [`crate::rf::heat`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use crate::rf::heat::{Endurance, Longest};
use crate::units::{Watts, in_range};

/// A load's ratings, and how it is keyed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct LoadHeatQuestion {
    /// The power that arrives while keyed.
    pub power_w: f64,
    /// What the load takes for long.
    pub rated_w: f64,
    /// More than that, which it takes for a while from cold. None: no more at all.
    #[serde(default)]
    pub short_time_w: Option<f64>,
    /// For how long it takes that, in seconds.
    #[serde(default)]
    pub short_time_s: Option<f64>,
    /// Keyed so long at a time, in seconds.
    pub keyed_s: f64,
    /// Rested so long between, in seconds.
    pub rest_s: f64,
}

/// What it comes to.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct LoadHeatAnswer {
    /// Whether keying so, in turn for ever, stays within the ratings. It is no clearance.
    pub holds: bool,
    /// The rise over the rise allowed, at the end of each keying, in percent.
    pub rise_percent: f64,
    /// How long it may be keyed from cold, in seconds: none where for long, 0 where not at all.
    pub longest_s: Option<f64>,
    /// The rest that each such keying wants, in seconds; none where no rest is enough.
    pub rest_wanted_s: Option<f64>,
    /// The time constant that the ratings imply, in seconds.
    pub time_constant_s: Option<f64>,
}

impl LoadHeatQuestion {
    pub(super) fn answer(&self) -> Result<LoadHeatAnswer, BenchRefused> {
        let (power, rated) = (Watts::new(self.power_w)?, Watts::new(self.rated_w)?);
        let load = match (self.short_time_w, self.short_time_s) {
            (None, None) => Endurance::continuous(rated),
            (power_w, seconds) => {
                // Half a rating is none: the missing half is refused by its name.
                let power_w = power_w.unwrap_or(f64::NAN);
                let power_w = in_range("short-time power", power_w, self.rated_w..=1e6, "W")?;
                let seconds = seconds.unwrap_or(f64::NAN);
                Endurance::with_short_time(rated, Watts::new(power_w)?, seconds)?
            }
        };
        let rise = load.rise(power, self.keyed_s, self.rest_s)?;
        let (longest_s, may) = match load.longest(power) {
            Longest::ForLong => (None, true),
            Longest::Seconds(seconds) => (Some(seconds), true),
            Longest::Never => (Some(0.0), false),
        };
        Ok(LoadHeatAnswer {
            // A hair over is rounding.
            holds: may && rise <= 1.0 + 1e-9,
            rise_percent: 100.0 * rise,
            longest_s,
            rest_wanted_s: load.rest_s(power, self.keyed_s),
            time_constant_s: load.time_constant_s(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 50 W for long, 100 W for 60 s.
    fn keyed(power_w: f64, keyed_s: f64, rest_s: f64) -> LoadHeatQuestion {
        LoadHeatQuestion {
            power_w,
            rated_w: 50.0,
            short_time_w: Some(100.0),
            short_time_s: Some(60.0),
            keyed_s,
            rest_s,
        }
    }

    #[test]
    fn a_load_is_keyed_for_a_while_and_rested() {
        // Arithmetic: τ = 60/ln 2 = 86.562 s; 75 W hold −τ·ln(1 − 2/3) = 95.098 s from cold.
        let found = keyed(75.0, 30.0, 1.0).answer().unwrap();
        assert!((found.time_constant_s.unwrap() - 86.562).abs() < 0.001);
        assert!((found.longest_s.unwrap() - 95.098).abs() < 0.001);
        assert!(!found.holds && found.rise_percent > 100.0);
        let rested = keyed(75.0, 30.0, found.rest_wanted_s.unwrap()).answer().unwrap();
        assert!(rested.holds && (rested.rise_percent - 100.0).abs() < 1e-6);
    }

    #[test]
    fn over_the_short_time_rating_it_is_not_keyed_at_all() {
        let found = keyed(120.0, 1.0, 1000.0).answer().unwrap();
        assert_eq!((found.holds, found.longest_s), (false, Some(0.0)));
        let half = LoadHeatQuestion { short_time_s: None, ..keyed(75.0, 30.0, 60.0) };
        assert!(half.answer().unwrap_err().to_string().contains("short time of NaN s"));
        assert!(keyed(-1.0, 1.0, 1.0).answer().is_err());
    }
}
