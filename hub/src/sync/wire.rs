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
//! Version 5 is written to whoever is known to read it. Nothing of it is packed but the changes:
//! its packing is 0; a slice has, in place of its changes and their seals, the flag and digest of
//! version 4, how many [`Packed`] (u16), and each with its length (u32). So changes that were
//! packed once are sent and kept as they are.
//!
//! What a change builds on is 32 bytes that nothing packs, and nearly always the change before it:
//! the receiver has just hashed that.

use std::collections::{BTreeMap, BTreeSet};
use std::panic::resume_unwind;
use std::thread;

use guyline_core::record::DocumentId;
use zstd::zstd_safe::{CParameter, Strategy};

use super::reader::Reader;
use crate::chunk::{ChunkRefused, write_length};
use crate::frame::{self, FrameFault, PLAIN, ZSTD};
use crate::log::{Ask, Card, Known, LogEntry, LogSlice, Mark, Receipt, Scope, Start};
use crate::packed::{Content, MalformedPacked, Packed, SEALS_MAX, seals};

/// The most bytes of a packed body.
pub const PACKED_BYTES_MAX: usize = 16 * 1024 * 1024;
/// The most bytes of a body.
pub const BODY_BYTES_MAX: usize = frame::UNPACKED_BYTES_MAX;
/// The longest name, in bytes.
pub const NAME_BYTES_MAX: usize = 480;

