//! What the read-only HTTP answers look like. Shapes only; the words in them come from the record.

use guyline_core::uncertainty::Outcome;
use serde::Serialize;
use utoipa::ToSchema;

use super::ReadingRow;
use super::words;

/// The sites.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct SitesAnswer {
    /// In the order of their ids.
    pub sites: Vec<SiteData>,
}

/// A site with its repeaters. Where it stands is not told here.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct SiteData {
    /// The site's id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Its repeaters, also those no longer in use.
    pub repeaters: Vec<RepeaterData>,
}

/// A repeater.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct RepeaterData {
    /// Its id at the site.
    pub id: String,
    /// Its name.
    pub name: String,
    /// What it listens on, in hertz.
    pub receive_hz: u64,
    /// What it transmits on, in hertz.
    pub transmit_hz: u64,
    /// The channel's width, in hertz.
    pub channel_width_hz: u64,
    /// The call sign it is licensed under.
    pub call_sign: Option<String>,
    /// The day from which it is no longer in use.
    pub retired: Option<String>,
}

/// The visits.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct VisitsAnswer {
    /// In the order of their ids, which is that of their planning.
    pub visits: Vec<VisitData>,
}

/// A visit in a line.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct VisitData {
    /// Its id.
    pub id: String,
    /// The site's name.
    pub site_name: String,
    /// The repeater's name.
    pub repeater_name: String,
    /// The shop's order.
    pub work_order: String,
    /// When it was planned: RFC 3339 in UTC. Empty where the visit cannot be read.
    pub opened_at: String,
    /// Who is on site, by name.
    pub crew: Vec<String>,
    /// Checks with a standing reading.
    pub checks_read: u64,
    /// Checks in the plan.
    pub checks: u64,
    /// The worst verdict so far.
    #[schema(schema_with = words::outcome_or_none)]
    pub worst: Option<Outcome>,
    /// How many findings are faults or doubts.
    pub findings: u64,
    /// Whether somebody signed it off.
    pub signed_off: bool,
    /// Why it cannot be read here, where it cannot.
    pub unreadable: Option<String>,
}

/// A visit with its readings.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct VisitAnswer {
    /// The visit.
    pub visit: VisitData,
    /// Its readings, in the order of their ids.
    pub readings: Vec<ReadingRow>,
}

/// A page of readings.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct ReadingsAnswer {
    /// By visit and id.
    pub readings: Vec<ReadingRow>,
    /// What to ask `after` for the next page; none on the last.
    pub next: Option<String>,
    /// Visits that could not be read on the way here, by id. Their readings are missing.
    pub unread: Vec<String>,
}

/// When calibrations end.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct CalibrationsAnswer {
    /// Of instruments and parts in use, the earliest first.
    pub calibrations: Vec<CalibrationData>,
}

/// When a calibration ends.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct CalibrationData {
    /// What is calibrated.
    pub of: CalibratedKind,
    /// Its id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// The number its maker gave it.
    pub serial_number: Option<String>,
    /// The last day it holds.
    #[schema(format = Date)]
    pub due: String,
}

/// What is calibrated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CalibratedKind {
    /// An instrument.
    Instrument,
    /// A part.
    Part,
}
