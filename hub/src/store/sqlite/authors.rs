//! The SQLite engine's seals on changes: whose they are, by the devices' own signatures.
//!
//! Rows and SQL, nothing else: whether a signature holds is looked at before it comes here and by
//! whoever inspects the store. Of each actor and device only the newest seal of a document is
//! kept, since it covers the others.

use automerge::{ActorId, ChangeHash};
use guyline_core::record::DocumentId;
use rusqlite::{Row, Transaction, params};

use super::log::{Sqlite, document_id, row_position};
use super::{Authors, StoreError};
use crate::log::Seal;

impl Authors for Sqlite {
    fn seals_of(&self, document: DocumentId) -> Result<Vec<Seal>, StoreError> {
        let sql = "SELECT hash, actor, sequence, key, signature FROM author_seal \
                   JOIN author ON id = author WHERE document = ?1 ORDER BY actor, key";
        let read = || -> rusqlite::Result<Vec<Seal>> {
            let mut select = self.connection.prepare_cached(sql)?;
            select.query_map([document.to_bytes()], |row| read_seal(row, 0))?.collect()
        };
        read().map_err(|source| self.error(source))
    }

    fn sealed_by(&self, key: [u8; 32]) -> Result<Vec<(DocumentId, ChangeHash)>, StoreError> {
        let read = || -> rusqlite::Result<Vec<(DocumentId, ChangeHash)>> {
            let sql = "SELECT document, hash FROM author_seal \
                       JOIN author ON id = author WHERE key = ?1";
            let mut select = self.connection.prepare_cached(sql)?;
            let found = |row: &Row<'_>| Ok((document_id(row, 0)?, ChangeHash(row.get(1)?)));
            select.query_map([key], found)?.collect()
        };
        read().map_err(|source| self.error(source))
    }

    fn keep_seals(&mut self, document: DocumentId, seals: &[Seal]) -> Result<(), StoreError> {
        self.write(|transaction| insert_seals(transaction, document, seals))
    }
}

pub(super) fn insert_seals(
    transaction: &Transaction<'_>,
    document: DocumentId,
    seals: &[Seal],
) -> rusqlite::Result<()> {
    let mut meet = transaction.prepare_cached("INSERT OR IGNORE INTO author (key) VALUES (?1)")?;
    let mut insert = transaction.prepare_cached(
        "INSERT INTO author_seal (document, actor, author, sequence, hash, signature) \
         SELECT ?1, ?2, id, ?4, ?5, ?6 FROM author WHERE key = ?3 \
         ON CONFLICT (document, actor, author) DO UPDATE SET \
         sequence = excluded.sequence, hash = excluded.hash, signature = excluded.signature \
         WHERE excluded.sequence > sequence",
    )?;
    for seal in seals {
        let (actor, sequence) = (seal.actor.to_bytes(), row_position(seal.sequence));
        let document = document.to_bytes();
        let values = params![document, actor, seal.key, sequence, seal.change.0, seal.signature];
        // Most devices are known, and most writes are one edit: no statement more for those.
        if insert.execute(values)? == 0 && meet.execute([seal.key])? > 0 {
            insert.execute(values)?;
        }
    }
    Ok(())
}

/// Five columns: hash, actor, sequence, key and signature.
fn read_seal(row: &Row<'_>, column: usize) -> rusqlite::Result<Seal> {
    let actor: Vec<u8> = row.get(column + 1)?;
    Ok(Seal {
        change: ChangeHash(row.get(column)?),
        actor: ActorId::from(actor.as_slice()),
        sequence: super::log::position(row, column + 2)?,
        key: row.get(column + 3)?,
        signature: row.get(column + 4)?,
    })
}
