//! A power cut: of what was asked of a disk and not made durable, some is kept, some is lost, some
//! is torn, in any order.
//!
//! A file's writes become durable when it is synced. Names become durable in the order in which
//! they changed, as journalling file systems have it, when their folder is synced.

use std::path::PathBuf;
use std::sync::Arc;

use crate::chance::Chance;
use crate::image::{FileId, Image, SECTOR};

/// What was asked of a disk.
#[derive(Clone, Debug)]
pub enum Operation {
    /// Bytes into a file.
    Write {
        /// Which file.
        file: u32,
        /// From where.
        at: usize,
        /// The bytes.
        bytes: Arc<[u8]>,
    },
    /// A file cut off, or made longer.
    Truncate {
        /// Which file.
        file: u32,
        /// Its new length.
        length: usize,
    },
    /// A file made durable, and its folder with it where the engine asks for that.
    Sync {
        /// Which file.
        file: u32,
        /// Whether the folder too.
        folder: bool,
    },
    /// A new file.
    Create {
        /// Its name.
        name: PathBuf,
        /// Which file it is.
        file: u32,
    },
    /// A name taken away.
    Remove {
        /// The name.
        name: PathBuf,
    },
    /// A name changed.
    Rename {
        /// The old one.
        from: PathBuf,
        /// The new one.
        to: PathBuf,
    },
    /// The folder made durable.
    SyncFolder,
}

/// A disk as it would be found: what is durable, and what is not yet.
#[derive(Clone, Debug, Default)]
pub struct Unsynced {
    durable: Image,
    contents: Vec<Operation>,
    names: Vec<Operation>,
}

impl Unsynced {
    /// All of this is durable.
    pub fn new(durable: Image) -> Self {
        Self { durable, contents: Vec::new(), names: Vec::new() }
    }

    /// What is durable.
    pub fn durable(&self) -> &Image {
        &self.durable
    }

    /// Takes the next thing that was asked.
    pub fn step(&mut self, operation: &Operation) {
        match operation {
            Operation::Sync { file, folder } => {
                self.sync(*file);
                if *folder {
                    self.sync_names();
                }
            }
            Operation::SyncFolder => self.sync_names(),
            Operation::Write { .. } | Operation::Truncate { .. } => {
                self.contents.push(operation.clone());
            }
            Operation::Create { .. } | Operation::Remove { .. } | Operation::Rename { .. } => {
                self.names.push(operation.clone());
            }
        }
    }

    fn sync(&mut self, synced: FileId) {
        let durable = &mut self.durable;
        self.contents.retain(|operation| {
            let its = matches!(operation, Operation::Write { file, .. }
                | Operation::Truncate { file, .. } if *file == synced);
            if its {
                apply(durable, operation);
            }
            !its
        });
    }

    fn sync_names(&mut self) {
        for operation in self.names.drain(..) {
            apply(&mut self.durable, &operation);
        }
    }

    /// What is on the disk after the power went now. Damage 0 loses all, 1 keeps all, others are
    /// drawn from the seed.
    pub fn cut(&self, damage: usize, chance: &mut Chance) -> Image {
        let mut image = self.durable.clone();
        let names = match damage {
            0 => 0,
            1 => self.names.len(),
            _ => chance.below(self.names.len() + 1),
        };
        for operation in &self.names[..names] {
            apply(&mut image, operation);
        }
        let mut contents: Vec<&Operation> = self.contents.iter().collect();
        match damage {
            0 => contents.clear(),
            1 => {}
            _ => {
                // Half of the disks do what was asked in order, and then stop.
                if chance.below(2) == 0 {
                    contents.truncate(chance.below(contents.len() + 1));
                } else {
                    let kept = 1 + chance.below(9);
                    contents.retain(|_| chance.below(10) < kept);
                    chance.shuffle(&mut contents);
                }
            }
        }
        for (at, operation) in contents.iter().enumerate() {
            let last = at + 1 == contents.len();
            match operation {
                Operation::Write { file, at, bytes }
                    if damage > 1 && (last || chance.below(4) == 0) =>
                {
                    tear(&mut image, *file, *at, bytes, chance);
                }
                whole => apply(&mut image, whole),
            }
        }
        // Nobody can reach a file without a name.
        let Image { names, files } = &mut image;
        files.retain(|file, _| names.values().any(|named| named == file));
        image
    }
}

