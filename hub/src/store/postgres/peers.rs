//! The PostgreSQL engine's memory of peers: who was met, where, and how far each log is at the
//! other. Rows and SQL, nothing else. A peer that comes with another store is one that holds
//! nothing.
//!
//! A row is changed by one statement, which the server lets one process do at a time.

use std::collections::BTreeMap;

use guyline_core::record::DocumentId;
use guyline_core::time::Timestamp;
use postgres::Row;

use super::link::{Link, Values, row_number};
use super::{Card, Mark, NodeId, Peer, Peers, Postgres, Reading, StoreError, StoreId};
use crate::log::{Ask, Known, Memory, Receipt, Scope};
use crate::store::JUST_NOW_MS;

/// What stands for no change.
const NO_HASH: [u8; 32] = [0; 32];

impl Peers for Postgres {
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
        self.link.get_mut().transaction(|link| {
            let peer = remember(link, card, at, end)?;
            let sql = "UPDATE peer SET acknowledged_position = $2, acknowledged_hash = $3, \
                       receipt_key = $4, receipt = $5, holds = $6 WHERE id = $1";
            let (key, signature) = (receipt.key.as_slice(), receipt.signature.as_slice());
            let (position, holds) = (row_number(mark.position), holds.to_bytes());
            let hash = mark.hash.as_slice();
            link.run(sql, &[&peer, &position, &hash, &key, &signature, &holds]).map(drop)
        })
    }

    fn forget_peer(&mut self, node: NodeId) -> Result<(), StoreError> {
        let end = row_number(self.newest.position);
        let sql = "UPDATE peer SET seen_position = 0, seen_hash = $3, \
                   acknowledged_position = 0, acknowledged_hash = $3, \
                   receipt_key = NULL, receipt = NULL, given_after = $2, holds = NULL, \
                   known_position = NULL, known_hash = NULL, known = NULL WHERE node = $1";
        let link = self.link.get_mut();
        link.run(sql, &[&node.0.as_slice(), &end, &NO_HASH.as_slice()]).map(drop)
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
        self.link.get_mut().transaction(|link| {
            if let Some(address) = address {
                // An address leads to one node; a port may be used by another later.
                let sql = "UPDATE peer SET address = NULL WHERE address = $1 AND node <> $2";
                link.run(sql, &[&address, &node.0.as_slice()])?;
            }
            let sql = "UPDATE peer SET address = coalesce($2, address), last_failure = $3, \
                       last_exchange_ms = $4 WHERE node = $1";
            let values =
                &[&node.0.as_slice() as _, &address as _, &failure as _, &at.unix_ms() as _];
            link.run(sql, values).map(drop)
        })
    }

    fn is_replaced(&self, card: &Card) -> Result<bool, StoreError> {
        let mut link = self.link.borrow_mut();
        let sql = "SELECT 1 FROM peer WHERE node = $1 AND store <> $2";
        let found = link.first(sql, &[&card.node.0.as_slice(), &card.store.0.as_slice()])?;
        Ok(found.is_some())
    }

    fn memory_of(&self, card: &Card) -> Result<Option<Memory>, StoreError> {
        let mut link = self.link.borrow_mut();
        let sql = "SELECT seen_position, seen_hash, acknowledged_position, acknowledged_hash, \
                   holds, asked, known_position, known_hash, known \
                   FROM peer WHERE node = $1 AND store = $2";
        let row = link.first(sql, &[&card.node.0.as_slice(), &card.store.0.as_slice()])?;
        row.map(|row| read_memory(&link, &row)).transpose()
    }

    fn met_at(&self, address: &str) -> Result<Option<(NodeId, StoreId, Memory)>, StoreError> {
        let mut link = self.link.borrow_mut();
        let sql = "SELECT seen_position, seen_hash, acknowledged_position, acknowledged_hash, \
                   holds, asked, known_position, known_hash, known, \
                   node, store FROM peer WHERE address = $1";
        let Some(row) = link.first(sql, &[&address])? else {
            return Ok(None);
        };
        let (node, store) = (NodeId(link.bytes(&row, 9)?), StoreId(link.bytes(&row, 10)?));
        Ok(Some((node, store, read_memory(&link, &row)?)))
    }

    fn addresses(&self) -> Result<Vec<String>, StoreError> {
        let mut link = self.link.borrow_mut();
        let sql = "SELECT address FROM peer WHERE address IS NOT NULL \
                   ORDER BY last_exchange_ms DESC, id";
        let rows = link.rows(sql, &[])?;
        rows.iter().map(|row| link.column(row, 0)).collect()
    }

    fn peers(&self) -> Result<Vec<Peer>, StoreError> {
        let mut link = self.link.borrow_mut();
        let sql = "SELECT node, name, address, last_exchange_ms, last_failure, \
                   (SELECT count(*) FROM change WHERE position > acknowledged_position \
                    AND (from_peer IS DISTINCT FROM peer.id OR position <= given_after)), \
                   holds FROM peer ORDER BY last_exchange_ms DESC, id";
        let rows = link.rows(sql, &[])?;
        rows.iter().map(|row| read_peer(&link, row)).collect()
    }

    fn receipts(&self) -> Result<Vec<(Card, Mark, Receipt)>, StoreError> {
        let mut link = self.link.borrow_mut();
        let sql = "SELECT node, store, name, acknowledged_position, acknowledged_hash, \
                   receipt_key, receipt FROM peer WHERE receipt IS NOT NULL ORDER BY id";
        let rows = link.rows(sql, &[])?;
        let read = |row: &Row| {
            let (node, store) = (NodeId(link.bytes(row, 0)?), StoreId(link.bytes(row, 1)?));
            let receipt = Receipt { key: link.bytes(row, 5)?, signature: link.bytes(row, 6)? };
            let card = Card { node, store, name: link.column(row, 2)? };
            Ok((card, read_mark(&link, row, 3)?, receipt))
        };
        rows.iter().map(read).collect()
    }

    fn acknowledged(&self, nodes: Option<&[NodeId]>) -> Result<Vec<(Scope, u64)>, StoreError> {
        let (all, named) = among(nodes);
        let mut link = self.link.borrow_mut();
        let sql = "SELECT holds, acknowledged_position FROM peer WHERE $1 OR node = ANY($2)";
        let rows = link.rows(sql, &[&all, &named])?;
        rows.iter().map(|row| Ok((scope(&link, row, 0)?, link.number(row, 1)?))).collect()
    }

    fn asked(&self) -> Result<Vec<Ask>, StoreError> {
        let mut link = self.link.borrow_mut();
        let sql = "SELECT asked, known_position, known_hash, known FROM peer ORDER BY id";
        let rows = link.rows(sql, &[])?;
        rows.iter().map(|row| ask(&link, row, 0)).collect()
    }

    fn not_at_whole(
        &self,
        nodes: Option<&[NodeId]>,
    ) -> Result<BTreeMap<DocumentId, u64>, StoreError> {
        let (all, named) = among(nodes);
        let mut link = self.link.borrow_mut();
        let sql = "WITH at AS (SELECT id, acknowledged_position, given_after, holds FROM peer \
                   WHERE $1 OR node = ANY($2)), known (most) AS \
                   (SELECT coalesce(max(acknowledged_position), 0) FROM at WHERE holds IS NULL) \
                   SELECT document, max(position) FROM change, known WHERE position > most \
                   AND NOT EXISTS (SELECT 1 FROM at WHERE id = from_peer \
                   AND position > given_after) GROUP BY document";
        let rows = link.rows(sql, &[&all, &named])?;
        by_document(&link, &rows)
    }

    fn made_here_after(&self, after: u64, document: Option<DocumentId>) -> Result<u64, StoreError> {
        let mut link = self.link.borrow_mut();
        let sql = "SELECT count(*) FROM change WHERE from_peer IS NULL AND position > $1 \
                   AND ($2::bytea IS NULL OR document = $2)";
        let document = document.map(DocumentId::to_bytes);
        let document = document.as_ref().map(<[u8; 16]>::as_slice);
        match link.first(sql, &[&row_number(after), &document])? {
            Some(row) => link.number(&row, 0),
            None => Ok(0),
        }
    }

    fn owed(&self, node: NodeId) -> Result<BTreeMap<DocumentId, u64>, StoreError> {
        let mut link = self.link.borrow_mut();
        let sql = "SELECT document, count(*) FROM change, peer WHERE node = $1 \
                   AND position > acknowledged_position \
                   AND (from_peer IS DISTINCT FROM peer.id OR position <= given_after) \
                   GROUP BY document";
        let rows = link.rows(sql, &[&node.0.as_slice()])?;
        by_document(&link, &rows)
    }
}

