//! The SQLite engine's changes that are set aside. Rows and SQL, nothing else.

use guyline_core::record::DocumentId;
use guyline_core::time::Timestamp;
use rusqlite::{ToSql, Transaction, params};

use super::log::{Sqlite, document_id};
use super::{Asides, SetAside, StoreError, aside_seal};

impl Asides for Sqlite {
    fn set_aside_count(&self) -> Result<u64, StoreError> {
        self.count("SELECT count(*) FROM set_aside")
    }

    fn set_aside(&self) -> Result<Vec<SetAside>, StoreError> {
        self.set_aside_where("1", params![])
    }

    fn waiting(&self, document: DocumentId) -> Result<Vec<SetAside>, StoreError> {
        self.set_aside_where("waits = 1 AND document = ?1", params![document.to_bytes()])
    }

    fn waited_for(&self) -> Result<Vec<DocumentId>, StoreError> {
        let sql = "SELECT DISTINCT document FROM set_aside WHERE waits = 1";
        let read = || -> rusqlite::Result<Vec<DocumentId>> {
            let mut select = self.connection.prepare_cached(sql)?;
            select.query_map([], |row| document_id(row, 0))?.collect()
        };
        read().map_err(|source| self.error(source))
    }
}

impl Sqlite {
    fn set_aside_where(
        &self,
        which: &str,
        values: &[&dyn ToSql],
    ) -> Result<Vec<SetAside>, StoreError> {
        let sql = format!(
            "SELECT 0, document, hash, bytes, reason, waits, key, signature FROM set_aside \
             WHERE {which} ORDER BY document, hash"
        );
        let engine = |source| self.error(source);
        let mut select = self.connection.prepare_cached(&sql).map_err(engine)?;
        let mut rows = select.query(values).map_err(engine)?;
        let mut found = Vec::new();
        while let Some(row) = rows.next().map_err(engine)? {
            let (_, entry) = self.read_entry(row)?;
            let (key, signature) = (row.get(6).map_err(engine)?, row.get(7).map_err(engine)?);
            let seal = aside_seal(&entry.change, key, signature);
            let (reason, waits) = (row.get(4).map_err(engine)?, row.get(5).map_err(engine)?);
            found.push(SetAside { entry, reason, waits, seal });
        }
        Ok(found)
    }
}

pub(super) fn insert_set_aside(
    transaction: &Transaction<'_>,
    set_aside: &SetAside,
    peer: i64,
    at: Timestamp,
) -> rusqlite::Result<()> {
    let SetAside { entry, reason, waits, seal } = set_aside;
    let (document, change) = (entry.document.to_bytes(), &entry.change);
    let sql = "INSERT INTO set_aside \
               (document, hash, bytes, reason, at_ms, from_peer, waits, key, signature) \
               VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9) ON CONFLICT (document, hash) \
               DO UPDATE SET reason = excluded.reason, waits = excluded.waits, \
               key = coalesce(excluded.key, key), \
               signature = coalesce(excluded.signature, signature)";
    let (hash, bytes, at) = (change.hash().0, change.raw_bytes(), at.unix_ms());
    let (key, signature) = (seal.as_ref().map(|s| s.key), seal.as_ref().map(|s| s.signature));
    let values = params![document, hash, bytes, reason, at, peer, waits, key, signature];
    transaction.prepare_cached(sql)?.execute(values).map(drop)
}
