//! Intermodulation against the same enumeration in numpy: `intermod.py` beside this file.
//!
//! Both do the same work: how many products of 24 carriers to order 7 hit each of 30 receivers.
//! All 60 carriers make 3.8·10^10 products, five hundred times as many: too long for numpy. Ours
//! lists the first hundred hits of each receiver besides, with carriers and levels; numpy only
//! counts. The search of all 60 carriers is timed too and said on standard error, in seconds; it
//! has no goal of its own here.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write as _;
use std::process::{Command, Stdio};
use std::time::Instant;

use guyline_core::rf::intermod::{Carrier, Modulation, OnReceiver, Receiver, Site, find};
use guyline_core::units::Dbm;
use serde_json::{Value, json};

use crate::{Row, median};

const CARRIERS: usize = 24;
const CARRIERS_ALL: usize = 60;
const RECEIVERS: usize = 30;
const ORDER_MAX: usize = 7;

pub(crate) fn intermod() -> Row {
    let site = site(CARRIERS);
    let (mut ours, mut found) = (Vec::new(), Vec::new());
    for _ in 0..5 {
        let start = Instant::now();
        found = find(&site).expect("the site is sound");
        ours.push(start.elapsed());
    }
    let answered = numpy(&site);
    assert_eq!(answered["counts"], counts(&found), "numpy finds other products");
    let theirs = answered["seconds"].as_f64().expect("it timed itself");
    let all = self::site(CARRIERS_ALL);
    let start = Instant::now();
    let found = find(&all).expect("the site is sound");
    let seconds = start.elapsed().as_secs_f64();
    let hits: u64 = found.iter().flat_map(|on| on.counts.values()).sum();
    eprintln!(
        "intermod: {CARRIERS_ALL} carriers, {RECEIVERS} receivers: {hits} hits, {seconds:.3} s"
    );
    Row { name: "intermod", measured: median(ours).as_secs_f64() / theirs, goal: 0.05 }
}

/// Carriers and receivers scattered over 24 MHz, an invented site: carriers on a raster of 2.5 kHz,
/// receivers on one of 25 kHz, so that their bandwidths do not overlap.
fn site(carriers: usize) -> Site {
    let mut state = 155_u64;
    let mut scattered = |raster: u64, count: usize| {
        let mut channels = BTreeSet::new();
        while channels.len() < count {
            // xorshift64 (Marsaglia 2003): the same site in every run.
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            channels.insert(150_000_000 + raster * (state % (24_000_000 / raster)));
        }
        channels
    };
    let level = Dbm::new(30.0).expect("a watt");
    let carrier = |hertz| Carrier { hertz, level };
    let receiver = |hertz| Receiver { hertz, bandwidth_hz: 12_500 };
    Site {
        receivers: scattered(25_000, RECEIVERS).into_iter().map(receiver).collect(),
        carriers: scattered(2_500, carriers).into_iter().map(carrier).collect(),
        modulation: Modulation { peak_deviation_hz: 0, audio_hz: 0 },
        intercepts: BTreeMap::from([(3, Dbm::new(60.0).expect("a level"))]),
        order_max: ORDER_MAX,
        hits_max: 100,
    }
}

fn numpy(site: &Site) -> Value {
    let root = guyline_tests::repository();
    let carriers: Vec<u64> = site.carriers.iter().map(|carrier| carrier.hertz).collect();
    let receivers: Vec<[u64; 2]> =
        site.receivers.iter().map(|on| [on.hertz, on.bandwidth_hz]).collect();
    let asked = json!({"carriers_hz": carriers, "receivers_hz": receivers, "order_max": ORDER_MAX});
    let mut python = Command::new(root.join("target/oracle-venv/bin/python"))
        .arg(root.join("tests/bench/intermod.py"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("`./tests/run` installs numpy");
    let mut question = python.stdin.take().expect("it is piped");
    question.write_all(asked.to_string().as_bytes()).expect("it reads");
    drop(question);
    let output = python.wait_with_output().expect("it ends");
    assert!(output.status.success(), "numpy failed; it says above why");
    serde_json::from_slice(&output.stdout).expect("it prints JSON")
}

/// Counts by order from 0 on, as numpy prints them. The receivers stand by frequency already.
fn counts(found: &[OnReceiver]) -> Value {
    let of_order = |order: usize| -> Vec<u64> {
        found.iter().map(|on| on.counts.get(&order).copied().unwrap_or_default()).collect()
    };
    json!((0..=ORDER_MAX).map(of_order).collect::<Vec<_>>())
}
