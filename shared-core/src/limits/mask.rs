//! Emission masks of 47 CFR 90.210: which a band asks for, and how far down an emission must be.
//!
//! In: a carrier, a mask, an offset, the authorised bandwidth, the power. Out: dB below the
//! unmodulated carrier with its source, or why there is none. Which mask holds was read in the
//! text; what masks B, D and E ask is from memory and says so; the others are refused by name.
//!
//!   of a segment the least of:  fixed + slope·(f − f₀);  over + 10·log10(P)      f in kHz, P in W
//!
//! Where two segments meet, the one further out holds. HANDBOOK 2.2.

use std::sync::OnceLock;

use serde::Deserialize;

use super::Found;
use crate::units::{Hertz, Watts};

const BANDS_SOURCE: &str = "47 CFR 90.210 table, text of 2002 and 2009";
const NUMBERS_SOURCE: &str = "47 CFR 90.210, date of the text unknown (from memory, unverified)";

/// Why there is no mask, or no number of it.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MaskUnknown {
    /// The table does not speak of this carrier.
    #[error("47 CFR 90.210 names no mask at {at_mhz} MHz that was seen")]
    Band {
        /// The carrier, in megahertz.
        at_mhz: f64,
    },
    /// The text of this mask was not seen.
    #[error("the numbers of mask {mask:?} were not seen; known: B, D, E")]
    NotSeen {
        /// The mask.
        mask: String,
    },
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    band: Vec<Band>,
    segment: Vec<Segment>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Band {
    from_hz: u64,
    to_hz: u64,
    with: Vec<String>,
    without: Vec<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Segment {
    mask: String,
    from: f64,
    /// None: without end.
    to: Option<f64>,
    unit: Unit,
    least_of: Vec<Asked>,
}

#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Unit {
    Percent,
    Khz,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Asked {
    #[serde(default)]
    fixed: f64,
    #[serde(default)]
    slope: f64,
    #[serde(default)]
    slope_from_khz: f64,
    over_power: Option<f64>,
}

impl Asked {
    fn db(&self, offset_khz: f64, power_w: f64) -> f64 {
        match self.over_power {
            Some(over) => over + 10.0 * power_w.log10(),
            None => self.fixed + self.slope * (offset_khz - self.slope_from_khz),
        }
    }
}

fn file() -> &'static File {
    static FILE: OnceLock<File> = OnceLock::new();
    FILE.get_or_init(|| {
        let text = include_str!("../../data/limits/us-masks.toml");
        toml::from_str(text).expect("the shipped masks are read by a test")
    })
}

/// The masks that a carrier's band asks for, by name, for equipment with an audio low-pass filter
/// or without. Of several the one of the channel's width holds.
pub fn masks_of(
    carrier: Hertz,
    audio_low_pass: bool,
) -> Result<Found<&'static [String]>, MaskUnknown> {
    let hertz = carrier.hertz();
    let fits = |band: &&Band| (band.from_hz as f64..=band.to_hz as f64).contains(&hertz);
    let band = file().band.iter().find(fits);
    let band = band.ok_or(MaskUnknown::Band { at_mhz: hertz / 1e6 })?;
    let value: &[String] = if audio_low_pass { &band.with } else { &band.without };
    Ok(Found { value, source: BANDS_SOURCE.to_owned(), verified: true, notes: Vec::new() })
}

