//! A French paper and a French screen say in French what the core says, and say the same.
//!
//! Goal: no sentence of the core's stays English on a French report or on the Session screen,
//! whatever a visit holds, and the language changes no number and no verdict. Method: seeded
//! visits with a slip or a fault (`slips.rs`), some of them with an ended calibration or a
//! licence; each is judged, and reported, in both languages, and the two are walked together
//! (`guyline_tests::both_languages`).

use std::collections::BTreeMap;

use guyline_core::checks::{Cautions, Rules, Sheet};
use guyline_core::report::{Language, VisitReport, visit_report};
use guyline_tests::both_languages::{told_in_french, walk};
use serde_json::json;

use crate::slips::spoiled;

const VISITS: u64 = 240;

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

#[test]
fn what_the_core_says_on_a_french_screen_is_french_and_the_same() {
    let mut said = BTreeMap::new();
    for seed in 0..VISITS {
        let sheet = sheet(seed);
        let [english, french] = [Language::English, Language::French].map(|language| {
            let rules = Rules::of(&sheet.shop, &sheet.session).in_language(language);
            serde_json::to_value(rules.appraise(&sheet).unwrap()).unwrap()
        });
        walk("", &english, &french, &mut said);
    }
    let sentences = told_in_french(&said);
    assert!(sentences > 1_000, "{sentences}");
    for part in [
        "environ",
        "moins la perte assignée du duplexeur",
        "limite : ",
        "avec une probabilité de",
        "dBm au générateur",
        "dBm au wattmètre",
        "répétabilité, ouvre",
        "y arrivent, prévu pour",
        "Débrancher le récepteur",
    ] {
        assert!(said.keys().any(|text| text.contains(part)), "nothing said {part:?}");
    }
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
    let sentences = told_in_french(&said);
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
