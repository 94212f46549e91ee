//! The content of attachments: files beside the store, each under its own BLAKE3 hash.
//!
//! In: bytes of a kind that is taken. Out: the same bytes, checked against their hash on every
//! read. What was put here is on disk when the call returns, before any record may name it; what
//! comes from another device piece by piece stands apart until it is whole and its hash is right.
//! A file's name here is only ever made from a hash; no name from outside reaches the disk.
//!
//! Layout: `FOLDER/attachments/ab/abcdef…` (64 digits), and `arriving/abcdef…` for what is not
//! whole yet. Reading order: [`limits`] (what is taken), [`private`] (what is left out of a
//! photograph), here, [`renditions`] (smaller ones to look at).

pub mod files;
mod hash;
pub mod limits;
pub(crate) mod named;
pub mod private;
pub mod renditions;
pub mod upkeep;

use std::collections::BTreeSet;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::Semaphore;

use crate::at_rest::Keys;
use crate::at_rest::content::{ContentFile, Lying};
use files::{Files, SystemFiles};
pub use hash::{ContentHash, NotAHash};

/// So much is read at once.
const PIECE: usize = 64 * 1024;
/// So many are given something at once; others ask again.
const GIVEN_AT_ONCE: usize = 16;
const ARRIVING: &str = "arriving";
const UNFINISHED: &str = "unfinished";

/// Why content is not one that may be attached.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unfit {
    /// There is none.
    #[error("the file is empty")]
    Empty,
    /// None of the kinds that are taken.
    #[error("the file is none of: JPEG, PNG, PDF, WAV, Touchstone")]
    Unknown,
    /// It says that it is something else than it is.
    #[error("it is called {said}, and its content is {found}")]
    Otherwise {
        /// What was said.
        said: String,
        /// What it is.
        found: &'static str,
    },
    /// Longer than its kind may be.
    #[error("{length} bytes; {most} is the most of {kind}")]
    TooLong {
        /// The media type.
        kind: &'static str,
        /// Its length.
        length: u64,
        /// The most.
        most: u64,
    },
    /// More pixels than a device can draw.
    #[error("{width} by {height} pixels are more than can be drawn")]
    TooManyPixels {
        /// Across.
        width: u32,
        /// Down.
        height: u32,
    },
    /// Its kind is known and it cannot be read as such.
    #[error("the image cannot be read: {0}")]
    Unreadable(String),
}

/// Why content was not kept, or cannot be given. What was there is as it was.
#[derive(Debug, thiserror::Error)]
pub enum AttachmentError {
    /// It may not be attached.
    #[error(transparent)]
    Unfit(#[from] Unfit),
    /// All that may be kept is kept.
    #[error("attachments here would take {wanted} bytes, and {most} is the most")]
    NoRoom {
        /// With this one.
        wanted: u64,
        /// The most.
        most: u64,
    },
    /// It is not on this device.
    #[error("its content is not on this device")]
    Absent,
    /// It is, and it is not what it was.
    #[error("its content on this device is damaged: it does not give the hash it is kept under")]
    Damaged,
    /// What came from another device is something else than was named.
    #[error("what came is not what was named: {what}")]
    Foreign {
        /// How so.
        what: String,
    },
    /// The disk is full.
    #[error("{path}: the disk is full", path = path.display())]
    Full {
        /// The file.
        path: PathBuf,
    },
    /// A file cannot be used.
    #[error("{path} cannot be used: {source}", path = path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        #[source]
        source: io::Error,
    },
}

impl AttachmentError {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::Unfit(Unfit::TooLong { .. } | Unfit::TooManyPixels { .. }) => {
                "make it smaller, and attach that; nothing was recorded"
            }
            Self::Unfit(_) => {
                "attach a JPEG or PNG photograph, a PDF, a WAV recording or a Touchstone sweep; \
                 nothing was recorded"
            }
            Self::NoRoom { .. } => {
                "what is here stays; attach the rest on another device of the shop"
            }
            Self::Absent => "merge with a device that has it, or with the hub",
            Self::Damaged => {
                "merge with a device that has it: it is fetched anew; keep a copy of the folder"
            }
            Self::Foreign { .. } => "nothing of it was kept; fetch it from another device",
            Self::Full { .. } => "make room on the disk; nothing was recorded",
            Self::File { .. } => "check the disk and the folder's rights, then try again",
        }
    }
}

