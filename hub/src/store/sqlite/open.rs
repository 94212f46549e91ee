//! Opening a store: whose file it is, one process at a time, made whole or not at all.
//!
//! In: a folder. Out: a connection to `node.sqlite` in it, of the current version and checked, and
//! the lock that keeps every other process out. A file that is not ours is recognised by its first
//! 100 bytes, before the engine sees it, so that nothing of it can be changed; where the folder is
//! encrypted those bytes say nothing, and the engine reads what they say.

use std::fs::{File, OpenOptions, TryLockError};
use std::path::{Path, PathBuf};

use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags, params};

use super::disk::{Disk, SystemDisk};
use super::seal::{self, Sealed};
use super::wal;
use super::{OpenError, POINTER};
use crate::at_rest::Keys;
use crate::log::{NodeId, StoreId};

/// "Guyl", where SQLite keeps whose file it is.
const APPLICATION_ID: u32 = 0x4775_796c;

/// Every version's step from the one before. Steps are added, never edited.
const MIGRATIONS: [&str; 7] = [
    include_str!("../../../migrations/sqlite/0001-log.sql"),
    include_str!("../../../migrations/sqlite/0002-saved.sql"),
    include_str!("../../../migrations/sqlite/0003-authors.sql"),
    include_str!("../../../migrations/sqlite/0004-arrivals.sql"),
    include_str!("../../../migrations/sqlite/0005-parts.sql"),
    include_str!("../../../migrations/sqlite/0006-smaller-rows.sql"),
    include_str!("../../../migrations/sqlite/0007-stretches.sql"),
];

/// So many bytes of a file say whose it is.
const HEAD: usize = 100;

/// The version this program writes.
const VERSION: u32 = MIGRATIONS.len() as u32;

/// An opened store file, and the lock on its folder.
pub(super) struct Opened {
    pub(super) connection: Connection,
    pub(super) path: PathBuf,
    pub(super) lock: File,
}

/// The file of the store in a folder.
pub(crate) fn file(dir: &Path) -> PathBuf {
    dir.join("node.sqlite")
}

/// Opens the store in `dir` on a disk, with the folder's keys where it is encrypted, and makes it
/// first where there is none.
pub(super) fn open(dir: &Path, disk: &dyn Disk, keys: Option<&Keys>) -> Result<Opened, OpenError> {
    std::fs::create_dir_all(dir).map_err(|source| file_error(dir, source))?;
    let lock = lock(dir)?;
    let path = file(dir);
    match disk.read(&path, HEAD) {
        Ok(head) => recognise(&path, &head, keys)?,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            make(dir, &path, disk, keys)?;
        }
        Err(source) => return Err(file_error(&path, source)),
    }
    let frames = look_at_log(&path, disk)?;
    let mut connection = connect(&path, OpenFlags::SQLITE_OPEN_READ_WRITE, disk, keys)?;
    log_is_read(&connection, &path, frames)?;
    bring_up(&mut connection, &path)?;
    connection
        .set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, false)
        .map_err(|source| engine_error(&path, source))?;
    Ok(Opened { connection, path, lock })
}

/// Looks a store through and makes it one of the current version.
pub(super) fn bring_up(connection: &mut Connection, path: &Path) -> Result<(), OpenError> {
    check(connection, path)?;
    let found = version(connection, path)?;
    migrate(connection, found).map_err(|source| engine_error(path, source))?;
    sealed(connection, path)
}

/// How much of the engine's log counts, where there is one.
fn look_at_log(path: &Path, disk: &dyn Disk) -> Result<u64, OpenError> {
    let mut log = path.as_os_str().to_owned();
    log.push("-wal");
    let log = PathBuf::from(log);
    let bytes = match disk.read(&log, usize::MAX) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(0),
        Err(source) => return Err(file_error(&log, source)),
    };
    match wal::look(&bytes) {
        wal::Found::Whole { frames } => Ok(frames),
        wal::Found::Damaged { what } => {
            Err(OpenError::Damaged { path: path.to_owned(), found: what })
        }
    }
}

