//! Whole content in a bucket of an S3-compatible store, where a hub is set up so.
//!
//! In: whole files whose bytes were checked, and hashes. Out: what lies under a hash, piece by
//! piece, or a [`BucketFault`] that says what to do next. What is in the bucket is what would be
//! in the folder, byte for byte, so an encrypted node's content is encrypted there too. Names are
//! `PREFIX/plain/HASH`, or `PREFIX/encrypted-KEY/HASH` with a mark of the key: what one key made
//! is never taken for what another one did. Several hubs may use one bucket: content never
//! changes, an object is put whole or not at all, and nothing is ever taken away.
//!
//! Reading order: [`place`] (which bucket), here, [`line`] (the requests), [`reader`] (any byte).

mod fault;
mod line;
mod place;
mod reader;

use std::collections::BTreeMap;
use std::fs::File;
use std::io::Read;
use std::path::Path as FilePath;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use object_store::path::Path;
use object_store::{ObjectStore, ObjectStoreExt, PutPayload};

use super::shelf::{Lies, Shelf, failed};
use super::{AttachmentError, ContentHash};
pub use fault::BucketFault;
use fault::{Asked, fault_of};
use line::Line;
pub(crate) use place::NOTE;
pub use place::{BucketKeys, BucketPlace, WrongPlace};
use reader::Reader;

/// What is longer is put in parts, so that no more than one is in memory. At least 5 MiB, and all
/// but the last alike, or some stores refuse them.
const PART_BYTES: u64 = 8 * 1024 * 1024;
/// So long it is believed that another hub has not put what was not there.
const ABSENT_FOR: Duration = Duration::from_secs(60);

/// A bucket, and what this process knows to lie there.
#[derive(Debug)]
pub(super) struct Bucket {
    name: String,
    store: Arc<dyn ObjectStore>,
    line: Line,
    /// Before each hash.
    folder: Path,
    known: Mutex<Known>,
}

/// What lies in the bucket, as far as this process knows.
#[derive(Debug, Default)]
struct Known {
    /// Whether all of it was listed once.
    listed: bool,
    /// The length of what lies there.
    here: BTreeMap<ContentHash, u64>,
    /// When these were not there.
    absent: BTreeMap<ContentHash, Instant>,
}

impl Known {
    fn put(&mut self, hash: ContentHash, length: u64) {
        self.absent.remove(&hash);
        self.here.insert(hash, length);
    }
}

impl Bucket {
    /// A bucket for content that lies under a key with this mark, or as it is. Asks nothing of it
    /// yet.
    pub(super) fn open(
        place: &BucketPlace,
        keys: &BucketKeys,
        mark: Option<&str>,
    ) -> Result<Self, BucketFault> {
        let kind = mark.map_or("plain".to_owned(), |mark| format!("encrypted-{mark}"));
        let folder = Path::parse(format!("{}/{kind}", place.prefix));
        let folder = folder.expect("a prefix was looked at when it was named");
        let name = place.bucket.clone();
        let store = Arc::new(line::store(place, keys)?);
        Ok(Self { name, store, line: Line::start()?, folder, known: Mutex::default() })
    }

    fn object(&self, hash: ContentHash) -> Path {
        self.folder.clone().join(hash.to_string())
    }

    fn known(&self) -> MutexGuard<'_, Known> {
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Asks the bucket, and says in the log where it cannot be used.
    fn ask<T: Send + 'static>(
        &self,
        asked: Asked,
        work: impl Future<Output = object_store::Result<T>> + Send + 'static,
    ) -> Result<T, AttachmentError> {
        let answered = self
            .line
            .wait(work)
            .and_then(|answered| answered.map_err(|error| fault_of(&self.name, asked, &error)));
        match answered {
            Ok(answer) => Ok(answer),
            Err(BucketFault::Absent) => Err(AttachmentError::Absent),
            Err(fault) => {
                tracing::warn!(bucket = %self.name, %fault, "the bucket cannot be used");
                Err(fault.into())
            }
        }
    }

    /// Lists what lies there.
    fn list(&self) -> Result<(), AttachmentError> {
        let (store, folder) = (Arc::clone(&self.store), self.folder.clone());
        let listed = self.ask(Asked::OfAll, async move {
            store.list_with_delimiter(Some(&folder)).await.map(|listed| listed.objects)
        })?;
        let named = listed.iter().filter_map(|object| {
            Some((object.location.filename()?.parse::<ContentHash>().ok()?, object.size))
        });
        let here = named.collect();
        *self.known() = Known { listed: true, here, absent: BTreeMap::new() };
        Ok(())
    }

    fn list_once(&self) -> Result<(), AttachmentError> {
        let listed = self.known().listed;
        if listed { Ok(()) } else { self.list() }
    }

    /// Puts a file of one part at most.
    fn put_at_once(&self, to: Path, bytes: Vec<u8>) -> Result<(), AttachmentError> {
        let store = Arc::clone(&self.store);
        self.ask(Asked::OfAll, async move { store.put(&to, PutPayload::from(bytes)).await })?;
        Ok(())
    }

    /// Puts a longer one part by part. Nothing is there under its name before the last.
    fn put_in_parts(
        &self,
        to: Path,
        file: &mut File,
        path: &FilePath,
    ) -> Result<(), AttachmentError> {
        let store = Arc::clone(&self.store);
        let mut upload = self.ask(Asked::OfAll, async move { store.put_multipart(&to).await })?;
        loop {
            let part = part_of(file).map_err(|error| failed(path, error));
            let put = match part {
                Ok(part) if part.is_empty() => break,
                Ok(part) => self.ask(Asked::OfAll, upload.put_part(PutPayload::from(part))),
                Err(error) => Err(error),
            };
            if let Err(error) = put {
                // The first fault is the one to tell; parts that stay are the store's to clear.
                drop(self.ask(Asked::OfAll, async move { upload.abort().await }));
                return Err(error);
            }
        }
        self.ask(Asked::OfAll, async move { upload.complete().await.map(|_| ()) })
    }
}

