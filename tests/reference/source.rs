//! Where an expected number comes from.

use std::fmt;

/// The origin of an expected value.
pub(crate) enum Source {
    /// Read in the named text.
    Published(&'static str),
    /// Calculated with the named general-purpose library or plain arithmetic, outside this project.
    Computed(&'static str),
    /// What the trade takes for granted.
    Practice,
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Published(text) => write!(f, "{text}"),
            Self::Computed(how) => write!(f, "{how}"),
            Self::Practice => f.write_str("common practice, no source"),
        }
    }
}

/// Fails with the row's name and source unless `got` is within `rounding` of `expected`.
pub(crate) fn close(id: &str, got: f64, expected: f64, rounding: f64, source: &Source) {
    let off = (got - expected).abs();
    assert!(off <= rounding, "{id}: got {got}, {source} says {expected} (within {rounding})");
}
