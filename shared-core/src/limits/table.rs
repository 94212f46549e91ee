//! The limit tables shipped with the program, and the look-ups into them.
//!
//! In: region, carrier and channel in hertz, class. Out: a [`Found`] limit with source and date, or
//! [`LimitUnknown`]. Of the rows that fit, a shop's own goes before a shipped one, a row of the
//! channel's width before the band's, and the tighter one before the looser: so where two bands
//! meet, the tighter holds.

use std::sync::OnceLock;

use super::StationClass;
use super::rows::{
    BandwidthRow, DeviationRow, FigureRow, File, NoteRow, Row, Tag, ToleranceRow, Unseen,
};
use crate::units::Ppm;

const SHIPPED: [&str; 3] = [
    include_str!("../../data/limits/us.toml"),
    include_str!("../../data/limits/ca.toml"),
    include_str!("../../data/limits/eu.toml"),
];

/// The shipped tables as their texts, for a fingerprint of what a verdict rested on.
pub fn shipped() -> [&'static str; 3] {
    SHIPPED
}

/// The limits of a region.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitTable {
    pub(super) region: String,
    pub(super) unseen: Vec<Unseen>,
    pub(super) tolerances: Vec<ToleranceRow>,
    pub(super) notes: Vec<NoteRow>,
    pub(super) deviations: Vec<DeviationRow>,
    pub(super) bandwidths: Vec<BandwidthRow>,
    pub(super) figures: Vec<FigureRow>,
}

/// A limit with what it rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Found<T> {
    /// The limit.
    pub value: T,
    /// Text, section and date.
    pub source: String,
    /// False where the number is from memory: a verdict must say so.
    pub verified: bool,
    /// What the text says besides, of things this look-up is not told: power, service, emission.
    pub notes: Vec<String>,
}

/// A number of a standard that a quantity must stay over or under.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// The least it may be.
    pub at_least: Option<f64>,
    /// The most it may be.
    pub at_most: Option<f64>,
    /// The unit of both.
    pub unit: String,
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
    /// A standard speaks of it, and no text of the number was seen.
    #[error(
        "{standard} sets the {quantity} of region {region}, and no text of it was seen; \
             enter the number as a row of the shop"
    )]
    NotSeen {
        /// The region.
        region: String,
        /// What was asked for.
        quantity: String,
        /// The text that has it.
        standard: String,
    },
    /// No row for this carrier, channel and class.
    #[error(
        "region {region} has no frequency tolerance for this class on a channel {width_hz} Hz \
             wide at {at_mhz} MHz"
    )]
    Band {
        /// The region.
        region: String,
        /// The carrier, in megahertz.
        at_mhz: f64,
        /// The channel's width.
        width_hz: u64,
    },
    /// The table leaves the number to something else.
    #[error("region {region} has no frequency tolerance at {at_mhz} MHz of its own: {set_by}")]
    SetElsewhere {
        /// The region.
        region: String,
        /// The carrier, in megahertz.
        at_mhz: f64,
        /// What sets it.
        set_by: String,
    },
    /// No row for this channel.
    #[error("region {region} has no deviation for a channel {width_hz} Hz wide")]
    Channel {
        /// The region.
        region: String,
        /// The channel's width.
        width_hz: u64,
    },
    /// No authorised bandwidth.
    #[error("region {region} has no authorised bandwidth for {of} at {at_mhz} MHz")]
    Bandwidth {
        /// The region.
        region: String,
        /// The channel or the emission.
        of: String,
        /// The carrier, in megahertz.
        at_mhz: f64,
    },
    /// No such figure.
    #[error("region {region} has no {quantity:?} for this channel; known: {known}")]
    Figure {
        /// The region.
        region: String,
        /// What was asked for.
        quantity: String,
        /// The quantities there are.
        known: String,
    },
}

fn tables() -> &'static [LimitTable] {
    static TABLES: OnceLock<Vec<LimitTable>> = OnceLock::new();
    TABLES.get_or_init(|| {
        SHIPPED
            .iter()
            .map(|text| {
                let file = toml::from_str(text).expect("the shipped tables are read by a test");
                LimitTable::of(file)
            })
            .collect()
    })
}

fn found<T>(value: T, row: &impl Row) -> Found<T> {
    let (source, text_date, tag) = row.basis();
    let mut source = match text_date {
        "unknown" => format!("{source}, date of the text unknown"),
        date => format!("{source}, text of {date}"),
    };
    match tag {
        Some(Tag::FromMemory) => source.push_str(" (from memory, unverified)"),
        Some(Tag::Seen | Tag::SeenSecondary) => {}
        None => source.insert_str(0, "shop: "),
    }
    Found { value, source, verified: tag != Some(Tag::FromMemory), notes: Vec::new() }
}

