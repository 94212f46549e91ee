//! A new store from what a damaged one still holds, and from a copy, a bundle or a peer.
//!
//! In: the folder of a damaged store, and perhaps a copy or a bundle. Out: a whole store in its
//! place, the damaged files aside as they were, and exactly what is missing. A change counts by its
//! hash alone: none is made up, and none is kept whose causes are gone. The new store keeps the
//! node's id and gets a new store id, so that whoever it meets gives it everything again.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::path::{Path, PathBuf};

use automerge::{ActorId, Change, ChangeHash};
use guyline_core::record::{Document, DocumentId};

use crate::at_rest::{self, Keys, Passphrase, pages};
use crate::carve::{Carved, carve};
use crate::chunk::Chunk;
use crate::clock;
use crate::documents::NodeError;
use crate::identity::{DeviceKey, KeyError};
use crate::log::{Ask, LogEntry, Mark, NodeId};
use crate::store::{
    self, Append, Arrivals, LIFE, OpenError, Sqlite, StoreError, SystemDisk, Writing,
};
use crate::sync::bundle::{self, BundleRefused};
use crate::sync::wire::{self, Body};
use crate::{Node, NodeRefused};

/// What became of a damaged store.
#[derive(Debug)]
pub struct Repaired {
    /// Where the damaged files are.
    pub aside: PathBuf,
    /// How many documents came back, in whole or in part.
    pub documents: u64,
    /// How many changes came back.
    pub changes: u64,
    /// How many of those only the copy had.
    pub from_copy: u64,
    /// How many bytes the damaged file is shorter than it says, where no log may hold them. What
    /// stood there may be more than anything else told of.
    pub cut_off: u64,
    /// Whether the store is still this node's; its name and id are new where nothing said them.
    pub same_node: bool,
    /// What did not come back.
    pub lost: Vec<Lost>,
}

/// What is missing of a document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lost {
    /// The document.
    pub document: DocumentId,
    /// Changes that are known to have been there. There may have been more before them.
    pub changes: BTreeSet<ChangeHash>,
    /// How many changes are in the damaged files and cannot be used without those.
    pub waiting: u64,
    /// Whether nothing of the document came back.
    pub whole: bool,
}

impl Lost {
    /// What of it is still missing in a node, after it has met others.
    pub fn still(&self, node: &Node) -> Result<Option<Self>, NodeError> {
        if !node.documents()?.contains(&self.document) {
            return Ok(Some(self.clone()));
        }
        let held: BTreeSet<ChangeHash> =
            node.with_document(self.document, Document::hashes)?.into_iter().collect();
        let changes: BTreeSet<_> = self.changes.difference(&held).copied().collect();
        let back = changes.is_empty();
        Ok((!back).then(|| Self { changes, whole: false, ..self.clone() }))
    }
}

/// Why a store could not be repaired. The damaged files are as they were.
#[derive(Debug, thiserror::Error)]
pub enum RepairError {
    /// A file or folder cannot be used, or another process has the store.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// The new store cannot be written.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// What came back could not be sealed.
    #[error("what came back cannot be sealed: {0}")]
    Seals(NodeError),
    /// The bundle cannot be taken.
    #[error(transparent)]
    Bundle(#[from] BundleRefused),
    /// The device's key cannot be read.
    #[error(transparent)]
    Key(#[from] KeyError),
    /// There is nothing in it to make a store from.
    #[error("{path}: nothing of a Guyline store can be read in it", path = path.display())]
    Nothing {
        /// The file.
        path: PathBuf,
    },
}

impl RepairError {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::Open(error) => error.help(),
            Self::Bundle(error) => error.help(),
            Self::Key(error) => error.help(),
            Self::Store(_) | Self::Seals(_) => {
                "make room on the disk and try again; nothing was changed"
            }
            Self::Nothing { .. } => {
                "make a store from a backup with guyline restore, or start a new one and exchange; \
                 the file was not touched"
            }
        }
    }
}

impl From<NodeRefused> for RepairError {
    fn from(refused: NodeRefused) -> Self {
        match refused {
            NodeRefused::Store(error) => Self::Open(error),
            NodeRefused::Key(error) => Self::Key(error),
            NodeRefused::Seals(error) => Self::Seals(error),
            NodeRefused::OtherKey { dir } => Self::Open(OpenError::Elsewhere { dir }),
        }
    }
}

/// What a bundle holds, as a store of its own; taken away when dropped.
#[derive(Debug)]
pub struct Unpacked {
    dir: PathBuf,
}

impl Unpacked {
    /// The store's file, which [`repair`] takes for a copy.
    pub fn copy(&self) -> PathBuf {
        store::file(&self.dir)
    }
}

impl Drop for Unpacked {
    fn drop(&mut self) {
        // What cannot be taken away now is taken away by whoever unpacks the next one.
        drop(remove(&self.dir));
    }
}

