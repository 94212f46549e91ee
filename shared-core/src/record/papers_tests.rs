//! Papers as several devices edit them: every field keeps what was written to it, and what two
//! people wrote apart is listed, the same everywhere.
//!
//! Method: named cases beside the rule they show; then random edits by up to four devices, merged
//! in random order and held against a model that knows nothing of automerge but who had seen what.

use std::collections::{BTreeMap, BTreeSet};

use automerge::{ActorId, Change};
use proptest::prelude::*;
use serde_json::json;

use super::super::papers_conflict::Conflict;
use super::super::plan::{LimitKind, LimitOf, LimitRule};
use super::super::schema_1;
use super::super::shop::{Calibrated, Calibration, CalibrationResult, Person, Shop};
use super::super::site::{Hazard, Site};
use super::super::{Document, DocumentId};
use super::*;
use crate::time::Timestamp;

fn id() -> DocumentId {
    DocumentId::from_bytes([7; 16])
}

fn author(person: &str, minute: i64) -> Author {
    Author {
        person: person.to_owned(),
        device: format!("{person}'s tablet"),
        at: Timestamp::from_unix_ms(1_780_000_000_000 + minute * 60_000).unwrap(),
    }
}

fn invented_shop() -> Shop {
    serde_json::from_str(include_str!("../../../demo-data/shop.json")).unwrap()
}

fn invented_site() -> Site {
    serde_json::from_str(include_str!("../../../demo-data/site.json")).unwrap()
}

fn shop() -> (Document, Change) {
    let actor = ActorId::from([1; 16]);
    Document::create_shop(id(), &invented_shop(), actor, &author("wren", 0)).unwrap()
}

fn copy(of: &Document, actor: u8) -> Document {
    Document::from_changes(id(), of.changes(), ActorId::from([actor; 16])).unwrap()
}

fn path(text: &str) -> Path {
    text.split('/').map(str::to_owned).collect()
}

fn field(at: &str, value: Json) -> ShopEdit {
    ShopEdit::SetField { path: path(at), value }
}

fn merge(one: &mut Document, other: &mut Document) {
    let (mine, theirs) = (one.changes(), other.changes());
    one.take(theirs).unwrap();
    other.take(mine).unwrap();
}

#[test]
fn every_list_is_there_from_the_first_change_on() {
    let (shop, _) = shop();
    let content = shop.paper_content().unwrap();
    shop.has_its_lists(&content).unwrap();
    let actor = ActorId::from([1; 16]);
    let (site, _) =
        Document::create_site(id(), &invented_site(), actor, &author("wren", 0)).unwrap();
    site.has_its_lists(&site.paper_content().unwrap()).unwrap();
}

#[test]
fn two_people_on_two_fields_of_one_instrument_both_keep_theirs() {
    let (mut ines, _) = shop();
    let mut tobias = copy(&ines, 2);
    let due = field("instruments/monitor-1/calibration_due", json!("2028-02-29"));
    ines.edit_shop(&due, &author("ines", 1)).unwrap();
    let serial = field("instruments/monitor-1/serial_number", json!("SN 4711"));
    tobias.edit_shop(&serial, &author("tobias", 2)).unwrap();
    merge(&mut ines, &mut tobias);
    let found = &ines.shop().unwrap().instruments["monitor-1"];
    assert_eq!(found.calibration_due, "2028-02-29");
    assert_eq!(found.serial_number.as_deref(), Some("SN 4711"));
    assert!(ines.conflicts().is_empty());
    assert_eq!(ines.shop().unwrap(), tobias.shop().unwrap());
}

