//! A shop's day: what every crew found, worst first, and what has to be done about it.
//!
//! In: each visit with its appraisal, the shop, and the day it is looked at. Out: a [`ShopDay`]. A
//! visit counts for a day by the days of its own entries, as their clocks told it. Decides nothing:
//! a revisit is asked for by an outcome or a finding, and says which.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::shapes::{Letterhead, Overall, VisitReport};
use crate::checks::findings::Weight;
use crate::checks::{Appraisal, Sheet};
use crate::language::{Language, say};
use crate::record::Shop;
use crate::record::shop::Calibrated;
use crate::uncertainty::Outcome;

/// A calibration that ends within so many days is told. Common practice, no source.
const DUE_WITHIN_DAYS: i64 = 60;
/// A repeater that was not visited for so many days is overdue. Common practice, no source.
pub const VISIT_EVERY_DAYS: i64 = 365;

/// A visit with all that is said of it.
pub struct Visit {
    /// The session's id.
    pub session: String,
    /// Its papers.
    pub sheet: Sheet,
    /// What is said of them.
    pub appraisal: Appraisal,
    /// The same, told.
    pub report: VisitReport,
}

/// What the shop knows at the end of a day.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct ShopDay {
    /// The shop's name.
    pub shop: String,
    /// What else stands at the head and the foot of the shop's papers.
    pub letterhead: Letterhead,
    /// The day.
    pub day: String,
    /// The visits that had entries on that day, worst first.
    pub visits: Vec<VisitLine>,
    /// What does not simply pass in them, worst first.
    pub failing: Vec<FailingLine>,
    /// What two people's entries say differently, and what somebody has to choose between.
    pub disagreements: Vec<AtRepeater>,
    /// Where somebody has to go again, and why.
    pub revisits: Vec<AtRepeater>,
    /// Calibrations that have ended or end soon, the earliest first.
    pub calibrations: Vec<CalibrationLine>,
    /// Repeaters that were last visited too long ago, the longest first.
    pub overdue: Vec<OverdueLine>,
    /// Devices that have not been heard of since before that day.
    pub silent: Vec<DeviceLine>,
    /// Every repeater's latest visit, check by check.
    pub board: Board,
}

/// A device this one has merged with.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct DeviceLine {
    /// What its people call it.
    pub name: String,
    /// The day it was last heard of, by this device's clock.
    pub last: String,
}

/// A visit of the day.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct VisitLine {
    /// The session's id.
    pub session: String,
    /// The site's name.
    pub site: String,
    /// The repeater's name.
    pub repeater: String,
    /// The shop's order.
    pub work_order: String,
    /// Who was there, by name.
    pub crew: Vec<String>,
    /// How many checks ended how.
    pub overall: Overall,
    /// Whether somebody signed it off.
    pub signed_off: bool,
}

/// A check that does not simply pass.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct FailingLine {
    /// The session's id.
    pub session: String,
    /// The site's name.
    pub site: String,
    /// The repeater's name.
    pub repeater: String,
    /// The check's title.
    pub title: String,
    /// Its outcome.
    pub outcome: Outcome,
    /// Why, in a sentence.
    pub reason: String,
}

/// Something about a repeater.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct AtRepeater {
    /// The session's id.
    pub session: String,
    /// The site's name.
    pub site: String,
    /// The repeater's name.
    pub repeater: String,
    /// What, in words.
    pub what: String,
}

/// A calibration that ends.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct CalibrationLine {
    /// The instrument's or the part's name.
    pub name: String,
    /// The last day it holds.
    pub due: String,
    /// Days until then; negative when it has ended.
    #[ts(type = "number")]
    pub days: i64,
}

/// A repeater nobody has been at for long.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct OverdueLine {
    /// The site's name.
    pub site: String,
    /// The repeater's name.
    pub repeater: String,
    /// The last day of its latest visit.
    pub last: String,
    /// Days since then.
    #[ts(type = "number")]
    pub days: i64,
}

/// Outcomes: a row a repeater, a column a check.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Board {
    /// The checks' titles, in the order of the plan.
    pub checks: Vec<String>,
    /// The repeaters' latest visits.
    pub rows: Vec<BoardRow>,
}

