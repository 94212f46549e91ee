//! What stands in which lane of packed changes, and a change taken apart and put together.
//!
//! Of each change, in this order: how it is written ([`HOW`], a byte of the flags below); its
//! document ([`DOCUMENT`], 16 bytes) where it is another than that of the change before; then
//! either all of it ([`WHOLE`], a length and the chunk) or its parts: what it builds on
//! ([`CAUSES`], as the chunk has it) where that is not just the last change of its document in
//! here; its actor ([`ACTOR`], a length and at most [`ACTOR_BYTES_MAX`]) where it is another than
//! that change's; its sequence, first operation and time ([`NUMBERS`], signed LEB128, each less
//! that of that change, the sequence less one more); its message ([`MESSAGE`], with its length),
//! its other actors ([`OTHERS`], as the chunk has them), how many columns it has and of which kinds
//! ([`KINDS`]), how long they are ([`LENGTHS`]); and each column in the lane of its kind. Last, the
//! [`SEALS`] on all of them, as [`super::seals`] has it.

use automerge::ChangeHash;

use crate::chunk::{Chunk, ChunkRefused, Cursor, write_length, write_signed, write_unsigned};

/// The lanes that are always there, by their names.
pub(super) const FIXED: [&str; 11] = [
    "how", "document", "causes", "actor", "numbers", "message", "others", "kinds", "lengths",
    "whole", "seals",
];
pub(super) const HOW: usize = 0;
pub(super) const DOCUMENT: usize = 1;
pub(super) const CAUSES: usize = 2;
pub(super) const ACTOR: usize = 3;
pub(super) const NUMBERS: usize = 4;
pub(super) const MESSAGE: usize = 5;
pub(super) const OTHERS: usize = 6;
pub(super) const KINDS: usize = 7;
pub(super) const LENGTHS: usize = 8;
pub(super) const WHOLE: usize = 9;
pub(super) const SEALS: usize = 10;
/// What a column's lane is called.
pub(super) const COLUMN: &str = "column";
/// So many kinds of columns get a lane.
pub(super) const KINDS_MAX: usize = 64;

/// Of the document of the one before.
pub(super) const SAME_DOCUMENT: u8 = 1;
/// Behind the last change of its document, and nothing else.
pub(super) const BEHIND_LAST: u8 = 2;
/// By whoever made the last change of its document.
pub(super) const SAME_ACTOR: u8 = 4;
/// As it is.
pub(super) const AS_IT_IS: u8 = 8;

/// A longer one could be told in a byte, and stand in every change.
pub(super) const ACTOR_BYTES_MAX: usize = 128;

/// The numbers of a change.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Numbers {
    pub(super) sequence: u64,
    pub(super) operation: u64,
    pub(super) time: i64,
}

impl Numbers {
    /// What is written of them behind those of the change before.
    pub(super) fn behind(self, before: Self) -> [i64; 3] {
        let sequence = self.sequence.wrapping_sub(before.sequence).wrapping_sub(1);
        let operation = self.operation.wrapping_sub(before.operation);
        [sequence.cast_signed(), operation.cast_signed(), self.time.wrapping_sub(before.time)]
    }

    /// Those of which this was written.
    pub(super) fn after(before: Self, [sequence, operation, time]: [i64; 3]) -> Self {
        Self {
            sequence: before.sequence.wrapping_add(sequence.cast_unsigned()).wrapping_add(1),
            operation: before.operation.wrapping_add(operation.cast_unsigned()),
            time: before.time.wrapping_add(time),
        }
    }
}

/// The last change of a document, as far as the next one is told by it.
#[derive(Clone, Copy, Default)]
pub(super) struct Last<'a> {
    pub(super) hash: Option<ChangeHash>,
    pub(super) actor: Option<&'a [u8]>,
    pub(super) numbers: Numbers,
}

/// What a change builds on, as the chunk has it.
pub(super) fn causes_raw<'a>(cursor: &mut Cursor<'a>) -> Result<&'a [u8], ChunkRefused> {
    let start = cursor.offset;
    let count = cursor.length()?;
    cursor.skip(count.saturating_mul(32))?;
    Ok(&cursor.bytes[start..cursor.offset])
}

/// Its other actors, as the chunk has them.
pub(super) fn others_raw<'a>(cursor: &mut Cursor<'a>) -> Result<&'a [u8], ChunkRefused> {
    let start = cursor.offset;
    for _ in 0..cursor.length()? {
        cursor.prefixed()?;
    }
    Ok(&cursor.bytes[start..cursor.offset])
}

/// A change taken apart. What is called raw is as the chunk has it, with its lengths.
#[derive(Debug)]
pub(super) struct Parts<'a> {
    pub(super) causes_raw: &'a [u8],
    pub(super) actor: &'a [u8],
    pub(super) numbers: Numbers,
    pub(super) message: &'a [u8],
    pub(super) others_raw: &'a [u8],
    /// Each with its kind.
    pub(super) columns: Vec<(u64, &'a [u8])>,
}

impl<'a> Parts<'a> {
    pub(super) fn of(chunk: &'a Chunk) -> Result<Self, ChunkRefused> {
        let mut cursor = Cursor { bytes: chunk.content(), offset: 0 };
        let causes_raw = causes_raw(&mut cursor)?;
        let actor = cursor.prefixed()?;
        let (sequence, operation) = (cursor.unsigned()?, cursor.unsigned()?);
        let numbers = Numbers { sequence, operation, time: cursor.signed()? };
        let message = cursor.prefixed()?;
        let others_raw = others_raw(&mut cursor)?;
        let mut kinds = Vec::new();
        for _ in 0..cursor.length()? {
            kinds.push((cursor.unsigned()?, cursor.length()?));
        }
        let mut columns = Vec::with_capacity(kinds.len());
        for (kind, length) in kinds {
            columns.push((kind, cursor.take(length)?));
        }
        Ok(Self { causes_raw, actor, numbers, message, others_raw, columns })
    }

    /// The content of the chunk of which these are the parts, every number written the shortest
    /// way.
    pub(super) fn write(&self, content: &mut Vec<u8>) {
        content.extend(self.causes_raw);
        write_length(content, self.actor.len());
        content.extend(self.actor);
        write_unsigned(content, self.numbers.sequence);
        write_unsigned(content, self.numbers.operation);
        write_signed(content, self.numbers.time);
        write_length(content, self.message.len());
        content.extend(self.message);
        content.extend(self.others_raw);
        write_length(content, self.columns.len());
        for (kind, column) in &self.columns {
            write_unsigned(content, *kind);
            write_length(content, column.len());
        }
        self.columns.iter().for_each(|(_, column)| content.extend(*column));
    }
}
