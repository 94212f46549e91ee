//! What one side of an exchange says to the other, as bytes.
//!
//! In: a [`Body`]. Out: bytes, and back. No bytes from outside can make this use more memory than
//! the limits below say, and none may panic: what does not fit is a [`MalformedBody`] that names
//! where. Knows no store, no socket, no clock.
//!
//! Layout: `GUYX`, version (1 byte), packing (1 byte: 0 plain, 1 one zstd frame), then the packed
//! body. Numbers are little-endian. Body: node (16), store (16), name (u16 length, UTF-8); a flag
//! and, if 1, up to where the receiver's log is stored at the sender (position u64, hash 32) and
//! the receipt for it (key 32, signature 64); a flag and, if 1, a slice of the sender's log: after
//! and to (position, hash each), why it starts there (1 byte: 0 continues, 1 anew, 2 owed), whether
//! there is more (flag), how many (u32), then for each: how it is written (1 byte: 1 is added where
//! it is of the document of the one before, 2 where it builds on the last change of its document in
//! this slice and on nothing else), the document (16) where it is another, a length (LEB128), and
//! the automerge change chunk, or what of it stands behind its dependencies; then the keys that
//! sealed some of them: how many (u16), 32 bytes each; and the seals: how many (u32), then for
//! each, in the order of the changes: which change (u32), which key (u16), signature (64). What
//! else a seal says is read from its change.
//!
//! Version 4 has more: behind the seals of a slice a flag and, if 1, a digest of the asking by
//! which visits were left out (32); and at the end of the body what the speaker asks for: how much
//! (a flag and, if 1, of which sites the visits: how many (u16), their ids (16 each), rising), a
//! flag and, if 1, what of it is stored already: up to where (position, hash) and how much. Who
//! asks for everything and left nothing out writes version 3, which says just that: so only a
//! device that keeps a part needs others that know of it. Both are read.
//!
//! What a change builds on is 32 bytes that nothing packs, and nearly always the change before it:
//! the receiver has just hashed that.

use std::collections::BTreeMap;
use std::io::Read;

use guyline_core::record::DocumentId;
use zstd::zstd_safe::{CParameter, Strategy};

use super::reader::Reader;
use crate::chunk::{ChunkRefused, write_length};
use crate::log::{Ask, Card, Known, LogEntry, LogSlice, Mark, Receipt, Scope, Seal, Start};

/// The most bytes of a packed body.
pub const PACKED_BYTES_MAX: usize = 16 * 1024 * 1024;
/// The most bytes of a body.
pub const BODY_BYTES_MAX: usize = 64 * 1024 * 1024;
/// How many times its packed size a body may have.
pub const RATIO_MAX: usize = 50;
/// Up to here the ratio does not matter.
const RATIO_FREE_BYTES: usize = 256 * 1024;
/// The most changes of a slice: some can be told in a few bytes.
pub const CHANGES_MAX: u32 = 65_536;
/// The most seals of a slice: each is a signature to verify.
pub const SEALS_MAX: usize = 32_768;
/// The longest name, in bytes.
pub const NAME_BYTES_MAX: usize = 480;

const MAGIC: &[u8; 4] = b"GUYX";
/// 2: seals and receipts. 3: what a change builds on is told only where it is not the one before.
/// 4: what is asked for, and by what was left out.
pub const VERSION: u8 = 4;
/// The version that tells neither: everything is asked for, and nothing was left out.
pub const VERSION_OF_ALL: u8 = 3;
const PLAIN: u8 = 0;
const ZSTD: u8 = 1;
/// Of the document of the one before.
pub(super) const SAME_DOCUMENT: u8 = 1;
/// Behind the last change of its document, and nothing else.
pub(super) const BEHIND_LAST: u8 = 2;
/// Changes of one visit are alike, so the nearest match is the best one: to compare it with the one
/// after it makes a fifth less than the library's third level, and its sixth, which looks at more
/// of them, makes more of it again and takes as long.
const PACKED_SO: [CParameter; 6] = [
    CParameter::WindowLog(20),
    CParameter::Strategy(Strategy::ZSTD_lazy),
    CParameter::MinMatch(4),
    CParameter::SearchLog(1),
    CParameter::ChainLog(16),
    CParameter::HashLog(17),
];
/// 2^23 bytes of window bound what unpacking needs beside its result.
const ZSTD_WINDOW_LOG_MAX: u32 = 23;

/// What one side says.
#[derive(Clone, Debug, PartialEq)]
pub struct Body {
    /// Who speaks.
    pub card: Card,
    /// Up to where the receiver's log is on the speaker's disk; none before they know each other.
    pub yours: Option<(Mark, Receipt)>,
    /// A piece of the speaker's log.
    pub mine: Option<LogSlice>,
    /// What the speaker asks for of the receiver's log.
    pub ask: Ask,
}

