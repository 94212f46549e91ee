//! Weighted least squares of a few unknowns that are known beforehand within a spread, or not.
//!
//! In: unknowns with their priors, and observations, each a weighted sum of unknowns with a value
//! and a standard uncertainty. Out: estimates with covariance, residuals, chi-square. Two
//! observations that share a cause name it as an unknown with prior 0 ± its standard uncertainty:
//! that makes the correlation exact. Knows no reading and no chain.
//!
//!   minimise  χ² = Σ ((y_i − a_i·x)/s_i)² + Σ ((x_k − m_k)/u_k)²
//!   cov(x)    = (AᵀA)⁻¹                   A: rows divided by their spread, priors below them
//!   r_i       = y_i − a_i·x̂,   u(r_i) = s_i·√M_ii,   M = I − H   H: the hat matrix, observed rows
//!   ν         = observations + priors − unknowns
//!   off_i     = r_i / M_ii                how far y_i lies from what all else foretells
//!
//! Solved by Householder reflections of A, so that nothing is squared before it is solved. Adding
//! s·d to the observations is undone without another fit (`Pull`):
//!   χ²(s) = χ² − 2·s·(dᵀS⁻¹r) + s²·(dᵀS⁻¹d)         S: the covariance of the observations
//!
//! Formulas: GUM 4.3-5.2 and the text books of adjustment (data snooping), from memory,
//! unverified; held against numpy and scipy in `tests/reference`.

use super::chi_square::chance_of_more;

/// What is not known.
#[derive(Clone, Debug, PartialEq)]
pub struct Unknown {
    /// What it is called, for refusals.
    pub name: String,
    /// What is known of it beforehand.
    pub prior: Option<Prior>,
}

/// What is known beforehand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prior {
    /// The value.
    pub mean: f64,
    /// Its standard uncertainty, more than 0.
    pub standard: f64,
}

/// One observation.
#[derive(Clone, Debug, PartialEq)]
pub struct Observation {
    /// What it is called, for refusals.
    pub name: String,
    /// What was observed.
    pub value: f64,
    /// The standard uncertainty of what it shares with no other, more than 0.
    pub standard: f64,
    /// The unknowns it is made of, by place in the list, with their factors.
    pub terms: Vec<(usize, f64)>,
}

/// Why there is no fit.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FitRefused {
    /// A number that is none.
    #[error("the {what} of {name:?} is {value}: a finite number is wanted")]
    NotFinite {
        /// Value, factor or mean.
        what: &'static str,
        /// Of which unknown or observation.
        name: String,
        /// What was given.
        value: f64,
    },
    /// A spread that gives no weight.
    #[error("the standard uncertainty of {name:?} is {value}: more than 0 is wanted")]
    Standard {
        /// Of which unknown or observation.
        name: String,
        /// What was given.
        value: f64,
    },
    /// An observation of something that is not there.
    #[error("{name:?} speaks of unknown {index}, and there are {count}, counted from 0")]
    NoSuchUnknown {
        /// The observation.
        name: String,
        /// What it names.
        index: usize,
        /// How many there are.
        count: usize,
    },
    /// Nothing was observed, or nothing is unknown.
    #[error("{observations} observations of {unknowns} unknowns: at least one of each is wanted")]
    Empty {
        /// How many.
        observations: usize,
        /// How many.
        unknowns: usize,
    },
    /// An unknown that neither observations nor priors pin down.
    #[error("{name:?} cannot be told from the unknowns before it: observe it, or give it a prior")]
    Undetermined {
        /// The unknown.
        name: String,
    },
}

/// How an observation sits in the fit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Residual {
    /// Observed less fitted.
    pub residual: f64,
    /// The residual over its own standard uncertainty. None where nothing else speaks of it.
    pub standardised: Option<f64>,
    /// How far the observation lies from what everything else foretells, with the standard
    /// uncertainty of that distance. None where nothing else speaks of it.
    pub off: Option<(f64, f64)>,
}

/// The unknowns, found.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// The estimates, in the order of the unknowns.
    pub estimates: Vec<f64>,
    /// Their covariance, row by row.
    pub covariance: Vec<Vec<f64>>,
    /// The observations, in their order.
    pub residuals: Vec<Residual>,
    /// The weighted sum of squares, of observations and priors.
    pub chi_square: f64,
    /// What chi-square has to be held against.
    pub degrees_of_freedom: usize,
    /// The chance of a chi-square this large or larger. None without degrees of freedom.
    pub p_value: Option<f64>,
    standards: Vec<f64>,
    whitened: Vec<f64>,
    redundancy: Vec<Vec<f64>>,
}

