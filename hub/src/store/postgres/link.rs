//! A connection to the database: statements prepared once, transactions, and what went wrong in
//! words of the store.
//!
//! In: SQL and values. Out: rows. A connection that broke is made anew when next asked, at most
//! once a second; what was under way on it counts as not done. Knows no table.

use std::collections::HashMap;
use std::fmt;
use std::time::{Duration, Instant};

use postgres::config::{Host, SslMode};
use postgres::error::SqlState;
use postgres::types::{FromSql, ToSql};
use postgres::{Client, Config, NoTls, Row, SimpleQueryMessage, Statement};

use super::StoreError;

/// So long is waited for a connection.
const CONNECT_WITHIN: Duration = Duration::from_secs(5);
/// After a failed try nobody waits for the next one before this.
const TRY_AGAIN_AFTER: Duration = Duration::from_secs(1);

/// What every connection is set to. Durable whatever the server's default is; and who waits for
/// another process, or holds everybody up, does not do so for ever.
const SETTINGS: &str = "SET synchronous_commit = on; SET lock_timeout = '30s'; \
     SET idle_in_transaction_session_timeout = '30s'; SET tcp_keepalives_idle = 10; \
     SET tcp_keepalives_interval = 5; SET tcp_keepalives_count = 3; \
     SET client_min_messages = warning; SET search_path = guyline";

/// Values of a statement.
pub(super) type Values<'a> = &'a [&'a (dyn ToSql + Sync)];

/// A connection.
pub(super) struct Link {
    config: Config,
    /// Whose it is, without its password.
    pub(super) place: String,
    client: Option<Client>,
    statements: HashMap<&'static str, Statement>,
    /// A transaction that was begun and not ended, as after a panic.
    begun: bool,
    failed_at: Option<Instant>,
}

impl fmt::Debug for Link {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Link to {}", self.place)
    }
}

impl Drop for Link {
    fn drop(&mut self) {
        self.drop_client();
    }
}

impl Link {
    /// A connection that is made when first asked.
    pub(super) fn to(mut config: Config) -> Self {
        config.connect_timeout(CONNECT_WITHIN).application_name("guyline");
        // No TLS library speaks for the database here: what must be encrypted is refused.
        if config.get_ssl_mode() == SslMode::Prefer {
            config.ssl_mode(SslMode::Disable);
        }
        let place = place(&config);
        Self {
            config,
            place,
            client: None,
            statements: HashMap::new(),
            begun: false,
            failed_at: None,
        }
    }

    fn client(&mut self) -> Result<&mut Client, StoreError> {
        if self.client.as_ref().is_none_or(Client::is_closed) {
            self.drop_client();
            if let Some(at) = self.failed_at.filter(|at| at.elapsed() < TRY_AGAIN_AFTER) {
                return Err(self.away(format!("tried {} ms ago", at.elapsed().as_millis())));
            }
            let connected = waiting(|| {
                let mut client = self.config.connect(NoTls)?;
                client.batch_execute(SETTINGS)?;
                Ok(client)
            });
            match connected {
                Ok(client) => self.client = Some(client),
                Err(error) => {
                    self.failed_at = Some(Instant::now());
                    return Err(self.error(error));
                }
            }
        }
        Ok(self.client.as_mut().expect("it was just made"))
    }

    /// Lets the connection go, and with it every lock it holds.
    pub(super) fn drop_client(&mut self) {
        let client = self.client.take();
        waiting(|| drop(client));
        self.statements.clear();
        self.begun = false;
    }

    /// Whether a connection stands.
    pub(super) fn stands(&self) -> bool {
        self.client.as_ref().is_some_and(|client| !client.is_closed())
    }

    fn prepared(&mut self, sql: &'static str) -> Result<Statement, StoreError> {
        // First, since a new connection knows no statement.
        self.client()?;
        if let Some(statement) = self.statements.get(sql) {
            return Ok(statement.clone());
        }
        let made = self.asking(|client| client.prepare(sql))?;
        self.statements.insert(sql, made.clone());
        Ok(made)
    }

    fn asking<T>(
        &mut self,
        ask: impl FnOnce(&mut Client) -> Result<T, postgres::Error>,
    ) -> Result<T, StoreError> {
        let client = self.client()?;
        let answered = waiting(|| ask(client));
        answered.map_err(|error| self.error(error))
    }

    /// The rows of a statement.
    pub(super) fn rows(
        &mut self,
        sql: &'static str,
        values: Values<'_>,
    ) -> Result<Vec<Row>, StoreError> {
        let statement = self.prepared(sql)?;
        self.asking(|client| client.query(&statement, values))
    }

    /// The first of them.
    pub(super) fn first(
        &mut self,
        sql: &'static str,
        values: Values<'_>,
    ) -> Result<Option<Row>, StoreError> {
        Ok(self.rows(sql, values)?.into_iter().next())
    }

