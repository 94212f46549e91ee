//! Lanes back into changes.

use std::collections::BTreeMap;

use automerge::ChangeHash;
use guyline_core::record::DocumentId;

use super::lanes::{
    ACTOR, ACTOR_BYTES_MAX, AS_IT_IS, BEHIND_LAST, CAUSES, COLUMN, DOCUMENT, FIXED, HOW, KINDS,
    KINDS_MAX, LENGTHS, Last, MESSAGE, NUMBERS, Numbers, OTHERS, Parts, SAME_ACTOR, SAME_DOCUMENT,
    SEALS, WHOLE, causes_raw, others_raw,
};
use super::seals::{self, SealsFault};
use super::{Content, MalformedPacked, Weighed};
use crate::chunk::{CHUNK_BYTES_MAX, ChunkRefused, Chunks, Cursor};
use crate::log::LogEntry;

/// The bytes of one lane, read in turn.
struct Lane<'a> {
    name: &'static str,
    cursor: Cursor<'a>,
}

impl<'a> Lane<'a> {
    fn of(name: &'static str, bytes: &'a [u8]) -> Self {
        Self { name, cursor: Cursor { bytes, offset: 0 } }
    }

    /// Reads something, or says where it is not.
    fn read<T>(
        &mut self,
        read: impl FnOnce(&mut Cursor<'a>) -> Result<T, ChunkRefused>,
    ) -> Result<T, MalformedPacked> {
        let offset = self.cursor.offset;
        read(&mut self.cursor).map_err(|_| MalformedPacked::Lane { lane: self.name, offset })
    }

    fn array<const N: usize>(&mut self) -> Result<[u8; N], MalformedPacked> {
        let bytes = self.read(|cursor| cursor.take(N))?;
        Ok(*bytes.first_chunk().expect("exactly N bytes were taken"))
    }

    fn wrong(&self) -> MalformedPacked {
        MalformedPacked::Lane { lane: self.name, offset: self.cursor.offset }
    }

    fn end(&self) -> Result<(), MalformedPacked> {
        match self.cursor.bytes.len() - self.cursor.offset {
            0 => Ok(()),
            count => Err(MalformedPacked::Trailing { lane: self.name, count }),
        }
    }
}

/// The lanes, as they are read.
struct Lanes<'a> {
    fixed: [Lane<'a>; FIXED.len()],
    columns: Vec<(u64, Lane<'a>)>,
    last: BTreeMap<DocumentId, Last<'a>>,
    before: Option<DocumentId>,
    /// The columns and the content of a change, as it is put together: room that is used again.
    parts: Vec<(u64, &'a [u8])>,
    content: Vec<u8>,
    /// The changes, as far as they are read.
    chunks: Chunks,
}

/// What packed changes hold.
pub(super) fn read(content: &[u8], count: u32) -> Result<Content, MalformedPacked> {
    let mut lanes = Lanes::of(content, Chunks::default())?;
    // No room is made ahead: the number is the sender's word.
    let mut documents = Vec::new();
    for index in 0..count {
        documents.push(lanes.entry(index)?);
    }
    let chunks = std::mem::take(&mut lanes.chunks).chunks();
    let entries = documents.into_iter().zip(chunks);
    let entries: Vec<LogEntry> =
        entries.map(|(document, change)| LogEntry { document, change }).collect();
    let lane = lanes.fixed[SEALS].cursor.bytes;
    let (seals, read) = seals::read(lane, &entries).map_err(|fault| seals_fault(fault, lane))?;
    lanes.end(read)?;
    Ok(Content { entries, seals })
}

/// Goes through packed changes as [`read`] does, and keeps none. Gives their documents, and how
/// many seals there are.
pub(super) fn weigh(content: &[u8], count: u32) -> Result<Weighed, MalformedPacked> {
    let mut lanes = Lanes::of(content, Chunks::passing())?;
    for index in 0..count {
        lanes.entry(index)?;
    }
    let (lane, mut seals) = (lanes.fixed[SEALS].cursor.bytes, 0);
    let read = seals::go_through(lane, count as usize, |_, _, _| seals += 1);
    lanes.end(read.map_err(|fault| seals_fault(fault, lane))?)?;
    Ok(Weighed { documents: lanes.last.into_keys().collect(), seals })
}

impl<'a> Lanes<'a> {
    fn of(content: &'a [u8], chunks: Chunks) -> Result<Self, MalformedPacked> {
        let mut head = Lane::of("head", content);
        let mut lengths = [0; FIXED.len()];
        for length in &mut lengths {
            *length = u32::from_le_bytes(head.array()?) as usize;
        }
        let [kinds] = head.array()?;
        if usize::from(kinds) > KINDS_MAX {
            return Err(head.wrong());
        }
        let mut columns: Vec<(u64, usize)> = Vec::new();
        for _ in 0..kinds {
            let kind = u64::from(u32::from_le_bytes(head.array()?));
            if columns.last().is_some_and(|(before, _)| *before >= kind) {
                return Err(head.wrong());
            }
            columns.push((kind, u32::from_le_bytes(head.array()?) as usize));
        }
        let mut fixed = FIXED.map(|name| Lane::of(name, &[]));
        for (lane, length) in fixed.iter_mut().zip(lengths) {
            lane.cursor.bytes = head.read(|cursor| cursor.take(length))?;
        }
        let mut lanes = Vec::with_capacity(columns.len());
        for (kind, length) in columns {
            lanes.push((kind, Lane::of(COLUMN, head.read(|cursor| cursor.take(length))?)));
        }
        head.end()?;
        let (last, before, parts, content) = Default::default();
        Ok(Self { fixed, columns: lanes, last, before, parts, content, chunks })
    }

    /// Whether all was read; so much of the seals was.
    fn end(&mut self, seals: usize) -> Result<(), MalformedPacked> {
        self.fixed[SEALS].cursor.offset = seals;
        self.fixed.iter().try_for_each(Lane::end)?;
        self.columns.iter().try_for_each(|(_, lane)| lane.end())
    }

    /// Reads the next change. Gives its document.
    fn entry(&mut self, index: u32) -> Result<DocumentId, MalformedPacked> {
        let [how] = self.fixed[HOW].array()?;
        let known = [SAME_DOCUMENT, BEHIND_LAST, SAME_ACTOR, AS_IT_IS].iter().sum::<u8>();
        let parts = how & (BEHIND_LAST | SAME_ACTOR);
        if how & !known != 0 || (how & AS_IT_IS != 0 && parts != 0) {
            return Err(self.fixed[HOW].wrong());
        }
        let document = match (how & SAME_DOCUMENT, self.before) {
            (0, _) => DocumentId::from_bytes(self.fixed[DOCUMENT].array()?),
            (_, Some(before)) => before,
            (_, None) => return Err(self.fixed[HOW].wrong()),
        };
        self.before = Some(document);
        let mut last = self.last.get(&document).copied().unwrap_or_default();
        let change = match how & AS_IT_IS {
            0 => self.put_together(how, &mut last)?,
            _ => self.whole()?,
        };
        let hash = change.map_err(|source| MalformedPacked::Chunk { index, document, source })?;
        last.hash = Some(hash);
        self.last.insert(document, last);
        Ok(document)
    }

    fn whole(&mut self) -> Result<Result<ChangeHash, ChunkRefused>, MalformedPacked> {
        let bytes = self.fixed[WHOLE].read(Cursor::prefixed)?;
        Ok(match bytes.len() > CHUNK_BYTES_MAX {
            true => Err(ChunkRefused::TooLong { bytes: bytes.len() }),
            false => self.chunks.add_whole(bytes),
        })
    }

    fn put_together(
        &mut self,
        how: u8,
        last: &mut Last<'a>,
    ) -> Result<Result<ChangeHash, ChunkRefused>, MalformedPacked> {
        let wrong = self.fixed[HOW].wrong();
        self.content.clear();
        match (how & BEHIND_LAST, last.hash) {
            (0, _) => self.content.extend(self.fixed[CAUSES].read(causes_raw)?),
            (_, Some(hash)) => {
                self.content.push(1);
                self.content.extend(hash.0);
            }
            (_, None) => return Err(wrong),
        }
        let actor = match (how & SAME_ACTOR, last.actor) {
            (0, _) => self.fixed[ACTOR].read(Cursor::prefixed)?,
            (_, Some(actor)) => actor,
            (_, None) => return Err(wrong),
        };
        if actor.len() > ACTOR_BYTES_MAX {
            return Err(self.fixed[ACTOR].wrong());
        }
        let numbers = self.fixed[NUMBERS]
            .read(|lane| Ok([lane.signed()?, lane.signed()?, lane.signed()?]))?;
        let numbers = Numbers::after(last.numbers, numbers);
        (last.actor, last.numbers) = (Some(actor), numbers);
        let message = self.fixed[MESSAGE].read(Cursor::prefixed)?;
        let others_raw = self.fixed[OTHERS].read(others_raw)?;
        let columns = self.columns_of_one()?;
        // Its causes are there already.
        let parts = Parts { causes_raw: &[], actor, numbers, message, others_raw, columns };
        parts.write(&mut self.content);
        self.parts = parts.columns;
        if self.content.len() > CHUNK_BYTES_MAX {
            return Ok(Err(ChunkRefused::TooLong { bytes: self.content.len() }));
        }
        Ok(self.chunks.add(&[&self.content]))
    }

    fn columns_of_one(&mut self) -> Result<Vec<(u64, &'a [u8])>, MalformedPacked> {
        let count = self.fixed[KINDS].read(Cursor::length)?;
        let mut columns = std::mem::take(&mut self.parts);
        columns.clear();
        for _ in 0..count {
            let kind = self.fixed[KINDS].read(Cursor::unsigned)?;
            let length = self.fixed[LENGTHS].read(Cursor::length)?;
            let lane = self.columns.binary_search_by_key(&kind, |(kind, _)| *kind);
            let lane = lane.map_err(|_| self.fixed[KINDS].wrong())?;
            columns.push((kind, self.columns[lane].1.read(|lane| lane.take(length))?));
        }
        Ok(columns)
    }
}

fn seals_fault(fault: SealsFault, lane: &[u8]) -> MalformedPacked {
    let offset = match fault {
        SealsFault::Ends { .. } => lane.len(),
        SealsFault::TooMany { offset } | SealsFault::Wrong { offset } => offset,
    };
    MalformedPacked::Lane { lane: FIXED[SEALS], offset }
}
