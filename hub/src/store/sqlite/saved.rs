//! Folding: a document's changes kept as one saved form, and their rows let go where that is safe.
//!
//! In: a saved form. It is kept only if it gives back every stored change byte for byte. The rows
//! go only when every one of them is known to be at another node too: until then a flipped bit in
//! the saved form costs nothing. The log itself stays as it was.

use automerge::Change;
use guyline_core::record::DocumentId;
use rusqlite::{Row, Transaction, params};

use super::log::{Sqlite, position, row_position};
use super::reading::{Form, PIECES_MAX, Run, piece, places};
use super::{Folded, Folding, Length, Peers, StoreError};
use crate::log::{Place, Scope};

/// Sixteen pieces fill a page of 4 096 bytes, of which 8 are the page's own: each has a pointer of
/// 2 bytes, a length of 2, a key of at most 5 up to a log of 8 million changes, and a record's head
/// of 4 (SQLite, "Database File Format", 1.6 and 2.1).
const PIECE_BYTES: usize = 242;

impl Folding for Sqlite {
    fn length_of(&self, document: DocumentId) -> Result<Length, StoreError> {
        let sql = "SELECT count(*) FILTER (WHERE position > \
                   coalesce((SELECT upto FROM saved WHERE document = ?1), 0)), \
                   count(*) + (SELECT coalesce(sum(count), 0) FROM saved \
                   JOIN run ON form = id WHERE document = ?1) \
                   FROM change WHERE document = ?1";
        let read = |row: &Row<'_>| Ok(Length { tail: position(row, 0)?, whole: position(row, 1)? });
        self.connection
            .prepare_cached(sql)
            .and_then(|mut select| select.query_row([document.to_bytes()], read))
            .map_err(|source| self.error(source))
    }

    fn fold(
        &mut self,
        document: DocumentId,
        place: Option<Place>,
        saved: &[u8],
    ) -> Result<Folded, StoreError> {
        let rows = self.rows_of(document, 0)?;
        let Some(&(upto, _)) = rows.last() else {
            return Ok(Folded::Already);
        };
        let elsewhere = self.all_elsewhere(document, place)?;
        let before = self.saved_form(document)?;
        if !elsewhere && before.as_ref().is_some_and(|form| form.upto >= upto) {
            return Ok(Folded::Beside);
        }
        let before_upto = before.as_ref().map(|form| form.upto);
        let runs = self.runs_of(document)?;
        let stored = match before.filter(|_| !runs.is_empty()) {
            Some(form) => {
                let mut changes = self.changes_in(document, &form)?;
                let count: u64 = runs.iter().map(|run| run.count).sum();
                changes.truncate(usize::try_from(count).unwrap_or(usize::MAX));
                changes
            }
            None => Vec::new(),
        };
        let stored: Vec<&Change> =
            stored.iter().chain(rows.iter().map(|(_, change)| change)).collect();
        let form = Form { upto, places: None, bytes: saved.to_owned() };
        let given = self.changes_in(document, &form)?;
        let Some(places) = places(&stored, &given) else {
            return Ok(Folded::NotAlike);
        };
        let places = (!places.is_empty()).then_some(places);
        self.write(|transaction| {
            let form =
                write_form(transaction, document, before_upto, upto, places.as_deref(), saved)?;
            if elsewhere {
                rows_to_runs(transaction, document, form, runs.last().copied())?;
            }
            Ok(())
        })?;
        Ok(if elsewhere { Folded::Instead } else { Folded::Beside })
    }

    fn size(&self) -> Result<u64, StoreError> {
        let sql = "SELECT page_count * page_size FROM pragma_page_count, pragma_page_size";
        self.count(sql)
    }

    fn shrink(&mut self) -> Result<(), StoreError> {
        self.connection
            .execute_batch("DELETE FROM stretch; VACUUM; PRAGMA wal_checkpoint(TRUNCATE)")
            .map_err(|source| self.error(source))
    }
}

impl Sqlite {
    /// Whether every row of a document is known to be at another node: up to what one that keeps
    /// everything acknowledged, or one that keeps a part with this document in it.
    fn all_elsewhere(
        &self,
        document: DocumentId,
        place: Option<Place>,
    ) -> Result<bool, StoreError> {
        let holding = self.acknowledged(None)?.into_iter().filter(|(scope, _)| {
            *scope == Scope::All || place.is_some_and(|place| scope.holds(place))
        });
        let upto = holding.map(|(_, upto)| upto).max().unwrap_or(0);
        let sql = "SELECT NOT EXISTS (SELECT 1 FROM change WHERE document = ?1 \
                   AND position > ?2 AND NOT EXISTS \
                   (SELECT 1 FROM peer WHERE id = from_peer AND position > given_after))";
        let values = params![document.to_bytes(), row_position(upto)];
        self.connection
            .prepare_cached(sql)
            .and_then(|mut select| select.query_row(values, |row| row.get(0)))
            .map_err(|source| self.error(source))
    }