impl LimitTable {
    fn of(file: File) -> Self {
        fn plain<T>(rows: Vec<toml::Spanned<T>>) -> Vec<T> {
            rows.into_iter().map(toml::Spanned::into_inner).collect()
        }
        Self {
            region: file.region.expect("a shipped table names its region").into_inner(),
            unseen: plain(file.unseen),
            tolerances: plain(file.frequency_tolerance),
            notes: plain(file.note),
            deviations: plain(file.deviation),
            bandwidths: plain(file.authorised_bandwidth),
            figures: plain(file.figure),
        }
    }

    /// The table that comes with the program, as in `us`.
    pub fn shipped(region: &str) -> Result<&'static Self, LimitUnknown> {
        tables().iter().find(|table| table.region == region).ok_or_else(|| LimitUnknown::Region {
            region: region.to_owned(),
            known: tables().iter().map(|t| t.region.as_str()).collect::<Vec<_>>().join(", "),
        })
    }

    /// How far a carrier may be off.
    pub fn frequency_tolerance(
        &self,
        carrier_hz: u64,
        channel_hz: u64,
        station: StationClass,
    ) -> Result<Found<Ppm>, LimitUnknown> {
        let fitting = || self.tolerances.iter().filter(|row| row.fits(carrier_hz, channel_hz));
        let best = fitting().filter_map(|row| Some((row, row.ppm(station, carrier_hz)?))).min_by(
            |(a, a_ppm), (b, b_ppm)| {
                let rank = |row: &ToleranceRow| (row.tag.is_some(), row.channel_hz.is_none());
                rank(a).cmp(&rank(b)).then(a_ppm.total_cmp(b_ppm))
            },
        );
        let Some((row, ppm)) = best else {
            let at_mhz = carrier_hz as f64 / 1e6;
            let region = self.region.clone();
            if let Some(set_by) = fitting().find_map(|row| row.set_by.clone()) {
                return Err(LimitUnknown::SetElsewhere { region, at_mhz, set_by });
            }
            let band = LimitUnknown::Band { region, at_mhz, width_hz: channel_hz };
            return Err(self.not_seen("frequency tolerance").unwrap_or(band));
        };
        let ppm = Ppm::new(ppm).expect("every row is checked to be in range over its band");
        let notes = self.notes_on(carrier_hz, station);
        Ok(Found { notes, ..found(ppm, row) })
    }

    /// The most peak deviation, in hertz, on a channel of this width.
    pub fn deviation(&self, channel_hz: u64) -> Result<Found<f64>, LimitUnknown> {
        let fitting = self.deviations.iter().filter(|row| row.channel_hz == channel_hz);
        let row = fitting.min_by_key(|row| (row.tag.is_some(), row.deviation_max_hz));
        let row = row.ok_or_else(|| {
            let channel =
                LimitUnknown::Channel { region: self.region.clone(), width_hz: channel_hz };
            self.not_seen("deviation").unwrap_or(channel)
        })?;
        Ok(found(row.deviation_max_hz as f64, row))
    }

    /// The authorised bandwidth, in hertz, of a channel of this width.
    pub fn authorised_bandwidth(
        &self,
        carrier_hz: u64,
        channel_hz: u64,
    ) -> Result<Found<f64>, LimitUnknown> {
        self.bandwidth(carrier_hz, &format!("a channel {channel_hz} Hz wide"), |row| {
            row.channel_hz == Some(channel_hz)
        })
    }

    /// The authorised bandwidth, in hertz, of a class of emission such as `A3E`.
    pub fn emission_bandwidth(
        &self,
        carrier_hz: u64,
        symbols: &str,
    ) -> Result<Found<f64>, LimitUnknown> {
        self.bandwidth(carrier_hz, &format!("emission {symbols}"), |row| {
            row.emission.as_deref() == Some(symbols)
        })
    }

    fn bandwidth(
        &self,
        carrier_hz: u64,
        of: &str,
        fits: impl Fn(&BandwidthRow) -> bool,
    ) -> Result<Found<f64>, LimitUnknown> {
        let in_band = |row: &&BandwidthRow| (row.from_hz..=row.to_hz).contains(&carrier_hz);
        let fitting = self.bandwidths.iter().filter(in_band).filter(|row| fits(row));
        let row = fitting.min_by_key(|row| (row.tag.is_some(), row.authorised_hz));
        let row = row.ok_or_else(|| {
            let none = LimitUnknown::Bandwidth {
                region: self.region.clone(),
                of: of.to_owned(),
                at_mhz: carrier_hz as f64 / 1e6,
            };
            self.not_seen("authorised bandwidth").unwrap_or(none)
        })?;
        Ok(found(row.authorised_hz as f64, row))
    }

    /// A figure of the region's standards, as in `audio distortion`, for a channel of this width.
    pub fn figure(
        &self,
        quantity: &str,
        channel_hz: Option<u64>,
    ) -> Result<Found<Figure>, LimitUnknown> {
        let fits = |row: &&FigureRow| {
            row.quantity == quantity && (row.channel_hz.is_none() || row.channel_hz == channel_hz)
        };
        let row = self.figures.iter().filter(fits).min_by_key(|row| row.tag.is_some());
        let row = row.ok_or_else(|| {
            let mut known: Vec<&str> = self.figures.iter().map(|r| r.quantity.as_str()).collect();
            known.dedup();
            let (region, quantity) = (self.region.clone(), quantity.to_owned());
            LimitUnknown::Figure { region, quantity, known: known.join(", ") }
        })?;
        let (at_least, at_most) = (row.at_least, row.at_most);
        Ok(found(Figure { at_least, at_most, unit: row.unit.clone() }, row))
    }

    fn notes_on(&self, carrier_hz: u64, station: StationClass) -> Vec<String> {
        let fits = |note: &&NoteRow| {
            (note.from_hz..=note.to_hz).contains(&carrier_hz) && note.stations.contains(&station)
        };
        let notes = self.notes.iter().filter(fits);
        notes.map(|note| format!("{} ({})", note.text, found((), note).source)).collect()
    }

    fn not_seen(&self, quantity: &str) -> Option<LimitUnknown> {
        let unseen = self.unseen.iter().find(|unseen| unseen.quantity == quantity)?;
        Some(LimitUnknown::NotSeen {
            region: self.region.clone(),
            quantity: quantity.to_owned(),
            standard: unseen.standard.clone(),
        })
    }
}

