//! Which start of the program wrote which positions of the log, and the marks made of it.
//!
//! A disk that is put back from an old copy goes on under the same names, and its log can come to
//! hold the very same change at the very same position with another past before it. A mark
//! therefore rests on the start that wrote its position too, which no two ever share. Positions
//! from before starts were kept have none, and their marks are as they always were. Where several
//! processes write one log, a position counts to the one that came to life last before it.

use sha2::{Digest, Sha512_256};

use crate::log::{Mark, fresh_bytes};

/// How the settings that keep them begin.
pub(crate) const LIFE: &str = "life ";

/// The starts that wrote something, in order, each with the first position it wrote.
#[derive(Debug)]
pub(super) struct Lives {
    known: Vec<(u64, [u8; 16])>,
    /// This one, until it has written something.
    unborn: Option<[u8; 16]>,
}

impl Lives {
    /// Of the settings that keep them, in order of their keys.
    pub(super) fn of_settings(rows: impl Iterator<Item = (String, String)>) -> Self {
        let mut lives = Self { known: Vec::new(), unborn: Some(fresh_bytes()) };
        lives.learn(rows);
        lives
    }

    /// Reads the settings anew.
    pub(super) fn learn(&mut self, rows: impl Iterator<Item = (String, String)>) {
        self.known.clear();
        for (key, value) in rows {
            // What does not read was never written.
            let first = key.get(LIFE.len()..).and_then(|first| first.parse().ok());
            let id = u128::from_str_radix(&value, 16).ok();
            self.known.extend(first.zip(id).map(|(first, id)| (first, id.to_be_bytes())));
        }
    }

    fn of(&self, position: u64) -> Option<&[u8; 16]> {
        let after = self.known.partition_point(|(first, _)| *first <= position);
        self.known[..after].last().map(|(_, id)| id)
    }

    /// The mark of a change at a position.
    pub(super) fn mark(&self, position: u64, hash: [u8; 32]) -> Mark {
        let hash = match self.of(position) {
            None => hash,
            Some(id) => Sha512_256::new().chain_update(id).chain_update(hash).finalize().into(),
        };
        Mark { position, hash }
    }

    /// What is to be kept before this start writes its first change, at that position: a key and a
    /// value; none where it is kept. One that wrote nothing gives its place to the next.
    pub(super) fn to_keep(&self, first: u64) -> Option<(String, String)> {
        let id = self.unborn?;
        Some((format!("{LIFE}{first:020}"), format!("{:032x}", u128::from_be_bytes(id))))
    }

    /// It is kept.
    pub(super) fn kept(&mut self, first: u64) {
        let Some(id) = self.unborn.take() else { return };
        self.known.retain(|(begun, _)| *begun < first);
        self.known.push((first, id));
    }
}
