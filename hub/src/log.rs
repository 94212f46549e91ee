//! The words store and exchange share: which node, which store, and where in a log.
//!
//! A log is an append-only list of changes, numbered from 1 by position. Plain values only: no
//! disk, no network, no clock. Random ids come from the operating system, through [`fresh_bytes`].

use std::fmt;

use automerge::{ActorId, ChangeHash};
use guyline_core::record::DocumentId;

use crate::chunk::Chunk;
use crate::packed::Packed;
pub use crate::scope::{Ask, Known, Place, SITES_MAX, Scope};

/// A node: one device, or the hub.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct NodeId(pub [u8; 16]);

/// A store: a node whose store is lost and made again gets another.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct StoreId(pub [u8; 16]);

impl NodeId {
    /// No node has it: for what goes to nobody in particular.
    pub const NOBODY: Self = Self([0; 16]);

    /// An id nobody else has.
    pub fn fresh() -> Self {
        Self(fresh_bytes())
    }
}

impl StoreId {
    /// An id nobody else has.
    pub fn fresh() -> Self {
        Self(fresh_bytes())
    }
}

impl fmt::Display for NodeId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        hex(f, &self.0)
    }
}

impl fmt::Display for StoreId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        hex(f, &self.0)
    }
}

fn hex(f: &mut fmt::Formatter<'_>, bytes: &[u8]) -> fmt::Result {
    bytes.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
}

/// Sixteen bytes of the operating system's randomness.
pub fn fresh_bytes() -> [u8; 16] {
    // The document library already asks the system for exactly this, so no second source is used.
    ActorId::random().to_bytes().try_into().expect("a random actor id has 16 bytes")
}

/// Who a node says it is when two meet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Card {
    /// The node.
    pub node: NodeId,
    /// Its store.
    pub store: StoreId,
    /// What its people call it.
    pub name: String,
}

/// A place in a log, and what stands there: opaque to everybody but the log's own store.
///
/// The hash is of the change and of the start of the program that wrote it. It tells a log that was
/// put back from a backup, or replaced, from the one remembered: a mark that does not fit counts as
/// [`Mark::START`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Mark {
    /// The position; 0 is before the first change.
    pub position: u64,
    /// Of what stands at that position; zeros at 0.
    pub hash: [u8; 32],
}

impl Mark {
    /// Before the first change.
    pub const START: Self = Self { position: 0, hash: [0; 32] };
}

/// One change in a log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LogEntry {
    /// The document it belongs to.
    pub document: DocumentId,
    /// The change.
    pub change: Chunk,
}

/// A device's word that it made a change, and what of its own that change builds on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seal {
    /// The change.
    pub change: ChangeHash,
    /// Its actor.
    pub actor: ActorId,
    /// Its number among the changes of that actor.
    pub sequence: u64,
    /// The device's public key.
    pub key: [u8; 32],
    /// The signature.
    pub signature: [u8; 64],
}

/// A device's word that it stores a log up to a mark. What is signed, [`receipt_text`] says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Receipt {
    /// The device's public key.
    pub key: [u8; 32],
    /// The signature.
    pub signature: [u8; 64],
}

/// What a receipt signs: who stores, whose log, up to where, and how much of it. A word for a part
/// never reads as one for the whole.
pub fn receipt_text(by: &Card, node: NodeId, store: StoreId, mark: Mark, scope: &Scope) -> Vec<u8> {
    let position = mark.position.to_be_bytes();
    let part = scope.digest();
    let part = part.as_ref().map_or(&[][..], |digest| digest.as_slice());
    let parts: [&[u8]; 7] =
        [&by.node.0, &by.store.0, &node.0, &store.0, &position, mark.hash.as_slice(), part];
    parts.concat()
}

/// Why a piece of a log starts where it does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Start {
    /// It goes on where the receiver is known to be.
    Continues,
    /// The receiver remembers another log: this one starts from its beginning.
    Anew,
    /// The receiver's log was another: everything is owed to it again, from the beginning.
    Owed,
}

/// A piece of a log, to be sent to somebody.
#[derive(Clone, Debug, PartialEq)]
pub struct LogSlice {
    /// Starts after this.
    pub after: Mark,
    /// Why it starts there.
    pub start: Start,
    /// Covers everything up to here, less what the receiver gave us and what it did not ask for.
    pub to: Mark,
    /// By which asking visits were left out, as [`Ask::digest`] has it; none where none were.
    pub left_out: Option<[u8; 32]>,
    /// Changes that go before the others, packed together; only for whoever reads them so.
    pub packed: Vec<Packed>,
    /// The changes, causes before effects.
    pub entries: Vec<LogEntry>,
    /// The seals on changes among them, each with its change's place, in order.
    pub seals: Vec<(u32, Seal)>,
    /// Whether the log goes on behind `to`.
    pub more: bool,
}

impl LogEntry {
    /// How many bytes its change has.
    pub fn bytes(&self) -> usize {
        self.change.raw_bytes().len()
    }
}

impl LogSlice {
    /// One without a change.
    pub fn nothing(after: Mark, start: Start, to: Mark) -> Self {
        let (packed, entries, seals) = Default::default();
        Self { after, start, to, left_out: None, packed, entries, seals, more: true }
    }

    /// How many changes it has.
    pub fn count(&self) -> u64 {
        let packed: u64 = self.packed.iter().map(|packed| u64::from(packed.count())).sum();
        packed + self.entries.len() as u64
    }
}

/// How far two logs are known to each other.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Memory {
    /// Up to where the peer's log is stored here.
    pub seen: Mark,
    /// How much of it: what was asked for on the way there.
    pub asked: Ask,
    /// Up to where this log is stored at the peer, by its own word.
    pub acknowledged: Mark,
    /// How much of it.
    pub holds: Scope,
}

impl Memory {
    /// Two that have never met.
    pub const NONE: Self =
        Self { seen: Mark::START, asked: Ask::ALL, acknowledged: Mark::START, holds: Scope::All };

    /// Asks for `scope` from now on. What of it was passed by is asked for from the start again,
    /// less what is known to be stored.
    pub fn ask_for(&mut self, scope: &Scope) {
        if !self.asked.scope.covers(scope) && self.seen != Mark::START {
            // While a part is still made up for, what was known before that still is.
            let known = Known { upto: self.seen, scope: self.asked.scope.clone() };
            self.asked.known.get_or_insert(known);
            self.seen = Mark::START;
        }
        self.asked.scope = scope.clone();
    }
}