/// How far a carrier may be off. A narrowband row of the channel's width overrides the band's;
/// where two bands meet, the tighter one holds.
pub fn frequency_tolerance(
    region: &str,
    carrier_hz: u64,
    channel_hz: u64,
    station: StationClass,
) -> Result<Found<Ppm>, LimitUnknown> {
    LimitTable::shipped(region)?.frequency_tolerance(carrier_hz, channel_hz, station)
}

/// The most deviation, in hertz, on a channel of this width.
pub fn deviation(region: &str, channel_hz: u64) -> Result<Found<f64>, LimitUnknown> {
    LimitTable::shipped(region)?.deviation(channel_hz)
}

#[cfg(test)]
mod tests {
    use super::*;
    use StationClass::{Base, Mobile, Portable};

    fn sound<T: Row>(region: &str, rows: &[T]) {
        for row in rows {
            let (source, _, tag) = row.basis();
            assert_eq!(row.check(), Ok(()), "{region}: {source}");
            assert!(tag.is_some(), "{region}: {source}: a shipped row says how it is known");
        }
    }

    #[test]
    fn what_is_shipped_as_text_is_what_is_judged_by() {
        for (text, table) in shipped().iter().zip(tables()) {
            assert_eq!(&LimitTable::of(toml::from_str(text).unwrap()), table);
        }
    }

    #[test]
    fn every_shipped_row_is_a_limit_with_a_source() {
        for table in tables() {
            sound(&table.region, &table.tolerances);
            sound(&table.region, &table.notes);
            sound(&table.region, &table.deviations);
            sound(&table.region, &table.bandwidths);
            sound(&table.region, &table.figures);
        }
        assert!(tables()[0].tolerances.len() >= 24, "a table of 47 CFR 90.213 with its footnotes");
    }

    #[test]
    fn published_cells_are_found() {
        // HANDBOOK 2.1: 47 CFR 90.213(a) Table 1 and its footnotes.
        for (mhz, channel_hz, station, ppm, verified) in [
            (155.0, 25_000, Base, 5.0, true),
            (155.0, 12_500, Base, 2.5, true), // footnote 5
            (155.0, 6_250, Base, 1.0, true),  // footnote 5
            (155.0, 25_000, Portable, 50.0, true),
            (154.46, 25_000, Portable, 5.0, true), // footnote 4
            (155.0, 12_500, Portable, 5.0, false), // footnote 6: from memory, unverified
            (460.0, 25_000, Base, 2.5, true),
            (460.0, 12_500, Base, 1.5, false), // footnote 7: from memory, unverified
            (460.0, 12_500, Mobile, 2.5, false), // footnote 8: from memory, unverified
            (853.0, 25_000, Base, 1.0, true),
            (862.0, 25_000, Base, 1.5, true),
            (854.0, 25_000, Base, 1.0, true), // two bands meet: the tighter one
            (25.0, 25_000, Base, 20.0, true), // two bands meet: the tighter one
        ] {
            let got = frequency_tolerance("us", (mhz * 1e6) as u64, channel_hz, station).unwrap();
            assert!((got.value.ppm() - ppm).abs() < 1e-9, "{mhz} MHz, {channel_hz} Hz");
            assert_eq!(got.verified, verified, "{mhz} MHz, {channel_hz} Hz");
            assert_eq!(got.source.contains("from memory"), !verified);
        }
    }

