//! Every reading as a row: where, what, how it was read, on what, and what is said of it.
//!
//! In: a visit with its papers and its appraisal. Out: [`ReadingRow`]s in the order of the
//! readings' ids. Flattens; what is said of a reading is the appraisal's, word for word.

use guyline_core::checks::{Appraisal, Check, Sheet, Verdict};
use guyline_core::record::plan::Stage;
use guyline_core::record::shop::{Calibrated, Calibration};
use guyline_core::record::{Phase, Plane, Reading, Shop};
use guyline_core::uncertainty::Outcome;
use guyline_core::units::{Entry, Hertz, Reads, Unit};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::table::row;
use super::words;

row! {
/// One reading with everything that is known of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReadingRow {
    /// The visit's id.
    pub session: String,
    /// The reading's id within the visit.
    pub reading: String,
    /// The shop's order for the visit.
    pub work_order: String,
    /// The site's id.
    pub site: String,
    /// The site's name.
    pub site_name: String,
    /// The repeater's id at the site.
    pub repeater: String,
    /// The repeater's name; none where the site no longer lists it.
    pub repeater_name: Option<String>,
    /// What the repeater listens on, in hertz.
    pub receive_hz: Option<u64>,
    /// What it transmits on, in hertz.
    pub transmit_hz: Option<u64>,
    /// The channel's width, in hertz.
    pub channel_width_hz: Option<u64>,
    /// The check's id.
    pub check: String,
    /// The check's title; none where the plan no longer has it.
    pub check_title: Option<String>,
    /// The part of the visit.
    #[schema(schema_with = words::stage)]
    pub stage: Option<Stage>,
    /// What was read.
    #[schema(schema_with = words::quantity)]
    pub quantity: Option<Reads>,
    /// The plane it speaks of.
    #[schema(schema_with = words::plane)]
    pub plane: Plane,
    /// What was connected, by id.
    pub chain: String,
    /// What the crew called that.
    pub chain_name: Option<String>,
    /// What counted as the result.
    pub criterion: String,
    /// Before or after adjustment.
    #[schema(schema_with = words::phase)]
    pub phase: Phase,
    /// The number as typed.
    pub typed: String,
    /// The unit it was typed in.
    #[schema(schema_with = words::unit)]
    pub unit: Unit,
    /// The number in `base_unit`; none where it is no number of its quantity.
    pub base_value: Option<f64>,
    /// dBm for levels and powers, Hz for frequency errors and deviations.
    pub base_unit: String,
    /// What it means at its plane, in `base_unit`.
    pub at_plane: Option<f64>,
    /// The expanded uncertainty of that, in dB or Hz.
    pub at_plane_expanded: Option<f64>,
    /// What was judged, in words.
    pub judged: Option<String>,
    /// The judged value, in `value_unit`.
    pub value: Option<f64>,
    /// The unit of value, uncertainty, limits and margin.
    pub value_unit: Option<String>,
    /// The expanded uncertainty of the judged value.
    pub expanded: Option<f64>,
    /// Its coverage factor.
    pub coverage_factor: Option<f64>,
    /// Not less than this.
    pub limit_low: Option<f64>,
    /// Not more than this.
    pub limit_high: Option<f64>,
    /// What the limit rests on.
    pub limit_source: Option<String>,
    /// False where the limit is from memory; none where there is no limit.
    pub limit_verified: Option<bool>,
    /// The distance to the nearer limit, negative outside.
    pub margin: Option<f64>,
    /// The probability that what was measured lies within the limits.
    pub conformity: Option<f64>,
    /// What is said of it.
    #[schema(schema_with = words::outcome)]
    pub verdict: Outcome,
    /// Why, in a sentence.
    pub reason: String,
    /// Who read it, by id.
    pub by: String,
    /// Their name; none where the shop does not list them.
    pub by_name: Option<String>,
    /// The device it was written on.
    pub device: String,
    /// When, by that device's clock: RFC 3339 in UTC.
    #[schema(format = DateTime)]
    pub at: String,
    /// What it was read on, by id.
    pub instrument: String,
    /// That one's name; none where the shop does not list it.
    pub instrument_name: Option<String>,
    /// The number its maker gave it.
    pub instrument_serial_number: Option<String>,
    /// Who the instrument said it is, where it gave the number itself.
    pub answered_by: Option<String>,
    /// The last day the instrument's calibration held that was in force that day.
    pub calibration_held_to: Option<String>,
    /// The day that calibration was made, where the shop lists it.
    pub calibrated_on: Option<String>,
    /// The number of its certificate.
    pub calibration_certificate: Option<String>,
    /// False when it was taken back or replaced.
    pub standing: bool,
    /// The reading this one corrects, by id.
    pub replaces: Option<String>,
    /// The reading that corrects this one, by id: the first, should there be two.
    pub replaced_by: Option<String>,
    /// Why it was taken back, where it was.
    pub taken_back_because: Option<String>,
}
}

