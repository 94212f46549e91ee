//! The PostgreSQL engine's log as it is read. Every change is hashed again and compared.
//!
//! Here every change keeps its row: a saved form is only a faster way to read a document.

use std::collections::{BTreeMap, BTreeSet};

use automerge::{Automerge, Change, ChangeHash};
use guyline_core::record::DocumentId;
use postgres::Row;

use super::link::{Link, row_number};
use super::walk::Walk;
use super::{
    Folded, Folding, Length, Mark, NodeId, Postgres, Reading, StoreError, Writing, Written,
};
use crate::chunk::Chunk;
use crate::log::{LogEntry, Place};

/// So many rows of a log are asked for at once.
const ROWS_MAX: i64 = 2_048;

impl Reading for Postgres {
    fn written(&self, document: DocumentId) -> Result<Written, StoreError> {
        let saved = self.saved_form(document)?;
        let upto = saved.as_ref().map_or(0, |(upto, _)| *upto);
        let later = self.rows_after(document, upto)?;
        Ok(Written { saved: saved.map(|(_, bytes)| bytes), later })
    }

    fn changes_of(&self, document: DocumentId) -> Result<Vec<Change>, StoreError> {
        self.rows_after(document, 0)
    }

    fn not_held(
        &self,
        document: DocumentId,
        changes: Vec<Chunk>,
    ) -> Result<Vec<Chunk>, StoreError> {
        let hashes: Vec<[u8; 32]> = changes.iter().map(|change| change.hash().0).collect();
        let hashes: Vec<&[u8]> = hashes.iter().map(<[u8; 32]>::as_slice).collect();
        let mut link = self.link.borrow_mut();
        let sql = "SELECT hash FROM change WHERE document = $1 AND hash = ANY($2)";
        let mut held = BTreeSet::new();
        for row in link.rows(sql, &[&document.to_bytes().as_slice(), &hashes])? {
            held.insert(ChangeHash(link.bytes(&row, 0)?));
        }
        Ok(changes.into_iter().filter(|change| !held.contains(&change.hash())).collect())
    }

    fn fits(&self, mark: Mark) -> Result<bool, StoreError> {
        if mark == Mark::START || mark == self.newest() {
            return Ok(true);
        }
        Ok(mark.position > 0 && self.mark_at(mark.position)? == mark)
    }

    fn mark_at(&self, position: u64) -> Result<Mark, StoreError> {
        let mut link = self.link.borrow_mut();
        let sql = "SELECT hash FROM change WHERE position = $1";
        Ok(match link.first(sql, &[&row_number(position)])? {
            Some(row) => self.lives.mark(position, link.bytes(&row, 0)?),
            None => Mark::START,
        })
    }

    fn walk(
        &self,
        (after, until): (u64, u64),
        peer: NodeId,
        walk: &mut Walk<'_, '_>,
    ) -> Result<(), StoreError> {
        let mut from = after;
        while !walk.is_over() {
            let rows = self.rows_between(from, until, peer)?;
            if rows.is_empty() {
                break;
            }
            for row in &rows {
                let (position, document) = self.place_of(row)?;
                if walk.goes(position, document)? {
                    walk.take(read_entry(&self.link.borrow(), row)?);
                }
                if walk.is_over() {
                    break;
                }
                from = position;
            }
        }
        Ok(())
    }
}

impl Postgres {
    /// Some of the log after a position, up to the end that is known here, less what a peer gave
    /// and still has.
    fn rows_between(&self, after: u64, upto: u64, peer: NodeId) -> Result<Vec<Row>, StoreError> {
        let mut link = self.link.borrow_mut();
        let sql = "SELECT position, document, hash, bytes FROM change \
                   WHERE position > $1 AND position <= $2 AND NOT EXISTS \
                   (SELECT 1 FROM peer WHERE id = from_peer AND node = $3 \
                    AND position > given_after) ORDER BY position LIMIT $4";
        let (after, upto, peer) = (row_number(after), row_number(upto), peer.0);
        link.rows(sql, &[&after, &upto, &peer.as_slice(), &ROWS_MAX])
    }

    /// The position and the document of a change's row.
    fn place_of(&self, row: &Row) -> Result<(u64, DocumentId), StoreError> {
        let link = self.link.borrow();
        Ok((link.number(row, 0)?, DocumentId::from_bytes(link.bytes(row, 1)?)))
    }

    /// A document's changes after a position.
    fn rows_after(&self, document: DocumentId, after: u64) -> Result<Vec<Change>, StoreError> {
        let mut link = self.link.borrow_mut();
        let sql = "SELECT position, document, hash, bytes FROM change \
                   WHERE document = $1 AND position > $2 ORDER BY position";
        let rows = link.rows(sql, &[&document.to_bytes().as_slice(), &row_number(after)])?;
        let mut changes = Vec::with_capacity(rows.len());
        for row in &rows {
            let (position, entry) = read_entry(&link, row)?;
            let path = link.place.clone().into();
            changes.push(entry.change.change().map_err(|error| StoreError::Rotten {
                path,
                document,
                position,
                found: error.to_string(),
            })?);
        }
        Ok(changes)
    }

