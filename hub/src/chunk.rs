//! One change as the bytes that are stored and sent: weighed before the document library sees it.
//!
//! In: bytes. Out: a [`Chunk`] whose checksum fits its hash, and the change it is for whoever needs
//! one. The library inflates compressed chunks and unrolls run lengths without a bound (65 kB can
//! ask for gigabytes, ten bytes for days), so only plain change chunks pass, and only those whose
//! columns unroll to little.
//!
//! Chunk layout: magic 85 6f 4a 83, checksum (4), type (1), length (LEB128), then dependencies,
//! actor, sequence, first operation, time, message, other actors, column list, column data; as in
//! the automerge binary format specification, "Change chunks" and "Column types".

mod many;

use automerge::{ActorId, Change, ChangeHash};
use bytes::Bytes;
use sha2::{Digest, Sha256};

pub(crate) use many::Chunks;

/// The longest chunk, in bytes.
pub const CHUNK_BYTES_MAX: usize = 8 * 1024 * 1024;
/// The most rows a column may unroll to.
pub const ROWS_MAX: u64 = 200_000;
/// The most bytes the texts of a column may unroll to.
pub const TEXT_BYTES_MAX: u64 = 8 * 1024 * 1024;

const MAGIC: [u8; 4] = [0x85, 0x6f, 0x4a, 0x83];
const CHANGE: u8 = 1;
/// Magic, checksum, type, and a length of four bytes, as all that are taken have.
const HEAD_BYTES_MAX: usize = 13;

/// Why bytes are not taken as a change.
#[derive(Debug, thiserror::Error)]
pub enum ChunkRefused {
    /// Longer than is taken.
    #[error("a chunk of {bytes} bytes, and at most {CHUNK_BYTES_MAX} are taken")]
    TooLong {
        /// Its length.
        bytes: usize,
    },
    /// It starts as no chunk does.
    #[error("no change chunk: it starts with {found:02x?}")]
    NoChunk {
        /// The first bytes.
        found: Vec<u8>,
    },
    /// A whole document, a compressed change or a bundle: those can inflate without a bound.
    #[error("a chunk of type {found}, and only plain changes (type 1) are taken")]
    Type {
        /// The type that was found.
        found: u8,
    },
    /// It ends early, goes on too long, or a number in it is none.
    #[error("the chunk does not fit its own lengths at byte {offset}")]
    Lengths {
        /// Where in the chunk.
        offset: usize,
    },
    /// A column is compressed, which no plain change has.
    #[error("column {column} of the chunk is compressed")]
    CompressedColumn {
        /// Which of its columns.
        column: usize,
    },
    /// It is short and stands for very much.
    #[error("column {column} of the chunk unrolls to more than {allowed} {unit}")]
    Unrolls {
        /// Which of its columns.
        column: usize,
        /// How much is taken.
        allowed: u64,
        /// Rows or bytes.
        unit: &'static str,
    },
    /// The checksum is another.
    #[error("the chunk's checksum does not fit its content")]
    Checksum,
    /// The library does not take it.
    #[error("the chunk is no change: {source}")]
    Library {
        /// Its reason.
        #[source]
        source: automerge::LoadChangeError,
    },
}

/// A change as its bytes. Most of what is done with a log needs no more of a change than this, and
/// the library takes ten times as long to read one as it takes to hash it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chunk {
    /// Its own, or a part of what it came with many others in.
    bytes: Bytes,
    hash: ChangeHash,
    /// Where the content starts, behind the length.
    content: usize,
    /// Where what stands behind the dependencies starts.
    rest: usize,
}

impl Chunk {
    /// The change these bytes from outside are.
    pub fn read(bytes: Vec<u8>) -> Result<Self, ChunkRefused> {
        let parts = weigh(&bytes)?;
        let hash = hash_of(&bytes);
        Self::of(bytes, parts, hash)
    }

    /// The change these bytes are, which were weighed before they were stored.
    pub(crate) fn stored(bytes: Vec<u8>) -> Result<Self, ChunkRefused> {
        let (parts, _) = parts(&bytes)?;
        let hash = hash_of(&bytes);
        Self::of(bytes, parts, hash)
    }

