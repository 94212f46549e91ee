//! SINAD of ten seconds of audio, from the bytes of a WAV file, against scipy's fit of the samples.

use std::hint::black_box;
use std::process::Command;
use std::time::{Duration, Instant};

use guyline_core::rf::audio::recording::read_wav;
use guyline_core::rf::audio::sinad::sinad;
use guyline_core::rf::audio::weighting::Weighting;
use guyline_tests::recordings::{receiver_at_opening, wav};
use serde_json::Value;

use super::{Row, median};

const RATE_HZ: u32 = 48_000;
const TONE_HZ: f64 = 1000.0;
const ROUNDS: usize = 7;

/// Ours from bytes to decibels; scipy's is handed the samples and counts its fit alone.
pub(crate) fn row() -> Row {
    let file = wav(RATE_HZ, &receiver_at_opening(RATE_HZ, 10.0));
    let samples = read_wav(&file, 1).expect("a sound recording").samples;
    let (theirs, their_db) = scipy(samples.values());
    let mut our_db = 0.0;
    let ours = (0..ROUNDS).map(|_| {
        let start = Instant::now();
        let read = read_wav(black_box(&file), 1).expect("a sound recording");
        let found = sinad(&read.samples, TONE_HZ, Weighting::Flat).expect("it holds the tone");
        our_db = found.db();
        start.elapsed()
    });
    let ours = median(ours.collect());
    assert!((our_db - their_db).abs() < 1e-6, "{our_db} dB, by scipy {their_db} dB");
    let measured = ours.as_secs_f64() / theirs.as_secs_f64();
    Row { name: "sinad", measured, goal: 0.10 }
}

/// How long scipy's fit takes, and the SINAD it finds.
fn scipy(samples: &[f64]) -> (Duration, f64) {
    let folder = tempfile::tempdir().expect("a folder for the bench");
    let file = folder.path().join("samples");
    let bytes: Vec<u8> = samples.iter().flat_map(|sample| sample.to_le_bytes()).collect();
    std::fs::write(&file, bytes).expect("a fresh file is written");
    let root = guyline_tests::repository();
    let output = Command::new(root.join("target/oracle-venv/bin/python"))
        .arg(root.join("tests/bench/sinad.py"))
        .arg(&file)
        .args([RATE_HZ.to_string(), TONE_HZ.to_string(), ROUNDS.to_string()])
        .output()
        .expect("`.ci/setup tests` installs scipy");
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "scipy failed: {errors}");
    let told: Value = serde_json::from_slice(&output.stdout).expect("the script prints JSON");
    let seconds = told["seconds"].as_array().expect("a list of seconds").iter();
    let seconds = seconds.map(|s| Duration::from_secs_f64(s.as_f64().expect("seconds")));
    (median(seconds.collect()), told["sinad_db"].as_f64().expect("decibels"))
}
