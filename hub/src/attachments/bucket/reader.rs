//! What lies in a bucket, read at any byte: a window of it at a time.
//!
//! The first window comes when it is opened, so that a photograph of usual size is one request. The
//! windows of one reader are of one and the same object: where it was put anew meanwhile, reading
//! ends with a fault.

use std::io::{self, Read, Seek, SeekFrom};
use std::sync::Arc;

use hyper::body::Bytes;
use object_store::path::Path;
use object_store::{GetOptions, GetRange, ObjectStore, ObjectStoreExt};

use super::fault::{Asked, BucketFault, fault_of};
use super::line::Line;

/// So much is fetched at once.
const WINDOW_BYTES: u64 = 4 * 1024 * 1024;

/// An object that is read.
#[derive(Debug)]
pub(super) struct Reader {
    store: Arc<dyn ObjectStore>,
    line: Line,
    bucket: String,
    object: Path,
    /// What tells this object from one that is put under its name later.
    tag: Option<String>,
    length: u64,
    window: Bytes,
    window_at: u64,
    at: u64,
}

impl Reader {
    pub(super) fn open(
        store: Arc<dyn ObjectStore>,
        line: Line,
        bucket: String,
        object: Path,
    ) -> Result<Self, BucketFault> {
        let (tag, length, window) = (None, 0, Bytes::new());
        let mut reader =
            Self { store, line, bucket, object, tag, length, window, window_at: 0, at: 0 };
        match reader.fetch(0) {
            // Of nothing there is no part to be had, and how that is said differs from store to
            // store.
            Err(BucketFault::Unreachable { bucket, reason }) => match reader.measure()? {
                0 => Ok(reader),
                _ => Err(BucketFault::Unreachable { bucket, reason }),
            },
            fetched => fetched.map(|()| reader),
        }
    }

    fn measure(&self) -> Result<u64, BucketFault> {
        let (store, object) = (Arc::clone(&self.store), self.object.clone());
        let found = self.line.wait(async move { store.head(&object).await })?;
        found.map(|found| found.size).map_err(|e| fault_of(&self.bucket, Asked::OfOne, &e))
    }

    /// Where the next byte is in the window, where it is in it.
    fn within(&self) -> Option<usize> {
        let from = usize::try_from(self.at.checked_sub(self.window_at)?).ok()?;
        (from < self.window.len()).then_some(from)
    }

    /// Fetches the window that begins at a byte.
    fn fetch(&mut self, at: u64) -> Result<(), BucketFault> {
        let (store, object) = (Arc::clone(&self.store), self.object.clone());
        let mut options = GetOptions::new();
        options.range = Some(GetRange::Bounded(at..at + WINDOW_BYTES));
        options.if_match = self.tag.clone();
        let fetched = self.line.wait(async move {
            let answer = store.get_opts(&object, options).await?;
            let (tag, length) = (answer.meta.e_tag.clone(), answer.meta.size);
            Ok((tag, length, answer.bytes().await?))
        })?;
        let (tag, length, window) =
            fetched.map_err(|error| fault_of(&self.bucket, Asked::OfOne, &error))?;
        (self.tag, self.length) = (tag, length);
        (self.window, self.window_at) = (window, at);
        Ok(())
    }
}

impl Read for Reader {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if self.at >= self.length || into.is_empty() {
            return Ok(0);
        }
        let from = match self.within() {
            Some(from) => from,
            None => {
                self.fetch(self.at).map_err(|fault| match fault {
                    BucketFault::Absent => io::ErrorKind::NotFound.into(),
                    fault => io::Error::other(fault),
                })?;
                0
            }
        };
        let count = into.len().min(self.window.len() - from);
        into[..count].copy_from_slice(&self.window[from..from + count]);
        self.at += count as u64;
        Ok(count)
    }
}

impl Seek for Reader {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let at = match to {
            SeekFrom::Start(at) => Some(at),
            SeekFrom::End(by) => self.length.checked_add_signed(by),
            SeekFrom::Current(by) => self.at.checked_add_signed(by),
        };
        self.at = at.ok_or(io::ErrorKind::InvalidInput)?;
        Ok(self.at)
    }
}