#[test]
fn one_field_changed_apart_is_listed_with_who_and_when_until_somebody_chooses() {
    let (mut ines, _) = shop();
    let mut tobias = copy(&ines, 2);
    let at = "parts/cable-a/power_max_w";
    ines.edit_shop(&field(at, json!(150.0)), &author("ines", 1)).unwrap();
    tobias.edit_shop(&field(at, json!(100.0)), &author("tobias", 2)).unwrap();
    merge(&mut ines, &mut tobias);
    let conflicts = ines.conflicts();
    assert_eq!(conflicts, tobias.conflicts());
    let [Conflict { path: where_, claims }] = conflicts.as_slice() else { panic!("{conflicts:?}") };
    assert_eq!(*where_, path(at));
    let who = |value: f64| {
        let claim = claims.iter().find(|claim| claim.value == json!(value)).unwrap();
        claim.stamp.clone().unwrap()
    };
    assert_eq!(who(150.0), author("ines", 1).stamp());
    assert_eq!(who(100.0), author("tobias", 2).stamp());
    let shown: Vec<&Json> = claims.iter().filter(|c| c.shown).map(|c| &c.value).collect();
    assert_eq!(shown, [&json!(ines.shop().unwrap().parts["cable-a"].power_max_w)]);

    // Also the value that is shown already can be chosen, and counts as a choice.
    let lower = claims.iter().find(|claim| claim.value == json!(100.0)).unwrap();
    ines.choose(where_, &lower.id, &author("wren", 3)).unwrap();
    let higher = claims.iter().find(|claim| claim.value == json!(150.0)).unwrap();
    tobias.choose(where_, &higher.id, &author("tobias", 3)).unwrap();
    assert!(ines.conflicts().is_empty() && tobias.conflicts().is_empty());
    merge(&mut ines, &mut tobias);
    assert_eq!(ines.conflicts()[0].claims.len(), 2, "two choices made apart are a conflict again");
}

#[test]
fn an_entry_added_apart_under_one_id_is_listed_whole() {
    let (mut ines, _) = shop();
    let mut tobias = copy(&ines, 2);
    let person = |name: &str| Person {
        name: name.to_owned(),
        role: None,
        until: None,
        sites: None,
        retired: None,
    };
    let put = |name: &str| ShopEdit::PutPerson { id: "new".to_owned(), person: person(name) };
    ines.edit_shop(&put("Mina"), &author("ines", 1)).unwrap();
    tobias.edit_shop(&put("Minna"), &author("tobias", 2)).unwrap();
    merge(&mut ines, &mut tobias);
    let conflicts = ines.conflicts();
    assert_eq!(conflicts.len(), 1);
    let names: BTreeSet<&str> =
        conflicts[0].claims.iter().map(|c| c.value["name"].as_str().unwrap()).collect();
    assert_eq!(names, BTreeSet::from(["Mina", "Minna"]));
    let hidden = conflicts[0].claims.iter().find(|claim| !claim.shown).unwrap();
    ines.choose(&conflicts[0].path, &hidden.id, &author("wren", 3)).unwrap();
    assert_eq!(ines.shop().unwrap().people["new"].name, hidden.value["name"]);
    assert!(ines.conflicts().is_empty());
}

#[test]
fn a_wrong_edit_is_refused_with_its_place_and_leaves_everything() {
    let (mut shop, _) = shop();
    let before = shop.heads();
    let ines = author("ines", 1);
    let refused =
        |shop: &mut Document, edit: ShopEdit| shop.edit_shop(&edit, &ines).unwrap_err().to_string();
    let text = refused(&mut shop, field("parts/cable-a/power_max_w", json!("much")));
    assert!(text.starts_with("parts.cable-a.power_max_w cannot be that"), "{text}");
    let text = refused(&mut shop, field("parts/cable-a/tolerance_db", json!(-1)));
    assert!(text.starts_with("parts.cable-a.tolerance_db: -1 is outside"), "{text}");
    let text = refused(&mut shop, field("parts/cable-a/colour", json!("red")));
    assert!(text.contains("there is no \"parts.cable-a.colour\""), "{text}");
    let text = refused(&mut shop, field("instruments/monitor-1/calibration_due", json!("soon")));
    assert!(text.contains("no date as in 2027-03-31"), "{text}");
    let text = refused(&mut shop, field("written/parts.cable-a", json!({})));
    assert!(text.contains("there is no"), "{text}");
    let name = invented_shop().name;
    assert_eq!(shop.edit_shop(&field("name", json!(name)), &ines), Err(PaperRefused::NoChange));
    let mut fewer = invented_shop().instruments["monitor-1"].clone();
    fewer.ports.remove("gen");
    let put = ShopEdit::PutInstrument { id: "monitor-1".to_owned(), instrument: fewer.into() };
    assert!(matches!(shop.edit_shop(&put, &ines), Err(PaperRefused::Deletes { .. })));
    let access = SiteEdit::SetField { path: path("access"), value: json!("the gate") };
    assert!(matches!(shop.edit_site(&access, &ines), Err(PaperRefused::NotThat { .. })));
    assert_eq!(shop.heads(), before);
}