/// All readings of a shop, as JSON has them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ReadingsFile {
    /// What the file is: `guyline-readings`.
    pub format: String,
    /// The shape of what follows; grows when a reader of this one would go wrong.
    pub version: u32,
    /// The shop's name.
    pub shop: String,
    /// The readings, by visit and id.
    pub readings: Vec<ReadingRow>,
    /// Visits that could not be read when it was made. Their readings are missing here.
    pub unread: Vec<Unread>,
}

/// A visit that could not be read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Unread {
    /// The visit's id.
    pub session: String,
    /// Why.
    pub why: String,
}

impl ReadingsFile {
    /// A file of this version.
    pub(crate) fn of(shop: String, readings: Vec<ReadingRow>, unread: Vec<Unread>) -> Self {
        Self { format: "guyline-readings".to_owned(), version: 1, shop, readings, unread }
    }
}

/// A visit's readings.
pub(crate) fn rows(session: &str, sheet: &Sheet, appraisal: &Appraisal) -> Vec<ReadingRow> {
    let readings = &sheet.session.readings;
    let row = |(id, reading): (&String, &Reading)| {
        let checks = appraisal.checks.iter();
        let mut states = checks
            .flat_map(|state| state.readings.iter().map(move |reading| (&state.check, reading)));
        let state = states.find(|(_, state)| state.id == *id);
        let row = unsaid(session, sheet, id, reading, state.map(|(check, _)| check));
        match state {
            Some((_, state)) => said(row, &state.verdict),
            None => row,
        }
    };
    readings.iter().map(row).collect()
}

/// The row of a reading before anything is said of it, as where the plan no longer has its check.
fn unsaid(
    session: &str,
    sheet: &Sheet,
    id: &str,
    reading: &Reading,
    check: Option<&Check>,
) -> ReadingRow {
    let Sheet { shop, site, session: visit } = sheet;
    let repeater = site.repeaters.get(&visit.repeater);
    let instrument = shop.instruments.get(&reading.instrument);
    let calibration = calibration(shop, reading);
    let carrier = repeater.and_then(|r| Hertz::carrier(r.transmit_hz as f64).ok());
    let (base_value, base_unit) = base(reading, carrier);
    ReadingRow {
        session: session.to_owned(),
        reading: id.to_owned(),
        work_order: visit.work_order.clone(),
        site: visit.site.to_string(),
        site_name: site.name.clone(),
        repeater: visit.repeater.clone(),
        repeater_name: repeater.map(|repeater| repeater.name.clone()),
        receive_hz: repeater.map(|repeater| repeater.receive_hz),
        transmit_hz: repeater.map(|repeater| repeater.transmit_hz),
        channel_width_hz: repeater.map(|repeater| repeater.channel_width_hz),
        check: reading.check.clone(),
        check_title: check.map(|check| check.title.clone()),
        stage: check.map(|check| check.stage),
        quantity: check.map(|check| check.reads),
        plane: reading.plane,
        chain: reading.chain.clone(),
        chain_name: visit.chains.get(&reading.chain).map(|chain| chain.name.clone()),
        criterion: reading.criterion.clone(),
        phase: reading.phase,
        typed: reading.typed.clone(),
        unit: reading.unit,
        base_value,
        base_unit: base_unit.to_owned(),
        by: reading.stamp.by.clone(),
        by_name: shop.people.get(&reading.stamp.by).map(|person| person.name.clone()),
        device: reading.stamp.device.clone(),
        at: reading.stamp.at.to_string(),
        instrument: reading.instrument.clone(),
        instrument_name: instrument.map(|instrument| instrument.name.clone()),
        instrument_serial_number: instrument.and_then(|found| found.serial_number.clone()),
        answered_by: reading.answered_by.clone(),
        calibration_held_to: held_to(shop, reading),
        calibrated_on: calibration.map(|calibration| calibration.on.clone()),
        calibration_certificate: calibration.and_then(|made| made.certificate.clone()),
        standing: visit.standing_readings().contains_key(id),
        replaces: reading.replaces.clone(),
        replaced_by: replaced_by(sheet, id),
        taken_back_because: visit.taken_back(id).map(|taken| taken.reason.clone()),
        at_plane: None,
        at_plane_expanded: None,
        judged: None,
        value: None,
        value_unit: None,
        expanded: None,
        coverage_factor: None,
        limit_low: None,
        limit_high: None,
        limit_source: None,
        limit_verified: None,
        margin: None,
        conformity: None,
        verdict: Outcome::NotJudged,
        reason: format!("the plan has no check {:?}", reading.check),
    }
}

