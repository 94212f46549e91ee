//! A node's files made unreadable to whoever has the disk and not the passphrase.
//!
//! In: a passphrase. Out: the keys of a folder's store, its attachments' content and its device's
//! key. The keys hang on one that is drawn once and kept in `node.encryption`, closed with what
//! Argon2id makes of the passphrase; another passphrase closes the same key anew. Pages are
//! encrypted by the engine (SQLCipher), the rest by XChaCha20 from a library; nothing of it is our
//! own. It cannot protect what is shown on a running device, nor a weak passphrase.
//!
//! Reading order: here, [`content`] (attachments), [`switch`] (on and off), [`keyring`] (opened
//! without asking), [`pages`] (repair), [`idle`] (when a window asks again).

pub(crate) mod content;
pub mod idle;
pub mod keyring;
pub(crate) mod pages;
pub mod switch;

use std::fmt;
use std::io::{ErrorKind, Read as _};
use std::path::{Path, PathBuf};

use argon2::{Algorithm, Argon2, Params, Version};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD as BASE64;
use chacha20poly1305::aead::{Aead, KeyInit, Payload};
use chacha20poly1305::{Key, XChaCha20Poly1305, XNonce};
use serde::{Deserialize, Serialize};
use subtle::ConstantTimeEq as _;
use zeroize::Zeroizing;

use crate::identity::private_file;

/// The file that says that a folder is encrypted, and holds the closed key.
const FILE: &str = "node.encryption";
/// More is no such file.
const FILE_MAX: u64 = 4096;
/// The version of that file this program writes.
const VERSION: u32 = 1;
/// What the closed key is bound to, so that it opens as nothing else.
const CLOSED_KEY: &[u8] = b"guyline node encryption 1";
/// What a closed secret is bound to.
const CLOSED_SECRET: &[u8] = b"guyline closed secret 1 ";
/// The shortest passphrase that is taken: NIST SP 800-63B, 5.1.1.2 asks for at least 8.
const PASSPHRASE_LEAST: usize = 8;
const PASSPHRASE_MOST: usize = 1024;

/// What a person remembers.
#[derive(Clone)]
pub struct Passphrase(Zeroizing<String>);

impl Passphrase {
    /// Takes a text as it was typed. A line's end behind it is not part of it.
    pub fn new(text: &str) -> Result<Self, EncryptionError> {
        let text = text.trim_end_matches(['\r', '\n']);
        let length = text.chars().count();
        if !(PASSPHRASE_LEAST..=PASSPHRASE_MOST).contains(&length) {
            return Err(EncryptionError::Length { length });
        }
        Ok(Self(Zeroizing::new(text.to_owned())))
    }

    /// Whether another is the same.
    pub fn is(&self, other: &Self) -> bool {
        self.0.as_bytes().ct_eq(other.0.as_bytes()).into()
    }

    /// Takes what is in a file.
    pub fn from_file(path: &Path) -> Result<Self, EncryptionError> {
        let mut text = Zeroizing::new(String::new());
        std::fs::File::open(path)
            .and_then(|file| file.take(FILE_MAX).read_to_string(&mut text))
            .map_err(unusable(path))?;
        Self::new(&text)
    }
}

impl fmt::Debug for Passphrase {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Passphrase")
    }
}

/// What trying a passphrase costs, who tries it and who has to guess it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cost {
    /// Memory, in KiB.
    pub memory_kib: u32,
    /// How often it is gone through.
    pub passes: u32,
    /// How many may work on it at once.
    pub lanes: u32,
}

impl Cost {
    /// RFC 9106, section 4: the second recommended option, for where memory is not plenty.
    pub const RECOMMENDED: Self = Self { memory_kib: 65_536, passes: 3, lanes: 4 };
    /// More than this is no file of ours: opening it would take the device's memory.
    const MOST: Self = Self { memory_kib: 1_048_576, passes: 100, lanes: 64 };

    fn is_bearable(self) -> bool {
        let Self { memory_kib, passes, lanes } = Self::MOST;
        self.memory_kib <= memory_kib && self.passes <= passes && self.lanes <= lanes
    }
}

