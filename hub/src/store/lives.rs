//! Which start of the program wrote which positions of the log, and the marks made of it.
//!
//! A disk that is put back from an old copy goes on under the same names, and its log can come to
//! hold the very same change at the very same position with another past before it. A mark
//! therefore rests on the start that wrote its position too, which no two ever share. Positions
//! from before starts were kept have none, and their marks are as they always were.

use sha2::{Digest, Sha512_256};

use super::{Store, StoreError};
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

    pub(super) fn read(connection: &rusqlite::Connection) -> rusqlite::Result<Self> {
        let sql = "SELECT key, value FROM setting WHERE key LIKE 'life %' ORDER BY key";
        let mut select = connection.prepare(sql)?;
        let rows =
            select.query_map([], |row| Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?)))?;
        let mut known = Vec::new();
        for row in rows {
            let (key, value) = row?;
            // The table is sealed: what does not read was never written.
            let first = key[LIFE.len()..].parse();
            let id = u128::from_str_radix(&value, 16);
            known.extend(first.ok().zip(id.ok()).map(|(first, id)| (first, id.to_be_bytes())));
        }
        Ok(Self { known, unborn: Some(fresh_bytes()) })
    }
}

impl Store {
    /// Keeps, before this start writes its first change, that it is the one that does.
    pub(super) fn live(&mut self) -> Result<(), StoreError> {
        let Some(id) = self.lives.unborn else { return Ok(()) };
        let first = self.newest.position + 1;
        let value = format!("{:032x}", u128::from_be_bytes(id));
        // One that wrote nothing gives its place to the next.
        self.set_setting(&format!("{LIFE}{first:020}"), &value)?;
        self.lives.known.retain(|(begun, _)| *begun < first);
        self.lives.known.push((first, id));
        self.lives.unborn = None;
        Ok(())
    }
}