/// Whether the engine found as much in its log as is there. Until all is known to be well the log
/// must not go: closing would move what was found into the file, and take the log away.
fn log_is_read(connection: &Connection, path: &Path, frames: u64) -> Result<(), OpenError> {
    let look = || -> rusqlite::Result<i64> {
        connection.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, frames > 0)?;
        connection.query_row("SELECT count(*) FROM sqlite_schema", [], |_| Ok(()))?;
        let sql = "PRAGMA wal_checkpoint(NOOP)";
        connection.query_row(sql, [], |row| row.get(1))
    };
    let found = look().map_err(|source| engine_error(path, source))?;
    // −1 where there is no log.
    if u64::try_from(found).unwrap_or(0) != frames {
        let found = format!("{frames} frames are in its log, and {found} were read");
        return Err(OpenError::Damaged { path: path.to_owned(), found });
    }
    Ok(())
}

/// Whether the tables, and the settings, which say whose store it is, are what was written.
fn sealed(connection: &Connection, path: &Path) -> Result<(), OpenError> {
    for table in [Sealed::Schema, Sealed::Settings] {
        let holds = seal::holds(connection, table).map_err(|source| engine_error(path, source))?;
        if !holds {
            let found = table.damage().to_owned();
            return Err(OpenError::Damaged { path: path.to_owned(), found });
        }
    }
    Ok(())
}

/// The store must be in its folder, and not said to be elsewhere.
pub(super) fn here(dir: &Path) -> Result<(), OpenError> {
    match dir.join(POINTER).exists() {
        true => Err(OpenError::Elsewhere { dir: dir.to_owned() }),
        false => Ok(()),
    }
}

/// Takes a store's folder for this process.
pub(crate) fn lock(dir: &Path) -> Result<File, OpenError> {
    here(dir)?;
    lock_for(dir)
}

/// Takes a folder for this process, wherever its store is.
pub(in crate::store) fn lock_for(dir: &Path) -> Result<File, OpenError> {
    std::fs::create_dir_all(dir).map_err(|source| file_error(dir, source))?;
    let path = dir.join("node.lock");
    let file = OpenOptions::new()
        .create(true)
        .truncate(false)
        .write(true)
        .open(&path)
        .map_err(|source| file_error(&path, source))?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(OpenError::InUse { dir: dir.to_owned() }),
        Err(TryLockError::Error(source)) => Err(file_error(&path, source)),
    }
}

/// What is wrong with a file on the system's disk, by its first bytes.
pub(super) fn recognise_file(path: &Path, keys: Option<&Keys>) -> Result<(), OpenError> {
    let head = SystemDisk.read(path, HEAD).map_err(|source| file_error(path, source))?;
    recognise(path, &head, keys)
}

/// Reads the engine's file header: magic at 0, version at 60, application id at 68.
fn recognise(path: &Path, header: &[u8], keys: Option<&Keys>) -> Result<(), OpenError> {
    let foreign = |found: String| OpenError::Foreign { path: path.to_owned(), found };
    if header.is_empty() {
        return Err(foreign("an empty file".to_owned()));
    }
    let is_plain = header.starts_with(b"SQLite format 3\0");
    match (is_plain, keys) {
        (true, Some(_)) => {
            return Err(foreign("a store that is not encrypted, in a folder that is".to_owned()));
        }
        // Nothing of it can be told apart from noise.
        (false, Some(_)) => return Ok(()),
        (_, None) => {}
    }
    if !is_plain {
        let start: Vec<u8> = header.iter().copied().take(8).collect();
        return Err(foreign(format!("a file that starts with {start:02x?}")));
    }
    let Some(whole) = header.first_chunk::<100>() else {
        let found = format!("it ends after {} bytes", header.len());
        return Err(OpenError::Damaged { path: path.to_owned(), found });
    };
    let number = |at: usize| u32::from_be_bytes([0, 1, 2, 3].map(|byte| whole[at + byte]));
    if number(68) != APPLICATION_ID {
        return Err(foreign(format!("a database of another program (mark {:#010x})", number(68))));
    }
    not_newer(path, number(60))
}

fn not_newer(path: &Path, found: u32) -> Result<(), OpenError> {
    if found > VERSION {
        return Err(OpenError::Newer { path: path.to_owned(), found, known: VERSION });
    }
    Ok(())
}

/// Makes the store beside its place and moves it there, so that it is whole or absent.
fn make(dir: &Path, path: &Path, disk: &dyn Disk, keys: Option<&Keys>) -> Result<(), OpenError> {
    let unfinished = dir.join("node.sqlite.new");
    for left_over in ["node.sqlite.new", "node.sqlite.new-journal", "node.sqlite.new-wal"] {
        match disk.remove(&dir.join(left_over)) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                return Err(file_error(&dir.join(left_over), error));
            }
            _ => {}
        }
    }
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE;
    let mut connection = connect(&unfinished, flags, disk, keys)?;
    fill(&mut connection).map_err(|source| engine_error(&unfinished, source))?;
    connection.close().map_err(|(_, source)| engine_error(&unfinished, source))?;
    disk.rename(&unfinished, path).map_err(|source| file_error(path, source))?;
    disk.folder_sync(dir).map_err(|source| file_error(dir, source))
}

