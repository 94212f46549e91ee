//! The SQLite engine of the store: its log and settings. Rows and SQL, nothing else.
//!
//! Every write is one transaction with synchronous FULL, so a call that returns Ok is on disk.
//! Every change that is read is hashed again and compared with the hash stored beside it.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::{Path, PathBuf};

use automerge::ChangeHash;
use guyline_core::record::DocumentId;
use rusqlite::{Connection, OptionalExtension, Row, Transaction, params};

use super::aside::insert_set_aside;
use super::authors::insert_seals;
use super::disk::{Disk, SystemDisk};
use super::open::{Opened, engine_error, open};
use super::peers::{remember, seen};
use super::seal::{self, Sealed};
use super::{Append, Lives, OpenError, Placing, Store, StoreError, TakeIn, Writing, lives};
use crate::at_rest::Keys;
use crate::log::{Card, Mark, NodeId, StoreId};

/// One node's store. Held by one process at a time.
#[derive(Debug)]
pub struct Sqlite {
    pub(super) connection: Connection,
    pub(super) path: PathBuf,
    card: Card,
    pub(super) newest: Mark,
    heads: BTreeMap<DocumentId, Vec<ChangeHash>>,
    pub(super) lives: Lives,
    /// Dropped last: the folder stays ours until the connection is closed.
    _lock: File,
}

impl Store for Sqlite {
    #[cfg(test)]
    fn any(&self) -> &dyn std::any::Any {
        self
    }
}

impl Writing for Sqlite {
    fn card(&self) -> &Card {
        &self.card
    }

    fn newest(&self) -> Mark {
        self.newest
    }

    fn heads(&self) -> &BTreeMap<DocumentId, Vec<ChangeHash>> {
        &self.heads
    }

    fn rename(&mut self, name: &str) -> Result<(), StoreError> {
        self.set_setting("name", name)?;
        name.clone_into(&mut self.card.name);
        Ok(())
    }

    fn setting(&self, key: &str) -> Result<Option<String>, StoreError> {
        self.connection
            .prepare_cached("SELECT value FROM setting WHERE key = ?1")
            .and_then(|mut select| select.query_row([key], |row| row.get(0)).optional())
            .map_err(|source| self.error(source))
    }

    fn set_setting(&mut self, key: &str, value: &str) -> Result<(), StoreError> {
        self.write_sealed(Sealed::Settings, |transaction| {
            let sql = "INSERT INTO setting (key, value) VALUES (?1, ?2) \
                       ON CONFLICT (key) DO UPDATE SET value = excluded.value";
            transaction.execute(sql, [key, value]).map(drop)
        })
    }

    fn append(&mut self, append: &Append) -> Result<(), StoreError> {
        self.live()?;
        let newest = self.write(|transaction| insert_changes(transaction, append, None))?;
        self.end_at(newest);
        self.heads.insert(append.document, append.heads.clone());
        Ok(())
    }

    fn take_in(&mut self, body: &TakeIn) -> Result<(), StoreError> {
        let TakeIn { card, seen: mark, asked, anew, placing } = body;
        if !placing.appends.is_empty() {
            self.live()?;
        }
        let end = self.newest.position;
        let newest = self.write_sealed(Sealed::Peers, |transaction| {
            let peer = remember(transaction, card, placing.at, end)?;
            seen(transaction, peer, (*mark, asked), anew.then_some(end))?;
            insert_all(transaction, placing, peer)
        })?;
        self.end_after(newest, placing);
        Ok(())
    }
}

impl Sqlite {
    /// Opens the store in a folder, and makes it first where there is none.
    pub fn open(dir: &Path) -> Result<Self, OpenError> {
        Self::open_on(dir, &SystemDisk, None)
    }

    /// The same on another disk, for tests that break it, and with the folder's keys where it is
    /// encrypted. The lock is on the system's disk all the same.
    pub fn open_on(dir: &Path, disk: &dyn Disk, keys: Option<&Keys>) -> Result<Self, OpenError> {
        let Opened { connection, path, lock } = open(dir, disk, keys)?;
        let card = read_card(&connection, &path)?;
        let engine = |source| engine_error(&path, source);
        let lives = lives::read(&connection).map_err(engine)?;
        let newest = read_newest(&connection).map_err(engine)?;
        let newest = newest.map_or(Mark::START, |(position, hash)| lives.mark(position, hash));
        let heads = read_heads(&connection).map_err(engine)?;
        let mut store = Self { connection, path, card, newest, heads, lives, _lock: lock };
        store.newest_in_runs()?;
        Ok(store)
    }

