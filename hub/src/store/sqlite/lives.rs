//! Where the SQLite engine keeps which start of the program wrote what: among its settings.

use rusqlite::Connection;

use super::log::Sqlite;
use super::{Lives, StoreError, Writing};

pub(super) fn read(connection: &Connection) -> rusqlite::Result<Lives> {
    let sql = "SELECT key, value FROM setting WHERE key LIKE 'life %' ORDER BY key";
    let mut select = connection.prepare(sql)?;
    let rows = select.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
    let rows: Vec<(String, String)> = rows.collect::<rusqlite::Result<_>>()?;
    Ok(Lives::of_settings(rows.into_iter()))
}

impl Sqlite {
    /// Keeps, before this start writes its first change, that it is the one that does.
    pub(super) fn live(&mut self) -> Result<(), StoreError> {
        let first = self.newest.position + 1;
        if let Some((key, value)) = self.lives.to_keep(first) {
            self.set_setting(&key, &value)?;
            self.lives.kept(first);
        }
        Ok(())
    }
}
