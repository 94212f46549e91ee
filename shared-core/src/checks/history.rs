//! History: what each check read at every visit to one repeater, and what comes of it.
//!
//! In: the visits' appraisals. Out: for each check its values as found and as left in the order of
//! time, the limit that holds at the newest of them, and the trend where there are visits enough.
//! A value is what a reading was judged by, so that readings through different chains can stand
//! beside each other. Judges nothing; how far a repeat scatters is taken from the readings' own
//! budgets, so that no drift is told that the instruments could not see.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::appraise::{Appraisal, CheckState, ReadingState};
use super::plan::Stage;
use crate::record::Phase;
use crate::rf::trend::{Limit, Outlook, Shape, Trend, Visit, years_between};
use crate::time::Timestamp;
use crate::uncertainty::Outcome;
use crate::uncertainty::decision::Limits;

/// Of the interval a drift is given with.
const CONFIDENCE: f64 = 0.95;

/// One check of one repeater, over its visits.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct CheckHistory {
    /// The check, by id.
    pub check: String,
    /// Its title.
    pub title: String,
    /// Its stage.
    pub stage: Stage,
    /// What was judged, as in "loss".
    pub judged: String,
    /// The unit of every number here: dBm, dB or Hz.
    pub unit: String,
    /// What the value must lie between, by the newest reading.
    pub limits: Option<Limits>,
    /// The same for people.
    pub limit_text: String,
    /// The visits that read it, the first one first.
    pub points: Vec<HistoryPoint>,
    /// What the value does; none with fewer visits than a trend needs.
    pub trend: Option<HistoryTrend>,
}

/// What a visit read of a check.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct HistoryPoint {
    /// The session's id.
    pub session: String,
    /// When its first reading was taken, by that device's clock.
    #[ts(type = "string")]
    pub at: Timestamp,
    /// The first reading that stands as found.
    pub as_found: Option<HistoryRead>,
    /// The last one that stands as left.
    pub as_left: Option<HistoryRead>,
}

/// A reading of a history.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct HistoryRead {
    /// The reading's id.
    pub reading: String,
    /// What it was judged by, in the history's unit.
    pub value: f64,
    /// Its expanded uncertainty, where it is known.
    pub expanded: Option<f64>,
    /// Its outcome.
    pub outcome: Outcome,
    /// The value for people.
    pub text: String,
    /// When it was taken, by that device's clock.
    #[ts(type = "string")]
    pub at: Timestamp,
    /// One standard deviation of it, where that is known.
    pub standard: Option<f64>,
}

/// What a value does from visit to visit, adjustments taken out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct HistoryTrend {
    /// What it gains a year, in the history's unit.
    pub per_year: f64,
    /// The lower end of its interval, for 95 %; none where too many values are equal.
    pub low: Option<f64>,
    /// The upper end.
    pub high: Option<f64>,
    /// A jump, a drift or neither.
    pub shape: HistoryShape,
    /// The size of the best single step, where one is told.
    pub step: Option<f64>,
    /// The day of the first visit behind it.
    pub step_day: Option<String>,
    /// Where the value comes to by itself, where that can be told.
    pub outlook: Option<HistoryOutlook>,
    /// The line through it.
    pub line: Vec<LinePoint>,
}

/// What a history looks like.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "kebab-case")]
pub enum HistoryShape {
    /// Too few visits to say.
    TooFew,
    /// It stands.
    Steady,
    /// It drifts.
    Drift,
    /// It jumped once.
    Jump,
    /// It moved; which of the two cannot be told.
    DriftOrJump,
}

/// A limit a value comes to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct HistoryOutlook {
    /// The limit, in the history's unit.
    pub limit: f64,
    /// Whether the line stands at it or beyond already.
    pub met: bool,
    /// The day the line meets it, where it is ahead.
    pub day: Option<String>,
    /// The day the faster end of the interval does.
    pub earliest: Option<String>,
}

