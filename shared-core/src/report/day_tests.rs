//! A day tells every visit of it and no other, the worst first, and what is due by then.

use super::*;
use crate::checks::kept_visit::sheet;
use crate::checks::{Cautions, Plan, appraise};
use crate::report::visit_report;

fn visit(session: &str, sheet: Sheet) -> Visit {
    let appraisal = appraise(Plan::standard(), Cautions::standard(), &sheet).unwrap();
    let report = visit_report(&sheet, &appraisal, Cautions::standard(), Language::English);
    Visit { session: session.to_owned(), sheet, appraisal, report }
}

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// The same visit where the opening level is hopeless.
fn failing_sheet() -> Sheet {
    let mut sheet = sheet();
    for reading in sheet.session.readings.values_mut() {
        if reading.check == "receiver.opening" {
            "-80".clone_into(&mut reading.typed);
        }
    }
    sheet
}

#[test]
fn the_worst_visit_of_the_day_comes_first_and_asks_for_another() {
    let shop = sheet().shop;
    let visits = [visit("A", sheet()), visit("B", failing_sheet())];
    let told = shop_day(&shop, &visits, &[], day("2026-05-14"), Language::English);
    let order: Vec<&str> = told.visits.iter().map(|line| line.session.as_str()).collect();
    assert_eq!(order, ["B", "A"]);
    assert!(told.failing.is_sorted_by(|a, b| a.outcome >= b.outcome));
    assert_eq!(told.failing[0].outcome, Outcome::Fail);
    assert!(told.revisits.iter().any(|it| it.session == "B" && it.what.contains("fail")));
    assert!(!told.revisits.iter().any(|it| it.session == "A" && it.what.contains("fail")));
    let apart = told.disagreements.iter().filter(|it| it.what.contains("summed up apart"));
    assert_eq!(apart.count(), 2, "both visits have two summaries");
}

#[test]
fn another_day_has_no_visit_and_still_knows_the_latest() {
    let shop = sheet().shop;
    let told = shop_day(&shop, &[visit("A", sheet())], &[], day("2026-05-15"), Language::English);
    assert!(told.visits.is_empty() && told.failing.is_empty() && told.revisits.is_empty());
    assert_eq!(told.board.rows.len(), 1);
    assert_eq!(told.board.rows[0].day, "2026-05-14");
    assert_eq!(told.board.rows[0].outcomes.len(), told.board.checks.len());
}

#[test]
fn the_board_shows_the_latest_visit_of_a_repeater_only() {
    let shop = sheet().shop;
    let mut later = failing_sheet();
    for reading in later.session.readings.values_mut() {
        let ms = reading.stamp.at.unix_ms() + 86_400_000;
        reading.stamp.at = crate::time::Timestamp::from_unix_ms(ms).unwrap();
    }
    let visits = [visit("later", later), visit("earlier", sheet())];
    let told = shop_day(&shop, &visits, &[], day("2026-05-20"), Language::English);
    let rows: Vec<&str> = told.board.rows.iter().map(|row| row.session.as_str()).collect();
    assert_eq!(rows, ["later"]);
}

#[test]
fn what_ends_soon_and_who_was_not_visited_for_long_is_told() {
    let mut shop = sheet().shop;
    shop.parts.clear();
    let visits = [visit("A", sheet())];
    // Calibrations of the invented shop: 2026-11-30, 2027-01-31 and 2027-02-28.
    let told = shop_day(&shop, &visits, &[], day("2026-12-02"), Language::English);
    let due: Vec<i64> = told.calibrations.iter().map(|line| line.days).collect();
    assert_eq!(due, [-2, 60]);
    assert!(told.overdue.is_empty());
    let told = shop_day(&shop, &visits, &[], day("2027-05-15"), Language::English);
    assert_eq!(told.overdue.len(), 1, "366 days after 2026-05-14");
    assert_eq!(told.overdue[0].days, 366);
    let told = shop_day(&shop, &visits, &[], day("2027-05-14"), Language::English);
    assert!(told.overdue.is_empty(), "365 days are not too long");
}

#[test]
fn a_device_that_was_not_heard_of_that_day_is_told() {
    let shop = sheet().shop;
    let device =
        |name: &str, last: &str| DeviceLine { name: name.to_owned(), last: last.to_owned() };
    let devices = [device("van 1", "2026-05-13"), device("van 2", "2026-05-14")];
    let told = shop_day(&shop, &[], &devices, day("2026-05-14"), Language::English);
    assert_eq!(told.silent, [device("van 1", "2026-05-13")]);
}
