//! What the unit tests of the node are made from: small sessions, and a seeded generator.

use automerge::{ActorId, Change};
use guyline_core::record::{Author, Document, DocumentId, SessionEdit};
use guyline_core::time::Timestamp;

/// The id of the n-th document.
pub(crate) fn id(n: u8) -> DocumentId {
    DocumentId::from_bytes([n; 16])
}

/// A person with a device, at a fixed time.
pub(crate) fn author() -> Author {
    let at = Timestamp::parse("2026-05-14T10:20:00Z").unwrap();
    Author { person: "ines".to_owned(), device: "tablet".to_owned(), at }
}

/// A new session and the change that makes it, by an actor of its own.
pub(crate) fn session(n: u8) -> (Document, Change) {
    let actor = ActorId::from([n; 16]);
    Document::create_session(id(n), id(0), "lookout-vhf", "WO 1", actor, &author()).unwrap()
}

/// The edit that adds a note under an id of its own.
pub(crate) fn note(id: &str, text: &str) -> SessionEdit {
    SessionEdit::AddNote { id: id.to_owned(), text: text.to_owned() }
}

/// A session with `notes` notes, and its changes in order.
pub(crate) fn session_with_notes(n: u8, notes: usize) -> (Document, Vec<Change>) {
    let (mut document, first) = session(n);
    let mut changes = vec![first];
    for index in 0..notes {
        let edit = note(&format!("note-{index}"), &format!("it rained, {index}"));
        changes.push(document.apply(&edit, &author()).unwrap());
    }
    (document, changes)
}

/// Steele, Lea and Flood's SplitMix64: small, and the same on every machine.
pub(crate) struct Seeded(pub(crate) u64);

impl Seeded {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A number below `bound`.
    pub(crate) fn below(&mut self, bound: usize) -> usize {
        (self.next() % bound as u64) as usize
    }

    pub(crate) fn bytes(&mut self, count: usize) -> Vec<u8> {
        (0..count).map(|_| self.next() as u8).collect()
    }
}
