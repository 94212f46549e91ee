//! How far a number of a data file can be leaned on: the tag beside it.

use serde::Deserialize;

/// Where a row of a data file was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Tag {
    /// In the named text.
    Seen,
    /// In a text that quotes it.
    SeenSecondary,
    /// Nowhere lately.
    FromMemory,
}

impl Tag {
    /// Whether somebody has read it.
    pub(super) fn verified(self) -> bool {
        self != Self::FromMemory
    }

    /// What is said behind the source of a number that nobody has read.
    pub(super) fn doubt(self) -> &'static str {
        if self.verified() { "" } else { " (from memory, unverified)" }
    }
}
