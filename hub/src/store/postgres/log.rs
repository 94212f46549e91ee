//! The PostgreSQL engine's log and settings: what is written. Rows and SQL, nothing else.

use std::collections::BTreeMap;

use automerge::ChangeHash;
use guyline_core::record::DocumentId;

use super::asides::insert_set_aside;
use super::link::{Link, row_number};
use super::peers::{remember, seen};
use super::{Append, Card, Mark, Placing, Postgres, StoreError, TakeIn, Writer, Writing};
use crate::log::Seal;

impl Writing for Postgres {
    fn card(&self) -> &Card {
        &self.card
    }

    fn newest(&self) -> Mark {
        self.newest
    }

    fn heads(&self) -> &BTreeMap<DocumentId, Vec<ChangeHash>> {
        &self.heads
    }

    fn rename(&mut self, name: &str) -> Result<(), StoreError> {
        self.set_setting("name", name)?;
        name.clone_into(&mut self.card.name);
        Ok(())
    }

    fn setting(&self, key: &str) -> Result<Option<String>, StoreError> {
        let mut link = self.link.borrow_mut();
        let row = link.first("SELECT value FROM setting WHERE key = $1", &[&key])?;
        row.map(|row| link.column(&row, 0)).transpose()
    }

    fn set_setting(&mut self, key: &str, value: &str) -> Result<(), StoreError> {
        self.write(|writer| writer.set(key, value))
    }

    fn append(&mut self, append: &Append) -> Result<(), StoreError> {
        let lives = self.life();
        let newest = self.write(|writer| {
            writer.live(lives)?;
            writer.insert_changes(append, None)
        })?;
        self.lived();
        self.end_at(newest);
        self.heads.insert(append.document, append.heads.clone());
        Ok(())
    }

    fn take_in(&mut self, body: &TakeIn) -> Result<(), StoreError> {
        let TakeIn { card, seen: mark, asked, anew, placing } = body;
        let (life, end) = (self.life_for(placing), self.newest.position);
        let newest = self.write(|writer| {
            writer.live(life)?;
            let peer = remember(writer.link, card, placing.at, end)?;
            seen(writer.link, peer, (*mark, asked), anew.then_some(end))?;
            writer.insert_all(placing, peer)
        })?;
        self.placed(newest, placing);
        Ok(())
    }
}

impl Postgres {
    /// What says that this start writes, where it has not written yet.
    fn life(&self) -> Option<(String, String)> {
        self.lives.to_keep(self.newest.position + 1)
    }

    /// The same for what came, which may be nothing.
    pub(super) fn life_for(&self, placing: &Placing) -> Option<(String, String)> {
        if placing.appends.is_empty() { None } else { self.life() }
    }

    fn lived(&mut self) {
        self.lives.kept(self.newest.position + 1);
    }

    /// What came is written.
    pub(super) fn placed(&mut self, newest: Option<(u64, [u8; 32])>, placing: &Placing) {
        if !placing.appends.is_empty() {
            self.lived();
        }
        self.end_at(newest);
        let heads = placing.appends.iter().map(|append| (append.document, append.heads.clone()));
        self.heads.extend(heads);
    }

    fn end_at(&mut self, newest: Option<(u64, [u8; 32])>) {
        if let Some((position, hash)) = newest {
            self.newest = self.lives.mark(position, hash);
        }
    }
}

