//! Goal: what is taken out is the record, to the byte the same wherever the record is the same,
//! and libraries that know nothing of Guyline read it. Method: the played day, exported from its
//! hub and from a store made from a copy of it; `takeout_check.py` reads the files with pyarrow,
//! jsonschema, icalendar and Python's own readers.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use guyline_core::record::SiteEdit;
use guyline_hub::Node;
use guyline_tests::{author, built, demo_data, repository};
use serde_json::{Value, json};
use tempfile::TempDir;

fn guyline(words: &[&str]) -> Output {
    Command::new(built("guyline")).args(words).output().expect("the program starts")
}

fn done(words: &[&str]) -> String {
    let output = guyline(words);
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{words:?}: {errors}");
    String::from_utf8(output.stdout).expect("UTF-8")
}

fn text(path: &Path) -> &str {
    path.to_str().expect("UTF-8")
}

/// The folder of the hub after the played day.
pub(crate) fn played_day() -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder can be made");
    let data = demo_data();
    done(&["demo", "--data", text(&data), "--work", text(folder.path())]);
    let hub = folder.path().join("hub");
    (folder, hub)
}

/// Python with the reference libraries runs a script of this folder, and what it printed is read.
pub(crate) fn python(script: &str, words: &[&str]) -> Value {
    let python = repository().join("target/oracle-venv/bin/python");
    let script = repository().join("tests/node").join(script);
    let output = Command::new(&python).arg(script).args(words).output().unwrap_or_else(|error| {
        panic!("{}: {error}; `./tests/run` installs the libraries", python.display())
    });
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{errors}");
    serde_json::from_slice(&output.stdout).expect("the script prints JSON")
}

/// The site's name would be a formula, and it says where it stands.
fn with_an_awkward_site(hub: &Path) {
    let node = Node::open(hub).expect("it opens");
    let site = "01JV3M0000000000000000S1TE".parse().expect("the demo's site");
    for (field, value) in [
        ("name", json!("=SUM(1;2), \"Owl\u{e9}\" Knob; the one above the second bend of the road")),
        ("position", json!({ "latitude_degrees": 37.25, "longitude_degrees": -119.5 })),
    ] {
        let edit = SiteEdit::SetField { path: vec![field.to_owned()], value };
        let edited = node.edit(site, |document| document.edit_site(&edit, &author()));
        edited.expect("it is stored").expect("it is admitted");
    }
}

fn taken_out(hub: &Path, into: &Path) {
    for (name, more) in [
        ("readings.csv", &[][..]),
        ("readings.json", &[]),
        ("readings.parquet", &[]),
        ("due.ics", &[]),
        ("sites.geojson", &[]),
        ("placed.geojson", &["--positions"]),
    ] {
        let out = into.join(name);
        let words = ["export", "--data", text(hub), "--out", text(&out)];
        done(&[&words[..], more].concat());
    }
    std::fs::write(into.join("schema.json"), done(&["export", "--schema"])).expect("written");
}

