//! What it costs a hub to keep its store in PostgreSQL, and what a second process brings: the work
//! of a day's end, twenty devices with 25 visits each, brought over TLS to a served program on
//! SQLite, to one on a database, and to two on one database, each device to one of them.
//!
//! Timed until the last device was acknowledged, as each of them is let go then.

use std::time::{Duration, Instant};

use guyline_hub::Node;
use guyline_hub::store::move_out;
use guyline_tests::database::Server;
use guyline_tests::served::Served;

use crate::merging::{DEVICES, HUB, Prepared, all_at_once, copy, name, prepare};
use crate::standing::serve;
use crate::{Row, median};

const ROUNDS: usize = 5;

/// Where a hub's store is in a round.
#[derive(Clone, Copy)]
enum Store {
    Folder,
    Database { processes: usize },
}

pub(crate) async fn rows() -> Vec<Row> {
    let prepared = prepare().await;
    let server = Server::start();
    let (mut folder, mut one, mut two) = (Vec::new(), Vec::new(), Vec::new());
    for round in 0..ROUNDS {
        folder.push(day_end(&prepared, &server, round, Store::Folder).await);
        one.push(day_end(&prepared, &server, round, Store::Database { processes: 1 }).await);
        two.push(day_end(&prepared, &server, round, Store::Database { processes: 2 }).await);
    }
    eprintln!("SQLite {folder:?}, one process {one:?}, two {two:?}");
    let [folder, one, two] = [folder, one, two].map(|times| median(times).as_secs_f64());
    vec![
        // At least 0.3 of the rate is at most so many times as long.
        Row { name: "postgres", measured: one / folder, goal: 1.0 / 0.3 },
        Row { name: "postgres-two", measured: two / one, goal: 1.0 },
    ]
}

async fn day_end(prepared: &Prepared, server: &Server, round: usize, store: Store) -> Duration {
    let dir = tempfile::tempdir().expect("a folder for the bench");
    copy(prepared.folder.path(), dir.path());
    let hub = dir.path().join(HUB);
    let mut folders = vec![hub.clone()];
    if let Store::Database { processes } = store {
        let url = server.database(&format!("round{round}x{processes}"));
        let device = Node::open(&hub).expect("it opens again").key().to_string();
        move_out(&hub, &url, &device).expect("it moves");
        for number in 1..processes {
            let other = dir.path().join(format!("{HUB} {number}"));
            std::fs::create_dir(&other).expect("a folder can be made");
            for file in ["device.key", "store.toml"] {
                std::fs::copy(hub.join(file), other.join(file)).expect("it is copied");
            }
            folders.push(other);
        }
    }
    let any = "127.0.0.1:0".parse().expect("loopback");
    let hubs: Vec<Served> = folders.iter().map(|folder| serve(folder, any)).collect();
    let addresses: Vec<String> =
        hubs.iter().map(|hub| format!("https://{}", hub.shared())).collect();
    let open = |device| Node::open(&dir.path().join(name(device))).expect("it opens again");
    let devices: Vec<Node> = (0..DEVICES).map(open).collect();
    let start = Instant::now();
    let reports = all_at_once(&devices, &addresses).await;
    let took = start.elapsed();
    assert!(reports.iter().all(|report| report.sent_changes > 0), "each brought its work");
    took
}
