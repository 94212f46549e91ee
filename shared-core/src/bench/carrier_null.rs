//! The deviation at a null of the carrier. Formulas: [`crate::rf::audio::deviation`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use crate::rf::audio::deviation::{deviation_at_null, tone_for_null};
use crate::units::Hertz;

/// A tone or a deviation, whichever is known, and the null that is watched for.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct CarrierNullQuestion {
    /// The tone that modulates, to find the deviation.
    pub tone_hz: Option<f64>,
    /// The deviation wanted, to find the tone.
    pub deviation_hz: Option<f64>,
    /// Which null of the carrier as the deviation rises from nothing: 1 to 5.
    pub null: u64,
}

/// The tone and the deviation that belong together.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct CarrierNullAnswer {
    /// The tone that modulates.
    pub tone_hz: f64,
    /// The peak deviation at which the carrier vanishes.
    pub deviation_hz: f64,
}

impl CarrierNullQuestion {
    pub(super) fn answer(&self) -> Result<CarrierNullAnswer, BenchRefused> {
        let (tone, deviation) = match (self.tone_hz, self.deviation_hz) {
            (Some(tone), None) => {
                let tone = Hertz::tone(tone)?;
                (tone, deviation_at_null(tone, self.null)?)
            }
            (None, Some(deviation)) => {
                let deviation = Hertz::offset(deviation)?;
                (tone_for_null(deviation, self.null)?, deviation)
            }
            _ => return Err(BenchRefused::EitherOr { one: "tone_hz", other: "deviation_hz" }),
        };
        Ok(CarrierNullAnswer { tone_hz: tone.hertz(), deviation_hz: deviation.hertz() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(tone_hz: Option<f64>, deviation_hz: Option<f64>, null: u64) -> CarrierNullQuestion {
        CarrierNullQuestion { tone_hz, deviation_hz, null }
    }

    #[test]
    fn either_is_found_from_the_other() {
        // HANDBOOK 9.1: 2079 Hz and 5 kHz, first null.
        let found = asked(Some(2079.2), None, 1).answer().unwrap();
        assert!((found.deviation_hz - 5000.0).abs() < 0.2, "{found:?}");
        let found = asked(None, Some(5000.0), 2).answer().unwrap();
        assert!((found.tone_hz - 905.8).abs() < 0.05, "{found:?}");
    }

    #[test]
    fn both_neither_and_the_absurd_are_refused() {
        for (tone, deviation) in [(Some(1e3), Some(5e3)), (None, None)] {
            let refused = asked(tone, deviation, 1).answer();
            assert!(matches!(refused, Err(BenchRefused::EitherOr { .. })), "{refused:?}");
        }
        for (tone, deviation) in [(Some(0.0), None), (None, Some(-5e3)), (None, Some(f64::NAN))] {
            let refused = asked(tone, deviation, 1).answer().unwrap_err().to_string();
            assert!(refused.contains("outside"), "{refused}");
        }
        assert!(matches!(asked(Some(1e3), None, 9).answer(), Err(BenchRefused::Audio(_))));
    }
}
