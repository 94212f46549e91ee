//! The content of attachments: files beside the store, or objects in a bucket, each under its own
//! BLAKE3 hash.
//!
//! In: bytes of a kind that is taken. Out: the same bytes, checked against their hash on every
//! read. What was put here is on disk when the call returns, before any record may name it; what
//! comes from another device piece by piece stands apart until it is whole and its hash is right.
//! A file's name here is only ever made from a hash; no name from outside reaches the disk.
//!
//! Layout: `FOLDER/attachments/ab/abcdef…` (64 digits), and `arriving/abcdef…` for what is not
//! whole yet. A hub may keep whole content in a bucket instead; what is not whole, or was not put
//! there yet, stays in the folder. Reading order: [`limits`] (what is taken), [`private`] (what is
//! left out of a photograph), here, [`shelf`] (where whole content lies), [`arriving`] (what comes
//! piece by piece), [`renditions`] (smaller ones to look at).

mod arriving;
pub mod bucket;
pub mod files;
mod hash;
pub mod limits;
pub(crate) mod named;
pub mod private;
pub mod renditions;
pub(crate) mod shelf;
pub mod upkeep;

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::Semaphore;

use crate::at_rest::Keys;
use crate::at_rest::content::{ContentFile, Lying};
use bucket::{Bucket, BucketFault, BucketKeys, BucketPlace, Closed};
use files::{Files, SystemFiles};
pub use hash::{ContentHash, NotAHash};
use shelf::{Folder, Shelf, failed};

/// So much is read at once.
const PIECE: usize = 64 * 1024;
/// So many are given something at once; others ask again.
const GIVEN_AT_ONCE: usize = 16;
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
    /// The bucket it lies in, or is to lie in, cannot be used.
    #[error(transparent)]
    Bucket(#[from] BucketFault),
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
            Self::Bucket(fault) => fault.help(),
            Self::File { .. } => "check the disk and the folder's rights, then try again",
        }
    }
}

/// The content a node holds. Cheap to clone; every call blocks until it is done.
#[derive(Clone, Debug)]
pub struct Contents {
    folder: Folder,
    /// Where whole content goes and lies, where that is not the folder.
    bucket: Option<Arc<dyn Shelf>>,
    most: u64,
    lying: Lying,
    numbers: Arc<AtomicU64>,
    taken: Arc<AtomicU64>,
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

    /// The content of the node in `dir` with these keys: where the folder says that it lies.
    pub(crate) fn of_node(dir: &Path, keys: Option<&Keys>) -> Self {
        let contents = Self::beside(dir).lying_with(keys);
        let opened = BucketPlace::noted(dir).and_then(|place| match place {
            Some(place) => {
                let keys = BucketKeys::from_environment()?;
                contents.clone().in_bucket(&place, &keys)
            }
            None => Ok(contents.clone()),
        });
        opened.unwrap_or_else(|fault| Self { bucket: Some(Arc::new(Closed(fault))), ..contents })
    }

    /// The same, encrypted with the folder's keys where it has some.
    pub(crate) fn lying_with(self, keys: Option<&Keys>) -> Self {
        Self { lying: Lying::with(keys), ..self }
    }

    /// The same, whose whole content goes into a bucket and lies there. What is in the folder is
    /// still given, and goes there by [`Contents::move_out`].
    pub fn in_bucket(self, place: &BucketPlace, keys: &BucketKeys) -> Result<Self, BucketFault> {
        let bucket = Bucket::open(place, keys, self.lying.mark().as_deref())?;
        let most = limits::BUCKET_BYTES_MAX;
        Ok(Self { bucket: Some(Arc::new(bucket)), most, ..self })
    }

