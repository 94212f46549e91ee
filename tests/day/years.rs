//! Goal: over years of visits, a site's report draws how its values went, and the fleet's history
//! names who meets a limit first and who is unlike its kind. Method: a shop with seven sites of
//! five yearly visits each, written into a node with the times they would have had; one drifts.

use std::path::Path;
use std::process::Command;

use automerge::ActorId;
use guyline_core::record::{Author, Document, DocumentId, Phase, Plane, SessionEdit, Shop, Site};
use guyline_core::time::Timestamp;
use guyline_core::units::Unit;
use guyline_hub::Node;
use guyline_hub::desk::{EnterReading, edit_session, record_reading};
use guyline_tests::{built, demo_data};
use serde_json::Value;

const SITES: u64 = 7;
const YEARS: u64 = 5;

fn id(number: u64) -> DocumentId {
    let mut bytes = [0; 16];
    bytes[8..].copy_from_slice(&number.to_be_bytes());
    DocumentId::from_bytes(bytes)
}

fn at(year: u64) -> Author {
    let at = Timestamp::parse(&format!("{}-05-14T10:20:00Z", 2022 + year)).unwrap();
    Author { person: "ines".to_owned(), device: "tablet".to_owned(), at }
}

fn file<T: serde::de::DeserializeOwned>(name: &str) -> T {
    serde_json::from_str(&std::fs::read_to_string(demo_data().join(name)).unwrap()).unwrap()
}

/// What a site's receiver opens at in a year: the last site's drifts, the others' stand.
fn level(site: u64, year: u64) -> String {
    match site == SITES - 1 {
        true => format!("{}", -125.0 + 0.9 * year as f64),
        false => format!("{}", -121.0 - 0.05 * site as f64),
    }
}

fn write(folder: &Path) {
    let node = Node::open(folder).unwrap();
    let mut shop: Shop = file("shop.json");
    // The demo's calibrations are of one year; here they are taken to have been held each year.
    for instrument in shop.instruments.values_mut() {
        "2099-01-01".clone_into(&mut instrument.calibration_due);
    }
    for part in shop.parts.values_mut().filter(|part| part.calibration_due.is_some()) {
        part.calibration_due = Some("2099-01-01".to_owned());
    }
    let made = Document::create_shop(id(0), &shop, ActorId::random(), &at(0)).unwrap();
    node.create(made.0, made.1).unwrap();
    for site in 0..SITES {
        let mut paper: Site = file("site.json");
        paper.name = format!("Knob {site}");
        let place = id(100 * (site + 1));
        let made = Document::create_site(place, &paper, ActorId::random(), &at(0)).unwrap();
        node.create(made.0, made.1).unwrap();
        for year in 0..YEARS {
            visit(&node, place, id(100 * (site + 1) + year + 1), year, &level(site, year));
        }
    }
}

fn visit(node: &Node, site: DocumentId, session: DocumentId, year: u64, typed: &str) {
    let (author, order) = (at(year), format!("WO {year}"));
    let actor = ActorId::random();
    let made =
        Document::create_session(session, site, "lookout-vhf", &order, actor, &author).unwrap();
    node.create(made.0, made.1).unwrap();
    let chain = node.fresh_id();
    let connect = SessionEdit::ConnectChain {
        id: chain.clone(),
        name: "direct".to_owned(),
        plane: Plane::ReceiverPort,
        instrument: "monitor-1".to_owned(),
        port: "gen".to_owned(),
        between: vec!["cable-a".to_owned()],
        line: Vec::new(),
    };
    edit_session(node, session, &author, &connect).unwrap();
    let asked = EnterReading {
        session: session.to_string(),
        check: "receiver.opening".to_owned(),
        chain,
        typed: typed.to_owned(),
        unit: Unit::Dbm,
        phase: Phase::AsFound,
        replaces: None,
        live: None,
    };
    record_reading(node, session, &author, &asked).unwrap();
}

fn run(folder: &Path, words: &[&str]) -> String {
    let output =
        Command::new(built("guyline")).args(words).arg("--data").arg(folder).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn years_of_visits_are_drawn_ranked_and_told() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path());
    let told: Value = serde_json::from_str(&run(folder.path(), &["fleet", "--json"])).unwrap();
    let class = &told["classes"][0];
    assert_eq!((&class["check"], &class["band"]), (&"receiver.opening".into(), &"VHF".into()));
    let members = class["members"].as_array().unwrap();
    assert_eq!(members.len(), 7);
    // The drifting one meets its limit first, and is unlike the six others by its drift.
    let worst = &members[0];
    assert_eq!((&worst["site_name"], &worst["visits"]), (&"Knob 6".into(), &5.into()));
    let per_year = worst["trend"]["per_year"].as_f64().unwrap();
    // 0.9 dB a calendar year, in years of 365.25 days.
    assert!((per_year - 0.9).abs() < 0.002, "{per_year}");
    assert_eq!(worst["apart"][0]["by"], "drift");
    assert_eq!(worst["apart"][0]["readings"].as_array().map(Vec::len), Some(5));
    assert!(members[1..].iter().all(|member| member["apart"] == Value::Array(Vec::new())));

    let text = run(folder.path(), &["fleet"]);
    assert!(text.contains("1. Knob 6") && text.contains("apart from its like by its drift"));

    let out = folder.path().join("site.html");
    run(folder.path(), &["site-report", "Knob 6", "--out", out.to_str().unwrap()]);
    let html = std::fs::read_to_string(&out).unwrap();
    assert!(html.contains("drifts +0.9 dB a year"), "the trend is told");
    assert_eq!(html.matches("<figure>").count(), 1, "one value was read on several visits");
    let pdf = folder.path().join("site.pdf");
    run(folder.path(), &["site-report", "Knob 6", "--out", pdf.to_str().unwrap()]);
    assert!(crate::report::pdf_text(&pdf).contains("2022-05-14"), "its time axis begins there");
    run(folder.path(), &["verify", pdf.to_str().unwrap()]);
}