/// Whether all nodes are meant, and which where not.
fn among(nodes: Option<&[NodeId]>) -> (bool, Vec<&[u8]>) {
    let named = nodes.unwrap_or_default().iter().map(|node| node.0.as_slice()).collect();
    (nodes.is_none(), named)
}

impl Postgres {
    /// Whether what was stored during an exchange says how it ended: each write waits for the disk.
    fn says_already(
        &self,
        node: NodeId,
        address: Option<&str>,
        at: Timestamp,
    ) -> Result<bool, StoreError> {
        let sql = "SELECT 1 FROM peer WHERE node = $1 \
                   AND address IS NOT DISTINCT FROM coalesce($2, address) \
                   AND last_failure IS NULL AND last_exchange_ms BETWEEN $3 AND $4";
        let (since, at) = (at.unix_ms() - JUST_NOW_MS, at.unix_ms());
        let mut link = self.link.borrow_mut();
        Ok(link.first(sql, &[&node.0.as_slice(), &address, &since, &at])?.is_some())
    }
}

/// The peer's row, made or brought up to its card, and kept until the commit. A replaced store is
/// one that holds nothing of what this log has up to its `end`.
pub(super) fn remember(
    link: &mut Link,
    card: &Card,
    at: Timestamp,
    end: u64,
) -> Result<i64, StoreError> {
    let sql = "INSERT INTO peer AS p \
               (node, store, name, seen_hash, acknowledged_hash, given_after, last_exchange_ms) \
               VALUES ($1, $2, $3, $6, $6, $5, $4) ON CONFLICT (node) DO UPDATE SET \
               name = excluded.name, store = excluded.store, \
               last_exchange_ms = excluded.last_exchange_ms, \
               seen_position = CASE WHEN p.store = excluded.store THEN p.seen_position ELSE 0 END, \
               seen_hash = CASE WHEN p.store = excluded.store THEN p.seen_hash ELSE $6 END, \
               acknowledged_position = CASE WHEN p.store = excluded.store \
               THEN p.acknowledged_position ELSE 0 END, \
               acknowledged_hash = CASE WHEN p.store = excluded.store \
               THEN p.acknowledged_hash ELSE $6 END, \
               given_after = CASE WHEN p.store = excluded.store \
               THEN p.given_after ELSE excluded.given_after END, \
               holds = CASE WHEN p.store = excluded.store THEN p.holds END, \
               known_position = CASE WHEN p.store = excluded.store THEN p.known_position END, \
               known_hash = CASE WHEN p.store = excluded.store THEN p.known_hash END, \
               known = CASE WHEN p.store = excluded.store THEN p.known END RETURNING id";
    let (node, store) = (card.node.0, card.store.0);
    let (at, end) = (at.unix_ms(), row_number(end));
    let (node, store, none) = (node.as_slice(), store.as_slice(), NO_HASH.as_slice());
    match link.first(sql, &[&node, &store, &card.name, &at, &end, &none])? {
        Some(row) => link.column(&row, 0),
        None => Err(link.damaged("a peer's row was not kept".to_owned())),
    }
}