#[test]
fn a_number_may_come_as_it_is_typed() {
    let actor = ActorId::from([1; 16]);
    let (mut site, _) =
        Document::create_site(id(), &invented_site(), actor, &author("wren", 0)).unwrap();
    let repeater = site.site().unwrap().repeaters.keys().next().unwrap().clone();
    let at = |field: &str| vec!["repeaters".to_owned(), repeater.clone(), field.to_owned()];
    let mut set = |field: &str, text: &str| {
        let edit = SiteEdit::SetField { path: at(field), value: json!(text) };
        site.edit_site(&edit, &author("ines", 1))?;
        Ok::<_, PaperRefused>(site.site().unwrap().repeaters[&repeater].clone())
    };
    assert_eq!(set("transmit_hz", "158.7125 MHz").unwrap().transmit_hz, 158_712_500);
    assert_eq!(set("channel_width_hz", "6,25 kHz").unwrap().channel_width_hz, 6_250);
    assert_eq!(set("call_sign", "LRW 17").unwrap().call_sign.as_deref(), Some("LRW 17"));
    assert!(set("transmit_hz", "158.7").is_err(), "megahertz or hertz is not ours to guess");
}

#[test]
fn an_edit_is_taken_back_unless_something_was_built_on_it() {
    let (mut shop, _) = shop();
    let at = "parts/cable-a/power_max_w";
    let first = shop.edit_shop(&field(at, json!(150.0)), &author("ines", 1)).unwrap();
    let undone = shop.undo(&first.hash().to_string(), &author("ines", 2)).unwrap();
    let power_max_w = shop.shop().unwrap().parts["cable-a"].power_max_w;
    assert!((power_max_w - 200.0).abs() < 1e-9, "{power_max_w}");
    // What was taken back can be taken back.
    shop.undo(&undone.hash().to_string(), &author("ines", 3)).unwrap();
    let power_max_w = shop.shop().unwrap().parts["cable-a"].power_max_w;
    assert!((power_max_w - 150.0).abs() < 1e-9, "{power_max_w}");
    shop.edit_shop(&field(at, json!(120.0)), &author("tobias", 4)).unwrap();
    let refused = shop.undo(&first.hash().to_string(), &author("ines", 5)).unwrap_err();
    assert!(matches!(&refused, PaperRefused::BuiltOn { by, .. } if by.contains("tobias")));
    let made = shop.changes()[0].hash().to_string();
    assert!(matches!(shop.undo(&made, &author("ines", 6)), Err(PaperRefused::NotUndone { .. })));
    assert!(matches!(
        shop.undo("ffff", &author("ines", 6)),
        Err(PaperRefused::NoSuchChange { .. })
    ));
}

#[test]
fn an_addition_is_taken_back_by_no_longer_counting() {
    let actor = ActorId::from([1; 16]);
    let (mut site, _) =
        Document::create_site(id(), &invented_site(), actor, &author("wren", 0)).unwrap();
    let hazard = Hazard { text: "wasps in the vent".to_owned(), retired: None };
    let put = SiteEdit::PutHazard { id: "wasps".to_owned(), hazard };
    let change = site.edit_site(&put, &author("ines", 1)).unwrap();
    assert!(site.site().unwrap().all_hazards().contains(&"wasps in the vent".to_owned()));
    site.undo(&change.hash().to_string(), &author("ines", 2)).unwrap();
    assert!(!site.site().unwrap().all_hazards().contains(&"wasps in the vent".to_owned()));
    assert!(site.site().unwrap().hazard_entries["wasps"].retired.is_some(), "nothing is deleted");
}

