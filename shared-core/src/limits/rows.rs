//! The rows of a limit file, shipped or a shop's own, and what a row must be to count as one.
//!
//! In: TOML. Out: rows whose numbers are in range, or the first fault. A row with a tag is shipped
//! with the program; a row without one is a shop's own.

use std::ops::RangeInclusive;

use serde::Deserialize;
use toml::Spanned;

use super::StationClass;
use crate::units::{OutOfRange, Ppm, in_range};

const BAND_HZ: RangeInclusive<f64> = 0.0..=1e11;
const WIDTH_HZ: RangeInclusive<f64> = 1.0..=1e6;
const TOLERANCE_PPM: RangeInclusive<f64> = 1e-6..=*Ppm::RANGE.end();
const FIGURE: RangeInclusive<f64> = -1e6..=1e6;

/// A limit file as written.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct File {
    pub(super) region: Option<Spanned<String>>,
    #[serde(default)]
    pub(super) unseen: Vec<Spanned<Unseen>>,
    #[serde(default)]
    pub(super) frequency_tolerance: Vec<Spanned<ToleranceRow>>,
    #[serde(default)]
    pub(super) note: Vec<Spanned<NoteRow>>,
    #[serde(default)]
    pub(super) deviation: Vec<Spanned<DeviationRow>>,
    #[serde(default)]
    pub(super) authorised_bandwidth: Vec<Spanned<BandwidthRow>>,
    #[serde(default)]
    pub(super) figure: Vec<Spanned<FigureRow>>,
}

/// A quantity of which a region's standard speaks, and of which no text was seen.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Unseen {
    pub(super) quantity: String,
    pub(super) standard: String,
}

/// How a shipped row came to be known.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Tag {
    Seen,
    SeenSecondary,
    FromMemory,
}

/// How far a carrier may be off, in parts per million or in hertz.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ToleranceRow {
    pub(super) from_hz: u64,
    pub(super) to_hz: u64,
    pub(super) channel_hz: Option<u64>,
    base_ppm: Option<f64>,
    mobile_ppm: Option<f64>,
    portable_ppm: Option<f64>,
    base_hz: Option<f64>,
    mobile_hz: Option<f64>,
    portable_hz: Option<f64>,
    /// In place of cells: where the number stands instead.
    pub(super) set_by: Option<String>,
    pub(super) source: String,
    pub(super) text_date: String,
    pub(super) tag: Option<Tag>,
}

/// What a text says of a band besides its table, and what a look-up cannot know.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct NoteRow {
    pub(super) from_hz: u64,
    pub(super) to_hz: u64,
    pub(super) stations: Vec<StationClass>,
    pub(super) text: String,
    pub(super) source: String,
    pub(super) text_date: String,
    pub(super) tag: Option<Tag>,
}

/// The most peak deviation on a channel.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DeviationRow {
    pub(super) channel_hz: u64,
    pub(super) deviation_max_hz: u64,
    pub(super) source: String,
    pub(super) text_date: String,
    pub(super) tag: Option<Tag>,
}

/// The authorised bandwidth of a channel in a band, or of a class of emission anywhere.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct BandwidthRow {
    pub(super) from_hz: u64,
    pub(super) to_hz: u64,
    pub(super) channel_hz: Option<u64>,
    pub(super) emission: Option<String>,
    pub(super) authorised_hz: u64,
    pub(super) source: String,
    pub(super) text_date: String,
    pub(super) tag: Option<Tag>,
}

/// A figure of a standard: a number a quantity must stay over or under.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FigureRow {
    pub(super) quantity: String,
    pub(super) channel_hz: Option<u64>,
    pub(super) at_least: Option<f64>,
    pub(super) at_most: Option<f64>,
    pub(super) unit: String,
    pub(super) source: String,
    pub(super) text_date: String,
    pub(super) tag: Option<Tag>,
}

/// What is wrong with a row.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RowFault {
    /// A number outside what the quantity can be.
    #[error(transparent)]
    Number(#[from] OutOfRange),
    /// A band that ends before it begins.
    #[error("the band from {from_hz} to {to_hz} Hz is empty")]
    EmptyBand {
        /// Where it begins.
        from_hz: u64,
        /// Where it ends.
        to_hz: u64,
    },
    /// No number at all.
    #[error("the row has no limit")]
    NoLimit,
    /// One class with a number in parts per million and one in hertz.
    #[error("one class has a limit in ppm and one in Hz; keep one")]
    TwoUnits,
    /// A bandwidth row that is neither of a channel nor of an emission, or is of both.
    #[error("give either channel_hz or emission")]
    ChannelOrEmission,
    /// A deviation that does not fit into its channel.
    #[error("a deviation of {deviation_hz} Hz does not fit a channel {channel_hz} Hz wide")]
    TooWide {
        /// The deviation.
        deviation_hz: u64,
        /// The channel's width.
        channel_hz: u64,
    },
    /// A text that must not be empty.
    #[error("{field} is empty")]
    Empty {
        /// The field.
        field: &'static str,
    },
}

