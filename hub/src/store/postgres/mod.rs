//! The engine for a shop that outgrew one machine: PostgreSQL, and several processes on one store.
//!
//! Each process is the same node. Before a step of work a process takes the database's lock and
//! learns what the others did since; until it lets go nobody else writes. A write counts up the
//! pulse in the same transaction and must find it as it was last seen, so even a process that lost
//! the lock without knowing can change nothing; and since the pulse stays its own until the commit,
//! what is in the log becomes visible in order of position: no reader ever skips a change that
//! commits late. Only arrivals are added without any of that: they have no position yet.

mod arrivals;
mod asides;
mod link;
mod log;
mod moving;
mod peers;
mod reading;

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::path::Path;

use automerge::ChangeHash;
use guyline_core::record::DocumentId;
use postgres::Config;

use self::link::{Link, row_number};
pub use self::moving::{MoveError, Moved, move_out};
use super::lives::Lives;
use super::sqlite::lock_for;
use super::{
    Append, Arrival, Arrivals, Asides, Authors, Folded, Folding, Length, OpenError, Peer, Peers,
    Placing, Reading, SetAside, Since, Store, StoreError, Stretches, Summaries, Summary, TakeIn,
    Upkeep, Writing, Written, walk,
};
use crate::log::{Card, Mark, NodeId, StoreId};

/// What is done to a database of the version before, by version. Steps are added, never edited.
const MIGRATIONS: [&str; 3] = [
    include_str!("../../../migrations/postgres/0001-store.sql"),
    include_str!("../../../migrations/postgres/0002-parts.sql"),
    include_str!("../../../migrations/postgres/0003-smaller-rows.sql"),
];

/// The version this program writes.
const VERSION: u64 = MIGRATIONS.len() as u64;

/// "Guyl": the number of the lock, which no other program's in the same database should have.
const LOCK: u32 = 0x4775_796c;

/// One hub's store, in a database that other processes of the hub work with too.
#[derive(Debug)]
pub struct Postgres {
    link: RefCell<Link>,
    card: Card,
    newest: Mark,
    heads: BTreeMap<DocumentId, Vec<ChangeHash>>,
    lives: Lives,
    /// Up to where what is in memory is as it is there.
    generation: u64,
    held: bool,
    /// The folder stays ours: two processes of one hub have a folder each.
    _lock: std::fs::File,
}

impl Postgres {
    /// Opens the store in a database, and makes it first where there is none. The folder is where
    /// this process of the hub keeps what is not in the store.
    pub fn open(dir: &Path, url: &str) -> Result<Self, OpenError> {
        let lock = lock_for(dir)?;
        let config: Config = url.parse().map_err(|source| OpenError::Address { source })?;
        let mut link = Link::to(config);
        make(&mut link)?;
        let card = read_card(&mut link)?;
        let mut store = Self {
            link: RefCell::new(link),
            card,
            newest: Mark::START,
            heads: BTreeMap::new(),
            lives: Lives::of_settings(std::iter::empty()),
            generation: 0,
            held: false,
            _lock: lock,
        };
        // What there is beyond an empty one is learned by that.
        store.hold()?;
        store.let_go();
        Ok(store)
    }

    fn learn_settings(&mut self) -> Result<(), StoreError> {
        let link = self.link.get_mut();
        let sql = "SELECT key, value FROM setting WHERE key LIKE 'life %' ORDER BY key";
        let mut lives = Vec::new();
        for row in link.rows(sql, &[])? {
            lives.push((link.column(&row, 0)?, link.column(&row, 1)?));
        }
        self.lives.learn(lives.into_iter());
        let card = read_card(link)?;
        if (card.node, card.store) != (self.card.node, self.card.store) {
            let what = "another store is in it than when this process started; start it again";
            return Err(link.damaged(what.to_owned()));
        }
        self.card = card;
        self.newest = self.mark_at(self.newest.position)?;
        Ok(())
    }

    /// Takes what documents have become since a generation.
    fn learn_heads(&mut self) -> Result<Vec<DocumentId>, StoreError> {
        let link = self.link.get_mut();
        let sql = "SELECT id, heads FROM document WHERE generation > $1";
        let mut changed = Vec::new();
        for row in link.rows(sql, &[&row_number(self.generation)])? {
            let id = DocumentId::from_bytes(link.bytes(&row, 0)?);
            let heads: &[u8] = link.column(&row, 1)?;
            let (hashes, _) = heads.as_chunks::<32>();
            self.heads.insert(id, hashes.iter().copied().map(ChangeHash).collect());
            changed.push(id);
        }
        Ok(changed)
    }

    /// What was written in an order that others rely on. Only who holds the store may, and only
    /// onto what it knows.
    fn write<T>(
        &mut self,
        work: impl FnOnce(&mut Writer<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let (known, held) = (self.generation, self.held);
        let link = self.link.get_mut();
        if !held || !link.stands() {
            let why = "it was out of reach when this began".to_owned();
            return Err(StoreError::Away { place: link.place.clone(), why });
        }
        let made = link.transaction(|link| {
            let sql = "UPDATE pulse SET generation = generation + 1 WHERE generation = $1 \
                       RETURNING position";
            let Some(row) = link.first(sql, &[&row_number(known)])? else {
                let why = "another process of this hub wrote at the same time".to_owned();
                return Err(StoreError::Away { place: link.place.clone(), why });
            };
            let position = link.number(&row, 0)?;
            let mut writer = Writer { link, generation: known + 1, begun_at: position, position };
            let made = work(&mut writer)?;
            if writer.position != writer.begun_at {
                let sql = "UPDATE pulse SET position = $1";
                writer.link.run(sql, &[&row_number(writer.position)])?;
            }
            Ok(made)
        })?;
        self.generation = known + 1;
        Ok(made)
    }
}

/// A write under way, which has the pulse.
struct Writer<'a> {
    link: &'a mut Link,
    /// What it makes of it.
    generation: u64,
    begun_at: u64,
    /// The end of the log.
    position: u64,
}

