//! A second way to open an encrypted folder: with what the keyring of the platform keeps.
//!
//! In: a folder whose passphrase was given once, and a keyring. Out: the same keys, closed a second
//! time in `node.keyring` with a secret that is drawn for it and lies in the keyring alone. The
//! passphrase never goes there and opens the folder as before, so whatever becomes of the keyring
//! loses nothing. The file stands before the item and goes after it: no item is without a file that
//! names it. Where there is no such file no keyring is ever spoken to.

mod platform;

use std::fmt;
use std::path::Path;

use chacha20poly1305::aead::{Aead, KeyInit, Payload};
use chacha20poly1305::{Key, XChaCha20Poly1305, XNonce};
use serde::{Deserialize, Serialize};
use zeroize::Zeroizing;

use super::switch::{self, SwitchError};
use super::{EncryptionError, Keys, Passphrase, bytes_of, random, text_of, unusable};
use crate::identity::private_file;

pub use platform::Platform;

/// The file that says that a keyring opens the folder too.
pub(super) const FILE: &str = "node.keyring";
/// The version of that file this program writes.
const VERSION: u32 = 1;
/// What the closed key is bound to, with the item's name.
const CLOSED_KEY: &[u8] = b"guyline node keyring 1 ";

/// What keeps secrets for the person who is logged in.
pub trait Keyring {
    /// Keeps a secret under a name, in place of what is there. The label is for people.
    fn put(&self, item: &str, label: &str, secret: &[u8]) -> Result<(), RingFault>;
    /// What is kept under a name.
    fn get(&self, item: &str) -> Result<Zeroizing<Vec<u8>>, RingFault>;
    /// Keeps it no longer. [`RingFault::Lost`] where it did not.
    fn forget(&self, item: &str) -> Result<(), RingFault>;
}

/// Why a keyring does not open a folder. The passphrase does.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RingFault {
    /// There is none, or none that this program knows how to ask.
    #[error("there is no keyring here ({said})")]
    Absent {
        /// What was found instead.
        said: String,
    },
    /// It waits for its own password.
    #[error("the keyring is locked")]
    Locked,
    /// It is there and has no such item, as on another machine.
    #[error("the keyring does not have what opens this folder")]
    Lost,
    /// It has one, and that does not open the folder, or what it is to open is damaged.
    #[error("what the keyring has does not open this folder")]
    Unfit,
    /// It was asked and did not do it.
    #[error("the keyring failed: {said}")]
    Failed {
        /// Its reason.
        said: String,
    },
}

impl RingFault {
    /// A word for it that a screen can look up.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Absent { .. } => "absent",
            Self::Locked => "locked",
            Self::Lost => "lost",
            Self::Unfit => "unfit",
            Self::Failed { .. } => "failed",
        }
    }

    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::Absent { .. } | Self::Failed { .. } => {
                "the passphrase opens the folder; the keyring is that of the person logged in at \
                 the screen"
            }
            Self::Locked => "unlock it, or give the passphrase",
            Self::Lost | Self::Unfit => {
                "give the passphrase; to have the keyring open it again: guyline encrypt keyring on"
            }
        }
    }
}

/// Why the keyring was not switched on or off.
#[derive(Debug, thiserror::Error)]
pub enum KeyringError {
    /// The folder or its passphrase.
    #[error(transparent)]
    Switch(#[from] SwitchError),
    /// The keyring.
    #[error(transparent)]
    Ring(#[from] RingFault),
}

impl From<EncryptionError> for KeyringError {
    fn from(error: EncryptionError) -> Self {
        Self::Switch(error.into())
    }
}

impl KeyringError {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::Switch(error) => error.help(),
            Self::Ring(fault) => fault.help(),
        }
    }
}

/// The file beside the store.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Slot {
    version: u32,
    item: String,
    nonce: String,
    key: String,
}

impl fmt::Debug for Slot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Slot({})", self.item)
    }
}

/// Whether a folder says that a keyring opens it. Asks no keyring.
pub fn is_on(dir: &Path) -> bool {
    dir.join(super::FILE).exists() && dir.join(FILE).exists()
}