fn apply(image: &mut Image, operation: &Operation) {
    match operation {
        Operation::Write { file, at, bytes } => image.content(*file).write(*at, bytes),
        Operation::Truncate { file, length } => image.content(*file).truncate(*length),
        Operation::Create { name, file } => {
            image.content(*file);
            image.names.insert(name.clone(), *file);
        }
        Operation::Remove { name } => drop(image.names.remove(name)),
        Operation::Rename { from, to } => {
            if let Some(file) = image.names.remove(from) {
                image.names.insert(to.clone(), file);
            }
        }
        Operation::Sync { .. } | Operation::SyncFolder => {}
    }
}

/// Writes some of the sectors a write touches.
fn tear(image: &mut Image, file: FileId, at: usize, bytes: &[u8], chance: &mut Chance) {
    let mut start = at;
    while start < at + bytes.len() {
        let end = ((start / SECTOR + 1) * SECTOR).min(at + bytes.len());
        if chance.below(2) == 0 {
            image.content(file).write(start, &bytes[start - at..end - at]);
        }
        start = end;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn write(file: u32, at: usize, byte: u8, count: usize) -> Operation {
        Operation::Write { file, at, bytes: vec![byte; count].into() }
    }

    #[test]
    fn what_was_synced_stays_and_what_was_not_is_kept_lost_or_torn() {
        let name = PathBuf::from("/a");
        let mut disk = Unsynced::default();
        disk.step(&Operation::Create { name: name.clone(), file: 0 });
        disk.step(&write(0, 0, 1, 2_048));
        disk.step(&Operation::Sync { file: 0, folder: true });
        disk.step(&write(0, 0, 2, 2_048));
        let found: Vec<Vec<u8>> = (0..200)
            .map(|damage| {
                let cut = disk.cut(damage, &mut Chance::new(damage as u64));
                cut.bytes(&name).expect("its name was durable")
            })
            .collect();
        assert_eq!(found[0], vec![1; 2_048]);
        assert_eq!(found[1], vec![2; 2_048]);
        let torn = |bytes: &&Vec<u8>| bytes.contains(&1) && bytes.contains(&2);
        assert!(found.iter().filter(torn).count() > 10);
        for bytes in found.iter().filter(torn) {
            let (sectors, _) = bytes.as_chunks::<SECTOR>();
            assert!(sectors.iter().all(|sector| sector.iter().all(|byte| *byte == sector[0])));
        }
    }

    #[test]
    fn a_name_that_was_not_made_durable_may_be_gone() {
        let (new, place) = (PathBuf::from("/new"), PathBuf::from("/place"));
        let mut disk = Unsynced::default();
        disk.step(&Operation::Create { name: new.clone(), file: 0 });
        disk.step(&write(0, 0, 1, 10));
        disk.step(&Operation::Sync { file: 0, folder: false });
        disk.step(&Operation::Rename { from: new.clone(), to: place.clone() });
        let names = |damage: usize| -> Vec<PathBuf> {
            let cut = disk.cut(damage, &mut Chance::new(damage as u64));
            cut.names().map(PathBuf::from).collect()
        };
        assert_eq!(names(0), Vec::<PathBuf>::new());
        assert_eq!(names(1), std::slice::from_ref(&place));
        assert!((2..50).any(|damage| names(damage) == [new.clone()]));
        disk.step(&Operation::SyncFolder);
        assert_eq!(disk.cut(0, &mut Chance::new(0)).bytes(&place), Some(vec![1; 10]));
    }

    #[test]
    fn a_file_cut_short_reads_as_zeros_where_it_grows_again() {
        let name = PathBuf::from("/a");
        let mut image = Image::with_files([(name.clone(), vec![7; 5_000])]);
        image.content(0).truncate(100);
        image.content(0).write(300, &[9]);
        let bytes = image.bytes(&name).expect("it is there");
        assert_eq!((bytes.len(), bytes[99], bytes[100], bytes[300]), (301, 7, 0, 9));
    }
}
