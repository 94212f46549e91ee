//! What was worked out from documents, kept so that a list of them need not read them all.
//!
//! In: what is said of a document, and all it was worked out from. Out: the same, unless anything
//! of it has changed since. One digest covers both, so a stale line and a damaged one are alike:
//! none. Everything here may be thrown away.

use std::collections::BTreeMap;

use guyline_core::record::DocumentId;
use rusqlite::params;
use sha2::{Digest, Sha256};

use super::StoreError;
use super::sqlite::{Store, document_id};

/// What is said of a document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Summary {
    /// What is said.
    pub said: String,
    digest: [u8; 32],
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

fn digest(said: &str, from: &[&[u8]]) -> [u8; 32] {
    let mut hasher = Sha256::new();
    for part in std::iter::once(&said.as_bytes()).chain(from) {
        hasher.update((part.len() as u64).to_be_bytes());
        hasher.update(part);
    }
    hasher.finalize().into()
}

impl Store {
    /// Everything that is said, by document, stale or not.
    pub fn summaries(&self) -> Result<BTreeMap<DocumentId, Summary>, StoreError> {
        let read = || -> rusqlite::Result<_> {
            let sql = "SELECT document, said, digest FROM summary";
            let mut select = self.connection.prepare_cached(sql)?;
            let rows = select.query_map([], |row| {
                let summary = Summary { said: row.get(1)?, digest: row.get(2)? };
                Ok((document_id(row, 0)?, summary))
            })?;
            rows.collect()
        };
        read().map_err(|source| self.error(source))
    }

    /// Keeps what is said of documents, in place of what was said before.
    pub fn keep_summaries(
        &mut self,
        said: &BTreeMap<DocumentId, Summary>,
    ) -> Result<(), StoreError> {
        self.write(|transaction| {
            let sql = "INSERT INTO summary (document, said, digest) VALUES (?1, ?2, ?3) \
                       ON CONFLICT (document) DO UPDATE SET said = excluded.said, \
                       digest = excluded.digest";
            let mut insert = transaction.prepare_cached(sql)?;
            for (document, Summary { said, digest }) in said {
                insert.execute(params![document.to_bytes(), said, digest])?;
            }
            Ok(())
        })
    }

    /// Throws everything away that is said.
    pub fn forget_summaries(&mut self) -> Result<(), StoreError> {
        self.write(|transaction| transaction.execute("DELETE FROM summary", []).map(drop))
    }
}
