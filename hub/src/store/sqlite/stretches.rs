//! The SQLite engine's stretches of its log, packed together as they are sent.
//!
//! Rows and SQL, nothing else. They are worked out from the changes, so one that is damaged or does
//! not fit the log is passed over, and the oldest go when there are many.

use rusqlite::{OptionalExtension, Row, Transaction, params};
use sha2::{Digest, Sha256};

use super::log::{Sqlite, position, row_position};
use super::{Behind, StoreError, Stretch, Stretches, Writing};
use crate::log::NodeId;
use crate::packed::Packed;

/// So many bytes of them are kept.
const KEPT_BYTES_MAX: i64 = 32 * 1024 * 1024;
/// Stands for this node among those that gave the changes of a stretch; no peer's row has it.
const HERE: i64 = 0;

impl Stretches for Sqlite {
    fn behind(&self, after: u64, peer: NodeId) -> Result<Option<Behind>, StoreError> {
        let sql = "SELECT last, givers, digest, packed FROM stretch WHERE first = ?1";
        let first = after + 1;
        let found = self
            .connection
            .prepare_cached(sql)
            .and_then(|mut select| {
                select.query_row([row_position(first)], |row| read(row, first)).optional()
            })
            .map_err(|source| self.error(source))?
            .flatten()
            .filter(|stretch| stretch.last <= self.newest().position);
        let Some(stretch) = found else { return Ok(None) };
        let (giver, given_after) = self.given_by(peer)?;
        if !stretch.givers.contains(&giver) {
            return Ok(Some(Behind::Packed(stretch)));
        }
        // What it gave before a position it may have lost.
        let all = stretch.givers == [giver] && row_position(first) > given_after;
        Ok(all.then_some(Behind::Given { last: stretch.last }))
    }

    fn next_stretch(&self, after: u64) -> Result<Option<u64>, StoreError> {
        let sql = "SELECT first FROM stretch WHERE first > ?1 ORDER BY first LIMIT 1";
        self.connection
            .prepare_cached(sql)
            .and_then(|mut select| {
                select.query_row([row_position(after)], |row| position(row, 0)).optional()
            })
            .map_err(|source| self.error(source))
    }

    fn unpacked_since(&self, met_since_ms: i64) -> Result<Option<u64>, StoreError> {
        let sql = "SELECT min(acknowledged_position) FROM peer \
                   WHERE last_exchange_ms >= ?1 AND holds IS NULL";
        let waits: Option<i64> = self
            .connection
            .prepare_cached(sql)
            .and_then(|mut select| select.query_row([met_since_ms], |row| row.get(0)))
            .map_err(|source| self.error(source))?;
        let Some(waits) = waits else { return Ok(None) };
        let packed = self.count("SELECT coalesce(max(last), 0) FROM stretch")?;
        Ok(Some(waits.unsigned_abs().max(packed)))
    }

    fn keep_stretch(&mut self, after: u64, upto: u64, packed: &Packed) -> Result<(), StoreError> {
        self.write(|transaction| {
            let givers = givers(transaction, after, upto)?;
            insert(transaction, (after + 1, upto), &givers, std::slice::from_ref(packed))
        })
    }
}

/// Keeps a stretch whose changes these gave.
pub(super) fn insert(
    transaction: &Transaction<'_>,
    (first, last): (u64, u64),
    givers: &[i64],
    packed: &[Packed],
) -> rusqlite::Result<()> {
    let mut bytes = Vec::new();
    for one in packed {
        bytes.extend((one.bytes().len() as u64).to_le_bytes());
        bytes.extend(one.bytes());
    }
    let givers: Vec<u8> = givers.iter().flat_map(|giver| giver.to_le_bytes()).collect();
    let digest = digest(first, last, &givers, &bytes);
    let sql = "INSERT OR REPLACE INTO stretch (first, last, givers, digest, packed) \
               VALUES (?1, ?2, ?3, ?4, ?5)";
    let values = params![row_position(first), row_position(last), givers, digest, bytes];
    transaction.prepare_cached(sql)?.execute(values)?;
    // What is newest is what somebody is yet to get.
    let sql = "DELETE FROM stretch WHERE first IN (SELECT first FROM (SELECT first, \
               sum(length(packed)) OVER (ORDER BY first DESC) AS kept FROM stretch) \
               WHERE kept > ?1)";
    transaction.prepare_cached(sql)?.execute([KEPT_BYTES_MAX]).map(drop)
}

/// Whoever gave a change behind a position and up to another: the rows of peers, and this node.
fn givers(transaction: &Transaction<'_>, after: u64, upto: u64) -> rusqlite::Result<Vec<i64>> {
    let sql = "SELECT coalesce(from_peer, ?3) FROM change WHERE position > ?1 AND position <= ?2 \
               UNION SELECT coalesce(from_peer, ?3) FROM run \
               WHERE first + count - 1 > ?1 AND first <= ?2";
    let mut select = transaction.prepare_cached(sql)?;
    let values = params![row_position(after), row_position(upto), HERE];
    select.query_map(values, |row| row.get(0))?.collect()
}

/// A stretch that starts there; none where it is not what was kept.
fn read(row: &Row<'_>, first: u64) -> rusqlite::Result<Option<Stretch>> {
    let last = position(row, 0)?;
    let (givers, bytes) = (row.get_ref(1)?.as_blob()?, row.get_ref(3)?.as_blob()?);
    if digest(first, last, givers, bytes) != row.get::<_, [u8; 32]>(2)? {
        return Ok(None);
    }
    let givers = givers.as_chunks().0.iter().map(|giver| i64::from_le_bytes(*giver)).collect();
    Ok(taken_apart(bytes).map(|packed| Stretch { last, givers, packed }))
}

fn taken_apart(mut bytes: &[u8]) -> Option<Vec<Packed>> {
    let mut packed = Vec::new();
    while let Some((length, rest)) = bytes.split_first_chunk() {
        let length = usize::try_from(u64::from_le_bytes(*length)).ok()?;
        let (one, rest) = rest.split_at_checked(length)?;
        packed.push(Packed::claimed(one.to_vec()).ok()?);
        bytes = rest;
    }
    bytes.is_empty().then_some(packed)
}

fn digest(first: u64, last: u64, givers: &[u8], packed: &[u8]) -> [u8; 32] {
    let mut hash = Sha256::new();
    for number in [first, last, givers.len() as u64] {
        hash.update(number.to_be_bytes());
    }
    hash.update(givers);
    hash.update(packed);
    hash.finalize().into()
}

#[cfg(test)]
#[path = "stretches_tests.rs"]
mod tests;
