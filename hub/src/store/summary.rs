//! What was worked out from documents, kept so that a list of them need not read them all.
//!
//! In: what is said of a document, and all it was worked out from. Out: the same, unless anything
//! of it has changed since. One digest covers both, so a stale line and a damaged one are alike:
//! none. Everything here may be thrown away.

use sha2::{Digest, Sha256};

/// So many bytes of SHA-256 are kept: nobody gains by a line that only looks right.
const DIGEST: usize = 16;

/// What is said of a document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Summary {
    /// What is said.
    pub said: String,
    pub(super) digest: [u8; DIGEST],
}

impl Summary {
    /// What is said, worked out from these.
    pub fn new(said: String, from: &[&[u8]]) -> Self {
        let digest = digest(&said, from);
        Self { said, digest }
    }

    /// Whether it was worked out from these, and is what was said then.
    pub fn fits(&self, from: &[&[u8]]) -> bool {
        self.digest == digest(&self.said, from)
    }
}

fn digest(said: &str, from: &[&[u8]]) -> [u8; DIGEST] {
    let mut hasher = Sha256::new();
    for part in std::iter::once(&said.as_bytes()).chain(from) {
        hasher.update((part.len() as u64).to_be_bytes());
        hasher.update(part);
    }
    *hasher.finalize().first_chunk().expect("a digest is longer")
}
