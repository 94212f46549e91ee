//! Goal: the Bench asked in French says in French what it says in English: titles, what stands at
//! its fields, its answers and its refusals; no number depends on the language. Method: every
//! topic's example and wrong questions of every kind asked of a desk in both languages, the two
//! walked together. What a source is called stays as its publisher wrote it.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use guyline_core::bench::TOPICS;
use guyline_hub::Node;
use guyline_hub::desk::{self, Language};
use guyline_tests::both_languages::{told_in_french, walk_with};
use guyline_tests::repository;
use serde_json::{Value, json};

/// What the bench words besides what a session does.
const WORDED: [&str; 3] = ["notes", "caution", "place"];

struct Bench {
    node: Node,
    runtime: tokio::runtime::Runtime,
    _folder: tempfile::TempDir,
}

impl Bench {
    fn open() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let node = Node::open(folder.path()).unwrap();
        Self { node, runtime: tokio::runtime::Runtime::new().unwrap(), _folder: folder }
    }

    fn ask(&self, to: Language, command: &str, body: Value) -> Result<Value, desk::Refusal> {
        self.runtime.block_on(desk::call_in(&self.node, to, command, body))
    }

    /// The list of topics in both languages.
    fn listed(&self) -> [Value; 2] {
        [Language::English, Language::French]
            .map(|to| self.ask(to, "bench-topics", json!({})).unwrap())
    }

    /// An answer, or why there is none, in both languages.
    fn both(&self, question: &Value) -> [Result<Value, desk::Refusal>; 2] {
        [Language::English, Language::French].map(|to| self.ask(to, "bench", question.clone()))
    }
}

/// Takes out where numbers stand, and what a rule says besides its number.
fn without_sources(topic: &str, found: &mut Value) {
    match found {
        Value::Object(fields) => {
            let cited = |name: &str| name.ends_with("source") && topic != "desense-causes";
            fields.retain(|name, _| !cited(name));
            if topic == "tolerance" {
                fields.remove("notes");
            }
            fields.values_mut().for_each(|inner| without_sources(topic, inner));
        }
        Value::Array(entries) => entries.iter_mut().for_each(|one| without_sources(topic, one)),
        _ => {}
    }
}

#[test]
fn every_example_is_answered_in_french_with_the_same_numbers() {
    let bench = Bench::open();
    let [listed, _] = bench.listed();
    let (mut said, mut asked) = (BTreeMap::new(), 0);
    for topic in listed["topics"].as_array().unwrap() {
        let name = topic["listed"]["name"].as_str().unwrap();
        let question = json!({ "topic": name, "with": topic["listed"]["example"] });
        let [english, french] = bench.both(&question).map(|found| {
            let mut found = found.unwrap_or_else(|refused| panic!("{name}: {refused}"));
            without_sources(name, &mut found);
            found
        });
        let of_cables: &[&str] = if name == "cables" { &["name"] } else { &[] };
        let worded = [&WORDED[..], of_cables].concat();
        walk_with(&worded, "", &english, &french, &mut said);
        asked += 1;
    }
    assert_eq!(asked, TOPICS.len());
    let sentences = told_in_french(&said);
    assert!(sentences > 25, "{sentences}");
    for part in [
        "limite non vérifiée",
        "à l’intérieur",
        "masque",
        "S’en remettre à une évaluation qualifiée",
        "téléphonie",
        "diélectrique mousse",
        "de la licence",
    ] {
        assert!(said.keys().any(|text| text.contains(part)), "nothing said {part:?}");
    }
}

/// Everything that is said in a schema.
fn said_in(schema: &Value, said: &mut Vec<String>) {
    match schema {
        Value::Object(fields) => {
            said.extend(fields.get("description").and_then(Value::as_str).map(str::to_owned));
            fields.values().for_each(|inner| said_in(inner, said));
        }
        Value::Array(entries) => entries.iter().for_each(|inner| said_in(inner, said)),
        _ => {}
    }
}

