//! What can still be read of a damaged store file, page by page, without the engine.
//!
//! In: the bytes of a store file and of its log. Out: every change whose bytes fit their checksum,
//! every saved form that gives its changes back, every seal whose signature holds, and what the
//! file says of newest changes and settings. Trusts nothing but hashes and signatures: no tree, no
//! free list, no index. Writes nothing.
//!
//! File format: "B-tree Pages" (leaf pages of tables, type 13; pages of tables without row ids,
//! whose records stand in leaves, type 10, and above them, type 2), "Cell Payload Overflow Pages",
//! "Record Format".

use std::collections::{BTreeMap, BTreeSet};

use automerge::{ActorId, Automerge, Change, ChangeHash};
use guyline_core::record::DocumentId;
use sha2::{Digest, Sha256};

use crate::chunk::{Chunk, ChunkRefused};
use crate::identity::proves;
use crate::log::Seal;
use crate::store::{FRAME_HEADER, LOG_HEADER, PIECES_MAX};

/// What was found.
#[derive(Debug, Default)]
pub(crate) struct Carved {
    /// Changes by document.
    pub(crate) changes: BTreeMap<DocumentId, BTreeMap<ChangeHash, Change>>,
    /// The newest changes each document is said to have, or to have had: pages stay when they are
    /// written over elsewhere.
    pub(crate) heads: BTreeMap<DocumentId, BTreeSet<ChangeHash>>,
    /// Seals, the ones that later ones stand for included.
    pub(crate) seals: BTreeMap<DocumentId, Vec<Seal>>,
    /// Pieces of peers' logs as they came, in the order they came, those put in place included.
    pub(crate) arrivals: BTreeMap<u64, Vec<u8>>,
    /// The settings, which nothing checks.
    pub(crate) settings: BTreeMap<String, String>,
    /// Seals that name their device by its row, and the keys of devices by theirs.
    sealed: Vec<(u64, DocumentId, Seal)>,
    keys: BTreeMap<u64, [u8; 32]>,
    /// Up to where each document's saved forms go, the ones written over included.
    forms: BTreeSet<(DocumentId, u64)>,
    /// The pieces of saved forms, by place.
    pieces: BTreeMap<u64, Vec<u8>>,
}

const TABLE_LEAF: u8 = 13;
const INDEX_LEAF: u8 = 10;
const INDEX_ABOVE: u8 = 2;

/// Reads all that can be read. So many bytes at the end of each page are not the engine's.
pub(crate) fn carve(file: &[u8], log: &[u8], reserved: usize) -> Carved {
    let pages = Pages::of(file, log, reserved);
    let mut carved = Carved::default();
    for (page, offset) in pages.all() {
        for (row, record) in pages.records(page, offset) {
            carved.take(row, &record);
        }
    }
    for (document, upto) in std::mem::take(&mut carved.forms) {
        carved.take_form(document, upto);
    }
    carved.take_sealed();
    carved
}

/// A value of a record. Numbers are those of positions: whole, and never below zero.
#[derive(Debug, PartialEq)]
enum Value {
    Null,
    Integer(u64),
    Blob(Vec<u8>),
    Text(String),
}

impl Carved {
    /// Takes a record if it is one of ours, by the kinds and lengths of its values.
    fn take(&mut self, row: u64, record: &[Value]) {
        match record {
            // One column more since version 2.
            [Value::Null, Value::Blob(document), Value::Blob(hash), Value::Blob(bytes), _, ..]
                if hash.len() == 32 =>
            {
                if let (Some(document), Ok(change)) = (id(document), read_change(bytes.clone())) {
                    self.changes.entry(document).or_default().insert(change.hash(), change);
                }
            }
            // One that was given up has no peer.
            [
                Value::Null,
                Value::Integer(_) | Value::Null,
                Value::Integer(_),
                Value::Blob(digest),
                Value::Blob(body),
            ] if digest[..] == Sha256::digest(body)[..] => {
                self.arrivals.insert(row, body.clone());
            }
            [Value::Null, Value::Blob(document), Value::Integer(upto), _] => {
                self.forms.extend(id(document).map(|document| (document, *upto)));
            }
            // Pieces of forms have places from there on.
            [Value::Null, Value::Blob(bytes)] if row < PIECES_MAX => {
                self.keys.extend(bytes.as_slice().try_into().ok().map(|key| (row, key)));
            }
            [Value::Null, Value::Blob(bytes)] => drop(self.pieces.insert(row, bytes.clone())),
            [Value::Blob(document), Value::Blob(heads)] => {
                let (hashes, rest) = heads.as_chunks::<32>();
                if let (Some(document), []) = (id(document), rest) {
                    let heads = hashes.iter().copied().map(ChangeHash);
                    self.heads.entry(document).or_default().extend(heads);
                }
            }
            [
                Value::Blob(document),
                Value::Blob(actor),
                Value::Blob(key),
                Value::Integer(sequence),
                Value::Blob(hash),
                Value::Blob(signature),
            ] => {
                if let Some((document, seal)) =
                    read_seal([document, actor, key, hash, signature], *sequence)
                {
                    self.seals.entry(document).or_default().push(seal);
                }
            }
            // Since version 6.
            [
                Value::Blob(document),
                Value::Blob(actor),
                Value::Integer(author),
                Value::Integer(sequence),
                Value::Blob(hash),
                Value::Blob(signature),
            ] => {
                let blobs = [document, actor, &vec![0; 32], hash, signature];
                self.take_seal(*author, seal_of(blobs, *sequence));
            }
            [Value::Text(key), Value::Text(value)] => {
                self.settings.insert(key.clone(), value.clone());
            }
            _ => {}
        }
    }

