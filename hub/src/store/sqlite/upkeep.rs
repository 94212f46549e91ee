//! Whether the SQLite engine still holds what was written: its pages, tables and saved forms.

use guyline_core::record::DocumentId;
use sha2::{Digest, Sha256};

use super::log::{Sqlite, document_id};
use super::seal::{self, Sealed};
use super::{StoreError, Upkeep};

impl Upkeep for Sqlite {
    fn pages(&self) -> Result<Vec<String>, StoreError> {
        let engine = |source| self.error(source);
        let mut check = self.connection.prepare("PRAGMA integrity_check(20)").map_err(engine)?;
        let rows = check.query_map([], |row| row.get(0)).map_err(engine)?;
        let said: Vec<String> = rows.collect::<rusqlite::Result<_>>().map_err(engine)?;
        Ok(said.into_iter().filter(|line| line != "ok").collect())
    }

    fn unsealed(&self) -> Result<Vec<&'static str>, StoreError> {
        let mut found = Vec::new();
        for table in Sealed::ALL {
            let holds = seal::holds(&self.connection, table);
            if !holds.map_err(|source| self.error(source))? {
                found.push(table.damage());
            }
        }
        Ok(found)
    }

    fn damaged_arrivals(&self) -> Result<u64, StoreError> {
        let read = || -> rusqlite::Result<u64> {
            let mut select = self.connection.prepare("SELECT peer, digest, body FROM arrival")?;
            let mut rows = select.query([])?;
            let mut damaged = 0;
            while let Some(row) = rows.next()? {
                let given_up = row.get::<_, Option<i64>>(0)?.is_none();
                let (digest, body): ([u8; 32], Vec<u8>) = (row.get(1)?, row.get(2)?);
                let changed = <[u8; 32]>::from(Sha256::digest(&body)) != digest;
                damaged += u64::from(given_up || changed);
            }
            Ok(damaged)
        };
        read().map_err(|source| self.error(source))
    }

    fn without_heads(&self) -> Result<Vec<DocumentId>, StoreError> {
        let sql = "SELECT document FROM change UNION SELECT document FROM saved \
                   EXCEPT SELECT id FROM document";
        let engine = |source| self.error(source);
        let mut select = self.connection.prepare(sql).map_err(engine)?;
        let rows = select.query_map([], |row| document_id(row, 0)).map_err(engine)?;
        rows.collect::<rusqlite::Result<_>>().map_err(engine)
    }

    fn givers_damaged(&self) -> Result<Vec<DocumentId>, StoreError> {
        let sql = "SELECT document FROM change WHERE from_again IS NOT -from_peer \
                   UNION SELECT document FROM run JOIN saved ON saved.id = form \
                   WHERE from_again IS NOT -from_peer";
        let engine = |source| self.error(source);
        let mut select = self.connection.prepare(sql).map_err(engine)?;
        let rows = select.query_map([], |row| document_id(row, 0)).map_err(engine)?;
        rows.collect::<rusqlite::Result<_>>().map_err(engine)
    }

    fn saved_problems(&self) -> Result<Vec<(DocumentId, String)>, StoreError> {
        let read = || -> rusqlite::Result<Vec<DocumentId>> {
            let sql = "SELECT document FROM saved ORDER BY document";
            let mut select = self.connection.prepare(sql)?;
            select.query_map([], |row| document_id(row, 0))?.collect()
        };
        let documents = read().map_err(|source| self.error(source))?;
        let mut problems = Vec::new();
        for document in documents {
            if let Some(found) = self.saved_problem(document) {
                problems.push((document, found));
            }
        }
        Ok(problems)
    }
}
