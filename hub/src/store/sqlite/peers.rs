//! The SQLite engine's memory of peers: who was met, where, and how far each log is at the other.
//!
//! Rows and SQL, nothing else. A peer that comes with another store is one that holds nothing.

use std::collections::BTreeMap;

use guyline_core::record::DocumentId;
use guyline_core::time::Timestamp;
use rusqlite::{OptionalExtension, Row, Transaction, params};

use super::log::{Sqlite, document_id, position, read_mark, row_position};
use super::seal::Sealed;
use super::{JUST_NOW_MS, Peer, Peers, Reading, StoreError};
use crate::log::{Ask, Card, Known, Mark, Memory, NodeId, Receipt, Scope, StoreId};

impl Peers for Sqlite {
    fn acknowledge(
        &mut self,
        card: &Card,
        mark: Mark,
        holds: &Scope,
        receipt: Receipt,
        at: Timestamp,
    ) -> Result<(), StoreError> {
        // A peer may know this log as it was before it was put back: that counts for nothing.
        let mark = if self.fits(mark)? { mark } else { Mark::START };
        let end = self.newest.position;
        self.write_sealed(Sealed::Peers, |transaction| {
            let peer = remember(transaction, card, at, end)?;
            let sql = "UPDATE peer SET acknowledged_position = ?2, acknowledged_hash = ?3, \
                       receipt_key = ?4, receipt = ?5, holds = ?6 WHERE id = ?1";
            let (position, holds) = (row_position(mark.position), holds.to_bytes());
            let values = params![peer, position, mark.hash, receipt.key, receipt.signature, holds];
            transaction.execute(sql, values).map(drop)
        })
    }

    fn forget_peer(&mut self, node: NodeId) -> Result<(), StoreError> {
        let end = row_position(self.newest.position);
        self.write_sealed(Sealed::Peers, |transaction| {
            let sql = "UPDATE peer SET seen_position = 0, seen_hash = zeroblob(32), \
                       acknowledged_position = 0, acknowledged_hash = zeroblob(32), \
                       receipt_key = NULL, receipt = NULL, given_after = ?2, holds = NULL, \
                       known_position = NULL, known_hash = NULL, known = NULL WHERE node = ?1";
            transaction.execute(sql, params![node.0, end]).map(drop)
        })
    }

    fn exchange_ended(
        &mut self,
        node: NodeId,
        address: Option<&str>,
        failure: Option<&str>,
        at: Timestamp,
    ) -> Result<(), StoreError> {
        if failure.is_none() && self.says_already(node, address, at)? {
            return Ok(());
        }
        self.write_sealed(Sealed::Peers, |transaction| {
            if let Some(address) = address {
                // An address leads to one node; a port may be used by another later.
                let sql = "UPDATE peer SET address = NULL WHERE address = ?1 AND node <> ?2";
                transaction.execute(sql, params![address, node.0])?;
            }
            let sql = "UPDATE peer SET address = coalesce(?2, address), last_failure = ?3, \
                       last_exchange_ms = ?4 WHERE node = ?1";
            let values = params![node.0, address, failure, at.unix_ms()];
            transaction.execute(sql, values).map(drop)
        })
    }

    fn is_replaced(&self, card: &Card) -> Result<bool, StoreError> {
        let sql = "SELECT 1 FROM peer WHERE node = ?1 AND store <> ?2";
        self.connection
            .prepare_cached(sql)
            .and_then(|mut select| select.exists(params![card.node.0, card.store.0]))
            .map_err(|source| self.error(source))
    }

    fn memory_of(&self, card: &Card) -> Result<Option<Memory>, StoreError> {
        let sql = format!("SELECT {MEMORY} FROM peer WHERE node = ?1 AND store = ?2");
        self.connection
            .prepare_cached(&sql)
            .and_then(|mut select| {
                select.query_row(params![card.node.0, card.store.0], read_memory).optional()
            })
            .map_err(|source| self.error(source))
    }