    #[test]
    fn what_the_look_up_cannot_know_is_told_beside_it() {
        // HANDBOOK 2.1, footnotes 1 to 3 (seen) and 14 (from memory).
        let low = frequency_tolerance("us", 20_000_000, 25_000, Base).unwrap();
        assert_eq!(low.notes.len(), 3, "{:?}", low.notes);
        assert!(low.notes[0].contains("200 W") && low.notes[0].contains("footnote 1"));
        let high = frequency_tolerance("us", 460_000_000, 25_000, Base).unwrap();
        assert!(high.notes.iter().any(|note| note.contains("unverified")), "{:?}", high.notes);
        assert!(frequency_tolerance("us", 40_000_000, 25_000, Base).unwrap().notes.is_empty());
        assert!(frequency_tolerance("us", 20_000_000, 25_000, Mobile).unwrap().notes.len() < 3);
    }

    #[test]
    fn deviation_by_channel() {
        // HANDBOOK 2.3: 47 CFR 95.1775, ±2.5 kHz and ±5 kHz.
        assert!((deviation("us", 12_500).unwrap().value - 2500.0).abs() < 1e-9);
        assert!((deviation("us", 25_000).unwrap().value - 5000.0).abs() < 1e-9);
        let source = deviation("us", 20_000).unwrap().source;
        assert!(source.ends_with("date of the text unknown (from memory, unverified)"), "{source}");
    }

    #[test]
    fn a_figure_is_of_every_channel_or_of_its_own() {
        // HANDBOOK 2.6, from memory, unverified: tone deviation by channel; 60 and 70 dB.
        let us = LimitTable::shipped("us").unwrap();
        let tone = |channel_hz| us.figure("tone deviation", channel_hz);
        assert!((tone(Some(12_500)).unwrap().value.at_most.unwrap() - 500.0).abs() < 1e-9);
        assert!((tone(Some(25_000)).unwrap().value.at_most.unwrap() - 1000.0).abs() < 1e-9);
        assert!(tone(Some(30_000)).is_err() && tone(None).is_err());
        // One of every channel holds on any.
        for channel_hz in [None, Some(12_500), Some(25_000)] {
            let hum = us.figure("hum and noise", channel_hz).unwrap();
            assert!((hum.value.at_least.unwrap() - 40.0).abs() < 1e-9);
            assert!(us.figure("colour", channel_hz).is_err());
        }
    }

    #[test]
    fn hertz_become_parts_per_million_of_the_carrier() {
        // HANDBOOK 2.6: EN 300 086, from memory, unverified.
        let found = frequency_tolerance("eu", 160_000_000, 25_000, Base).unwrap();
        assert!((found.value.ppm() - 12.5).abs() < 1e-9, "2 kHz at 160 MHz");
        assert!(!found.verified);
        let unknown = frequency_tolerance("eu", 160_000_000, 20_000, Base).unwrap_err();
        assert!(unknown.to_string().contains("20000 Hz"), "{unknown}");
    }

    #[test]
    fn what_is_unknown_is_refused_by_name() {
        let band = frequency_tolerance("us", 300_000_000, 25_000, Base);
        assert!(band.unwrap_err().to_string().contains("300 MHz"));
        let region = frequency_tolerance("mars", 155_000_000, 25_000, Base).unwrap_err();
        assert!(region.to_string().contains("us, ca, eu"), "{region}");
        assert!(deviation("us", 30_000).unwrap_err().to_string().contains("30000 Hz"));
        // 72-76 MHz has no cell for mobiles over 2 W.
        assert!(frequency_tolerance("us", 75_000_000, 25_000, Mobile).is_err());
        let elsewhere = frequency_tolerance("us", 3_000_000_000, 25_000, Base).unwrap_err();
        assert!(elsewhere.to_string().contains("authorisation"), "{elsewhere}");
        let unseen = frequency_tolerance("ca", 155_000_000, 25_000, Base).unwrap_err();
        assert!(matches!(unseen, LimitUnknown::NotSeen { .. }), "{unseen}");
        assert!(unseen.to_string().contains("RSS-119"), "{unseen}");
        let figure = LimitTable::shipped("us").unwrap().figure("charm", None).unwrap_err();
        assert!(figure.to_string().contains("audio distortion"), "{figure}");
    }

    #[test]
    fn an_authorised_bandwidth_that_is_not_known_names_the_carrier() {
        let us = LimitTable::shipped("us").unwrap();
        let unknown = us.emission_bandwidth(300_000_000, "F3E").unwrap_err().to_string();
        let words = "region us has no authorised bandwidth for emission F3E at 300 MHz";
        assert_eq!(unknown, words);
    }
}
