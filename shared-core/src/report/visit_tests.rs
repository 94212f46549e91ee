//! A report says what the appraisal says: every standing reading once, nothing else, and the
//! gravest first.

use super::*;
use crate::checks::kept_visit::sheet;
use crate::checks::{Plan, appraise};

fn told(sheet: &Sheet) -> (Appraisal, VisitReport) {
    let appraisal = appraise(Plan::standard(), Cautions::standard(), sheet).unwrap();
    let report = visit_report(sheet, &appraisal, Cautions::standard(), Language::English);
    (appraisal, report)
}

#[test]
fn every_reading_that_stands_is_told_once_with_what_is_said_of_it() {
    let sheet = sheet();
    let (appraisal, report) = told(&sheet);
    let cells: Vec<&Cell> = report
        .stages
        .iter()
        .flat_map(|stage| &stage.lines)
        .flat_map(|line| line.as_found.iter().chain(&line.as_left))
        .collect();
    let standing = sheet.session.standing_readings();
    let mut ids: Vec<&str> = cells.iter().map(|cell| cell.id.as_str()).collect();
    ids.sort_unstable();
    assert_eq!(ids, standing.keys().copied().collect::<Vec<_>>());
    for cell in cells {
        let reading = standing[cell.id.as_str()];
        assert_eq!(cell.typed, format!("{} {}", reading.typed, reading.unit));
        let mut judged = appraisal.checks.iter().flat_map(|check| &check.readings);
        let judged = judged.find(|state| state.id == cell.id).unwrap();
        assert_eq!(cell.outcome, judged.verdict.outcome);
        assert_eq!(cell.value, judged.verdict.value_text);
    }
    let withdrawn = sheet.session.readings.len() - standing.len();
    assert_eq!(report.withdrawn.len(), withdrawn);
}

#[test]
fn the_counts_add_up_to_the_plan() {
    let (appraisal, report) = told(&sheet());
    let Overall { pass, conditional_pass, conditional_fail, fail, not_judged, not_read, .. } =
        report.overall;
    let told = pass + conditional_pass + conditional_fail + fail + not_judged + not_read;
    let optional = appraisal.checks.iter().filter(|c| c.check.optional && c.outcome.is_none());
    assert_eq!(told + optional.count(), appraisal.checks.len());
    assert_eq!(report.concluded.len(), conditional_pass + conditional_fail + fail + not_judged);
    assert!(report.concluded.is_sorted_by(|a, b| a.outcome >= b.outcome), "gravest first");
}

#[test]
fn people_are_called_by_name_and_two_summaries_stay_two() {
    let (_, report) = told(&sheet());
    assert_eq!(report.crew, ["Ines", "Tobias"]);
    assert_eq!(report.summary.len(), 2);
    assert!(report.deferral.contains("codes"));
    assert!(!report.stops.is_empty(), "the day had a chain that may not be keyed");
}

#[test]
fn an_instrument_out_of_calibration_at_a_reading_is_told() {
    let mut sheet = sheet();
    let (_, report) = told(&sheet);
    assert!(report.instruments.iter().all(|line| line.held));
    let used: Vec<String> =
        sheet.session.readings.values().map(|reading| reading.instrument.clone()).collect();
    "2020-01-01".clone_into(&mut sheet.shop.instruments.get_mut(&used[0]).unwrap().calibration_due);
    let (_, report) = told(&sheet);
    assert_eq!(report.instruments.iter().filter(|line| !line.held).count(), 1);
}

#[test]
fn a_note_taken_back_is_not_told() {
    let mut sheet = sheet();
    let (id, note) = sheet.session.notes.iter().next().unwrap();
    let retraction = crate::record::Retraction {
        list: "notes".to_owned(),
        entry: id.clone(),
        stamp: note.stamp.clone(),
    };
    let text = note.text.clone();
    assert!(told(&sheet).1.notes.iter().any(|note| note.text == text));
    sheet.session.retractions.insert("t".to_owned(), retraction);
    assert!(!told(&sheet).1.notes.iter().any(|note| note.text == text));
}
