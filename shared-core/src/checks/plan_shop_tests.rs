//! A shop's own plan: what it may change, what it may not, and where a text that does is wrong.

use super::super::plan_file::{read, write};
use super::*;
use crate::checks::plan::Stage;
use crate::record::{PlanChanges, Session};

fn invented_shop() -> Shop {
    serde_json::from_str(include_str!("../../../demo-data/shop.json")).unwrap()
}

fn session() -> Session {
    serde_json::from_str(
        r#"{ "site": "01ARZ3NDEKTSV4RRFFQ69G5FAV", "repeater": "r", "work_order": "WO 1",
             "opened": { "by": "wren", "device": "office", "at": "2026-05-14T08:00:00Z" } }"#,
    )
    .unwrap()
}

/// A plan with something of every kind.
const OWN: &str = r#"
off = ["transmitter.deviation"]

[limit."transmitter.power"]
kind = "around"
of = "rated-power"
allow_below = 0.5
allow_above = 0.5
source = "the shop's agreement with its customers"

[[check]]
id = "duplexer.transmit-loss-again"
title = "Transmit loss, once more when warm"
stage = "duplexer"
plane = "antenna-port"
through = "direct"
reads = "power"
judges = "agreement"
from = "duplexer.transmit-loss"
criterion = "carrier, unmodulated"
keyed = true
repeat = 0.05
instruction = "Key for ten minutes into the load, read again."
cautions = ["load-in-place", "rf-burns", "tell-control-point", "hot-load"]
limit = { kind = "within", of = "fixed", value = 0.3, source = "common practice, no source" }

[[caution]]
id = "hot-load"
stage = "duplexer"
keyed = true
title = "The load is hot"
text = "After ten minutes the load burns skin. Let it cool before taking it down."
"#;

fn planned(text: &str) -> Shop {
    let mut shop = invented_shop();
    read(&shop, text).unwrap_or_else(|wrong| panic!("{wrong:?}")).put(&mut shop);
    shop
}

#[test]
fn a_plan_goes_out_and_comes_in_as_the_same() {
    let shop = planned(OWN);
    assert_eq!(planned(&write(&shop)), shop);
    let bare = invented_shop();
    assert_eq!(read(&bare, &write(&bare)).unwrap(), PlanChanges::default());
    assert_eq!(read(&bare, "").unwrap(), PlanChanges::default());
}

#[test]
fn the_shops_plan_judges() {
    let shop = planned(OWN);
    let rules = Rules::of(&shop, &session());
    assert_eq!(rules.doubt, None);
    assert!(rules.plan.find("transmitter.deviation").is_none());
    let power = rules.plan.find("transmitter.power").unwrap();
    assert!((power.limit.allow_below - 0.5).abs() < 1e-12);
    assert_eq!(power.limit.source, "the shop's own: the shop's agreement with its customers");
    let place = |id: &str| rules.plan.checks.iter().position(|check| check.id == id).unwrap();
    assert!(place("duplexer.transmit-loss") < place("duplexer.transmit-loss-again"));
    assert!(place("duplexer.transmit-loss-again") < place("desense.direct"));
    // The shop's caution also goes before the shipped keyed check of its stage.
    let check = rules.plan.find("duplexer.transmit-loss").unwrap();
    let before: Vec<&str> = rules.cautions.before(check).map(|c| c.id.as_str()).collect();
    assert!(before.contains(&"hot-load") && before.contains(&"site-hazards"), "{before:?}");
}

#[test]
fn no_plan_takes_a_shipped_caution_away() {
    for shop in [invented_shop(), planned(OWN)] {
        let rules = Rules::of(&shop, &session());
        let shipped = Cautions::standard();
        for caution in &shipped.all {
            assert_eq!(rules.cautions.find(&caution.id), Some(caution));
        }
        assert_eq!(rules.cautions.deferral, shipped.deferral);
        for check in &rules.plan.checks {
            let Some(standard) = Plan::standard().find(&check.id) else { continue };
            assert_eq!(check.keyed, standard.keyed);
            let missing = standard.cautions.iter().find(|id| !check.cautions.contains(id));
            assert_eq!(missing, None, "{}", check.id);
        }
    }
}

#[test]
fn a_check_that_is_off_stays_where_it_was_read() {
    let shop = planned(OWN);
    let mut session = session();
    let reading = r#"{ "check": "transmitter.deviation", "chain": "c", "plane": "transmitter-port",
        "criterion": "x", "instrument": "monitor-1", "typed": "2300", "unit": "Hz",
        "phase": "as-found",
        "stamp": { "by": "ines", "device": "tablet", "at": "2026-05-14T10:00:00Z" } }"#;
    session.readings.insert("r1".to_owned(), serde_json::from_str(reading).unwrap());
    let rules = Rules::of(&shop, &session);
    assert!(rules.plan.find("transmitter.deviation").is_some_and(|check| check.optional));
}

