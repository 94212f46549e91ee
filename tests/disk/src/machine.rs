//! What a disk does when it is asked something: it obeys, fails where that was planted, or lies.

use std::collections::BTreeMap;
use std::path::Path;

use crate::chance::Chance;
use crate::image::{FileId, Image};
use crate::power::Operation;

/// How a call that changes something fails.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Failure {
    /// The disk cannot write.
    Write,
    /// The disk cannot make it durable.
    Sync,
    /// There is no room.
    Full,
}

/// A planted fault: the n-th call that changes something fails, once or from then on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Which call, from 0.
    pub at: u64,
    /// How it fails.
    pub failure: Failure,
    /// Whether every later one fails too.
    pub for_ever: bool,
}

/// What a read gives that was planted, from the n-th read on or there only.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reading {
    /// Which read, from 0.
    pub at: u64,
    /// The read ends early; otherwise one bit of it is turned.
    pub short: bool,
}

/// What a disk, or a store on it, could do wrong all the time: mutants for the tests' own test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lie {
    /// It says that something is durable at once.
    Sync,
    /// The engine is told `synchronous=NORMAL` whenever it is told `FULL`.
    Normal,
}

/// A disk at work.
#[derive(Debug, Default)]
pub(crate) struct Machine {
    pub(crate) image: Image,
    pub(crate) trace: Vec<Operation>,
    pub(crate) changes: u64,
    pub(crate) reads: u64,
    pub(crate) fault: Option<Fault>,
    pub(crate) reading: Option<Reading>,
    pub(crate) lie: Option<Lie>,
    /// The engine's shared memory, by file; it does not outlive a power cut.
    pub(crate) shared: BTreeMap<FileId, Vec<Box<[u64]>>>,
    chance: Option<Chance>,
    next_file: FileId,
}

impl Machine {
    /// A disk with this on it, and nothing planted.
    pub(crate) fn with(image: Image) -> Self {
        let next_file = image.files.keys().next_back().map_or(0, |last| last + 1);
        Self { image, next_file, ..Self::default() }
    }

    /// Does what is asked, unless a fault was planted here.
    pub(crate) fn change(&mut self, operation: Operation) -> Result<(), Failure> {
        let number = self.changes;
        self.changes += 1;
        if let Some(Fault { at, failure, for_ever }) = self.fault
            && (number == at || for_ever && number > at)
        {
            return Err(failure);
        }
        match &operation {
            Operation::Write { file, at, bytes } => self.image.content(*file).write(*at, bytes),
            Operation::Truncate { file, length } => self.image.content(*file).truncate(*length),
            Operation::Create { name, file } => {
                self.image.content(*file);
                self.image.names.insert(name.clone(), *file);
            }
            Operation::Remove { name } => drop(self.image.names.remove(name)),
            Operation::Rename { from, to } => {
                if let Some(file) = self.image.names.remove(from) {
                    self.image.names.insert(to.clone(), file);
                }
            }
            Operation::Sync { .. } | Operation::SyncFolder if self.lie == Some(Lie::Sync) => {
                return Ok(());
            }
            Operation::Sync { .. } | Operation::SyncFolder => {}
        }
        self.trace.push(operation);
        Ok(())
    }

    /// The file under a name, made where it is not there and that is wanted.
    pub(crate) fn open(&mut self, name: &Path, create: bool) -> Result<FileId, Failure> {
        if let Some(file) = self.image.names.get(name) {
            return Ok(*file);
        }
        if !create {
            return Err(Failure::Write);
        }
        let file = self.next_file;
        self.change(Operation::Create { name: name.to_owned(), file })?;
        self.next_file += 1;
        Ok(file)
    }

    /// Reads what is there, with what was planted. Says how much that was.
    pub(crate) fn read(&mut self, file: FileId, at: usize, into: &mut [u8]) -> usize {
        let number = self.reads;
        self.reads += 1;
        let count = self.image.content(file).read(at, into);
        match self.reading {
            Some(Reading { at, short }) if at == number && count > 0 => {
                let place = self.random().below(count);
                if short {
                    return place;
                }
                into[place] ^= 1 << self.random().below(8);
                count
            }
            _ => count,
        }
    }

    /// The chance the engine and planted faults draw from: the same after every start.
    pub(crate) fn random(&mut self) -> &mut Chance {
        self.chance.get_or_insert_with(|| Chance::new(0x6469_736b))
    }
}
