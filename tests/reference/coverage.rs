//! Which rows of the handbook the tests hold the code against: made from their own citations.
//!
//! A test that checks a published value writes "HANDBOOK 2.6" beside it. This collects them all
//! into `COVERAGE.md`, and fails when that file says anything else.
//! `GUYLINE_REFRESH=1 cargo test --workspace --test reference coverage` writes it anew.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use guyline_tests::repository;

/// The handbook's rows with an id: letter, how many, and what they are about.
const SERIES: [(&str, u32, &str); 14] = [
    ("U", 7, "units, EMF, decibels"),
    ("N", 4, "thermal noise"),
    ("F", 4, "noise figure of a cascade"),
    ("S", 8, "SINAD"),
    ("R", 3, "sensitivity from noise figure"),
    ("E", 6, "ERP and losses"),
    ("B", 10, "necessary bandwidth, designators"),
    ("X", 12, "exposure"),
    ("G", 9, "uncertainty"),
    ("D", 6, "decision rules"),
    ("T", 9, "two-port data"),
    ("Z", 8, "isolation, desense, site noise"),
    ("I", 6, "intermodulation"),
    ("P", 5, "propagation"),
];

/// Its sections whose values stand in tables or lists without ids.
const SECTIONS: [(&str, &str); 19] = [
    ("2.1", "frequency stability"),
    ("2.2", "which emission mask"),
    ("2.3", "bandwidth and deviation"),
    ("2.4", "when a licensee must measure"),
    ("2.6", "other jurisdictions, hum and noise"),
    ("2.7", "CTCSS tones"),
    ("2.8", "DCS"),
    ("3.1", "exposure limits"),
    ("3.4", "ICNIRP 2020"),
    ("3.5", "Safety Code 6"),
    ("4.2", "mismatch"),
    ("4.4", "typical uncertainties"),
    ("5.1", "Touchstone rules"),
    ("5.3", "VSWR and return loss"),
    ("6.3", "external noise"),
    ("9.1", "carrier nulls"),
    ("9.2", "sine fit"),
    ("9.3", "weightings"),
    ("12", "traps"),
];

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("the folder is there") {
        let path = entry.expect("it can be listed").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
}

/// Every row: those with an id by it, and the sections whose values stand in lists or tables.
fn rows() -> Vec<(String, &'static str)> {
    let mut all = Vec::new();
    for (letter, count, about) in SERIES {
        all.extend((1..=count).map(|number| (format!("{letter}{number}"), about)));
    }
    all.extend(SECTIONS.map(|(section, about)| (section.to_owned(), about)));
    all
}

/// The rows a line cites: "HANDBOOK S1-S3, 2.6 (hum), X9 to X11" has seven. What follows a colon or
/// a quotation mark speaks of values.
fn cited(line: &str) -> Vec<String> {
    let Some((_, after)) = line.split_once("HANDBOOK ") else { return Vec::new() };
    let list = after.split([':', ';', '"']).next().unwrap_or_default().replace(" to ", "-");
    let words = list.split(|c: char| !(c.is_ascii_alphanumeric() || c == '.' || c == '-'));
    let known = rows();
    let named = words.flat_map(|word| range(word.trim_matches('.')));
    named.filter(|name| known.iter().any(|(row, _)| row == name)).collect()
}

/// "S1-S3" and "S1-3" are three rows; anything else is itself.
fn range(word: &str) -> Vec<String> {
    let alone = || vec![word.to_owned()];
    let Some((first, last)) = word.split_once('-') else { return alone() };
    let letter: String = first.chars().take_while(char::is_ascii_uppercase).collect();
    let number = |text: &str| text.trim_start_matches(letter.as_str()).parse::<u32>();
    match (number(first), number(last)) {
        (Ok(from), Ok(to)) if !letter.is_empty() && to < 100 => {
            (from..=to).map(|number| format!("{letter}{number}")).collect()
        }
        _ => alone(),
    }
}

/// Row to the files that cite it.
fn citations() -> BTreeMap<String, BTreeSet<String>> {
    let mut files = Vec::new();
    for folder in ["tests/reference", "shared-core/src"] {
        sources(&repository().join(folder), &mut files);
    }
    files.sort();
    let mut all: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for file in files.iter().filter(|file| !file.ends_with("coverage.rs")) {
        let text = std::fs::read_to_string(file).expect("a source is text");
        let name = file.strip_prefix(repository()).expect("below the root").display().to_string();
        for row in text.lines().flat_map(cited) {
            all.entry(row).or_default().insert(name.clone());
        }
    }
    all
}

fn table() -> (String, usize, usize) {
    let (cited, rows) = (citations(), rows());
    let covered = rows.iter().filter(|(row, _)| cited.contains_key(row)).count();
    let mut text = String::from(
        "# What the handbook's rows are checked by\n\n\
         Generated from the citations in the tests by `coverage.rs`; do not edit. A row without a\n\
         citation is not covered: nothing computes it, or no test says so.\n\n",
    );
    writeln!(text, "**{covered} of {} rows are cited.**\n", rows.len()).expect("text");
    text.push_str("| row | about | cited in |\n| --- | --- | --- |\n");
    for (row, about) in &rows {
        let files: Vec<String> = match cited.get(row) {
            Some(files) => files.iter().map(|file| format!("`{file}`")).collect(),
            None => vec!["nothing".to_owned()],
        };
        writeln!(text, "| {row} | {about} | {} |", files.join(", ")).expect("text");
    }
    (text, covered, rows.len())
}

#[test]
fn coverage_of_the_handbook_is_as_its_table_says() {
    let (table, covered, rows) = table();
    let file = repository().join("tests/reference/COVERAGE.md");
    if std::env::var_os("GUYLINE_REFRESH").is_some() {
        std::fs::write(&file, &table).expect("it can be written");
    }
    let kept = std::fs::read_to_string(&file).unwrap_or_default();
    assert!(kept == table, "COVERAGE.md is stale: run this test with GUYLINE_REFRESH=1");
    println!("{covered} of {rows} rows are cited");
}

#[test]
fn a_citation_is_found_in_the_ways_it_is_written() {
    let some = |line: &str| cited(line).join(" ");
    assert_eq!(some("//! HANDBOOK S1-S3, 2.6 (hum and noise), 9.1."), "S1 S2 S3 2.6 9.1");
    assert_eq!(some("HANDBOOK X9 to X11 and 12"), "X9 X10 X11 12");
    assert_eq!(some("Published(\"HANDBOOK S7: 2.6 dB\")"), "S7");
    assert_eq!(some("the handbook says 2.6"), "");
}
