//! The PostgreSQL engine's other tables about documents: what is set aside, whose each change is,
//! what was worked out. Rows and SQL, nothing else.

use std::collections::BTreeMap;

use automerge::{ActorId, ChangeHash};
use guyline_core::record::DocumentId;
use guyline_core::time::Timestamp;
use postgres::Row;
use sha2::{Digest, Sha256};

use super::link::{Link, Values};
use super::log::insert_seals;
use super::reading::read_entry;
use super::{Asides, Authors, Postgres, SetAside, StoreError, Summaries, Summary, Upkeep};
use crate::log::Seal;
use crate::store::aside_seal;

impl Asides for Postgres {
    fn set_aside_count(&self) -> Result<u64, StoreError> {
        self.count("SELECT count(*) FROM set_aside")
    }

    fn set_aside(&self) -> Result<Vec<SetAside>, StoreError> {
        let sql = "SELECT 0::bigint, document, hash, bytes, reason, waits, key, signature \
                   FROM set_aside ORDER BY document, hash";
        self.read_asides(sql, &[])
    }

    fn waiting(&self, document: DocumentId) -> Result<Vec<SetAside>, StoreError> {
        let sql = "SELECT 0::bigint, document, hash, bytes, reason, waits, key, signature \
                   FROM set_aside WHERE waits AND document = $1 ORDER BY document, hash";
        self.read_asides(sql, &[&document.to_bytes().as_slice()])
    }

    fn waited_for(&self) -> Result<Vec<DocumentId>, StoreError> {
        self.documents("SELECT DISTINCT document FROM set_aside WHERE waits ORDER BY document")
    }
}

impl Postgres {
    fn read_asides(
        &self,
        sql: &'static str,
        values: Values<'_>,
    ) -> Result<Vec<SetAside>, StoreError> {
        let mut link = self.link.borrow_mut();
        let mut found = Vec::new();
        for row in link.rows(sql, values)? {
            let (_, entry) = read_entry(&link, &row)?;
            let (key, signature) = (link.bytes_or_none(&row, 6)?, link.bytes_or_none(&row, 7)?);
            let seal = aside_seal(&entry.change, key, signature);
            let (reason, waits) = (link.column(&row, 4)?, link.column(&row, 5)?);
            found.push(SetAside { entry, reason, waits, seal });
        }
        Ok(found)
    }

    pub(super) fn count(&self, sql: &'static str) -> Result<u64, StoreError> {
        let mut link = self.link.borrow_mut();
        match link.first(sql, &[])? {
            Some(row) => link.number(&row, 0),
            None => Ok(0),
        }
    }

    /// Documents, one a row.
    fn documents(&self, sql: &'static str) -> Result<Vec<DocumentId>, StoreError> {
        let mut link = self.link.borrow_mut();
        let rows = link.rows(sql, &[])?;
        rows.iter().map(|row| link.bytes(row, 0).map(DocumentId::from_bytes)).collect()
    }
}

pub(super) fn insert_set_aside(
    link: &mut Link,
    set_aside: &SetAside,
    peer: i64,
    at: Timestamp,
) -> Result<(), StoreError> {
    let SetAside { entry, reason, waits, seal } = set_aside;
    let sql = "INSERT INTO set_aside AS known \
               (document, hash, bytes, reason, at_ms, from_peer, waits, key, signature) \
               VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) ON CONFLICT (document, hash) \
               DO UPDATE SET reason = excluded.reason, waits = excluded.waits, \
               key = coalesce(excluded.key, known.key), \
               signature = coalesce(excluded.signature, known.signature)";
    let (document, hash) = (entry.document.to_bytes(), entry.change.hash().0);
    let (key, signature) = (
        seal.as_ref().map(|seal| seal.key.as_slice()),
        seal.as_ref().map(|seal| seal.signature.as_slice()),
    );
    let values: Values<'_> = &[
        &document.as_slice(),
        &hash.as_slice(),
        &entry.change.raw_bytes(),
        reason,
        &at.unix_ms(),
        &peer,
        waits,
        &key,
        &signature,
    ];
    link.run(sql, values).map(drop)
}

impl Authors for Postgres {
    fn seals_of(&self, document: DocumentId) -> Result<Vec<Seal>, StoreError> {
        let mut link = self.link.borrow_mut();
        let sql = "SELECT hash, actor, sequence, key, signature FROM author_seal \
                   WHERE document = $1 ORDER BY actor, key";
        let rows = link.rows(sql, &[&document.to_bytes().as_slice()])?;
        rows.iter().map(|row| read_seal(&link, row)).collect()
    }

