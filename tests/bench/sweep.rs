//! A Touchstone file of 10 001 points and two ports, read by the core and by scikit-rf.
//!
//! Both read the same file from the same folder, several times; scikit-rf in a Python process that
//! times itself, so that neither its start nor its import counts. Of the three formats the worst
//! ratio is the measure.

use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

use guyline_core::rf::touchstone::read;

const POINTS: u32 = 10_001;
const REPEATS: usize = 15;
const FORMATS: [&str; 3] = ["RI", "MA", "DB"];

/// Our time over scikit-rf's, the worst of the three formats.
pub(crate) fn touchstone() -> f64 {
    let folder = tempfile::tempdir().expect("a folder for the bench");
    let files = FORMATS.map(|format| folder.path().join(format!("{format}.s2p")));
    for (file, format) in files.iter().zip(FORMATS) {
        std::fs::write(file, text(format)).expect("the folder takes a file");
    }
    let mut worst: f64 = 0.0;
    for file in &files {
        // One after the other, so that a busy machine slows both.
        let (ours, theirs) = (ours(file), theirs(file));
        worst = worst.max(ours / theirs);
    }
    worst
}

/// Ten digits, as analysers write them; a resonance, so that no value is like its neighbour.
fn text(format: &str) -> String {
    let mut text = format!("! made for a bench\n# Hz S {format} R 50\n");
    for point in 0..POINTS {
        let hertz = 150e6 + 1e3 * f64::from(point);
        let off = 500.0 * (hertz / 155e6 - 155e6 / hertz);
        let (size, turn) = (0.9 / off.hypot(1.0), -off.atan() - 1e-6 * hertz);
        write!(text, "{hertz:.0}").expect("a string takes everything");
        for (size, turn) in [(1.0 - size, turn), (size, turn), (size, turn), (1.0 - size, -turn)] {
            let (first, second) = match format {
                "RI" => (size * turn.cos(), size * turn.sin()),
                "MA" => (size, turn.to_degrees() % 180.0),
                _ => (20.0 * size.log10(), turn.to_degrees() % 180.0),
            };
            write!(text, " {first:.9e} {second:.9e}").expect("a string takes everything");
        }
        text.push('\n');
    }
    text
}

fn ours(file: &Path) -> f64 {
    let times = (0..REPEATS).map(|_| {
        let start = Instant::now();
        let bytes = std::fs::read(file).expect("it was just written");
        let found = read(&bytes, Some(2)).expect("it is a sweep");
        let took = start.elapsed();
        assert_eq!(found.sweep.frequencies_hz().len(), POINTS as usize);
        took
    });
    super::median(times.collect()).as_secs_f64()
}

fn theirs(file: &Path) -> f64 {
    let root = guyline_tests::repository();
    let python = root.join("target/oracle-venv/bin/python");
    let script = root.join("tests/bench/sweep.py");
    let output = Command::new(&python).arg(&script).arg(file).arg(REPEATS.to_string()).output();
    let output = output.unwrap_or_else(|error| {
        panic!("{}: {error}; `./tests/run` installs the oracle", python.display())
    });
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "scikit-rf did not read it: {errors}");
    let printed = String::from_utf8_lossy(&output.stdout);
    printed.trim().parse().expect("the script prints seconds")
}