    fn of(bytes: Vec<u8>, parts: Parts, hash: ChangeHash) -> Result<Self, ChunkRefused> {
        let Parts { content, rest } = parts;
        if bytes[4..8] != hash.0[..4] {
            return Err(ChunkRefused::Checksum);
        }
        Ok(Self { bytes: bytes.into(), hash, content, rest })
    }

    /// The change that builds on this one alone and goes on so behind its dependencies: what
    /// [`Self::behind_one`] gave.
    pub(crate) fn built_on(cause: ChangeHash, rest: &[u8]) -> Result<Self, ChunkRefused> {
        let mut one = Chunks::default();
        one.bytes.reserve_exact(HEAD_BYTES_MAX + 33 + rest.len());
        one.add(&[&[1], cause.0.as_slice(), rest])?;
        Ok(one.chunks().next().expect("one was added"))
    }

    /// What is left of it for whoever has the one change it builds on; none where it builds on
    /// another, on several, or writes a number longer than it must.
    pub(crate) fn behind_one(&self, cause: ChangeHash) -> Option<&[u8]> {
        let plain = self.bytes.len() - self.content;
        let shortest = 1 + (usize::BITS - plain.leading_zeros()).saturating_sub(1) as usize / 7;
        let one = self.bytes[self.content] == 1 && self.rest == self.content + 33;
        let same = one && self.bytes[self.content + 1..self.rest] == cause.0;
        (same && self.content == 9 + shortest).then(|| &self.bytes[self.rest..])
    }

    /// What stands behind its length.
    pub(crate) fn content(&self) -> &[u8] {
        &self.bytes[self.content..]
    }

    /// What it is stored and sent as.
    pub fn raw_bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// Its hash, computed from its bytes.
    pub fn hash(&self) -> ChangeHash {
        self.hash
    }

    /// Who made it, and its number among what they made.
    pub fn made_by(&self) -> (ActorId, u64) {
        let mut cursor = Cursor { bytes: &self.bytes, offset: self.rest };
        let mut read = || {
            let length = cursor.length()?;
            let start = cursor.offset;
            cursor.skip(length)?;
            let actor = ActorId::from(&self.bytes[start..cursor.offset]);
            Ok::<_, ChunkRefused>((actor, cursor.unsigned()?))
        };
        read().expect("it was gone through when it was read")
    }

    /// The change, as the library has it.
    pub fn change(&self) -> Result<Change, ChunkRefused> {
        Change::try_from(self.raw_bytes()).map_err(|source| ChunkRefused::Library { source })
    }
}

impl From<&Change> for Chunk {
    fn from(change: &Change) -> Self {
        Self::stored(change.raw_bytes().to_vec()).expect("the library writes what it reads")
    }
}

/// Where parts of a chunk start: its content, and what stands behind the dependencies.
#[derive(Clone, Copy, Debug)]
struct Parts {
    content: usize,
    rest: usize,
}

/// Over the type, the length and the content.
fn hash_of(chunk: &[u8]) -> ChangeHash {
    ChangeHash(Sha256::digest(&chunk[8..]).into())
}

/// Writes a length as LEB128, the shortest way.
pub(crate) fn write_length(out: &mut Vec<u8>, length: usize) {
    write_unsigned(out, length as u64);
}

/// Writes a number as LEB128, the shortest way.
pub(crate) fn write_unsigned(out: &mut Vec<u8>, mut number: u64) {
    while number >= 0x80 {
        out.push(number as u8 | 0x80);
        number >>= 7;
    }
    out.push(number as u8);
}

/// The same with a sign.
pub(crate) fn write_signed(out: &mut Vec<u8>, mut number: i64) {
    // The last byte's sixth bit is the sign of all that follows.
    while !(-0x40..0x40).contains(&number) {
        out.push(number as u8 | 0x80);
        number >>= 7;
    }
    out.push(number as u8 & 0x7f);
}

