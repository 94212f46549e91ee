//! Benches: one row a goal, `NAME measured goal ok|short`. Each figure is a ratio of two things
//! done in the same run, because machines are noisy; the smaller the better.
//!
//! `record`    a reading recorded through the desk (admitted, judged, durable) against one bare
//!             durable insert into SQLite.
//! `push`      twenty devices with 25 visits each merged with an empty hub over TLS, against the
//!             saved forms of the same in one POST a device; with `push-bytes`, the same of bytes,
//!             `push-rounds`, round trips a device, `push-placed`, all in its place at the hub,
//!             and `pull`, a fresh device taking all of it.
//! `postgres`  the work of `push` brought to a served hub whose store is in PostgreSQL, against
//!             one on SQLite; with `postgres-two`, to two processes on one database against one.
//! `peers-yjs`, `peers-automerge-repo` CPU of both ends for the work of `push`, all in its place at
//!             the hub, against Yjs doing it, and of a fifth of it, against automerge-repo. Only
//!             where asked for by name: that fetches them (`.ci/setup peers`).
//! `trickle`   three edits by a device merged over TLS with a hub that holds 20 000 visits (the
//!             full size is `GUYLINE_BENCH_SESSIONS=50000`), against one that holds 500.
//! `hub-memory` MB the program had in memory at most while the work of `push` came in and was put
//!             in its place. Not a ratio.
//! `load`      how much of one core a hub takes for 5 000 devices that come within half an hour,
//!             reckoned from the twenty of `push` brought to the program. Not a ratio.
//! `exchange`  100 sessions merged over loopback HTTP against the same bytes posted to a bare
//!             handler that puts them into SQLite.
//! `judge`     a visit of 60 readings judged whole, against automerge loading its document.
//! `open`      a visit of 60 readings opened by a node just started, against automerge's load.
//! `list`      Today with 500 visits and their verdicts by a node just started, against automerge
//!             loading their documents.
//! `size`      bytes on disk of 100 visits, compacted, against what automerge saves.
//! `memory`    MB of a process that holds 10 000 visits and listed them. Not a ratio.
//! `encrypted` a reading recorded by a node whose store is encrypted, against the same by one whose
//!             store is not. `unlock`: seconds to open such a node. Not a ratio.
//! `touchstone` a two-port sweep of 10 001 points read by the core against scikit-rf reading it.
//! `sinad`     ten seconds of audio at 48 kHz, from the bytes of a WAV file to SINAD, against the
//!             least-squares fit of the same samples by scipy.
//! `typing-to-verdict` ms from a key to its verdict in the real window, with 300 visits at 40
//!             sites: the 95th percentile. Not a ratio.
//! `start`     the real window's start until there is something to work with, on the same node,
//!             against a window of the same toolkit with an empty page.
//! `intermod`  products of 24 carriers to the seventh order on 30 receivers against the same
//!             enumeration in numpy.
//! `report`    seconds from a full visit with six photographs to its PDF, by a node that made one
//!             before. Not a ratio.
//! `day`       seconds from a day of forty sites to its PDF. Not a ratio.

mod audio;
mod bare;
mod filing;
mod intermod;
mod judging;
mod keeping;
mod locked;
mod merging;
mod papers;
mod peers;
mod several;
mod standing;
mod sweep;
mod window;

use std::time::{Duration, Instant};

use guyline_hub::Node;
use guyline_hub::desk::record_reading;
use guyline_hub::http::Listening;

/// Every row, in the order they are measured. Names given as arguments ask for some of them.
const ROWS: [&str; 19] = [
    "record",
    "trickle",
    "hub-memory",
    "load",
    "exchange",
    "open",
    "list",
    "size",
    "memory",
    "encrypted",
    "unlock",
    "touchstone",
    "sinad",
    "intermod",
    "judge",
    "report",
    "day",
    "typing-to-verdict",
    "start",
];
const READINGS: usize = 200;
const SESSIONS: usize = 100;

