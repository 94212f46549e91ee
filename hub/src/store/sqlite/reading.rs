//! Reading the log: a document's changes, and what lies behind a mark.
//!
//! Out: changes whose bytes were hashed again and fit. A change is a row of its own, or one of many
//! in the saved form of its document: the log is the same either way, position by position.

use std::collections::btree_map::{BTreeMap, Entry};
use std::collections::{BTreeSet, VecDeque};

use automerge::{Automerge, Change, ChangeHash};
use guyline_core::record::DocumentId;
use rusqlite::{OptionalExtension, Row, params};

use super::log::{Sqlite, document_id, position, row_position};
use super::walk::Walk;
use super::{Reading, StoreError, Writing, Written};
use crate::chunk::{Chunk, write_length};
use crate::log::{LogEntry, Mark, NodeId};

/// No peer has this number.
const NOBODY: i64 = -1;

/// A saved form has at most so many pieces.
pub(crate) const PIECES_MAX: u64 = 4_096;

/// Where a piece of the saved form up to a position is kept: no two forms ever share a place.
pub(super) fn piece(upto: u64, number: u64) -> i64 {
    row_position(upto.saturating_mul(PIECES_MAX).saturating_add(number))
}

/// A document's saved form.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Form {
    /// It holds every change up to here.
    pub(super) upto: u64,
    /// Which of its changes is the n-th in the log; none where both have one order.
    pub(super) places: Option<Vec<u8>>,
    /// What automerge saved.
    pub(super) bytes: Vec<u8>,
}

/// Positions whose changes are in the saved form of their document, one after the other.
#[derive(Clone, Copy, Debug)]
pub(super) struct Run {
    pub(super) first: u64,
    pub(super) count: u64,
    pub(super) document: DocumentId,
    pub(super) from_peer: Option<i64>,
}

impl Run {
    pub(super) fn end(&self) -> u64 {
        self.first + self.count - 1
    }
}

impl Reading for Sqlite {
    fn written(&self, document: DocumentId) -> Result<Written, StoreError> {
        let saved = self.saved_form(document)?;
        let upto = saved.as_ref().map_or(0, |form| form.upto);
        let later = self.rows_of(document, upto)?.into_iter().map(|(_, change)| change);
        Ok(Written { later: later.collect(), saved: saved.map(|form| form.bytes) })
    }

    fn changes_of(&self, document: DocumentId) -> Result<Vec<Change>, StoreError> {
        let (upto, mut changes) = match self.saved_form(document)? {
            Some(form) => (form.upto, self.changes_in(document, &form)?),
            None => (0, Vec::new()),
        };
        let later = self.rows_of(document, upto)?;
        changes.extend(later.into_iter().map(|(_, change)| change));
        Ok(changes)
    }

    fn not_held(
        &self,
        document: DocumentId,
        changes: Vec<Chunk>,
    ) -> Result<Vec<Chunk>, StoreError> {
        let mut in_runs: Option<BTreeSet<ChangeHash>> = None;
        let mut news = Vec::new();
        for change in changes {
            if self.has_row(document, change.hash())? {
                continue;
            }
            if in_runs.is_none() {
                in_runs = Some(self.hashes_in_runs(document)?);
            }
            if in_runs.as_ref().is_none_or(|held| !held.contains(&change.hash())) {
                news.push(change);
            }
        }
        Ok(news)
    }

    fn fits(&self, mark: Mark) -> Result<bool, StoreError> {
        if mark == Mark::START || mark == self.newest() {
            return Ok(true);
        }
        let stands = self.hash_at(mark.position)?;
        Ok(stands.is_some_and(|hash| self.lives.mark(mark.position, hash) == mark))
    }

    fn mark_at(&self, place: u64) -> Result<Mark, StoreError> {
        match self.hash_at(place)? {
            Some(hash) => Ok(self.lives.mark(place, hash)),
            None => {
                let found = format!("nothing stands at position {place} any more");
                Err(StoreError::Damaged { path: self.path.clone(), found })
            }
        }
    }