/// Below this share of its own weight an observation is held by nothing else.
const HELD_FROM: f64 = 1e-9;
/// A column this much shorter after the reflections than before lies in the span of the others.
const DEPENDENT: f64 = 1e-12;

/// Finds the unknowns.
pub fn fit(unknowns: &[Unknown], observations: &[Observation]) -> Result<Fit, FitRefused> {
    refuse(unknowns, observations)?;
    let count = unknowns.len();
    let (mut rows, mut right) = whitened(unknowns, observations);
    let observed: Vec<Vec<f64>> = rows[..observations.len()].to_vec();
    let lengths: Vec<f64> = (0..count).map(|k| norm(rows.iter().map(|row| row[k]))).collect();
    triangulate(&mut rows, &mut right, count);
    for (k, unknown) in unknowns.iter().enumerate() {
        if rows.len() <= k || rows[k][k].abs() <= DEPENDENT * lengths[k] {
            return Err(FitRefused::Undetermined { name: unknown.name.clone() });
        }
    }
    let inverse = inverse_of_upper(&rows, count);
    let estimates: Vec<f64> =
        (0..count).map(|k| (k..count).map(|j| inverse[k][j] * right[j]).sum()).collect();
    let covariance =
        (0..count).map(|i| (0..count).map(|j| dot(&inverse[i], &inverse[j])).collect()).collect();
    let left: Vec<f64> = observations
        .iter()
        .map(|o| {
            let fitted: f64 = o.terms.iter().map(|(k, factor)| factor * estimates[*k]).sum();
            (o.value - fitted) / o.standard
        })
        .collect();
    let redundancy = redundancy(&observed, &inverse);
    let held = |unknown: &Unknown, estimate: &f64| {
        unknown.prior.map(|p| ((estimate - p.mean) / p.standard).powi(2))
    };
    let priors: Vec<f64> =
        unknowns.iter().zip(&estimates).filter_map(|(u, estimate)| held(u, estimate)).collect();
    let chi_square = dot(&left, &left) + priors.iter().sum::<f64>();
    let degrees_of_freedom = observations.len() + priors.len() - count;
    Ok(Fit {
        residuals: residuals(observations, &left, &redundancy),
        p_value: chance_of_more(chi_square, degrees_of_freedom).ok(),
        estimates,
        covariance,
        chi_square,
        degrees_of_freedom,
        standards: observations.iter().map(|o| o.standard).collect(),
        whitened: left,
        redundancy,
    })
}

fn refuse(unknowns: &[Unknown], observations: &[Observation]) -> Result<(), FitRefused> {
    let count = unknowns.len();
    if unknowns.is_empty() || observations.is_empty() {
        return Err(FitRefused::Empty { observations: observations.len(), unknowns: count });
    }
    let finite = |what, name: &str, value: f64| match value.is_finite() {
        true => Ok(()),
        false => Err(FitRefused::NotFinite { what, name: name.to_owned(), value }),
    };
    let spread = |name: &str, value: f64| match value.is_finite() && value > 0.0 {
        true => Ok(()),
        false => Err(FitRefused::Standard { name: name.to_owned(), value }),
    };
    for Unknown { name, prior } in unknowns {
        if let Some(prior) = prior {
            finite("mean", name, prior.mean)?;
            spread(name, prior.standard)?;
        }
    }
    for Observation { name, value, standard, terms } in observations {
        finite("value", name, *value)?;
        spread(name, *standard)?;
        for &(index, factor) in terms {
            finite("factor", name, factor)?;
            if index >= count {
                return Err(FitRefused::NoSuchUnknown { name: name.clone(), index, count });
            }
        }
    }
    Ok(())
}

