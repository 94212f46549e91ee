//! Where a store's files lie: on the system's disk, or on one that a test can break.
//!
//! The engine reads and writes its files itself; here is the little that is done to them beside
//! it. The lock on the folder is not here: it stays on the system's disk, also in tests.

use std::fmt::Debug;
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

/// A disk. Every call but [`Disk::read`] changes names, and none of them file contents.
pub trait Disk: Debug + Send + Sync {
    /// The engine's name for it; none for the engine's own.
    fn engine(&self) -> Option<&str>;
    /// The first bytes of a file, at most so many.
    fn read(&self, path: &Path, most: usize) -> io::Result<Vec<u8>>;
    /// Takes a file away.
    fn remove(&self, path: &Path) -> io::Result<()>;
    /// Gives a file another name, in place of what had it.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;
    /// Makes the names in a folder durable: a new name is only as durable as its folder.
    fn folder_sync(&self, dir: &Path) -> io::Result<()>;
}

/// The disk the system has.
#[derive(Clone, Copy, Debug)]
pub struct SystemDisk;

impl Disk for SystemDisk {
    fn engine(&self) -> Option<&str> {
        None
    }

    fn read(&self, path: &Path, most: usize) -> io::Result<Vec<u8>> {
        let mut bytes = Vec::new();
        File::open(path)?.take(most as u64).read_to_end(&mut bytes)?;
        Ok(bytes)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        std::fs::remove_file(path)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        std::fs::rename(from, to)
    }

    fn folder_sync(&self, dir: &Path) -> io::Result<()> {
        File::open(dir)?.sync_all()
    }
}
