//! Encryption switched on and off, and the passphrase changed.
//!
//! In: the folder of a store that no process has open. Out: the same folder, all of it as it was or
//! all of it as it is to be. Everything is written anew into `changing`; when it is whole and on
//! disk that folder is called `changed`, and from then on its files take the old ones' places, if
//! need be at the next start. A file's old bytes are given back to the disk, not wiped: on flash
//! nobody can promise that they are gone.

use std::fs::File;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

use super::{
    Cost, EncryptionError, FILE, Keys, Passphrase, copy_closed, is_encrypted, keyring, unusable,
};
use crate::attachments::bucket::{BucketPlace, NOTE};
use crate::attachments::{AttachmentError, Contents, upkeep};
use crate::http::SCREENS_KEY;
use crate::identity::{DEVICE_KEY, ROOT_KEY, private_file};
use crate::store::{self, OpenError};

const CHANGING: &str = "changing";
const CHANGED: &str = "changed";
const ATTACHMENTS: &str = "attachments";
const STORE: &str = "node.sqlite";
/// The files that hold a secret.
const SECRETS: [&str; 3] = [DEVICE_KEY, ROOT_KEY, SCREENS_KEY];
/// What else lies in a folder and holds nothing of the record.
const BLANK: [&str; 6] =
    ["node.lock", FILE, keyring::FILE, "screens-certificate.pem", "served-at", NOTE];

/// What was done.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Switched {
    /// How many contents of attachments were written anew.
    pub contents: u64,
    /// How many were damaged and are gone; other devices may hold them.
    pub damaged: u64,
    /// What lies in the folder and was left as it is: Guyline does not read it.
    pub left: Vec<PathBuf>,
    /// Where content lies in a bucket as it lay before: other hubs may use it, so that it stays.
    pub in_bucket: Option<BucketPlace>,
}

/// Why it was not switched. The folder is as it was.
#[derive(Debug, thiserror::Error)]
pub enum SwitchError {
    /// The passphrase, or the file that holds the closed key.
    #[error(transparent)]
    Encryption(#[from] EncryptionError),
    /// The store.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// An attachment's content.
    #[error(transparent)]
    Attachment(#[from] AttachmentError),
}

impl SwitchError {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::Encryption(error) => error.help(),
            Self::Open(error) => error.help(),
            Self::Attachment(error) => error.help(),
        }
    }
}

/// Encrypts a folder.
pub fn on(dir: &Path, passphrase: &Passphrase, cost: Cost) -> Result<Switched, SwitchError> {
    if is_encrypted(dir)? {
        return Err(EncryptionError::Already { dir: dir.to_owned() }.into());
    }
    let keys = Keys::fresh()?;
    rewrite(dir, None, Some(&keys), |staged| keys.close(staged, passphrase, cost))
}

/// Decrypts one. Where a keyring opens it, [`keyring::off`] comes first, so that nothing of it is
/// left in there.
pub fn off(dir: &Path, passphrase: &Passphrase) -> Result<Switched, SwitchError> {
    let keys = encrypted(dir, passphrase)?;
    // That no such file is among the new ones says that the old one goes.
    rewrite(dir, Some(&keys), None, |_| Ok(()))
}

/// Gives a folder another passphrase. Nothing is written anew but the closed key: who has the old
/// passphrase and an old copy of the folder still opens that copy.
pub fn change(
    dir: &Path,
    old: &Passphrase,
    new: &Passphrase,
    cost: Cost,
) -> Result<(), SwitchError> {
    let keys = encrypted(dir, old)?;
    let _lock = store::lock(dir)?;
    Ok(keys.close(dir, new, cost)?)
}

pub(super) fn encrypted(dir: &Path, passphrase: &Passphrase) -> Result<Keys, EncryptionError> {
    Keys::of(dir, Some(passphrase))?
        .ok_or_else(|| EncryptionError::NotEncrypted { dir: dir.to_owned() })
}

