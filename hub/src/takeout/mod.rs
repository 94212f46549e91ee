//! What is taken out of the tool as data, for other programs: readings, sites, due dates.
//!
//! In: papers and appraisals as the core has them. Out: a file's bytes. The same record gives the
//! same bytes: nothing here asks a clock, and every list is in the order of its ids. Judges nothing
//! and words nothing anew. What people typed reaches a file as text only.

pub mod answers;
pub(crate) mod calendar;
pub(crate) mod csv;
pub(crate) mod parquet;
pub(crate) mod places;
pub(crate) mod readings;
pub(crate) mod table;
pub(crate) mod words;

mod thrift;

pub use readings::{ReadingRow, ReadingsFile, Unread};

use serde::{Deserialize, Serialize};
use ts_rs::TS;

/// What can be taken out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, TS, ::clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum TakenOut {
    /// Every reading of the shop, a row each.
    Readings,
    /// The sites, as places.
    Sites,
    /// Visits and calibrations that fall due.
    Due,
}

/// The form of a file of data.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, TS, ::clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum DataForm {
    /// Comma-separated values (RFC 4180).
    Csv,
    /// JSON with a published schema.
    Json,
    /// Apache Parquet.
    Parquet,
    /// GeoJSON (RFC 7946).
    Geojson,
    /// iCalendar (RFC 5545).
    Ics,
}

impl TakenOut {
    /// Its name, as in a file's.
    pub fn name(self) -> &'static str {
        match self {
            Self::Readings => "readings",
            Self::Sites => "sites",
            Self::Due => "due",
        }
    }

    /// The forms it can take.
    pub fn forms(self) -> &'static [DataForm] {
        match self {
            Self::Readings => &[DataForm::Csv, DataForm::Json, DataForm::Parquet],
            Self::Sites => &[DataForm::Geojson],
            Self::Due => &[DataForm::Ics],
        }
    }
}

impl DataForm {
    /// The end of a file's name.
    pub fn extension(self) -> &'static str {
        match self {
            Self::Csv => "csv",
            Self::Json => "json",
            Self::Parquet => "parquet",
            Self::Geojson => "geojson",
            Self::Ics => "ics",
        }
    }

    /// The form a file's name ends with.
    pub fn of_extension(extension: &str) -> Option<Self> {
        let forms = [Self::Csv, Self::Json, Self::Parquet, Self::Geojson, Self::Ics];
        forms.into_iter().find(|form| form.extension() == extension)
    }

    /// Its media type, as the registry has it.
    pub fn media_type(self) -> &'static str {
        match self {
            Self::Csv => "text/csv; charset=utf-8; header=present",
            Self::Json => "application/json",
            Self::Parquet => "application/vnd.apache.parquet",
            Self::Geojson => "application/geo+json",
            Self::Ics => "text/calendar; charset=utf-8",
        }
    }
}
