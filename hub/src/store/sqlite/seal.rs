//! A seal on the tables whose rows no change hash covers: settings, the memory of peers, and what
//! the tables are.
//!
//! In: a table's name. Out: whether its rows are what was last written. Whoever writes into such a
//! table looks at the seal first and renews it in the same transaction, so that damage is found
//! before it is sealed over.

use rusqlite::types::ValueRef;
use rusqlite::{Connection, OptionalExtension, params};
use sha2::{Digest, Sha256};

/// A table with a seal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sealed {
    Settings,
    Peers,
    /// Less their bodies, which have digests.
    Arrivals,
    /// The tables themselves: their columns' names are letters in the file like all others.
    Schema,
}

impl Sealed {
    pub(super) const ALL: [Self; 4] = [Self::Settings, Self::Peers, Self::Arrivals, Self::Schema];

    fn name(self) -> &'static str {
        match self {
            Self::Settings => "setting",
            Self::Peers => "peer",
            Self::Arrivals => "arrival",
            Self::Schema => "schema",
        }
    }

    fn rows(self) -> &'static str {
        match self {
            Self::Settings => "SELECT * FROM setting ORDER BY key",
            Self::Peers => "SELECT * FROM peer ORDER BY id",
            Self::Arrivals => "SELECT id, peer, at_ms, digest FROM arrival ORDER BY id",
            Self::Schema => {
                "SELECT type, name, tbl_name, sql FROM sqlite_schema ORDER BY type, name"
            }
        }
    }

    /// What somebody is told of its damage.
    pub(super) fn damage(self) -> &'static str {
        match self {
            Self::Settings => "its settings are not what was written",
            Self::Peers => "its memory of other nodes is not what was written",
            Self::Arrivals => "its list of what arrived is not what was written",
            Self::Schema => "its tables are not those that were made",
        }
    }
}

/// Whether the table holds what was last written into it.
pub(super) fn holds(connection: &Connection, table: Sealed) -> rusqlite::Result<bool> {
    let sql = "SELECT digest FROM seal WHERE name = ?1";
    let sealed: Option<[u8; 32]> =
        connection.prepare_cached(sql)?.query_row([table.name()], |row| row.get(0)).optional()?;
    Ok(sealed == Some(digest(connection, table)?))
}

/// Seals the table as it is now.
pub(super) fn renew(connection: &Connection, table: Sealed) -> rusqlite::Result<()> {
    let sql = "INSERT INTO seal (name, digest) VALUES (?1, ?2) \
               ON CONFLICT (name) DO UPDATE SET digest = excluded.digest";
    let digest = digest(connection, table)?;
    connection.prepare_cached(sql)?.execute(params![table.name(), digest]).map(drop)
}

/// Over every value with its kind and length, so that nothing can move between two of them.
fn digest(connection: &Connection, table: Sealed) -> rusqlite::Result<[u8; 32]> {
    let mut select = connection.prepare_cached(table.rows())?;
    let columns = select.column_count();
    let mut rows = select.query([])?;
    let mut hasher = Sha256::new();
    while let Some(row) = rows.next()? {
        for column in 0..columns {
            let (kind, bytes) = match row.get_ref(column)? {
                ValueRef::Null => (0, Vec::new()),
                ValueRef::Integer(number) => (1, number.to_be_bytes().to_vec()),
                ValueRef::Real(number) => (2, number.to_be_bytes().to_vec()),
                ValueRef::Text(text) => (3, text.to_vec()),
                ValueRef::Blob(blob) => (4, blob.to_vec()),
            };
            hasher.update([kind]);
            hasher.update((bytes.len() as u64).to_be_bytes());
            hasher.update(bytes);
        }
    }
    Ok(hasher.finalize().into())
}