fn rewrite(
    dir: &Path,
    from: Option<&Keys>,
    to: Option<&Keys>,
    close: impl FnOnce(&Path) -> Result<(), EncryptionError>,
) -> Result<Switched, SwitchError> {
    let staged = dir.join(CHANGING);
    let made = std::fs::create_dir(&staged).map_err(unusable(&staged));
    let done = made.map_err(SwitchError::from).and_then(|()| {
        let lock = store::under_other_keys(dir, from, &staged.join(STORE), to)?;
        let contents = staged.join(ATTACHMENTS);
        std::fs::create_dir(&contents).map_err(unusable(&contents))?;
        let old = Contents::of_node(dir, from);
        let (contents, damaged) = upkeep::copy(&old, &Contents::beside(&staged).lying_with(to))?;
        for name in SECRETS {
            move_secret(&dir.join(name), from, &staged.join(name), to)?;
        }
        close(&staged)?;
        sync(&staged)?;
        let left = strangers(dir)?;
        let in_bucket = BucketPlace::noted(dir).map_err(AttachmentError::from)?;
        Ok((lock, Switched { contents, damaged, left, in_bucket }))
    });
    match done {
        Ok((_lock, switched)) => {
            let changed = dir.join(CHANGED);
            std::fs::rename(&staged, &changed).map_err(unusable(&changed))?;
            sync(dir)?;
            put_in_place(dir)?;
            Ok(switched)
        }
        Err(error) => {
            // The first fault is the one to tell; what stays is taken away by the next try.
            drop(std::fs::remove_dir_all(&staged));
            Err(error)
        }
    }
}

fn move_secret(
    old: &Path,
    from: Option<&Keys>,
    new: &Path,
    to: Option<&Keys>,
) -> Result<(), EncryptionError> {
    let file = match File::open(old) {
        Ok(file) => file,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(()),
        Err(source) => return Err(unusable(old)(source)),
    };
    let secret = private_file::kept(file, old, from).map_err(unusable(old))?;
    private_file::keep(new, &secret, to).map_err(unusable(new))
}

/// Ends what an earlier switch began: before its new files were whole they are taken away, after
/// that they are put in place. Nothing where there is nothing to end.
pub(super) fn settle(dir: &Path) -> Result<(), EncryptionError> {
    let is_there = |name: &str| dir.join(name).is_dir();
    if !is_there(CHANGING) && !is_there(CHANGED) {
        return Ok(());
    }
    let _lock = store::lock(dir).map_err(|error| unusable(dir)(io::Error::other(error)))?;
    take_away(&dir.join(CHANGING))?;
    if is_there(CHANGED) {
        put_in_place(dir)?;
    }
    Ok(())
}

/// Each step may have been done before; the last one ends it.
fn put_in_place(dir: &Path) -> Result<(), EncryptionError> {
    let changed = dir.join(CHANGED);
    let encrypts = changed.join(FILE).exists();
    if changed.join(ATTACHMENTS).is_dir() {
        take_away(&dir.join(ATTACHMENTS))?;
        give_place(&changed.join(ATTACHMENTS), &dir.join(ATTACHMENTS))?;
    }
    for name in SECRETS {
        if changed.join(name).exists() {
            give_place(&changed.join(name), &dir.join(name))?;
        }
    }
    if changed.join(STORE).exists() {
        for old in ["node.sqlite-wal", "node.sqlite-shm"] {
            take_away(&dir.join(old))?;
        }
        // What a keyring opens is the key of the old files: it fits no new one.
        take_away(&dir.join(keyring::FILE))?;
        // The closed key goes with the store: neither is of use without the other.
        match encrypts {
            true => drop(copy_closed(&changed.join(FILE), &dir.join(FILE))?),
            false => take_away(&dir.join(FILE))?,
        }
        give_place(&changed.join(STORE), &dir.join(STORE))?;
    }
    sync(dir)?;
    take_away(&changed)?;
    sync(dir)
}

fn give_place(from: &Path, to: &Path) -> Result<(), EncryptionError> {
    std::fs::rename(from, to).map_err(unusable(to))
}

pub(super) fn take_away(path: &Path) -> Result<(), EncryptionError> {
    let gone =
        if path.is_dir() { std::fs::remove_dir_all(path) } else { std::fs::remove_file(path) };
    match gone {
        Err(error) if error.kind() != ErrorKind::NotFound => Err(unusable(path)(error)),
        _ => Ok(()),
    }
}

pub(super) fn sync(dir: &Path) -> Result<(), EncryptionError> {
    File::open(dir).and_then(|folder| folder.sync_all()).map_err(unusable(dir))
}

/// What lies in the folder and is none of ours.
fn strangers(dir: &Path) -> Result<Vec<PathBuf>, EncryptionError> {
    let known = [STORE, "node.sqlite-wal", "node.sqlite-shm", ATTACHMENTS, CHANGING];
    let mut found = Vec::new();
    for entry in std::fs::read_dir(dir).map_err(unusable(dir))? {
        let entry = entry.map_err(unusable(dir))?;
        let name = entry.file_name();
        let ours = known.iter().chain(&SECRETS).chain(&BLANK).any(|known| name == *known);
        if !ours {
            found.push(entry.path());
        }
    }
    found.sort();
    Ok(found)
}