fn calibrated(on: &str, next_due: &str, result: CalibrationResult) -> ShopEdit {
    ShopEdit::RecordCalibration {
        id: format!("on-{on}"),
        calibration: Calibration {
            of: Calibrated::Instrument,
            item: "monitor-2".to_owned(),
            on: on.to_owned(),
            by: "an invented laboratory".to_owned(),
            certificate: Some("C 17".to_owned()),
            result,
            next_due: next_due.to_owned(),
            before: None,
            retired: None,
        },
    }
}

#[test]
fn the_newest_calibration_sets_the_due_date_in_the_same_change() {
    let (mut shop, _) = shop();
    let due =
        |shop: &Document| shop.shop().unwrap().instruments["monitor-2"].calibration_due.clone();
    let within = CalibrationResult::Within;
    let first = shop
        .edit_shop(&calibrated("2026-06-01", "2027-06-30", within), &author("ines", 1))
        .unwrap();
    assert_eq!(due(&shop), "2027-06-30");
    // An older one that is entered late is history only.
    shop.edit_shop(&calibrated("2025-06-01", "2026-06-30", within), &author("ines", 2)).unwrap();
    assert_eq!(due(&shop), "2027-06-30");
    shop.undo(&first.hash().to_string(), &author("ines", 3)).unwrap();
    assert_eq!(due(&shop), invented_shop().instruments["monitor-2"].calibration_due);
    let before = |shop: &Document, id: &str| shop.shop().unwrap().calibrations[id].before.clone();
    assert_eq!(before(&shop, "on-2025-06-01"), None, "it was not the newest when it was entered");
    // What was found outside is out of calibration from that day on.
    let outside = CalibrationResult::Outside;
    shop.edit_shop(&calibrated("2026-07-01", "2027-07-31", outside), &author("ines", 4)).unwrap();
    assert_eq!(due(&shop), "2026-07-01");
}

#[test]
fn two_sound_edits_that_together_make_no_sense_are_taken_and_named() {
    let (mut ines, _) = shop();
    let mut tobias = copy(&ines, 2);
    let short = json!({ "power_w": 300.0, "seconds": 30.0 });
    ines.edit_shop(&field("parts/cable-a/short_time", short), &author("ines", 1)).unwrap();
    let more = field("parts/cable-a/power_max_w", json!(400.0));
    tobias.edit_shop(&more, &author("tobias", 1)).unwrap();
    merge(&mut ines, &mut tobias);
    let problems = validate::shop(ines.shop().unwrap());
    assert_eq!(problems[0].at, "parts.cable-a.short_time.power_w");
    // It keeps nobody from mending something else.
    let other = field("parts/cable-b/tolerance_db", json!(0.2));
    ines.edit_shop(&other, &author("ines", 2)).unwrap();
}

#[test]
fn the_steps_tell_who_set_what_from_what() {
    let (mut shop, _) = shop();
    let edit = field("parts/cable-a/tolerance_db", json!(0.25));
    shop.edit_shop(&edit, &author("ines", 1)).unwrap();
    let steps = shop.paper_steps(10);
    assert_eq!(steps.len(), 2);
    assert_eq!(steps[0].stamp, Some(author("ines", 1).stamp()));
    assert_eq!(steps[0].moved[0].path, path("parts/cable-a/tolerance_db"));
    let (before, after) = (steps[0].moved[0].before.clone(), steps[0].moved[0].after.clone());
    assert_eq!((before, after), (Some(json!(0.1)), Some(json!(0.25))));
    assert_eq!(steps[1].stamp, Some(author("wren", 0).stamp()));
    assert_eq!(steps[1].intent, "create");
}

