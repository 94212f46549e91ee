//! What is on a disk: names, and the bytes of files in pages that copies share.

use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What a disk loses or keeps as one when the power goes.
pub const SECTOR: usize = 512;
const PAGE: usize = 4_096;

/// A file, whatever its name.
pub(crate) type FileId = u32;

/// What is on a disk at one moment. Copies share what they have alike.
#[derive(Clone, Debug, Default)]
pub struct Image {
    pub(crate) names: BTreeMap<PathBuf, FileId>,
    pub(crate) files: BTreeMap<FileId, Content>,
}

/// The bytes of one file.
#[derive(Clone, Debug, Default)]
pub(crate) struct Content {
    pages: Vec<Arc<[u8; PAGE]>>,
    length: usize,
}

impl Image {
    /// A disk with these files on it.
    pub fn with_files(files: impl IntoIterator<Item = (PathBuf, Vec<u8>)>) -> Self {
        let mut image = Self::default();
        for (name, bytes) in files {
            let id = image.create(&name);
            image.content(id).write(0, &bytes);
        }
        image
    }

    /// Every name on it.
    pub fn names(&self) -> impl Iterator<Item = &Path> {
        self.names.keys().map(PathBuf::as_path)
    }

    /// The bytes of a file.
    pub fn bytes(&self, name: &Path) -> Option<Vec<u8>> {
        let content = self.files.get(self.names.get(name)?)?;
        let mut bytes = vec![0; content.length];
        content.read(0, &mut bytes);
        Some(bytes)
    }

    /// Turns a bit of a file. None where there is no such byte.
    pub fn flip(&mut self, name: &Path, at: usize, bit: u8) -> Option<()> {
        let content = self.files.get_mut(self.names.get(name)?)?;
        let mut byte = [0];
        if content.read(at, &mut byte) == 0 {
            return None;
        }
        content.write(at, &[byte[0] ^ (1 << (bit % 8))]);
        Some(())
    }

    /// A new, empty file under a name.
    pub(crate) fn create(&mut self, name: &Path) -> FileId {
        let id = self.files.keys().next_back().map_or(0, |last| last + 1);
        self.files.insert(id, Content::default());
        self.names.insert(name.to_owned(), id);
        id
    }

    pub(crate) fn content(&mut self, file: FileId) -> &mut Content {
        self.files.entry(file).or_default()
    }

    /// A number that tells this image from others made from `origin`.
    pub fn mark(&self, origin: &Self) -> u64 {
        let mut hasher = DefaultHasher::new();
        self.names.hash(&mut hasher);
        for (id, content) in &self.files {
            (id, content.length).hash(&mut hasher);
            let same = origin.files.get(id).map_or(&[][..], |content| &content.pages);
            for (at, page) in content.pages.iter().enumerate() {
                if !same.get(at).is_some_and(|other| Arc::ptr_eq(other, page)) {
                    (at, page.as_slice()).hash(&mut hasher);
                }
            }
        }
        hasher.finish()
    }
}

impl Content {
    pub(crate) fn length(&self) -> usize {
        self.length
    }

    /// Fills what it can from an offset, and says how much that was.
    pub(crate) fn read(&self, at: usize, into: &mut [u8]) -> usize {
        let end = self.length.min(at.saturating_add(into.len()));
        let mut done = 0;
        while at + done < end {
            let (page, within) = ((at + done) / PAGE, (at + done) % PAGE);
            let count = (PAGE - within).min(end - at - done);
            into[done..done + count].copy_from_slice(&self.pages[page][within..within + count]);
            done += count;
        }
        done
    }

    pub(crate) fn write(&mut self, at: usize, bytes: &[u8]) {
        self.grow(at + bytes.len());
        let mut done = 0;
        while done < bytes.len() {
            let (page, within) = ((at + done) / PAGE, (at + done) % PAGE);
            let count = (PAGE - within).min(bytes.len() - done);
            let page = Arc::make_mut(&mut self.pages[page]);
            page[within..within + count].copy_from_slice(&bytes[done..done + count]);
            done += count;
        }
    }

    pub(crate) fn truncate(&mut self, length: usize) {
        if length >= self.length {
            self.grow(length);
            return;
        }
        self.length = length;
        self.pages.truncate(length.div_ceil(PAGE));
        // What grows again later reads as zeros.
        if let Some(last) = self.pages.last_mut().filter(|_| !length.is_multiple_of(PAGE)) {
            Arc::make_mut(last)[length % PAGE..].fill(0);
        }
    }

    fn grow(&mut self, length: usize) {
        if length > self.length {
            self.length = length;
            self.pages.resize_with(length.div_ceil(PAGE), || Arc::new([0; PAGE]));
        }
    }
}