/// The line of a trend at a visit, with the adjustments of the visits before.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct LinePoint {
    /// When.
    #[ts(type = "string")]
    pub at: Timestamp,
    /// Where it stands as the visit begins.
    pub found: f64,
    /// Where it stands after what the visit adjusted.
    pub left: f64,
}

/// The histories of a repeater's checks, in the order of the newest visit's plan. Each visit is its
/// session's id and what is said of it; their order does not matter.
pub fn histories(visits: &[(&str, &Appraisal)]) -> Vec<CheckHistory> {
    let mut all: Vec<CheckHistory> = Vec::new();
    let mut newest_first: Vec<&(&str, &Appraisal)> = visits.iter().collect();
    newest_first.sort_by_key(|(_, appraisal)| std::cmp::Reverse(newest(appraisal)));
    for (session, appraisal) in newest_first {
        for state in &appraisal.checks {
            let known = all.iter_mut().find(|known| known.check == state.check.id);
            match (point(session, state), known) {
                (None, _) => {}
                // A value in another unit was judged by another rule: it is another history.
                (Some((point, said)), Some(known)) if said.unit == known.unit => {
                    known.points.push(point);
                }
                (Some(_), Some(_)) => {}
                (Some((point, said)), None) => all.push(begun(state, point, said)),
            }
        }
    }
    for history in &mut all {
        history.points.sort_by_key(|point| point.at);
        history.trend = trend(&history.points, history.limits);
    }
    all
}

fn newest(appraisal: &Appraisal) -> Option<Timestamp> {
    let readings = appraisal.checks.iter().flat_map(|state| &state.readings);
    readings.map(|state| state.reading.stamp.at).max()
}

/// What the newest reading of a check is judged by.
struct Said {
    judged: String,
    unit: String,
    limits: Option<Limits>,
    limit_text: String,
}

fn begun(state: &CheckState, point: HistoryPoint, said: Said) -> CheckHistory {
    CheckHistory {
        check: state.check.id.clone(),
        title: state.check.title.clone(),
        stage: state.check.stage,
        judged: said.judged,
        unit: said.unit,
        limits: said.limits,
        limit_text: said.limit_text,
        points: vec![point],
        trend: None,
    }
}

fn point(session: &str, state: &CheckState) -> Option<(HistoryPoint, Said)> {
    let standing = || state.readings.iter().filter(|it| it.standing);
    let of = |phase: Phase| standing().filter(move |it| it.reading.phase == phase);
    let found = of(Phase::AsFound).filter_map(read).min_by_key(|(_, it)| it.reading.stamp.at);
    let left = of(Phase::AsLeft).filter_map(read).max_by_key(|(_, it)| it.reading.stamp.at);
    let (_, newest) = left.as_ref().or(found.as_ref())?;
    let said = Said {
        judged: newest.verdict.judged.clone(),
        unit: newest.verdict.unit.clone(),
        limits: newest.verdict.limits,
        limit_text: newest.verdict.limit_text.clone(),
    };
    let (as_found, as_left) = (found.map(|(read, _)| read), left.map(|(read, _)| read));
    let at = as_found.iter().chain(&as_left).map(|read| read.at).min()?;
    Some((HistoryPoint { session: session.to_owned(), at, as_found, as_left }, said))
}

/// A reading as a number; none where nobody could make one of it.
fn read(state: &ReadingState) -> Option<(HistoryRead, &ReadingState)> {
    let verdict = &state.verdict;
    let standard = verdict.expanded.zip(verdict.coverage_factor).map(|(wide, k)| wide / k);
    let read = HistoryRead {
        reading: state.id.clone(),
        value: verdict.value?,
        expanded: verdict.expanded,
        outcome: verdict.outcome,
        text: verdict.value_text.clone(),
        at: state.reading.stamp.at,
        standard,
    };
    Some((read, state))
}

