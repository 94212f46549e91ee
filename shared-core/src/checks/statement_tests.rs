//! A statement survives its text, and tells every single value that is another.

use super::*;
use crate::checks::kept_visit::sheet;
use crate::checks::{Cautions, Sheet, appraise};
use crate::record::Author;

fn paper(id: &str) -> PaperHeads {
    PaperHeads { document: id.to_owned(), heads: vec!["00".repeat(32)] }
}

fn statement(sheet: &Sheet) -> Statement {
    let appraisal = appraise(Plan::standard(), Cautions::standard(), sheet).unwrap();
    let papers = Papers { session: paper("A"), shop: paper("B"), site: paper("C") };
    let at = Timestamp::from_unix_ms(1_780_000_000_000).unwrap();
    let author = Author { person: "ines".to_owned(), device: "tablet".to_owned(), at };
    Statement::of(&appraisal, Plan::standard(), papers, &author)
}

#[test]
fn a_statement_reads_back_as_it_was_written() {
    let made = statement(&sheet());
    assert!(made.checks.iter().any(|check| !check.readings.is_empty()));
    let read = Statement::read(&made.text()).unwrap();
    assert_eq!(read, made);
    assert_eq!(read.differences(&made), []);
}

#[test]
fn another_text_is_no_statement() {
    let text = statement(&sheet()).text();
    assert!(matches!(Statement::read("{}"), Err(NotAStatement::Shape(_))));
    let other = text.replace("form 1", "form 9");
    assert!(matches!(Statement::read(&other), Err(NotAStatement::Form { .. })));
    let more = text.replacen('{', "{\"more\":1,", 1);
    assert!(matches!(Statement::read(&more), Err(NotAStatement::Shape(_))));
}

#[test]
fn a_changed_reading_shows_with_both_values() {
    let mut later = sheet();
    let signed = statement(&later);
    let (id, reading) = later
        .session
        .readings
        .iter_mut()
        .find(|(_, reading)| reading.check == "receiver.opening")
        .unwrap();
    let id = id.clone();
    "-95.0".clone_into(&mut reading.typed);
    let found = signed.differences(&statement(&later));
    let at = format!("receiver.opening, reading {id}");
    let told = found.iter().find(|difference| difference.at == at).unwrap();
    assert_ne!(told.signed, told.now);
    assert!(told.now.as_ref().unwrap().starts_with("fail"), "{told:?}");
    let outcome = found.iter().find(|difference| difference.at == "receiver.opening").unwrap();
    assert_eq!(outcome.now.as_deref(), Some("fail"));
}

#[test]
fn a_reading_that_came_or_went_shows() {
    let whole = sheet();
    let mut less = whole.clone();
    let id = whole.session.readings.keys().next_back().unwrap().clone();
    less.session.readings.remove(&id);
    let (whole, less) = (statement(&whole), statement(&less));
    let of = |found: Vec<Difference>| found.into_iter().find(|d| d.at.ends_with(&id)).unwrap();
    assert_eq!(of(whole.differences(&less)).now, None);
    assert_eq!(of(less.differences(&whole)).signed, None);
}

#[test]
fn another_plan_or_table_has_another_fingerprint() {
    let mut plan = Plan::standard().clone();
    let before = fingerprint(&plan.checks);
    assert_eq!(before, fingerprint(&Plan::standard().checks));
    plan.checks[0].repeat += 0.1;
    assert_ne!(before, fingerprint(&plan.checks));
    // FIPS 180-4 with the message of two bytes `""` (the JSON of an empty text), by sha256sum.
    assert_eq!(
        fingerprint(&""),
        "12ae32cb1ec02d01eda3581b127c1fee3b0dc53572ed6baf239721a03d82e126"
    );
}

#[test]
fn what_the_licence_and_the_findings_say_is_part_of_a_statement() {
    let mut licensed = sheet();
    for repeater in licensed.site.repeaters.values_mut() {
        let terms = serde_json::json!({ "transmit_hz": repeater.transmit_hz, "output_w": 1.0,
            "source": "licence 12" });
        repeater.licence = Some(serde_json::from_value(terms).unwrap());
    }
    let (plain, licensed) = (statement(&sheet()), statement(&licensed));
    let output = licensed.licence.iter().find(|line| line.starts_with("output power: ")).unwrap();
    assert!(output.starts_with("output power: fail: output "), "{output}");
    let came = plain.differences(&licensed);
    let went = licensed.differences(&plain);
    for at in ["the licence", "findings"] {
        let new = came.iter().find(|difference| difference.at == at).unwrap();
        assert!(new.signed.is_none() && new.now.is_some(), "{new:?}");
        let gone = went.iter().find(|difference| difference.at == at).unwrap();
        assert!(gone.signed.is_some() && gone.now.is_none(), "{gone:?}");
    }
    assert!(came.iter().any(|difference| difference.now.as_ref() == Some(output)));
}
