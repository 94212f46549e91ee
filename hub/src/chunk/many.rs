//! Many changes at once: made one behind the other in one piece of memory, or only looked at.
//!
//! In: contents of chunks. Out: their hashes, and the chunks where they are kept. Each is weighed
//! like one that came alone.

use automerge::ChangeHash;
use bytes::Bytes;

use super::{CHANGE, Chunk, ChunkRefused, MAGIC, Parts, hash_of, weigh, write_length};

/// Many changes.
#[derive(Default)]
pub(crate) struct Chunks {
    pub(super) bytes: Vec<u8>,
    /// Where each ends.
    made: Vec<(usize, ChangeHash, Parts)>,
    /// Whether none is kept.
    passes: bool,
}

impl Chunks {
    /// Keeps none of them.
    pub(crate) fn passing() -> Self {
        Self { passes: true, ..Self::default() }
    }

    /// Adds the change whose content these bytes are, one behind the other. Gives its hash.
    pub(crate) fn add(&mut self, content: &[&[u8]]) -> Result<ChangeHash, ChunkRefused> {
        if self.passes {
            self.bytes.clear();
        }
        let start = self.bytes.len();
        self.bytes.extend(MAGIC);
        self.bytes.extend([0; 4]);
        self.bytes.push(CHANGE);
        write_length(&mut self.bytes, content.iter().map(|part| part.len()).sum());
        content.iter().for_each(|part| self.bytes.extend(*part));
        let chunk = &mut self.bytes[start..];
        let parts = weigh(chunk)?;
        let hash = hash_of(chunk);
        chunk[4..8].copy_from_slice(&hash.0[..4]);
        if !self.passes {
            self.made.push((self.bytes.len(), hash, parts));
        }
        Ok(hash)
    }

    /// Adds a change as it is. Gives its hash.
    pub(crate) fn add_whole(&mut self, chunk: &[u8]) -> Result<ChangeHash, ChunkRefused> {
        let (parts, hash) = (weigh(chunk)?, hash_of(chunk));
        if chunk[4..8] != hash.0[..4] {
            return Err(ChunkRefused::Checksum);
        }
        if !self.passes {
            self.bytes.extend(chunk);
            self.made.push((self.bytes.len(), hash, parts));
        }
        Ok(hash)
    }

    /// All of them that are kept, in order.
    pub(crate) fn chunks(self) -> impl Iterator<Item = Chunk> {
        let (bytes, mut start) = (Bytes::from(self.bytes), 0);
        self.made.into_iter().map(move |(end, hash, Parts { content, rest })| {
            let bytes = bytes.slice(std::mem::replace(&mut start, end)..end);
            Chunk { bytes, hash, content, rest }
        })
    }
}