    /// How many rows a statement changed.
    pub(super) fn run(&mut self, sql: &'static str, values: Values<'_>) -> Result<u64, StoreError> {
        let statement = self.prepared(sql)?;
        self.asking(|client| client.execute(&statement, values))
    }

    /// Several statements in one go, and the last row they gave, as text.
    pub(super) fn script(&mut self, sql: &str) -> Result<Vec<Option<String>>, StoreError> {
        let said = self.asking(|client| client.simple_query(sql))?;
        let rows = said.into_iter().filter_map(|message| match message {
            SimpleQueryMessage::Row(row) => Some(row),
            _ => None,
        });
        let last = rows.last();
        Ok(last.map_or_else(Vec::new, |row| {
            (0..row.len()).map(|column| row.get(column).map(ToOwned::to_owned)).collect()
        }))
    }

    /// One transaction: everything `work` does is on disk when this is Ok, or none of it is.
    pub(super) fn transaction<T>(
        &mut self,
        work: impl FnOnce(&mut Self) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        if self.begun {
            self.script("ROLLBACK")?;
        }
        self.script("BEGIN")?;
        self.begun = true;
        let done = work(self).and_then(|made| {
            self.script("COMMIT")?;
            Ok(made)
        });
        // A connection that is gone has rolled back; another one has nothing to roll back.
        if done.is_err() && self.stands() && self.script("ROLLBACK").is_err() {
            self.drop_client();
        }
        self.begun = false;
        done
    }

    /// A column of a row.
    pub(super) fn column<'r, T: FromSql<'r>>(
        &self,
        row: &'r Row,
        column: usize,
    ) -> Result<T, StoreError> {
        row.try_get(column).map_err(|source| self.error(source))
    }

    /// A column of so many bytes.
    pub(super) fn bytes<const N: usize>(
        &self,
        row: &Row,
        column: usize,
    ) -> Result<[u8; N], StoreError> {
        let found: &[u8] = self.column(row, column)?;
        found.try_into().map_err(|_| self.damaged(format!("{} bytes stand for {N}", found.len())))
    }

    /// A column of so many bytes, or of none.
    pub(super) fn bytes_or_none<const N: usize>(
        &self,
        row: &Row,
        column: usize,
    ) -> Result<Option<[u8; N]>, StoreError> {
        let found: Option<&[u8]> = self.column(row, column)?;
        found.map(|_| self.bytes(row, column)).transpose()
    }

    /// A column that counts.
    pub(super) fn number(&self, row: &Row, column: usize) -> Result<u64, StoreError> {
        self.column::<i64>(row, column).map(i64::unsigned_abs)
    }

    pub(super) fn damaged(&self, found: String) -> StoreError {
        StoreError::Damaged { path: self.place.clone().into(), found }
    }

    fn away(&self, why: String) -> StoreError {
        StoreError::Away { place: self.place.clone(), why }
    }

    fn error(&self, source: postgres::Error) -> StoreError {
        let place = self.place.clone();
        match source.code() {
            Some(&SqlState::DISK_FULL) => StoreError::Full { path: place.into() },
            Some(&(SqlState::DATA_CORRUPTED | SqlState::INDEX_CORRUPTED)) => {
                self.damaged(chain(&source))
            }
            Some(&SqlState::LOCK_NOT_AVAILABLE) => {
                self.away("another process of this hub holds it for too long".to_owned())
            }
            // It goes away itself (class 57P), or the way to it broke (class 08).
            Some(code) if ["57P", "08"].iter().any(|class| code.code().starts_with(class)) => {
                self.away(chain(&source))
            }
            Some(_) => StoreError::Database { place, why: chain(&source) },
            // Whatever the server did not say itself is about the way to it.
            None => self.away(chain(&source)),
        }
    }
}

/// An error with all that caused it: the outermost one says little.
fn chain(error: &dyn std::error::Error) -> String {
    let mut said = error.to_string();
    let mut cause = error.source();
    while let Some(error) = cause {
        let more = error.to_string();
        if !said.ends_with(&more) {
            said = format!("{said}: {more}");
        }
        cause = error.source();
    }
    said
}

/// A number for a column; beyond its range it fits no row, as it should.
pub(super) fn row_number(number: u64) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

/// Does what may wait where it holds up nobody: a runtime's thread must be told.
fn waiting<T>(work: impl FnOnce() -> T) -> T {
    match tokio::runtime::Handle::try_current() {
        Ok(_) => tokio::task::block_in_place(work),
        Err(_) => work(),
    }
}

/// What a database is called. Its password is no part of it.
fn place(config: &Config) -> String {
    let host = config.get_hosts().iter().map(|host| match host {
        Host::Tcp(name) => name.clone(),
        Host::Unix(path) => path.display().to_string(),
    });
    let hosts: Vec<String> = host.collect();
    let hosts = if hosts.is_empty() { "this machine".to_owned() } else { hosts.join(", ") };
    let name = config.get_dbname().or(config.get_user()).unwrap_or("of the user's name");
    format!("PostgreSQL database {name} at {hosts}")
}