#[test]
fn titles_and_what_stands_at_fields_are_french_and_the_questions_are_the_same() {
    let bench = Bench::open();
    let [english, french] = bench.listed();
    let mut said = BTreeMap::new();
    for (one, two) in
        english["topics"].as_array().unwrap().iter().zip(french["topics"].as_array().unwrap())
    {
        assert_eq!(one["listed"]["example"], two["listed"]["example"]);
        for [one, two] in
            [[&one["listed"]["title"], &two["listed"]["title"]], [&one["answers"], &two["answers"]]]
        {
            let [one, two] = [one, two].map(|text| text.as_str().unwrap().to_owned());
            assert!(!two.is_empty() && one != two, "{one}");
            said.insert(two, one);
        }
    }
    let mut at_fields = Vec::new();
    said_in(&french["schema"], &mut at_fields);
    assert!(at_fields.len() > 200, "{}", at_fields.len());
    said.extend(at_fields.into_iter().map(|french| (french, String::new())));
    told_in_french(&said);
    assert_eq!(english["names"], json!({}), "English shows the names themselves");
    assert_eq!(french["names"]["return_loss"], "affaiblissement d’adaptation");
    assert_eq!(french["choices"]["outcome"]["conditional-pass"], "conforme sous réserve");
}

/// The quantities that the core refuses numbers of, by the texts in its code.
fn quantities(folder: &Path, found: &mut BTreeSet<String>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            quantities(&path, found);
            continue;
        }
        if path.file_name().unwrap().to_string_lossy().contains("tests") {
            continue;
        }
        let text = std::fs::read_to_string(&path).unwrap();
        let code = text.split("#[cfg(test)]").next().unwrap();
        for before in ["in_range(", "Loss::named(", "quantity: "] {
            let named =
                code.split(before).skip(1).filter_map(|rest| rest.trim_start().strip_prefix('"'));
            found.extend(named.filter_map(|rest| rest.split('"').next()).map(str::to_owned));
        }
    }
}

#[test]
fn every_quantity_a_number_is_refused_of_has_a_french_name() {
    let core = repository().join("shared-core/src");
    let mut found = BTreeSet::new();
    for room in ["bench", "limits", "rf", "uncertainty", "units"] {
        quantities(&core.join(room), &mut found);
    }
    assert!(found.len() > 80, "{}", found.len());
    let named = std::fs::read_to_string(core.join("units/french.rs")).unwrap();
    let lacks: Vec<&String> =
        found.iter().filter(|name| !named.contains(&format!("\"{name}\","))).collect();
    assert!(lacks.is_empty(), "no French for {lacks:#?}");
}

/// A topic, a wrong question of it, and what the refusal says in French.
type Wrong = (&'static str, Value, &'static str);

fn wrong_numbers() -> Vec<Wrong> {
    let level = |typed: &str, unit: &str| json!({ "typed": typed, "unit": unit });
    let repeats = json!({ "inputs": [{ "name": "a", "known": { "repeats": [1.0] } }] });
    let intercept = json!({
        "carrier_dbm": -30.0, "product_dbm": -90.0, "order": 9, "floor_dbm": -120.0,
    });
    let back = json!({ "known": { "return_loss_db": -1.0 } });
    vec![
        ("level", level("loud", "dBm"), "n’est pas un nombre"),
        ("level", level("900", "dBm"), "niveau de 900 dBm, hors de"),
        ("level", level("9", "Hz"), "n’est pas une unité de : niveau ou puissance"),
        ("mismatch", back, "affaiblissement d’adaptation de -1 dB"),
        ("sinad", json!({ "sinad_db": -5.0 }), "SINAD de -5 dB, hors de"),
        ("cascade", json!({ "stages": [] }), "nombre d’étages"),
        ("horizon", json!({ "one_m": -1.0, "other_m": 0.0 }), "hauteur d’antenne"),
        ("budget", repeats, "nombre de répétitions de 1 mesures"),
        ("intercept", intercept, "ordre du produit de 9"),
        ("carrier-null", json!({ "null": 9, "tone_hz": 1e3 }), "pas de zéro de porteuse 9"),
        ("dcs-code", json!({ "code": "9" }), "n’est pas un code de silencieux"),
        ("emission", json!({ "designator": "wide" }), "une désignation en a de 7 à 9"),
        ("emission", json!({ "designator": "16K0E3E" }), "modulation de la porteuse"),
    ]
}

