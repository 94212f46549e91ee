//! Everything the SQLite engine holds, row by row, for an engine that takes its place.
//!
//! Positions, marks and who gave what stay as they are, so that every peer goes on where it was.

use guyline_core::record::DocumentId;
use rusqlite::{Row, ToSql, params};

use super::log::{Sqlite, position};
use super::{Asides, Reading, SetAside, StoreError};
use crate::chunk::Chunk;

/// A change in its place.
#[derive(Debug)]
pub(in crate::store) struct Placed {
    pub(in crate::store) position: u64,
    pub(in crate::store) change: Chunk,
    pub(in crate::store) from_peer: Option<i64>,
}

/// What is remembered of a peer, column by column.
#[derive(Debug)]
pub(in crate::store) struct PeerRow {
    pub(in crate::store) id: i64,
    pub(in crate::store) node: Vec<u8>,
    pub(in crate::store) store: Vec<u8>,
    pub(in crate::store) name: String,
    pub(in crate::store) address: Option<String>,
    pub(in crate::store) seen: (i64, Vec<u8>),
    pub(in crate::store) acknowledged: (i64, Vec<u8>),
    pub(in crate::store) given_after: i64,
    pub(in crate::store) last_exchange_ms: i64,
    pub(in crate::store) last_failure: Option<String>,
    pub(in crate::store) receipt: (Option<Vec<u8>>, Option<Vec<u8>>),
    pub(in crate::store) holds: Option<Vec<u8>>,
    pub(in crate::store) asked: Option<Vec<u8>>,
    pub(in crate::store) known: (Option<i64>, Option<Vec<u8>>, Option<Vec<u8>>),
}

impl Sqlite {
    /// Every setting.
    pub(in crate::store) fn every_setting(&self) -> Result<Vec<(String, String)>, StoreError> {
        let sql = "SELECT key, value FROM setting ORDER BY key";
        self.all(sql, params![], |row| Ok((row.get(0)?, row.get(1)?)))
    }

    /// Every peer.
    pub(in crate::store) fn every_peer(&self) -> Result<Vec<PeerRow>, StoreError> {
        let sql = "SELECT id, node, store, name, address, seen_position, seen_hash, \
                   acknowledged_position, acknowledged_hash, given_after, last_exchange_ms, \
                   last_failure, receipt_key, receipt, holds, asked, known_position, known_hash, \
                   known FROM peer ORDER BY id";
        self.all(sql, params![], |row| {
            Ok(PeerRow {
                id: row.get(0)?,
                node: row.get(1)?,
                store: row.get(2)?,
                name: row.get(3)?,
                address: row.get(4)?,
                seen: (row.get(5)?, row.get(6)?),
                acknowledged: (row.get(7)?, row.get(8)?),
                given_after: row.get(9)?,
                last_exchange_ms: row.get(10)?,
                last_failure: row.get(11)?,
                receipt: (row.get(12)?, row.get(13)?),
                holds: row.get(14)?,
                asked: row.get(15)?,
                known: (row.get(16)?, row.get(17)?, row.get(18)?),
            })
        })
    }

    /// Every change of a document, each where it stands in the log.
    pub(in crate::store) fn every_change(
        &self,
        document: DocumentId,
    ) -> Result<Vec<Placed>, StoreError> {
        let mut places: Vec<(u64, Option<i64>)> = Vec::new();
        for run in self.runs_of(document)? {
            places.extend((run.first..=run.end()).map(|position| (position, run.from_peer)));
        }
        let sql = "SELECT position, from_peer FROM change WHERE document = ?1 ORDER BY position";
        places.extend(
            self.all(sql, params![document.to_bytes()], |row| {
                Ok((position(row, 0)?, row.get(1)?))
            })?,
        );
        let changes = self.changes_of(document)?;
        if changes.len() != places.len() {
            let found = format!("{} changes stand at {} places", changes.len(), places.len());
            return Err(self.saved_damaged(document, found));
        }
        let placed = changes.iter().zip(places).map(|(change, (position, from_peer))| Placed {
            position,
            change: Chunk::from(change),
            from_peer,
        });
        Ok(placed.collect())
    }

    /// Every change that is set aside, with who gave it and when.
    pub(in crate::store) fn every_aside(&self) -> Result<Vec<(SetAside, i64, i64)>, StoreError> {
        let sql = "SELECT from_peer, at_ms FROM set_aside ORDER BY document, hash";
        let given: Vec<(i64, i64)> =
            self.all(sql, params![], |row| Ok((row.get(0)?, row.get(1)?)))?;
        let asides = self.set_aside()?.into_iter().zip(given);
        Ok(asides.map(|(aside, (peer, at))| (aside, peer, at)).collect())
    }

    fn all<T>(
        &self,
        sql: &str,
        values: &[&dyn ToSql],
        read: impl Fn(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, StoreError> {
        let engine = |source| self.error(source);
        let mut select = self.connection.prepare(sql).map_err(engine)?;
        let rows = select.query_map(values, |row| read(row)).map_err(engine)?;
        rows.collect::<rusqlite::Result<_>>().map_err(engine)
    }
}