struct Row {
    name: &'static str,
    measured: f64,
    goal: f64,
}

#[tokio::main]
async fn main() {
    let mut arguments = std::env::args().skip(1);
    if arguments.next().as_deref() == Some(keeping::HOLD) {
        let dir = arguments.next().expect("a folder to hold");
        return keeping::hold(dir.as_ref()).await;
    }
    let only: Vec<String> = std::env::args().skip(1).collect();
    let wanted = |name: &str| only.is_empty() || only.iter().any(|only| only == name);
    if wanted("push") {
        merging::rows().await.into_iter().for_each(say);
    }
    if wanted("postgres") {
        several::rows().await.into_iter().for_each(say);
    }
    peers::rows(&only).await.into_iter().for_each(say);
    for name in ROWS.into_iter().filter(|name| wanted(name)) {
        say(match name {
            "record" => record(),
            "trickle" => standing::trickle().await,
            "hub-memory" => standing::hub_memory().await,
            "load" => standing::load().await,
            "exchange" => exchange().await,
            "open" => keeping::open(),
            "list" => keeping::list().await,
            "size" => keeping::size().await,
            "memory" => keeping::memory(),
            "encrypted" => locked::encrypted(),
            "unlock" => locked::unlock(),
            "touchstone" => Row { name, measured: sweep::touchstone(), goal: 0.10 },
            "sinad" => audio::row(),
            "intermod" => intermod::intermod(),
            "report" => filing::report(),
            "day" => filing::day_end(),
            "typing-to-verdict" => window::typing(),
            "start" => window::start(),
            _ => judging::row(),
        });
    }
}

fn say(row: Row) {
    let Row { name, measured, goal } = row;
    let word = if measured <= goal { "ok" } else { "short" };
    // A goal of a hundredth is told from one of half of it.
    let places = if goal < 0.1 { 4 } else { 2 };
    println!("{name} {measured:.places$} {goal:.places$} {word}");
}

/// The median, so that one slow flush does not speak for all.
fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}

fn record() -> Row {
    let folder = tempfile::tempdir().expect("a folder for the bench");
    let node = Node::open(&folder.path().join("node")).expect("a fresh store opens");
    let session = papers::shop_site_and_sessions(&node, 1)[0];
    let (author, chain) = papers::connected(&node, session);
    let bare = bare::Table::open(&folder.path().join("bare.sqlite"));
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    for number in 0..READINGS {
        let asked = papers::reading(session, &chain, number);
        let start = Instant::now();
        record_reading(&node, session, &author, &asked).expect("the reading is admitted");
        ours.push(start.elapsed());
        let start = Instant::now();
        bare.insert(&[7; 180]);
        theirs.push(start.elapsed());
    }
    let measured = median(ours).as_secs_f64() / median(theirs).as_secs_f64();
    Row { name: "record", measured, goal: 3.0 }
}

async fn exchange() -> Row {
    let folder = tempfile::tempdir().expect("a folder for the bench");
    let giver = Node::open(&folder.path().join("giver")).expect("a fresh store opens");
    let sessions = papers::shop_site_and_sessions(&giver, SESSIONS);
    for &session in &sessions {
        papers::fill(&giver, session);
    }
    let listening = Listening::start(&giver, "127.0.0.1:0").await.expect("loopback is free");
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    for round in 0..5 {
        let taker = Node::open(&folder.path().join(format!("taker-{round}"))).expect("fresh");
        let start = Instant::now();
        let report = taker.exchange_with(listening.address()).await.expect("the exchange works");
        ours.push(start.elapsed());
        let bytes = usize::try_from(report.received_bytes).expect("fits in memory");
        let file = folder.path().join(format!("bare-{round}.sqlite"));
        theirs.push(bare::post(&file, bytes).await);
    }
    listening.stop().await;
    let measured = median(ours).as_secs_f64() / median(theirs).as_secs_f64();
    Row { name: "exchange", measured, goal: 20.0 }
}
