//! Limits as the core finds them, against the published tables: HANDBOOK 2.1 and 2.3.

use guyline_core::limits::StationClass::{self, Base, Mobile, Portable};
use guyline_core::limits::{deviation, frequency_tolerance};
use guyline_core::units::Hertz;

use crate::source::Source::{Computed, Published};
use crate::source::close;

/// Megahertz inside a band, class, ppm; 47 CFR 90.213(a) Table 1 as read in HANDBOOK 2.1.
const TABLE_1: [(f64, StationClass, f64); 22] = [
    (40.0, Base, 20.0),
    (40.0, Mobile, 20.0),
    (40.0, Portable, 50.0),
    (75.0, Base, 5.0),
    (75.0, Portable, 50.0),
    (160.0, Base, 5.0),
    (160.0, Mobile, 5.0),
    (160.0, Portable, 50.0),
    (460.0, Base, 2.5),
    (460.0, Mobile, 5.0),
    (460.0, Portable, 5.0),
    (808.0, Base, 1.0),
    (808.0, Mobile, 1.5),
    (815.0, Base, 1.5),
    (815.0, Mobile, 2.5),
    (853.0, Base, 1.0),
    (853.0, Mobile, 1.5),
    (862.0, Base, 1.5),
    (862.0, Portable, 2.5),
    (898.0, Base, 0.1),
    (937.0, Base, 0.1),
    (937.0, Mobile, 1.5),
];

#[test]
fn wide_channels_get_the_tables_own_cell() {
    for (mhz, station, ppm) in TABLE_1 {
        let found = frequency_tolerance("us", (mhz * 1e6) as u64, 25_000, station).unwrap();
        let id = format!("{mhz} MHz {station:?}");
        close(&id, found.value.ppm(), ppm, 1e-9, &Published("47 CFR 90.213(a) Table 1"));
        assert!(found.verified, "{id}: the table was read");
    }
}

#[test]
fn tolerances_in_hertz() {
    // HANDBOOK 2.1 "Tests", calculated there.
    for (mhz, channel_hz, hertz) in [(155.0, 12_500, 387.5), (155.0, 25_000, 775.0)] {
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
}