/// Why a folder cannot be opened, encrypted or decrypted. What is there is as it was.
#[derive(Debug, thiserror::Error)]
pub enum EncryptionError {
    /// It is encrypted, and no passphrase was given.
    #[error("what {path} stands for is encrypted", path = path.display())]
    Locked {
        /// The file that holds the closed key.
        path: PathBuf,
    },
    /// Another passphrase closes it, or the closed key was changed.
    #[error("this passphrase does not open {path}", path = path.display())]
    WrongPassphrase {
        /// The file that holds the closed key.
        path: PathBuf,
    },
    /// Too short to keep anybody out, or too long to be one.
    #[error(
        "a passphrase has {PASSPHRASE_LEAST} to {PASSPHRASE_MOST} characters; this has {length}"
    )]
    Length {
        /// Its length.
        length: usize,
    },
    /// No new one was given.
    #[error("a new passphrase is wanted, and there is no terminal to ask at")]
    NoPassphrase,
    /// The two that were typed differ.
    #[error("the two passphrases differ; {dir} is as it was", dir = dir.display())]
    NotAlike {
        /// The folder.
        dir: PathBuf,
    },
    /// It is encrypted already.
    #[error("{dir} is encrypted already", dir = dir.display())]
    Already {
        /// The folder.
        dir: PathBuf,
    },
    /// It is not.
    #[error("{dir} is not encrypted", dir = dir.display())]
    NotEncrypted {
        /// The folder.
        dir: PathBuf,
    },
    /// The file beside the store, or a closed secret, cannot be understood.
    #[error("{path} is damaged: {found}", path = path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What was found.
        found: String,
    },
    /// A later version wrote it.
    #[error(
        "{path} is of version {found}, and this Guyline knows versions up to {VERSION}",
        path = path.display()
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its version.
        found: u32,
    },
    /// A file cannot be used.
    #[error("{path} cannot be used: {source}", path = path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        #[source]
        source: std::io::Error,
    },
    /// The system gives no randomness.
    #[error("no key can be drawn: {0}")]
    NoRandomness(getrandom::Error),
    /// Argon2 refuses, which it does where memory is short.
    #[error("no key can be made of the passphrase: {0}")]
    NotMade(argon2::Error),
}

impl EncryptionError {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::Locked { .. } => {
                "name the file that holds its passphrase with --passphrase-file, or run this where \
                 it can ask you"
            }
            Self::WrongPassphrase { .. } => {
                "type it again; nobody can open the folder without it, and what was merged is on \
                 the shop's other devices"
            }
            Self::Length { .. } => "choose four or more words that nobody would guess together",
            Self::NoPassphrase => "name a file that holds it",
            Self::NotAlike { .. } => "type the same one twice",
            Self::Already { .. } => "to give it another passphrase: guyline encrypt change",
            Self::NotEncrypted { .. } => "to encrypt it: guyline encrypt on",
            Self::Damaged { .. } => {
                "put it back from a backup: without it nothing in the folder can be read; what was \
                 merged is on the shop's other devices"
            }
            Self::Newer { .. } => "update Guyline on this device; nothing was touched",
            Self::File { .. } => "check the name, and who may read and write it",
            Self::NoRandomness(_) => "start the system's random number device",
            Self::NotMade(_) => "close other programs and try again",
        }
    }
}

/// The file beside the store.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Closed {
    version: u32,
    argon2id: Cost,
    salt: String,
    nonce: String,
    key: String,
}

/// The keys of an encrypted folder, while it is open.
#[derive(Clone)]
pub struct Keys {
    /// The one the others hang on.
    first: Zeroizing<[u8; 32]>,
}

impl fmt::Debug for Keys {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Keys")
    }
}

impl Keys {
    /// The keys of a folder; none where it is not encrypted.
    pub fn of(
        dir: &Path,
        passphrase: Option<&Passphrase>,
    ) -> Result<Option<Self>, EncryptionError> {
        switch::settle(dir)?;
        Self::closed_in(&dir.join(FILE), passphrase)
    }

    /// The keys of the copy of a store that [`keep_beside`] was told of; none where it is not
    /// encrypted.
    pub(crate) fn beside(
        backup: &Path,
        passphrase: Option<&Passphrase>,
    ) -> Result<Option<Self>, EncryptionError> {
        Self::closed_in(&beside(backup), passphrase)
    }

    fn closed_in(
        path: &Path,
        passphrase: Option<&Passphrase>,
    ) -> Result<Option<Self>, EncryptionError> {
        let Some(closed) = read(path)? else { return Ok(None) };
        let passphrase =
            passphrase.ok_or_else(|| EncryptionError::Locked { path: path.to_owned() })?;
        closed.open(path, passphrase).map(Some)
    }

