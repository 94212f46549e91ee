//! What content is known by: its BLAKE3 hash, with one way to write it.

use std::str::FromStr;

use guyline_core::record::attachment::is_hash;

/// What content is known by.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct ContentHash(blake3::Hash);

impl ContentHash {
    /// The hash of bytes.
    pub fn of(bytes: &[u8]) -> Self {
        Self(blake3::hash(bytes))
    }

    /// The hash with these bytes.
    pub fn from_bytes(bytes: [u8; 32]) -> Self {
        Self(blake3::Hash::from_bytes(bytes))
    }

    /// Its bytes.
    pub fn to_bytes(self) -> [u8; 32] {
        *self.0.as_bytes()
    }
}

impl std::fmt::Display for ContentHash {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.to_hex().fmt(f)
    }
}

impl std::fmt::Debug for ContentHash {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.to_hex().fmt(f)
    }
}

impl PartialOrd for ContentHash {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for ContentHash {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.0.as_bytes().cmp(other.0.as_bytes())
    }
}

/// Text that is no hash.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("this is no hash of 64 hexadecimal digits")]
pub struct NotAHash;

impl FromStr for ContentHash {
    type Err = NotAHash;

    fn from_str(text: &str) -> Result<Self, NotAHash> {
        // Only one way to write it, since a file's name is made from it.
        if !is_hash(text) {
            return Err(NotAHash);
        }
        blake3::Hash::from_hex(text).map(Self).map_err(|_| NotAHash)
    }
}
