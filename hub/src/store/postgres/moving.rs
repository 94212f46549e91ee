//! A store moved out of its folder into a database, as the same node with the same log.
//!
//! In: a folder whose store nobody uses, and a database without one. Out: the database holds all of
//! it, and then the folder says so; the file that was the store stays beside it under another name.
//! All of it is one transaction, so what breaks off is as if it had not begun; one that broke off
//! between the two is found to be the same store and only said in the folder.

use std::path::{Path, PathBuf};

use super::link::{Link, Values, row_number};
use super::log::insert_seals;
use super::{LOCK, MIGRATIONS, VERSION};
use crate::store::sqlite::{PeerRow, Placed, file};
use crate::store::{
    Arrivals, Authors, DEVICE, Elsewhere, OpenError, SetAside, Sqlite, StoreError, SystemDisk,
    Writing,
};

/// What was moved.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Moved {
    /// How many documents.
    pub documents: u64,
    /// How many changes of them.
    pub changes: u64,
    /// Where the file stands that was the store.
    pub aside: PathBuf,
}

/// Why a store could not be moved. It is where it was.
#[derive(Debug, thiserror::Error)]
pub enum MoveError {
    /// The folder or the database cannot be opened.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// What is to be moved cannot be read, or the database takes it not.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// There is another store in the database.
    #[error("there is another store in the {place} already")]
    Taken {
        /// The database.
        place: String,
    },
    /// Something that came is not in its place yet.
    #[error("{pieces} pieces of other devices' logs are not in their place yet")]
    Pending {
        /// How many.
        pieces: u64,
    },
    /// The file that was the store cannot be put aside.
    #[error("{path} cannot be put aside: {source}", path = path.display())]
    Aside {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        #[source]
        source: std::io::Error,
    },
}

impl MoveError {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::Open(error) => error.help(),
            Self::Store(_) => {
                "look at it with guyline inspect, and at the database server's log, then try again"
            }
            Self::Taken { .. } => "make an empty database with createdb and name that",
            Self::Pending { .. } => "run guyline inspect on the folder: it says why they wait",
            Self::Aside { .. } => {
                "the database has it all: put the file elsewhere by hand, so that nobody takes it \
                 for the store"
            }
        }
    }
}

/// Moves the store of `dir` into the database at `url`. `device` is the key every process of this
/// node has.
pub fn move_out(dir: &Path, url: &str, device: &str) -> Result<Moved, MoveError> {
    let from = Sqlite::open_on(dir, &SystemDisk, None)?;
    let (pieces, end) = (from.arrivals()?, from.newest().position);
    if pieces > 0 {
        return Err(MoveError::Pending { pieces });
    }
    let config = url.parse().map_err(|source| OpenError::Address { source })?;
    let mut link = Link::to(config);
    let documents = from.heads().len() as u64;
    let changes = if is_same(&mut link, &from)? {
        end
    } else {
        link.transaction(|link| copy(link, &from, end, device))?
    };
    drop(from);
    Elsewhere::postgres(url.to_owned()).keep(dir)?;
    let aside = put_aside(&file(dir))?;
    Ok(Moved { documents, changes, aside })
}

/// Whether the database holds this very store already; an error where it holds another.
fn is_same(link: &mut Link, from: &Sqlite) -> Result<bool, MoveError> {
    if super::version(link)? == 0 {
        return Ok(false);
    }
    let row = link.first("SELECT position FROM pulse", &[])?;
    let position = row.map(|row| link.number(&row, 0)).transpose()?;
    let same = super::read_card(link)? == *from.card();
    if same && position == Some(from.newest().position) {
        return Ok(true);
    }
    Err(MoveError::Taken { place: link.place.clone() })
}