const MAGIC: &[u8; 4] = b"GUYX";
/// 2: seals and receipts. 3: what a change builds on is told only where it is not the one before.
/// 4: what is asked for, and by what was left out.
pub const VERSION_OF_PARTS: u8 = 4;
/// The version that tells neither: everything is asked for, and nothing was left out.
pub const VERSION_OF_ALL: u8 = 3;
/// The version whose changes are packed by themselves.
pub const VERSION: u8 = 5;
const KNOWN: [u8; 3] = [VERSION_OF_ALL, VERSION_OF_PARTS, VERSION];
/// Less than this is unpacked before another thread has begun.
const WORTH_A_THREAD_BYTES: usize = 256 * 1024;
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
         to {VERSION}"
    )]
    Version {
        /// The version that was found.
        found: u8,
    },
    /// A packing nobody defined.
    #[error("an exchange body of packing {found}, which its version does not have")]
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
    #[error("the packed body: {source}")]
    Frame {
        /// The unpacker's reason.
        #[source]
        source: FrameFault,
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
    /// Changes that are packed together, and not as they must be.
    #[error("packed changes {number} of the body: {source}")]
    Packed {
        /// Which of them, from 0.
        number: u16,
        /// Why.
        #[source]
        source: MalformedPacked,
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

/// The bytes of a body, as every version since 3 reads it where nothing was left out. Changes that
/// are packed together are not for it.
pub fn encode(body: &Body) -> Vec<u8> {
    let left_out = body.mine.as_ref().is_some_and(|slice| slice.left_out.is_some());
    let version = match left_out || body.ask != Ask::ALL {
        true => VERSION_OF_PARTS,
        false => VERSION_OF_ALL,
    };
    let mut plain = head(body);
    match &body.mine {
        None => plain.push(0),
        Some(slice) => {
            plain.push(1);
            write_slice(&mut plain, slice);
            if version == VERSION_OF_PARTS {
                write_left_out(&mut plain, slice);
            }
        }
    }
    if version == VERSION_OF_PARTS {
        write_ask(&mut plain, &body.ask);
    }
    let (packing, bytes) = frame::pack(&plain, &PACKED_SO);
    together(version, packing, &bytes)
}

/// The same for whoever reads changes that are packed together.
pub fn encode_packed(body: &Body) -> Vec<u8> {
    let mut plain = head(body);
    match &body.mine {
        None => plain.push(0),
        Some(slice) => {
            plain.push(1);
            write_packed_slice(&mut plain, slice);
        }
    }
    write_ask(&mut plain, &body.ask);
    together(VERSION, PLAIN, &plain)
}

/// Reads a body, and refuses what is not one.
pub fn decode(packed: &[u8]) -> Result<Body, MalformedBody> {
    let mut body = claimed(packed)?;
    body.mine.as_mut().map_or(Ok(()), unpack_slice)?;
    Ok(body)
}

/// The same, where what is packed together is gone through and stays packed. Gives the documents of
/// its changes, too.
pub(crate) fn weighed(packed: &[u8]) -> Result<(Body, BTreeSet<DocumentId>), MalformedBody> {
    let body = claimed(packed)?;
    let Some(slice) = &body.mine else { return Ok((body, BTreeSet::new())) };
    let mut documents: BTreeSet<DocumentId> =
        slice.entries.iter().map(|entry| entry.document).collect();
    let mut seals = 0;
    for (number, weighed) in (0..).zip(each(&slice.packed, Packed::weigh)) {
        let weighed = weighed.map_err(|source| MalformedBody::Packed { number, source })?;
        documents.extend(weighed.documents);
        seals += weighed.seals;
        not_too_many_seals(number, seals)?;
    }
    Ok((body, documents))
}

/// Puts what is packed together before the other changes of a slice.
pub(crate) fn unpack_slice(slice: &mut LogSlice) -> Result<(), MalformedBody> {
    let (entries, seals) = (std::mem::take(&mut slice.entries), std::mem::take(&mut slice.seals));
    let packed = each(&std::mem::take(&mut slice.packed), Packed::content);
    let others = Ok(Content { entries, seals });
    for (number, content) in (0..).zip(packed.into_iter().chain([others])) {
        let Content { entries, seals } =
            content.map_err(|source| MalformedBody::Packed { number, source })?;
        // A body has fewer changes than that.
        let before = slice.entries.len() as u32;
        slice.seals.extend(seals.into_iter().map(|(place, seal)| (before + place, seal)));
        not_too_many_seals(number, slice.seals.len())?;
        match before {
            0 => slice.entries = entries,
            _ => slice.entries.extend(entries),
        }
    }
    Ok(())
}

fn not_too_many_seals(number: u16, found: usize) -> Result<(), MalformedBody> {
    if found <= SEALS_MAX {
        return Ok(());
    }
    let source = MalformedPacked::TooMany { what: "seals", found, allowed: SEALS_MAX };
    Err(MalformedBody::Packed { number, source })
}

/// The same, without a look into what is packed together.
pub(crate) fn claimed(packed: &[u8]) -> Result<Body, MalformedBody> {
    let (version, plain) = unpack(packed)?;
    let mut reader = Reader { bytes: &plain, offset: 0 };
    let card = reader.card()?;
    let yours = if reader.flag("statement flag")? { Some(reader.statement()?) } else { None };
    let mut mine = match (reader.flag("slice flag")?, version) {
        (false, _) => None,
        (true, VERSION) => Some(reader.packed_slice()?),
        (true, _) => Some(reader.slice()?),
    };
    let mut ask = Ask::ALL;
    if version != VERSION_OF_ALL {
        if let Some(slice) = &mut mine
            && version == VERSION_OF_PARTS
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

/// Whether the changes of a body are packed together.
pub(crate) fn is_packed(body: &[u8]) -> bool {
    body.get(MAGIC.len()) == Some(&VERSION)
}

/// Goes through all of them: by several threads where it is much, since each stands by itself.
fn each<T: Send>(
    packed: &[Packed],
    look: impl Fn(&Packed) -> Result<T, MalformedPacked> + Copy + Sync,
) -> Vec<Result<T, MalformedPacked>> {
    let bytes: usize = packed.iter().map(Packed::content_bytes).sum();
    let most = thread::available_parallelism().map_or(1, usize::from);
    let threads = most.min(packed.len()).min(bytes / WORTH_A_THREAD_BYTES);
    if threads < 2 {
        return packed.iter().map(look).collect();
    }
    let share = packed.len().div_ceil(threads);
    thread::scope(|scope| {
        let go = |packed: &[Packed]| packed.iter().map(look).collect::<Vec<_>>();
        let under_way: Vec<_> =
            packed.chunks(share).map(|share| scope.spawn(move || go(share))).collect();
        let ended = under_way.into_iter().map(|share| share.join());
        ended.flat_map(|share| share.unwrap_or_else(|panic| resume_unwind(panic))).collect()
    })
}

/// What every body begins with.
fn head(body: &Body) -> Vec<u8> {
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
    plain
}

fn together(version: u8, packing: u8, bytes: &[u8]) -> Vec<u8> {
    [MAGIC.as_slice(), &[version, packing], bytes].concat()
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
    debug_assert!(slice.packed.is_empty(), "whoever packs a slice knows who reads it");
    write_slice_head(plain, slice);
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
    seals::write(plain, &slice.seals);
}

fn write_packed_slice(plain: &mut Vec<u8>, slice: &LogSlice) {
    write_slice_head(plain, slice);
    write_left_out(plain, slice);
    let others = !slice.entries.is_empty();
    let last = others.then(|| Packed::of(&slice.entries, &slice.seals));
    let count = u16::try_from(slice.packed.len() + usize::from(others));
    plain.extend(count.expect("a slice is bounded in bytes").to_le_bytes());
    for packed in slice.packed.iter().chain(&last) {
        let length = u32::try_from(packed.bytes().len()).expect("a slice is bounded in bytes");
        plain.extend(length.to_le_bytes());
        plain.extend(packed.bytes());
    }
}

fn write_slice_head(plain: &mut Vec<u8>, slice: &LogSlice) {
    write_mark(plain, slice.after);
    write_mark(plain, slice.to);
    plain.push(match slice.start {
        Start::Continues => 0,
        Start::Anew => 1,
        Start::Owed => 2,
    });
    plain.push(u8::from(slice.more));
}

fn write_left_out(plain: &mut Vec<u8>, slice: &LogSlice) {
    plain.push(u8::from(slice.left_out.is_some()));
    plain.extend(slice.left_out.iter().flatten());
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
    if !KNOWN.contains(&version) {
        return Err(MalformedBody::Version { found: version });
    }
    let plain = match packing {
        PLAIN => frame.to_vec(),
        ZSTD if version != VERSION => inflate(frame)?,
        found => return Err(MalformedBody::Packing { found }),
    };
    Ok((version, plain))
}

fn inflate(packed: &[u8]) -> Result<Vec<u8>, MalformedBody> {
    frame::unpack(packed).map_err(|fault| match fault {
        FrameFault::TooLong { allowed } => MalformedBody::TooLong { allowed, state: "unpacked" },
        FrameFault::Trailing { count } => MalformedBody::Trailing { count },
        source => MalformedBody::Frame { source },
    })
}

#[cfg(test)]
#[path = "wire_tests.rs"]
mod tests;