    /// Takes a seal without its key.
    fn take_seal(&mut self, author: u64, found: Option<(DocumentId, Seal)>) {
        if let Some((document, seal)) = found {
            // It names a newest change, whoever's.
            self.heads.entry(document).or_default().insert(seal.change);
            self.sealed.push((author, document, seal));
        }
    }

    /// Finds the key of each seal that names its device by a row: that row's, or where it is gone
    /// whichever proves it.
    fn take_sealed(&mut self) {
        for (author, document, seal) in std::mem::take(&mut self.sealed) {
            let named = self.keys.get(&author).into_iter();
            let sealed = named.chain(self.keys.values()).find_map(|key| {
                let seal = Seal { key: *key, ..seal.clone() };
                proves(document, &seal).is_ok().then_some(seal)
            });
            self.seals.entry(document).or_default().extend(sealed);
        }
    }

    fn take_form(&mut self, document: DocumentId, upto: u64) {
        let start = upto.saturating_mul(PIECES_MAX);
        let pieces = self.pieces.range(start..start.saturating_add(PIECES_MAX));
        let form: Vec<u8> = pieces.flat_map(|(_, piece)| piece.iter().copied()).collect();
        if form.is_empty() {
            return;
        }
        if let Ok(read) = Automerge::load(&form) {
            let changes = read.get_changes(&[]).into_iter();
            let held = self.changes.entry(document).or_default();
            held.extend(changes.map(|change| (change.hash(), change)));
        }
    }
}

fn read_change(bytes: Vec<u8>) -> Result<Change, ChunkRefused> {
    Chunk::read(bytes)?.change()
}

/// A seal that holds: its document, actor, key, change's hash and signature, in this order.
fn read_seal(blobs: [&Vec<u8>; 5], sequence: u64) -> Option<(DocumentId, Seal)> {
    seal_of(blobs, sequence).filter(|(document, seal)| proves(*document, seal).is_ok())
}

/// The same, whether it holds or not.
fn seal_of(blobs: [&Vec<u8>; 5], sequence: u64) -> Option<(DocumentId, Seal)> {
    let [document, actor, key, hash, signature] = blobs.map(Vec::as_slice);
    let document = id(document)?;
    let seal = Seal {
        change: ChangeHash(hash.try_into().ok()?),
        actor: ActorId::from(actor),
        sequence,
        key: key.try_into().ok()?,
        signature: signature.try_into().ok()?,
    };
    Some((document, seal))
}

fn id(bytes: &[u8]) -> Option<DocumentId> {
    bytes.try_into().ok().map(DocumentId::from_bytes)
}

/// The pages of a file, and those its log has in their place.
struct Pages<'a> {
    size: usize,
    /// What of it the engine uses.
    usable: usize,
    file: &'a [u8],
    frames: Vec<&'a [u8]>,
    newest: BTreeMap<usize, &'a [u8]>,
}

impl<'a> Pages<'a> {
    fn of(file: &'a [u8], log: &'a [u8], reserved: usize) -> Self {
        // What every store of ours has, if the header does not say.
        let size = match file.get(16..18).map(|two| u16::from_be_bytes([two[0], two[1]])) {
            Some(1) => 65_536,
            Some(size) if size >= 512 && size.is_power_of_two() => usize::from(size),
            _ => 4_096,
        };
        let usable = size - reserved;
        let mut pages = Self { size, usable, file, frames: Vec::new(), newest: BTreeMap::new() };
        let salts = log.get(16..24);
        for frame in log.get(LOG_HEADER..).unwrap_or_default().chunks_exact(FRAME_HEADER + size) {
            let page = &frame[FRAME_HEADER..];
            pages.frames.push(page);
            if salts == frame.get(8..16) {
                pages.newest.insert(number(frame, 0), page);
            }
        }
        pages
    }