/// The content a node holds. Cheap to clone; every call blocks until it is done.
#[derive(Clone, Debug)]
pub struct Contents {
    dir: PathBuf,
    most: u64,
    files: Arc<dyn Files>,
    lying: Lying,
    numbers: Arc<AtomicU64>,
    kept: Arc<renditions::Kept>,
    claimed: Arc<Mutex<BTreeSet<ContentHash>>>,
    seats: Arc<Semaphore>,
}

/// The right to add to what arrives under a hash. One at a time has it.
#[derive(Debug)]
pub(crate) struct Claim {
    claimed: Arc<Mutex<BTreeSet<ContentHash>>>,
    hash: ContentHash,
}

impl Drop for Claim {
    fn drop(&mut self) {
        self.claimed.lock().unwrap_or_else(PoisonError::into_inner).remove(&self.hash);
    }
}

impl Contents {
    /// The content beside the store in `dir`. Makes nothing before something is put.
    pub fn beside(dir: &Path) -> Self {
        Self::on(dir, Arc::new(SystemFiles), limits::ALL_BYTES_MAX)
    }

    /// The same, encrypted with the folder's keys where it has some.
    pub(crate) fn lying_with(self, keys: Option<&Keys>) -> Self {
        Self { lying: Lying::with(keys), ..self }
    }

    /// The same through other calls and with another limit, for tests.
    pub fn on(dir: &Path, files: Arc<dyn Files>, most: u64) -> Self {
        let (numbers, kept, claimed) = Default::default();
        let seats = Arc::new(Semaphore::new(GIVEN_AT_ONCE));
        let (dir, lying) = (dir.join("attachments"), Lying::default());
        Self { dir, most, files, lying, numbers, kept, claimed, seats }
    }

    /// The same, through other calls.
    pub(crate) fn through(self, files: Arc<dyn Files>) -> Self {
        Self { files, ..self }
    }

    /// The places for those who are given something.
    pub(crate) fn seats(&self) -> Arc<Semaphore> {
        self.seats.clone()
    }

    /// Claims what arrives under a hash; none while somebody else has it.
    pub(crate) fn claim(&self, hash: ContentHash) -> Option<Claim> {
        let mut claimed = self.claimed.lock().unwrap_or_else(PoisonError::into_inner);
        let claim = || Claim { claimed: self.claimed.clone(), hash };
        claimed.insert(hash).then(claim)
    }

    /// Takes away what a program that ended in between left unfinished. What arrives stays.
    pub(crate) fn tidy(&self) {
        let Ok(entries) = std::fs::read_dir(&self.dir) else { return };
        for entry in entries.flatten() {
            if entry.file_name().to_string_lossy().starts_with(UNFINISHED) {
                // What cannot be taken away now is no content; the next start tries again.
                drop(self.files.remove(&entry.path()));
            }
        }
    }

    /// Keeps bytes. When this returns they are on disk, under their hash.
    pub fn put(&self, bytes: &[u8]) -> Result<ContentHash, AttachmentError> {
        let hash = ContentHash::of(bytes);
        if self.check(hash).is_ok() {
            // It may have got its name a moment before its folder could not be made durable.
            let to = self.path(hash);
            let settled = self.files.sync(&to).and_then(|()| self.settle(&to));
            return settled.map(|()| hash).map_err(|error| self.failed(&to, error));
        }
        self.room_for(bytes.len() as u64)?;
        self.files.make_folder(&self.dir).map_err(|e| self.failed(&self.dir, e))?;
        let number = self.numbers.fetch_add(1, Ordering::Relaxed);
        let unfinished = self.dir.join(format!("{UNFINISHED}-{}-{number}", std::process::id()));
        let written = self
            .lying
            .append(&*self.files, &unfinished, bytes)
            .map_err(|error| self.failed(&unfinished, error))
            .and_then(|()| self.place(&unfinished, hash));
        if written.is_err() {
            // The first fault is the one to tell; the file is taken away at the next start.
            drop(self.files.remove(&unfinished));
        }
        written.map(|()| hash)
    }