/// None where there are too few visits, or two at one moment.
fn trend(points: &[HistoryPoint], limits: Option<Limits>) -> Option<HistoryTrend> {
    // How a visit found what it read only as left, is not known: the series begins anew there.
    let unknown = points.iter().rposition(|point| point.as_found.is_none());
    let points = &points[unknown.unwrap_or_default()..];
    let visit = |point: &HistoryPoint| {
        let found = point.as_found.as_ref().or(point.as_left.as_ref())?.value;
        let left = point.as_left.as_ref().filter(|_| point.as_found.is_some());
        Some(Visit { at: point.at, as_found: found, as_left: left.map(|left| left.value) })
    };
    let visits: Vec<Visit> = points.iter().filter_map(visit).collect();
    let found = Trend::of(&visits, CONFIDENCE, repeat(points)).ok()?;
    let (shape, step) = match found.shape {
        Shape::TooFew => (HistoryShape::TooFew, None),
        Shape::Steady => (HistoryShape::Steady, None),
        Shape::Drift => (HistoryShape::Drift, None),
        Shape::Jump(step) => (HistoryShape::Jump, Some(step)),
        Shape::DriftOrJump(step) => (HistoryShape::DriftOrJump, Some(step)),
    };
    let (low, high) = found.slope.interval.unzip();
    // Where nothing moves for sure, a date would only be a number.
    let sure = low.zip(high).is_some_and(|(low, high)| low > 0.0 || high < 0.0);
    let moves = shape == HistoryShape::Drift || (shape == HistoryShape::TooFew && sure);
    Some(HistoryTrend {
        per_year: found.slope.slope,
        low,
        high,
        shape,
        step: step.map(|step| step.size),
        step_day: step.and_then(|it| visits.get(it.before)).map(|it| it.at.day().to_string()),
        outlook: limits.and_then(|limits| outlook(&found, limits, moves)),
        line: line(&found, &visits),
    })
}

/// One standard deviation of a reading: the middle one of those that are known.
fn repeat(points: &[HistoryPoint]) -> f64 {
    let reads = points.iter().flat_map(|point| point.as_found.iter().chain(&point.as_left));
    let mut known: Vec<f64> = reads.filter_map(|read| read.standard).collect();
    known.sort_by(f64::total_cmp);
    known.get(known.len() / 2).copied().unwrap_or_default()
}

/// The limit that is met, or that will be met first.
fn outlook(found: &Trend, limits: Limits, moves: bool) -> Option<HistoryOutlook> {
    let sides = [limits.high.map(Limit::AtMost), limits.low.map(Limit::AtLeast)];
    let mut first: Option<(Timestamp, HistoryOutlook)> = None;
    for side in sides.into_iter().flatten() {
        let (Limit::AtMost(limit) | Limit::AtLeast(limit)) = side;
        match found.meets(side).ok()? {
            Outlook::Met => {
                return Some(HistoryOutlook { limit, met: true, day: None, earliest: None });
            }
            Outlook::Ahead { at: Some(at), earliest, .. } if moves => {
                let day = |at: Timestamp| at.day().to_string();
                let (day, earliest) = (Some(day(at)), earliest.map(day));
                if first.as_ref().is_none_or(|(known, _)| at < *known) {
                    first = Some((at, HistoryOutlook { limit, met: false, day, earliest }));
                }
            }
            Outlook::Ahead { .. } | Outlook::NoDate => {}
        }
    }
    first.map(|(_, outlook)| outlook)
}

fn line(found: &Trend, visits: &[Visit]) -> Vec<LinePoint> {
    let Some(first) = visits.first() else { return Vec::new() };
    let mut adjusted = 0.0;
    let at_visit = |visit: &Visit| {
        let before = found.slope.at(years_between(first.at, visit.at)) + adjusted;
        let by = visit.as_left.map_or(0.0, |left| left - visit.as_found);
        adjusted += by;
        LinePoint { at: visit.at, found: before, left: before + by }
    };
    visits.iter().map(at_visit).collect()
}

#[cfg(test)]
#[path = "history_tests.rs"]
mod tests;