/// None are kept: a hub that shares a database packs for whoever asks.
impl Stretches for Postgres {}

impl Store for Postgres {
    fn hold(&mut self) -> Result<Since, StoreError> {
        let sql = format!(
            "SELECT pg_advisory_lock({LOCK}); SELECT generation, settings, position, \
             (SELECT count(*) FROM arrival WHERE peer IS NOT NULL) FROM pulse"
        );
        let link = self.link.get_mut();
        let said = link.script(&sql)?;
        self.held = true;
        let numbers: Option<Vec<u64>> =
            said.iter().map(|text| text.as_deref()?.parse().ok()).collect();
        let Some(&[generation, settings, position, arrivals]) = numbers.as_deref() else {
            return Err(link.damaged("it has no pulse".to_owned()));
        };
        let since = self.catch_up(generation, settings, position, arrivals);
        if since.is_err() {
            self.let_go();
        }
        since
    }

    fn let_go(&mut self) {
        if !std::mem::take(&mut self.held) {
            return;
        }
        let link = self.link.get_mut();
        // Where this fails the connection is dropped, and the server takes the lock from it.
        if link.stands() && link.script(&format!("SELECT pg_advisory_unlock({LOCK})")).is_err() {
            link.drop_client();
        }
    }

    fn has_others(&self) -> bool {
        true
    }

    #[cfg(test)]
    fn any(&self) -> &dyn std::any::Any {
        self
    }
}

impl Postgres {
    fn catch_up(
        &mut self,
        generation: u64,
        settings: u64,
        position: u64,
        arrivals: u64,
    ) -> Result<Since, StoreError> {
        let mut since = Since { arrivals: Some(arrivals), ..Since::default() };
        if generation == self.generation {
            return Ok(since);
        }
        if generation < self.generation {
            let what = "it is older than what this process saw of it, as after a restore; start \
                        this process again";
            return Err(self.link.get_mut().damaged(what.to_owned()));
        }
        since.documents = self.learn_heads()?;
        since.settings = settings > self.generation;
        if since.settings {
            self.learn_settings()?;
        }
        self.newest = self.mark_at(position)?;
        self.generation = generation;
        Ok(since)
    }
}

/// Makes the tables where there are none, and brings older ones up.
fn make(link: &mut Link) -> Result<(), OpenError> {
    // Two processes may start on an empty database at once.
    link.script(&format!("SELECT pg_advisory_lock({LOCK})"))?;
    let found = version(link)?;
    if found > VERSION {
        let path = link.place.clone().into();
        let found = u32::try_from(found).unwrap_or(u32::MAX);
        return Err(OpenError::Newer { path, found, known: MIGRATIONS.len() as u32 });
    }
    let from = usize::try_from(found).unwrap_or(usize::MAX);
    if found < VERSION {
        link.transaction(|link| {
            for step in &MIGRATIONS[from..] {
                link.script(step)?;
            }
            if found == 0 {
                fill(link)?;
            }
            link.run("UPDATE pulse SET version = $1", &[&row_number(VERSION)])?;
            Ok(())
        })?;
    }
    link.script(&format!("SELECT pg_advisory_unlock({LOCK})"))?;
    warn_of_checksums(link)
}

/// The version of the tables; 0 where there are none.
fn version(link: &mut Link) -> Result<u64, StoreError> {
    let sql = "SELECT to_regclass('guyline.pulse') IS NOT NULL";
    let row = link.first(sql, &[])?;
    let there = row.map(|row| link.column::<bool>(&row, 0)).transpose()?;
    if there != Some(true) {
        return Ok(0);
    }
    match link.first("SELECT version FROM guyline.pulse", &[])? {
        Some(row) => link.number(&row, 0),
        None => Err(link.damaged("it has no pulse".to_owned())),
    }
}

fn fill(link: &mut Link) -> Result<(), StoreError> {
    let node = NodeId::fresh();
    let name = format!("node {}", &node.to_string()[..4]);
    link.run("INSERT INTO guyline.pulse (version) VALUES (0)", &[])?;
    let sql = "INSERT INTO guyline.setting (key, value) VALUES ($1, $2)";
    for (key, value) in
        [("node", node.to_string()), ("store", StoreId::fresh().to_string()), ("name", name)]
    {
        link.run(sql, &[&key, &value])?;
    }
    Ok(())
}

fn warn_of_checksums(link: &mut Link) -> Result<(), OpenError> {
    let said = link.script("SHOW data_checksums")?;
    if said.first().and_then(|said| said.as_deref()) != Some("on") {
        tracing::warn!(
            "{} was made without checksums of its pages: damage on its disk goes unseen except in \
             changes; make it with initdb --data-checksums, or switch them on with pg_checksums",
            link.place
        );
    }
    Ok(())
}

fn read_card(link: &mut Link) -> Result<Card, StoreError> {
    let mut setting = |key: &'static str| -> Result<String, StoreError> {
        match link.first("SELECT value FROM guyline.setting WHERE key = $1", &[&key])? {
            Some(row) => link.column(&row, 0),
            None => Err(link.damaged(format!("it has no setting {key:?}"))),
        }
    };
    let (node, store, name) = (setting("node")?, setting("store")?, setting("name")?);
    let id = |text: &str| u128::from_str_radix(text, 16).map(u128::to_be_bytes).ok();
    match (id(&node), id(&store)) {
        (Some(node), Some(store)) => Ok(Card { node: NodeId(node), store: StoreId(store), name }),
        _ => Err(link.damaged("its settings do not say whose it is".to_owned())),
    }
}
