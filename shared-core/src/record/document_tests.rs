//! A session as two devices write it: nothing is overwritten, and both end with the same view.
//!
//! Method: two documents under two actors take each other's changes, in every order that matters.

use automerge::ActorId;

use super::super::attachment::Attached;
use super::super::session::{Phase, Plane};
use super::*;
use crate::time::Timestamp;
use crate::units::Unit;

fn id(text: &str) -> DocumentId {
    text.parse().unwrap()
}

fn actor(n: u8) -> ActorId {
    ActorId::from([n; 16])
}

fn author(person: &str, minute: i64) -> Author {
    Author {
        person: person.to_owned(),
        device: format!("{person}'s tablet"),
        at: Timestamp::from_unix_ms(1_780_000_000_000 + minute * 60_000).unwrap(),
    }
}

fn session() -> (Document, Vec<Change>) {
    let site = id("01ARZ3NDEKTSV4RRFFQ69G5FAV");
    let here = id("01ARZ3NDEKTSV4RRFFQ69G5FAW");
    let office = author("wren", 0);
    let (document, change) =
        Document::create_session(here, site, "r", "WO 1", actor(1), &office).unwrap();
    (document, vec![change])
}

fn copy(changes: &[Change], n: u8) -> Document {
    Document::from_changes(id("01ARZ3NDEKTSV4RRFFQ69G5FAW"), changes.to_vec(), actor(n)).unwrap()
}

fn connect(id: &str) -> SessionEdit {
    SessionEdit::ConnectChain {
        id: id.to_owned(),
        name: "direct".to_owned(),
        plane: Plane::ReceiverPort,
        instrument: "set".to_owned(),
        port: "gen".to_owned(),
        between: vec!["cable-a".to_owned()],
        line: Vec::new(),
    }
}

fn read(id: &str, typed: &str, replaces: Option<&str>) -> SessionEdit {
    SessionEdit::RecordReading {
        id: id.to_owned(),
        check: "receiver.opening".to_owned(),
        chain: "c1".to_owned(),
        criterion: "opens".to_owned(),
        typed: typed.to_owned(),
        unit: Unit::Dbm,
        phase: Phase::AsFound,
        replaces: replaces.map(str::to_owned),
        answered_by: None,
    }
}

fn sign(id: &str) -> SessionEdit {
    SessionEdit::SignOff {
        id: id.to_owned(),
        statement: "all passed".to_owned(),
        key: "ab".repeat(32),
        signature: "cd".repeat(64),
    }
}

fn attach(id: &str) -> SessionEdit {
    let what = Attached {
        hash: "ab".repeat(32),
        media_type: "image/jpeg".to_owned(),
        length: 7,
        file_name: "IMG_0001.jpg".to_owned(),
        caption: None,
        of: None,
    };
    SessionEdit::Attach { id: id.to_owned(), what }
}

#[test]
fn two_people_who_work_apart_end_with_the_same_session() {
    let (mut office, mut all) = session();
    all.push(office.apply(&connect("c1"), &author("wren", 1)).unwrap());
    let (mut ines, mut tobias) = (copy(&all, 2), copy(&all, 3));
    let hers = vec![
        ines.apply(&SessionEdit::JoinCrew, &author("ines", 2)).unwrap(),
        ines.apply(&read("r1", "-121", None), &author("ines", 3)).unwrap(),
        ines.apply(&SessionEdit::Summarise { text: "good".into() }, &author("ines", 9)).unwrap(),
    ];
    let his = vec![
        tobias.apply(&read("r2", "\u{2212}120,5", None), &author("tobias", 4)).unwrap(),
        tobias
            .apply(&SessionEdit::Summarise { text: "fine".into() }, &author("tobias", 8))
            .unwrap(),
    ];
    ines.take(his).unwrap();
    tobias.take(hers).unwrap();
    assert_eq!(ines.heads(), tobias.heads());
    let (view, other) = (ines.session().unwrap(), tobias.session().unwrap());
    assert_eq!(view, other);
    assert_eq!(view.readings.len(), 2);
    assert_eq!(view.readings["r2"].typed, "\u{2212}120,5", "kept as typed");
    let said: Vec<&str> = view.summary.iter().map(|s| s.text.as_str()).collect();
    assert_eq!(said, ["fine", "good"], "both summaries stand, in one order everywhere");

    let settle = SessionEdit::Summarise { text: "good and fine".into() };
    ines.apply(&settle, &author("ines", 20)).unwrap();
    assert_eq!(ines.session().unwrap().summary.len(), 1, "a later statement settles it");
}