/// Remembers up to where and how much of a peer's log is stored here. If it is anew, what the peer
/// gave before, up to this log's end then, may be gone there, and is owed to it like everything
/// else.
pub(super) fn seen(
    link: &mut Link,
    peer: i64,
    (mark, asked): (Mark, &Ask),
    anew_at: Option<u64>,
) -> Result<(), StoreError> {
    let anew_at = anew_at.map(row_number);
    let sql = "UPDATE peer SET seen_position = $2, seen_hash = $3, acknowledged_position = \
               CASE WHEN $4::bigint IS NULL THEN acknowledged_position ELSE 0 END, \
               acknowledged_hash = CASE WHEN $4 IS NULL THEN acknowledged_hash ELSE $5 END, \
               given_after = coalesce($4, given_after), asked = $6, known_position = $7, \
               known_hash = $8, known = $9 WHERE id = $1";
    let (position, hash) = (row_number(mark.position), mark.hash.as_slice());
    let (scope, known) = (asked.scope.to_bytes(), asked.known.as_ref());
    let upto = known.map(|known| row_number(known.upto.position));
    let known_hash = known.map(|known| known.upto.hash.as_slice());
    let known = known.and_then(|known| known.scope.to_bytes());
    let none = NO_HASH.as_slice();
    let values: Values<'_> =
        &[&peer, &position, &hash, &anew_at, &none, &scope, &upto, &known_hash, &known];
    link.run(sql, values).map(drop)
}