    /// Whether a saved form holds what its runs and the rows beside it say.
    pub(super) fn saved_problem(&self, document: DocumentId) -> Option<String> {
        let compare = || -> Result<bool, StoreError> {
            let Some(form) = self.saved_form(document)? else {
                return Err(self.saved_damaged(document, "it is not there".to_owned()));
            };
            let (upto, held) = (form.upto, self.changes_in(document, &form)?);
            let runs = self.runs_of(document)?;
            let in_runs: u64 = runs.iter().map(|run| run.count).sum();
            let last = runs.last().map_or(0, Run::end);
            let rows = self.rows_of(document, 0)?;
            let beside: Vec<&Change> =
                rows.iter().filter(|(at, _)| *at <= upto).map(|(_, change)| change).collect();
            let behind = held.iter().skip(usize::try_from(in_runs).unwrap_or(usize::MAX));
            Ok(last <= upto && behind.eq(beside))
        };
        match compare() {
            Ok(true) => None,
            Ok(false) => Some("its saved form and its log do not fit each other".to_owned()),
            Err(error) => Some(error.to_string()),
        }
    }
}

/// Writes a saved form in place of the one up to `before`. Returns its number.
fn write_form(
    transaction: &Transaction<'_>,
    document: DocumentId,
    before: Option<u64>,
    upto: u64,
    places: Option<&[u8]>,
    bytes: &[u8],
) -> rusqlite::Result<i64> {
    if let Some(before) = before {
        let sql = "DELETE FROM piece WHERE place BETWEEN ?1 AND ?2";
        let values = [piece(before, 0), piece(before, PIECES_MAX - 1)];
        transaction.prepare_cached(sql)?.execute(values)?;
    }
    let mut insert =
        transaction.prepare_cached("INSERT INTO piece (place, bytes) VALUES (?1, ?2)")?;
    let size = PIECE_BYTES.max(bytes.len().div_ceil(PIECES_MAX as usize));
    for (bytes, number) in bytes.chunks(size).zip(0..) {
        insert.execute(params![piece(upto, number), bytes])?;
    }
    let sql = "INSERT INTO saved (document, upto, places) VALUES (?1, ?2, ?3) \
               ON CONFLICT (document) DO UPDATE SET upto = excluded.upto, \
               places = excluded.places RETURNING id";
    let values = params![document.to_bytes(), row_position(upto), places];
    transaction.prepare_cached(sql)?.query_row(values, |row| row.get(0))
}

/// Puts a document's rows into runs of its saved form, and takes them away.
fn rows_to_runs(
    transaction: &Transaction<'_>,
    document: DocumentId,
    form: i64,
    mut last: Option<Run>,
) -> rusqlite::Result<()> {
    let mut added: Vec<Run> = Vec::new();
    let sql = "SELECT position, from_peer FROM change WHERE document = ?1 ORDER BY position";
    let mut select = transaction.prepare_cached(sql)?;
    let mut rows = select.query([document.to_bytes()])?;
    while let Some(row) = rows.next()? {
        let (first, from_peer) = (row.get::<_, i64>(0)?.unsigned_abs(), row.get(1)?);
        let next = |run: &&mut Run| run.end() + 1 == first && run.from_peer == from_peer;
        match added.last_mut().or(last.as_mut()).filter(next) {
            Some(run) => run.count += 1,
            None => added.push(Run { first, count: 1, document, from_peer }),
        }
    }
    let sql = "INSERT INTO run (first, count, form, from_peer, from_again) \
               VALUES (?1, ?2, ?3, ?4, -?4) \
               ON CONFLICT (first) DO UPDATE SET count = excluded.count";
    let mut insert = transaction.prepare_cached(sql)?;
    for Run { first, count, from_peer, .. } in last.into_iter().chain(added) {
        let (first, count) = (row_position(first), row_position(count));
        insert.execute(params![first, count, form, from_peer])?;
    }
    let sql = "DELETE FROM change WHERE document = ?1";
    transaction.prepare_cached(sql)?.execute([document.to_bytes()]).map(drop)
}

#[cfg(test)]
#[path = "saved_tests.rs"]
mod tests;