    /// The end of the log, where the newest change has no row of its own.
    fn newest_in_runs(&mut self) -> Result<(), OpenError> {
        let sql = "SELECT coalesce(max(first + count - 1), 0) FROM run";
        let end = self
            .connection
            .query_row(sql, [], |row| position(row, 0))
            .map_err(|source| engine_error(&self.path, source))?;
        if end > self.newest.position {
            // One whose document cannot be read fits no mark: whoever asks for it gets all again.
            let hash = self.hash_in_run(end).ok().flatten().map_or([0; 32], |hash| hash.0);
            self.newest = self.lives.mark(end, hash);
        }
        Ok(())
    }

    /// The engine itself, for tests that damage or fill it.
    #[cfg(test)]
    pub(crate) fn connection(&self) -> &Connection {
        &self.connection
    }

    /// Makes this the store of another node.
    pub(crate) fn become_node(&mut self, node: NodeId) -> Result<(), StoreError> {
        self.set_setting("node", &node.to_string())?;
        self.card.node = node;
        Ok(())
    }

    pub(super) fn end_after(&mut self, newest: Option<(u64, [u8; 32])>, placing: &Placing) {
        self.end_at(newest);
        let heads = placing.appends.iter().map(|append| (append.document, append.heads.clone()));
        self.heads.extend(heads);
    }

    fn end_at(&mut self, newest: Option<(u64, [u8; 32])>) {
        if let Some((position, hash)) = newest {
            self.newest = self.lives.mark(position, hash);
        }
    }

    pub(super) fn count(&self, sql: &str) -> Result<u64, StoreError> {
        self.connection
            .prepare_cached(sql)
            .and_then(|mut select| select.query_row([], |row| row.get::<_, i64>(0)))
            .map(i64::unsigned_abs)
            .map_err(|source| self.error(source))
    }

    /// One transaction: everything `work` does is on disk when this returns Ok, or none of it is.
    pub(super) fn write<T>(
        &mut self,
        work: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<T>,
    ) -> Result<T, StoreError> {
        let done = self.connection.transaction().and_then(|transaction| {
            let made = work(&transaction)?;
            transaction.commit()?;
            Ok(made)
        });
        done.map_err(|source| self.error(source))
    }

    /// The same for a sealed table: it must be what was last written, and is sealed anew.
    pub(super) fn write_sealed<T>(
        &mut self,
        table: Sealed,
        work: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<T>,
    ) -> Result<T, StoreError> {
        let done = self.write(|transaction| {
            if !seal::holds(transaction, table)? {
                return Ok(None);
            }
            let made = work(transaction)?;
            seal::renew(transaction, table)?;
            Ok(Some(made))
        })?;
        done.ok_or_else(|| self.not_as_written(table))
    }

    pub(super) fn not_as_written(&self, table: Sealed) -> StoreError {
        StoreError::Damaged { path: self.path.clone(), found: table.damage().to_owned() }
    }

    pub(super) fn error(&self, source: rusqlite::Error) -> StoreError {
        use rusqlite::ErrorCode::{DatabaseCorrupt, DiskFull, NotADatabase};
        let path = self.path.clone();
        match source.sqlite_error_code() {
            Some(DiskFull) => StoreError::Full { path },
            Some(DatabaseCorrupt | NotADatabase) => {
                StoreError::Damaged { path, found: source.to_string() }
            }
            _ => StoreError::Engine { path, source },
        }
    }
}

fn read_card(connection: &Connection, path: &Path) -> Result<Card, OpenError> {
    let setting = |key: &'static str| {
        let sql = "SELECT value FROM setting WHERE key = ?1";
        let value: Option<String> = connection
            .query_row(sql, [key], |row| row.get(0))
            .optional()
            .map_err(|source| engine_error(path, source))?;
        value.ok_or_else(|| {
            let found = format!("it has no setting {key:?}");
            OpenError::Damaged { path: path.to_owned(), found }
        })
    };
    let id = |key: &'static str| {
        let text = setting(key)?;
        u128::from_str_radix(&text, 16).map(u128::to_be_bytes).map_err(|_| {
            let found = format!("its setting {key:?} is {text:?}");
            OpenError::Damaged { path: path.to_owned(), found }
        })
    };
    Ok(Card { node: NodeId(id("node")?), store: StoreId(id("store")?), name: setting("name")? })
}