#[test]
fn the_view_kept_along_is_the_one_that_reading_anew_gives() {
    let (mut document, mut all) = session();
    let who = author("ines", 1);
    let edits = [
        SessionEdit::JoinCrew,
        connect("c1"),
        read("r1", "-121", None),
        read("r2", "-120", Some("r1")),
        SessionEdit::WithdrawReading { id: "w".into(), reading: "r2".into(), reason: "no".into() },
        SessionEdit::Acknowledge { id: "a".into(), caution: "rf-burns".into() },
        SessionEdit::RecordAdjustment { id: "j".into(), text: "squelch".into() },
        SessionEdit::AddNote { id: "n".into(), text: "rain".into() },
        SessionEdit::Summarise { text: "good".into() },
        SessionEdit::Summarise { text: "better".into() },
        SessionEdit::RecordRestoration { id: "s".into(), text: "squelch put back".into() },
        SessionEdit::LeaveSite { id: "d".into() },
        SessionEdit::Retract { id: "t".into(), list: "notes".into(), entry: "n".into() },
        sign("s1"),
        SessionEdit::Amend { id: "m".into(), reason: "the pad was left out".into() },
        attach("p"),
        SessionEdit::Caption { id: "q".into(), attachment: "p".into(), text: "the label".into() },
        SessionEdit::Retract { id: "u".into(), list: "attachments".into(), entry: "p".into() },
    ];
    for (minute, edit) in edits.iter().enumerate() {
        all.push(document.apply(edit, &author("ines", minute as i64)).unwrap());
        assert_eq!(document.session().unwrap(), copy(&all, 2).session().unwrap(), "{edit:?}");
    }
    let other = copy(&all, 3).apply(&SessionEdit::Summarise { text: "apart".into() }, &who);
    document.apply(&SessionEdit::Summarise { text: "here".into() }, &who).unwrap();
    document.take(vec![other.unwrap()]).unwrap();
    assert_eq!(document.session().unwrap().summary.len(), 2);
    document.apply(&SessionEdit::Summarise { text: "both".into() }, &who).unwrap();
    assert_eq!(document.session().unwrap(), copy(&document.changes(), 4).session().unwrap());
}

#[test]
fn a_reading_is_corrected_and_taken_back_in_full_view() {
    let (mut document, _) = session();
    let who = author("ines", 1);
    document.apply(&connect("c1"), &who).unwrap();
    document.apply(&read("r1", "-21", None), &who).unwrap();
    document.apply(&read("r2", "-121", Some("r1")), &who).unwrap();
    let view = document.session().unwrap();
    assert_eq!(view.readings.len(), 2);
    assert_eq!(view.standing_readings().into_keys().collect::<Vec<_>>(), ["r2"]);
    let withdraw = SessionEdit::WithdrawReading {
        id: "w1".into(),
        reading: "r2".into(),
        reason: "wrong cable".into(),
    };
    document.apply(&withdraw, &who).unwrap();
    let view = document.session().unwrap();
    assert_eq!(view.readings.len(), 2, "both stay in view");
    assert_eq!(view.standing_readings().into_keys().collect::<Vec<_>>(), ["r1"]);
}

#[test]
fn an_edit_that_cannot_be_leaves_the_document_as_it_was() {
    let (mut document, _) = session();
    let who = author("ines", 1);
    document.apply(&connect("c1"), &who).unwrap();
    document.apply(&read("r1", "-121", None), &who).unwrap();
    let heads = document.heads();
    let refused = |document: &mut Document, edit: &SessionEdit, part: &str| {
        let words = document.apply(edit, &who).unwrap_err().to_string();
        assert!(words.contains(part), "{words:?} lacks {part:?}");
    };
    refused(&mut document, &read("r1", "-120", None), "never overwritten");
    refused(&mut document, &read("r2", "NaN", None), "is not a number");
    refused(&mut document, &read("r2", "-120", Some("r9")), "holds no reading \"r9\"");
    refused(&mut document, &connect("c 1"), "is no id");
    refused(&mut document, &SessionEdit::AddNote { id: "n".into(), text: " ".into() }, "is empty");
    let long = SessionEdit::AddNote { id: "n".into(), text: "x".repeat(4001) };
    refused(&mut document, &long, "longer than 4000");
    assert_eq!(document.heads(), heads);
}

#[test]
fn what_comes_malformed_from_elsewhere_is_refused_and_changes_nothing() {
    let (document, changes) = session();
    // A stranger who writes a number where a map of readings belongs.
    let mut stranger = Automerge::new().with_actor(actor(9));
    stranger.apply_changes(changes.clone()).unwrap();
    let content = stranger.get(ROOT, CONTENT).unwrap().unwrap().1;
    let mut tx = stranger.transaction();
    tx.put(&content, "readings", 7).unwrap();
    let (hash, _) = tx.commit();
    let bad = stranger.get_change_by_hash(&hash.unwrap()).unwrap();

    let mut here = copy(&changes, 4);
    let refused = here.take(vec![bad.clone()]).unwrap_err();
    assert!(matches!(refused, Malformed::Shape { .. }), "{refused}");
    assert_eq!(here.heads(), document.heads());
    assert!(here.session().is_ok());
    let next = here.apply(&SessionEdit::JoinCrew, &author("ines", 1)).unwrap();
    assert_eq!(next.actor_id(), &actor(4), "it goes on as itself");
    let mut all = changes;
    all.push(next);
    assert_eq!(here.session().unwrap(), copy(&all, 5).session().unwrap());
}

