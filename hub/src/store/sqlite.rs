//! The SQLite engine of the store: its log and settings. Rows and SQL, nothing else.
//!
//! Every write is one transaction with synchronous FULL, so a call that returns Ok is on disk.
//! Every change that is read is hashed again and compared with the hash stored beside it.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::{Path, PathBuf};

use automerge::{Change, ChangeHash};
use guyline_core::record::DocumentId;
use guyline_core::time::Timestamp;
use rusqlite::{Connection, OptionalExtension, Row, Transaction, params};

use super::disk::{Disk, SystemDisk};
use super::open::{Opened, engine_error, open};
use super::peers::{remember, seen};
use super::{Append, OpenError, SetAside, StoreError, TakeIn};
use crate::log::{Card, LogEntry, LogSlice, Mark, NodeId, Start, StoreId};

/// One node's store. Held by one process at a time.
#[derive(Debug)]
pub struct Store {
    pub(super) connection: Connection,
    path: PathBuf,
    card: Card,
    newest: Mark,
    heads: BTreeMap<DocumentId, Vec<ChangeHash>>,
    /// Dropped last: the folder stays ours until the connection is closed.
    _lock: File,
}

impl Store {
    /// Opens the store in a folder, and makes it first where there is none.
    pub fn open(dir: &Path) -> Result<Self, OpenError> {
        Self::open_on(dir, &SystemDisk)
    }

    /// The same on another disk, for tests that break it. The lock is on the system's all the same.
    pub fn open_on(dir: &Path, disk: &dyn Disk) -> Result<Self, OpenError> {
        let Opened { connection, path, lock } = open(dir, disk)?;
        let card = read_card(&connection, &path)?;
        let newest = read_newest(&connection).map_err(|source| engine_error(&path, source))?;
        let heads = read_heads(&connection).map_err(|source| engine_error(&path, source))?;
        Ok(Self { connection, path, card, newest, heads, _lock: lock })
    }

    /// The engine itself, for tests that damage or fill it.
    #[cfg(test)]
    pub(crate) fn connection(&self) -> &Connection {
        &self.connection
    }

    /// Who this node is.
    pub fn card(&self) -> &Card {
        &self.card
    }

    /// The end of the log.
    pub fn newest(&self) -> Mark {
        self.newest
    }

    /// Gives the node another name.
    pub fn rename(&mut self, name: &str) -> Result<(), StoreError> {
        self.set_setting("name", name)?;
        name.clone_into(&mut self.card.name);
        Ok(())
    }

    /// What was last kept under a key.
    pub fn setting(&self, key: &str) -> Result<Option<String>, StoreError> {
        self.connection
            .prepare_cached("SELECT value FROM setting WHERE key = ?1")
            .and_then(|mut select| select.query_row([key], |row| row.get(0)).optional())
            .map_err(|source| self.error(source))
    }

    /// Keeps a value under a key.
    pub fn set_setting(&mut self, key: &str, value: &str) -> Result<(), StoreError> {
        self.write(|transaction| {
            let sql = "INSERT INTO setting (key, value) VALUES (?1, ?2) \
                       ON CONFLICT (key) DO UPDATE SET value = excluded.value";
            transaction.execute(sql, [key, value]).map(drop)
        })
    }

    /// Every document's heads, sorted.
    pub fn heads(&self) -> &BTreeMap<DocumentId, Vec<ChangeHash>> {
        &self.heads
    }

    /// Every change of a document, causes before effects, each checked against its hash.
    pub fn changes_of(&self, document: DocumentId) -> Result<Vec<Change>, StoreError> {
        let mut select = self
            .connection
            .prepare_cached(
                "SELECT position, document, hash, bytes FROM change \
                 WHERE document = ?1 ORDER BY position",
            )
            .map_err(|source| self.error(source))?;
        let mut rows = select.query([document.to_bytes()]).map_err(|source| self.error(source))?;
        let mut changes = Vec::new();
        while let Some(row) = rows.next().map_err(|source| self.error(source))? {
            changes.push(self.read_entry(row)?.1.change);
        }
        Ok(changes)
    }

    /// Whether a document holds a change.
    pub fn holds(&self, document: DocumentId, hash: ChangeHash) -> Result<bool, StoreError> {
        self.connection
            .prepare_cached("SELECT 1 FROM change WHERE document = ?1 AND hash = ?2")
            .and_then(|mut select| select.exists(params![document.to_bytes(), hash.0]))
            .map_err(|source| self.error(source))
    }

