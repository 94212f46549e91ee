//! Where whole content lies: in the folder beside the store, or in a bucket ([`super::bucket`]).
//!
//! In: a whole file whose bytes were checked, and its hash. Out: what lies under a hash, as it lies
//! (encrypted where the node's files are), at any byte. Nothing here checks or decrypts: whoever
//! reads compares the hash, wherever the bytes come from.

use std::fmt::Debug;
use std::fs::File;
use std::io::{self, Read, Seek};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::bucket::BucketFault;
use super::files::Files;
use super::{AttachmentError, ContentHash};

/// What lies under a hash: read from its start, or from any byte.
pub(crate) trait Lies: Read + Seek + Send {}

impl<T: Read + Seek + Send> Lies for T {}

/// A place where whole content lies.
pub(crate) trait Shelf: Debug + Send + Sync {
    /// Takes a whole file from where it became whole. When this returns the content is durable
    /// here under its hash, and the file is gone; where it fails the file is where it was.
    fn take(&self, from: &Path, hash: ContentHash) -> Result<(), AttachmentError>;

    /// Makes durable what is here whole: a fault may have come in between when it was taken.
    fn settle(&self, hash: ContentHash) -> Result<(), AttachmentError>;

    /// What lies under a hash.
    fn open(&self, hash: ContentHash) -> Result<Box<dyn Lies>, AttachmentError>;

    /// Whether something lies under a hash. Not checked: that costs reading it.
    fn has(&self, hash: ContentHash) -> Result<bool, AttachmentError>;

    /// Every hash something lies under, with the length of what lies there.
    fn all(&self) -> Result<Vec<(ContentHash, u64)>, AttachmentError>;

    /// How many there are and their bytes, as far as this process knows without asking others.
    fn held(&self) -> Result<(u64, u64), AttachmentError>;
}

/// The folder: `ab/abcdef…`, 64 digits.
#[derive(Clone, Debug)]
pub(super) struct Folder {
    pub(super) dir: PathBuf,
    pub(super) files: Arc<dyn Files>,
}

impl Folder {
    pub(super) fn path(&self, hash: ContentHash) -> PathBuf {
        let name = hash.to_string();
        self.dir.join(&name[..2]).join(&name)
    }

    /// Makes a file's name durable, and those of the folders it is in.
    fn settle_name(&self, file: &Path) -> io::Result<()> {
        file.ancestors().skip(1).take(3).try_for_each(|folder| self.files.sync_folder(folder))
    }
}

impl Shelf for Folder {
    /// Its bytes first, then its name, then the folder's.
    fn take(&self, from: &Path, hash: ContentHash) -> Result<(), AttachmentError> {
        let to = self.path(hash);
        let folder = to.parent().expect("it is in a folder of its own");
        let files = &self.files;
        let steps = files
            .sync(from)
            .and_then(|()| files.make_folder(folder))
            .and_then(|()| files.rename(from, &to))
            .and_then(|()| self.settle_name(&to));
        steps.map_err(|error| failed(&to, error))
    }

    fn settle(&self, hash: ContentHash) -> Result<(), AttachmentError> {
        let path = self.path(hash);
        let settled = self.files.sync(&path).and_then(|()| self.settle_name(&path));
        settled.map_err(|error| failed(&path, error))
    }

    fn open(&self, hash: ContentHash) -> Result<Box<dyn Lies>, AttachmentError> {
        let path = self.path(hash);
        match File::open(&path) {
            Ok(file) => Ok(Box::new(file)),
            Err(error) => Err(failed(&path, error)),
        }
    }

    fn has(&self, hash: ContentHash) -> Result<bool, AttachmentError> {
        Ok(self.path(hash).is_file())
    }

    fn all(&self) -> Result<Vec<(ContentHash, u64)>, AttachmentError> {
        let mut all = Vec::new();
        for folder in listed(&self.dir)? {
            for file in listed(&folder)? {
                let name = file.file_name().and_then(|name| name.to_str());
                let Some(hash) = name.and_then(|name| name.parse().ok()) else { continue };
                if file == self.path(hash) {
                    let found = file.metadata().map_err(|error| failed(&file, error))?;
                    all.push((hash, found.len()));
                }
            }
        }
        Ok(all)
    }

    fn held(&self) -> Result<(u64, u64), AttachmentError> {
        let all = self.all()?;
        Ok((all.len() as u64, all.iter().map(|(_, length)| length).sum()))
    }
}

/// What is in a folder; nothing where it is none.
pub(super) fn listed(folder: &Path) -> Result<Vec<PathBuf>, AttachmentError> {
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error)
            if [io::ErrorKind::NotFound, io::ErrorKind::NotADirectory].contains(&error.kind()) =>
        {
            return Ok(Vec::new());
        }
        Err(error) => return Err(failed(folder, error)),
    };
    let paths = entries.map(|entry| entry.map(|entry| entry.path()));
    paths.collect::<io::Result<_>>().map_err(|error| failed(folder, error))
}

/// What a failed call on a file, or on what lies elsewhere, comes to.
pub(super) fn failed(path: &Path, source: io::Error) -> AttachmentError {
    let path = path.to_owned();
    match source.downcast::<BucketFault>() {
        Ok(fault) => AttachmentError::Bucket(fault),
        Err(source) => match source.kind() {
            io::ErrorKind::NotFound => AttachmentError::Absent,
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
                AttachmentError::Full { path }
            }
            _ => AttachmentError::File { path, source },
        },
    }
}