    /// The same through other calls and with another limit, for tests.
    pub fn on(dir: &Path, files: Arc<dyn Files>, most: u64) -> Self {
        let (numbers, taken, kept, claimed) = Default::default();
        let seats = Arc::new(Semaphore::new(GIVEN_AT_ONCE));
        let folder = Folder { dir: dir.join("attachments"), files };
        let (bucket, lying) = (None, Lying::default());
        Self { folder, bucket, most, lying, numbers, taken, kept, claimed, seats }
    }

    /// The same, through other calls.
    pub(crate) fn through(self, files: Arc<dyn Files>) -> Self {
        Self { folder: Folder { files, ..self.folder }, ..self }
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
        let Ok(entries) = std::fs::read_dir(&self.folder.dir) else { return };
        for entry in entries.flatten() {
            if entry.file_name().to_string_lossy().starts_with(UNFINISHED) {
                // What cannot be taken away now is no content; the next start tries again.
                drop(self.folder.files.remove(&entry.path()));
            }
        }
    }

    /// Where content may lie, the folder first: it costs least to look there.
    fn shelves(&self) -> impl Iterator<Item = &dyn Shelf> {
        std::iter::once::<&dyn Shelf>(&self.folder).chain(self.bucket.as_deref())
    }

    /// Where whole content goes.
    fn shelf(&self) -> &dyn Shelf {
        self.bucket.as_deref().unwrap_or(&self.folder)
    }

    /// Puts a whole file where whole content goes.
    fn shelve(&self, from: &Path, hash: ContentHash) -> Result<(), AttachmentError> {
        self.shelf().take(from, hash)?;
        self.taken.fetch_add(1, Ordering::Relaxed);
        Ok(())
    }

    /// How many contents this process took: grows with each.
    pub(crate) fn taken(&self) -> u64 {
        self.taken.load(Ordering::Relaxed)
    }

    /// Keeps bytes. When this returns they are durable, under their hash.
    pub fn put(&self, bytes: &[u8]) -> Result<ContentHash, AttachmentError> {
        let hash = ContentHash::of(bytes);
        if self.checked_on(self.shelf(), hash).is_ok() {
            // It may have got its name a moment before its folder could not be made durable.
            return self.shelf().settle(hash).map(|()| hash);
        }
        self.room_for(bytes.len() as u64)?;
        let Folder { dir, files } = &self.folder;
        files.make_folder(dir).map_err(|error| failed(dir, error))?;
        let number = self.numbers.fetch_add(1, Ordering::Relaxed);
        let unfinished = dir.join(format!("{UNFINISHED}-{}-{number}", std::process::id()));
        let written = self
            .lying
            .append(&**files, &unfinished, bytes)
            .map_err(|error| failed(&unfinished, error))
            .and_then(|()| self.shelve(&unfinished, hash));
        if written.is_err() {
            // The first fault is the one to tell; the file is taken away at the next start.
            drop(files.remove(&unfinished));
        }
        written.map(|()| hash)
    }

    /// Fails where so many more bytes are more than may be kept.
    fn room_for(&self, more: u64) -> Result<(), AttachmentError> {
        let wanted = self.held()?.1 + more;
        if wanted > self.most {
            return Err(AttachmentError::NoRoom { wanted, most: self.most });
        }
        Ok(())
    }

    /// How many contents there are and their bytes, as far as is known without asking others.
    pub fn held(&self) -> Result<(u64, u64), AttachmentError> {
        let mut all = (0, 0);
        for shelf in self.shelves() {
            let (count, bytes) = shelf.held()?;
            all = (all.0 + count, all.1 + bytes - count * self.lying.before());
        }
        Ok(all)
    }

    /// The bytes under a hash, checked.
    pub fn read(&self, hash: ContentHash) -> Result<Vec<u8>, AttachmentError> {
        self.first(|shelf| {
            let mut bytes = Vec::new();
            let mut file = self.on_shelf(shelf, hash)?;
            file.read_to_end(&mut bytes).map_err(|error| self.unread(hash, error))?;
            match ContentHash::of(&bytes) == hash {
                true => Ok(bytes),
                false => Err(AttachmentError::Damaged),
            }
        })
    }

