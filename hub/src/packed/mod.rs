//! Changes packed together: bytes that are sent and kept as they are.
//!
//! In: changes of a log, causes before effects, and the seals on some of them. Out: one [`Packed`];
//! and back, to the byte. What comes from outside can make this use no more memory than the limits
//! below say, and what does not fit is a [`MalformedPacked`] that names where. Knows no store, no
//! socket, no exchange.
//!
//! Changes of one visit differ from each other in few places, each by its own law: who made them
//! hardly ever, their numbers by little, their values always. So what is alike stands together, in
//! *lanes*: all documents, all causes, all actors, all numbers, and one lane for each kind of
//! column.
//!
//! Layout, numbers little-endian: how many changes (u32), how long the content is unpacked (u32),
//! packing (1 byte: 0 plain, 1 one zstd frame), then the content: the length of each of the
//! [`lanes::FIXED`] lanes (u32), how many kinds of columns there are (1 byte), for each its kind
//! and the length of its lane (u32 each), rising; then the lanes. [`lanes`] says what stands in
//! them.

mod lanes;
mod reading;
pub(crate) mod seals;
mod writing;

use std::borrow::Cow;
use std::collections::BTreeSet;
use std::ops::Range;

use guyline_core::record::DocumentId;
use zstd::zstd_safe::CParameter;

use crate::chunk::ChunkRefused;
use crate::frame::{self, FrameFault};
use crate::log::{LogEntry, Seal};

pub use seals::SEALS_MAX;

/// The most changes that are packed together: some can be told in a few bytes.
pub const CHANGES_MAX: u32 = 65_536;
/// How many changes, how long unpacked, how packed.
const HEAD_BYTES: usize = 9;

/// What is alike stands together, so the library's second level finds it: its ninth makes a
/// fiftieth less at twenty times the time.
const PACKED_SO: [CParameter; 1] = [CParameter::CompressionLevel(2)];

/// Changes packed together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Packed {
    bytes: Vec<u8>,
}

/// What is packed together.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Content {
    /// The changes, causes before effects.
    pub entries: Vec<LogEntry>,
    /// The seals on changes among them, each with its change's place, in order.
    pub seals: Vec<(u32, Seal)>,
}

/// What is known of packed changes that were gone through and not kept.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Weighed {
    /// The documents they belong to.
    pub documents: BTreeSet<DocumentId>,
    /// How many seals are on them.
    pub seals: usize,
}

/// Why bytes are no packed changes.
#[derive(Debug, thiserror::Error)]
pub enum MalformedPacked {
    /// Too short to be any.
    #[error("{bytes} bytes are too few for packed changes")]
    Short {
        /// How many there are.
        bytes: usize,
    },
    /// A packing nobody defined.
    #[error("packing {found}, and 0 or 1 is known")]
    Packing {
        /// The packing that was found.
        found: u8,
    },
    /// It promises more than is taken.
    #[error("{found} {what}, and at most {allowed} are taken")]
    TooMany {
        /// What it has too many of.
        what: &'static str,
        /// How many.
        found: usize,
        /// How many are taken.
        allowed: usize,
    },
    /// The frame ends early or is damaged.
    #[error(transparent)]
    Frame(#[from] FrameFault),
    /// A value that cannot be, or none.
    #[error("the {lane} lane is wrong or ends early at byte {offset}")]
    Lane {
        /// Which lane.
        lane: &'static str,
        /// Where in it.
        offset: usize,
    },
    /// Something stands behind the end of a lane, or of all of them.
    #[error("{count} bytes too many in the {lane} lane")]
    Trailing {
        /// Which lane.
        lane: &'static str,
        /// How many.
        count: usize,
    },
    /// A change that is not taken.
    #[error("change {index} (document {document}): {source}")]
    Chunk {
        /// Which one, from 0.
        index: u32,
        /// Its document.
        document: DocumentId,
        /// Why.
        #[source]
        source: ChunkRefused,
    },
}

impl Packed {
    /// Packs changes together. More of them than [`CHANGES_MAX`] are a caller's mistake.
    pub fn of(entries: &[LogEntry], seals: &[(u32, Seal)]) -> Self {
        let count = u32::try_from(entries.len()).expect("a slice is bounded");
        assert!(count <= CHANGES_MAX, "a slice is bounded");
        let content = writing::write(entries, seals);
        let (packing, packed) = frame::pack(&content, &PACKED_SO);
        let mut bytes = Vec::with_capacity(HEAD_BYTES + packed.len());
        bytes.extend(count.to_le_bytes());
        let length = u32::try_from(content.len()).expect("a slice is bounded in bytes");
        bytes.extend(length.to_le_bytes());
        bytes.push(packing);
        bytes.extend(packed);
        Self { bytes }
    }

    /// Takes bytes from outside for packed changes, as far as their head says that they may be.
    pub fn claimed(bytes: Vec<u8>) -> Result<Self, MalformedPacked> {
        if bytes.len() < HEAD_BYTES {
            return Err(MalformedPacked::Short { bytes: bytes.len() });
        }
        let this = Self { bytes };
        let most = |what, found, allowed| match found > allowed {
            true => Err(MalformedPacked::TooMany { what, found, allowed }),
            false => Ok(()),
        };
        most("changes", this.count() as usize, CHANGES_MAX as usize)?;
        let allowed = match this.packing() {
            frame::PLAIN => this.bytes.len() - HEAD_BYTES,
            frame::ZSTD => frame::inflated_max(this.bytes.len() - HEAD_BYTES),
            found => return Err(MalformedPacked::Packing { found }),
        };
        most("bytes unpacked", this.content_bytes(), allowed)?;
        Ok(this)
    }

    /// The changes and their seals.
    pub fn content(&self) -> Result<Content, MalformedPacked> {
        reading::read(&self.unpacked()?, self.count())
    }

    /// Whether [`Packed::content`] will give them, and what is known of them then.
    pub fn weigh(&self) -> Result<Weighed, MalformedPacked> {
        reading::weigh(&self.unpacked()?, self.count())
    }

    fn unpacked(&self) -> Result<Cow<'_, [u8]>, MalformedPacked> {
        let packed = &self.bytes[HEAD_BYTES..];
        Ok(match self.packing() {
            frame::PLAIN => Cow::Borrowed(packed),
            _ => Cow::Owned(frame::unpack_to(packed, self.content_bytes())?),
        })
    }

    /// As it is sent and kept.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// How many changes it says it holds.
    pub fn count(&self) -> u32 {
        u32::from_le_bytes(self.array(0..4))
    }

    /// How long its content says it is, unpacked.
    pub fn content_bytes(&self) -> usize {
        u32::from_le_bytes(self.array(4..8)) as usize
    }

    fn packing(&self) -> u8 {
        self.bytes[8]
    }

    fn array(&self, range: Range<usize>) -> [u8; 4] {
        self.bytes[range].try_into().expect("four bytes of a head that is there")
    }
}

#[cfg(test)]
mod tests;
