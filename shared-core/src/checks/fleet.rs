//! The fleet: what the same check does over the years at every repeater of the shop, the worst of
//! each class first, and who stands apart from its like.
//!
//! In: the histories of every repeater. Out: a class for each check and band. A class is ranked by
//! the years that are left until a value meets its limit, as it goes; those that go nowhere, or
//! away from it, come after, by the room they have. Decides nothing: a place in a class is no
//! verdict.
//!
//! Who stands apart is told by the modified z-score of the room left and of the drift,
//!
//!   M = 0.6745·(x − median)/MAD,   apart for |M| > 3.5, from five members on
//!
//! (Iglewicz and Hoaglin 1993, from memory, unverified). MAD, the median distance from the median,
//! is taken to be at least what σ, one standard deviation of a reading, makes of it, so that nobody
//! stands apart by what the instruments could not see; of a drift over years t, that is
//! σ/√Σ(t − t̄)².

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::history::{CheckHistory, HistoryPoint, HistoryRead, HistoryTrend};
use super::plan::Stage;
use crate::rf::trend::years_between;
use crate::uncertainty::decision::Limits;

/// From so many members on, one can stand apart.
const APART_MEMBERS_MIN: usize = 5;
/// How far from the middle one must be for it.
const APART_SCORE: f64 = 3.5;
/// The median distance from the mean of a normal spread, in standard deviations.
const MEDIAN_DISTANCE: f64 = 0.6745;

/// A repeater with its histories.
#[derive(Clone, Debug)]
pub struct FleetRepeater {
    /// The site document's id.
    pub site: String,
    /// The site's name.
    pub site_name: String,
    /// The repeater's name.
    pub repeater: String,
    /// What it listens on, in hertz.
    pub receive_hz: u64,
    /// What it transmits on, in hertz.
    pub transmit_hz: u64,
    /// Its checks over all visits.
    pub histories: Vec<CheckHistory>,
}

/// The same check at repeaters of one band.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct FleetClass {
    /// The check, by id.
    pub check: String,
    /// Its title.
    pub title: String,
    /// Whose it is: the receiver's, the transmitter's, the duplexer's.
    pub stage: Stage,
    /// The band, by its name.
    pub band: String,
    /// The unit of every number here: dBm, dB or Hz.
    pub unit: String,
    /// The middle drift a year; none where none has a trend.
    pub middle_per_year: Option<f64>,
    /// The repeaters, the worst first.
    pub members: Vec<FleetMember>,
}

/// A repeater in its class.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct FleetMember {
    /// The site document's id.
    pub site: String,
    /// The site's name.
    pub site_name: String,
    /// The repeater's name.
    pub repeater: String,
    /// How many visits read it.
    pub visits: usize,
    /// Its newest reading.
    pub newest: FleetReading,
    /// How far that is from the nearer limit, negative outside; none without a limit.
    pub room: Option<f64>,
    /// What it does from visit to visit; none with fewer than three.
    pub trend: Option<HistoryTrend>,
    /// Years from the newest reading until it meets its limit, as it goes; none where it does not.
    pub years_left: Option<f64>,
    /// How it stands apart, where it does.
    pub apart: Vec<Apart>,
}

/// A reading that stands for a repeater.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct FleetReading {
    /// The session's id.
    pub session: String,
    /// The reading's id.
    pub reading: String,
    /// Its day.
    pub day: String,
    /// The value for people.
    pub text: String,
}

/// A repeater is unlike the others of its class.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Apart {
    /// By what.
    pub by: ApartBy,
    /// How far from the middle: the modified z-score.
    pub score: f64,
    /// The readings that make it so.
    pub readings: Vec<FleetReading>,
}

/// What a repeater can stand apart by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "kebab-case")]
pub enum ApartBy {
    /// The room it has left.
    Room,
    /// Its drift a year.
    Drift,
}