    /// Every page there is, and where its header starts: the first page has the file's before it.
    fn all(&self) -> impl Iterator<Item = (&'a [u8], usize)> {
        let file = self.file.chunks(self.size).enumerate();
        let file = file.map(|(at, page)| (page, if at == 0 { 100 } else { 0 }));
        file.chain(self.frames.iter().map(|page| (*page, 0)))
    }

    /// Every record of a leaf page, with the number of its row; 0 where it has none.
    fn records(&self, page: &'a [u8], offset: usize) -> Vec<(u64, Vec<Value>)> {
        let Some(kind @ (TABLE_LEAF | INDEX_LEAF | INDEX_ABOVE)) = page.get(offset).copied() else {
            return Vec::new();
        };
        // Above the leaves the header is longer, and each cell starts with the page below it.
        let above = if kind == INDEX_ABOVE { 4 } else { 0 };
        let count = short(page, offset + 3);
        let cells = (0..count).map(|cell| short(page, offset + 8 + above + 2 * cell) + above);
        cells.filter_map(|at| self.record(page, at, kind)).collect()
    }

    fn record(&self, page: &'a [u8], at: usize, kind: u8) -> Option<(u64, Vec<Value>)> {
        let mut cell = page.get(at..)?;
        let length = usize::try_from(varint(&mut cell)?).ok()?;
        if length > self.file.len() + self.frames.len() * self.size {
            return None;
        }
        let row = if kind == TABLE_LEAF { varint(&mut cell)? } else { 0 };
        let local = self.local(length, kind);
        let mut payload = cell.get(..local)?.to_vec();
        let mut next = if local < length { number(cell, local) } else { 0 };
        while payload.len() < length {
            let page = self.page(next)?;
            next = number(page, 0);
            let count = (length - payload.len()).min(self.usable - 4);
            payload.extend_from_slice(page.get(4..4 + count)?);
        }
        Some((row, values(&payload)?))
    }

    /// How much of a payload lies in the page itself.
    fn local(&self, length: usize, kind: u8) -> usize {
        let most = match kind {
            TABLE_LEAF => self.usable - 35,
            _ => (self.usable - 12) * 64 / 255 - 23,
        };
        if length <= most {
            return length;
        }
        let least = (self.usable - 12) * 32 / 255 - 23;
        let fitting = least + (length - least) % (self.usable - 4);
        if fitting <= most { fitting } else { least }
    }

    fn page(&self, place: usize) -> Option<&'a [u8]> {
        let start = place.checked_sub(1)?.checked_mul(self.size)?;
        self.newest.get(&place).copied().or_else(|| self.file.get(start..start + self.size))
    }
}

fn values(record: &[u8]) -> Option<Vec<Value>> {
    let mut head = record;
    let length = usize::try_from(varint(&mut head)?).ok()?;
    let mut body = record.get(length..)?;
    let mut head = record.get(record.len() - head.len()..length)?;
    let mut values = Vec::new();
    while !head.is_empty() {
        let kind = varint(&mut head)?;
        let bytes = match kind {
            0 | 8 | 9 => 0,
            1..=4 => kind as usize,
            5 => 6,
            6 | 7 => 8,
            10 | 11 => return None,
            _ => usize::try_from((kind - 12) / 2).ok()?,
        };
        let value = body.get(..bytes)?;
        body = &body[bytes..];
        values.push(match kind {
            0 => Value::Null,
            8 | 9 => Value::Integer(kind - 8),
            1..8 => Value::Integer(value.iter().fold(0, |sum, byte| sum << 8 | u64::from(*byte))),
            _ if kind % 2 == 0 => Value::Blob(value.to_vec()),
            _ => Value::Text(String::from_utf8(value.to_vec()).ok()?),
        });
    }
    Some(values)
}

/// The engine's numbers of one to nine bytes, the highest first.
fn varint(bytes: &mut &[u8]) -> Option<u64> {
    let mut number = 0;
    for at in 0..9 {
        let (byte, rest) = bytes.split_first()?;
        *bytes = rest;
        if at == 8 {
            return Some(number << 8 | u64::from(*byte));
        }
        number = number << 7 | u64::from(byte & 0x7f);
        if byte & 0x80 == 0 {
            break;
        }
    }
    Some(number)
}

fn short(bytes: &[u8], at: usize) -> usize {
    bytes.get(at..at + 2).map_or(0, |two| usize::from(u16::from_be_bytes([two[0], two[1]])))
}

fn number(bytes: &[u8], at: usize) -> usize {
    bytes
        .get(at..)
        .and_then(<[u8]>::first_chunk)
        .map_or(0, |four| u32::from_be_bytes(*four) as usize)
}