#[test]
fn what_is_taken_out_is_the_record_wherever_it_is_and_others_read_it() {
    let (folder, hub) = played_day();
    with_an_awkward_site(&hub);
    let copy = folder.path().join("copy");
    let file = folder.path().join("hub.copy");
    done(&["backup", "--data", text(&hub), text(&file)]);
    done(&["restore", "--data", text(&copy), text(&file)]);
    let (first, second) = (folder.path().join("first"), folder.path().join("second"));
    for (from, into) in [(&hub, &first), (&copy, &second)] {
        std::fs::create_dir(into).expect("a folder can be made");
        taken_out(from, into);
    }
    for name in ["readings.csv", "readings.json", "readings.parquet", "due.ics", "placed.geojson"] {
        let bytes = |folder: &Path| std::fs::read(folder.join(name)).expect("it was written");
        assert_eq!(
            bytes(&first),
            bytes(&second),
            "{name} differs between nodes that hold the same"
        );
    }
    let read = python("takeout_check.py", &[text(&first)]);
    rows_are_the_visit(&hub, &read);
    assert_eq!(read["types"]["expanded"], "double");
    assert_eq!(read["types"]["receive_hz"], "int64");
    let names = read["site_names"].as_array().expect("a list");
    assert!(names.len() == 1 && names[0].as_str().is_some_and(|name| name.starts_with("'=SUM")));
    // A visit a year after the last reading of 2026-05-14, and the demo's calibrations.
    let visit = read["events"]
        .as_array()
        .expect("a list")
        .iter()
        .find(|event| event["uid"] == "visit-01JV3M0000000000000000S1TE-lookout-vhf@guyline");
    let visit = visit.expect("the repeater's next visit");
    assert_eq!(visit["day"], "2027-05-14");
    assert!(visit["summary"].as_str().is_some_and(|said| said.contains("the second bend")));
    assert_eq!(read["sites"][0]["geometry"], Value::Null, "nobody asked where it stands");
    let place = json!({ "type": "Point", "coordinates": [-119.5, 37.25] });
    assert_eq!(read["placed"][0]["geometry"], place, "RFC 7946 has the longitude first");
}

/// The rows say what the appraisal of the visit says, reading by reading.
fn rows_are_the_visit(hub: &Path, read: &Value) {
    let node = Node::open(hub).expect("it opens");
    let session = "01JV7ZC0000000000000000W0R".parse().expect("the demo's visit");
    let page = guyline_hub::desk::page(&node, session).expect("it is judged");
    let rows = read["rows"].as_array().expect("a list");
    let states = page.appraisal.checks.iter().flat_map(|check| &check.readings);
    let mut found = 0;
    for state in states {
        let row = rows.iter().find(|row| row["reading"] == state.id).expect("every reading");
        assert_eq!(row["typed"], state.reading.typed);
        assert_eq!(row["verdict"], json!(state.verdict.outcome), "{row}");
        alike(&row["margin"], state.verdict.margin, row);
        alike(&row["expanded"], state.verdict.expanded, row);
        assert_eq!(row["standing"], json!(state.standing), "{row}");
        found += 1;
    }
    assert_eq!((rows.len(), found > 10), (found, true));
    // HANDBOOK U1: 0.2 µV is −120.969 dBm; the demo's first reading was typed in dBm.
    let first = rows.iter().find(|row| row["typed"] == "-120.9").expect("Ines's first reading");
    assert_eq!((&first["base_value"], &first["base_unit"]), (&json!(-120.9), &json!("dBm")));
    assert_eq!(first["by_name"], page.people["ines"]);
}

/// The script's JSON is read here without the last bit of a double.
fn alike(got: &Value, wanted: Option<f64>, row: &Value) {
    assert_eq!(got.is_number(), wanted.is_some(), "{row}");
    if let (Some(got), Some(wanted)) = (got.as_f64(), wanted) {
        assert!((got - wanted).abs() <= 1e-12 * wanted.abs(), "{got}, not {wanted}: {row}");
    }
}

#[test]
fn a_form_that_is_not_there_and_a_file_that_is_are_refused() {
    let (folder, hub) = played_day();
    let out = |name: &str| folder.path().join(name);
    let export = |out: &Path, more: &[&str]| {
        guyline(&[&["export", "--data", text(&hub), "--out", text(out)], more].concat())
    };
    let said = |output: &Output| String::from_utf8_lossy(&output.stderr).into_owned();
    let output = export(&out("readings.pdf"), &[]);
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output).contains(".parquet"), "{}", said(&output));
    let output = export(&out("readings.ics"), &["--of", "readings"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(said(&output).contains("ask for csv, json, parquet"), "{}", said(&output));
    assert!(!out("readings.ics").exists());
    std::fs::write(out("there.csv"), "mine").expect("written");
    let output = export(&out("there.csv"), &[]);
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    assert_eq!(std::fs::read(out("there.csv")).expect("it is there"), b"mine");
}