    /// Draws keys.
    fn fresh() -> Result<Self, EncryptionError> {
        let mut first = Zeroizing::new([0; 32]);
        getrandom::fill(first.as_mut()).map_err(EncryptionError::NoRandomness)?;
        Ok(Self { first })
    }

    /// The engine's key for the pages, in the form of a raw key it takes.
    pub(crate) fn of_pages(&self) -> Zeroizing<String> {
        let key = self.of_pages_raw();
        Zeroizing::new(format!("x'{}'", blake3::Hash::from_bytes(*key).to_hex()))
    }

    fn of_pages_raw(&self) -> Zeroizing<[u8; 32]> {
        self.derived("guyline 2026 pages of a store")
    }

    /// The key of attachments' content.
    fn of_content(&self) -> Zeroizing<[u8; 32]> {
        self.derived("guyline 2026 content of attachments")
    }

    fn derived(&self, purpose: &str) -> Zeroizing<[u8; 32]> {
        Zeroizing::new(blake3::derive_key(purpose, &*self.first))
    }

    fn of_secrets(&self) -> XChaCha20Poly1305 {
        let key = self.derived("guyline 2026 secret files");
        XChaCha20Poly1305::new(&Key::from(*key))
    }

    /// Closes a secret that is kept in a file of this name. Gives text.
    pub(crate) fn close_secret(
        &self,
        name: &str,
        secret: &[u8],
    ) -> Result<String, EncryptionError> {
        let nonce = random::<24>()?;
        let bound = [CLOSED_SECRET, name.as_bytes()].concat();
        let closed = self
            .of_secrets()
            .encrypt(&XNonce::from(nonce), Payload { msg: secret, aad: &bound })
            .expect("a secret is shorter than the cipher's limit");
        Ok(format!("closed {} {}\n", text_of(&nonce), text_of(&closed)))
    }

    /// Opens what [`Self::close_secret`] gave for a file of this name; none where it is not that.
    pub(crate) fn open_secret(&self, name: &str, text: &str) -> Option<Zeroizing<Vec<u8>>> {
        let (nonce, closed) = text.strip_prefix("closed ")?.trim_end().split_once(' ')?;
        let nonce: [u8; 24] = bytes_of(nonce)?.try_into().ok()?;
        let bound = [CLOSED_SECRET, name.as_bytes()].concat();
        let closed = bytes_of(closed)?;
        let payload = Payload { msg: &closed, aad: &bound };
        self.of_secrets().decrypt(&XNonce::from(nonce), payload).ok().map(Zeroizing::new)
    }

    /// Closes them with a passphrase, into a folder.
    fn close(
        &self,
        dir: &Path,
        passphrase: &Passphrase,
        cost: Cost,
    ) -> Result<(), EncryptionError> {
        let (salt, nonce) = (random::<16>()?, random::<24>()?);
        let key = stretched(passphrase, &salt, cost)?;
        let closed = XChaCha20Poly1305::new(&Key::from(*key))
            .encrypt(&XNonce::from(nonce), Payload { msg: &*self.first, aad: CLOSED_KEY })
            .expect("a key is shorter than the cipher's limit");
        let closed = Closed {
            version: VERSION,
            argon2id: cost,
            salt: text_of(&salt),
            nonce: text_of(&nonce),
            key: text_of(&closed),
        };
        let text = serde_json::to_string_pretty(&closed).expect("numbers and text only");
        let path = dir.join(FILE);
        private_file::write(&path, text.as_bytes()).map_err(unusable(&path))
    }
}

impl Closed {
    fn open(&self, path: &Path, passphrase: &Passphrase) -> Result<Keys, EncryptionError> {
        let damaged = |found: &str| EncryptionError::Damaged {
            path: path.to_owned(),
            found: found.to_owned(),
        };
        let salt = bytes_of(&self.salt).ok_or_else(|| damaged("its salt is not base64"))?;
        let nonce = bytes_of(&self.nonce).and_then(|nonce| <[u8; 24]>::try_from(nonce).ok());
        let nonce = nonce.ok_or_else(|| damaged("its nonce is not 24 bytes"))?;
        let closed = bytes_of(&self.key).ok_or_else(|| damaged("its key is not base64"))?;
        if !self.argon2id.is_bearable() {
            return Err(damaged("it asks for more memory or time than any of ours"));
        }
        let key = stretched(passphrase, &salt, self.argon2id)?;
        let first = XChaCha20Poly1305::new(&Key::from(*key))
            .decrypt(&XNonce::from(nonce), Payload { msg: &closed, aad: CLOSED_KEY })
            .map_err(|_| EncryptionError::WrongPassphrase { path: path.to_owned() })?;
        let first = Zeroizing::new(first);
        let first: [u8; 32] =
            first.as_slice().try_into().map_err(|_| damaged("its key is not 32 bytes"))?;
        Ok(Keys { first: Zeroizing::new(first) })
    }
}