#[test]
fn every_check_can_be_off_with_what_leans_on_it() {
    for check in &Plan::standard().checks {
        let mut shop = invented_shop();
        let mut off = BTreeSet::from([check.id.clone()]);
        for other in &Plan::standard().checks {
            if other.from.as_ref().is_some_and(|from| off.contains(from)) {
                off.insert(other.id.clone());
            }
        }
        shop.checks_off = off.iter().map(|id| (id.clone(), true)).collect();
        let rules = Rules::of(&shop, &session());
        assert_eq!(rules.doubt, None);
        assert_eq!(rules.plan.checks.len(), Plan::standard().checks.len() - off.len());
    }
}

/// The first thing wrong with the plan once `from` is replaced, and the line it must stand in.
fn refused(from: &str, to: &str, line_with: &str) -> String {
    assert!(OWN.contains(from), "{from}");
    let text = OWN.replacen(from, to, 1);
    let wrong = read(&invented_shop(), &text).unwrap_err();
    let line = 1 + text.lines().position(|line| line.contains(line_with)).unwrap();
    assert_eq!(wrong[0].line, line, "{wrong:?}");
    wrong[0].to_string()
}

#[test]
fn a_wrong_plan_is_refused_with_line_column_and_what_would_be_right() {
    let text = refused("from = \"duplexer.transmit-loss\"", "from = \"colour\"", "\"colour\"");
    assert!(text.contains(":8: ") && text.contains("leans on colour"), "{text}");
    let text = refused("from = \"duplexer.transmit-loss\"", "from = \"desense.direct\"", "from = ");
    assert!(text.contains("reads something else"), "{text}");
    let text = refused("off = [\"transmitter.deviation\"]", "off = [\"transmitter.power\"]", "off");
    assert!(text.contains("duplexer.transmit-loss leans on it"), "{text}");
    let text = refused("off = [\"transmitter.deviation\"]", "off = [\"colour\"]", "off");
    assert!(text.contains("these are: receiver.opening"), "{text}");
    let text = refused(", source = \"common practice, no source\"", "", "limit = {");
    assert!(text.contains("missing field `source`"), "{text}");
    let text = refused(
        "source = \"the shop's agreement with its customers\"",
        "source = \"\"",
        "source = \"\"",
    );
    assert!(text.contains("is empty"), "{text}");
    let text = refused("value = 0.3, ", "", "limit = {");
    assert!(text.contains("a fixed limit wants `value`"), "{text}");
    let text = refused("of = \"rated-power\"", "of = \"rated-opening-level\"", "of = ");
    assert!(text.contains("`rated-power` or `fixed`"), "{text}");
    let text = refused("keyed = true\nrepeat", "keyed = false\nrepeat", "keyed = false");
    assert!(text.contains("`keyed = true` is right"), "{text}");
    let text = refused("\"load-in-place\", ", "", "cautions = ");
    assert!(text.contains("goes with load-in-place"), "{text}");
    let text = refused("id = \"hot-load\"", "id = \"rf-burns\"", "cautions = ");
    assert!(text.contains("hot-load is no caution"), "{text}");
    let text = refused("burns skin", "is safe to touch", "safe to touch");
    assert!(text.contains("clears a hazard"), "{text}");
    let text = refused("kind = \"around\"", "kind = \"about\"", "about");
    assert!(text.contains("around"), "{text}");
    let text = refused("off = [", "off = [\"a\" ", "off");
    assert!(text.contains("missing comma"), "{text}");
}

#[test]
fn of_several_added_checks_the_wrong_one_is_pointed_at() {
    let (start, end) = (OWN.find("[[check]]").unwrap(), OWN.find("[[caution]]").unwrap());
    let leaning = |index: usize, from: &str| {
        // One id begins like another.
        let id = format!("again{}\"", "-and".repeat(index));
        OWN[start..end].replacen("again\"", &id, 1).replacen("duplexer.transmit-loss\"", from, 1)
    };
    for wrong in 0..3 {
        let checks = (0..3).map(|index| {
            leaning(index, if index == wrong { "colour\"" } else { "duplexer.transmit-loss\"" })
        });
        let text = format!("{}\n{}", &OWN[end..], checks.collect::<String>());
        let told = read(&invented_shop(), &text).unwrap_err();
        let line = 1 + text.lines().position(|line| line.contains("colour")).unwrap();
        assert_eq!((told.len(), told[0].line), (1, line), "{told:?}");
    }
}

#[test]
fn a_caution_cannot_take_a_shipped_ones_id() {
    let text = "[[caution]]\nid = \"rf-burns\"\nstage = \"transmitter\"\nkeyed = false\n\
                title = \"Burns\"\ntext = \"Never mind.\"\n";
    let wrong = read(&invented_shop(), text).unwrap_err();
    assert!(wrong[0].what.contains("is a shipped caution"), "{wrong:?}");
}

#[test]
fn what_two_people_made_apart_and_does_not_hold_together_is_named_and_not_judged_by() {
    let mut shop = planned(OWN);
    // Elsewhere somebody turned off what the added check leans on.
    shop.checks_off.insert("duplexer.transmit-loss".to_owned(), true);
    let rules = Rules::of(&shop, &session());
    let doubt = rules.doubt.as_deref().unwrap();
    assert!(doubt.starts_with("checks_off.duplexer.transmit-loss"), "{doubt}");
    assert_eq!(rules.plan.checks.len(), Plan::standard().checks.len());
    assert!(rules.cautions.find("hot-load").is_some(), "a caution holds whatever else does not");
}

