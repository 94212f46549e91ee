//! A file that only its owner can read, closed with the folder's keys where it is encrypted.
//!
//! In: a path and bytes. Out: the file, whole or absent: it is made beside its place and moved
//! there, durably. What an earlier try left beside it is taken away first.

use std::fs::{File, OpenOptions};
use std::io::{Error, ErrorKind, Read, Result, Write};
use std::path::{Path, PathBuf};

use zeroize::Zeroizing;

use crate::at_rest::Keys;

/// No secret file is longer.
const LENGTH_MAX: u64 = 16 * 1024;

/// Writes a secret, in place of what is there.
pub(crate) fn keep(path: &Path, secret: &[u8], keys: Option<&Keys>) -> Result<()> {
    match keys {
        None => write(path, secret),
        Some(keys) => {
            let closed = keys.close_secret(name_of(path), secret).map_err(Error::other)?;
            write(path, closed.as_bytes())
        }
    }
}

/// What [`keep`] kept there. Invalid data where it was not kept with these keys, or was changed.
pub(crate) fn kept(file: File, path: &Path, keys: Option<&Keys>) -> Result<Zeroizing<Vec<u8>>> {
    let mut bytes = Zeroizing::new(Vec::new());
    file.take(LENGTH_MAX).read_to_end(&mut bytes)?;
    let Some(keys) = keys else { return Ok(bytes) };
    let opened =
        std::str::from_utf8(&bytes).ok().and_then(|text| keys.open_secret(name_of(path), text));
    opened.ok_or_else(|| {
        Error::new(ErrorKind::InvalidData, "it is not closed with the keys of its folder")
    })
}

fn name_of(path: &Path) -> &str {
    path.file_name().and_then(|name| name.to_str()).unwrap_or_default()
}

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
