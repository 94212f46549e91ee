//! Goal: a site's report says what its latest visits say, in every kind of file, names every
//! document it was made from, and no change of it or of them goes unnoticed. Method: the played
//! day's site, its report made by the program and its text taken out by an independent reader.

use std::path::PathBuf;
use std::process::Command;

use guyline_core::report::SiteReport;
use guyline_hub::Node;
use guyline_hub::desk::{self, Wanted};
use guyline_hub::identity::DeviceKey;
use guyline_hub::render::{FileForm, seal};
use guyline_tests::built;
use serde_json::{Value, json};

use crate::report::{Day, flat, is_tagged_letter, pdf_text};

fn made(day: &Day, name: &str, more: &[&str]) -> PathBuf {
    day.file(&["site-report", "Owl Knob"], name, more)
}

fn told(day: &Day, node: &str, file: &std::path::Path) -> (Option<i32>, Value) {
    let output = day.verify(node, file);
    (output.status.code(), serde_json::from_slice(&output.stdout).unwrap())
}

fn as_data(day: &Day) -> SiteReport {
    let text = std::fs::read_to_string(made(day, "site-data.json", &[])).unwrap();
    serde_json::Deserializer::from_str(&text).into_iter().next().unwrap().unwrap()
}

#[test]
fn the_site_is_told_in_every_kind_of_file_and_verified_anywhere_the_record_is() {
    let day = Day::played();
    let report = as_data(&day);
    let pdf_file = made(&day, "site.pdf", &[]);
    let html_file = made(&day, "site.html", &[]);
    let text_file = made(&day, "site.txt", &[]);
    let pdf = flat(&pdf_text(&pdf_file));
    let html = std::fs::read_to_string(&html_file).unwrap();
    let text = flat(&std::fs::read_to_string(&text_file).unwrap());
    let mut values = 0;
    let latest = report.channels[0].latest.as_ref().unwrap();
    for line in latest.stages.iter().flat_map(|stage| &stage.lines) {
        for cell in line.as_found.iter().chain(&line.as_left) {
            values += 1;
            let number = cell.value.split(' ').next().unwrap();
            for (kind, file) in [("pdf", &pdf), ("html", &html), ("txt", &text)] {
                assert!(file.contains(number), "{kind} lacks {number:?} of {}", line.title);
            }
        }
    }
    assert!(values >= 12, "the day has readings enough: {values}");
    let word = "Rattlesnakes under the step";
    for said in ["Owl Knob", "Larkspur Radio Works", "Gate key on the van", word, "WO 1187"] {
        assert!(pdf.contains(said) && text.contains(said), "{said}");
        assert!(html.contains(&said.replace('\'', "&#39;")), "{said}");
    }
    // Every file names the three documents it was made from.
    for heads in ["session ", "shop ", "site "] {
        assert!(html.contains(&format!("<code>{heads}")) && text.contains(heads), "{heads}");
    }
    for file in [pdf_file, html_file, text_file, made(&day, "site.json", &[])] {
        for node in ["wren", "hub"] {
            let (code, told) = told(&day, node, &file);
            assert_eq!(code, Some(0), "{} at {node}: {told}", file.display());
            assert_eq!(told["same_file"], true);
        }
    }
}

#[test]
fn it_can_be_had_in_another_language_and_on_another_paper_tagged() {
    let day = Day::played();
    let file = made(&day, "fr.pdf", &["--language", "french", "--paper", "letter"]);
    let text = pdf_text(&file);
    assert!(text.contains("Rapport de site") && text.contains("Dangers"), "{text}");
    is_tagged_letter(&file);
}

#[test]
fn what_was_written_since_is_told() {
    let day = Day::played();
    let file = made(&day, "site.txt", &[]);
    let site = Node::open(&day.path("wren")).unwrap();
    let sheet = desk::papers(&site, day.session).unwrap();
    let document = sheet.session.site.to_string();
    let body = json!({ "document": document, "path": ["access"], "value": "By boat only." });
    ask(&site, "set-field", body);
    drop(site);
    let (code, told) = told(&day, "wren", &file);
    assert_eq!(code, Some(2), "{told}");
    assert_eq!((&told["same_file"], &told["changes"]), (&json!(true), &json!(1)));
    // Where nobody heard of it, the file is as true as it was.
    assert_eq!(self::told(&day, "hub", &file).0, Some(0));
    let again = std::fs::read_to_string(made(&day, "again.txt", &[])).unwrap();
    assert!(again.contains("By boat only."));
}

fn ask(node: &Node, command: &str, body: Value) -> Value {
    tokio::runtime::Runtime::new().unwrap().block_on(desk::call(node, command, body)).unwrap()
}

#[test]
fn what_two_people_wrote_apart_is_to_be_chosen_and_the_report_verified_all_the_same() {
    let day = Day::played();
    let nodes = ["hub", "wren"].map(|name| Node::open(&day.path(name)).unwrap());
    let site = desk::papers(&nodes[0], day.session).unwrap().session.site.to_string();
    for (node, access) in nodes.iter().zip(["By boat only.", "By mule only."]) {
        ask(node, "hold-device", json!({ "person": "ines" }));
        let body = json!({ "document": site, "path": ["access"], "value": access });
        ask(node, "set-field", body);
    }
    let bundle = ask(&nodes[0], "bundle-out", json!({}));
    ask(&nodes[1], "bundle-in", json!({ "base64": bundle["base64"] }));
    drop(nodes);
    let file = made(&day, "apart.txt", &[]);
    let text = flat(&std::fs::read_to_string(&file).unwrap());
    assert!(text.contains("* Owl Knob: access: two people wrote it apart"), "{text}");
    let (code, told) = told(&day, "wren", &file);
    assert_eq!((code, &told["same_file"]), (Some(0), &json!(true)), "{told}");
}

#[test]
fn a_report_forged_and_sealed_anew_is_not_what_the_record_gives() {
    let day = Day::played();
    let forger = Node::open(&day.path("tobias")).unwrap();
    let wanted =
        Wanted { form: FileForm::Text, language: Default::default(), paper: Default::default() };
    let made = desk::site_report_file(&forger, "owl knob", wanted).unwrap();
    drop(forger);
    let key = DeviceKey::open(&day.path("tobias")).unwrap();
    let sealed = seal::open(&made.bytes).unwrap();
    let text = std::str::from_utf8(sealed.content).unwrap();
    let lie = text.replacen("Rattlesnakes", "Butterflies", 1);
    assert_ne!(lie, text);
    let forged = seal::seal(lie.into_bytes(), sealed.form, &sealed.origin, &key);
    let file = day.path("forged.txt");
    std::fs::write(&file, forged).unwrap();
    let (code, told) = told(&day, "wren", &file);
    assert_eq!(code, Some(2));
    assert_eq!((&told["refused"], &told["same_file"]), (&Value::Null, &json!(false)));
}

#[test]
fn a_site_that_is_not_here_is_refused_by_what_was_typed() {
    let day = Day::played();
    let output = Command::new(built("guyline"))
        .args(["site-report", "Owl Nob", "--data"])
        .arg(day.path("wren"))
        .arg("--out")
        .arg(day.path("none.pdf"))
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(!output.status.success() && said.contains("Owl Nob"), "{said}");
    assert!(!day.path("none.pdf").exists());
}