    /// The log after a mark, less what a peer gave us itself, up to about `bytes_max`.
    ///
    /// A mark that does not fit this log counts as its start. At least one change comes with every
    /// slice that has more behind it.
    pub fn log_after(
        &self,
        after: Mark,
        peer: NodeId,
        bytes_max: usize,
    ) -> Result<LogSlice, StoreError> {
        let (after, start) = match self.fits(after)? {
            true => (after, Start::Continues),
            false => (Mark::START, Start::Anew),
        };
        let mut slice =
            LogSlice { after, start, to: self.newest, entries: Vec::new(), more: false };
        let mut select = self
            .connection
            .prepare_cached(
                "SELECT position, document, hash, bytes FROM change WHERE position > ?1 \
                 AND NOT EXISTS (SELECT 1 FROM peer WHERE node = ?2 \
                 AND id = from_peer AND position > given_after) ORDER BY position",
            )
            .map_err(|source| self.error(source))?;
        let mut rows = select
            .query(params![row_position(slice.after.position), peer.0])
            .map_err(|source| self.error(source))?;
        let (mut bytes, mut last) = (0, Mark::START);
        while let Some(row) = rows.next().map_err(|source| self.error(source))? {
            let (position, entry) = self.read_entry(row)?;
            bytes += entry.change.raw_bytes().len();
            if bytes > bytes_max && !slice.entries.is_empty() {
                slice.to = last;
                slice.more = true;
                break;
            }
            last = Mark { position, hash: entry.change.hash().0 };
            slice.entries.push(entry);
        }
        Ok(slice)
    }

    /// Whether the change a mark names stands where the mark says.
    pub(super) fn fits(&self, mark: Mark) -> Result<bool, StoreError> {
        if mark == Mark::START {
            return Ok(true);
        }
        self.connection
            .prepare_cached("SELECT 1 FROM change WHERE position = ?1 AND hash = ?2")
            .and_then(|mut select| select.exists(params![row_position(mark.position), mark.hash]))
            .map_err(|source| self.error(source))
    }

    /// Adds changes made here.
    pub fn append(&mut self, append: &Append) -> Result<(), StoreError> {
        let newest = self.write(|transaction| {
            insert_changes(transaction, append, None)?;
            read_newest(transaction)
        })?;
        self.newest = newest;
        self.heads.insert(append.document, append.heads.clone());
        Ok(())
    }

    /// Adds what came from a peer, and how far its log is stored here, as one.
    pub fn take_in(&mut self, body: &TakeIn) -> Result<(), StoreError> {
        let newest = self.write(|transaction| {
            let peer = remember(transaction, &body.card, body.at)?;
            seen(transaction, peer, body.seen, body.anew)?;
            for append in &body.appends {
                insert_changes(transaction, append, Some(peer))?;
            }
            for set_aside in &body.set_aside {
                insert_set_aside(transaction, set_aside, peer, body.at)?;
            }
            read_newest(transaction)
        })?;
        self.newest = newest;
        let heads = body.appends.iter().map(|append| (append.document, append.heads.clone()));
        self.heads.extend(heads);
        Ok(())
    }

    /// What the engine finds wrong with its own pages and indexes; reads all of them.
    pub(crate) fn pages(&self) -> Result<Vec<String>, StoreError> {
        let engine = |source| self.error(source);
        let mut check = self.connection.prepare("PRAGMA integrity_check(20)").map_err(engine)?;
        let rows = check.query_map([], |row| row.get(0)).map_err(engine)?;
        let said: Vec<String> = rows.collect::<rusqlite::Result<_>>().map_err(engine)?;
        Ok(said.into_iter().filter(|line| line != "ok").collect())
    }

    /// Documents that have changes and no heads.
    pub(crate) fn without_heads(&self) -> Result<Vec<DocumentId>, StoreError> {
        let sql = "SELECT DISTINCT document FROM change \
                   WHERE document NOT IN (SELECT id FROM document)";
        let engine = |source| self.error(source);
        let mut select = self.connection.prepare(sql).map_err(engine)?;
        let rows = select.query_map([], |row| document_id(row, 0)).map_err(engine)?;
        rows.collect::<rusqlite::Result<_>>().map_err(engine)
    }