    fn met_at(&self, address: &str) -> Result<Option<(NodeId, StoreId, Memory)>, StoreError> {
        let sql = format!("SELECT {MEMORY}, node, store FROM peer WHERE address = ?1");
        self.connection
            .prepare_cached(&sql)
            .and_then(|mut select| {
                let read = |row: &Row<'_>| {
                    Ok((NodeId(row.get(9)?), StoreId(row.get(10)?), read_memory(row)?))
                };
                select.query_row([address], read).optional()
            })
            .map_err(|source| self.error(source))
    }

    fn addresses(&self) -> Result<Vec<String>, StoreError> {
        let sql = "SELECT address FROM peer WHERE address IS NOT NULL \
                   ORDER BY last_exchange_ms DESC, id";
        self.connection
            .prepare_cached(sql)
            .and_then(|mut select| select.query_map([], |row| row.get(0))?.collect())
            .map_err(|source| self.error(source))
    }

    fn peers(&self) -> Result<Vec<Peer>, StoreError> {
        let read = || -> rusqlite::Result<Vec<Peer>> {
            let mut select = self.connection.prepare_cached(
                "SELECT node, name, address, last_exchange_ms, last_failure, \
                 (SELECT count(*) FROM change WHERE position > acknowledged_position \
                  AND (from_peer IS NOT peer.id OR position <= given_after)) \
                 + (SELECT coalesce(sum(max(0, \
                     iif(from_peer IS NOT peer.id, first + count - 1, \
                         min(first + count - 1, given_after)) \
                     - max(first - 1, acknowledged_position))), 0) FROM run), \
                 holds FROM peer ORDER BY last_exchange_ms DESC, id",
            )?;
            select.query_map([], read_peer)?.collect()
        };
        read().map_err(|source| self.error(source))
    }

    fn receipts(&self) -> Result<Vec<(Card, Mark, Receipt)>, StoreError> {
        let sql = "SELECT node, store, name, acknowledged_position, acknowledged_hash, \
                   receipt_key, receipt FROM peer WHERE receipt IS NOT NULL ORDER BY id";
        let read = |row: &Row<'_>| {
            let (node, store) = (NodeId(row.get(0)?), StoreId(row.get(1)?));
            let receipt = Receipt { key: row.get(5)?, signature: row.get(6)? };
            Ok((Card { node, store, name: row.get(2)? }, read_mark(row, 3)?, receipt))
        };
        self.connection
            .prepare_cached(sql)
            .and_then(|mut select| select.query_map([], read)?.collect())
            .map_err(|source| self.error(source))
    }

    fn acknowledged(&self, nodes: Option<&[NodeId]>) -> Result<Vec<(Scope, u64)>, StoreError> {
        let sql = format!("SELECT holds, acknowledged_position FROM peer WHERE {}", among(nodes));
        let read = || -> rusqlite::Result<Vec<(Scope, u64)>> {
            let mut select = self.connection.prepare_cached(&sql)?;
            select.query_map([], |row| Ok((scope(row, 0)?, position(row, 1)?)))?.collect()
        };
        read().map_err(|source| self.error(source))
    }

    fn asked(&self) -> Result<Vec<Ask>, StoreError> {
        let sql = "SELECT asked, known_position, known_hash, known FROM peer ORDER BY id";
        self.connection
            .prepare_cached(sql)
            .and_then(|mut select| select.query_map([], |row| ask(row, 0))?.collect())
            .map_err(|source| self.error(source))
    }

    fn not_at_whole(
        &self,
        nodes: Option<&[NodeId]>,
    ) -> Result<BTreeMap<DocumentId, u64>, StoreError> {
        let which = among(nodes);
        let sql = format!(
            "WITH at AS (SELECT id, acknowledged_position, given_after, holds FROM peer \
             WHERE {which}), known(most) AS \
             (SELECT coalesce(max(acknowledged_position), 0) FROM at WHERE holds IS NULL), \
             missing(document, newest) AS (SELECT document, position FROM change, known \
             WHERE position > most \
             AND NOT EXISTS (SELECT 1 FROM at WHERE id = from_peer AND position > given_after) \
             UNION ALL SELECT document, first + count - 1 FROM run \
             JOIN saved ON saved.id = form, known WHERE first + count - 1 > most AND NOT EXISTS \
             (SELECT 1 FROM at WHERE id = from_peer AND first > given_after)) \
             SELECT document, max(newest) FROM missing GROUP BY document"
        );
        self.by_document(&sql, params![])
    }

    fn made_here_after(&self, after: u64, document: Option<DocumentId>) -> Result<u64, StoreError> {
        // Without a peer every change was made here, which is counted without reading any.
        if after == 0 && document.is_none() && self.count("SELECT count(*) FROM peer")? == 0 {
            return self.count("SELECT count(*) FROM change");
        }
        let sql = "SELECT (SELECT count(*) FROM change WHERE from_peer IS NULL \
                   AND position > ?1 AND (?2 IS NULL OR document = ?2)) \
                   + (SELECT coalesce(sum(max(0, first + count - 1 - max(first - 1, ?1))), 0) \
                   FROM run JOIN saved ON saved.id = form WHERE from_peer IS NULL \
                   AND (?2 IS NULL OR document = ?2))";
        let values = params![row_position(after), document.map(DocumentId::to_bytes)];
        self.connection
            .prepare_cached(sql)
            .and_then(|mut select| select.query_row(values, |row| position(row, 0)))
            .map_err(|source| self.error(source))
    }

    fn owed(&self, node: NodeId) -> Result<BTreeMap<DocumentId, u64>, StoreError> {
        let sql = "WITH at AS (SELECT * FROM peer WHERE node = ?1), \
                   owed(document, many) AS (SELECT document, 1 FROM change, at \
                   WHERE position > acknowledged_position \
                   AND (from_peer IS NOT at.id OR position <= given_after) \
                   UNION ALL SELECT document, max(0, iif(from_peer IS NOT at.id, \
                   first + count - 1, min(first + count - 1, given_after)) \
                   - max(first - 1, acknowledged_position)) \
                   FROM run JOIN saved ON saved.id = form, at) \
                   SELECT document, sum(many) FROM owed GROUP BY document HAVING sum(many) > 0";
        self.by_document(sql, params![node.0])
    }
}

