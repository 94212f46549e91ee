//! Content that comes piece by piece from another device.
//!
//! In: bytes, and where they go on. Out: how far it has come, and whether it counts. It stays in
//! the folder until it is whole, its hash is right, and it is durable where whole content lies:
//! only then is it said to be here. Where that last step fails it stays whole, and is tried again
//! with the next piece, which may be empty.

use std::fs::File;
use std::path::PathBuf;

use super::shelf::{failed, listed};
use super::{AttachmentError, ContentHash, Contents, hash_of};
use crate::Node;
use crate::documents::NodeError;

const ARRIVING: &str = "arriving";

impl Contents {
    /// How many bytes of one that does not count yet have come.
    pub fn arrived(&self, hash: ContentHash) -> u64 {
        let length = std::fs::metadata(self.arriving(hash)).map_or(0, |found| found.len());
        self.lying.length(length)
    }

    /// Adds bytes that came to those that came before, from `at` on. `length` is what the record
    /// says is whole: then the hash decides whether it counts. True when it does.
    pub fn arrive(
        &self,
        hash: ContentHash,
        length: u64,
        at: u64,
        bytes: &[u8],
    ) -> Result<bool, AttachmentError> {
        let path = self.arriving(hash);
        let before = self.arrived(hash);
        let files = &self.folder.files;
        let foreign = |what: String| AttachmentError::Foreign { what };
        if at != before {
            return Err(foreign(format!("it goes on at byte {at}, and {before} have come")));
        }
        let after = before + bytes.len() as u64;
        if after > length {
            drop(files.remove(&path));
            return Err(foreign(format!("{after} bytes and more, where {length} were named")));
        }
        if before == 0 {
            self.room_for(length)?;
            let folder = self.folder.dir.join(ARRIVING);
            files.make_folder(&folder).map_err(|error| failed(&folder, error))?;
        }
        if !bytes.is_empty() {
            let added = self.lying.append(&**files, &path, bytes);
            added.map_err(|error| failed(&path, error))?;
        }
        if after < length {
            return Ok(false);
        }
        let found = File::open(&path);
        let found = found.and_then(|file| hash_of(&mut self.lying.content(Box::new(file))?));
        let (found, _) = found.map_err(|error| failed(&path, error))?;
        if found != hash {
            drop(files.remove(&path));
            return Err(foreign("its bytes give another hash".to_owned()));
        }
        self.shelve(&path, hash).map(|()| true)
    }

    /// Drops what came of one that is not whole.
    pub(crate) fn forget_arrived(&self, hash: ContentHash) {
        // Where it stays, the hash will tell in the end.
        drop(self.folder.files.remove(&self.arriving(hash)));
    }

    /// What has come, whole or not.
    fn all_arriving(&self) -> Result<Vec<ContentHash>, AttachmentError> {
        let files = listed(&self.folder.dir.join(ARRIVING))?;
        let names = files.iter().filter_map(|file| file.file_name()?.to_str()?.parse().ok());
        Ok(names.collect())
    }

    fn arriving(&self, hash: ContentHash) -> PathBuf {
        self.folder.dir.join(ARRIVING).join(hash.to_string())
    }
}

impl Node {
    /// Puts into the bucket what waits in the folder for it. Gives how many that were; nothing
    /// where there is no bucket and nothing waits. The first fault ends it, and what waits stays.
    pub fn move_contents_out(&self) -> Result<u64, NodeError> {
        let contents = self.contents();
        let mut moved = contents.move_out().map_err(Box::new)?;
        let arriving = contents.all_arriving().map_err(Box::new)?;
        if arriving.is_empty() {
            return Ok(moved);
        }
        for (length, hash) in self.named_contents()? {
            if !arriving.contains(&hash) {
                continue;
            }
            let Some(_claim) = contents.claim(hash) else { continue };
            if contents.has(hash).map_err(Box::new)? {
                // It was put there, and the program ended before its file was taken away.
                contents.forget_arrived(hash);
            } else if contents.arrived(hash) == length {
                let whole = contents.arrive(hash, length, length, &[]).map_err(Box::new)?;
                moved += u64::from(whole);
            }
        }
        Ok(moved)
    }
}
