//! Goal: asked in French, the desk answers in French and says the same; what is recorded is worded
//! alike whoever's screen recorded it. Method: the played day's office, each page asked for in both
//! languages and the two walked together; typed words are taken out first, they stay as typed.

use std::collections::BTreeMap;

use guyline_hub::Node;
use guyline_hub::desk::{self, Language};
use guyline_tests::both_languages::{told_in_french, walk};
use serde_json::{Value, json};

/// What people wrote, and names.
const TYPED: [&str; 9] = [
    "notes",
    "adjustments",
    "restorations",
    "summary",
    "amendments",
    "access",
    "hazards",
    "attachments",
    "letterhead",
];

struct Office {
    node: Node,
    session: String,
    runtime: tokio::runtime::Runtime,
    _work: tempfile::TempDir,
}

impl Office {
    fn of_the_day() -> Self {
        let work = tempfile::tempdir().unwrap();
        crate::play(work.path());
        let node = Node::open(&work.path().join("wren")).unwrap();
        let runtime = tokio::runtime::Runtime::new().unwrap();
        let mut office = Self { node, session: String::new(), runtime, _work: work };
        let today = office.ask(Language::English, "today", json!({})).unwrap();
        today["sessions"][0]["id"].as_str().unwrap().clone_into(&mut office.session);
        office
    }

    fn ask(&self, to: Language, command: &str, body: Value) -> Result<Value, desk::Refusal> {
        self.runtime.block_on(desk::call_in(&self.node, to, command, body))
    }

    /// A page in both languages.
    fn both(&self, command: &str, body: &Value) -> [Value; 2] {
        [Language::English, Language::French].map(|to| self.ask(to, command, body.clone()).unwrap())
    }
}

fn without_typed(page: &mut Value) {
    match page {
        Value::Object(fields) => {
            fields.retain(|name, _| !TYPED.contains(&name.as_str()));
            fields.values_mut().for_each(without_typed);
        }
        Value::Array(entries) => entries.iter_mut().for_each(without_typed),
        _ => {}
    }
}

/// What the shop calls its parts and instruments, and the crew its chains.
fn names(page: &Value) -> Vec<String> {
    let own = [&page["parts"], &page["instruments"]].into_iter().filter_map(Value::as_object);
    let own = own.flat_map(|named| named.values()).map(|it| &it["name"]);
    let chains = page["appraisal"]["chains"].as_array().into_iter().flatten();
    let all = own.chain(chains.map(|it| &it["chain"]["name"]));
    all.filter_map(Value::as_str).map(str::to_owned).collect()
}

fn without(named: &[String], text: &str) -> String {
    named.iter().fold(text.to_owned(), |text, name| text.replace(name, "…"))
}

#[test]
fn a_session_asked_for_in_french_is_french_and_the_same() {
    let office = Office::of_the_day();
    let mut said = BTreeMap::new();
    let [mut english, mut french] = office.both("session", &json!({ "session": office.session }));
    // Where the last entry can be undone its words hold what somebody typed.
    for page in [&mut english, &mut french] {
        without_typed(page);
        page["undoable"] = Value::Null;
    }
    walk("", &english, &french, &mut said);
    let named = names(&english);
    let said: BTreeMap<String, String> = said
        .iter()
        .map(|(french, english)| (without(&named, french), without(&named, english)))
        .collect();
    let checks = french["appraisal"]["checks"].as_array().unwrap();
    assert_eq!(checks[0]["check"]["title"], "Niveau d’ouverture au port du récepteur");
    // A reading keeps its criterion as the shipped plan words it.
    assert_eq!(checks[0]["readings"][0]["reading"]["criterion"], "opens");
    let sentences = told_in_french(&said);
    assert!(sentences > 150, "{sentences}");
    for part in ["étalonn", "Ne jamais émettre", "environ", "limite : "] {
        assert!(said.keys().any(|text| text.contains(part)), "nothing said {part:?}");
    }
}

#[test]
fn board_and_fleet_asked_for_in_french_are_french_and_the_same() {
    let office = Office::of_the_day();
    for (command, body, least) in
        [("board", json!({ "day": "2026-05-14" }), 3), ("fleet", json!({}), 10)]
    {
        let mut said = BTreeMap::new();
        let [english, french] = office.both(command, &body).map(|mut page| {
            without_typed(&mut page);
            page
        });
        walk("", &english, &french, &mut said);
        told_in_french(&said);
        assert!(said.len() >= least, "{command}: {said:?}");
    }
}

#[test]
fn every_step_of_the_history_is_told_in_french() {
    let office = Office::of_the_day();
    let [english, french] = office.both("history", &json!({ "session": office.session }));
    let steps = |page: &Value| -> Vec<String> {
        let steps = page["steps"].as_array().unwrap().iter();
        steps.map(|step| step["words"].as_str().unwrap().to_owned()).collect()
    };
    let (english, french) = (steps(&english), steps(&french));
    assert!(english.len() > 30, "{}", english.len());
    for (english, french) in english.iter().zip(&french) {
        assert!(french.starts_with("a ") || french.starts_with("est "), "{french:?}, {english:?}");
    }
    let read = "a lu Niveau d’ouverture au port du récepteur : -120.9 dBm, à l’arrivée";
    assert!(french.iter().any(|step| step == read), "{french:#?}");
}

#[test]
fn what_is_typed_on_a_french_screen_is_answered_in_french_and_recorded_as_by_any_other() {
    let office = Office::of_the_day();
    let session = office.ask(Language::French, "session", json!({ "session": office.session }));
    let session = session.unwrap();
    let checks = session["appraisal"]["checks"].as_array().unwrap();
    let opening = checks.iter().find(|it| it["check"]["id"] == "receiver.opening").unwrap();
    let entry = |typed: &str, unit: &str| {
        json!({
            "session": office.session, "check": "receiver.opening", "chain": opening["chain"],
            "typed": typed, "unit": unit, "phase": "as-left", "replaces": null, "live": null,
        })
    };
    let judged = office.ask(Language::French, "judge-entry", entry("-120.4", "dBm")).unwrap();
    let reason = judged["verdict"]["reason"].as_str().unwrap();
    assert!(reason.contains("de la limite, incertitude"), "{reason}");
    for (typed, unit, said, help) in [
        ("x", "dBm", "« x » n’est pas un nombre", "vérifier nombre et unité"),
        ("250", "dBm", "niveau de 250 dBm, hors de", "vérifier nombre et unité"),
        ("3", "W", "ne se lit pas en W", "vérifier nombre et unité"),
    ] {
        let refused = office.ask(Language::French, "record-reading", entry(typed, unit));
        let refused = refused.unwrap_err();
        assert!(refused.what.contains(said), "{refused}");
        assert!(refused.help.contains(help), "{refused}");
    }
    let page = office.ask(Language::French, "record-reading", entry("-120.4", "dBm")).unwrap();
    let undoable = page["undoable"]["words"].as_str().unwrap();
    assert!(undoable.starts_with("a lu Niveau d’ouverture"), "{undoable}");
    let checks = page["appraisal"]["checks"].as_array().unwrap();
    let opening = checks.iter().find(|it| it["check"]["id"] == "receiver.opening").unwrap();
    for state in opening["readings"].as_array().unwrap() {
        assert_eq!(state["reading"]["criterion"], "opens");
    }
}