fn wrong_together() -> Vec<Wrong> {
    let tolerance = |region: &str, rows: Option<&str>| {
        json!({
            "region": region, "carrier_hz": 155_000_000, "channel_hz": 12_500, "station": "base",
            "shop_rows_toml": rows,
        })
    };
    let emitter = json!({
        "name": "a", "frequency_hz": 155_000_000, "power_w": 10.0, "mode": "carrier",
        "keyed_share": 2.0, "loss_db": 1.0, "gain_dbi": 2.0, "reflection": "none",
        "distance_m": 5.0,
    });
    let exposed = |all: Value| json!({ "standard": "fcc", "tier": null, "transmitters": all });
    let line = json!({
        "frequency_hz": 155_000_000, "line": { "listed": { "cable": "x", "length_m": 1.0 } },
    });
    let trend = json!({ "visits": [], "confidence": 0.95, "repeat": 0.0 });
    let one = json!({ "transmit_hz": 1.5e8, "receive_hz": 1.5e8 });
    let fit = json!({ "unknowns": [], "observations": [] });
    let value = json!({ "value": 1.0, "standard_uncertainty": 0.1 });
    vec![
        ("conformity", value, "il faut une limite"),
        ("cavity", json!({ "loaded_q": 5.0 }), "attendu : `touchstone`, ou bien"),
        ("carrier-null", json!({ "null": 1 }), "il faut tone_hz ou deviation_hz"),
        ("tolerance", tolerance("mars", None), "aucune limite connue"),
        ("tolerance", tolerance("us", Some("[x")), "ligne 1 : dit en anglais"),
        ("exposure", exposed(json!([])), "0 émetteurs"),
        ("exposure", exposed(json!([emitter])), "part du temps en émission"),
        ("duplexer", one, "il faut deux fréquences"),
        ("feedline", line, "aucun câble de la liste"),
        ("trend", trend, "0 visites données"),
        ("fit", fit, "0 observations de 0 inconnues"),
    ]
}

fn wrong_files() -> Vec<Wrong> {
    let sweep = |text: &str| json!({ "touchstone": text, "frequencies_hz": [1.5e8] });
    let audio = |by: &str| json!({ "recording_base64": "AAAA", "channel": 1, "weighting": by });
    let iq = json!({ "meta": "{", "data_base64": "AAAA", "channel_hz": 1e4, "weighting": "flat" });
    let drift = json!({ "before_touchstone": "", "after_touchstone": "" });
    let low = "# MHz S DB R 50\n100 -1 0\n110 -1 0\n";
    vec![
        ("sweep", sweep("# MHz S DB R 50\n1 x 3\n"), "ligne 2 : un nombre attendu"),
        ("sweep", sweep("1 2 3\n"), "une ligne d’options attendue"),
        ("sweep", sweep(low), "il n’a pas 150 MHz"),
        ("drift", drift, "pas de données"),
        ("audio", audio("loud"), "aucune pondération"),
        ("audio", audio("flat"), "n’est pas un fichier WAV"),
        ("iq", iq, "ne sont pas du SigMF"),
    ]
}

#[test]
fn what_is_wrong_is_refused_in_french() {
    let bench = Bench::open();
    let mut said = BTreeMap::new();
    let wrong = [wrong_numbers(), wrong_together(), wrong_files()].concat();
    for (topic, with, part) in wrong {
        let question = json!({ "topic": topic, "with": with });
        let [english, french] = bench.both(&question).map(|found| match found {
            Ok(found) => panic!("{question} was answered: {found}"),
            Err(refused) => refused,
        });
        assert_eq!(english.code, french.code);
        assert!(french.what.contains(part), "{question:.300}: {}", french.what);
        assert_eq!(french.help, "corriger le nombre nommé et demander à nouveau");
        said.insert(french.what, english.what);
    }
    assert!(said.len() > 25);
    told_in_french(&said);
}
