//! The engine's write-ahead log, looked through before the engine does.
//!
//! In: the bytes of a log file. Out: how many frames of it count, or that it is damaged. The
//! engine takes the first frame whose checksum fails for the end of the log: after a power cut
//! that is what it is, but a bit that turned there would silently take all later work away. The
//! two are told apart here: one commit can be in flight when the power goes, never two.
//!
//! File format, "The Write-Ahead Log": a header of 32 bytes (magic, version, page size, sequence,
//! two salts, checksum), then frames of 24 bytes (page, size at a commit or 0, salts, checksum)
//! and a page each. A checksum covers everything before it.

/// What a log holds.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Found {
    /// So many frames, up to the last whole commit.
    Whole {
        /// Frames that count.
        frames: u64,
    },
    /// Work that was on disk is cut off.
    Damaged {
        /// What was found.
        what: String,
    },
}

/// Bytes before all frames of a log.
pub(crate) const LOG_HEADER: usize = 32;
/// Bytes before the page of each.
pub(crate) const FRAME_HEADER: usize = 24;

/// Looks through a log.
pub(super) fn look(log: &[u8]) -> Found {
    let Some(header) = log.first_chunk::<LOG_HEADER>() else {
        return Found::Whole { frames: 0 };
    };
    // A header that never reached the disk: no frame was written before it was durable.
    if header.iter().all(|byte| *byte == 0) {
        return Found::Whole { frames: 0 };
    }
    let damaged = |what: &str| Found::Damaged { what: what.to_owned() };
    let big_endian = match number(header, 0) {
        0x377f_0682 => false,
        0x377f_0683 => true,
        // It lies within one sector, which is written whole or not at all.
        _ => return damaged("the head of its log is not what was written"),
    };
    let mut sum = Sum { big_endian, values: (0, 0) };
    sum.add(&header[..24]);
    if !sum.is(&header[24..]) {
        return damaged("the head of its log is not what was written");
    }
    let page = number(header, 8) as usize;
    if !(512..=65_536).contains(&page) {
        return damaged("the head of its log names no page size");
    }
    frames(&log[LOG_HEADER..], page, &header[16..24], sum)
}

fn frames(log: &[u8], page: usize, salts: &[u8], mut sum: Sum) -> Found {
    let mut frames = log.chunks_exact(FRAME_HEADER + page).zip(1_u64..);
    let mut counted = 0;
    for (frame, place) in frames.by_ref() {
        sum.take(frame);
        let ours = &frame[8..16] == salts && number(frame, 0) != 0;
        if !ours || !sum.is(&frame[16..24]) {
            let behind = commits_behind(frame, frames.map(|(frame, _)| frame), salts, sum);
            if behind > 0 {
                let what = format!("frame {place} of its log, and {behind} kept after it");
                return Found::Damaged { what };
            }
            break;
        }
        if commits(frame) {
            counted = place;
        }
    }
    Found::Whole { frames: counted }
}

/// How many commits follow, without a break, on another one at or behind the frame that failed.
///
/// What a failed write left there may commit as well, but does not join what lies before it. A
/// frame with other salts is left from before the log was begun anew.
fn commits_behind<'a>(
    failed: &'a [u8],
    rest: impl Iterator<Item = &'a [u8]>,
    salts: &[u8],
    computed: Sum,
) -> usize {
    let mut before = Sum::written(computed.big_endian, failed);
    // Where only its checksum was hit, the next frame joins what it should have been.
    let mut or_before = Some(computed);
    let (mut joined, mut behind) = (commits(failed), 0);
    for frame in rest {
        let joins = |mut sum: Sum| {
            sum.take(frame);
            sum.is(&frame[16..24])
        };
        let whole = &frame[8..16] == salts && (joins(before) || or_before.is_some_and(joins));
        if joined && whole && commits(frame) {
            behind += 1;
        }
        joined = (joined && whole) || (&frame[8..16] == salts && commits(frame));
        (before, or_before) = (Sum::written(before.big_endian, frame), None);
    }
    behind
}

fn commits(frame: &[u8]) -> bool {
    number(frame, 4) != 0
}

fn number(bytes: &[u8], at: usize) -> u32 {
    bytes[at..].first_chunk().map_or(0, |four| u32::from_be_bytes(*four))
}

/// The engine's running checksum over pairs of 32-bit numbers.
#[derive(Clone, Copy)]
struct Sum {
    big_endian: bool,
    values: (u32, u32),
}

impl Sum {
    /// As a frame says that it was there.
    fn written(big_endian: bool, frame: &[u8]) -> Self {
        Self { big_endian, values: (number(frame, 16), number(frame, 20)) }
    }

    /// Goes on over a frame: its first eight bytes, and its page.
    fn take(&mut self, frame: &[u8]) {
        self.add(&frame[..8]);
        self.add(&frame[FRAME_HEADER..]);
    }

    fn add(&mut self, bytes: &[u8]) {
        // Lean, because a whole log goes through here before anything is opened.
        let read = if self.big_endian { u32::from_be_bytes } else { u32::from_le_bytes };
        let (mut first, mut second) = self.values;
        for [a, b, c, d, e, f, g, h] in bytes.as_chunks::<8>().0 {
            first = first.wrapping_add(read([*a, *b, *c, *d])).wrapping_add(second);
            second = second.wrapping_add(read([*e, *f, *g, *h])).wrapping_add(first);
        }
        self.values = (first, second);
    }

    fn is(&self, written: &[u8]) -> bool {
        (number(written, 0), number(written, 4)) == self.values
    }
}

#[cfg(test)]
#[path = "wal_tests.rs"]
mod tests;