#[test]
fn checks_that_lean_on_each_other_in_a_ring_are_refused() {
    let ring = OWN
        .replacen("from = \"duplexer.transmit-loss\"", "from = \"duplexer.b\"", 1)
        .replacen("duplexer.transmit-loss-again", "duplexer.a", 1);
    let start = ring.find("[[check]]").unwrap();
    let end = ring.find("[[caution]]").unwrap();
    let other = ring[start..end].replace("\"duplexer.b\"", "\"duplexer.a\"");
    let other = other.replacen("id = \"duplexer.a\"", "id = \"duplexer.b\"", 1);
    let wrong = read(&invented_shop(), &format!("{ring}\n{other}")).unwrap_err();
    assert!(wrong[0].what.contains("must stand before it"), "{wrong:?}");
}

/// What is wrong with the shop's check once it was changed: field and words.
fn wrong_with(change: impl FnOnce(&mut Check)) -> Vec<String> {
    let mut shop = planned(OWN);
    let id = "duplexer.transmit-loss-again";
    let check = shop.added_checks.get_mut(id).unwrap().as_mut().unwrap();
    change(check);
    problems(&shop).into_iter().map(|problem| problem.to_string()).collect()
}

#[test]
fn an_added_check_is_refused_at_the_field_that_is_wrong() {
    assert_eq!(wrong_with(|_| {}), [""; 0]);
    type Change = fn(&mut Check);
    let table: [(Change, &str, &str); 8] = [
        (|c| c.limit.of = LimitOf::RatedPower, "limit.of", "is no limit of what"),
        (|c| c.limit.value = None, "limit.value", "a fixed limit wants `value`"),
        (|c| c.repeats_from = Some(1), "repeats_from", "1 readings show no scatter"),
        (|c| c.repeats_from = Some(0), "repeats_from", "0 readings show no scatter"),
        (|c| c.from = None, "from", "`from` names the check of the other"),
        (|c| c.judges = Judges::Itself, "from", "a check that judges itself leans on none"),
        (|c| c.stage = Stage::Transmitter, "from", "must stand before it"),
        (|c| c.plane = Plane::ReceiverPort, "plane", "nothing is keyed at the receiver port"),
    ];
    for (change, field, words) in table {
        let wrong = wrong_with(change);
        let at = format!("added_checks.duplexer.transmit-loss-again.{field}");
        let found = wrong.iter().any(|line| line.starts_with(&at) && line.contains(words));
        assert!(found, "{field}: {wrong:?} lack {words:?}");
    }
    for from in [2, 3] {
        assert_eq!(wrong_with(|check| check.repeats_from = Some(from)), [""; 0]);
    }
    // In an earlier stage than its own is before it too.
    assert_eq!(wrong_with(|check| check.stage = Stage::Desense), [""; 0]);
}

#[test]
fn a_check_that_judges_itself_and_leans_on_none_is_sound() {
    let wrong = wrong_with(|check| {
        check.judges = Judges::Itself;
        check.from = None;
    });
    assert_eq!(wrong, [""; 0]);
}

#[test]
fn a_caution_that_clears_a_hazard_is_not_said_even_where_it_came_in() {
    let mut shop = planned(OWN);
    let hot = shop.added_cautions.get_mut("hot-load").unwrap().as_mut().unwrap();
    "It is safe to touch.".clone_into(&mut hot.text);
    let burns = shop.added_cautions["hot-load"].clone();
    shop.added_cautions.insert("rf-burns".to_owned(), burns);
    let said = cautions(&shop);
    assert!(said.find("hot-load").is_none());
    assert_eq!(said.all.len(), Cautions::standard().all.len(), "nor in a shipped one's place");
}

#[test]
fn a_keyed_caution_goes_before_the_keyed_checks_of_its_stage_only() {
    let rules = Rules::of(&planned(OWN), &session());
    for check in &rules.plan.checks {
        let wanted = check.keyed && check.stage == Stage::Duplexer;
        assert_eq!(check.cautions.iter().any(|id| id == "hot-load"), wanted, "{}", check.id);
    }
}

#[test]
fn an_id_that_stands_twice_is_pointed_at_where_it_stands_again() {
    let (check, caution) = (OWN.find("[[check]]").unwrap(), OWN.find("[[caution]]").unwrap());
    for (again, id) in [
        (&OWN[check..caution], "id = \"duplexer.transmit-loss-again\""),
        (&OWN[caution..], "id = \"hot-load\""),
    ] {
        let text = format!("{OWN}\n{again}");
        let told = read(&invented_shop(), &text).unwrap_err();
        let line = 1 + text.lines().collect::<Vec<_>>().iter().rposition(|it| *it == id).unwrap();
        assert!(told.iter().any(|wrong| wrong.line == line), "{id} at {line}: {told:?}");
    }
}