fn fill(connection: &mut Connection) -> rusqlite::Result<()> {
    migrate(connection, 0)?;
    let node = NodeId::fresh();
    let name = format!("node {}", &node.to_string()[..4]);
    let mut insert = connection.prepare("INSERT INTO setting (key, value) VALUES (?1, ?2)")?;
    insert.execute(params!["node", node.to_string()])?;
    insert.execute(params!["store", StoreId::fresh().to_string()])?;
    insert.execute(params!["name", name])?;
    drop(insert);
    seal::renew(connection, Sealed::Settings)?;
    // After the first content, so that the file itself says whose it is from the start.
    connection.pragma_update(None, "journal_mode", "WAL")
}

fn migrate(connection: &mut Connection, from: u32) -> rusqlite::Result<()> {
    if from == VERSION {
        return Ok(());
    }
    let transaction = connection.transaction()?;
    for step in &MIGRATIONS[from as usize..] {
        transaction.execute_batch(step)?;
    }
    for table in Sealed::ALL {
        seal::renew(&transaction, table)?;
    }
    transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
    transaction.pragma_update(None, "user_version", VERSION)?;
    transaction.commit()
}

pub(super) fn connect(
    path: &Path,
    flags: OpenFlags,
    disk: &dyn Disk,
    keys: Option<&Keys>,
) -> Result<Connection, OpenError> {
    let flags = flags | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let opened = match disk.engine() {
        Some(engine) => Connection::open_with_flags_and_vfs(path, flags, engine),
        None => Connection::open_with_flags(path, flags),
    };
    let connection = opened.map_err(|source| engine_error(path, source))?;
    if let Some(keys) = keys {
        // Before anything else: the engine reads the first page with it.
        connection
            .pragma_update(None, "key", &*keys.of_pages())
            .map_err(|source| engine_error(path, source))?;
    }
    configure(&connection).map_err(|source| engine_error(path, source))?;
    Ok(connection)
}

fn configure(connection: &Connection) -> rusqlite::Result<()> {
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_DEFENSIVE, true)?;
    connection.pragma_update(None, "trusted_schema", "OFF")?;
    connection.pragma_update(None, "cell_size_check", "ON")?;
    connection.pragma_update(None, "foreign_keys", "ON")?;
    // FULL: NORMAL loses acknowledged commits at a power cut.
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.busy_timeout(std::time::Duration::from_secs(5))
}

/// Whether every page and row can be read. Reads the whole file once.
pub(super) fn check(connection: &Connection, path: &Path) -> Result<(), OpenError> {
    let answer: String = connection
        .query_row("PRAGMA quick_check(1)", [], |row| row.get(0))
        .map_err(|source| engine_error(path, source))?;
    if answer == "ok" {
        return Ok(());
    }
    Err(OpenError::Damaged { path: path.to_owned(), found: answer })
}

/// The version by the engine's word, which knows more than the file header where a log is open.
pub(super) fn version(connection: &Connection, path: &Path) -> Result<u32, OpenError> {
    let found: u32 = connection
        .pragma_query_value(None, "user_version", |row| row.get(0))
        .map_err(|source| engine_error(path, source))?;
    if found == 0 {
        let found = "it has no version".to_owned();
        return Err(OpenError::Damaged { path: path.to_owned(), found });
    }
    not_newer(path, found)?;
    Ok(found)
}

pub(super) fn file_error(path: &Path, source: std::io::Error) -> OpenError {
    OpenError::File { path: path.to_owned(), source }
}

pub(super) fn engine_error(path: &Path, source: rusqlite::Error) -> OpenError {
    use rusqlite::ErrorCode::{DatabaseCorrupt, NotADatabase};
    match source.sqlite_error_code() {
        Some(DatabaseCorrupt | NotADatabase) => {
            OpenError::Damaged { path: path.to_owned(), found: source.to_string() }
        }
        _ => OpenError::Engine { path: path.to_owned(), source },
    }
}

#[cfg(test)]
#[path = "open_tests.rs"]
mod tests;