/// What is remembered of a peer's log and of this one at the peer, as [`read_memory`] reads it.
const MEMORY: &str = "seen_position, seen_hash, acknowledged_position, acknowledged_hash, holds, \
                      asked, known_position, known_hash, known";

/// Which rows of `peer` are those of these nodes.
fn among(nodes: Option<&[NodeId]>) -> String {
    let Some(nodes) = nodes else { return "1".to_owned() };
    // An id shows as hexadecimal digits and nothing else.
    let ids: Vec<String> = nodes.iter().map(|node| format!("x'{node}'")).collect();
    format!("node IN ({})", ids.join(", "))
}

impl Sqlite {
    /// A number for each document.
    fn by_document(
        &self,
        sql: &str,
        values: &[&dyn rusqlite::ToSql],
    ) -> Result<BTreeMap<DocumentId, u64>, StoreError> {
        let read = || -> rusqlite::Result<BTreeMap<DocumentId, u64>> {
            let mut select = self.connection.prepare_cached(sql)?;
            select.query_map(values, |row| Ok((document_id(row, 0)?, position(row, 1)?)))?.collect()
        };
        read().map_err(|source| self.error(source))
    }

    /// Whether what was stored during an exchange says how it ended: each write waits for the disk.
    fn says_already(
        &self,
        node: NodeId,
        address: Option<&str>,
        at: Timestamp,
    ) -> Result<bool, StoreError> {
        let sql = "SELECT 1 FROM peer WHERE node = ?1 AND address IS coalesce(?2, address) \
                   AND last_failure IS NULL AND last_exchange_ms BETWEEN ?3 AND ?4";
        let values = params![node.0, address, at.unix_ms() - JUST_NOW_MS, at.unix_ms()];
        self.connection
            .prepare_cached(sql)
            .and_then(|mut select| select.exists(values))
            .map_err(|source| self.error(source))
    }
}