/// Unpacks a bundle that the device of `dir` sealed itself: as good a source as a copy. None for
/// another device's, which the repaired node takes as it always takes one, by its own roster.
/// Either way the bundle was read to its last byte, and nothing else was touched.
pub fn unpack(
    dir: &Path,
    bundle: &Path,
    passphrase: Option<&Passphrase>,
) -> Result<Option<Unpacked>, RepairError> {
    let keys = Keys::of(dir, passphrase).map_err(OpenError::from)?;
    let unpacked = Unpacked { dir: dir.join("repair.bundle") };
    remove(&unpacked.dir)?;
    std::fs::create_dir(&unpacked.dir).map_err(|source| file_error(&unpacked.dir, source))?;
    // What an encrypted folder holds is nowhere in it for others to read, not even for a moment.
    at_rest::lend(dir, &unpacked.dir).map_err(OpenError::from)?;
    let mut file = File::open(bundle).map_err(BundleRefused::File)?;
    let node = Node::open_on(&unpacked.dir, &SystemDisk, passphrase)?;
    let taken = bundle::take(&node, &mut file)?;
    let own = DeviceKey::open_with(dir, keys.as_ref())?.public() == taken.key;
    Ok(own.then_some(unpacked))
}

/// Makes a new store in place of the damaged one in `dir`, encrypted where that one was.
pub fn repair(
    dir: &Path,
    copy: Option<&Path>,
    passphrase: Option<&Passphrase>,
) -> Result<Repaired, RepairError> {
    let keys = Keys::of(dir, passphrase).map_err(OpenError::from)?;
    let _lock = store::lock(dir)?;
    let path = store::file(dir);
    let found = Files::read(&path, keys.as_ref())?;
    let mut carved = found.carve();
    if carved.changes.is_empty() && carved.settings.is_empty() {
        return Err(RepairError::Nothing { path });
    }
    let from_copy = match copy {
        Some(copy) => {
            let own = Keys::beside(copy, passphrase).map_err(OpenError::from)?;
            add(&mut carved, Files::read(copy, own.as_ref().or(keys.as_ref()))?.carve())
        }
        None => 0,
    };
    let unfinished = dir.join("repair.unfinished");
    remove(&unfinished)?;
    let mut repaired = write(&unfinished, &carved, from_copy, keys.as_ref())?;
    repaired.cut_off = found.cut_off();
    repaired.aside = set_aside(dir, &path)?;
    put_in_place(dir, &path, &unfinished)?;
    Ok(repaired)
}

fn log_of(path: &Path) -> PathBuf {
    let mut log = path.as_os_str().to_owned();
    log.push("-wal");
    PathBuf::from(log)
}

/// A store's file and its log, in plain.
struct Files {
    file: Vec<u8>,
    log: Vec<u8>,
    /// Bytes at the end of each page that are not the engine's.
    reserved: usize,
}

impl Files {
    fn read(path: &Path, keys: Option<&Keys>) -> Result<Self, OpenError> {
        let mut file = std::fs::read(path).map_err(|source| file_error(path, source))?;
        let log = log_of(path);
        let mut log = match std::fs::read(&log) {
            Ok(log) => log,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => Vec::new(),
            Err(source) => return Err(file_error(&log, source)),
        };
        // A copy from before the folder was encrypted is none.
        let keys = keys.filter(|_| !file.starts_with(b"SQLite format 3\0"));
        if let Some(keys) = keys {
            pages::open_file(keys, &mut file);
            pages::open_log(keys, &mut log);
        }
        Ok(Self { file, log, reserved: if keys.is_some() { pages::RESERVED } else { 0 } })
    }

    fn carve(&self) -> Carved {
        carve(&self.file, &self.log, self.reserved)
    }

    /// How much of the file is not there, by its own head (file format, offsets 16 and 28).
    fn cut_off(&self) -> u64 {
        let Some(head) = self.file.first_chunk::<32>().filter(|_| self.log.is_empty()) else {
            return 0;
        };
        let page = match u16::from_be_bytes([head[16], head[17]]) {
            1 => 65_536,
            size => u64::from(size),
        };
        let pages = u32::from_be_bytes([head[28], head[29], head[30], head[31]]);
        (page * u64::from(pages)).saturating_sub(self.file.len() as u64)
    }
}

/// Adds what only the copy has. Says how many changes that were.
fn add(carved: &mut Carved, copy: Carved) -> u64 {
    let mut added = 0;
    for (document, changes) in copy.changes {
        let held = carved.changes.entry(document).or_default();
        let before = held.len();
        held.extend(changes);
        added += (held.len() - before) as u64;
    }
    for (document, seals) in copy.seals {
        carved.seals.entry(document).or_default().extend(seals);
    }
    for (document, heads) in copy.heads {
        carved.heads.entry(document).or_default().extend(heads);
    }
    added
}

