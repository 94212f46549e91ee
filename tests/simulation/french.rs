//! A French paper says in French what the core says, and says the same.
//!
//! Goal: no sentence of the core's stays English on a French report, whatever a visit holds, and
//! the language changes no number and no verdict. Method: seeded visits with a slip or a fault
//! (`slips.rs`), some of them with an ended calibration or a licence; each is judged and reported
//! in both languages and the two reports are walked together, leaf by leaf. Numbers, outcomes and
//! what people typed must be equal; a sentence must differ, and hold none of the small words that
//! no English sentence does without.

use std::collections::BTreeMap;

use guyline_core::checks::{Cautions, Rules, Sheet};
use guyline_core::report::{Language, VisitReport, visit_report};
use serde_json::{Value, json};

use crate::slips::spoiled;

const VISITS: u64 = 240;

/// Words of English sentences that are none of French ones, nor of a name in these visits.
const ENGLISH: [&str; 26] = [
    "the", "and", "is", "are", "was", "were", "of", "not", "with", "to", "at", "reading",
    "readings", "outside", "inside", "limit", "than", "from", "which", "would", "behind", "keyed",
    "path", "loss", "port.", "nothing",
];

/// Fields that the core words. Every other text must be the same in both languages.
const WORDED: [&str; 17] = [
    "title", "reason", "what", "evidence", "next", "limit", "margin", "source", "plane", "help",
    "judged", "words", "subject", "deferral", "text", "label", "element",
];

fn told(sheet: &Sheet, language: Language) -> VisitReport {
    let rules = Rules::of(&sheet.shop, &sheet.session).in_language(language);
    let appraisal = rules.appraise(sheet).unwrap();
    visit_report(sheet, &appraisal, &rules.cautions, language)
}

/// A visit with more to say than readings: what `seed` chooses.
fn sheet(seed: u64) -> Sheet {
    let mut sheet = spoiled(seed).sheet();
    let mut shop = serde_json::to_value(&sheet.shop).unwrap();
    if seed.is_multiple_of(3) {
        for instrument in shop["instruments"].as_object_mut().unwrap().values_mut() {
            instrument["calibration_due"] = json!("2020-01-01");
        }
        let policy = if seed.is_multiple_of(6) { "widen" } else { "withhold" };
        shop["calibration_policy"] = json!(policy);
    }
    if seed.is_multiple_of(5) {
        shop["decision_rule"] = json!("simple-acceptance");
    }
    sheet.shop = serde_json::from_value(shop).unwrap();
    let stamp = sheet.session.opened.clone();
    for caution in &Cautions::standard().all {
        let read = json!({ "caution": caution.id, "stamp": stamp });
        let read = serde_json::from_value(read).unwrap();
        sheet.session.acknowledgements.insert(caution.id.clone(), read);
    }
    if seed.is_multiple_of(4) {
        let repeater = sheet.site.repeaters.get_mut("r").unwrap();
        let terms = json!({
            "transmit_hz": repeater.transmit_hz, "output_w": 1.0, "source": "WZ 00, invented",
        });
        repeater.licence = Some(serde_json::from_value(terms).unwrap());
    }
    sheet
}

/// Walks two reports together. `at` is the name of the field.
fn walk(at: &str, english: &Value, french: &Value, said: &mut BTreeMap<String, String>) {
    match (english, french) {
        (Value::Object(one), Value::Object(two)) => {
            assert_eq!(one.keys().collect::<Vec<_>>(), two.keys().collect::<Vec<_>>(), "{at}");
            one.iter().for_each(|(name, value)| walk(name, value, &two[name], said));
        }
        (Value::Array(one), Value::Array(two)) => {
            assert_eq!(one.len(), two.len(), "{at}: {one:?} / {two:?}");
            one.iter().zip(two).for_each(|(one, two)| walk(at, one, two, said));
        }
        (Value::String(one), Value::String(two)) if WORDED.contains(&at) => {
            said.insert(two.clone(), one.clone());
        }
        // Where a stop bites is what a part is called, or a port the core names.
        (Value::String(_), Value::String(_)) if at == "at" => {}
        (one, two) => assert_eq!(one, two, "{at}"),
    }
}

/// The words of a text that are English, besides the citation of a rule and its date: that stays as
/// its publisher wrote it.
fn english_in(text: &str) -> Option<&'static str> {
    let cited = text.find("47 CFR").zip(text.find(", text of "));
    let cited = cited.map(|(from, to)| text.replace(&text[from..to + ", text of ".len()], ""));
    let text = cited.as_deref().unwrap_or(text);
    let mut words = text.split(|c: char| !(c.is_alphanumeric() || c == '.' || c == '’'));
    words.find_map(|word| ENGLISH.into_iter().find(|english| word.eq_ignore_ascii_case(english)))
}

#[test]
fn what_the_core_says_on_a_french_paper_is_french_and_the_same() {
    let mut said = BTreeMap::new();
    for seed in 0..VISITS {
        let sheet = sheet(seed);
        let [english, french] = [Language::English, Language::French]
            .map(|language| serde_json::to_value(told(&sheet, language)).unwrap());
        walk("", &english, &french, &mut said);
    }
    let mut sentences = 0;
    for (french, english) in &said {
        if let Some(word) = english_in(french) {
            panic!("{word:?} in {french:?}\nEnglish: {english:?}");
        }
        if english_in(english).is_some() {
            sentences += 1;
            assert_ne!(french, english);
        }
    }
    println!("{} texts, {sentences} of them sentences", said.len());
    assert!(sentences > 1_000, "{sentences}");
    // The kinds of things that are told were all met.
    for part in [
        "Ce qui assourdit",
        "retenu :",
        "son incertitude compte",
        "La licence ne permet pas",
        "Des mesures ne concordent pas",
        "Le trajet de réception perd",
        "acceptation simple",
        "Ne jamais émettre dans le vide",
        "Les codes locaux",
        "moins que l’incertitude",
        "étalonné quand il a servi",
    ] {
        assert!(said.keys().any(|text| text.contains(part)), "nothing said {part:?}");
    }
}