/// Every class of a shop's repeaters, in the order of checks and bands.
pub fn fleet(repeaters: &[FleetRepeater]) -> Vec<FleetClass> {
    let mut classes: BTreeMap<(Stage, String, String, &str), FleetClass> = BTreeMap::new();
    let mut spreads: BTreeMap<(Stage, String, String, &str), Spreads> = BTreeMap::new();
    for it in repeaters {
        for history in &it.histories {
            let band = band(it, history.stage);
            let key = (history.stage, history.check.clone(), history.unit.clone(), band);
            let Some(member) = member(it, history) else { continue };
            spreads.entry(key.clone()).or_default().add(history);
            let class = classes.entry(key).or_insert_with(|| FleetClass {
                check: history.check.clone(),
                title: history.title.clone(),
                stage: history.stage,
                band: band.to_owned(),
                unit: history.unit.clone(),
                middle_per_year: None,
                members: Vec::new(),
            });
            class.members.push(member);
        }
    }
    for (key, class) in &mut classes {
        let drifts: Vec<f64> = class.members.iter().filter_map(drift).collect();
        class.middle_per_year = median(drifts);
        set_apart(class, spreads.remove(key).unwrap_or_default(), repeaters);
        class.members.sort_by(|a, b| worse(a).total_cmp(&worse(b)).then_with(|| room(a, b)));
    }
    classes.into_values().collect()
}

/// The band of the frequency a stage works on: bands 7 to 10 of ITU-R V.431, from memory,
/// unverified.
fn band(repeater: &FleetRepeater, stage: Stage) -> &'static str {
    let hz = match stage {
        Stage::Transmitter => repeater.transmit_hz,
        Stage::Prepare | Stage::Receiver | Stage::Duplexer | Stage::Desense => repeater.receive_hz,
    };
    match hz / 1_000_000 {
        0..30 => "HF",
        30..300 => "VHF",
        300..3_000 => "UHF",
        _ => "SHF",
    }
}

fn member(repeater: &FleetRepeater, history: &CheckHistory) -> Option<FleetMember> {
    let (newest, read) = history.points.iter().rev().find_map(|point| {
        let read = point.as_left.as_ref().or(point.as_found.as_ref())?;
        Some((reading(point, read), read.value))
    })?;
    let room = history.limits.and_then(|limits| room_in(limits, read));
    let trend = history.trend.clone();
    let years_left = trend.as_ref().zip(history.limits).and_then(|(trend, limits)| {
        let [up, down] = [limits.high, limits.low];
        let towards = if trend.per_year > 0.0 { up } else { down };
        let years = (towards? - read) / trend.per_year;
        (years.is_finite() && years >= 0.0).then_some(years)
    });
    Some(FleetMember {
        site: repeater.site.clone(),
        site_name: repeater.site_name.clone(),
        repeater: repeater.repeater.clone(),
        visits: history.points.len(),
        newest,
        room,
        trend,
        years_left,
        apart: Vec::new(),
    })
}

/// How far a value is inside its limits.
fn room_in(limits: Limits, value: f64) -> Option<f64> {
    let sides = [limits.high.map(|high| high - value), limits.low.map(|low| value - low)];
    sides.into_iter().flatten().reduce(f64::min)
}

fn reading(point: &HistoryPoint, read: &HistoryRead) -> FleetReading {
    FleetReading {
        session: point.session.clone(),
        reading: read.reading.clone(),
        day: read.at.day().to_string(),
        text: read.text.clone(),
    }
}

/// What the instruments alone make of a class: one standard deviation of each reading, and of the
/// drift of each history.
#[derive(Default)]
struct Spreads {
    readings: Vec<f64>,
    drifts: Vec<f64>,
}