/// The keys of a folder, by the keyring; none where none is said to open it.
pub fn keys(dir: &Path, ring: &dyn Keyring) -> Result<Option<Keys>, RingFault> {
    if !is_on(dir) {
        return Ok(None);
    }
    let slot = read(dir).ok_or(RingFault::Unfit)?;
    let secret = ring.get(&slot.item)?;
    slot.open(&secret).map(Some).ok_or(RingFault::Unfit)
}

/// Has a keyring open a folder from now on; anew where it did already.
pub fn on(dir: &Path, passphrase: &Passphrase, ring: &dyn Keyring) -> Result<(), KeyringError> {
    let keys = switch::encrypted(dir, passphrase)?;
    if let Some(earlier) = read(dir) {
        match ring.forget(&earlier.item) {
            Ok(()) | Err(RingFault::Lost) => {}
            // Its file stays: it names an item that may still be there.
            Err(fault) => return Err(fault.into()),
        }
    }
    let secret = Zeroizing::new(random::<32>()?);
    let slot = Slot::closing(&keys, &secret)?;
    let text = serde_json::to_string_pretty(&slot).expect("numbers and text only");
    let path = dir.join(FILE);
    private_file::write(&path, text.as_bytes()).map_err(unusable(&path))?;
    let label = format!("Guyline, {}", dir.display());
    if let Err(fault) = ring.put(&slot.item, &label, &*secret) {
        switch::take_away(&path)?;
        return Err(fault.into());
    }
    Ok(())
}

/// Has it open the folder no longer. Asks for the passphrase, since from now on nothing else opens
/// it. Gives why the keyring still has an item, which opens nothing any more.
pub fn off(
    dir: &Path,
    passphrase: &Passphrase,
    ring: &dyn Keyring,
) -> Result<Option<RingFault>, KeyringError> {
    switch::encrypted(dir, passphrase)?;
    take_away(dir, ring)
}

/// Takes the item away, then the file that names it. Gives why the item may still be there.
fn take_away(dir: &Path, ring: &dyn Keyring) -> Result<Option<RingFault>, KeyringError> {
    if !is_on(dir) {
        return Ok(None);
    }
    let forgotten = read(dir).map_or(Err(RingFault::Unfit), |slot| ring.forget(&slot.item));
    switch::take_away(&dir.join(FILE))?;
    switch::sync(dir)?;
    Ok(forgotten.err().filter(|fault| *fault != RingFault::Lost))
}

/// What the file holds; none where it cannot be understood.
fn read(dir: &Path) -> Option<Slot> {
    let text = std::fs::read_to_string(dir.join(FILE)).ok()?;
    serde_json::from_str::<Slot>(&text).ok().filter(|slot| slot.version == VERSION)
}

impl Slot {
    fn closing(keys: &Keys, secret: &[u8; 32]) -> Result<Self, EncryptionError> {
        let item = blake3::Hash::from_bytes(random::<32>()?).to_hex()[..32].to_owned();
        let nonce = random::<24>()?;
        let bound = [CLOSED_KEY, item.as_bytes()].concat();
        let closed = XChaCha20Poly1305::new(&Key::from(*secret))
            .encrypt(&XNonce::from(nonce), Payload { msg: &*keys.first, aad: &bound })
            .expect("a key is shorter than the cipher's limit");
        Ok(Self { version: VERSION, item, nonce: text_of(&nonce), key: text_of(&closed) })
    }

    fn open(&self, secret: &[u8]) -> Option<Keys> {
        let mut key = Zeroizing::new([0; 32]);
        if secret.len() != key.len() {
            return None;
        }
        key.copy_from_slice(secret);
        let nonce: [u8; 24] = bytes_of(&self.nonce)?.try_into().ok()?;
        let closed = bytes_of(&self.key)?;
        let bound = [CLOSED_KEY, self.item.as_bytes()].concat();
        let first = XChaCha20Poly1305::new(&Key::from(*key))
            .decrypt(&XNonce::from(nonce), Payload { msg: &closed, aad: &bound })
            .map(Zeroizing::new)
            .ok()?;
        Some(Keys { first: Zeroizing::new(first.as_slice().try_into().ok()?) })
    }
}

#[cfg(test)]
#[path = "keyring_tests.rs"]
mod tests;
