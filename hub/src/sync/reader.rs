//! The values of an exchange body, read in turn from unpacked bytes.
//!
//! In: bytes from outside. Out: what [`super::wire`] says stands there, or a [`MalformedBody`] that
//! names where. Never reads past the end, makes no room ahead for what is only promised, and never
//! panics. Knows no packing and no version.

use std::collections::{BTreeMap, BTreeSet};

use automerge::ChangeHash;
use guyline_core::record::DocumentId;

use super::wire::{BEHIND_LAST, BODY_BYTES_MAX, MalformedBody, NAME_BYTES_MAX, SAME_DOCUMENT};
use crate::chunk::{CHUNK_BYTES_MAX, Chunk, ChunkRefused};
use crate::log::{
    Ask, Card, Known, LogEntry, LogSlice, Mark, NodeId, Receipt, SITES_MAX, Scope, Seal, Start,
    StoreId,
};
use crate::packed::seals::{self, SealsFault};
use crate::packed::{CHANGES_MAX, MalformedPacked, Packed};

/// Reads values in turn, and never past the end.
pub(super) struct Reader<'a> {
    pub(super) bytes: &'a [u8],
    pub(super) offset: usize,
}

impl<'a> Reader<'a> {
    pub(super) fn card(&mut self) -> Result<Card, MalformedBody> {
        let node = NodeId(self.array("node id")?);
        let store = StoreId(self.array("store id")?);
        let length = usize::from(u16::from_le_bytes(self.array("name length")?));
        let offset = self.offset;
        let wrong = MalformedBody::Wrong { offset, part: "name" };
        if length > NAME_BYTES_MAX {
            return Err(wrong);
        }
        let name = String::from_utf8(self.take(length, "name")?.to_vec()).map_err(|_| wrong)?;
        Ok(Card { node, store, name })
    }

    pub(super) fn slice(&mut self) -> Result<LogSlice, MalformedBody> {
        let (after, to) = (self.mark()?, self.mark()?);
        let (start, more) = (self.start()?, self.flag("flag for more")?);
        let offset = self.offset;
        let count = u32::from_le_bytes(self.array("number of changes")?);
        if count > CHANGES_MAX {
            return Err(MalformedBody::Wrong { offset, part: "number of changes" });
        }
        // No room is made ahead: the number is the sender's word.
        let (mut entries, mut last) = (Vec::new(), BTreeMap::new());
        for index in 0..count {
            let before = entries.last().map(|entry: &LogEntry| entry.document);
            entries.push(self.entry(index, before, &mut last)?);
        }
        let seals = self.seals(&entries)?;
        let packed = Vec::new();
        Ok(LogSlice { after, start, to, left_out: None, packed, entries, seals, more })
    }

    pub(super) fn ask(&mut self) -> Result<Ask, MalformedBody> {
        let scope = self.scope()?;
        let known = match self.flag("flag for what is known")? {
            true => Some(Known { upto: self.mark()?, scope: self.scope()? }),
            false => None,
        };
        Ok(Ask { scope, known })
    }

    fn scope(&mut self) -> Result<Scope, MalformedBody> {
        if !self.flag("flag for sites")? {
            return Ok(Scope::All);
        }
        let offset = self.offset;
        let count = usize::from(u16::from_le_bytes(self.array("number of sites")?));
        if count > SITES_MAX {
            return Err(MalformedBody::Wrong { offset, part: "number of sites" });
        }
        let mut sites = BTreeSet::new();
        for _ in 0..count {
            let offset = self.offset;
            let site = DocumentId::from_bytes(self.array("site")?);
            if sites.last().is_some_and(|last| *last >= site) {
                return Err(MalformedBody::Wrong { offset, part: "order of sites" });
            }
            sites.insert(site);
        }
        Ok(Scope::Sites(sites))
    }

    pub(super) fn statement(&mut self) -> Result<(Mark, Receipt), MalformedBody> {
        let mark = self.mark()?;
        let key = self.array("receipt's key")?;
        Ok((mark, Receipt { key, signature: self.array("receipt's signature")? }))
    }

    fn seals(&mut self, entries: &[LogEntry]) -> Result<Vec<(u32, Seal)>, MalformedBody> {
        let start = self.offset;
        let (seals, read) =
            seals::read(&self.bytes[start..], entries).map_err(|fault| match fault {
                SealsFault::Ends { part } => {
                    MalformedBody::Incomplete { offset: self.bytes.len(), part }
                }
                SealsFault::TooMany { offset } => {
                    MalformedBody::Wrong { offset: start + offset, part: "number of seals" }
                }
                SealsFault::Wrong { offset } => {
                    MalformedBody::Wrong { offset: start + offset, part: "seal" }
                }
            })?;
        self.offset += read;
        Ok(seals)
    }

