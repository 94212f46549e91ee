//! Limits as the core finds them, against the published tables: HANDBOOK 2.1, 2.3, 2.4 and 2.6.

use guyline_core::language::Language;
use guyline_core::limits::StationClass::{self, Base, Mobile, Portable};
use guyline_core::limits::{
    AsRead, Licence, LimitTable, LimitUnknown, deviation, frequency_tolerance, licence_findings,
};
use guyline_core::units::{Hertz, Watts};

use crate::source::Source::{Computed, Published};
use crate::source::close;

/// Megahertz inside a band, and base, mobile, portable ppm (0: no cell); 47 CFR 90.213(a) Table 1
/// as read in HANDBOOK 2.1.
const TABLE_1: [(f64, [f64; 3]); 16] = [
    (20.0, [100.0, 100.0, 200.0]),
    (40.0, [20.0, 20.0, 50.0]),
    (75.0, [5.0, 0.0, 50.0]),
    (160.0, [5.0, 5.0, 50.0]),
    (218.0, [1.0, 0.0, 1.0]),
    (221.0, [0.1, 1.5, 1.5]),
    (460.0, [2.5, 5.0, 5.0]),
    (808.0, [1.0, 1.5, 1.5]),
    (815.0, [1.5, 2.5, 2.5]),
    (853.0, [1.0, 1.5, 1.5]),
    (862.0, [1.5, 2.5, 2.5]),
    (898.0, [0.1, 1.5, 1.5]),
    (915.0, [2.5, 2.5, 2.5]),
    (929.5, [1.5, 0.0, 0.0]),
    (937.0, [0.1, 1.5, 1.5]),
    (1430.0, [300.0, 300.0, 300.0]),
];

fn ppm(mhz: f64, channel_hz: u64, station: StationClass) -> Option<(f64, bool)> {
    let found = frequency_tolerance("us", (mhz * 1e6) as u64, channel_hz, station).ok()?;
    Some((found.value.ppm(), found.verified))
}

#[test]
fn wide_channels_get_the_tables_own_cell() {
    for (mhz, cells) in TABLE_1 {
        for (station, expected) in [Base, Mobile, Portable].into_iter().zip(cells) {
            let id = format!("{mhz} MHz {station:?}");
            let Some((got, verified)) = ppm(mhz, 25_000, station) else {
                assert!(expected < 1e-9, "{id}: no cell was found, the table has {expected}");
                continue;
            };
            close(&id, got, expected, 1e-9, &Published("47 CFR 90.213(a) Table 1"));
            assert!(verified, "{id}: the table was read");
        }
    }
    let above = frequency_tolerance("us", 5_800_000_000, 25_000, Base).unwrap_err();
    assert!(matches!(above, LimitUnknown::SetElsewhere { .. }), "footnote 10: {above}");
}

#[test]
fn footnotes_of_narrow_channels_override_the_cell() {
    // Trap 12. Footnotes 4 and 5 were read; 6 to 8 are from memory, unverified.
    for (footnote, mhz, channel_hz, station, expected, verified) in [
        (4, 154.46, 25_000, Portable, 5.0, true),
        (4, 173.3, 25_000, Portable, 5.0, true),
        (5, 155.0, 12_500, Base, 2.5, true),
        (5, 155.0, 6_250, Base, 1.0, true),
        (6, 155.0, 12_500, Mobile, 5.0, false),
        (6, 155.0, 6_250, Portable, 2.0, false),
        (7, 460.0, 12_500, Base, 1.5, false),
        (7, 460.0, 6_250, Base, 0.5, false),
        (8, 460.0, 12_500, Portable, 2.5, false),
        (8, 460.0, 6_250, Mobile, 1.0, false),
    ] {
        let id = format!("footnote {footnote}, {mhz} MHz {channel_hz} Hz {station:?}");
        let (got, seen) = ppm(mhz, channel_hz, station).unwrap();
        close(&id, got, expected, 1e-9, &Published("47 CFR 90.213(a), HANDBOOK 2.1"));
        assert_eq!(seen, verified, "{id}");
    }
}