fn copy(link: &mut Link, from: &Sqlite, end: u64, device: &str) -> Result<u64, StoreError> {
    link.script(&format!("SELECT pg_advisory_xact_lock({LOCK})"))?;
    for step in MIGRATIONS {
        link.script(step)?;
    }
    let sql = "INSERT INTO pulse (version, generation, settings, position) VALUES ($1, 1, 1, $2)";
    link.run(sql, &[&row_number(VERSION), &row_number(end)])?;
    let sql = "INSERT INTO setting (key, value) VALUES ($1, $2)";
    for (key, value) in from.every_setting()? {
        link.run(sql, &[&key, &value])?;
    }
    link.run(sql, &[&DEVICE, &device])?;
    for peer in from.every_peer()? {
        copy_peer(link, &peer)?;
    }
    link.script(
        "SELECT setval(pg_get_serial_sequence('guyline.peer', 'id'), \
         (SELECT coalesce(max(id), 0) + 1 FROM guyline.peer), false)",
    )?;
    let mut count = 0;
    for (document, heads) in from.heads() {
        let changes = from.every_change(*document)?;
        count += changes.len() as u64;
        let id = document.to_bytes();
        copy_changes(link, &id, &changes)?;
        let heads: Vec<u8> = heads.iter().flat_map(|hash| hash.0).collect();
        let sql = "INSERT INTO document (id, heads, generation) VALUES ($1, $2, 1)";
        link.run(sql, &[&id.as_slice(), &heads])?;
        insert_seals(link, *document, &from.seals_of(*document)?)?;
    }
    for (aside, peer, at_ms) in from.every_aside()? {
        copy_aside(link, &aside, peer, at_ms)?;
    }
    Ok(count)
}

fn copy_peer(link: &mut Link, peer: &PeerRow) -> Result<(), StoreError> {
    let sql = "INSERT INTO peer (id, node, store, name, address, seen_position, seen_hash, \
               acknowledged_position, acknowledged_hash, given_after, last_exchange_ms, \
               last_failure, receipt_key, receipt, holds, asked, known_position, known_hash, \
               known) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, \
               $16, $17, $18, $19)";
    let values: Values<'_> = &[
        &peer.id,
        &peer.node,
        &peer.store,
        &peer.name,
        &peer.address,
        &peer.seen.0,
        &peer.seen.1,
        &peer.acknowledged.0,
        &peer.acknowledged.1,
        &peer.given_after,
        &peer.last_exchange_ms,
        &peer.last_failure,
        &peer.receipt.0,
        &peer.receipt.1,
        &peer.holds,
        &peer.asked,
        &peer.known.0,
        &peer.known.1,
        &peer.known.2,
    ];
    link.run(sql, values).map(drop)
}

fn copy_changes(link: &mut Link, document: &[u8], changes: &[Placed]) -> Result<(), StoreError> {
    let sql = "INSERT INTO change (position, document, hash, bytes, from_peer) \
               SELECT position, $1, hash, bytes, giver \
               FROM unnest($2::bigint[], $3::bytea[], $4::bytea[], $5::bigint[]) \
               AS given (position, hash, bytes, giver)";
    let positions: Vec<i64> = changes.iter().map(|one| row_number(one.position)).collect();
    let hashes: Vec<[u8; 32]> = changes.iter().map(|one| one.change.hash().0).collect();
    let hashes: Vec<&[u8]> = hashes.iter().map(<[u8; 32]>::as_slice).collect();
    let bodies: Vec<&[u8]> = changes.iter().map(|one| one.change.raw_bytes()).collect();
    let givers: Vec<Option<i64>> = changes.iter().map(|one| one.from_peer).collect();
    link.run(sql, &[&document, &positions, &hashes, &bodies, &givers]).map(drop)
}

fn copy_aside(link: &mut Link, aside: &SetAside, peer: i64, at_ms: i64) -> Result<(), StoreError> {
    let at = guyline_core::time::Timestamp::from_unix_ms(at_ms)
        .map_err(|error| link.damaged(error.to_string()))?;
    super::asides::insert_set_aside(link, aside, peer, at)
}

/// Gives the file a name that nobody takes for a store's.
fn put_aside(path: &Path) -> Result<PathBuf, MoveError> {
    let mut name = path.as_os_str().to_owned();
    name.push(".moved");
    let aside = PathBuf::from(name);
    std::fs::rename(path, &aside)
        .map_err(|source| MoveError::Aside { path: path.to_owned(), source })?;
    Ok(aside)
}