    fn sealed_by(&self, key: [u8; 32]) -> Result<Vec<(DocumentId, ChangeHash)>, StoreError> {
        let mut link = self.link.borrow_mut();
        let sql = "SELECT document, hash FROM author_seal WHERE key = $1 \
                   ORDER BY document, actor, key";
        let rows = link.rows(sql, &[&key.as_slice()])?;
        let read = |row: &Row| {
            Ok((DocumentId::from_bytes(link.bytes(row, 0)?), ChangeHash(link.bytes(row, 1)?)))
        };
        rows.iter().map(read).collect()
    }

    fn keep_seals(&mut self, document: DocumentId, seals: &[Seal]) -> Result<(), StoreError> {
        self.write(|writer| insert_seals(writer.link, document, seals))
    }
}

fn read_seal(link: &Link, row: &Row) -> Result<Seal, StoreError> {
    let actor: &[u8] = link.column(row, 1)?;
    Ok(Seal {
        change: ChangeHash(link.bytes(row, 0)?),
        actor: ActorId::from(actor),
        sequence: link.number(row, 2)?,
        key: link.bytes(row, 3)?,
        signature: link.bytes(row, 4)?,
    })
}

impl Summaries for Postgres {
    fn summaries(&self) -> Result<BTreeMap<DocumentId, Summary>, StoreError> {
        let mut link = self.link.borrow_mut();
        let rows = link.rows("SELECT document, said, digest FROM summary", &[])?;
        let read = |row: &Row| {
            let summary = Summary { said: link.column(row, 1)?, digest: link.bytes(row, 2)? };
            Ok((DocumentId::from_bytes(link.bytes(row, 0)?), summary))
        };
        rows.iter().map(read).collect()
    }

    fn keep_summaries(&mut self, said: &BTreeMap<DocumentId, Summary>) -> Result<(), StoreError> {
        let sql = "INSERT INTO summary (document, said, digest) VALUES ($1, $2, $3) \
                   ON CONFLICT (document) DO UPDATE SET said = excluded.said, \
                   digest = excluded.digest";
        self.link.get_mut().transaction(|link| {
            for (document, Summary { said, digest }) in said {
                link.run(sql, &[&document.to_bytes().as_slice(), said, &digest.as_slice()])?;
            }
            Ok(())
        })
    }

    fn forget_summaries(&mut self) -> Result<(), StoreError> {
        self.link.get_mut().run("DELETE FROM summary", &[]).map(drop)
    }
}

impl Upkeep for Postgres {
    /// The server checks its own pages whenever it reads them, and what is read here is all of it.
    fn pages(&self) -> Result<Vec<String>, StoreError> {
        Ok(Vec::new())
    }

    /// No table has a seal here: who could change one could change the seal as well, and damage is
    /// the server's to find.
    fn unsealed(&self) -> Result<Vec<&'static str>, StoreError> {
        Ok(Vec::new())
    }

    fn damaged_arrivals(&self) -> Result<u64, StoreError> {
        let mut link = self.link.borrow_mut();
        let mut damaged = 0;
        for row in link.rows("SELECT peer, digest, body FROM arrival", &[])? {
            let given_up = link.column::<Option<i64>>(&row, 0)?.is_none();
            let (digest, body) = (link.bytes::<32>(&row, 1)?, link.column::<&[u8]>(&row, 2)?);
            damaged += u64::from(given_up || <[u8; 32]>::from(Sha256::digest(body)) != digest);
        }
        Ok(damaged)
    }

    fn without_heads(&self) -> Result<Vec<DocumentId>, StoreError> {
        self.documents("SELECT document FROM change EXCEPT SELECT id FROM document ORDER BY 1")
    }

    /// Who gave a change stands once here, under the server's checksums.
    fn givers_damaged(&self) -> Result<Vec<DocumentId>, StoreError> {
        Ok(Vec::new())
    }

    fn saved_problems(&self) -> Result<Vec<(DocumentId, String)>, StoreError> {
        let mut problems = Vec::new();
        for document in self.documents("SELECT document FROM saved ORDER BY document")? {
            let found = match self.saved_problem(document) {
                Ok(found) => found,
                Err(error) => Some(error.to_string()),
            };
            problems.extend(found.map(|found| (document, found)));
        }
        Ok(problems)
    }
}
