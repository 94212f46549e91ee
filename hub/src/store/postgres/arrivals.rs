//! The PostgreSQL engine's arrivals: pieces of peers' logs that are stored as they came.
//!
//! A piece has no position in the log, so it is added without the hub's lock: several processes
//! take in at once what a crew brings home, and whoever looks at a document has all of it put in
//! place first.

use guyline_core::time::Timestamp;
use sha2::{Digest, Sha256};

use super::peers::{remember, seen};
use super::{Arrival, Arrivals, Card, Mark, Placing, Postgres, StoreError};
use crate::log::Ask;
use crate::packed::Packed;

impl Arrivals for Postgres {
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
        let end = self.newest.position;
        let digest: [u8; 32] = Sha256::digest(body).into();
        self.link.get_mut().transaction(|link| {
            // First, since it keeps the peer's row until the commit.
            let peer = remember(link, card, at, end)?;
            seen(link, peer, seen_now, anew.then_some(end))?;
            let sql = "INSERT INTO arrival (peer, at_ms, digest, body) VALUES ($1, $2, $3, $4)";
            link.run(sql, &[&peer, &at.unix_ms(), &digest.as_slice(), &body]).map(drop)
        })
    }

    fn next_arrival(&self) -> Result<Option<Arrival>, StoreError> {
        let mut link = self.link.borrow_mut();
        let sql = "SELECT id, peer, at_ms, digest, body FROM arrival WHERE peer IS NOT NULL \
                   ORDER BY id LIMIT 1";
        let Some(row) = link.first(sql, &[])? else {
            return Ok(None);
        };
        let (digest, body) = (link.bytes::<32>(&row, 3)?, link.column::<Vec<u8>>(&row, 4)?);
        let body = (<[u8; 32]>::from(Sha256::digest(&body)) == digest).then_some(body);
        let (id, peer, at_ms) =
            (link.column(&row, 0)?, link.column(&row, 1)?, link.column(&row, 2)?);
        Ok(Some(Arrival { id, peer, at_ms, body }))
    }

    fn put_in_place(
        &mut self,
        arrival: &Arrival,
        placing: &Placing,
        _packed: &[Packed],
    ) -> Result<(), StoreError> {
        let life = self.life_for(placing);
        let newest = self.write(|writer| {
            writer.live(life)?;
            let newest = writer.insert_all(placing, arrival.peer)?;
            writer.link.run("DELETE FROM arrival WHERE id = $1", &[&arrival.id])?;
            Ok(newest)
        })?;
        self.placed(newest, placing);
        Ok(())
    }

    fn give_up(&mut self, arrival: &Arrival) -> Result<(), StoreError> {
        self.write(|writer| {
            let sql = "UPDATE peer SET seen_position = 0, \
                       seen_hash = decode(repeat('00', 32), 'hex'), \
                       known_position = NULL, known_hash = NULL, known = NULL WHERE id = $1";
            writer.link.run(sql, &[&arrival.peer])?;
            let sql = "UPDATE arrival SET peer = NULL WHERE id = $1";
            writer.link.run(sql, &[&arrival.id]).map(drop)
        })
    }
}