/// The row with what is said of the reading.
fn said(row: ReadingRow, verdict: &Verdict) -> ReadingRow {
    let limits = verdict.limits;
    ReadingRow {
        at_plane: verdict.at_plane,
        at_plane_expanded: verdict.at_plane_expanded,
        judged: Some(verdict.judged.clone()),
        value: verdict.value,
        value_unit: Some(verdict.unit.clone()).filter(|unit| !unit.is_empty()),
        expanded: verdict.expanded,
        coverage_factor: verdict.coverage_factor,
        limit_low: limits.and_then(|limits| limits.low),
        limit_high: limits.and_then(|limits| limits.high),
        limit_source: limits.map(|_| verdict.limit_source.clone()),
        limit_verified: limits.map(|_| verdict.limit_verified),
        margin: verdict.margin,
        conformity: verdict.conformity,
        verdict: verdict.outcome,
        reason: verdict.reason.clone(),
        ..row
    }
}

/// The number typed, in the unit all of its kind are kept in.
fn base(reading: &Reading, carrier: Option<Hertz>) -> (Option<f64>, &'static str) {
    let entry = Entry::parse(&reading.typed, reading.unit).ok();
    match reading.unit {
        Unit::Hertz | Unit::Kilohertz | Unit::Ppm => {
            let offset = entry.zip(carrier).and_then(|(entry, at)| entry.offset(at).ok());
            (offset.map(Hertz::hertz), "Hz")
        }
        _ => (entry.and_then(|entry| entry.level().ok()).map(|level| level.dbm()), "dBm"),
    }
}

fn held_to(shop: &Shop, reading: &Reading) -> Option<String> {
    let day = reading.stamp.at.day();
    let held = shop.calibration_held_to(Calibrated::Instrument, &reading.instrument, day);
    held.map(str::to_owned)
}

/// The listed calibration of the instrument that was the newest on the day of the reading.
fn calibration<'shop>(shop: &'shop Shop, reading: &Reading) -> Option<&'shop Calibration> {
    let day = reading.stamp.at.day().to_string();
    let listed = shop.calibrations.values().filter(|made| {
        made.of == Calibrated::Instrument
            && made.item == reading.instrument
            && made.retired.is_none()
    });
    // Days written alike compare as they follow each other.
    listed.filter(|made| made.on <= day).max_by_key(|made| &made.on)
}

/// What corrects a reading and was not taken back itself.
fn replaced_by(sheet: &Sheet, id: &str) -> Option<String> {
    let mut others = sheet.session.readings.iter();
    let by = others.find(|(other, reading)| {
        reading.replaces.as_deref() == Some(id) && sheet.session.taken_back(other).is_none()
    });
    by.map(|(other, _)| other.clone())
}