fn read_newest(connection: &Connection) -> rusqlite::Result<Option<(u64, [u8; 32])>> {
    let mut select = connection
        .prepare_cached("SELECT position, hash FROM change ORDER BY position DESC LIMIT 1")?;
    select.query_row([], |row| Ok((position(row, 0)?, row.get(1)?))).optional()
}

fn read_heads(connection: &Connection) -> rusqlite::Result<BTreeMap<DocumentId, Vec<ChangeHash>>> {
    let mut select = connection.prepare("SELECT id, heads FROM document")?;
    let rows = select.query_map([], |row| {
        let heads: Vec<u8> = row.get(1)?;
        let (hashes, _) = heads.as_chunks::<32>();
        Ok((document_id(row, 0)?, hashes.iter().copied().map(ChangeHash).collect()))
    })?;
    rows.collect()
}

fn insert_changes(
    transaction: &Transaction<'_>,
    append: &Append,
    from_peer: Option<i64>,
) -> rusqlite::Result<Option<(u64, [u8; 32])>> {
    let document = append.document.to_bytes();
    let mut insert = transaction.prepare_cached(
        "INSERT INTO change (document, hash, bytes, from_peer, from_again) \
         VALUES (?1, ?2, ?3, ?4, -?4)",
    )?;
    // A change that finds its place after all is no longer set aside.
    let mut settle =
        transaction.prepare_cached("DELETE FROM set_aside WHERE document = ?1 AND hash = ?2")?;
    let mut newest = None;
    for entry in &append.entries {
        let hash = entry.change.hash().0;
        let giver = from_peer.filter(|_| !append.waited.contains(&entry.change.hash()));
        insert.execute(params![document, hash, entry.change.raw_bytes(), giver])?;
        if from_peer.is_some() || !append.waited.is_empty() {
            settle.execute(params![document, hash])?;
        }
        let position = transaction.last_insert_rowid().unsigned_abs();
        newest = Some((position, hash));
    }
    let heads: Vec<u8> = append.heads.iter().flat_map(|hash| hash.0).collect();
    let sql = "INSERT INTO document (id, heads) VALUES (?1, ?2) \
               ON CONFLICT (id) DO UPDATE SET heads = excluded.heads";
    transaction.prepare_cached(sql)?.execute(params![document, heads])?;
    insert_seals(transaction, append.document, &append.seals)?;
    Ok(newest)
}

/// Inserts all that came from a peer. Gives the end of the log where it moved.
pub(super) fn insert_all(
    transaction: &Transaction<'_>,
    placing: &Placing,
    peer: i64,
) -> rusqlite::Result<Option<(u64, [u8; 32])>> {
    let mut newest = None;
    for append in &placing.appends {
        newest = insert_changes(transaction, append, Some(peer))?.or(newest);
    }
    for set_aside in &placing.set_aside {
        insert_set_aside(transaction, set_aside, peer, placing.at)?;
    }
    Ok(newest)
}

pub(super) fn read_mark(row: &Row<'_>, column: usize) -> rusqlite::Result<Mark> {
    Ok(Mark { position: position(row, column)?, hash: row.get(column + 1)? })
}

pub(super) fn document_id(row: &Row<'_>, column: usize) -> rusqlite::Result<DocumentId> {
    Ok(DocumentId::from_bytes(row.get(column)?))
}

pub(super) fn position(row: &Row<'_>, column: usize) -> rusqlite::Result<u64> {
    // The schema and AUTOINCREMENT keep positions and counts at zero or above.
    row.get::<_, i64>(column).map(i64::unsigned_abs)
}

/// A position as the engine keeps it; beyond its range it fits no row, as it should.
pub(super) fn row_position(position: u64) -> i64 {
    i64::try_from(position).unwrap_or(i64::MAX)
}