/// Whether a folder is encrypted, after what an earlier switch began was ended.
pub fn is_encrypted(dir: &Path) -> Result<bool, EncryptionError> {
    switch::settle(dir)?;
    Ok(read(&dir.join(FILE))?.is_some())
}

/// Gives another folder the closed key of one that is encrypted.
pub(crate) fn lend(dir: &Path, to: &Path) -> Result<bool, EncryptionError> {
    copy_closed(&dir.join(FILE), &to.join(FILE))
}

/// Keeps a folder's closed key beside a copy of its store, and says whether it has one.
pub(crate) fn keep_beside(dir: &Path, backup: &Path) -> Result<bool, EncryptionError> {
    copy_closed(&dir.join(FILE), &beside(backup))
}

/// Brings the closed key from beside a copy into a folder.
pub(crate) fn bring_from_beside(backup: &Path, dir: &Path) -> Result<bool, EncryptionError> {
    copy_closed(&beside(backup), &dir.join(FILE))
}

/// Where the closed key of a copy of a store stands.
pub(crate) fn beside(backup: &Path) -> PathBuf {
    let mut name = backup.as_os_str().to_owned();
    name.push(".encryption");
    PathBuf::from(name)
}

fn copy_closed(from: &Path, to: &Path) -> Result<bool, EncryptionError> {
    match std::fs::read(from) {
        Ok(bytes) => private_file::write(to, &bytes).map_err(unusable(to)).map(|()| true),
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(false),
        Err(source) => Err(unusable(from)(source)),
    }
}

fn unusable(path: &Path) -> impl Fn(std::io::Error) -> EncryptionError + use<> {
    let path = path.to_owned();
    move |source| EncryptionError::File { path: path.clone(), source }
}

fn read(path: &Path) -> Result<Option<Closed>, EncryptionError> {
    let path = path.to_owned();
    let mut text = String::new();
    let read =
        std::fs::File::open(&path).and_then(|file| file.take(FILE_MAX).read_to_string(&mut text));
    match read {
        Ok(_) => {}
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        Err(error) if error.kind() == ErrorKind::InvalidData => {
            return Err(EncryptionError::Damaged { path, found: "it is no text".to_owned() });
        }
        Err(source) => return Err(EncryptionError::File { path, source }),
    }
    #[derive(Deserialize)]
    struct Any {
        version: u32,
    }
    let damaged = |error: serde_json::Error| EncryptionError::Damaged {
        path: path.clone(),
        found: error.to_string(),
    };
    let Any { version } = serde_json::from_str(&text).map_err(damaged)?;
    if version > VERSION {
        return Err(EncryptionError::Newer { path, found: version });
    }
    serde_json::from_str(&text).map(Some).map_err(damaged)
}

fn stretched(
    passphrase: &Passphrase,
    salt: &[u8],
    cost: Cost,
) -> Result<Zeroizing<[u8; 32]>, EncryptionError> {
    let Cost { memory_kib, passes, lanes } = cost;
    let parameters =
        Params::new(memory_kib, passes, lanes, Some(32)).map_err(EncryptionError::NotMade)?;
    let mut key = Zeroizing::new([0; 32]);
    Argon2::new(Algorithm::Argon2id, Version::V0x13, parameters)
        .hash_password_into(passphrase.0.as_bytes(), salt, key.as_mut())
        .map_err(EncryptionError::NotMade)?;
    Ok(key)
}

fn random<const N: usize>() -> Result<[u8; N], EncryptionError> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(EncryptionError::NoRandomness)?;
    Ok(bytes)
}

fn text_of(bytes: &[u8]) -> String {
    BASE64.encode(bytes)
}

fn bytes_of(text: &str) -> Option<Vec<u8>> {
    BASE64.decode(text).ok()
}

#[cfg(test)]
#[path = "tests.rs"]
mod tests;