#[test]
fn tolerances_in_hertz() {
    // HANDBOOK 2.1 "Tests", calculated there.
    for (mhz, channel_hz, hertz) in [
        (155.0, 12_500, 387.5),
        (155.0, 25_000, 775.0),
        (155.1, 25_000, 775.5),
        (460.0, 12_500, 690.0),
        (460.0, 25_000, 1150.0),
        (853.0, 25_000, 853.0),
        (862.0, 25_000, 1293.0),
        (898.0, 25_000, 89.8),
    ] {
        let carrier = Hertz::carrier(mhz * 1e6).unwrap();
        let found = frequency_tolerance("us", (mhz * 1e6) as u64, channel_hz, Base).unwrap();
        let got = found.value.at(carrier).hertz();
        close(&format!("{mhz} MHz"), got, hertz, 1e-6, &Computed("HANDBOOK 2.1"));
    }
}

#[test]
fn deviation_of_the_two_common_channels() {
    for (channel_hz, hertz) in [(12_500, 2_500.0), (25_000, 5_000.0)] {
        let got = deviation("us", channel_hz).unwrap().value;
        close(&format!("{channel_hz} Hz"), got, hertz, 1e-9, &Published("47 CFR 95.1775"));
    }
    let remembered = deviation("us", 20_000).unwrap();
    close("20 kHz", remembered.value, 4_000.0, 1e-9, &Computed("from memory, unverified"));
    assert!(!remembered.verified);
}

#[test]
fn authorised_bandwidths() {
    let us = LimitTable::shipped("us").unwrap();
    for (channel_hz, hertz) in [(25_000, 20_000.0), (12_500, 11_250.0), (6_250, 6_000.0)] {
        for carrier_hz in [155_000_000, 460_000_000] {
            let found = us.authorised_bandwidth(carrier_hz, channel_hz).unwrap();
            let source = Computed("90.209(b)(5) from memory, unverified; HANDBOOK 2.3");
            close(&format!("{channel_hz} Hz"), found.value, hertz, 1e-9, &source);
            assert!(!found.verified);
        }
    }
    for (symbols, hertz) in [("A1A", 250.0), ("A1B", 250.0), ("A3E", 8_000.0)] {
        let found = us.emission_bandwidth(155_000_000, symbols).unwrap();
        close(symbols, found.value, hertz, 1e-9, &Published("47 CFR 90.209(b)(1)"));
        assert!(found.verified);
    }
}

#[test]
fn the_european_standard_is_from_memory_throughout() {
    // HANDBOOK 2.6, all from memory, unverified: kHz off, at 25 and 12.5 kHz.
    let source = || Computed("EN 300 086 from memory, unverified; HANDBOOK 2.6");
    for (mhz, channel_hz, station, khz) in [
        (40.0, 25_000, Base, 0.6),
        (80.0, 25_000, Mobile, 1.35),
        (160.0, 25_000, Portable, 2.0),
        (450.0, 25_000, Base, 2.0),
        (900.0, 25_000, Base, 2.5),
        (40.0, 12_500, Base, 0.6),
        (80.0, 12_500, Base, 1.0),
        (160.0, 12_500, Base, 1.0),
        (160.0, 12_500, Mobile, 1.5),
        (450.0, 12_500, Base, 1.0),
        (450.0, 12_500, Mobile, 1.5),
    ] {
        let found = frequency_tolerance("eu", (mhz * 1e6) as u64, channel_hz, station).unwrap();
        let carrier = Hertz::carrier(mhz * 1e6).unwrap();
        let id = format!("{mhz} MHz {channel_hz} Hz {station:?}");
        close(&id, found.value.at(carrier).hertz() / 1e3, khz, 1e-9, &source());
        assert!(!found.verified && found.source.contains("from memory"), "{id}");
    }
    for (channel_hz, hertz) in [(12_500, 2_500.0), (20_000, 4_000.0), (25_000, 5_000.0)] {
        let found = deviation("eu", channel_hz).unwrap();
        close(&format!("{channel_hz} Hz"), found.value, hertz, 1e-9, &source());
        assert!(!found.verified);
    }
    let eu = LimitTable::shipped("eu").unwrap();
    for (quantity, channel_hz, at_most) in [
        ("sensitivity, normal", None, 6.0),
        ("sensitivity, extreme", None, 12.0),
        ("adjacent-channel power", Some(12_500), -60.0),
        ("adjacent-channel power", Some(20_000), -70.0),
        ("adjacent-channel power", Some(25_000), -70.0),
        ("conducted spurious, transmitter", None, -36.0),
        ("conducted spurious, receiver", None, -57.0),
        ("data sensitivity", None, 3.0),
    ] {
        let found = eu.figure(quantity, channel_hz).unwrap();
        close(quantity, found.value.at_most.unwrap(), at_most, 1e-9, &source());
        assert_eq!(found.verified, quantity == "conducted spurious, receiver", "{quantity}");
    }
}