    /// The head of a slice, and what is packed together of it, not unpacked yet.
    pub(super) fn packed_slice(&mut self) -> Result<LogSlice, MalformedBody> {
        let (after, to) = (self.mark()?, self.mark()?);
        let (start, more) = (self.start()?, self.flag("flag for more")?);
        let left_out = match self.flag("flag for what was left out")? {
            true => Some(self.array("digest of what was left out")?),
            false => None,
        };
        let (mut packed, mut changes, mut bytes) = (Vec::new(), 0, 0);
        for number in 0..u16::from_le_bytes(self.array("number of packed changes")?) {
            let length = u32::from_le_bytes(self.array("length of packed changes")?) as usize;
            let taken = self.take(length, "packed changes")?.to_vec();
            let refused = |source| MalformedBody::Packed { number, source };
            let one = Packed::claimed(taken).map_err(refused)?;
            changes += one.count() as usize;
            bytes += one.content_bytes();
            let most = |what, found, allowed| match found > allowed {
                true => Err(refused(MalformedPacked::TooMany { what, found, allowed })),
                false => Ok(()),
            };
            most("changes", changes, CHANGES_MAX as usize)?;
            most("bytes unpacked", bytes, BODY_BYTES_MAX)?;
            packed.push(one);
        }
        let (entries, seals) = Default::default();
        Ok(LogSlice { after, start, to, left_out, packed, entries, seals, more })
    }

    fn entry(
        &mut self,
        index: u32,
        before: Option<DocumentId>,
        last: &mut BTreeMap<DocumentId, ChangeHash>,
    ) -> Result<LogEntry, MalformedBody> {
        let wrong = MalformedBody::Wrong { offset: self.offset, part: "way a change is written" };
        let [how] = self.array("way a change is written")?;
        let document = match (how & SAME_DOCUMENT, before) {
            (0, _) => DocumentId::from_bytes(self.array("document id")?),
            (_, Some(before)) => before,
            (_, None) => return Err(wrong),
        };
        let cause = match how & !SAME_DOCUMENT {
            0 => None,
            BEHIND_LAST => Some(*last.get(&document).ok_or(wrong)?),
            _ => return Err(wrong),
        };
        let length = self.length("chunk length")?;
        let offset = self.offset;
        let refused = |source| MalformedBody::Chunk { index, document, offset, source };
        if length > CHUNK_BYTES_MAX {
            return Err(refused(ChunkRefused::TooLong { bytes: length }));
        }
        let bytes = self.take(length, "chunk")?;
        let change = match cause {
            None => Chunk::read(bytes.to_vec()),
            Some(cause) => Chunk::built_on(cause, bytes),
        };
        let change = change.map_err(refused)?;
        last.insert(document, change.hash());
        Ok(LogEntry { document, change })
    }

    fn length(&mut self, part: &'static str) -> Result<usize, MalformedBody> {
        let offset = self.offset;
        let mut length = 0;
        for shift in (0..28).step_by(7) {
            let [byte] = self.array(part)?;
            length |= usize::from(byte & 0x7f) << shift;
            if byte & 0x80 == 0 {
                return Ok(length);
            }
        }
        Err(MalformedBody::Wrong { offset, part })
    }

    fn mark(&mut self) -> Result<Mark, MalformedBody> {
        Ok(Mark { position: self.position()?, hash: self.array("hash")? })
    }

    fn position(&mut self) -> Result<u64, MalformedBody> {
        let offset = self.offset;
        let position = u64::from_le_bytes(self.array("position")?);
        // A store counts in 63 bits.
        if i64::try_from(position).is_err() {
            return Err(MalformedBody::Wrong { offset, part: "position" });
        }
        Ok(position)
    }

    fn start(&mut self) -> Result<Start, MalformedBody> {
        let offset = self.offset;
        match self.array::<1>("start")? {
            [0] => Ok(Start::Continues),
            [1] => Ok(Start::Anew),
            [2] => Ok(Start::Owed),
            _ => Err(MalformedBody::Wrong { offset, part: "start" }),
        }
    }

    pub(super) fn flag(&mut self, part: &'static str) -> Result<bool, MalformedBody> {
        let offset = self.offset;
        match self.array::<1>(part)? {
            [0] => Ok(false),
            [1] => Ok(true),
            _ => Err(MalformedBody::Wrong { offset, part }),
        }
    }

    pub(super) fn array<const N: usize>(
        &mut self,
        part: &'static str,
    ) -> Result<[u8; N], MalformedBody> {
        Ok(*self.take(N, part)?.first_chunk().expect("exactly N bytes were taken"))
    }

    fn take(&mut self, count: usize, part: &'static str) -> Result<&'a [u8], MalformedBody> {
        let taken = self.bytes[self.offset..].get(..count);
        let offset = self.bytes.len();
        let taken = taken.ok_or(MalformedBody::Incomplete { offset, part })?;
        self.offset += count;
        Ok(taken)
    }
}
