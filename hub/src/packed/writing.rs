//! Changes into lanes.

use std::collections::BTreeMap;

use guyline_core::record::DocumentId;

use super::lanes::{
    ACTOR, ACTOR_BYTES_MAX, AS_IT_IS, BEHIND_LAST, CAUSES, DOCUMENT, FIXED, HOW, KINDS, KINDS_MAX,
    LENGTHS, Last, MESSAGE, NUMBERS, Numbers, OTHERS, Parts, SAME_ACTOR, SAME_DOCUMENT, SEALS,
    WHOLE,
};
use super::seals;
use crate::chunk::{Chunk, write_length, write_signed, write_unsigned};
use crate::log::{LogEntry, Seal};

/// The lanes, as they fill.
#[derive(Default)]
struct Lanes<'a> {
    fixed: [Vec<u8>; FIXED.len()],
    columns: BTreeMap<u64, Vec<u8>>,
    last: BTreeMap<DocumentId, Last<'a>>,
    before: Option<DocumentId>,
    /// A change put together again.
    again: Vec<u8>,
}

/// The content of packed changes.
pub(super) fn write(entries: &[LogEntry], on_them: &[(u32, Seal)]) -> Vec<u8> {
    let mut lanes = Lanes::default();
    entries.iter().for_each(|entry| lanes.add(entry));
    seals::write(&mut lanes.fixed[SEALS], on_them);
    lanes.together()
}

impl<'a> Lanes<'a> {
    fn add(&mut self, LogEntry { document, change }: &'a LogEntry) {
        let mut how = 0;
        if self.before.replace(*document) == Some(*document) {
            how |= SAME_DOCUMENT;
        } else {
            self.fixed[DOCUMENT].extend(document.to_bytes());
        }
        let mut last = self.last.get(document).copied().unwrap_or_default();
        match self.parts_of(change) {
            Some(parts) => {
                if last.hash.is_some_and(|cause| change.behind_one(cause).is_some()) {
                    how |= BEHIND_LAST;
                }
                if last.actor == Some(parts.actor) {
                    how |= SAME_ACTOR;
                }
                self.add_parts(how, &parts, last.numbers);
                (last.actor, last.numbers) = (Some(parts.actor), parts.numbers);
            }
            None => {
                how |= AS_IT_IS;
                write_length(&mut self.fixed[WHOLE], change.raw_bytes().len());
                self.fixed[WHOLE].extend(change.raw_bytes());
            }
        }
        self.fixed[HOW].push(how);
        last.hash = Some(change.hash());
        self.last.insert(*document, last);
    }

    fn add_parts(&mut self, how: u8, parts: &Parts<'_>, before: Numbers) {
        if how & BEHIND_LAST == 0 {
            self.fixed[CAUSES].extend(parts.causes_raw);
        }
        if how & SAME_ACTOR == 0 {
            write_length(&mut self.fixed[ACTOR], parts.actor.len());
            self.fixed[ACTOR].extend(parts.actor);
        }
        for number in parts.numbers.behind(before) {
            write_signed(&mut self.fixed[NUMBERS], number);
        }
        write_length(&mut self.fixed[MESSAGE], parts.message.len());
        self.fixed[MESSAGE].extend(parts.message);
        self.fixed[OTHERS].extend(parts.others_raw);
        write_length(&mut self.fixed[KINDS], parts.columns.len());
        for (kind, column) in &parts.columns {
            write_unsigned(&mut self.fixed[KINDS], *kind);
            write_length(&mut self.fixed[LENGTHS], column.len());
            self.columns.entry(*kind).or_default().extend(*column);
        }
    }

    /// The parts of a change; none where it is not what they are put together to, byte for byte, or
    /// has something there is no lane for.
    fn parts_of(&mut self, change: &'a Chunk) -> Option<Parts<'a>> {
        let parts = Parts::of(change).ok().filter(|parts| parts.actor.len() <= ACTOR_BYTES_MAX)?;
        self.again.clear();
        parts.write(&mut self.again);
        let mut length = Vec::new();
        write_length(&mut length, self.again.len());
        let head = change.raw_bytes().len() - change.content().len();
        let same = self.again == change.content() && change.raw_bytes()[9..head] == length;
        let new = |kind: &u64| !self.columns.contains_key(kind);
        let kinds = parts.columns.iter().filter(|(kind, _)| new(kind)).count();
        let room = self.columns.len() + kinds <= KINDS_MAX;
        let narrow = parts.columns.iter().all(|(kind, _)| u32::try_from(*kind).is_ok());
        (same && room && narrow).then_some(parts)
    }

    fn together(self) -> Vec<u8> {
        let length = |lane: &Vec<u8>| u32::try_from(lane.len()).expect("bounded").to_le_bytes();
        let mut content: Vec<u8> = self.fixed.iter().flat_map(length).collect();
        content.push(self.columns.len() as u8);
        for (kind, lane) in &self.columns {
            content.extend((*kind as u32).to_le_bytes());
            content.extend(length(lane));
        }
        self.fixed.iter().chain(self.columns.values()).for_each(|lane| content.extend(lane));
        content
    }
}