/// A repeater's latest visit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct BoardRow {
    /// The session's id.
    pub session: String,
    /// The site's name.
    pub site: String,
    /// The repeater's name.
    pub repeater: String,
    /// Its last day.
    pub day: String,
    /// The outcomes, one a check; none where it was not read.
    pub outcomes: Vec<Option<Outcome>>,
}

/// The shop's day, from all its visits and the devices it has heard of. The visits speak the
/// language already.
pub fn shop_day(
    shop: &Shop,
    visits: &[Visit],
    devices: &[DeviceLine],
    day: NaiveDate,
    language: Language,
) -> ShopDay {
    let of_day = |visit: &&Visit| {
        let (first, last) = (&visit.report.first_day, &visit.report.last_day);
        let day = day.to_string();
        *first <= day && day <= *last && !visit.sheet.session.readings.is_empty()
    };
    let mut today: Vec<&Visit> = visits.iter().filter(of_day).collect();
    today.sort_by_key(|visit| Reverse(visit.report.overall.worst));
    let latest = latest(visits);
    ShopDay {
        shop: shop.name.clone(),
        letterhead: Letterhead::of(shop),
        day: day.to_string(),
        visits: today.iter().map(|visit| line(visit)).collect(),
        failing: failing(&today),
        disagreements: today.iter().flat_map(|visit| disagreements(visit, language)).collect(),
        revisits: today.iter().flat_map(|visit| revisits(visit, language)).collect(),
        calibrations: calibrations(shop, day),
        overdue: overdue(&latest, day),
        silent: devices.iter().filter(|device| device.last < day.to_string()).cloned().collect(),
        board: board(&latest),
    }
}

fn line(visit: &Visit) -> VisitLine {
    VisitLine {
        session: visit.session.clone(),
        site: visit.report.site.clone(),
        repeater: visit.report.repeater.clone(),
        work_order: visit.report.work_order.clone(),
        crew: visit.report.crew.clone(),
        overall: visit.report.overall.clone(),
        signed_off: !visit.report.signatures.is_empty(),
    }
}

fn failing(today: &[&Visit]) -> Vec<FailingLine> {
    let lines = today.iter().flat_map(|visit| {
        visit.report.concluded.iter().map(|concluded| FailingLine {
            session: visit.session.clone(),
            site: visit.report.site.clone(),
            repeater: visit.report.repeater.clone(),
            title: concluded.title.clone(),
            outcome: concluded.outcome,
            reason: concluded.reason.clone(),
        })
    });
    let mut lines: Vec<FailingLine> = lines.collect();
    lines.sort_by_key(|line| Reverse(line.outcome));
    lines
}

fn at(visit: &Visit, what: String) -> AtRepeater {
    AtRepeater {
        session: visit.session.clone(),
        site: visit.report.site.clone(),
        repeater: visit.report.repeater.clone(),
        what,
    }
}

fn disagreements(visit: &Visit, language: Language) -> Vec<AtRepeater> {
    let doubts = visit.report.found.iter().filter(|found| found.weight == Weight::Doubt);
    let mut all: Vec<AtRepeater> = doubts.map(|doubt| at(visit, doubt.what.clone())).collect();
    if visit.report.summary.len() > 1 {
        let by: Vec<&str> = visit.report.summary.iter().map(|said| said.by.as_str()).collect();
        let what = say!(
            language,
            "{} summed up apart: somebody has to choose.",
            "{} ont résumé chacun de leur côté : quelqu’un doit choisir.",
            by.join(language.pick(" and ", " et "))
        );
        all.push(at(visit, what));
    }
    all
}

/// Where a check fails or is in doubt as it was left, or was not made at all.
fn revisits(visit: &Visit, language: Language) -> Vec<AtRepeater> {
    let overall = &visit.report.overall;
    let mut all: Vec<AtRepeater> = visit
        .report
        .concluded
        .iter()
        .filter(|it| matches!(it.outcome, Outcome::Fail | Outcome::ConditionalFail))
        .map(|it| {
            let outcome = it.outcome.said(language);
            at(visit, say!(language, "{}: {outcome}", "{} : {outcome}", it.title))
        })
        .collect();
    if overall.not_read > 0 {
        let count = overall.not_read;
        let were = match count {
            1 => language.pick("check was not made", "contrôle n’a pas été fait"),
            _ => language.pick("checks were not made", "contrôles n’ont pas été faits"),
        };
        all.push(at(visit, format!("{count} {were}")));
    }
    all
}