impl Spreads {
    fn add(&mut self, history: &CheckHistory) {
        let points = &history.points;
        let reads = points.iter().flat_map(|point| point.as_found.iter().chain(&point.as_left));
        let own: Vec<f64> = reads.filter_map(|read| read.standard).collect();
        self.readings.extend(&own);
        let Some(first) = points.first() else { return };
        let years = points.iter().map(|point| years_between(first.at, point.at));
        let years: Vec<f64> = years.collect();
        let mean = years.iter().sum::<f64>() / years.len() as f64;
        let squares = years.iter().map(|year| (year - mean).powi(2)).sum::<f64>();
        self.drifts.extend(median(own).filter(|_| squares > 0.0).map(|own| own / squares.sqrt()));
    }
}

fn drift(member: &FleetMember) -> Option<f64> {
    member.trend.as_ref().map(|trend| trend.per_year)
}

/// Lower is worse: what is outside already, then the years that are left.
fn worse(member: &FleetMember) -> f64 {
    match (member.room, member.years_left) {
        (Some(room), _) if room < 0.0 => f64::NEG_INFINITY,
        (_, Some(years)) => years,
        _ => f64::INFINITY,
    }
}

fn room(a: &FleetMember, b: &FleetMember) -> std::cmp::Ordering {
    let room = |member: &FleetMember| member.room.unwrap_or(f64::INFINITY);
    let name = |member: &FleetMember| (member.site_name.clone(), member.repeater.clone());
    room(a).total_cmp(&room(b)).then_with(|| name(a).cmp(&name(b)))
}

/// Names who stands apart, by the room left and by the drift.
fn set_apart(class: &mut FleetClass, spreads: Spreads, repeaters: &[FleetRepeater]) {
    let rooms: Vec<Option<f64>> = class.members.iter().map(|member| member.room).collect();
    let drifts: Vec<Option<f64>> = class.members.iter().map(drift).collect();
    let (rooms, drifts) = (scores(&rooms, spreads.readings), scores(&drifts, spreads.drifts));
    for ((member, by_room), by_drift) in class.members.iter_mut().zip(rooms).zip(drifts) {
        if let Some(score) = by_room {
            let readings = vec![member.newest.clone()];
            member.apart.push(Apart { by: ApartBy::Room, score, readings });
        }
        if let Some(score) = by_drift {
            // Two repeaters of a site may be called alike: the newest reading tells them apart.
            let own = repeaters
                .iter()
                .flat_map(|it| &it.histories)
                .find(|it| it.check == class.check && holds(it, &member.newest.reading));
            let points = own.into_iter().flat_map(|history| &history.points);
            let readings = points.filter_map(|point| {
                Some(reading(point, point.as_found.as_ref().or(point.as_left.as_ref())?))
            });
            let readings = readings.collect();
            member.apart.push(Apart { by: ApartBy::Drift, score, readings });
        }
    }
}

fn holds(history: &CheckHistory, reading: &str) -> bool {
    let reads = history.points.iter().flat_map(|point| point.as_found.iter().chain(&point.as_left));
    reads.into_iter().any(|read| read.reading == reading)
}

/// The score of each value that stands apart.
fn scores(values: &[Option<f64>], spreads: Vec<f64>) -> Vec<Option<f64>> {
    let repeat = median(spreads).unwrap_or_default();
    let known: Vec<f64> = values.iter().flatten().copied().collect();
    let none = vec![None; values.len()];
    if known.len() < APART_MEMBERS_MIN {
        return none;
    }
    let Some(middle) = median(known.clone()) else { return none };
    let distances = known.iter().map(|value| (value - middle).abs()).collect();
    let spread = median(distances).unwrap_or_default().max(MEDIAN_DISTANCE * repeat);
    if spread <= 0.0 {
        return none;
    }
    let score = |value: f64| MEDIAN_DISTANCE * (value - middle) / spread;
    let apart = |value: &Option<f64>| value.map(score).filter(|it| it.abs() > APART_SCORE);
    values.iter().map(apart).collect()
}

/// The middle value, or the mean of the two.
fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    match values.len() {
        0 => None,
        even if even % 2 == 0 => Some(f64::midpoint(values[middle - 1], values[middle])),
        _ => Some(values[middle]),
    }
}

#[cfg(test)]
#[path = "fleet_tests.rs"]
mod tests;