#[test]
fn an_older_shop_is_raised_then_edited_apart_and_hides_nothing() {
    let (mut ines, mut tobias) =
        (schema_1::open(schema_1::SHOP, 1), schema_1::open(schema_1::SHOP, 2));
    let off = |id: &str| field(&format!("checks_off/{id}"), json!(true));
    let early = ines.edit_shop(&off("desense.antenna"), &author("ines", 1));
    assert!(matches!(early, Err(PaperRefused::Older { .. })), "{early:?}");
    let raised = ines.raise().unwrap().remove(0);
    tobias.raise().unwrap();
    ines.edit_shop(&off("desense.antenna"), &author("ines", 1)).unwrap();
    tobias.edit_shop(&off("desense.padded"), &author("tobias", 1)).unwrap();
    merge(&mut ines, &mut tobias);
    assert_eq!(ines.shop().unwrap().checks_off.len(), 2);
    assert!(ines.conflicts().is_empty());
    // Raising is nobody's change and sets no field: there is nothing to take back.
    let steps = ines.paper_steps(10);
    let step = steps.iter().find(|step| step.change == raised.hash().to_string()).unwrap();
    assert!(step.stamp.is_none() && step.moved.is_empty(), "{step:?}");
    let undone = ines.undo(&step.change, &author("ines", 2));
    assert!(matches!(undone, Err(PaperRefused::NotUndone { .. })), "{undone:?}");
}

/// The fields of the random edits, each with what may be written into it.
fn fields() -> Vec<(Path, Vec<Json>)> {
    let limit = |value: f64| {
        serde_json::to_value(LimitRule {
            kind: LimitKind::AtMost,
            of: LimitOf::Fixed,
            value: Some(value),
            allow: 0.0,
            allow_below: 0.0,
            allow_above: 0.0,
            source: "invented".to_owned(),
            verified: true,
        })
        .unwrap()
    };
    let short = |seconds: f64| json!({ "power_w": 900.0, "seconds": seconds });
    let losses = |db: f64| json!([{ "at_hz": 150_000_000, "loss_db": db }]);
    vec![
        (path("name"), vec![json!("A"), json!("B"), json!("C")]),
        (path("parts/cable-a/tolerance_db"), vec![json!(0.1), json!(0.2), json!(0.3)]),
        (path("parts/cable-a/short_time"), vec![json!(null), short(10.0), short(20.0)]),
        (path("parts/cable-a/loss"), vec![losses(0.3), losses(0.4), losses(0.5)]),
        (path("people/ines/role"), vec![json!(null), json!("technician"), json!("planner")]),
        (path("check_limits/desense"), vec![json!(null), limit(1.0), limit(2.0)]),
        (path("checks_off/desense"), vec![json!(true), json!(false), json!(true)]),
    ]
}

/// What one device does in the random run.
#[derive(Clone, Debug)]
enum Act {
    Write { field: usize, value: usize },
    Choose { nth: usize, claim: usize },
    Hear { from: usize },
}

fn act() -> impl Strategy<Value = (usize, Act)> {
    let act = prop_oneof![
        5 => (0..7usize, 0..3usize).prop_map(|(field, value)| Act::Write { field, value }),
        1 => (0..5usize, 0..4usize).prop_map(|(nth, claim)| Act::Choose { nth, claim }),
        3 => (0..4usize).prop_map(|from| Act::Hear { from }),
    ];
    (0..4usize, act)
}

/// A value as the model knows it: what was written, in which change.
struct Written {
    path: Path,
    value: Json,
    change: ChangeHash,
}

/// The values of each field that no later write had seen, where they differ.
fn expected(
    writes: &[Written],
    saw: &BTreeMap<ChangeHash, BTreeSet<ChangeHash>>,
) -> BTreeMap<Path, BTreeSet<String>> {
    let mut fields: BTreeMap<Path, BTreeSet<String>> = BTreeMap::new();
    for write in writes {
        let replaced = writes
            .iter()
            .any(|later| later.path == write.path && saw[&later.change].contains(&write.change));
        if !replaced {
            fields.entry(write.path.clone()).or_default().insert(write.value.to_string());
        }
    }
    fields.retain(|_, values| values.len() > 1);
    fields
}

