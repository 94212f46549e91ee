//! A device's Ed25519 key, in a file that only its owner can read.
//!
//! In: a folder. Out: the key in it, made when there is none. A file that is not a key, or that
//! others can read, is refused by name and left as it is: a key that was quietly replaced would
//! make every earlier signature look like a stranger's.

use std::fmt;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::str::FromStr;

use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};

use super::private_file;
use crate::at_rest::Keys;

/// The file's name, beside the store.
pub(crate) const FILE: &str = "device.key";
/// The same for a shop's root key, which only the device that lets others in has.
pub(crate) const ROOT_FILE: &str = "shop-root.key";

/// What goes before every statement that is signed, so that a signature made for one purpose can
/// never pass for another.
const STATEMENT: &[u8] = b"guyline statement 1\0";

/// The same for a file that leaves the tool.
const FILE_CONTENT: &[u8] = b"guyline file 1\0";

/// The same for a statement of a roster.
const ROSTER: &[u8] = b"guyline roster 1\0";

/// The same for a bundle.
const BUNDLE: &[u8] = b"guyline bundle 1\0";

/// The same for a change of a document.
pub(super) const CHANGE: &[u8] = b"guyline change 1\0";

/// The same for the word that a log is stored.
const RECEIPT: &[u8] = b"guyline receipt 1\0";

/// A device's private key. Shows itself nowhere.
pub struct DeviceKey(SigningKey);

impl fmt::Debug for DeviceKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "DeviceKey of {}", self.public())
    }
}

/// A device's public key. As text: 64 hexadecimal digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct PublicKey([u8; 32]);

/// Why there is no key.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    /// The file cannot be read or made.
    #[error("{path} cannot be used: {source}", path = path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        #[source]
        source: std::io::Error,
    },
    /// The file holds something else.
    #[error("{path} is not a device's key: 64 hexadecimal digits are", path = path.display())]
    NotAKey {
        /// The file.
        path: PathBuf,
    },
    /// Others can read it.
    #[error("{path} can be read by others than its owner", path = path.display())]
    Open {
        /// The file.
        path: PathBuf,
    },
    /// The system gives no randomness.
    #[error("the system gives no random numbers for a device's key: {0}")]
    NoRandomness(getrandom::Error),
}

impl KeyError {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::File { .. } => "check that the folder exists and that you may write in it",
            Self::NotAKey { .. } => {
                "put the right file back; without it move this one away, and the device gets a new \
                 key and is known as a new one"
            }
            Self::Open { .. } => "take the others' rights away: chmod 600 on that file",
            Self::NoRandomness(_) => "start the system's random number device",
        }
    }
}

/// Why a signature proves nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SignatureRefused {
    /// The key is no key.
    #[error("the key is no Ed25519 key")]
    Key,
    /// The signature has another form.
    #[error("the signature is not 128 hexadecimal digits")]
    Form,
    /// It was not made of this text by this key.
    #[error("the signature was not made of this text by this key")]
    False,
}

impl DeviceKey {
    /// The key in a folder, made first where there is none.
    pub fn open(dir: &Path) -> Result<Self, KeyError> {
        Self::open_with(dir, None)
    }

    /// The same in a folder with these keys, where it is encrypted.
    pub fn open_with(dir: &Path, keys: Option<&Keys>) -> Result<Self, KeyError> {
        Self::open_named(dir, FILE, keys)
    }

    /// The shop's root key in a folder, made first where there is none.
    pub fn open_root(dir: &Path, keys: Option<&Keys>) -> Result<Self, KeyError> {
        Self::open_named(dir, ROOT_FILE, keys)
    }

    /// Whether a folder has a shop's root key.
    pub fn has_root(dir: &Path) -> bool {
        dir.join(ROOT_FILE).is_file()
    }

    fn open_named(dir: &Path, name: &str, keys: Option<&Keys>) -> Result<Self, KeyError> {
        let path = dir.join(name);
        match File::open(&path) {
            Ok(file) => read(&path, file, keys),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => make(&path, keys),
            Err(source) => Err(KeyError::File { path, source }),
        }
    }

    /// The key others know it by.
    pub fn public(&self) -> PublicKey {
        PublicKey(self.0.verifying_key().to_bytes())
    }

    /// Signs a statement. Gives 128 hexadecimal digits.
    pub fn sign_statement(&self, text: &str) -> String {
        self.sign(STATEMENT, text.as_bytes())
    }

    /// Signs a file's bytes. Gives 128 hexadecimal digits.
    pub fn sign_file(&self, content: &[u8]) -> String {
        self.sign(FILE_CONTENT, content)
    }

    /// Signs a statement of a roster. Gives 128 hexadecimal digits.
    pub fn sign_roster(&self, text: &str) -> String {
        self.sign(ROSTER, text.as_bytes())
    }

    /// The key as TLS wants it: PKCS #8 with an Ed25519 key in it (RFC 8410, section 7).
    pub(super) fn pkcs8(&self) -> Vec<u8> {
        const PREFIX: [u8; 16] = [
            0x30, 0x2e, 0x02, 0x01, 0x00, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x04, 0x22,
            0x04, 0x20,
        ];
        [PREFIX.as_slice(), &self.0.to_bytes()].concat()
    }

    /// Signs a bundle's hash.
    pub fn sign_bundle(&self, hash: &[u8]) -> [u8; 64] {
        self.sign_bytes(BUNDLE, hash)
    }