    /// A document's saved form, and up to where it holds all changes.
    fn saved_form(&self, document: DocumentId) -> Result<Option<(u64, Vec<u8>)>, StoreError> {
        let mut link = self.link.borrow_mut();
        let sql = "SELECT upto, bytes FROM saved WHERE document = $1";
        let row = link.first(sql, &[&document.to_bytes().as_slice()])?;
        row.map(|row| Ok((link.number(&row, 0)?, link.column(&row, 1)?))).transpose()
    }

    /// What is wrong with a document's saved form, where something is.
    pub(super) fn saved_problem(&self, document: DocumentId) -> Result<Option<String>, StoreError> {
        let Some((upto, bytes)) = self.saved_form(document)? else {
            return Ok(None);
        };
        let mut stored = self.rows_after(document, 0)?;
        let later = self.rows_after(document, upto)?.len();
        stored.truncate(stored.len() - later);
        Ok(match Automerge::load(&bytes) {
            Err(error) => Some(error.to_string()),
            Ok(read) if alike(&stored, &read.get_changes(&[])) => None,
            Ok(_) => Some("its saved form and its log do not fit each other".to_owned()),
        })
    }
}

impl Folding for Postgres {
    fn length_of(&self, document: DocumentId) -> Result<Length, StoreError> {
        let mut link = self.link.borrow_mut();
        let sql = "SELECT count(*) FILTER (WHERE position > \
                   coalesce((SELECT upto FROM saved WHERE document = $1), 0)), count(*) \
                   FROM change WHERE document = $1";
        match link.first(sql, &[&document.to_bytes().as_slice()])? {
            Some(row) => Ok(Length { tail: link.number(&row, 0)?, whole: link.number(&row, 1)? }),
            None => Ok(Length { tail: 0, whole: 0 }),
        }
    }

    fn fold(
        &mut self,
        document: DocumentId,
        _: Option<Place>,
        saved: &[u8],
    ) -> Result<Folded, StoreError> {
        let stored = self.rows_after(document, 0)?;
        let held = Automerge::load(saved).map(|read| read.get_changes(&[])).unwrap_or_default();
        if !alike(&stored, &held) {
            return Ok(Folded::NotAlike);
        }
        let link = self.link.get_mut();
        let sql = "INSERT INTO saved (document, upto, bytes) \
                   SELECT document, max(position), $2 FROM change WHERE document = $1 \
                   GROUP BY document ON CONFLICT (document) \
                   DO UPDATE SET upto = excluded.upto, bytes = excluded.bytes";
        link.run(sql, &[&document.to_bytes().as_slice(), &saved])?;
        Ok(Folded::ForSpeed)
    }

    fn size(&self) -> Result<u64, StoreError> {
        self.count(
            "SELECT coalesce(sum(pg_total_relation_size(oid)), 0)::bigint FROM pg_class \
             WHERE relnamespace = 'guyline'::regnamespace AND relkind = 'r'",
        )
    }

    fn shrink(&mut self) -> Result<(), StoreError> {
        // For its one schema: others may share the database.
        let tables = "change, document, saved, author_seal, set_aside, summary, arrival, peer";
        self.link.get_mut().script(&format!("VACUUM (ANALYZE) {tables}")).map(drop)
    }
}

/// Whether these are the same changes, byte for byte, in whatever order.
fn alike(stored: &[Change], held: &[Change]) -> bool {
    let by_hash: BTreeMap<ChangeHash, &Change> =
        held.iter().map(|change| (change.hash(), change)).collect();
    let is_held = |change: &Change| {
        by_hash.get(&change.hash()).is_some_and(|held| held.raw_bytes() == change.raw_bytes())
    };
    stored.len() == held.len() && by_hash.len() == held.len() && stored.iter().all(is_held)
}

/// A row that starts with position, document, hash and bytes, which must fit each other.
pub(super) fn read_entry(link: &Link, row: &Row) -> Result<(u64, LogEntry), StoreError> {
    let (position, document) = (link.number(row, 0)?, DocumentId::from_bytes(link.bytes(row, 1)?));
    let (hash, bytes) = (ChangeHash(link.bytes(row, 2)?), link.column::<Vec<u8>>(row, 3)?);
    let rotten = |found| {
        let path = link.place.clone().into();
        StoreError::Rotten { path, document, position, found }
    };
    let change = Chunk::stored(bytes).map_err(|error| rotten(error.to_string()))?;
    if change.hash() != hash {
        return Err(rotten(format!("it hashes to {}, and {hash} was stored", change.hash())));
    }
    Ok((position, LogEntry { document, change }))
}