/// Whether the library can be given these bytes.
fn weigh(bytes: &[u8]) -> Result<Parts, ChunkRefused> {
    let (parts, mut cursor) = parts(bytes)?;
    weigh_columns(&mut cursor)?;
    Ok(parts)
}

/// Goes through a chunk. Gives a cursor on its columns.
fn parts(bytes: &[u8]) -> Result<(Parts, Cursor<'_>), ChunkRefused> {
    let mut cursor = head(bytes)?;
    let content = cursor.offset;
    let dependencies = cursor.length()?;
    cursor.skip(dependencies.saturating_mul(32))?;
    let rest = cursor.offset;
    skip_to_columns(&mut cursor)?;
    Ok((Parts { content, rest }, cursor))
}

/// Whether these bytes are one plain change. Gives a cursor on its content.
fn head(bytes: &[u8]) -> Result<Cursor<'_>, ChunkRefused> {
    if bytes.len() > CHUNK_BYTES_MAX {
        return Err(ChunkRefused::TooLong { bytes: bytes.len() });
    }
    if bytes.len() < 9 || !bytes.starts_with(&MAGIC) {
        return Err(ChunkRefused::NoChunk { found: bytes.iter().copied().take(9).collect() });
    }
    if bytes[8] != CHANGE {
        return Err(ChunkRefused::Type { found: bytes[8] });
    }
    let mut cursor = Cursor { bytes, offset: 9 };
    if cursor.length()? != bytes.len() - cursor.offset {
        return Err(cursor.refused());
    }
    Ok(cursor)
}

/// From behind the dependencies.
fn skip_to_columns(cursor: &mut Cursor<'_>) -> Result<(), ChunkRefused> {
    cursor.skip_prefixed()?; // actor
    cursor.unsigned()?; // sequence
    cursor.unsigned()?; // first operation
    cursor.signed()?; // time
    cursor.skip_prefixed()?; // message
    for _ in 0..cursor.length()? {
        cursor.skip_prefixed()?; // other actors
    }
    Ok(())
}

fn weigh_columns(cursor: &mut Cursor<'_>) -> Result<(), ChunkRefused> {
    let count = cursor.length()?;
    // Their kinds and lengths stand before all of them.
    let mut heads = Cursor { bytes: cursor.bytes, offset: cursor.offset };
    for column in 0..count {
        if cursor.unsigned()? & 8 != 0 {
            return Err(ChunkRefused::CompressedColumn { column });
        }
        cursor.length()?;
    }
    for column in 0..count {
        let (kind, length) = (heads.unsigned()?, heads.length()?);
        let start = cursor.offset;
        cursor.skip(length)?;
        let mut data = Cursor { bytes: &cursor.bytes[..cursor.offset], offset: start };
        let weight = match kind & 7 {
            0 => data.runs(Value::Count)?,
            1 | 2 | 6 => data.runs(Value::Unsigned)?,
            3 => data.runs(Value::Signed)?,
            4 => data.boolean_runs()?,
            5 => data.runs(Value::Text)?,
            _ => Weight::default(), // Raw values stand as they are.
        };
        weight.admit(column)?;
    }
    Ok(())
}

/// What a run repeats.
#[derive(Clone, Copy)]
enum Value {
    /// How many rows another column has for this one.
    Count,
    Unsigned,
    Signed,
    Text,
}

/// What a column unrolls to.
#[derive(Default)]
struct Weight {
    rows: u64,
    text_bytes: u64,
}

impl Weight {
    fn add(&mut self, count: u64, value: u64, kind: Value) {
        let rows = if matches!(kind, Value::Count) { value.max(1) } else { 1 };
        self.rows = self.rows.saturating_add(count.saturating_mul(rows));
        if matches!(kind, Value::Text) {
            self.text_bytes = self.text_bytes.saturating_add(count.saturating_mul(value));
        }
    }

    fn admit(&self, column: usize) -> Result<(), ChunkRefused> {
        if self.rows > ROWS_MAX {
            return Err(ChunkRefused::Unrolls { column, allowed: ROWS_MAX, unit: "rows" });
        }
        if self.text_bytes > TEXT_BYTES_MAX {
            return Err(ChunkRefused::Unrolls { column, allowed: TEXT_BYTES_MAX, unit: "bytes" });
        }
        Ok(())
    }
}

