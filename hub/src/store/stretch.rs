//! Stretches of the log that are packed together, and a slice made of them.
//!
//! In: a mark. Out: what stands behind it in the log, as [`super::Reading::log_after`] has it, but
//! packed once where it was. A stretch is worked out from the log and says nothing else.

use super::walk::Room;
use super::{Pass, SLICE_MAX, Store, StoreError};
use crate::log::{LogEntry, LogSlice, Mark, NodeId};
use crate::packed::Packed;

/// A stretch of the log that is packed together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// The position of its last change.
    pub last: u64,
    /// Whoever gave some of it: the rows of peers, and 0 for this node.
    pub(super) givers: Vec<i64>,
    /// Its changes.
    pub packed: Vec<Packed>,
}

/// What stands right behind a position, for a peer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Behind {
    /// A stretch that is packed together, none of which the peer gave.
    Packed(Stretch),
    /// One that it gave all of and still has.
    Given {
        /// The position of its last change.
        last: u64,
    },
}

/// The most bytes of a stretch, packed, and of its content. One that came from a peer may be as
/// large as a body: with something beside it, nobody would take it.
const PACKED_BYTES_MAX: usize = 8 * 1024 * 1024;
const CONTENT_BYTES_MAX: usize = 16 * 1024 * 1024;

/// Whether changes with so many seals, packed like this, may be a stretch: it must go into a slice
/// together with others.
pub(crate) fn may_be_one(packed: &[Packed], seals: usize) -> bool {
    let sum = |of: fn(&Packed) -> usize| packed.iter().map(of).sum::<usize>();
    let changes = sum(|one| one.count() as usize);
    changes <= SLICE_MAX
        && seals <= 2 * changes
        && sum(|one| one.bytes().len()) <= PACKED_BYTES_MAX
        && sum(Packed::content_bytes) <= CONTENT_BYTES_MAX
}

/// Stretches of the log that are packed together as they are sent. All of it may be thrown away:
/// without it each change is packed anew for whoever gets it. An engine need not keep any.
pub trait Stretches {
    /// The stretch that starts right behind a position, for a peer; none where none does, or the
    /// peer gave some of it.
    fn behind(&self, _after: u64, _peer: NodeId) -> Result<Option<Behind>, StoreError> {
        Ok(None)
    }

    /// Where the next one starts behind a position.
    fn next_stretch(&self, _after: u64) -> Result<Option<u64>, StoreError> {
        Ok(None)
    }

    /// Behind which position the log is yet to be packed for peers that keep everything and were
    /// met since; none where that is no use.
    fn unpacked_since(&self, _met_since_ms: i64) -> Result<Option<u64>, StoreError> {
        Ok(None)
    }

    /// Keeps what stands behind a position and up to another.
    fn keep_stretch(
        &mut self,
        _after: u64,
        _upto: u64,
        _packed: &Packed,
    ) -> Result<(), StoreError> {
        Ok(())
    }
}

/// The log after a mark, less what a peer gave us itself, up to about `bytes_max`; with what is
/// packed together already as it is. Where it starts with such a stretch, that goes whole.
pub(crate) fn log_packed(
    store: &dyn Store,
    after: Mark,
    peer: NodeId,
    bytes_max: usize,
) -> Result<LogSlice, StoreError> {
    let (after, start) = store.where_to_start(after)?;
    let (mut upto, mut bytes, mut packed) = (after, 0, Vec::new());
    let mut changes = 0;
    loop {
        if upto == store.newest() {
            let nothing = LogSlice::nothing(after, start, upto);
            return Ok(LogSlice { packed, more: false, ..nothing });
        }
        match store.behind(upto.position, peer)? {
            Some(Behind::Given { last }) => upto = store.mark_at(last)?,
            Some(Behind::Packed(stretch)) => {
                bytes += stretch.packed.iter().map(Packed::content_bytes).sum::<usize>();
                changes += stretch.packed.iter().map(|one| one.count() as usize).sum::<usize>();
                let full = bytes > bytes_max || changes > SLICE_MAX;
                if full && !packed.is_empty() {
                    return Ok(LogSlice { packed, ..LogSlice::nothing(after, start, upto) });
                }
                packed.extend(stretch.packed);
                upto = store.mark_at(stretch.last)?;
            }
            None => {
                let until = match store.next_stretch(upto.position + 1)? {
                    Some(next) => store.mark_at(next - 1)?,
                    None => store.newest(),
                };
                let left = Room::of(bytes_max).less(bytes, changes);
                let all = &mut |_, _| Ok(Pass::Send);
                let rows = store.log_between(upto, until, start, peer, left, all)?;
                if rows.more || until == store.newest() {
                    return Ok(LogSlice { after, packed, ..rows });
                }
                bytes += rows.entries.iter().map(LogEntry::bytes).sum::<usize>();
                changes += rows.entries.len();
                packed.push(Packed::of(&rows.entries, &rows.seals));
                upto = until;
            }
        }
    }
}