    /// Gives a whole file its name, durably: its bytes first, then its name, then the folder's.
    fn place(&self, from: &Path, hash: ContentHash) -> Result<(), AttachmentError> {
        let to = self.path(hash);
        let folder = to.parent().expect("it is in a folder of its own");
        let files = &self.files;
        let steps = files
            .sync(from)
            .and_then(|()| files.make_folder(folder))
            .and_then(|()| files.rename(from, &to))
            .and_then(|()| self.settle(&to));
        steps.map_err(|error| self.failed(&to, error))
    }

    /// Makes a file's name durable, and those of the folders it is in.
    fn settle(&self, file: &Path) -> io::Result<()> {
        file.ancestors().skip(1).take(3).try_for_each(|folder| self.files.sync_folder(folder))
    }

    /// Fails where so many more bytes are more than may be kept.
    fn room_for(&self, more: u64) -> Result<(), AttachmentError> {
        let wanted = self.all()?.iter().map(|(_, length)| length).sum::<u64>() + more;
        if wanted > self.most {
            return Err(AttachmentError::NoRoom { wanted, most: self.most });
        }
        Ok(())
    }

    /// The bytes under a hash, checked.
    pub fn read(&self, hash: ContentHash) -> Result<Vec<u8>, AttachmentError> {
        let path = self.path(hash);
        let mut bytes = Vec::new();
        let mut file = self.unchecked(hash)?;
        file.read_to_end(&mut bytes).map_err(|error| self.failed(&path, error))?;
        match ContentHash::of(&bytes) == hash {
            true => Ok(bytes),
            false => Err(AttachmentError::Damaged),
        }
    }

    /// Reads the bytes under a hash once, piece by piece. Gives their length.
    pub fn check(&self, hash: ContentHash) -> Result<u64, AttachmentError> {
        self.opened(hash).map(|(_, length)| length)
    }

    /// Content whose bytes were checked, at its start, and its length.
    pub(crate) fn opened(&self, hash: ContentHash) -> Result<(ContentFile, u64), AttachmentError> {
        let path = self.path(hash);
        let mut file = self.unchecked(hash)?;
        let (found, length) = hash_of(&mut file).map_err(|error| self.failed(&path, error))?;
        if found != hash {
            return Err(AttachmentError::Damaged);
        }
        file.go_to(0).map_err(|error| self.failed(&path, error))?;
        Ok((file, length))
    }

    /// Content that was checked before, or is checked by whoever reads it, at its start.
    pub(crate) fn unchecked(&self, hash: ContentHash) -> Result<ContentFile, AttachmentError> {
        let path = self.path(hash);
        let file = File::open(&path).map_err(|error| absent_or(&path, error))?;
        match self.lying.content(file) {
            Ok(content) => Ok(content),
            // It ends before its content begins.
            Err(error) if error.kind() == io::ErrorKind::UnexpectedEof => {
                Err(AttachmentError::Damaged)
            }
            Err(error) => Err(self.failed(&path, error)),
        }
    }

    /// Whether there is a file under a hash. Not checked: that costs reading it.
    pub fn has(&self, hash: ContentHash) -> bool {
        self.path(hash).is_file()
    }

    /// Every hash there is a file under, with its length, in order.
    pub fn all(&self) -> Result<Vec<(ContentHash, u64)>, AttachmentError> {
        let mut all = Vec::new();
        for folder in self.listed(&self.dir)? {
            for file in self.listed(&folder)? {
                let name = file.file_name().and_then(|name| name.to_str());
                let Some(hash) = name.and_then(|name| name.parse().ok()) else { continue };
                if file == self.path(hash) {
                    let found = file.metadata().map_err(|error| self.failed(&file, error))?;
                    all.push((hash, self.lying.length(found.len())));
                }
            }
        }
        all.sort_unstable();
        Ok(all)
    }