    fn walk(
        &self,
        (after, until): (u64, u64),
        peer: NodeId,
        walk: &mut Walk<'_, '_>,
    ) -> Result<(), StoreError> {
        let mut in_runs = self.in_runs_between(after, until, peer)?;
        let (giver, given_after) = self.given_by(peer)?;
        let engine = |source| self.error(source);
        let mut select = self
            .connection
            .prepare_cached(
                "SELECT position, document, hash, bytes FROM change WHERE position > ?1 \
                 AND position <= ?4 AND (from_peer IS NOT ?2 OR position <= ?3) \
                 ORDER BY position",
            )
            .map_err(engine)?;
        let values = params![row_position(after), giver, given_after, row_position(until)];
        let mut rows = select.query(values).map_err(engine)?;
        while let Some(row) = rows.next().map_err(engine)? {
            let (at, document) = (position(row, 0).map_err(engine)?, document_id(row, 1));
            let document = document.map_err(engine)?;
            in_runs.walk(self, Some(at), walk)?;
            if walk.goes(at, document)? {
                walk.take(self.read_entry(row)?);
            }
            if walk.is_over() {
                break;
            }
        }
        in_runs.walk(self, None, walk)
    }
}

impl Sqlite {
    fn has_row(&self, document: DocumentId, hash: ChangeHash) -> Result<bool, StoreError> {
        self.connection
            .prepare_cached("SELECT 1 FROM change WHERE document = ?1 AND hash = ?2")
            .and_then(|mut select| select.exists(params![document.to_bytes(), hash.0]))
            .map_err(|source| self.error(source))
    }

    fn hashes_in_runs(&self, document: DocumentId) -> Result<BTreeSet<ChangeHash>, StoreError> {
        if self.runs_of(document)?.is_empty() {
            return Ok(BTreeSet::new());
        }
        let open = self.open_saved(document)?;
        Ok(open.changes.iter().flatten().map(Change::hash).collect())
    }

    /// A peer's number, and after which position it still has what it gave; for who gave nothing a
    /// number that nobody has.
    pub(super) fn given_by(&self, peer: NodeId) -> Result<(i64, i64), StoreError> {
        self.connection
            .prepare_cached("SELECT id, given_after FROM peer WHERE node = ?1")
            .and_then(|mut select| {
                select.query_row([peer.0], |row| Ok((row.get(0)?, row.get(1)?))).optional()
            })
            .map(|found| found.unwrap_or((NOBODY, 0)))
            .map_err(|source| self.error(source))
    }

    /// The hash of the change at a position, in a row of its own or in a run.
    fn hash_at(&self, place: u64) -> Result<Option<[u8; 32]>, StoreError> {
        let row: Option<[u8; 32]> = self
            .connection
            .prepare_cached("SELECT hash FROM change WHERE position = ?1")
            .and_then(|mut select| {
                select.query_row([row_position(place)], |row| row.get(0)).optional()
            })
            .map_err(|source| self.error(source))?;
        match row {
            Some(hash) => Ok(Some(hash)),
            None => Ok(self.hash_in_run(place)?.map(|hash| hash.0)),
        }
    }

    /// The hash of the change that has a position in a run.
    pub(super) fn hash_in_run(&self, place: u64) -> Result<Option<ChangeHash>, StoreError> {
        let sql = "SELECT first, count, document, from_peer FROM run \
                   LEFT JOIN saved ON saved.id = form WHERE first <= ?1 \
                   ORDER BY first DESC LIMIT 1";
        let run = self
            .connection
            .prepare_cached(sql)
            .and_then(|mut select| select.query_row([row_position(place)], read_run).optional())
            .map_err(|source| self.error(source))?;
        let Some(run) = run.filter(|run| place <= run.end()) else {
            return Ok(None);
        };
        let change = self.open_saved(run.document)?.take(place);
        Ok(change.map(|change| change.hash()))
    }

    fn in_runs_between(&self, after: u64, until: u64, peer: NodeId) -> Result<InRuns, StoreError> {
        // What the peer gave after a position it still has.
        let sql = "SELECT max(first, ?1 + 1), min(?3, \
                   iif(peer.id IS NULL, first + count - 1, min(first + count - 1, given_after))) \
                   - max(first, ?1 + 1) + 1 AS left_over, document, from_peer \
                   FROM run LEFT JOIN saved ON saved.id = form \
                   LEFT JOIN peer ON peer.id = from_peer AND node = ?2 \
                   WHERE first + count - 1 > ?1 AND left_over > 0 ORDER BY first";
        let read = || -> rusqlite::Result<VecDeque<Run>> {
            let mut select = self.connection.prepare_cached(sql)?;
            let values = params![row_position(after), peer.0, row_position(until)];
            select.query_map(values, read_run)?.collect()
        };
        let runs = read().map_err(|source| self.error(source))?;
        Ok(InRuns::new(runs))
    }

