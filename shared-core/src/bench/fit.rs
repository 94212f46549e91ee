//! Weighted least squares of a few unknowns. Formulas: [`crate::rf::least_squares`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use crate::rf::least_squares::{Observation, Prior, Unknown, fit};

/// Unknowns, and observations that are weighted sums of them. All in one unit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct FitQuestion {
    /// What is not known.
    pub unknowns: Vec<FitUnknown>,
    /// What was observed.
    pub observations: Vec<FitObservation>,
}

/// Something unknown. An error that observations share is one too: prior 0 ± its uncertainty.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct FitUnknown {
    /// What it is called.
    pub name: String,
    /// What is known of it beforehand. Left out where nothing is.
    #[serde(default)]
    pub prior: Option<FitPrior>,
}

/// A value known beforehand.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct FitPrior {
    /// The value.
    pub mean: f64,
    /// Its standard uncertainty, more than 0.
    pub standard: f64,
}

/// One observation.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct FitObservation {
    /// What it is called.
    pub name: String,
    /// What was observed.
    pub value: f64,
    /// The standard uncertainty of what it shares with no other, more than 0.
    pub standard: f64,
    /// How it follows each unknown, in their order. Those left out at the end count as 0.
    pub factors: Vec<f64>,
}

/// The unknowns, found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct FitAnswer {
    /// The estimates, in the order of the unknowns.
    pub estimates: Vec<FitEstimate>,
    /// The covariance of the estimates, row by row.
    pub covariance: Vec<Vec<f64>>,
    /// The observations held against everything else, in their order.
    pub residuals: Vec<FitResidual>,
    /// The weighted sum of squares, of observations and priors.
    pub chi_square: f64,
    /// What it has to be held against.
    pub degrees_of_freedom: usize,
    /// The chance of a chi-square this large or larger. None without degrees of freedom.
    pub chance: Option<f64>,
}

/// One unknown, found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct FitEstimate {
    /// What it is called.
    pub name: String,
    /// The estimate.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard: f64,
}

/// One observation, held against everything else.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct FitResidual {
    /// What it is called.
    pub name: String,
    /// Observed less fitted.
    pub residual: f64,
    /// The residual over its own standard uncertainty. None where nothing else speaks of it.
    pub standardised: Option<f64>,
    /// How far it lies from what everything else foretells.
    pub off: Option<f64>,
    /// The standard uncertainty of that distance.
    pub off_standard: Option<f64>,
}

impl FitQuestion {
    pub(super) fn answer(&self) -> Result<FitAnswer, BenchRefused> {
        let unknowns = self.unknowns.iter().map(|unknown| Unknown {
            name: unknown.name.clone(),
            prior: unknown.prior.map(|FitPrior { mean, standard }| Prior { mean, standard }),
        });
        let observations = self.observations.iter().map(|observed| Observation {
            name: observed.name.clone(),
            value: observed.value,
            standard: observed.standard,
            terms: observed.factors.iter().copied().enumerate().collect(),
        });
        let found = fit(&unknowns.collect::<Vec<_>>(), &observations.collect::<Vec<_>>())?;
        let estimates = self.unknowns.iter().enumerate().map(|(at, unknown)| FitEstimate {
            name: unknown.name.clone(),
            value: found.estimates[at],
            standard: found.covariance[at][at].sqrt(),
        });
        let residuals =
            self.observations.iter().zip(&found.residuals).map(|(o, held)| FitResidual {
                name: o.name.clone(),
                residual: held.residual,
                standardised: held.standardised,
                off: held.off.map(|(off, _)| off),
                off_standard: held.off.map(|(_, standard)| standard),
            });
        Ok(FitAnswer {
            estimates: estimates.collect(),
            residuals: residuals.collect(),
            covariance: found.covariance,
            chi_square: found.chi_square,
            degrees_of_freedom: found.degrees_of_freedom,
            chance: found.p_value,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(text: &str) -> Result<FitAnswer, BenchRefused> {
        serde_json::from_str::<FitQuestion>(text).unwrap().answer()
    }

    #[test]
    fn a_weighted_mean() {
        // Plain arithmetic: 10 ± 1 and 13 ± 2 give 10.6 ± √0.8, χ² = 1.8.
        let found = asked(
            r#"{"unknowns": [{"name": "x"}], "observations": [
                {"name": "a", "value": 10, "standard": 1, "factors": [1]},
                {"name": "b", "value": 13, "standard": 2, "factors": [1]}]}"#,
        )
        .unwrap();
        assert!((found.estimates[0].value - 10.6).abs() < 1e-12);
        assert!((found.estimates[0].standard - 0.8f64.sqrt()).abs() < 1e-12);
        assert!((found.chi_square - 1.8).abs() < 1e-12 && found.degrees_of_freedom == 1);
        assert!((found.residuals[1].off.unwrap() - 3.0).abs() < 1e-12);
    }

    #[test]
    fn more_factors_than_unknowns_are_refused_by_name() {
        let refused = asked(
            r#"{"unknowns": [{"name": "x"}], "observations": [
                {"name": "a", "value": 10, "standard": 1, "factors": [1, 1]}]}"#,
        );
        assert!(matches!(refused, Err(BenchRefused::Fit(_))), "{refused:?}");
        assert!(refused.unwrap_err().to_string().contains("\"a\" speaks of unknown 1"));
    }
}