fn calibrations(shop: &Shop, day: NaiveDate) -> Vec<CalibrationLine> {
    let instruments = shop.instruments.iter().filter(|(_, found)| found.retired.is_none());
    let instruments = instruments.map(|(id, found)| (Calibrated::Instrument, id, &found.name));
    let parts = shop.parts.iter().filter(|(_, found)| found.retired.is_none());
    let parts = parts.map(|(id, found)| (Calibrated::Part, id, &found.name));
    let line = |(of, id, name): (Calibrated, &String, &String)| {
        let due = shop.calibration_held_to(of, id, day)?;
        let days = (due.parse::<NaiveDate>().ok()? - day).num_days();
        let told = CalibrationLine { name: name.clone(), due: due.to_owned(), days };
        (days <= DUE_WITHIN_DAYS).then_some(told)
    };
    let mut lines: Vec<CalibrationLine> = instruments.chain(parts).filter_map(line).collect();
    lines.sort_by(|a, b| (a.days, &a.name).cmp(&(b.days, &b.name)));
    lines
}

/// The latest visit with a reading, of each repeater.
fn latest(visits: &[Visit]) -> Vec<&Visit> {
    let mut latest: BTreeMap<(String, &str), &Visit> = BTreeMap::new();
    for visit in visits.iter().filter(|visit| !visit.sheet.session.readings.is_empty()) {
        let session = &visit.sheet.session;
        let key = (session.site.to_string(), session.repeater.as_str());
        let newer = |known: &&mut &Visit| {
            (&visit.report.last_day, &visit.session) > (&known.report.last_day, &known.session)
        };
        match latest.get_mut(&key) {
            None => drop(latest.insert(key, visit)),
            Some(known) if newer(&known) => *known = visit,
            Some(_) => {}
        }
    }
    let mut rows: Vec<&Visit> = latest.into_values().collect();
    rows.sort_by(|a, b| {
        (&a.report.site, &a.report.repeater).cmp(&(&b.report.site, &b.report.repeater))
    });
    rows
}

fn overdue(latest: &[&Visit], day: NaiveDate) -> Vec<OverdueLine> {
    let line = |visit: &&Visit| {
        let last = &visit.report.last_day;
        let days = (day - last.parse::<NaiveDate>().ok()?).num_days();
        (days > VISIT_EVERY_DAYS).then(|| OverdueLine {
            site: visit.report.site.clone(),
            repeater: visit.report.repeater.clone(),
            last: last.clone(),
            days,
        })
    };
    let mut lines: Vec<OverdueLine> = latest.iter().filter_map(line).collect();
    lines.sort_by_key(|line| Reverse(line.days));
    lines
}

fn board(latest: &[&Visit]) -> Board {
    let mut checks: Vec<(String, String)> = Vec::new();
    for state in latest.iter().flat_map(|visit| &visit.appraisal.checks) {
        if !checks.iter().any(|(id, _)| *id == state.check.id) {
            checks.push((state.check.id.clone(), state.check.title.clone()));
        }
    }
    let row = |visit: &&Visit| BoardRow {
        session: visit.session.clone(),
        site: visit.report.site.clone(),
        repeater: visit.report.repeater.clone(),
        day: visit.report.last_day.clone(),
        outcomes: checks
            .iter()
            .map(|(id, _)| {
                let found = visit.appraisal.checks.iter().find(|state| state.check.id == *id);
                found.and_then(|state| state.outcome)
            })
            .collect(),
    };
    let rows = latest.iter().map(row).collect();
    Board { checks: checks.into_iter().map(|(_, title)| title).collect(), rows }
}

#[cfg(test)]
#[path = "day_tests.rs"]
mod tests;
