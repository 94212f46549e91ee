//! What is done to the files of attachments: the few calls a power cut can come between, so that a
//! test can stand in for the disk. Reading is not here: it changes nothing.

use std::fmt::Debug;
use std::fs::{File, OpenOptions};
use std::io::{self, Write as _};
use std::path::Path;

/// The calls that change something.
pub trait Files: Debug + Send + Sync {
    /// Makes a folder where there is none, also those above it.
    fn make_folder(&self, path: &Path) -> io::Result<()>;
    /// Puts bytes at the end of a file, which is made where there is none.
    fn append(&self, path: &Path, bytes: &[u8]) -> io::Result<()>;
    /// Makes a file's bytes durable.
    fn sync(&self, path: &Path) -> io::Result<()>;
    /// Gives a file another name, in place of what had it.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;
    /// Makes the names in a folder durable.
    fn sync_folder(&self, path: &Path) -> io::Result<()>;
    /// Takes a file away.
    fn remove(&self, path: &Path) -> io::Result<()>;
}

/// The system's own.
#[derive(Clone, Copy, Debug)]
pub struct SystemFiles;

impl Files for SystemFiles {
    fn make_folder(&self, path: &Path) -> io::Result<()> {
        std::fs::create_dir_all(path)
    }

    fn append(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        OpenOptions::new().create(true).append(true).open(path)?.write_all(bytes)
    }

    fn sync(&self, path: &Path) -> io::Result<()> {
        File::open(path)?.sync_all()
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        std::fs::rename(from, to)
    }

    fn sync_folder(&self, path: &Path) -> io::Result<()> {
        File::open(path)?.sync_all()
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        std::fs::remove_file(path)
    }
}