    /// What is in a folder; nothing where it is none.
    fn listed(&self, folder: &Path) -> Result<Vec<PathBuf>, AttachmentError> {
        let entries = match std::fs::read_dir(folder) {
            Ok(entries) => entries,
            Err(error)
                if [io::ErrorKind::NotFound, io::ErrorKind::NotADirectory]
                    .contains(&error.kind()) =>
            {
                return Ok(Vec::new());
            }
            Err(error) => return Err(self.failed(folder, error)),
        };
        let paths = entries.map(|entry| entry.map(|entry| entry.path()));
        paths.collect::<io::Result<_>>().map_err(|error| self.failed(folder, error))
    }

    /// How many bytes of one that is not whole have come.
    pub fn arrived(&self, hash: ContentHash) -> u64 {
        let length = std::fs::metadata(self.arriving(hash)).map_or(0, |found| found.len());
        self.lying.length(length)
    }

    /// Adds bytes that came to those that came before, from `at` on. `length` is what the record
    /// says is whole: then the hash decides whether it counts. True when it does.
    pub fn arrive(
        &self,
        hash: ContentHash,
        length: u64,
        at: u64,
        bytes: &[u8],
    ) -> Result<bool, AttachmentError> {
        let path = self.arriving(hash);
        let before = self.arrived(hash);
        let foreign = |what: String| AttachmentError::Foreign { what };
        if at != before {
            return Err(foreign(format!("it goes on at byte {at}, and {before} have come")));
        }
        let after = before + bytes.len() as u64;
        if after > length {
            drop(self.files.remove(&path));
            return Err(foreign(format!("{after} bytes and more, where {length} were named")));
        }
        if before == 0 {
            self.room_for(length)?;
            let folder = self.dir.join(ARRIVING);
            self.files.make_folder(&folder).map_err(|error| self.failed(&folder, error))?;
        }
        self.lying.append(&*self.files, &path, bytes).map_err(|error| self.failed(&path, error))?;
        if after < length {
            return Ok(false);
        }
        let found = File::open(&path).and_then(|file| hash_of(&mut self.lying.content(file)?));
        let (found, _) = found.map_err(|error| self.failed(&path, error))?;
        if found != hash {
            drop(self.files.remove(&path));
            return Err(foreign("its bytes give another hash".to_owned()));
        }
        self.place(&path, hash).map(|()| true)
    }

    /// Drops what came of one that is not whole.
    pub(crate) fn forget_arrived(&self, hash: ContentHash) {
        // Where it stays, the hash will tell in the end.
        drop(self.files.remove(&self.arriving(hash)));
    }

    fn path(&self, hash: ContentHash) -> PathBuf {
        let name = hash.to_string();
        self.dir.join(&name[..2]).join(&name)
    }

    fn arriving(&self, hash: ContentHash) -> PathBuf {
        self.dir.join(ARRIVING).join(hash.to_string())
    }

    fn failed(&self, path: &Path, source: io::Error) -> AttachmentError {
        match source.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
                AttachmentError::Full { path: path.to_owned() }
            }
            _ => AttachmentError::File { path: path.to_owned(), source },
        }
    }
}

fn absent_or(path: &Path, source: io::Error) -> AttachmentError {
    match source.kind() {
        io::ErrorKind::NotFound => AttachmentError::Absent,
        _ => AttachmentError::File { path: path.to_owned(), source },
    }
}

/// The hash and the length of what a file holds.
fn hash_of(file: &mut impl Read) -> io::Result<(ContentHash, u64)> {
    let mut hasher = blake3::Hasher::new();
    let mut piece = vec![0; PIECE];
    let mut length = 0;
    loop {
        let count = file.read(&mut piece)?;
        if count == 0 {
            return Ok((ContentHash::from_bytes(*hasher.finalize().as_bytes()), length));
        }
        hasher.update(&piece[..count]);
        length += count as u64;
    }
}

#[cfg(test)]
#[path = "tests.rs"]
mod tests;
