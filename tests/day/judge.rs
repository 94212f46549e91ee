//! `guyline judge`: a sheet as plain JSON is judged without a database, and a wrong one is refused
//! with file, field and what was expected.

use std::path::Path;
use std::process::{Command, Output};

use serde_json::{Value, json};

use guyline_tests::{built, sheet};

fn judge(folder: &Path, sheet: &str) -> Output {
    let file = folder.join("sheet.json");
    std::fs::write(&file, sheet).unwrap();
    Command::new(built("guyline")).arg("judge").arg(&file).output().unwrap()
}

#[test]
fn a_sheet_is_judged_without_a_database() {
    let folder = tempfile::tempdir().unwrap();
    let output = judge(folder.path(), &sheet().to_string());
    assert_eq!(output.status.code(), Some(0));
    let appraisal: Value = serde_json::from_slice(&output.stdout).unwrap();
    let verdict = &appraisal["checks"][0]["readings"][0]["verdict"];
    // -120.7 dBm less 0.3 dB of cable: 1 dB better than -120 dBm. Common practice, no source.
    let at_plane = verdict["at_plane"].as_f64().unwrap();
    assert!((at_plane - -121.0).abs() < 0.02, "{verdict}");
    assert!((verdict["margin"].as_f64().unwrap() - 1.0).abs() < 0.02, "{verdict}");
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "nothing was written");
}

#[test]
fn a_wrong_sheet_gets_file_field_and_expectation_and_exit_code_2() {
    let folder = tempfile::tempdir().unwrap();
    let edited = |at: &str, value: Value| {
        let mut sheet = sheet();
        *sheet.pointer_mut(at).unwrap() = value;
        sheet.to_string()
    };
    let reading = "/session/readings/r";
    let table = [
        ("{\"shop\": ".to_owned(), "shop"),
        ("[]".to_owned(), "expected struct Sheet"),
        (edited("/shop/name", json!(7)), "shop.name"),
        (edited("/shop/parts/cable-a/kind", json!("rope")), "shop.parts.cable-a.kind"),
        (edited("/shop/parts/cable-a/tolerance_db", json!(-1)), "shop.parts.cable-a.tolerance_db"),
        (edited(&format!("{reading}/typed"), json!("NaN")), "session.readings.r.typed"),
        (edited(&format!("{reading}/unit"), json!("furlong")), "session.readings.r.unit"),
        (edited(&format!("{reading}/chain"), json!("nowhere")), "session.readings.r.chain"),
        (edited(&format!("{reading}/stamp/at"), json!("noon")), "stamp.at"),
        (edited("/session/chains/c/between", json!(["cable-9"])), "there is no part \"cable-9\""),
        (edited("/session/repeater", json!("other")), "session.repeater"),
    ];
    for (sheet, part) in table {
        let output = judge(folder.path(), &sheet);
        let words = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{words}");
        assert!(words.contains("sheet.json"), "{words:?} does not name the file");
        assert!(words.contains(part), "{words:?} lacks {part:?}");
        assert!(output.stdout.is_empty());
    }
}

#[test]
fn the_schema_names_what_a_sheet_holds() {
    let output = Command::new(built("guyline")).args(["judge", "--schema"]).output().unwrap();
    let schema: Value = serde_json::from_slice(&output.stdout).unwrap();
    let required = schema["required"].as_array().unwrap();
    for field in ["shop", "site", "session"] {
        assert!(required.contains(&json!(field)), "{schema}");
    }
    assert!(schema["$defs"]["Reading"]["properties"]["typed"].is_object(), "{schema}");
}