/// The next part of a file; empty at its end.
fn part_of(file: &mut File) -> std::io::Result<Vec<u8>> {
    let mut part = Vec::new();
    file.take(PART_BYTES).read_to_end(&mut part)?;
    Ok(part)
}

impl Shelf for Bucket {
    fn take(&self, from: &FilePath, hash: ContentHash) -> Result<(), AttachmentError> {
        let unusable = |error| failed(from, error);
        let mut file = File::open(from).map_err(unusable)?;
        let length = file.metadata().map_err(unusable)?.len();
        match length > PART_BYTES {
            true => self.put_in_parts(self.object(hash), &mut file, from)?,
            false => {
                let bytes = part_of(&mut file).map_err(unusable)?;
                self.put_at_once(self.object(hash), bytes)?;
            }
        }
        self.known().put(hash, length);
        std::fs::remove_file(from).map_err(unusable)
    }

    /// What a bucket said it has, it has.
    fn settle(&self, _hash: ContentHash) -> Result<(), AttachmentError> {
        Ok(())
    }

    fn open(&self, hash: ContentHash) -> Result<Box<dyn Lies>, AttachmentError> {
        let (store, object) = (Arc::clone(&self.store), self.object(hash));
        match Reader::open(store, self.line.clone(), self.name.clone(), object) {
            Ok(reader) => Ok(Box::new(reader)),
            Err(BucketFault::Absent) => {
                self.known().here.remove(&hash);
                Err(AttachmentError::Absent)
            }
            Err(fault) => {
                tracing::warn!(bucket = %self.name, %fault, "the bucket cannot be used");
                Err(fault.into())
            }
        }
    }

    /// What is known to be there is not asked for again; what was not there is, after a while.
    fn has(&self, hash: ContentHash) -> Result<bool, AttachmentError> {
        self.list_once()?;
        {
            let known = self.known();
            if known.here.contains_key(&hash) {
                return Ok(true);
            }
            if known.absent.get(&hash).is_some_and(|at| at.elapsed() < ABSENT_FOR) {
                return Ok(false);
            }
        }
        let (store, object) = (Arc::clone(&self.store), self.object(hash));
        let found = self.ask(Asked::OfOne, async move { store.head(&object).await });
        match found {
            Ok(found) => {
                self.known().put(hash, found.size);
                Ok(true)
            }
            Err(AttachmentError::Absent) => {
                self.known().absent.insert(hash, Instant::now());
                Ok(false)
            }
            Err(error) => Err(error),
        }
    }

    fn all(&self) -> Result<Vec<(ContentHash, u64)>, AttachmentError> {
        self.list()?;
        Ok(self.known().here.iter().map(|(hash, length)| (*hash, *length)).collect())
    }

    fn held(&self) -> Result<(u64, u64), AttachmentError> {
        self.list_once()?;
        let known = self.known();
        Ok((known.here.len() as u64, known.here.values().sum()))
    }
}

/// In place of a bucket that cannot be asked, since this process lacks what that takes: each
/// question is answered with what it lacks.
#[derive(Debug)]
pub(super) struct Closed(pub(super) BucketFault);

impl Closed {
    fn refuse<T>(&self) -> Result<T, AttachmentError> {
        Err(self.0.clone().into())
    }
}

impl Shelf for Closed {
    fn take(&self, _from: &FilePath, _hash: ContentHash) -> Result<(), AttachmentError> {
        self.refuse()
    }

    fn settle(&self, _hash: ContentHash) -> Result<(), AttachmentError> {
        self.refuse()
    }

    fn open(&self, _hash: ContentHash) -> Result<Box<dyn Lies>, AttachmentError> {
        self.refuse()
    }

    fn has(&self, _hash: ContentHash) -> Result<bool, AttachmentError> {
        self.refuse()
    }

    fn all(&self) -> Result<Vec<(ContentHash, u64)>, AttachmentError> {
        self.refuse()
    }

    fn held(&self) -> Result<(u64, u64), AttachmentError> {
        self.refuse()
    }
}
