//! The limit tables shipped with the program, and the two look-ups into them.

use std::sync::OnceLock;

use serde::Deserialize;

use super::StationClass;
use crate::units::Ppm;

const SHIPPED: [&str; 1] = [include_str!("../../data/limits/us.toml")];

/// A limit with what it rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Found<T> {
    /// The limit.
    pub value: T,
    /// Text, section and date.
    pub source: String,
    /// False where the number is from memory: a verdict must say so.
    pub verified: bool,
}

/// Why there is no limit.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LimitUnknown {
    /// No table of this region.
    #[error("no limits are known for region {region:?}; known: {known}")]
    Region {
        /// What was asked for.
        region: String,
        /// The regions there are.
        known: String,
    },
    /// No row for this carrier and class.
    #[error("region {region} has no frequency tolerance for this class at {at_mhz} MHz")]
    Band {
        /// The region.
        region: String,
        /// The carrier, in megahertz.
        at_mhz: f64,
    },
    /// No row for this channel.
    #[error("region {region} has no deviation for a channel {width_hz} Hz wide")]
    Channel {
        /// The region.
        region: String,
        /// The channel's width.
        width_hz: u64,
    },
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    region: String,
    frequency_tolerance: Vec<ToleranceRow>,
    deviation: Vec<DeviationRow>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct ToleranceRow {
    from_hz: u64,
    to_hz: u64,
    channel_hz: Option<u64>,
    base_ppm: Option<f64>,
    mobile_ppm: Option<f64>,
    portable_ppm: Option<f64>,
    source: String,
    text_date: String,
    tag: Tag,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct DeviationRow {
    channel_hz: u64,
    deviation_max_hz: u64,
    source: String,
    text_date: String,
    tag: Tag,
}

#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Tag {
    Seen,
    SeenSecondary,
    FromMemory,
}

impl ToleranceRow {
    fn ppm(&self, station: StationClass) -> Option<f64> {
        match station {
            StationClass::Base => self.base_ppm,
            StationClass::Mobile => self.mobile_ppm,
            StationClass::Portable => self.portable_ppm,
        }
    }
}

fn tables() -> &'static [Table] {
    static TABLES: OnceLock<Vec<Table>> = OnceLock::new();
    TABLES.get_or_init(|| {
        SHIPPED
            .iter()
            .map(|text| toml::from_str(text).expect("the shipped tables are read by a test"))
            .collect()
    })
}

fn table(region: &str) -> Result<&'static Table, LimitUnknown> {
    tables().iter().find(|table| table.region == region).ok_or_else(|| LimitUnknown::Region {
        region: region.to_owned(),
        known: tables().iter().map(|t| t.region.as_str()).collect::<Vec<_>>().join(", "),
    })
}

fn found<T>(value: T, source: &str, text_date: &str, tag: Tag) -> Found<T> {
    let mut source = format!("{source}, text of {text_date}");
    if tag == Tag::FromMemory {
        source.push_str(" (from memory, unverified)");
    }
    Found { value, source, verified: tag != Tag::FromMemory }
}

/// How far a carrier may be off. A narrowband row of the channel's width overrides the band's;
/// where two bands meet, the tighter one holds.
pub fn frequency_tolerance(
    region: &str,
    carrier_hz: u64,
    channel_hz: u64,
    station: StationClass,
) -> Result<Found<Ppm>, LimitUnknown> {
    let rows = table(region)?.frequency_tolerance.iter();
    let fitting = rows.filter_map(|row| {
        let fits = (row.from_hz..=row.to_hz).contains(&carrier_hz)
            && row.channel_hz.is_none_or(|width| width == channel_hz);
        Some((row, row.ppm(station)?)).filter(|_| fits)
    });
    let (row, ppm) = fitting
        .min_by(|(a, a_ppm), (b, b_ppm)| {
            let narrow_first = a.channel_hz.is_none().cmp(&b.channel_hz.is_none());
            narrow_first.then(a_ppm.total_cmp(b_ppm))
        })
        .ok_or_else(|| LimitUnknown::Band {
            region: region.to_owned(),
            at_mhz: carrier_hz as f64 / 1e6,
        })?;
    let ppm = Ppm::new(ppm).expect("the shipped tolerances are tested to be quantities");
    Ok(found(ppm, &row.source, &row.text_date, row.tag))
}

