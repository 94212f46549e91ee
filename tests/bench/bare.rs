//! What the benches are measured against: SQLite and HTTP with nothing of ours between.

use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use axum::Router;
use axum::body::Bytes;
use rusqlite::Connection;
use tokio::net::TcpListener;
use tokio::task::JoinHandle;

/// A table of blobs, durable like the node's store: WAL, synchronous FULL.
pub(crate) struct Table(Connection);

impl Table {
    pub(crate) fn open(file: &Path) -> Self {
        let connection = Connection::open(file).expect("a fresh file opens");
        connection
            .execute_batch(
                "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;
                 CREATE TABLE bytes (position INTEGER PRIMARY KEY, body BLOB NOT NULL);",
            )
            .expect("a fresh table is made");
        Self(connection)
    }

    pub(crate) fn insert(&self, body: &[u8]) {
        self.0.execute("INSERT INTO bytes (body) VALUES (?1)", [body]).expect("it is inserted");
    }
}

/// A bare handler that puts each body it is sent into a table.
pub(crate) struct Server {
    pub(crate) url: String,
    serving: JoinHandle<std::io::Result<()>>,
}

impl Server {
    pub(crate) async fn start(file: &Path) -> Self {
        let table = Arc::new(Mutex::new(Table::open(file)));
        let handler = move |body: Bytes| async move {
            table.lock().expect("one request at a time").insert(&body);
        };
        let router: Router = Router::new()
            .route("/bytes", axum::routing::post(handler))
            .layer(axum::extract::DefaultBodyLimit::disable());
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("loopback is free");
        let url = format!("http://{}/bytes", listener.local_addr().expect("it is bound"));
        Self { url, serving: tokio::spawn(async move { axum::serve(listener, router).await }) }
    }

    pub(crate) fn stop(self) {
        self.serving.abort();
    }
}

/// Posts so many bytes to a bare handler that inserts them. Returns how long it took.
pub(crate) async fn post(file: &Path, bytes: usize) -> Duration {
    let server = Server::start(file).await;
    let body = vec![0x5a_u8; bytes];
    let start = Instant::now();
    let answer = reqwest::Client::new().post(&server.url).body(body).send().await;
    assert!(answer.expect("it answers").status().is_success(), "it took the bytes");
    let took = start.elapsed();
    server.stop();
    took
}