    /// How many changes are set aside.
    pub fn set_aside_count(&self) -> Result<u64, StoreError> {
        self.count("SELECT count(*) FROM set_aside")
    }

    /// Every change that is set aside, by document and hash.
    pub fn set_aside(&self) -> Result<Vec<SetAside>, StoreError> {
        let sql = "SELECT 0, document, hash, bytes, reason FROM set_aside \
                   ORDER BY document, hash";
        let engine = |source| self.error(source);
        let mut select = self.connection.prepare_cached(sql).map_err(engine)?;
        let mut rows = select.query([]).map_err(engine)?;
        let mut found = Vec::new();
        while let Some(row) = rows.next().map_err(engine)? {
            let (_, entry) = self.read_entry(row)?;
            found.push(SetAside { entry, reason: row.get(4).map_err(engine)? });
        }
        Ok(found)
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

    /// A row that starts with position, document, hash and bytes, which must fit each other.
    fn read_entry(&self, row: &Row<'_>) -> Result<(u64, LogEntry), StoreError> {
        let read = || {
            let bytes = row.get_ref(3)?.as_blob()?;
            Ok((position(row, 0)?, document_id(row, 1)?, ChangeHash(row.get(2)?), bytes))
        };
        let (position, document, hash, bytes) = read().map_err(|source| self.error(source))?;
        let rotten = |found| {
            let path = self.path.clone();
            StoreError::Rotten { path, document, position, found }
        };
        let change = Change::try_from(bytes).map_err(|error| rotten(error.to_string()))?;
        // The chunk's own checksum is outside of what is hashed.
        if change.hash() != hash || bytes.get(4..8) != Some(&hash.0[..4]) {
            let found = format!("it hashes to {}, and {hash} was stored", change.hash());
            return Err(rotten(found));
        }
        Ok((position, LogEntry { document, change }))
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

fn read_newest(connection: &Connection) -> rusqlite::Result<Mark> {
    let mut select = connection
        .prepare_cached("SELECT position, hash FROM change ORDER BY position DESC LIMIT 1")?;
    let newest = select.query_row([], |row| read_mark(row, 0)).optional()?;
    Ok(newest.unwrap_or(Mark::START))
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
) -> rusqlite::Result<()> {
    let document = append.document.to_bytes();
    let mut insert = transaction.prepare_cached(
        "INSERT INTO change (document, hash, bytes, from_peer) VALUES (?1, ?2, ?3, ?4)",
    )?;
    // A change that finds its place after all is no longer set aside.
    let mut settle =
        transaction.prepare_cached("DELETE FROM set_aside WHERE document = ?1 AND hash = ?2")?;
    for entry in &append.entries {
        let hash = entry.change.hash().0;
        insert.execute(params![document, hash, entry.change.raw_bytes(), from_peer])?;
        if from_peer.is_some() {
            settle.execute(params![document, hash])?;
        }
    }
    let heads: Vec<u8> = append.heads.iter().flat_map(|hash| hash.0).collect();
    let sql = "INSERT INTO document (id, heads) VALUES (?1, ?2) \
               ON CONFLICT (id) DO UPDATE SET heads = excluded.heads";
    transaction.prepare_cached(sql)?.execute(params![document, heads]).map(drop)
}

fn insert_set_aside(
    transaction: &Transaction<'_>,
    set_aside: &SetAside,
    peer: i64,
    at: Timestamp,
) -> rusqlite::Result<()> {
    let SetAside { entry, reason } = set_aside;
    let (document, change) = (entry.document.to_bytes(), &entry.change);
    let sql = "INSERT INTO set_aside (document, hash, bytes, reason, at_ms, from_peer) \
               VALUES (?1, ?2, ?3, ?4, ?5, ?6) ON CONFLICT (document, hash) DO NOTHING";
    let values = params![document, change.hash().0, change.raw_bytes(), reason, at.unix_ms(), peer];
    transaction.prepare_cached(sql)?.execute(values).map(drop)
}

pub(super) fn read_mark(row: &Row<'_>, column: usize) -> rusqlite::Result<Mark> {
    Ok(Mark { position: position(row, column)?, hash: row.get(column + 1)? })
}

fn document_id(row: &Row<'_>, column: usize) -> rusqlite::Result<DocumentId> {
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