fn listed(document: &Document) -> BTreeMap<Path, BTreeSet<String>> {
    let found = document.conflicts().into_iter();
    found
        .map(|conflict| {
            let values = conflict.claims.into_iter().map(|claim| claim.value.to_string());
            (conflict.path, values.collect())
        })
        .collect()
}

fn run(devices: usize, acts: &[(usize, Act)], order: u64) {
    let (first, made) = shop();
    let mut crew: Vec<Document> = (0..devices).map(|n| copy(&first, 10 + n as u8)).collect();
    let fields = fields();
    // What stands in the paper from its first change on counts as written by it.
    let start = as_tree(first.shop().unwrap());
    let mut writes: Vec<Written> = fields
        .iter()
        .filter_map(|(path, _)| {
            let value = at(&start, path)?.clone();
            Some(Written { path: path.clone(), value, change: made.hash() })
        })
        .collect();
    let mut saw = BTreeMap::from([(made.hash(), BTreeSet::new())]);
    for (minute, (device, act)) in acts.iter().enumerate() {
        let device = device % devices;
        let author = author(["ines", "tobias", "wren", "mina"][device], minute as i64);
        let seen: BTreeSet<ChangeHash> = crew[device].changes().iter().map(Change::hash).collect();
        let (path, value, done) = match act {
            Act::Hear { from } => {
                let theirs = crew[from % devices].changes();
                crew[device].take(theirs).unwrap();
                continue;
            }
            Act::Write { field, value } => {
                let (path, values) = &fields[*field];
                let (path, value) = (path.clone(), values[*value].clone());
                let edit = ShopEdit::SetField { path: path.clone(), value: value.clone() };
                (path, value, crew[device].edit_shop(&edit, &author))
            }
            Act::Choose { nth, claim } => {
                let conflicts = crew[device].conflicts();
                let Some(conflict) = conflicts.get(*nth) else { continue };
                let claim = &conflict.claims[claim % conflict.claims.len()];
                let done = crew[device].choose(&conflict.path, &claim.id, &author);
                (conflict.path.clone(), claim.value.clone(), done)
            }
        };
        match done {
            Ok(change) => {
                saw.insert(change.hash(), seen);
                writes.push(Written { path, value, change: change.hash() });
            }
            Err(PaperRefused::NoChange) => {}
            Err(other) => panic!("{other}"),
        }
    }
    // Everybody hears everybody, each in another order.
    let all: Vec<Vec<Change>> = crew.iter().map(Document::changes).collect();
    for (index, document) in crew.iter_mut().enumerate() {
        for step in 0..devices {
            let from = (step * (1 + order as usize % 2) + index + order as usize) % devices;
            document.take(all[from].clone()).unwrap();
        }
        all.iter().for_each(|changes| document.take(changes.clone()).unwrap());
    }
    let wanted = expected(&writes, &saw);
    for document in &crew {
        assert_eq!(document.heads(), crew[0].heads());
        assert_eq!(document.conflicts(), crew[0].conflicts());
        assert_eq!(document.shop().unwrap(), crew[0].shop().unwrap());
        assert_eq!(listed(document), wanted);
    }
}

/// How many random runs: `GUYLINE_PAPERS`, or as many as take a few seconds.
fn runs() -> u32 {
    std::env::var("GUYLINE_PAPERS").ok().and_then(|text| text.parse().ok()).unwrap_or(60)
}

proptest! {
    #![proptest_config(ProptestConfig {
        failure_persistence: None,
        ..ProptestConfig::with_cases(runs())
    })]

    #[test]
    fn what_was_written_apart_is_listed_the_same_everywhere_and_whole(
        devices in 2..5usize,
        acts in prop::collection::vec(act(), 0..40),
        order in 0..8u64,
    ) {
        run(devices, &acts, order);
    }
}