/// How far below the unmodulated carrier an emission must be at an offset from the channel's
/// centre, in dB; 0 where the mask asks nothing yet.
pub fn attenuation(
    mask: &str,
    offset: Hertz,
    authorised: Hertz,
    power: Watts,
) -> Result<Found<f64>, MaskUnknown> {
    let mut segments = file().segment.iter().filter(|segment| segment.mask == mask).peekable();
    if segments.peek().is_none() {
        return Err(MaskUnknown::NotSeen { mask: mask.chars().take(20).collect() });
    }
    let offset_khz = offset.hertz().abs() / 1e3;
    let within = |segment: &&Segment| {
        let at = match segment.unit {
            Unit::Percent => 1e5 * offset_khz / authorised.hertz(),
            Unit::Khz => offset_khz,
        };
        at >= segment.from && segment.to.is_none_or(|to| at < to)
    };
    let asked = segments.find(within).map(|segment| &segment.least_of);
    let db = |asked: &Asked| asked.db(offset_khz, power.watts());
    let value = asked.and_then(|asked| asked.iter().map(db).reduce(f64::min)).unwrap_or(0.0);
    Ok(Found {
        value: value.max(0.0),
        source: format!("mask {mask}, {NUMBERS_SOURCE}"),
        verified: false,
        notes: Vec::new(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hertz(value: f64) -> Hertz {
        Hertz::offset(value).unwrap()
    }

    fn asked(mask: &str, offset_hz: f64, authorised_hz: f64, watts: f64) -> f64 {
        let authorised = Hertz::bandwidth(authorised_hz).unwrap();
        let power = Watts::new(watts).unwrap();
        let found = attenuation(mask, hertz(offset_hz), authorised, power).unwrap();
        assert!(!found.verified && found.source.contains("from memory"), "{found:?}");
        found.value
    }

    #[test]
    fn the_shipped_masks_hold_together() {
        let file = file();
        for band in &file.band {
            assert!(band.from_hz < band.to_hz && !band.with.is_empty() && !band.without.is_empty());
        }
        for pair in file.segment.windows(2).filter(|pair| pair[0].mask == pair[1].mask) {
            assert_eq!(pair[0].to, Some(pair[1].from), "mask {} has no gap", pair[0].mask);
            assert_eq!(pair[0].unit, pair[1].unit);
        }
        assert!(file.segment.iter().all(|segment| !segment.least_of.is_empty()));
    }

    #[test]
    fn published_check_values_and_steps() {
        // HANDBOOK 2.2: D at 12.5 kHz is 69.94 dB by its slope, at 5.625 kHz 19.96 dB; the formulas
        // are from memory, unverified.
        assert!((asked("D", 5_625.0, 11_250.0, 100.0) - 19.96).abs() < 0.005);
        assert!((asked("D", 12_499.999, 11_250.0, 100.0) - 69.94).abs() < 0.005);
        assert!(asked("D", 5_624.0, 11_250.0, 100.0) < 1e-12);
        // Lesser of 50 + 10·log10(P) and 70 dB: the same at 100 W, the first at 10 W.
        assert!((asked("D", 12_500.0, 11_250.0, 100.0) - 70.0).abs() < 1e-9);
        assert!((asked("D", -20_000.0, 11_250.0, 10.0) - 60.0).abs() < 1e-9);
        assert!((asked("D", 20_000.0, 11_250.0, 1_000.0) - 70.0).abs() < 1e-9);
        for (offset_hz, expected) in [
            (9_999.0, 0.0),
            (10_000.0, 25.0),
            (19_999.0, 25.0),
            (20_000.0, 35.0),
            (49_999.0, 35.0),
            (50_000.0, 63.0),
            (90_000.0, 63.0),
        ] {
            assert!(
                (asked("B", offset_hz, 20_000.0, 100.0) - expected).abs() < 1e-9,
                "{offset_hz}"
            );
        }
        for (offset_hz, watts, expected) in [
            (2_999.0, 100.0, 0.0),
            (3_000.0, 100.0, 30.0),
            (4_000.0, 100.0, 46.67),
            (4_500.0, 1.0, 55.0),
            (4_600.0, 1.0, 55.0),
            (4_600.0, 100.0, 65.0),
        ] {
            let got = asked("E", offset_hz, 6_000.0, watts);
            assert!((got - expected).abs() < 1e-9, "{offset_hz} Hz, {watts} W: {got}");
        }
        assert!(asked("B", 60_000.0, 20_000.0, 1e-6) < 1e-12, "never less than nothing");
    }

    #[test]
    fn which_mask_a_band_asks_for() {
        // HANDBOOK 2.2: the table of 47 CFR 90.210.
        let named = |mhz: f64, low_pass| {
            let found = masks_of(Hertz::carrier(mhz * 1e6).unwrap(), low_pass).unwrap();
            assert!(found.verified && found.source.contains("90.210"));
            found.value.join("")
        };
        for (mhz, with, without) in [
            (25.0, "B", "C"),
            (76.0, "B", "C"),
            (155.0, "BDE", "CDE"),
            (221.0, "F", "F"),
            (512.0, "BDE", "CDE"),
            (808.0, "B", "H"),
            (852.0, "B", "H"),
            (860.0, "B", "G"),
            (936.0, "I", "J"),
        ] {
            assert_eq!((named(mhz, true).as_str(), named(mhz, false).as_str()), (with, without));
        }
        let none = masks_of(Hertz::carrier(300e6).unwrap(), true).unwrap_err();
        assert!(none.to_string().contains("300 MHz"), "{none}");
    }

    #[test]
    fn a_mask_whose_text_was_not_seen_is_refused_by_name() {
        for mask in ["C", "F", "G", "H", "I", "J", ""] {
            let authorised = Hertz::bandwidth(20e3).unwrap();
            let refused =
                attenuation(mask, hertz(10e3), authorised, Watts::new(1.0).unwrap()).unwrap_err();
            assert_eq!(refused, MaskUnknown::NotSeen { mask: mask.to_owned() });
        }
    }
}