    /// A document's runs, in the order of the log.
    pub(super) fn runs_of(&self, document: DocumentId) -> Result<Vec<Run>, StoreError> {
        let sql = "SELECT first, count, document, from_peer FROM saved \
                   JOIN run ON form = saved.id WHERE document = ?1 ORDER BY first";
        let read = || -> rusqlite::Result<Vec<Run>> {
            let mut select = self.connection.prepare_cached(sql)?;
            select.query_map([document.to_bytes()], read_run)?.collect()
        };
        read().map_err(|source| self.error(source))
    }

    /// A document's rows after a position, with their positions, each checked against its hash.
    pub(super) fn rows_of(
        &self,
        document: DocumentId,
        after: u64,
    ) -> Result<Vec<(u64, Change)>, StoreError> {
        let sql = "SELECT position, document, hash, bytes FROM change \
                   WHERE document = ?1 AND position > ?2 ORDER BY position";
        let engine = |source| self.error(source);
        let mut select = self.connection.prepare_cached(sql).map_err(engine)?;
        let values = params![document.to_bytes(), row_position(after)];
        let mut rows = select.query(values).map_err(engine)?;
        let mut changes = Vec::new();
        while let Some(row) = rows.next().map_err(engine)? {
            let (position, entry) = self.read_entry(row)?;
            let change = entry.change.change().map_err(|error| StoreError::Rotten {
                path: self.path.clone(),
                document,
                position,
                found: error.to_string(),
            })?;
            changes.push((position, change));
        }
        Ok(changes)
    }

    /// A document's saved form.
    pub(super) fn saved_form(&self, document: DocumentId) -> Result<Option<Form>, StoreError> {
        let read = || -> rusqlite::Result<Option<Form>> {
            let sql = "SELECT upto, places FROM saved WHERE document = ?1";
            let mut select = self.connection.prepare_cached(sql)?;
            let form = |row: &Row<'_>| Ok((position(row, 0)?, row.get(1)?));
            let found = select.query_row([document.to_bytes()], form).optional()?;
            let Some((upto, places)) = found else {
                return Ok(None);
            };
            let sql = "SELECT bytes FROM piece WHERE place BETWEEN ?1 AND ?2 ORDER BY place";
            let mut select = self.connection.prepare_cached(sql)?;
            let mut pieces = select.query([piece(upto, 0), piece(upto, PIECES_MAX - 1)])?;
            let mut bytes = Vec::new();
            while let Some(row) = pieces.next()? {
                bytes.extend_from_slice(row.get_ref(0)?.as_blob()?);
            }
            Ok(Some(Form { upto, places, bytes }))
        };
        match read().map_err(|source| self.error(source))? {
            // The library takes nothing for an empty document.
            Some(form) if form.bytes.is_empty() => {
                Err(self.saved_damaged(document, "it is not there".to_owned()))
            }
            found => Ok(found),
        }
    }

    /// The changes a saved form holds, in the order of the log. Each is hashed again on the way,
    /// and the newest must be those the form names.
    pub(super) fn changes_in(
        &self,
        document: DocumentId,
        form: &Form,
    ) -> Result<Vec<Change>, StoreError> {
        let read = Automerge::load(&form.bytes)
            .map_err(|error| self.saved_damaged(document, error.to_string()))?;
        let changes = read.get_changes(&[]);
        let Some(places) = &form.places else {
            return Ok(changes);
        };
        in_places(changes, places)
            .ok_or_else(|| self.saved_damaged(document, "its order is none".to_owned()))
    }

    pub(super) fn saved_damaged(&self, document: DocumentId, found: String) -> StoreError {
        StoreError::Saved { path: self.path.clone(), document, found }
    }

    /// A row that starts with position, document, hash and bytes, which must fit each other.
    pub(super) fn read_entry(&self, row: &Row<'_>) -> Result<(u64, LogEntry), StoreError> {
        let read = || {
            let bytes = row.get_ref(3)?.as_blob()?;
            Ok((position(row, 0)?, document_id(row, 1)?, ChangeHash(row.get(2)?), bytes))
        };
        let (position, document, hash, bytes) = read().map_err(|source| self.error(source))?;
        let rotten = |found| {
            let path = self.path.clone();
            StoreError::Rotten { path, document, position, found }
        };
        let change = Chunk::stored(bytes.to_vec()).map_err(|error| rotten(error.to_string()))?;
        if change.hash() != hash {
            let found = format!("it hashes to {}, and {hash} was stored", change.hash());
            return Err(rotten(found));
        }
        Ok((position, LogEntry { document, change }))
    }
}