/// The most deviation, in hertz, on a channel of this width.
pub fn deviation(region: &str, channel_hz: u64) -> Result<Found<f64>, LimitUnknown> {
    let row =
        table(region)?.deviation.iter().find(|row| row.channel_hz == channel_hz).ok_or_else(
            || LimitUnknown::Channel { region: region.to_owned(), width_hz: channel_hz },
        )?;
    Ok(found(row.deviation_max_hz as f64, &row.source, &row.text_date, row.tag))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shipped_row_is_a_limit_with_a_source() {
        for table in tables() {
            for row in &table.frequency_tolerance {
                assert!(row.from_hz < row.to_hz, "{}", row.source);
                assert!(!row.source.is_empty() && !row.text_date.is_empty());
                let cells = [row.base_ppm, row.mobile_ppm, row.portable_ppm];
                assert!(cells.iter().any(Option::is_some), "{}: an empty row", row.source);
                for ppm in cells.into_iter().flatten() {
                    assert!(Ppm::new(ppm).is_ok() && ppm > 0.0, "{}: {ppm}", row.source);
                }
            }
            for row in &table.deviation {
                assert!(row.deviation_max_hz < row.channel_hz, "{}", row.source);
            }
        }
    }

    #[test]
    fn published_cells_are_found() {
        use StationClass::{Base, Mobile, Portable};
        // HANDBOOK 2.1: 47 CFR 90.213(a) Table 1 and its footnotes.
        for (mhz, channel_hz, station, ppm, verified) in [
            (155.0, 25_000, Base, 5.0, true),
            (155.0, 12_500, Base, 2.5, true), // footnote 5
            (155.0, 6_250, Base, 1.0, true),  // footnote 5
            (155.0, 25_000, Portable, 50.0, true),
            (460.0, 25_000, Base, 2.5, true),
            (460.0, 12_500, Base, 1.5, false), // footnote 7: from memory, unverified
            (460.0, 12_500, Mobile, 2.5, false), // footnote 8: from memory, unverified
            (853.0, 25_000, Base, 1.0, true),
            (862.0, 25_000, Base, 1.5, true),
            (854.0, 25_000, Base, 1.0, true), // two bands meet: the tighter one
        ] {
            let got = frequency_tolerance("us", (mhz * 1e6) as u64, channel_hz, station).unwrap();
            assert!((got.value.ppm() - ppm).abs() < 1e-9, "{mhz} MHz, {channel_hz} Hz");
            assert_eq!(got.verified, verified, "{mhz} MHz, {channel_hz} Hz");
            assert_eq!(got.source.contains("from memory"), !verified);
        }
    }

    #[test]
    fn deviation_by_channel() {
        // HANDBOOK 2.3: 47 CFR 95.1775, ±2.5 kHz and ±5 kHz.
        assert!((deviation("us", 12_500).unwrap().value - 2500.0).abs() < 1e-9);
        assert!((deviation("us", 25_000).unwrap().value - 5000.0).abs() < 1e-9);
    }

    #[test]
    fn what_is_unknown_is_refused_by_name() {
        let band = frequency_tolerance("us", 300_000_000, 25_000, StationClass::Base);
        assert!(band.unwrap_err().to_string().contains("300 MHz"));
        assert!(frequency_tolerance("mars", 155_000_000, 25_000, StationClass::Base).is_err());
        assert!(deviation("us", 30_000).unwrap_err().to_string().contains("30000 Hz"));
        // 72-76 MHz has no cell for mobiles over 2 W.
        assert!(frequency_tolerance("us", 75_000_000, 25_000, StationClass::Mobile).is_err());
    }
}