    /// Reads the bytes under a hash once, piece by piece. Gives their length.
    pub fn check(&self, hash: ContentHash) -> Result<u64, AttachmentError> {
        self.opened(hash).map(|(_, length)| length)
    }

    /// Content whose bytes were checked, at its start, and its length.
    pub(crate) fn opened(&self, hash: ContentHash) -> Result<(ContentFile, u64), AttachmentError> {
        self.first(|shelf| self.checked_on(shelf, hash))
    }

    fn checked_on(
        &self,
        shelf: &dyn Shelf,
        hash: ContentHash,
    ) -> Result<(ContentFile, u64), AttachmentError> {
        let mut file = self.on_shelf(shelf, hash)?;
        let (found, length) = hash_of(&mut file).map_err(|error| self.unread(hash, error))?;
        if found != hash {
            return Err(AttachmentError::Damaged);
        }
        file.go_to(0).map_err(|error| self.unread(hash, error))?;
        Ok((file, length))
    }

    /// Content that was checked before, or is checked by whoever reads it, at its start.
    pub(crate) fn unchecked(&self, hash: ContentHash) -> Result<ContentFile, AttachmentError> {
        self.first(|shelf| self.on_shelf(shelf, hash))
    }

    fn on_shelf(
        &self,
        shelf: &dyn Shelf,
        hash: ContentHash,
    ) -> Result<ContentFile, AttachmentError> {
        match self.lying.content(shelf.open(hash)?) {
            Ok(content) => Ok(content),
            // It ends before its content begins.
            Err(error) if error.kind() == io::ErrorKind::UnexpectedEof => {
                Err(AttachmentError::Damaged)
            }
            Err(error) => Err(self.unread(hash, error)),
        }
    }

    /// What the first shelf gives that has it whole; else the last fault of one of them.
    fn first<T>(
        &self,
        get: impl Fn(&dyn Shelf) -> Result<T, AttachmentError>,
    ) -> Result<T, AttachmentError> {
        let mut told = AttachmentError::Absent;
        for shelf in self.shelves() {
            match get(shelf) {
                Ok(got) => return Ok(got),
                Err(AttachmentError::Absent) => {}
                Err(error) => told = error,
            }
        }
        Err(told)
    }

    /// Whether there is something under a hash. Not checked: that costs reading it.
    pub fn has(&self, hash: ContentHash) -> Result<bool, AttachmentError> {
        for shelf in self.shelves() {
            if shelf.has(hash)? {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// Every hash there is something under, with its length, in order.
    pub fn all(&self) -> Result<Vec<(ContentHash, u64)>, AttachmentError> {
        let mut all = BTreeMap::new();
        for shelf in self.shelves() {
            let lying = shelf.all()?.into_iter();
            all.extend(lying.map(|(hash, length)| (hash, self.lying.length(length))));
        }
        Ok(all.into_iter().collect())
    }

    fn unread(&self, hash: ContentHash, error: io::Error) -> AttachmentError {
        failed(&self.folder.path(hash), error)
    }

    /// Puts into the bucket what lies whole in the folder, where there is a bucket. Gives how many
    /// that were. What is damaged stays, and is told by `inspect`.
    pub(crate) fn move_out(&self) -> Result<u64, AttachmentError> {
        let Some(bucket) = &self.bucket else { return Ok(0) };
        let mut moved = 0;
        for (hash, _) in self.folder.all()? {
            let Some(_claim) = self.claim(hash) else { continue };
            match self.checked_on(&self.folder, hash) {
                Ok(_) => {
                    bucket.take(&self.folder.path(hash), hash)?;
                    moved += 1;
                }
                Err(AttachmentError::Damaged | AttachmentError::Absent) => {}
                Err(error) => return Err(error),
            }
        }
        Ok(moved)
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
