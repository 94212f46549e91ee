//! What the tests of this folder are made from: nodes in folders of their own, sessions with notes,
//! and a seeded generator.

use automerge::ActorId;
use guyline_core::record::{Document, DocumentId, SessionEdit};
use guyline_hub::Node;
use guyline_tests::author;
use tempfile::TempDir;

/// A node and the folder it lives in.
pub(crate) struct Device {
    pub(crate) node: Node,
    pub(crate) folder: TempDir,
}

/// A new node of this name.
pub(crate) fn device(name: &str) -> Device {
    let folder = tempfile::tempdir().expect("a folder can be made");
    let node = Node::open(folder.path()).expect("a fresh store opens");
    node.set_name(name).expect("a name is kept");
    Device { node, folder }
}

/// The id of the n-th session.
pub(crate) fn id(n: u8) -> DocumentId {
    DocumentId::from_bytes([n; 16])
}

/// Makes the n-th session, with so many notes, as edits made at this node.
pub(crate) fn work(node: &Node, n: u8, notes: usize) {
    let actor = ActorId::random();
    let (document, change) =
        Document::create_session(id(n), id(0), "lookout-vhf", "WO 1", actor, &author())
            .expect("a session can be made");
    node.create(document, change).expect("it is stored");
    for index in 0..notes {
        write(node, n, &format!("note-{index}"), "it rained");
    }
}

/// Adds a note under an id to the n-th session.
pub(crate) fn write(node: &Node, n: u8, note: &str, text: &str) {
    let edit = SessionEdit::AddNote { id: note.to_owned(), text: text.to_owned() };
    node.edit(id(n), |document| document.apply(&edit, &author()))
        .expect("it is stored")
        .expect("it is admitted");
}

/// The ids of the notes of the n-th session.
pub(crate) fn notes(node: &Node, n: u8) -> Vec<String> {
    let look = |document: &Document| document.session().expect("a session").notes.clone();
    node.with_document(id(n), look).expect("it is here").into_keys().collect()
}

/// SplitMix64 (Steele, Lea and Flood): small, and the same on every machine.
pub(crate) struct Seeded(pub(crate) u64);

impl Seeded {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    pub(crate) fn below(&mut self, bound: usize) -> usize {
        (self.next() % bound as u64) as usize
    }

    pub(crate) fn bytes(&mut self, count: usize) -> Vec<u8> {
        (0..count).map(|_| self.next() as u8).collect()
    }
}