/// Reads numbers, and never past the end.
pub(crate) struct Cursor<'a> {
    pub(crate) bytes: &'a [u8],
    pub(crate) offset: usize,
}

impl<'a> Cursor<'a> {
    /// Run lengths: n > 0 repeats one value, n < 0 lists −n values, 0 is followed by empty rows.
    fn runs(&mut self, kind: Value) -> Result<Weight, ChunkRefused> {
        let mut weight = Weight::default();
        while self.offset < self.bytes.len() {
            match self.signed()? {
                0 => weight.add(self.unsigned()?, 0, Value::Unsigned),
                count if count > 0 => {
                    let value = self.value(kind)?;
                    weight.add(count.unsigned_abs(), value, kind);
                }
                count => {
                    // Each listed value takes a byte at least, so this ends with the column.
                    for _ in 0..count.unsigned_abs() {
                        let value = self.value(kind)?;
                        weight.add(1, value, kind);
                    }
                }
            }
        }
        Ok(weight)
    }

    /// Counts of false and true rows in turn.
    fn boolean_runs(&mut self) -> Result<Weight, ChunkRefused> {
        let mut weight = Weight::default();
        while self.offset < self.bytes.len() {
            weight.add(self.unsigned()?, 0, Value::Unsigned);
        }
        Ok(weight)
    }

    fn value(&mut self, kind: Value) -> Result<u64, ChunkRefused> {
        match kind {
            Value::Count | Value::Unsigned => self.unsigned(),
            Value::Signed => self.signed().map(i64::unsigned_abs),
            Value::Text => self.skip_prefixed().map(|length| length as u64),
        }
    }

    pub(crate) fn skip(&mut self, count: usize) -> Result<(), ChunkRefused> {
        if count > self.bytes.len() - self.offset {
            return Err(self.refused());
        }
        self.offset += count;
        Ok(())
    }

    pub(crate) fn take(&mut self, count: usize) -> Result<&'a [u8], ChunkRefused> {
        let start = self.offset;
        self.skip(count)?;
        Ok(&self.bytes[start..self.offset])
    }

    /// What follows its length.
    pub(crate) fn prefixed(&mut self) -> Result<&'a [u8], ChunkRefused> {
        let length = self.length()?;
        self.take(length)
    }

    fn skip_prefixed(&mut self) -> Result<usize, ChunkRefused> {
        let length = self.length()?;
        self.skip(length)?;
        Ok(length)
    }

    pub(crate) fn length(&mut self) -> Result<usize, ChunkRefused> {
        let length = self.unsigned()?;
        usize::try_from(length).map_err(|_| self.refused())
    }

    pub(crate) fn unsigned(&mut self) -> Result<u64, ChunkRefused> {
        let mut number = 0;
        for shift in (0..64).step_by(7) {
            let byte = self.byte()?;
            number |= u64::from(byte & 0x7f) << shift;
            if byte & 0x80 == 0 {
                return Ok(number);
            }
        }
        Err(self.refused())
    }

    pub(crate) fn signed(&mut self) -> Result<i64, ChunkRefused> {
        let mut number = 0;
        for shift in (0..64).step_by(7) {
            let byte = self.byte()?;
            number |= i64::from(byte & 0x7f) << shift;
            if byte & 0x80 == 0 {
                let signed = byte & 0x40 != 0 && shift + 7 < 64;
                return Ok(if signed { number | (-1 << (shift + 7)) } else { number });
            }
        }
        Err(self.refused())
    }

    fn byte(&mut self) -> Result<u8, ChunkRefused> {
        let byte = self.bytes.get(self.offset).copied().ok_or_else(|| self.refused())?;
        self.offset += 1;
        Ok(byte)
    }

    fn refused(&self) -> ChunkRefused {
        ChunkRefused::Lengths { offset: self.offset }
    }
}

#[cfg(test)]
#[path = "chunk_tests.rs"]
mod tests;
