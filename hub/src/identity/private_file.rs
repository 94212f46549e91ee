//! A file that only its owner can read.
//!
//! In: a path and bytes. Out: the file, whole or absent: it is made beside its place and moved
//! there, durably. What an earlier try left beside it is taken away first.

use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Result, Write};
use std::path::{Path, PathBuf};

/// Writes it, in place of what is there.
pub(crate) fn write(path: &Path, bytes: &[u8]) -> Result<()> {
    let mut unfinished = path.as_os_str().to_owned();
    unfinished.push(".new");
    let unfinished = PathBuf::from(unfinished);
    match std::fs::remove_file(&unfinished) {
        Err(error) if error.kind() != ErrorKind::NotFound => return Err(error),
        _ => {}
    }
    let mut options = OpenOptions::new();
    options.create_new(true).write(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt;
        options.mode(0o600);
    }
    let mut file = options.open(&unfinished)?;
    file.write_all(bytes)?;
    file.sync_all()?;
    std::fs::rename(&unfinished, path)?;
    match path.parent() {
        Some(folder) => File::open(folder)?.sync_all(),
        None => Ok(()),
    }
}