/// Writes a store from what was read.
fn write(
    dir: &Path,
    carved: &Carved,
    from_copy: u64,
    keys: Option<&Keys>,
) -> Result<Repaired, RepairError> {
    let mut store = Sqlite::open_on(dir, &SystemDisk, keys)?;
    let node = carved.settings.get("node").and_then(|text| u128::from_str_radix(text, 16).ok());
    if let Some(node) = node {
        store.become_node(NodeId(node.to_be_bytes()))?;
    }
    for (key, value) in &carved.settings {
        match key.as_str() {
            "name" => store.rename(value)?,
            "node" | "store" => {}
            // What of this device's seals is lost, it sets again when it starts.
            "seals" => {}
            // Of the log that was damaged: this one begins again.
            life if life.starts_with(LIFE) => {}
            _ => store.set_setting(key, value)?,
        }
    }
    let (aside, same_node) = (PathBuf::new(), node.is_some());
    let mut repaired = Repaired {
        aside,
        documents: 0,
        changes: 0,
        from_copy,
        cut_off: 0,
        same_node,
        lost: Vec::new(),
    };
    let nothing = BTreeMap::new();
    let documents: BTreeSet<DocumentId> =
        carved.changes.keys().chain(carved.heads.keys()).copied().collect();
    for id in documents {
        let changes = carved.changes.get(&id).unwrap_or(&nothing);
        let (whole, missing) = in_order(changes);
        let waiting = (changes.len() - whole.len()) as u64;
        let said = carved.heads.get(&id).into_iter().flatten().copied();
        let lost = said.filter(|hash| !changes.contains_key(hash)).chain(missing).collect();
        let mut lost = Lost { document: id, changes: lost, waiting, whole: true };
        if let Ok(document) = Document::from_changes(id, whole.clone(), ActorId::random()) {
            repaired.documents += 1;
            repaired.changes += whole.len() as u64;
            let entries = whole
                .into_iter()
                .map(|change| LogEntry { document: id, change: Chunk::from(&change) });
            let (heads, hashes) = (document.heads(), document.hashes());
            let held: BTreeSet<ChangeHash> = hashes.into_iter().collect();
            let seals = carved.seals.get(&id).into_iter().flatten();
            let seals = seals.filter(|seal| held.contains(&seal.change)).cloned().collect();
            let (entries, waited) = (entries.collect(), BTreeSet::new());
            store.append(&Append { document: id, entries, heads, seals, waited })?;
            lost.whole = false;
        }
        if lost.whole || !lost.changes.is_empty() {
            repaired.lost.push(lost);
        }
    }
    for body in carved.arrivals.values() {
        // Whose they are is looked at by the repaired node, as of all that comes from elsewhere.
        if let Ok(Body { card, .. }) = wire::decode(body) {
            store.arrive(&card, (Mark::START, &Ask::ALL), false, body, clock::now())?;
        }
    }
    Ok(repaired)
}

/// The changes all of whose causes are there, causes first, and the causes that are not.
fn in_order(changes: &BTreeMap<ChangeHash, Change>) -> (Vec<Change>, BTreeSet<ChangeHash>) {
    let mut order = Vec::new();
    let mut placed = BTreeSet::new();
    loop {
        let before = order.len();
        for (hash, change) in changes {
            if !placed.contains(hash) && change.deps().iter().all(|cause| placed.contains(cause)) {
                placed.insert(*hash);
                order.push(change.clone());
            }
        }
        if order.len() == before {
            break;
        }
    }
    let causes = changes.values().flat_map(|change| change.deps().iter().copied());
    (order, causes.filter(|cause| !changes.contains_key(cause)).collect())
}

/// Copies the damaged files into a folder of their own, durably. They stay where they are as well.
fn set_aside(dir: &Path, path: &Path) -> Result<PathBuf, OpenError> {
    let names = (1..).map(|number| dir.join(format!("damaged-{number}")));
    let aside = names.into_iter().find(|name| !name.exists()).expect("some number is free");
    std::fs::create_dir(&aside).map_err(|source| file_error(&aside, source))?;
    for from in [path.to_owned(), log_of(path)].into_iter().filter(|from| from.exists()) {
        let to = aside.join(from.file_name().expect("it is a file in a folder"));
        std::fs::copy(&from, &to)
            .and_then(|_| File::open(&to)?.sync_all())
            .map_err(|source| file_error(&to, source))?;
    }
    for folder in [&aside, dir] {
        sync(folder)?;
    }
    Ok(aside)
}

/// Puts the new store in place. The log goes first: it must never be read as the new file's.
fn put_in_place(dir: &Path, path: &Path, unfinished: &Path) -> Result<(), OpenError> {
    for ending in ["-wal", "-shm"] {
        let mut name = path.as_os_str().to_owned();
        name.push(ending);
        match std::fs::remove_file(&name) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                return Err(file_error(Path::new(&name), error));
            }
            _ => {}
        }
    }
    sync(dir)?;
    std::fs::rename(store::file(unfinished), path).map_err(|source| file_error(path, source))?;
    sync(dir)?;
    remove(unfinished)
}

fn remove(dir: &Path) -> Result<(), OpenError> {
    match std::fs::remove_dir_all(dir) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => Err(file_error(dir, error)),
        _ => Ok(()),
    }
}

fn sync(dir: &Path) -> Result<(), OpenError> {
    File::open(dir).and_then(|folder| folder.sync_all()).map_err(|source| file_error(dir, source))
}

fn file_error(path: &Path, source: std::io::Error) -> OpenError {
    OpenError::File { path: path.to_owned(), source }
}

#[cfg(test)]
#[path = "repair_tests.rs"]
mod tests;
