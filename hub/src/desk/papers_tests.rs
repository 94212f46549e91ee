//! The papers' commands as a screen calls them.

use automerge::ActorId;
use guyline_core::record::{Document, DocumentId, Site};
use serde_json::json;

use super::super::papers_pages::AskSite;
use super::super::papers_site;
use super::*;

const SHOP: [u8; 16] = [3; 16];
const SITE: [u8; 16] = [4; 16];

/// A node with the invented shop and site, held by Ines.
fn node() -> (tempfile::TempDir, Node) {
    let dir = tempfile::tempdir().unwrap();
    let node = Node::open(dir.path()).unwrap();
    node.set_person("ines").unwrap();
    let shop: Shop = serde_json::from_str(include_str!("../../../demo-data/shop.json")).unwrap();
    let site: Site = serde_json::from_str(include_str!("../../../demo-data/site.json")).unwrap();
    let author = author(&node).unwrap();
    let (document, change) =
        Document::create_shop(DocumentId::from_bytes(SHOP), &shop, ActorId::random(), &author)
            .unwrap();
    node.create(document, change).unwrap();
    let (document, change) =
        Document::create_site(DocumentId::from_bytes(SITE), &site, ActorId::random(), &author)
            .unwrap();
    node.create(document, change).unwrap();
    (dir, node)
}

fn page(node: &Node) -> PapersPage {
    show(&Asker::in_english(node), Nothing {}).unwrap()
}

fn set(node: &Node, id: [u8; 16], path: &str, value: Value) -> Result<Recorded, Refusal> {
    let document = DocumentId::from_bytes(id).to_string();
    let path = path.split('/').map(str::to_owned).collect();
    set_field(node, SetField { document, path, value })
}

#[test]
fn a_field_is_set_told_and_taken_back() {
    let (_dir, node) = node();
    let done = set(&node, SHOP, "parts/cable-a/tolerance_db", json!("0,25")).unwrap();
    let told = page(&node);
    assert_eq!(told.steps[0].words, "cable A, tolerance: 0.1 → 0.25 dB");
    assert_eq!(told.steps[0].step.stamp.as_ref().unwrap().by, "ines");
    undo(&node, UndoChange { document: told.id.clone(), change: done.change }).unwrap();
    assert_eq!(page(&node).steps[0].words, "took back: cable A, tolerance: 0.25 → 0.1 dB");
    let refused = set(&node, SHOP, "parts/cable-a/power_max_w", json!("-1")).unwrap_err();
    assert_eq!(refused.at.as_deref(), Some("parts.cable-a.power_max_w"));
}

#[test]
fn a_calibration_moves_the_due_date_and_stays_in_the_history() {
    let (_dir, node) = node();
    let asked = EnterCalibration {
        of: guyline_core::record::shop::Calibrated::Part,
        item: "cable-a".to_owned(),
        on: "2030-01-10".to_owned(),
        by: "the shop".to_owned(),
        certificate: None,
        result: guyline_core::record::shop::CalibrationResult::Within,
        next_due: "2031-01-31".to_owned(),
    };
    record_calibration(&node, asked.clone()).unwrap();
    let told = page(&node);
    assert_eq!(told.due["parts.cable-a"].on, "2031-01-31");
    assert!(told.due["parts.cable-a"].days > 0);
    assert_eq!(told.shop.calibrations.len(), 1);
    assert_eq!(
        told.steps[0].words,
        "added calibration of cable A; cable A, calibration due: 2027-03-31 → 2031-01-31"
    );
    let early = EnterCalibration { next_due: "2029-01-01".to_owned(), ..asked };
    let refused = record_calibration(&node, early).unwrap_err();
    assert!(refused.what.contains("lies before 2030-01-10"), "{refused}");
}

#[test]
fn an_entry_is_added_with_its_numbers_as_typed_and_retired() {
    let (_dir, node) = node();
    let document = DocumentId::from_bytes(SITE).to_string();
    let entry = json!({ "name": "tenant", "frequency_hz": "155.1 MHz", "power_w": "",
                        "antenna": null });
    let put = PutEntry { document: document.clone(), list: "co_sited".to_owned(), entry };
    put_entry(&node, put).unwrap();
    let site = papers_site::show(&node, AskSite { site: document.clone() }).unwrap();
    let (id, tenant) = site.site.co_sited.first_key_value().unwrap();
    assert_eq!((tenant.frequency_hz, tenant.power_w), (155_100_000, None));
    assert_eq!(site.intermod.question.transmitters.len(), 2);
    assert!(site.intermod.answer.is_some(), "{:?}", site.intermod.refused);
    let asked = RetireEntry {
        document: document.clone(),
        list: "co_sited".to_owned(),
        entry: id.clone(),
        retired: true,
    };
    retire(&node, asked).unwrap();
    let site = papers_site::show(&node, AskSite { site: document.clone() }).unwrap();
    assert_eq!(site.intermod.question.transmitters.len(), 1);
    let wrong = PutEntry {
        document,
        list: "co_sited".to_owned(),
        entry: json!({ "name": "x", "frequency_hz": "low", "power_w": null, "antenna": null }),
    };
    assert_eq!(put_entry(&node, wrong).unwrap_err().at.as_deref(), Some("frequency_hz"));
}

#[test]
fn the_plan_goes_out_and_in_and_a_change_that_breaks_it_is_refused() {
    let (_dir, node) = node();
    let text = plan_text(&node, Nothing {}).unwrap().text;
    assert!(text.contains("transmitter.power"));
    let own = text + "off = [\"transmitter.deviation\"]\n";
    // The text out already says what is off, so a second `off` is refused where it stands.
    let taken = take_plan(&node, PlanText { text: own }).unwrap();
    assert_eq!(taken.change, None);
    let taken =
        take_plan(&node, PlanText { text: "off = [\"transmitter.deviation\"]\n".to_owned() })
            .unwrap();
    assert!(taken.change.is_some(), "{taken:?}");
    let told = page(&node);
    assert!(told.plan.iter().any(|line| line.off && line.check.id == "transmitter.deviation"));
    let refused = set(&node, SHOP, "checks_off/transmitter.power", json!(true)).unwrap_err();
    assert!(refused.what.contains("leans on it"), "{refused}");
    assert!(!page(&node).shop.checks_off.contains_key("transmitter.power"));
}
