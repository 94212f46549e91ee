//! A copy of a store in one file, made while the store is in use, a store made from a copy, and one
//! written anew under other keys.
//!
//! In: a folder and a file. Out: the same, whole or absent: a copy gets its name only when every
//! page of it was read again and it is on disk. Never writes into the store it copies, and never
//! over a file that is there. A store made from a copy gets an id of its own, so that every node it
//! meets knows that it may have lost what it once had.

use std::fs::File;
use std::io::Read;
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};

use rusqlite::config::DbConfig;
use rusqlite::types::{ToSqlOutput, ValueRef};
use rusqlite::{Connection, OpenFlags, ToSql, params};

use super::OpenError;
use super::disk::{Disk, SystemDisk};
use super::open::{
    Opened, bring_up, check, connect, engine_error, file, file_error, here, lock, open,
    recognise_file, version,
};
use super::seal::{self, Sealed};
use crate::at_rest::Keys;
use crate::log::StoreId;

/// Why a copy could not be made or used. What is there is as it was.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// The place is taken.
    #[error("{path} is there already", path = path.display())]
    Taken {
        /// The file.
        path: PathBuf,
    },
    /// The store or the copy cannot be opened, read or written.
    #[error(transparent)]
    Open(#[from] OpenError),
}

impl BackupError {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::Taken { .. } => "name a file or folder that is not there yet",
            Self::Open(error) => error.help(),
        }
    }
}

/// Copies the store in `dir` into the file `to`, also while a node has it open. The copy of an
/// encrypted store is encrypted with the same keys.
pub fn backup(dir: &Path, to: &Path, keys: Option<&Keys>) -> Result<(), BackupError> {
    here(dir)?;
    let from = file(dir);
    recognise_file(&from, keys)?;
    let unfinished = unfinished(to)?;
    let connection = existing(&from, keys)?;
    version(&connection, &from)?;
    let copied = connection
        .execute("VACUUM INTO ?1", [Name(&unfinished)])
        .map_err(|source| engine_error(&unfinished, source).into())
        .and_then(|_| finish(&unfinished, to, keys));
    if copied.is_err() {
        // What could not be finished is of no use to anybody; the reason is told either way.
        drop(std::fs::remove_file(&unfinished));
    }
    copied
}

/// A file's name as the engine takes it: its bytes, which need not be text.
struct Name<'a>(&'a Path);

impl ToSql for Name<'_> {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(ToSqlOutput::Borrowed(ValueRef::Text(self.0.as_os_str().as_bytes())))
    }
}

/// Makes a store in `dir`, which must hold none, from a copy.
pub fn restore(copy: &Path, dir: &Path, keys: Option<&Keys>) -> Result<(), BackupError> {
    recognise_file(copy, keys)?;
    whole(copy, keys)?;
    std::fs::create_dir_all(dir).map_err(|source| file_error(dir, source))?;
    let _lock = lock(dir)?;
    let to = file(dir);
    let unfinished = unfinished(&to)?;
    std::fs::copy(copy, &unfinished).map_err(|source| file_error(&unfinished, source))?;
    let mut connection = existing(&unfinished, keys)?;
    bring_up(&mut connection, &unfinished)?;
    let store = StoreId::fresh().to_string();
    connection
        .execute("UPDATE setting SET value = ?1 WHERE key = 'store'", [store])
        .and_then(|_| seal::renew(&connection, Sealed::Settings))
        .and_then(|()| connection.pragma_update(None, "journal_mode", "WAL"))
        .map_err(|source| engine_error(&unfinished, source))?;
    connection.close().map_err(|(_, source)| engine_error(&unfinished, source))?;
    finish(&unfinished, &to, keys)
}

/// Writes what the store in `dir` holds into the file `to`, which is not there, under other keys.
/// When this returns it was read again with them and is on disk. Gives the lock on the folder, for
/// whoever puts the new file in place of the old one.
pub(crate) fn under_other_keys(
    dir: &Path,
    from: Option<&Keys>,
    to: &Path,
    keys: Option<&Keys>,
) -> Result<File, OpenError> {
    let Opened { connection, path, lock } = open(dir, &SystemDisk, from)?;
    // The engine makes no file where the store had to be there.
    File::create_new(to).map_err(|source| file_error(to, source))?;
    export(&connection, to, keys).map_err(|source| engine_error(to, source))?;
    connection.close().map_err(|(_, source)| engine_error(&path, source))?;
    let mut copy = existing(to, keys)?;
    bring_up(&mut copy, to)?;
    copy.pragma_update(None, "journal_mode", "WAL").map_err(|source| engine_error(to, source))?;
    copy.close().map_err(|(_, source)| engine_error(to, source))?;
    File::open(to).and_then(|file| file.sync_all()).map_err(|source| file_error(to, source))?;
    Ok(lock)
}