/// Why bytes are no body. `offset` counts in the unpacked body.
#[derive(Debug, thiserror::Error)]
pub enum MalformedBody {
    /// It does not start as a body does.
    #[error("no exchange body: it starts with {found:02x?}")]
    NotABody {
        /// The first bytes.
        found: Vec<u8>,
    },
    /// Another version of the format.
    #[error(
        "an exchange body of version {found}, and this Guyline speaks versions {VERSION_OF_ALL} \
         and {VERSION}"
    )]
    Version {
        /// The version that was found.
        found: u8,
    },
    /// A packing nobody defined.
    #[error("an exchange body of packing {found}, and 0 or 1 is known")]
    Packing {
        /// The packing that was found.
        found: u8,
    },
    /// Longer than is taken.
    #[error("a body of more than {allowed} bytes {state}")]
    TooLong {
        /// How many are taken.
        allowed: usize,
        /// Packed or unpacked.
        state: &'static str,
    },
    /// The frame ends early or is damaged.
    #[error("the packed body is incomplete or damaged: {source}")]
    Frame {
        /// The unpacker's reason.
        #[source]
        source: std::io::Error,
    },
    /// Something stands behind the end.
    #[error("{count} bytes behind the end of the body")]
    Trailing {
        /// How many.
        count: usize,
    },
    /// It ends early.
    #[error("the body ends at byte {offset}, within its {part}")]
    Incomplete {
        /// Where it ends.
        offset: usize,
        /// What is cut.
        part: &'static str,
    },
    /// A value that cannot be.
    #[error("the {part} at byte {offset} of the body is wrong")]
    Wrong {
        /// Where it starts.
        offset: usize,
        /// What it is.
        part: &'static str,
    },
    /// A change that is not taken.
    #[error("change {index} (document {document}, byte {offset} of the body): {source}")]
    Chunk {
        /// Which one, from 0.
        index: u32,
        /// Its document.
        document: DocumentId,
        /// Where it starts.
        offset: usize,
        /// Why.
        #[source]
        source: ChunkRefused,
    },
}

/// The bytes of a body.
pub fn encode(body: &Body) -> Vec<u8> {
    let left_out = body.mine.as_ref().is_some_and(|slice| slice.left_out.is_some());
    let version = match left_out || body.ask != Ask::ALL {
        true => VERSION,
        false => VERSION_OF_ALL,
    };
    let mut plain = Vec::new();
    write_card(&mut plain, &body.card);
    match body.yours {
        None => plain.push(0),
        Some((mark, receipt)) => {
            plain.push(1);
            write_mark(&mut plain, mark);
            plain.extend(receipt.key);
            plain.extend(receipt.signature);
        }
    }
    match &body.mine {
        None => plain.push(0),
        Some(slice) => {
            plain.push(1);
            write_slice(&mut plain, slice);
            if version == VERSION {
                plain.push(u8::from(slice.left_out.is_some()));
                plain.extend(slice.left_out.iter().flatten());
            }
        }
    }
    if version == VERSION {
        write_ask(&mut plain, &body.ask);
    }
    pack(version, &plain)
}

/// Reads a body, and refuses what is not one.
pub fn decode(packed: &[u8]) -> Result<Body, MalformedBody> {
    let (version, plain) = unpack(packed)?;
    let mut reader = Reader { bytes: &plain, offset: 0 };
    let card = reader.card()?;
    let yours = if reader.flag("statement flag")? { Some(reader.statement()?) } else { None };
    let mut mine = if reader.flag("slice flag")? { Some(reader.slice()?) } else { None };
    let mut ask = Ask::ALL;
    if version == VERSION {
        if let Some(slice) = &mut mine
            && reader.flag("flag for what was left out")?
        {
            slice.left_out = Some(reader.array("digest of what was left out")?);
        }
        ask = reader.ask()?;
    }
    match plain.len() - reader.offset {
        0 => Ok(Body { card, yours, mine, ask }),
        count => Err(MalformedBody::Trailing { count }),
    }
}

fn write_card(plain: &mut Vec<u8>, card: &Card) {
    plain.extend(card.node.0);
    plain.extend(card.store.0);
    let mut end = card.name.len().min(NAME_BYTES_MAX);
    while !card.name.is_char_boundary(end) {
        end -= 1;
    }
    plain.extend((end as u16).to_le_bytes());
    plain.extend(&card.name.as_bytes()[..end]);
}

fn write_mark(plain: &mut Vec<u8>, mark: Mark) {
    plain.extend(mark.position.to_le_bytes());
    plain.extend(mark.hash);
}

fn write_slice(plain: &mut Vec<u8>, slice: &LogSlice) {
    write_mark(plain, slice.after);
    write_mark(plain, slice.to);
    plain.push(match slice.start {
        Start::Continues => 0,
        Start::Anew => 1,
        Start::Owed => 2,
    });
    plain.push(u8::from(slice.more));
    let count = u32::try_from(slice.entries.len()).expect("a slice is bounded in bytes");
    plain.extend(count.to_le_bytes());
    let (mut before, mut last) = (None, BTreeMap::new());
    for LogEntry { document, change } in &slice.entries {
        let known = last.insert(*document, change.hash());
        let rest = known.and_then(|cause| change.behind_one(cause));
        let same = before.replace(*document) == Some(*document);
        let (how, written) = match rest {
            Some(rest) => (BEHIND_LAST, rest),
            None => (0, change.raw_bytes()),
        };
        plain.push(if same { how | SAME_DOCUMENT } else { how });
        if !same {
            plain.extend(document.to_bytes());
        }
        write_length(plain, written.len());
        plain.extend(written);
    }
    write_seals(plain, &slice.seals);
}

