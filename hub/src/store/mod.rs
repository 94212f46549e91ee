//! The store: one node's log of changes, its peers and its settings, in one folder.
//!
//! In: changes with the heads they lead to. Out: changes whose bytes were checked against their
//! hash. What was written is on disk when the call returns. Knows no document's content, no
//! exchange, no network and no clock; nothing here changes a file that is not a store of ours.

mod arrivals;
mod authors;
mod backup;
mod disk;
mod lives;
mod open;
mod peers;
mod reading;
mod saved;
mod seal;
mod sqlite;
mod summary;
mod wal;

use std::collections::BTreeSet;
use std::path::PathBuf;

use automerge::ChangeHash;
use guyline_core::record::DocumentId;
use guyline_core::time::Timestamp;

use crate::at_rest::EncryptionError;
use crate::log::{Card, LogEntry, Mark, NodeId, Seal};

pub use arrivals::Arrival;
pub(crate) use backup::under_other_keys;
pub use backup::{BackupError, backup, restore};
pub use disk::{Disk, SystemDisk};
pub(crate) use lives::LIFE;
pub(crate) use open::{file, lock};
pub(crate) use reading::PIECES_MAX;
pub use reading::Written;
pub use saved::{Folded, Length};
pub use sqlite::Store;
pub use summary::Summary;
pub(crate) use wal::{FRAME_HEADER, LOG_HEADER};

/// New changes of one document, and its newest ones after them.
#[derive(Clone, Debug)]
pub struct Append {
    /// The document.
    pub document: DocumentId,
    /// Its new changes, causes before effects, none of them stored before.
    pub entries: Vec<LogEntry>,
    /// Its heads after them, sorted.
    pub heads: Vec<ChangeHash>,
    /// The devices' seals on changes of it that are stored after this.
    pub seals: Vec<Seal>,
    /// Those of the changes that had been set aside: nobody who gives now is known to hold them.
    pub waited: BTreeSet<ChangeHash>,
}

/// A change from elsewhere that is no part of its document.
#[derive(Clone, Debug, PartialEq)]
pub struct SetAside {
    /// The change.
    pub entry: LogEntry,
    /// Why it was set aside.
    pub reason: String,
    /// Whether it may find its place later, when a seal, a cause or a word of the roster comes.
    pub waits: bool,
    /// The seal that came on it, if one did.
    pub seal: Option<Seal>,
}

/// Where what came from a peer belongs.
#[derive(Clone, Debug)]
pub struct Placing {
    /// What belongs to documents.
    pub appends: Vec<Append>,
    /// What does not.
    pub set_aside: Vec<SetAside>,
    /// When, by this device's clock.
    pub at: Timestamp,
}

/// What came from a peer, to be stored as one.
#[derive(Clone, Debug)]
pub struct TakeIn {
    /// Who gave it.
    pub card: Card,
    /// How far the peer's log is stored after this.
    pub seen: Mark,
    /// Whether that log is another than the one seen before, so that the peer may have lost what
    /// it gave.
    pub anew: bool,
    /// Where it belongs.
    pub placing: Placing,
}

/// A node met before.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Peer {
    /// The node.
    pub node: NodeId,
    /// What its people call it.
    pub name: String,
    /// Where it was last reached from here; none when it came to us.
    pub address: Option<String>,
    /// When it was last heard, by this device's clock.
    pub last_exchange_at: Timestamp,
    /// Why the last exchange failed; none when it did not.
    pub last_failure: Option<String>,
    /// How many changes of this store it is not known to hold.
    pub not_there: u64,
}

/// Why a store cannot be opened. The files are as they were.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// It is encrypted, and not with what was given.
    #[error(transparent)]
    Encryption(#[from] EncryptionError),
    /// The folder cannot be made or its files cannot be read or written.
    #[error("{path} cannot be used: {source}", path = path.display())]
    File {
        /// The file or folder.
        path: PathBuf,
        /// The system's reason.
        #[source]
        source: std::io::Error,
    },
    /// Another process has it.
    #[error("another Guyline is using {dir}", dir = dir.display())]
    InUse {
        /// The folder.
        dir: PathBuf,
    },
    /// The file is not a store of ours.
    #[error("{path} is not a Guyline store: it is {found}", path = path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
        /// What it seems to be.
        found: String,
    },
    /// A later version wrote it.
    #[error(
        "{path} is a store of version {found}, and this Guyline knows versions up to {known}",
        path = path.display()
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its version.
        found: u32,
        /// The last version known here.
        known: u32,
    },
    /// It is ours and cannot be read.
    #[error("{path} is damaged: {found}", path = path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What was found.
        found: String,
    },
    /// The engine refuses.
    #[error("{path} cannot be opened: {source}", path = path.display())]
    Engine {
        /// The file.
        path: PathBuf,
        /// Its reason.
        #[source]
        source: rusqlite::Error,
    },
}

impl OpenError {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::Encryption(error) => error.help(),
            Self::File { .. } => "check that the folder exists and that you may write in it",
            Self::InUse { .. } => "close the other one, or name another folder with --data",
            Self::Foreign { .. } => "name another folder with --data; the file was not touched",
            Self::Newer { .. } => "update Guyline on this device; the file was not touched",
            Self::Damaged { .. } => {
                "run guyline repair --data FOLDER, with --from a copy or another node's address: \
                 what is intact comes back, and what is not is named"
            }
            Self::Engine { .. } => "check the disk; if it is full, make room and start again",
        }
    }
}

/// Why the store could not read or write. What was stored before is as it was.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// There is no room.
    #[error("{path}: the disk is full", path = path.display())]
    Full {
        /// The file.
        path: PathBuf,
    },
    /// A stored change is not what it was.
    #[error(
        "{path}: the change at position {position} of document {document} is damaged: {found}",
        path = path.display()
    )]
    Rotten {
        /// The file.
        path: PathBuf,
        /// The document.
        document: DocumentId,
        /// Where in the log.
        position: u64,
        /// What was found.
        found: String,
    },
    /// The saved form of a document is not what it was.
    #[error(
        "{path}: the saved form of document {document} is damaged: {found}",
        path = path.display()
    )]
    Saved {
        /// The file.
        path: PathBuf,
        /// The document.
        document: DocumentId,
        /// What was found.
        found: String,
    },
    /// The file is not what it was.
    #[error("{path} is damaged: {found}", path = path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What was found.
        found: String,
    },
    /// The engine refuses.
    #[error("{path}: {source}", path = path.display())]
    Engine {
        /// The file.
        path: PathBuf,
        /// Its reason.
        #[source]
        source: rusqlite::Error,
    },
}