/// Goes through runs in the order of the log, and reads each document once.
struct InRuns {
    runs: VecDeque<Run>,
    open: BTreeMap<DocumentId, Open>,
}

/// A document's saved form, taken apart.
struct Open {
    /// Runs are the start of a document's log: the n-th of their positions has the n-th change.
    runs: Vec<Run>,
    changes: Vec<Option<Change>>,
}

impl InRuns {
    fn new(runs: VecDeque<Run>) -> Self {
        Self { runs, open: BTreeMap::new() }
    }

    /// Goes on up to a row, or to the end.
    fn walk(
        &mut self,
        store: &Sqlite,
        row: Option<u64>,
        walk: &mut Walk<'_, '_>,
    ) -> Result<(), StoreError> {
        let before = |run: &Run| row.is_none_or(|row| run.first < row);
        while !walk.is_over() && self.runs.front().is_some_and(before) {
            let Some(run) = self.runs.pop_front() else { break };
            if !walk.goes(run.end(), run.document)? {
                continue;
            }
            let open = match self.open.entry(run.document) {
                Entry::Occupied(open) => open.into_mut(),
                Entry::Vacant(place) => place.insert(store.open_saved(run.document)?),
            };
            for position in run.first..=run.end() {
                let change = open.take(position).ok_or_else(|| {
                    let found = format!("it holds no change for position {position}");
                    store.saved_damaged(run.document, found)
                })?;
                let change = Chunk::from(&change);
                walk.take((position, LogEntry { document: run.document, change }));
                if walk.is_over() {
                    break;
                }
            }
        }
        Ok(())
    }
}

impl Open {
    fn take(&mut self, position: u64) -> Option<Change> {
        let before = |run: &Run| position.saturating_sub(run.first).min(run.count);
        let index: u64 = self.runs.iter().map(before).sum();
        self.changes.get_mut(usize::try_from(index).ok()?)?.take()
    }
}

impl Sqlite {
    fn open_saved(&self, document: DocumentId) -> Result<Open, StoreError> {
        let Some(form) = self.saved_form(document)? else {
            return Err(self.saved_damaged(document, "it is not there".to_owned()));
        };
        let changes = self.changes_in(document, &form)?.into_iter().map(Some).collect();
        Ok(Open { runs: self.runs_of(document)?, changes })
    }
}

/// Puts changes in the places a list of LEB128 numbers says. None where it is not one of them all.
pub(super) fn in_places(changes: Vec<Change>, places: &[u8]) -> Option<Vec<Change>> {
    let mut changes: Vec<Option<Change>> = changes.into_iter().map(Some).collect();
    let mut placed = Vec::with_capacity(changes.len());
    let (mut place, mut shift) = (0_usize, 0);
    for byte in places {
        place |= usize::from(byte & 0x7f).checked_shl(shift)?;
        shift += 7;
        if byte & 0x80 == 0 {
            placed.push(changes.get_mut(place)?.take()?);
            (place, shift) = (0, 0);
        }
    }
    (shift == 0 && placed.len() == changes.len()).then_some(placed)
}

/// The list that puts `given` in the order of `stored`: empty where it is in it already, none where
/// they are not the same changes, byte for byte.
pub(super) fn places(stored: &[&Change], given: &[Change]) -> Option<Vec<u8>> {
    let place: BTreeMap<ChangeHash, usize> =
        given.iter().enumerate().map(|(place, change)| (change.hash(), place)).collect();
    if stored.len() != given.len() || place.len() != given.len() {
        return None;
    }
    let (mut list, mut in_order) = (Vec::new(), true);
    for (at, change) in stored.iter().enumerate() {
        let place = *place.get(&change.hash())?;
        if given[place].raw_bytes() != change.raw_bytes() {
            return None;
        }
        in_order &= place == at;
        write_length(&mut list, place);
    }
    Some(if in_order { Vec::new() } else { list })
}

fn read_run(row: &Row<'_>) -> rusqlite::Result<Run> {
    Ok(Run {
        first: position(row, 0)?,
        count: position(row, 1)?,
        document: document_id(row, 2)?,
        from_peer: row.get(3)?,
    })
}