/// What all rows have.
pub(super) trait Row {
    /// What it rests on: source, date of the text, tag.
    fn basis(&self) -> (&str, &str, Option<Tag>);
    /// What is wrong with its numbers.
    fn check_numbers(&self) -> Result<(), RowFault>;

    /// What is wrong with the row.
    fn check(&self) -> Result<(), RowFault> {
        let (source, text_date, _) = self.basis();
        filled("source", source)?;
        filled("text_date", text_date)?;
        self.check_numbers()
    }
}

/// The basis of a row type that has the three fields.
macro_rules! basis {
    () => {
        fn basis(&self) -> (&str, &str, Option<Tag>) {
            (&self.source, &self.text_date, self.tag)
        }
    };
}

impl ToleranceRow {
    /// Whether the row speaks of this carrier on this channel.
    pub(super) fn fits(&self, carrier_hz: u64, channel_hz: u64) -> bool {
        (self.from_hz..=self.to_hz).contains(&carrier_hz)
            && self.channel_hz.is_none_or(|width| width == channel_hz)
    }

    /// The cell of a class, in parts per million of the carrier.
    pub(super) fn ppm(&self, station: StationClass, carrier_hz: u64) -> Option<f64> {
        let (ppm, hz) = self.cell(station);
        ppm.or_else(|| hz.map(|hz| hz / (carrier_hz as f64 / 1e6)))
    }

    fn cell(&self, station: StationClass) -> (Option<f64>, Option<f64>) {
        match station {
            StationClass::Base => (self.base_ppm, self.base_hz),
            StationClass::Mobile => (self.mobile_ppm, self.mobile_hz),
            StationClass::Portable => (self.portable_ppm, self.portable_hz),
        }
    }
}

impl Row for ToleranceRow {
    basis!();
    fn check_numbers(&self) -> Result<(), RowFault> {
        band(self.from_hz, self.to_hz)?;
        width("channel width", self.channel_hz)?;
        let classes = [StationClass::Base, StationClass::Mobile, StationClass::Portable];
        let cells = classes.map(|class| self.cell(class));
        if cells.contains(&(None, None)) && cells.iter().all(|cell| *cell == (None, None)) {
            return self.set_by.as_ref().map(|_| ()).ok_or(RowFault::NoLimit);
        }
        for (class, cell) in classes.into_iter().zip(cells) {
            if let (Some(_), Some(_)) = cell {
                return Err(RowFault::TwoUnits);
            }
            // Hertz are most parts per million, and so furthest out of range, at the low end.
            for ppm in [self.ppm(class, self.from_hz), self.ppm(class, self.to_hz)] {
                ppm.map_or(Ok(0.0), |p| in_range("frequency tolerance", p, TOLERANCE_PPM, "ppm"))?;
            }
        }
        Ok(())
    }
}

impl Row for NoteRow {
    basis!();
    fn check_numbers(&self) -> Result<(), RowFault> {
        filled("text", &self.text)?;
        band(self.from_hz, self.to_hz)
    }
}

impl Row for DeviationRow {
    basis!();
    fn check_numbers(&self) -> Result<(), RowFault> {
        width("channel width", Some(self.channel_hz))?;
        width("deviation", Some(self.deviation_max_hz))?;
        if self.deviation_max_hz >= self.channel_hz {
            let (deviation_hz, channel_hz) = (self.deviation_max_hz, self.channel_hz);
            return Err(RowFault::TooWide { deviation_hz, channel_hz });
        }
        Ok(())
    }
}

impl Row for BandwidthRow {
    basis!();
    fn check_numbers(&self) -> Result<(), RowFault> {
        band(self.from_hz, self.to_hz)?;
        width("channel width", self.channel_hz)?;
        width("authorised bandwidth", Some(self.authorised_hz))?;
        match (self.channel_hz, &self.emission) {
            (Some(_), None) => Ok(()),
            (None, Some(emission)) => filled("emission", emission),
            _ => Err(RowFault::ChannelOrEmission),
        }
    }
}

impl Row for FigureRow {
    basis!();
    fn check_numbers(&self) -> Result<(), RowFault> {
        filled("quantity", &self.quantity)?;
        filled("unit", &self.unit)?;
        width("channel width", self.channel_hz)?;
        if self.at_least.is_none() && self.at_most.is_none() {
            return Err(RowFault::NoLimit);
        }
        for value in [self.at_least, self.at_most].into_iter().flatten() {
            in_range("figure", value, FIGURE, "of its unit")?;
        }
        Ok(())
    }
}

fn filled(field: &'static str, text: &str) -> Result<(), RowFault> {
    if text.trim().is_empty() { Err(RowFault::Empty { field }) } else { Ok(()) }
}

fn band(from_hz: u64, to_hz: u64) -> Result<(), RowFault> {
    in_range("end of the band", to_hz as f64, BAND_HZ, "Hz")?;
    if from_hz < to_hz { Ok(()) } else { Err(RowFault::EmptyBand { from_hz, to_hz }) }
}

fn width(quantity: &'static str, hz: Option<u64>) -> Result<(), RowFault> {
    if let Some(hz) = hz {
        in_range(quantity, hz as f64, WIDTH_HZ, "Hz")?;
    }
    Ok(())
}