/// The peer's row, made or brought up to its card. A replaced store is one that holds nothing of
/// what this log has up to its `end`.
pub(super) fn remember(
    transaction: &Transaction<'_>,
    card: &Card,
    at: Timestamp,
    end: u64,
) -> rusqlite::Result<i64> {
    let sql = "INSERT INTO peer \
               (node, store, name, seen_hash, acknowledged_hash, given_after, last_exchange_ms) \
               VALUES (?1, ?2, ?3, zeroblob(32), zeroblob(32), ?5, ?4) \
               ON CONFLICT (node) DO UPDATE SET name = excluded.name, store = excluded.store, \
               last_exchange_ms = excluded.last_exchange_ms, \
               seen_position = iif(store = excluded.store, seen_position, 0), \
               seen_hash = iif(store = excluded.store, seen_hash, zeroblob(32)), \
               acknowledged_position = iif(store = excluded.store, acknowledged_position, 0), \
               acknowledged_hash = iif(store = excluded.store, acknowledged_hash, zeroblob(32)), \
               given_after = iif(store = excluded.store, given_after, excluded.given_after), \
               holds = iif(store = excluded.store, holds, NULL), \
               known_position = iif(store = excluded.store, known_position, NULL), \
               known_hash = iif(store = excluded.store, known_hash, NULL), \
               known = iif(store = excluded.store, known, NULL) \
               RETURNING id";
    let values = params![card.node.0, card.store.0, card.name, at.unix_ms(), row_position(end)];
    transaction.prepare_cached(sql)?.query_row(values, |row| row.get(0))
}

/// Remembers up to where and how much of a peer's log is stored here. If it is anew, what the peer
/// gave before, up to this log's end then, may be gone there, and is owed to it like everything
/// else.
pub(super) fn seen(
    transaction: &Transaction<'_>,
    peer: i64,
    (mark, asked): (Mark, &Ask),
    anew_at: Option<u64>,
) -> rusqlite::Result<()> {
    let sql = "UPDATE peer SET seen_position = ?2, seen_hash = ?3, \
               acknowledged_position = iif(?4 IS NULL, acknowledged_position, 0), \
               acknowledged_hash = iif(?4 IS NULL, acknowledged_hash, zeroblob(32)), \
               given_after = coalesce(?4, given_after), asked = ?5, known_position = ?6, \
               known_hash = ?7, known = ?8 WHERE id = ?1";
    let (position, anew_at) = (row_position(mark.position), anew_at.map(row_position));
    let (scope, known) = (asked.scope.to_bytes(), asked.known.as_ref());
    let upto = known.map(|known| row_position(known.upto.position));
    let hash = known.map(|known| known.upto.hash);
    let known = known.and_then(|known| known.scope.to_bytes());
    let values = params![peer, position, mark.hash, anew_at, scope, upto, hash, known];
    transaction.prepare_cached(sql)?.execute(values).map(drop)
}

fn read_peer(row: &Row<'_>) -> rusqlite::Result<Peer> {
    let last_exchange_ms: i64 = row.get(3)?;
    Ok(Peer {
        node: NodeId(row.get(0)?),
        name: row.get(1)?,
        address: row.get(2)?,
        last_exchange_at: Timestamp::from_unix_ms(last_exchange_ms)
            .map_err(|_| rusqlite::Error::IntegralValueOutOfRange(3, last_exchange_ms))?,
        last_failure: row.get(4)?,
        not_there: position(row, 5)?,
        holds: scope(row, 6)?,
    })
}

/// The columns of [`MEMORY`].
fn read_memory(row: &Row<'_>) -> rusqlite::Result<Memory> {
    Ok(Memory {
        seen: read_mark(row, 0)?,
        asked: ask(row, 5)?,
        acknowledged: read_mark(row, 2)?,
        holds: scope(row, 4)?,
    })
}

/// Four columns: how much was asked for, and what was known before: position, hash, how much.
fn ask(row: &Row<'_>, column: usize) -> rusqlite::Result<Ask> {
    let known = match row.get::<_, Option<i64>>(column + 1)? {
        Some(_) => {
            Some(Known { upto: read_mark(row, column + 1)?, scope: scope(row, column + 3)? })
        }
        None => None,
    };
    Ok(Ask { scope: scope(row, column)?, known })
}

fn scope(row: &Row<'_>, column: usize) -> rusqlite::Result<Scope> {
    let bytes: Option<Vec<u8>> = row.get(column)?;
    // The schema keeps its length a multiple of an id's.
    Scope::from_bytes(bytes.as_deref()).ok_or(rusqlite::Error::InvalidColumnType(
        column,
        "part".to_owned(),
        rusqlite::types::Type::Blob,
    ))
}
