//! The SQLite engine's lines of what was worked out from documents. Rows and SQL, nothing else.

use std::collections::BTreeMap;

use guyline_core::record::DocumentId;
use rusqlite::params;

use super::log::{Sqlite, document_id};
use super::{StoreError, Summaries, Summary};

impl Summaries for Sqlite {
    fn summaries(&self) -> Result<BTreeMap<DocumentId, Summary>, StoreError> {
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

    fn keep_summaries(&mut self, said: &BTreeMap<DocumentId, Summary>) -> Result<(), StoreError> {
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

    fn forget_summaries(&mut self) -> Result<(), StoreError> {
        self.write(|transaction| transaction.execute("DELETE FROM summary", []).map(drop))
    }
}
