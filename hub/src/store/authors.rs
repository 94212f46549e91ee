//! The SQLite engine's seals on changes: whose they are, by the devices' own signatures.
//!
//! Rows and SQL, nothing else: whether a signature holds is looked at before it comes here and by
//! whoever inspects the store. Of each actor and device only the newest seal of a document is
//! kept, since it covers the others.

use std::collections::BTreeMap;

use automerge::{ActorId, ChangeHash};
use guyline_core::record::DocumentId;
use rusqlite::{Row, Transaction, params};

use super::StoreError;
use super::sqlite::{Store, document_id, row_position};
use crate::log::{LogEntry, Seal};

/// The setting that says that the device is yet to seal what it holds.
const SEALS: &str = "seals";
const WANTED: &str = "wanted";

impl Store {
    /// The seals on a document's changes.
    pub fn seals_of(&self, document: DocumentId) -> Result<Vec<Seal>, StoreError> {
        let sql = "SELECT hash, actor, sequence, key, signature FROM author_seal \
                   WHERE document = ?1 ORDER BY actor, key";
        let read = || -> rusqlite::Result<Vec<Seal>> {
            let mut select = self.connection.prepare_cached(sql)?;
            select.query_map([document.to_bytes()], |row| read_seal(row, 0))?.collect()
        };
        read().map_err(|source| self.error(source))
    }

    /// The seals on some of these changes, each with its change's place.
    pub(super) fn seals_among(&self, entries: &[LogEntry]) -> Result<Vec<(u32, Seal)>, StoreError> {
        let mut places: BTreeMap<DocumentId, BTreeMap<ChangeHash, u32>> = BTreeMap::new();
        for (place, entry) in (0_u32..).zip(entries) {
            places.entry(entry.document).or_default().insert(entry.change.hash(), place);
        }
        let mut found = Vec::new();
        for (document, places) in places {
            let seals = self.seals_of(document)?.into_iter();
            found.extend(seals.filter_map(|seal| Some((*places.get(&seal.change)?, seal))));
        }
        found.sort_by_key(|(place, _)| *place);
        Ok(found)
    }

    /// Every document that some device sealed a change of by this key.
    pub fn sealed_by(&self, key: [u8; 32]) -> Result<Vec<(DocumentId, ChangeHash)>, StoreError> {
        let read = || -> rusqlite::Result<Vec<(DocumentId, ChangeHash)>> {
            let sql = "SELECT document, hash FROM author_seal WHERE key = ?1";
            let mut select = self.connection.prepare_cached(sql)?;
            let found = |row: &Row<'_>| Ok((document_id(row, 0)?, ChangeHash(row.get(1)?)));
            select.query_map([key], found)?.collect()
        };
        read().map_err(|source| self.error(source))
    }

    /// Whether this device is yet to seal what it holds.
    pub(crate) fn wants_seals(&self) -> Result<bool, StoreError> {
        Ok(self.setting(SEALS)?.as_deref() == Some(WANTED))
    }

    /// Keeps whether it is.
    pub(crate) fn want_seals(&mut self, wanted: bool) -> Result<(), StoreError> {
        self.set_setting(SEALS, if wanted { WANTED } else { "set" })
    }

    /// Keeps seals on changes that are stored.
    pub(crate) fn keep_seals(
        &mut self,
        document: DocumentId,
        seals: &[Seal],
    ) -> Result<(), StoreError> {
        self.write(|transaction| insert_seals(transaction, document, seals))
    }
}

pub(super) fn insert_seals(
    transaction: &Transaction<'_>,
    document: DocumentId,
    seals: &[Seal],
) -> rusqlite::Result<()> {
    let mut insert = transaction.prepare_cached(
        "INSERT INTO author_seal (document, actor, key, sequence, hash, signature) \
         VALUES (?1, ?2, ?3, ?4, ?5, ?6) ON CONFLICT (document, actor, key) DO UPDATE SET \
         sequence = excluded.sequence, hash = excluded.hash, signature = excluded.signature \
         WHERE excluded.sequence > sequence",
    )?;
    for seal in seals {
        let (actor, sequence) = (seal.actor.to_bytes(), row_position(seal.sequence));
        let document = document.to_bytes();
        let values = params![document, actor, seal.key, sequence, seal.change.0, seal.signature];
        insert.execute(values)?;
    }
    Ok(())
}

/// Five columns: hash, actor, sequence, key and signature.
fn read_seal(row: &Row<'_>, column: usize) -> rusqlite::Result<Seal> {
    let actor: Vec<u8> = row.get(column + 1)?;
    Ok(Seal {
        change: ChangeHash(row.get(column)?),
        actor: ActorId::from(actor.as_slice()),
        sequence: super::sqlite::position(row, column + 2)?,
        key: row.get(column + 3)?,
        signature: row.get(column + 4)?,
    })
}