fn read_peer(link: &Link, row: &Row) -> Result<Peer, StoreError> {
    let last_exchange_ms: i64 = link.column(row, 3)?;
    Ok(Peer {
        node: NodeId(link.bytes(row, 0)?),
        name: link.column(row, 1)?,
        address: link.column(row, 2)?,
        last_exchange_at: Timestamp::from_unix_ms(last_exchange_ms)
            .map_err(|error| link.damaged(error.to_string()))?,
        last_failure: link.column(row, 4)?,
        not_there: link.number(row, 5)?,
        holds: scope(link, row, 6)?,
    })
}

fn read_mark(link: &Link, row: &Row, column: usize) -> Result<Mark, StoreError> {
    Ok(Mark { position: link.number(row, column)?, hash: link.bytes(row, column + 1)? })
}

/// Nine columns: seen and acknowledged, position and hash each, what the peer holds, what was asked
/// of it, and what was known before: position, hash, how much.
fn read_memory(link: &Link, row: &Row) -> Result<Memory, StoreError> {
    Ok(Memory {
        seen: read_mark(link, row, 0)?,
        asked: ask(link, row, 5)?,
        acknowledged: read_mark(link, row, 2)?,
        holds: scope(link, row, 4)?,
    })
}

/// Four columns: how much was asked for, and what was known before: position, hash, how much.
fn ask(link: &Link, row: &Row, column: usize) -> Result<Ask, StoreError> {
    let known = match link.column::<Option<i64>>(row, column + 1)? {
        Some(_) => Some(Known {
            upto: read_mark(link, row, column + 1)?,
            scope: scope(link, row, column + 3)?,
        }),
        None => None,
    };
    Ok(Ask { scope: scope(link, row, column)?, known })
}

fn scope(link: &Link, row: &Row, column: usize) -> Result<Scope, StoreError> {
    let bytes: Option<&[u8]> = link.column(row, column)?;
    let scope = Scope::from_bytes(bytes);
    scope.ok_or_else(|| link.damaged("what a peer keeps is no list of sites".to_owned()))
}

/// A number for each document.
fn by_document(link: &Link, rows: &[Row]) -> Result<BTreeMap<DocumentId, u64>, StoreError> {
    let read = |row: &Row| Ok((DocumentId::from_bytes(link.bytes(row, 0)?), link.number(row, 1)?));
    rows.iter().map(read).collect()
}
