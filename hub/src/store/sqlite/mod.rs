//! The embedded engine: SQLite, in the file `node.sqlite` of the node's folder.
//!
//! One process at a time has it. One file a topic; [`log`] opens it and holds what is in memory.

mod arrivals;
mod aside;
mod authors;
mod backup;
mod disk;
mod lives;
mod log;
mod open;
mod peers;
mod reading;
mod saved;
mod seal;
mod stretches;
mod summary;
mod upkeep;
mod wal;
mod whole;

use super::lives::Lives;
use super::{
    Append, Arrival, Arrivals, Asides, Authors, Behind, Folded, Folding, JUST_NOW_MS, Length,
    OpenError, POINTER, Peer, Peers, Placing, Reading, SetAside, Store, StoreError, Stretch,
    Stretches, Summaries, Summary, TakeIn, Upkeep, Writing, Written, aside_seal, walk,
};

pub(crate) use backup::under_other_keys;
pub use backup::{BackupError, backup, restore};
pub use disk::{Disk, SystemDisk};
pub use log::Sqlite;
pub(super) use open::lock_for;
pub(crate) use open::{file, lock};
pub(crate) use reading::PIECES_MAX;
pub(crate) use wal::{FRAME_HEADER, LOG_HEADER};
pub(super) use whole::{PeerRow, Placed};
