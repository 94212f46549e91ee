//! A walk along a log: what goes into a slice, and where the slice ends.
//!
//! In: each change in the order of the log, and a gate that says what becomes of it. Out: the
//! changes that go, and the position up to which the slice covers the log. Knows no engine.

use guyline_core::record::DocumentId;

use super::{Gate, Pass, SLICE_MAX, StoreError};
use crate::log::LogEntry;

/// How much goes into a slice, about.
#[derive(Clone, Copy, Debug)]
pub struct Room {
    /// Bytes of changes.
    pub(super) bytes: usize,
    /// Changes.
    pub(super) changes: usize,
}

impl Room {
    /// Of an empty slice of so many bytes.
    pub(super) fn of(bytes: usize) -> Self {
        Self { bytes, changes: SLICE_MAX }
    }

    /// What is left behind so much. One change is taken at least, wherever something is.
    pub(super) fn less(self, bytes: usize, changes: usize) -> Self {
        let bytes = self.bytes.saturating_sub(bytes);
        Self { bytes, changes: self.changes.saturating_sub(changes) }
    }
}

/// A slice on its way.
pub struct Walk<'a, 'b> {
    gate: &'a mut Gate<'b>,
    room: Room,
    bytes: usize,
    over: bool,
    /// What goes.
    pub(super) entries: Vec<LogEntry>,
    /// Up to where the slice covers the log; none where not one change was passed.
    pub(super) last: Option<u64>,
}

impl<'a, 'b> Walk<'a, 'b> {
    /// One that takes about so much.
    pub(super) fn new(room: Room, gate: &'a mut Gate<'b>) -> Self {
        Self { gate, room, bytes: 0, over: false, entries: Vec::new(), last: None }
    }

    /// Whether the slice has ended: the log goes on behind it.
    pub(super) fn is_over(&self) -> bool {
        self.over
    }

    /// Whether the change at a position goes, as far as the gate says; or several of one document,
    /// one behind the other: all go where the last one does.
    pub(super) fn goes(&mut self, end: u64, document: DocumentId) -> Result<bool, StoreError> {
        if self.over {
            return Ok(false);
        }
        match (self.gate)(end, document)? {
            Pass::Send => return Ok(true),
            Pass::LeaveOut => self.last = Some(end),
            Pass::Stop => self.over = true,
        }
        Ok(false)
    }

    /// Takes a change that goes, or ends the slice before it where it is full.
    pub(super) fn take(&mut self, (position, entry): (u64, LogEntry)) {
        self.bytes += entry.bytes();
        let full = self.bytes > self.room.bytes || self.entries.len() >= self.room.changes;
        if full && !self.entries.is_empty() {
            self.over = true;
            return;
        }
        self.last = Some(position);
        self.entries.push(entry);
    }
}