/// The rows divided by their spread, the priors below the observations, and the right-hand side.
fn whitened(unknowns: &[Unknown], observations: &[Observation]) -> (Vec<Vec<f64>>, Vec<f64>) {
    let count = unknowns.len();
    let mut rows = Vec::with_capacity(observations.len() + count);
    let mut right = Vec::with_capacity(observations.len() + count);
    for observation in observations {
        let mut row = vec![0.0; count];
        for &(index, factor) in &observation.terms {
            row[index] += factor / observation.standard;
        }
        rows.push(row);
        right.push(observation.value / observation.standard);
    }
    for (index, unknown) in unknowns.iter().enumerate() {
        if let Some(prior) = unknown.prior {
            let mut row = vec![0.0; count];
            row[index] = 1.0 / prior.standard;
            rows.push(row);
            right.push(prior.mean / prior.standard);
        }
    }
    (rows, right)
}

/// Householder: makes the rows upper triangular, and turns the right-hand side along.
fn triangulate(rows: &mut [Vec<f64>], right: &mut [f64], count: usize) {
    for k in 0..count.min(rows.len()) {
        let length = norm(rows[k..].iter().map(|row| row[k]));
        if length <= 0.0 {
            continue;
        }
        let pivot = if rows[k][k] > 0.0 { -length } else { length };
        let mut mirror: Vec<f64> = rows[k..].iter().map(|row| row[k]).collect();
        mirror[0] -= pivot;
        let square = dot(&mirror, &mirror);
        for j in k..count {
            let along: f64 = mirror.iter().zip(&rows[k..]).map(|(m, row)| m * row[j]).sum();
            for (m, row) in mirror.iter().zip(&mut rows[k..]) {
                row[j] -= 2.0 * along / square * m;
            }
        }
        let along = dot(&mirror, &right[k..]);
        for (m, value) in mirror.iter().zip(&mut right[k..]) {
            *value -= 2.0 * along / square * m;
        }
    }
}

/// The inverse of the upper triangle, upper triangular itself.
fn inverse_of_upper(rows: &[Vec<f64>], count: usize) -> Vec<Vec<f64>> {
    let mut inverse = vec![vec![0.0; count]; count];
    for column in 0..count {
        inverse[column][column] = 1.0 / rows[column][column];
        for i in (0..column).rev() {
            let sum: f64 = (i + 1..=column).map(|j| rows[i][j] * inverse[j][column]).sum();
            inverse[i][column] = -sum / rows[i][i];
        }
    }
    inverse
}

/// M = I − H over the observations.
fn redundancy(observed: &[Vec<f64>], inverse: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let reach: Vec<Vec<f64>> = observed
        .iter()
        .map(|row| {
            let column = |j: usize| (0..=j).map(|k| row[k] * inverse[k][j]).sum();
            (0..row.len()).map(column).collect()
        })
        .collect();
    let one = |i: usize, j: usize| if i == j { 1.0 } else { 0.0 };
    let count = reach.len();
    (0..count)
        .map(|i| (0..count).map(|j| one(i, j) - dot(&reach[i], &reach[j])).collect())
        .collect()
}

fn residuals(
    observations: &[Observation],
    whitened: &[f64],
    redundancy: &[Vec<f64>],
) -> Vec<Residual> {
    let found = observations.iter().zip(whitened).enumerate().map(|(i, (observation, left))| {
        let own = redundancy[i][i];
        let held = own > HELD_FROM;
        Residual {
            residual: left * observation.standard,
            standardised: held.then(|| left / own.sqrt()),
            off: held
                .then(|| (observation.standard * left / own, observation.standard / own.sqrt())),
        }
    });
    found.collect()
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn norm(values: impl Iterator<Item = f64>) -> f64 {
    values.map(|value| value * value).sum::<f64>().sqrt()
}

/// A change of some observations: by place in the list, how far each goes for one unit of it.
pub type Direction = Vec<(usize, f64)>;

impl Fit {
    /// dᵀS⁻¹r: how strongly chi-square falls when the observations are moved back along `d`.
    pub fn pull(&self, d: &[(usize, f64)]) -> f64 {
        d.iter().map(|&(i, factor)| factor / self.standards[i] * self.whitened[i]).sum()
    }

    /// dᵀS⁻¹e: how strongly the observations hold `d` and `e` together.
    pub fn stiffness(&self, d: &[(usize, f64)], e: &[(usize, f64)]) -> f64 {
        let row = |i: usize| -> f64 {
            e.iter().map(|&(j, factor)| factor / self.standards[j] * self.redundancy[i][j]).sum()
        };
        d.iter().map(|&(i, factor)| factor / self.standards[i] * row(i)).sum()
    }
}

#[cfg(test)]
#[path = "least_squares_tests.rs"]
mod tests;