    /// Signs the word that a log is stored.
    pub fn sign_receipt(&self, text: &[u8]) -> [u8; 64] {
        self.sign_bytes(RECEIPT, text)
    }

    pub(super) fn sign_bytes(&self, purpose: &[u8], message: &[u8]) -> [u8; 64] {
        self.0.sign(&[purpose, message].concat()).to_bytes()
    }

    fn sign(&self, purpose: &[u8], message: &[u8]) -> String {
        hex(&self.sign_bytes(purpose, message))
    }
}

impl PublicKey {
    /// The key these bytes are.
    pub fn from_bytes(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }

    /// Its bytes.
    pub fn to_bytes(self) -> [u8; 32] {
        self.0
    }

    /// Whether this key signed this statement.
    pub fn verify_statement(&self, text: &str, signature: &str) -> Result<(), SignatureRefused> {
        self.verify(STATEMENT, text.as_bytes(), signature)
    }

    /// Whether this key signed this file's bytes.
    pub fn verify_file(&self, content: &[u8], signature: &str) -> Result<(), SignatureRefused> {
        self.verify(FILE_CONTENT, content, signature)
    }

    /// Whether this key signed this statement of a roster.
    pub fn verify_roster(&self, text: &str, signature: &str) -> Result<(), SignatureRefused> {
        self.verify(ROSTER, text.as_bytes(), signature)
    }

    /// Whether this key signed this hash of a bundle.
    pub fn verify_bundle(&self, hash: &[u8], signature: &[u8; 64]) -> Result<(), SignatureRefused> {
        self.verify_bytes(BUNDLE, hash, signature)
    }

    /// Whether this key signed the word that a log is stored.
    pub fn verify_receipt(
        &self,
        text: &[u8],
        signature: &[u8; 64],
    ) -> Result<(), SignatureRefused> {
        self.verify_bytes(RECEIPT, text, signature)
    }

    fn verify(
        &self,
        purpose: &[u8],
        message: &[u8],
        signature: &str,
    ) -> Result<(), SignatureRefused> {
        self.verify_bytes(purpose, message, &unhex(signature).ok_or(SignatureRefused::Form)?)
    }

    pub(super) fn verify_bytes(
        &self,
        purpose: &[u8],
        message: &[u8],
        signature: &[u8; 64],
    ) -> Result<(), SignatureRefused> {
        let key = VerifyingKey::from_bytes(&self.0).map_err(|_| SignatureRefused::Key)?;
        let message = [purpose, message].concat();
        // Strict: one signature has one form only, and a key of small order signs nothing.
        key.verify_strict(&message, &Signature::from_bytes(signature))
            .map_err(|_| SignatureRefused::False)
    }

    /// Eight groups of four digits, for people to compare.
    pub fn short(&self) -> String {
        let text = self.to_string();
        let groups: Vec<&str> = (0..8).map(|group| &text[group * 4..group * 4 + 4]).collect();
        groups.join(" ")
    }
}

impl fmt::Display for PublicKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&hex(&self.0))
    }
}

impl FromStr for PublicKey {
    type Err = SignatureRefused;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        unhex(text).map(Self).ok_or(SignatureRefused::Key)
    }
}

fn read(path: &Path, file: File, keys: Option<&Keys>) -> Result<DeviceKey, KeyError> {
    private(path, &file)?;
    let text = private_file::kept(file, path, keys)
        .map_err(|source| KeyError::File { path: path.to_owned(), source })?;
    let text = std::str::from_utf8(&text).ok().map(str::trim_end);
    let secret = text.and_then(unhex).ok_or(KeyError::NotAKey { path: path.to_owned() })?;
    Ok(DeviceKey(SigningKey::from_bytes(&secret)))
}

#[cfg(unix)]
fn private(path: &Path, file: &File) -> Result<(), KeyError> {
    use std::os::unix::fs::PermissionsExt;
    let rights = file
        .metadata()
        .map_err(|source| KeyError::File { path: path.to_owned(), source })?
        .permissions()
        .mode();
    if rights & 0o077 != 0 {
        return Err(KeyError::Open { path: path.to_owned() });
    }
    Ok(())
}

#[cfg(not(unix))]
fn private(_: &Path, _: &File) -> Result<(), KeyError> {
    Ok(())
}

/// Makes a key, and the file that keeps it.
fn make(path: &Path, keys: Option<&Keys>) -> Result<DeviceKey, KeyError> {
    let mut secret = [0; 32];
    getrandom::fill(&mut secret).map_err(KeyError::NoRandomness)?;
    private_file::keep(path, format!("{}\n", hex(&secret)).as_bytes(), keys)
        .map_err(|source| KeyError::File { path: path.to_owned(), source })?;
    Ok(DeviceKey(SigningKey::from_bytes(&secret)))
}

pub(super) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn unhex<const N: usize>(text: &str) -> Option<[u8; N]> {
    if text.len() != 2 * N || !text.bytes().all(|digit| matches!(digit, b'0'..=b'9' | b'a'..=b'f'))
    {
        return None;
    }
    let mut bytes = [0; N];
    for (byte, at) in bytes.iter_mut().zip((0..).step_by(2)) {
        *byte = u8::from_str_radix(&text[at..at + 2], 16).ok()?;
    }
    Some(bytes)
}

#[cfg(test)]
#[path = "device_key_tests.rs"]
mod tests;
