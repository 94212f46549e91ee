//! The SQLite engine's arrivals: pieces of peers' logs that are stored as they came.
//!
//! Rows and SQL, nothing else. To keep a body as it came costs a hundredth of what it takes to put
//! its changes in their places, so a crew that comes in at day end is let go at once; whoever looks
//! at a document has what arrived put in its place first.

use guyline_core::time::Timestamp;
use rusqlite::{OptionalExtension, Row, params};
use sha2::{Digest, Sha256};

use super::log::{Sqlite, insert_all};
use super::peers::{remember, seen};
use super::seal::{self, Sealed};
use super::{Arrival, Arrivals, Placing, StoreError, Writing, stretches};
use crate::log::{Ask, Card, Mark};
use crate::packed::Packed;

impl Arrivals for Sqlite {
    fn arrivals(&self) -> Result<u64, StoreError> {
        self.count("SELECT count(*) FROM arrival WHERE peer IS NOT NULL")
    }

    fn arrive(
        &mut self,
        card: &Card,
        seen_now: (Mark, &Ask),
        anew: bool,
        body: &[u8],
        at: Timestamp,
    ) -> Result<(), StoreError> {
        let end = self.newest().position;
        let digest: [u8; 32] = Sha256::digest(body).into();
        let kept = self.write_sealed(Sealed::Peers, |transaction| {
            if !seal::holds(transaction, Sealed::Arrivals)? {
                return Ok(false);
            }
            let peer = remember(transaction, card, at, end)?;
            seen(transaction, peer, seen_now, anew.then_some(end))?;
            let sql = "INSERT INTO arrival (peer, at_ms, digest, body) VALUES (?1, ?2, ?3, ?4)";
            let values = params![peer, at.unix_ms(), digest, body];
            transaction.prepare_cached(sql)?.execute(values)?;
            seal::renew(transaction, Sealed::Arrivals)?;
            Ok(true)
        })?;
        if kept { Ok(()) } else { Err(self.not_as_written(Sealed::Arrivals)) }
    }

    fn next_arrival(&self) -> Result<Option<Arrival>, StoreError> {
        let sql = "SELECT id, peer, at_ms, digest, body FROM arrival WHERE peer IS NOT NULL \
                   ORDER BY id LIMIT 1";
        let read = |row: &Row<'_>| {
            let (digest, body): ([u8; 32], Vec<u8>) = (row.get(3)?, row.get(4)?);
            let body = (<[u8; 32]>::from(Sha256::digest(&body)) == digest).then_some(body);
            Ok(Arrival { id: row.get(0)?, peer: row.get(1)?, at_ms: row.get(2)?, body })
        };
        self.connection
            .prepare_cached(sql)
            .and_then(|mut select| select.query_row([], read).optional())
            .map_err(|source| self.error(source))
    }

    fn put_in_place(
        &mut self,
        arrival: &Arrival,
        placing: &Placing,
        packed: &[Packed],
    ) -> Result<(), StoreError> {
        if !placing.appends.is_empty() {
            self.live()?;
        }
        let count: u64 = packed.iter().map(|packed| u64::from(packed.count())).sum();
        let newest = self.write_sealed(Sealed::Arrivals, |transaction| {
            let newest = insert_all(transaction, placing, arrival.peer)?;
            if let Some((last, _)) = newest.filter(|_| count > 0) {
                let places = (last + 1 - count, last);
                stretches::insert(transaction, places, &[arrival.peer], packed)?;
            }
            let sql = "DELETE FROM arrival WHERE id = ?1";
            transaction.prepare_cached(sql)?.execute([arrival.id])?;
            Ok(newest)
        })?;
        self.end_after(newest, placing);
        Ok(())
    }

    fn give_up(&mut self, arrival: &Arrival) -> Result<(), StoreError> {
        self.write_sealed(Sealed::Peers, |transaction| {
            let sql = "UPDATE peer SET seen_position = 0, seen_hash = zeroblob(32), \
                       known_position = NULL, known_hash = NULL, known = NULL WHERE id = ?1";
            transaction.prepare_cached(sql)?.execute([arrival.peer])?;
            let sql = "UPDATE arrival SET peer = NULL WHERE id = ?1";
            transaction.prepare_cached(sql)?.execute([arrival.id])?;
            seal::renew(transaction, Sealed::Arrivals)
        })
    }
}