#[test]
fn effects_without_their_causes_are_refused() {
    let (mut document, _) = session();
    let effect = document.apply(&SessionEdit::JoinCrew, &author("ines", 1)).unwrap();
    let refused = Document::from_changes(document.id(), vec![effect], actor(5)).unwrap_err();
    assert!(!refused.to_string().is_empty());
}

#[test]
fn a_later_schema_is_read_only() {
    let (_, changes) = session();
    let mut later = Automerge::new().with_actor(actor(8));
    later.apply_changes(changes.clone()).unwrap();
    let mut tx = later.transaction();
    tx.put(ROOT, "schema", DocumentKind::Session.schema() + 1).unwrap();
    let hash = tx.commit().0.unwrap();
    let mut all = changes;
    all.push(later.get_change_by_hash(&hash).unwrap());
    let mut document = copy(&all, 6);
    let refused = document.apply(&SessionEdit::JoinCrew, &author("ines", 1)).unwrap_err();
    assert!(matches!(refused, EditRefused::Newer { found: 4, known: 3 }), "{refused}");
    assert!(document.session().is_err(), "what it means is not ours to guess");
}

#[test]
fn a_shop_written_by_an_older_version_opens_with_what_it_had_then() {
    let text = r#"{ "name": "shop", "decision_rule": "guard-banded", "people": {},
        "instruments": { "set": { "name": "set", "calibration_due": "2027-01-01",
            "ports": { "gen": { "name": "out", "kind": "generator", "power_max_w": 0.1 } },
            "accuracy": { "level_db": 1.0, "power_percent": 1.0, "frequency_ppm": 1.0,
                          "deviation_percent": 1.0 } } },
        "parts": { "load": { "name": "load", "kind": "load", "tolerance_db": 0.0,
                             "power_max_w": 50.0 } } }"#;
    let shop: Shop = serde_json::from_str(text).unwrap();
    let here = id("01ARZ3NDEKTSV4RRFFQ69G5FAX");
    let (_, made) = Document::create_shop(here, &shop, actor(1), &author("wren", 0)).unwrap();
    // The same document as a version without these fields wrote it.
    let mut older = Automerge::new().with_actor(actor(2));
    older.apply_changes(vec![made.clone()]).unwrap();
    let at = |doc: &Automerge, path: &[&str]| {
        path.iter().fold(ROOT, |object, step| doc.get(object, *step).unwrap().unwrap().1)
    };
    let port = at(&older, &[CONTENT, "instruments", "set", "ports", "gen"]);
    let accuracy = at(&older, &[CONTENT, "instruments", "set", "accuracy"]);
    let part = at(&older, &[CONTENT, "parts", "load"]);
    let content = at(&older, &[CONTENT]);
    let mut tx = older.transaction();
    let later = ["guard_factor", "calibration_policy", "calibration_widening", "address", "phone"];
    let lists = ["calibrations", "checks_off", "check_limits", "added_checks", "added_cautions"];
    let others = ["report_wording", "written", "limit_rows"];
    for field in later.iter().chain(&lists).chain(&others) {
        tx.delete(&content, *field).unwrap();
    }
    tx.delete(&port, "return_loss_db").unwrap();
    tx.delete(&accuracy, "ranges").unwrap();
    let of_part = ["return_loss_db", "short_time", "cable", "isolator", "serial_number", "retired"];
    for field in of_part {
        tx.delete(&part, field).unwrap();
    }
    let hash = tx.commit().0.unwrap();
    let change = older.get_change_by_hash(&hash).unwrap();
    let opened = Document::from_changes(here, vec![made, change], actor(3)).unwrap();
    assert_eq!(*opened.shop().unwrap(), shop);
    assert!((shop.guard_factor - 1.0).abs() < 1e-12, "w = U");
    assert_eq!(shop.calibration_policy, crate::uncertainty::CalibrationPolicy::Withhold);
}

#[test]
fn a_site_written_before_licence_sweep_and_antenna_opens_without_them() {
    let text = include_str!("../../../demo-data/site.json");
    let site: Site = serde_json::from_str(text).unwrap();
    let here = id("01ARZ3NDEKTSV4RRFFQ69G5FAY");
    let (_, made) = Document::create_site(here, &site, actor(1), &author("wren", 0)).unwrap();
    let mut older = Automerge::new().with_actor(actor(2));
    older.apply_changes(vec![made.clone()]).unwrap();
    let repeater = [CONTENT, "repeaters", "lookout-vhf"]
        .iter()
        .fold(ROOT, |object, step| older.get(object, *step).unwrap().unwrap().1);
    let mut tx = older.transaction();
    for field in ["licence", "duplexer_sweep", "antenna"] {
        tx.delete(&repeater, field).unwrap();
    }
    let hash = tx.commit().0.unwrap();
    let change = older.get_change_by_hash(&hash).unwrap();
    let opened = Document::from_changes(here, vec![made, change], actor(3)).unwrap();
    let now = opened.site().unwrap();
    let site = Site { written: now.written.clone(), ..site };
    assert_eq!(*now, site);
}

#[path = "sign_off_tests.rs"]
mod sign_off;