fn export(connection: &Connection, to: &Path, keys: Option<&Keys>) -> rusqlite::Result<()> {
    // It writes the new file's schema row by row, which this mode forbids.
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_DEFENSIVE, false)?;
    let key = keys.map(Keys::of_pages).unwrap_or_default();
    connection.execute("ATTACH DATABASE ?1 AS other KEY ?2", params![Name(to), *key])?;
    connection.query_row("SELECT sqlcipher_export('other')", [], |_| Ok(()))?;
    for mark in ["application_id", "user_version"] {
        let value: u32 = connection.pragma_query_value(None, mark, |row| row.get(0))?;
        connection.pragma_update(Some("other"), mark, value)?;
    }
    connection.execute("DETACH DATABASE other", []).map(drop)
}

/// The header says how many pages there are (file format, offsets 16 and 28): the engine itself
/// takes a file that ends early for one with an empty end.
fn whole(copy: &Path, keys: Option<&Keys>) -> Result<(), OpenError> {
    if keys.is_some() {
        return whole_encrypted(copy, keys);
    }
    let mut header = [0; 32];
    let length = File::open(copy)
        .and_then(|mut file| {
            file.read_exact(&mut header)?;
            file.metadata()
        })
        .map_err(|source| file_error(copy, source))?
        .len();
    let page = match u16::from_be_bytes([header[16], header[17]]) {
        1 => 65_536,
        size => u64::from(size),
    };
    let pages = u32::from_be_bytes([header[28], header[29], header[30], header[31]]);
    of_length(copy, length, page * u64::from(pages))
}

/// The same where only the engine can read the header.
fn whole_encrypted(copy: &Path, keys: Option<&Keys>) -> Result<(), OpenError> {
    let length = std::fs::metadata(copy).map_err(|source| file_error(copy, source))?.len();
    let connection = connect(copy, OpenFlags::SQLITE_OPEN_READ_ONLY, &SystemDisk, keys)?;
    let engine = |source| engine_error(copy, source);
    // It gives the size of a page as text.
    let page: String = connection
        .pragma_query_value(None, "cipher_page_size", |row| row.get(0))
        .map_err(engine)?;
    let pages: u32 =
        connection.pragma_query_value(None, "page_count", |row| row.get(0)).map_err(engine)?;
    let wanted = page.parse::<u64>().unwrap_or(0) * u64::from(pages);
    of_length(copy, length, wanted)
}

fn of_length(copy: &Path, length: u64, wanted: u64) -> Result<(), OpenError> {
    if length == wanted {
        return Ok(());
    }
    let found = format!("it has {length} bytes and should have {wanted}");
    Err(OpenError::Damaged { path: copy.to_owned(), found })
}

/// The name a copy has until it is whole. What an earlier try left there is taken away.
fn unfinished(to: &Path) -> Result<PathBuf, BackupError> {
    if to.exists() {
        return Err(BackupError::Taken { path: to.to_owned() });
    }
    let mut name = to.as_os_str().to_owned();
    name.push(".unfinished");
    let unfinished = PathBuf::from(name);
    match std::fs::remove_file(&unfinished) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
            Err(file_error(&unfinished, error).into())
        }
        _ => Ok(unfinished),
    }
}

fn existing(path: &Path, keys: Option<&Keys>) -> Result<Connection, OpenError> {
    connect(path, OpenFlags::SQLITE_OPEN_READ_WRITE, &SystemDisk, keys)
}

/// Reads every page of the copy, puts it on disk and gives it its name.
fn finish(unfinished: &Path, to: &Path, keys: Option<&Keys>) -> Result<(), BackupError> {
    let copy = existing(unfinished, keys)?;
    check(&copy, unfinished)?;
    version(&copy, unfinished)?;
    copy.close().map_err(|(_, source)| engine_error(unfinished, source))?;
    File::open(unfinished)
        .and_then(|file| file.sync_all())
        .and_then(|()| std::fs::rename(unfinished, to))
        .map_err(|source| file_error(to, source))?;
    let folder = to.parent().filter(|folder| !folder.as_os_str().is_empty());
    let folder = folder.unwrap_or(Path::new("."));
    Ok(SystemDisk.folder_sync(folder).map_err(|source| file_error(folder, source))?)
}

#[cfg(test)]
#[path = "backup_tests.rs"]
mod tests;
