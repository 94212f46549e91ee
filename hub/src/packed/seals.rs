//! Seals behind the changes they are on: how many keys (u16), 32 bytes each; how many seals (u32),
//! then for each, in the order of the changes: which change (u32), which key (u16), signature (64).
//! What else a seal says is read from its change.

use crate::chunk::Cursor;
use crate::log::{LogEntry, Seal};

/// The most seals in one place: each is a signature to verify.
pub const SEALS_MAX: usize = 32_768;

/// Why bytes are no seals. Offsets count from their start.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum SealsFault {
    /// They end within this.
    Ends {
        /// What is cut.
        part: &'static str,
    },
    /// There are more than are taken.
    TooMany {
        /// Where that is said.
        offset: usize,
    },
    /// A seal out of order, or on no change, or by no key.
    Wrong {
        /// Where it starts.
        offset: usize,
    },
}

pub(crate) fn write(out: &mut Vec<u8>, seals: &[(u32, Seal)]) {
    let mut keys: Vec<[u8; 32]> = seals.iter().map(|(_, seal)| seal.key).collect();
    keys.sort_unstable();
    keys.dedup();
    // More keys than a number of two bytes counts would be more devices than a roster takes.
    let count = u16::try_from(keys.len()).expect("a roster is bounded");
    out.extend(count.to_le_bytes());
    keys.iter().for_each(|key| out.extend(key));
    let count = u32::try_from(seals.len()).expect("a slice is bounded in bytes");
    out.extend(count.to_le_bytes());
    for (index, seal) in seals {
        let key = keys.binary_search(&seal.key).expect("every seal's key is among them");
        out.extend(index.to_le_bytes());
        out.extend((key as u16).to_le_bytes());
        out.extend(seal.signature);
    }
}

/// Reads seals on these changes. Gives how many bytes they were.
pub(crate) fn read(
    bytes: &[u8],
    entries: &[LogEntry],
) -> Result<(Vec<(u32, Seal)>, usize), SealsFault> {
    let mut seals = Vec::new();
    let read = go_through(bytes, entries.len(), |index, key, signature| {
        let entry = &entries[index as usize];
        let change = entry.change.hash();
        let (actor, sequence) = entry.change.made_by();
        seals.push((index, Seal { change, actor, sequence, key, signature }));
    })?;
    Ok((seals, read))
}

/// Goes through seals on so many changes: which change, by which key, the signature. Gives how many
/// bytes they were.
pub(crate) fn go_through(
    bytes: &[u8],
    changes: usize,
    mut each: impl FnMut(u32, [u8; 32], [u8; 64]),
) -> Result<usize, SealsFault> {
    let mut cursor = Cursor { bytes, offset: 0 };
    let mut keys = Vec::new();
    for _ in 0..u16::from_le_bytes(array(&mut cursor, "number of keys")?) {
        keys.push(array::<32>(&mut cursor, "key")?);
    }
    let offset = cursor.offset;
    let count = u32::from_le_bytes(array(&mut cursor, "number of seals")?) as usize;
    if count > SEALS_MAX {
        return Err(SealsFault::TooMany { offset });
    }
    let mut before = 0;
    for _ in 0..count {
        let offset = cursor.offset;
        let index = u32::from_le_bytes(array(&mut cursor, "seal's change")?);
        let key = u16::from_le_bytes(array(&mut cursor, "seal's key")?);
        let signature = array(&mut cursor, "seal's signature")?;
        let sealed = before <= index && (index as usize) < changes;
        match keys.get(usize::from(key)).filter(|_| sealed) {
            Some(key) => each(index, *key, signature),
            None => return Err(SealsFault::Wrong { offset }),
        }
        before = index;
    }
    Ok(cursor.offset)
}

fn array<const N: usize>(
    cursor: &mut Cursor<'_>,
    part: &'static str,
) -> Result<[u8; N], SealsFault> {
    let bytes = cursor.take(N).map_err(|_| SealsFault::Ends { part })?;
    Ok(*bytes.first_chunk().expect("exactly N bytes were taken"))
}
