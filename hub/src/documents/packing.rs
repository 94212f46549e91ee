//! What is packed of the log ahead of time, once nobody works.
//!
//! In: the time. Out: a slice of the log that somebody is yet to get, and room for it once it is
//! packed: whoever packs it does so without the store, so that nobody waits. What is never packed
//! ahead is packed when it is sent; nothing is lost either way.

use guyline_core::time::Timestamp;

use super::{Documents, NodeError};
use crate::log::{LogSlice, Mark, NodeId};
use crate::packed::Packed;

/// A peer that was not met for so long is not packed for.
const MET_WITHIN_MS: i64 = 14 * 24 * 60 * 60 * 1_000;
/// So far back at most. A day of a large crew is less.
const CHANGES_BACK_MAX: u64 = 50_000;
/// About so many bytes of changes go into one stretch.
const BYTES_MAX: usize = 2 * 1024 * 1024;

impl Documents {
    /// What is to be packed next, if it is so many changes; fewer are packed sooner than found.
    pub(crate) fn to_be_packed(
        &self,
        now: Timestamp,
        from: usize,
    ) -> Result<Option<LogSlice>, NodeError> {
        let since = self.store.unpacked_since(now.unix_ms() - MET_WITHIN_MS)?;
        let newest = self.store.newest().position;
        let Some(after) = since.filter(|after| *after < newest) else { return Ok(None) };
        let after = match after.max(newest.saturating_sub(CHANGES_BACK_MAX)) {
            0 => Mark::START,
            after => self.store.mark_at(after)?,
        };
        let slice = self.store.log_after(after, NodeId::NOBODY, BYTES_MAX)?;
        Ok(Some(slice).filter(|slice| slice.entries.len() >= from))
    }

    /// Keeps a slice of the log as it was packed.
    pub(crate) fn keep_packed(
        &mut self,
        slice: &LogSlice,
        packed: &Packed,
    ) -> Result<(), NodeError> {
        let (after, upto) = (slice.after.position, slice.to.position);
        Ok(self.store.keep_stretch(after, upto, packed)?)
    }
}
