//! Where a folder's store is: in it, or in a database that the file `store.toml` in it names.
//!
//! In: a folder. Out: its store, opened. The file may hold a password: it is refused where others
//! can read it, and what it says is shown nowhere.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::sqlite::file;
use super::{Disk, OpenError, Postgres, Sqlite, Store};
use crate::at_rest::Keys;
use crate::identity::private_file;

/// The file in a node's folder that says that its store is not there.
pub const POINTER: &str = "store.toml";

/// What such a file says.
#[derive(Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Elsewhere {
    /// The address of a PostgreSQL database.
    postgres: String,
}

impl Elsewhere {
    /// A store in PostgreSQL.
    pub fn postgres(url: String) -> Self {
        Self { postgres: url }
    }

    /// What a folder says of its store; none where the store is in it.
    pub fn of(dir: &Path) -> Result<Option<Self>, OpenError> {
        let path = path(dir);
        if !path.exists() {
            return Ok(None);
        }
        let wrong = |found: String| OpenError::Pointer { path: path.clone(), found };
        if read_by_others(&path).map_err(|error| wrong(error.to_string()))? {
            return Err(wrong("it can be read by others than its owner".to_owned()));
        }
        let text = std::fs::read_to_string(&path).map_err(|error| wrong(error.to_string()))?;
        let said: Self =
            toml::from_str(&text).map_err(|error| wrong(error.message().to_owned()))?;
        Ok(Some(said))
    }

    /// Says it in a folder.
    pub fn keep(&self, dir: &Path) -> Result<(), OpenError> {
        let path = path(dir);
        let text = toml::to_string(self).expect("one text");
        private_file::write(&path, text.as_bytes())
            .map_err(|error| OpenError::Pointer { path, found: error.to_string() })
    }
}

#[cfg(unix)]
fn read_by_others(path: &Path) -> std::io::Result<bool> {
    use std::os::unix::fs::PermissionsExt;
    Ok(std::fs::metadata(path)?.permissions().mode() & 0o077 != 0)
}

#[cfg(not(unix))]
fn read_by_others(_: &Path) -> std::io::Result<bool> {
    Ok(false)
}

fn path(dir: &Path) -> PathBuf {
    dir.join(POINTER)
}

/// A folder must have a store, in it or elsewhere.
pub(crate) fn demand(dir: &Path) -> Result<(), OpenError> {
    match file(dir).is_file() || path(dir).is_file() {
        true => Ok(()),
        false => Err(OpenError::Absent { dir: dir.to_owned() }),
    }
}

/// A folder must have a store in it, for what works on its file.
pub(crate) fn demand_file(dir: &Path) -> Result<(), OpenError> {
    match path(dir).exists() {
        true => Err(OpenError::Elsewhere { dir: dir.to_owned() }),
        false => demand(dir),
    }
}

/// Opens the store of a folder, and makes it first where there is none.
pub(crate) fn open(
    dir: &Path,
    disk: &dyn Disk,
    keys: Option<&Keys>,
) -> Result<Box<dyn Store>, OpenError> {
    match Elsewhere::of(dir)? {
        None => Ok(Box::new(Sqlite::open_on(dir, disk, keys)?)),
        Some(_) if keys.is_some() => {
            let found = "the folder is encrypted and the database is not".to_owned();
            Err(OpenError::Pointer { path: path(dir), found })
        }
        Some(Elsewhere { postgres }) => Ok(Box::new(Postgres::open(dir, &postgres)?)),
    }
}