impl Writer<'_> {
    /// Keeps a setting, and that settings changed.
    fn set(&mut self, key: &str, value: &str) -> Result<(), StoreError> {
        let sql = "INSERT INTO setting (key, value) VALUES ($1, $2) \
                   ON CONFLICT (key) DO UPDATE SET value = excluded.value";
        self.link.run(sql, &[&key, &value])?;
        self.link.run("UPDATE pulse SET settings = generation", &[]).map(drop)
    }

    /// Keeps that this start writes.
    pub(super) fn live(&mut self, life: Option<(String, String)>) -> Result<(), StoreError> {
        match life {
            Some((key, value)) => self.set(&key, &value),
            None => Ok(()),
        }
    }

    /// Inserts all that came from a peer. Gives the end of the log where it moved.
    pub(super) fn insert_all(
        &mut self,
        placing: &Placing,
        peer: i64,
    ) -> Result<Option<(u64, [u8; 32])>, StoreError> {
        let mut newest = None;
        for append in &placing.appends {
            newest = self.insert_changes(append, Some(peer))?.or(newest);
        }
        for set_aside in &placing.set_aside {
            insert_set_aside(self.link, set_aside, peer, placing.at)?;
        }
        Ok(newest)
    }

    fn insert_changes(
        &mut self,
        append: &Append,
        from_peer: Option<i64>,
    ) -> Result<Option<(u64, [u8; 32])>, StoreError> {
        let document = append.document.to_bytes();
        let first = row_number(self.position + 1);
        let hashes: Vec<[u8; 32]> =
            append.entries.iter().map(|entry| entry.change.hash().0).collect();
        let hashes: Vec<&[u8]> = hashes.iter().map(<[u8; 32]>::as_slice).collect();
        let bodies: Vec<&[u8]> =
            append.entries.iter().map(|entry| entry.change.raw_bytes()).collect();
        let waited = append.entries.iter().map(|entry| entry.change.hash());
        let givers: Vec<Option<i64>> =
            waited.map(|hash| from_peer.filter(|_| !append.waited.contains(&hash))).collect();
        // One statement for all of them: a row each would wait for the server each time.
        let sql = "INSERT INTO change (position, document, hash, bytes, from_peer) \
                   SELECT $2 + n - 1, $1, hash, bytes, giver \
                   FROM unnest($3::bytea[], $4::bytea[], $5::bigint[]) \
                   WITH ORDINALITY AS given (hash, bytes, giver, n)";
        self.link.run(sql, &[&document.as_slice(), &first, &hashes, &bodies, &givers])?;
        self.position += append.entries.len() as u64;
        if from_peer.is_some() || !append.waited.is_empty() {
            // A change that finds its place after all is no longer set aside.
            let sql = "DELETE FROM set_aside WHERE document = $1 AND hash = ANY($2)";
            self.link.run(sql, &[&document.as_slice(), &hashes])?;
        }
        let heads: Vec<u8> = append.heads.iter().flat_map(|hash| hash.0).collect();
        let sql = "INSERT INTO document (id, heads, generation) VALUES ($1, $2, $3) \
                   ON CONFLICT (id) DO UPDATE SET heads = excluded.heads, \
                   generation = excluded.generation";
        let generation = row_number(self.generation);
        self.link.run(sql, &[&document.as_slice(), &heads, &generation])?;
        insert_seals(self.link, append.document, &append.seals)?;
        Ok(append.entries.last().map(|entry| (self.position, entry.change.hash().0)))
    }
}

/// Keeps seals, of each actor and device the newest.
pub(super) fn insert_seals(
    link: &mut Link,
    document: DocumentId,
    seals: &[Seal],
) -> Result<(), StoreError> {
    let sql = "INSERT INTO author_seal AS known (document, actor, key, sequence, hash, signature) \
               VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT (document, actor, key) DO UPDATE SET \
               sequence = excluded.sequence, hash = excluded.hash, \
               signature = excluded.signature WHERE excluded.sequence > known.sequence";
    for seal in seals {
        let (document, sequence) = (document.to_bytes(), row_number(seal.sequence));
        let values: [&(dyn postgres::types::ToSql + Sync); 6] = [
            &document.as_slice(),
            &seal.actor.to_bytes(),
            &seal.key.as_slice(),
            &sequence,
            &seal.change.0.as_slice(),
            &seal.signature.as_slice(),
        ];
        link.run(sql, &values)?;
    }
    Ok(())
}