fn write_ask(plain: &mut Vec<u8>, ask: &Ask) {
    write_scope(plain, &ask.scope);
    plain.push(u8::from(ask.known.is_some()));
    if let Some(Known { upto, scope }) = &ask.known {
        write_mark(plain, *upto);
        write_scope(plain, scope);
    }
}

fn write_scope(plain: &mut Vec<u8>, scope: &Scope) {
    let Scope::Sites(sites) = scope else { return plain.push(0) };
    plain.push(1);
    // A device that wants more keeps everything.
    let count = u16::try_from(sites.len()).expect("the sites of a part are bounded");
    plain.extend(count.to_le_bytes());
    sites.iter().for_each(|site| plain.extend(site.to_bytes()));
}

fn write_seals(plain: &mut Vec<u8>, seals: &[(u32, Seal)]) {
    let mut keys: Vec<[u8; 32]> = seals.iter().map(|(_, seal)| seal.key).collect();
    keys.sort_unstable();
    keys.dedup();
    // More keys than a number of two bytes counts would be more devices than a roster takes.
    let count = u16::try_from(keys.len()).expect("a roster is bounded");
    plain.extend(count.to_le_bytes());
    keys.iter().for_each(|key| plain.extend(key));
    let count = u32::try_from(seals.len()).expect("a slice is bounded in bytes");
    plain.extend(count.to_le_bytes());
    for (index, seal) in seals {
        let key = keys.binary_search(&seal.key).expect("every seal's key is among them");
        plain.extend(index.to_le_bytes());
        plain.extend((key as u16).to_le_bytes());
        plain.extend(seal.signature);
    }
}

/// Packs a body, and leaves it plain where the receiver would take it for a bomb.
fn pack(version: u8, plain: &[u8]) -> Vec<u8> {
    let head = |packing: u8| [MAGIC.as_slice(), &[version, packing]].concat();
    let mut packed = head(ZSTD);
    let frame = compress(plain).expect("packing from memory to memory does not fail");
    if plain.len() <= inflated_max(frame.len()) {
        packed.extend(frame);
        return packed;
    }
    let mut packed = head(PLAIN);
    packed.extend(plain);
    packed
}

fn compress(plain: &[u8]) -> std::io::Result<Vec<u8>> {
    let mut compressor = zstd::bulk::Compressor::default();
    PACKED_SO.into_iter().try_for_each(|how| compressor.set_parameter(how))?;
    compressor.include_checksum(true)?;
    compressor.compress(plain)
}

fn inflated_max(packed_bytes: usize) -> usize {
    packed_bytes.saturating_mul(RATIO_MAX).clamp(RATIO_FREE_BYTES, BODY_BYTES_MAX)
}

fn unpack(packed: &[u8]) -> Result<(u8, Vec<u8>), MalformedBody> {
    if packed.len() > PACKED_BYTES_MAX {
        return Err(MalformedBody::TooLong { allowed: PACKED_BYTES_MAX, state: "packed" });
    }
    let Some((&[a, b, c, d, version, packing], frame)) = packed.split_first_chunk::<6>() else {
        return Err(MalformedBody::NotABody { found: packed.to_vec() });
    };
    if [a, b, c, d] != *MAGIC {
        return Err(MalformedBody::NotABody { found: vec![a, b, c, d] });
    }
    if ![VERSION_OF_ALL, VERSION].contains(&version) {
        return Err(MalformedBody::Version { found: version });
    }
    let plain = match packing {
        PLAIN => frame.to_vec(),
        ZSTD => inflate(frame)?,
        found => return Err(MalformedBody::Packing { found }),
    };
    Ok((version, plain))
}

fn inflate(frame: &[u8]) -> Result<Vec<u8>, MalformedBody> {
    let allowed = inflated_max(frame.len());
    let broken = |source| MalformedBody::Frame { source };
    let decoder = zstd::stream::read::Decoder::with_buffer(frame).map_err(broken)?;
    let mut decoder = decoder.single_frame();
    decoder.window_log_max(ZSTD_WINDOW_LOG_MAX).map_err(broken)?;
    let mut plain = Vec::new();
    decoder.by_ref().take(allowed as u64 + 1).read_to_end(&mut plain).map_err(broken)?;
    if plain.len() > allowed {
        return Err(MalformedBody::TooLong { allowed, state: "unpacked" });
    }
    match decoder.finish().len() {
        0 => Ok(plain),
        count => Err(MalformedBody::Trailing { count }),
    }
}

#[cfg(test)]
#[path = "wire_tests.rs"]
mod tests;