#[test]
fn typical_uncertainties_are_from_memory() {
    let eu = LimitTable::shipped("eu").unwrap();
    for (of, at_most) in [
        ("RF frequency", 1e-7),
        ("RF power", 0.75),
        ("deviation, 300 Hz to 6 kHz", 5.0),
        ("deviation, above 6 kHz", 3.0),
        ("adjacent-channel power", 5.0),
        ("conducted spurious", 4.0),
        ("audio power", 0.5),
        ("sensitivity at 20 dB SINAD", 3.0),
        ("two-signal measurements", 4.0),
        ("residual modulation", 2.0),
        ("radiated", 6.0),
    ] {
        let found = eu.figure(&format!("measurement uncertainty, {of}"), None).unwrap();
        let source = Computed("ETSI land-mobile standards from memory, unverified; HANDBOOK 4.4");
        close(of, found.value.at_most.unwrap(), at_most, 1e-12, &source);
        assert!(!found.verified && found.source.contains("from memory"), "{of}");
    }
}

#[test]
fn figures_of_the_measuring_standard() {
    let us = LimitTable::shipped("us").unwrap();
    let source = || Published("TIA-603 as one summary has it, HANDBOOK 2.6");
    let hum = us.figure("hum and noise", None).unwrap();
    close("hum and noise", hum.value.at_least.unwrap(), 40.0, 1e-9, &source());
    let distortion = us.figure("audio distortion", Some(12_500)).unwrap();
    close("distortion", distortion.value.at_most.unwrap(), 10.0, 1e-9, &source());
    for (channel_hz, low, high) in [(25_000, 500.0, 1000.0), (12_500, 250.0, 500.0)] {
        let tone = us.figure("tone deviation", Some(channel_hz)).unwrap();
        assert!(!tone.verified, "from memory, unverified");
        close("tone", tone.value.at_least.unwrap(), low, 1e-9, &Computed("HANDBOOK 2.6"));
        close("tone", tone.value.at_most.unwrap(), high, 1e-9, &Computed("HANDBOOK 2.6"));
    }
}

#[test]
fn where_no_text_was_seen_there_is_no_number() {
    for unknown in [
        frequency_tolerance("ca", 155_000_000, 12_500, Base).map(|_| ()),
        deviation("ca", 12_500).map(|_| ()),
        LimitTable::shipped("ca").unwrap().authorised_bandwidth(155_000_000, 12_500).map(|_| ()),
    ] {
        let unknown = unknown.unwrap_err();
        assert!(matches!(unknown, LimitUnknown::NotSeen { .. }), "{unknown}");
        assert!(unknown.to_string().contains("RSS-119"), "{unknown}");
    }
}

#[test]
fn output_power_is_not_above_the_authorisation() {
    // 47 CFR 90.215(b), HANDBOOK 2.4.
    let licence = Licence {
        carrier: Hertz::carrier(155e6).unwrap(),
        output: Some(Watts::new(110.0).unwrap()),
        erp: None,
    };
    let tolerance = frequency_tolerance("us", 155_000_000, 12_500, Base).unwrap().value;
    for (output_w, within) in [(110.0, true), (110.001, false), (100.0, true), (131.0, false)] {
        let output = Some(Watts::new(output_w).unwrap());
        let read = AsRead { carrier: None, output, erp: None };
        let found = licence_findings(&licence, &read, tolerance, 12_500, Language::English);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].within, within, "{output_w} W");
    }
}
