//! Levels, powers, voltages and sums of losses: HANDBOOK 1.1 and 1.6, and the trade's worked facts.

use guyline_core::units::{Db, Dbm, Entry, Unit, Watts};

use crate::source::Source::{self, Computed, Practice, Published};
use crate::source::close;

fn level(typed: &str, unit: Unit) -> f64 {
    Entry::parse(typed, unit).unwrap().level().unwrap().dbm()
}

#[test]
fn what_is_typed_in_any_unit_is_the_published_level() {
    let rows: [(&str, &str, Unit, f64, f64, Source); 12] = [
        ("U1 1 µV", "1", Unit::Microvolt, -106.990, 0.0006, Computed("HANDBOOK U1")),
        ("U1 0.2 µV", "0.2", Unit::Microvolt, -120.969, 0.0006, Computed("HANDBOOK U1")),
        (
            "U1 0.3 µV",
            "0,3",
            Unit::Microvolt,
            -117.5,
            0.06,
            Published("HANDBOOK U1, service manual"),
        ),
        (
            "U1 0.5 µV",
            "0.5",
            Unit::Microvolt,
            -113.0,
            0.06,
            Published("HANDBOOK U1, service manual"),
        ),
        ("U3 1 µV EMF", "1", Unit::MicrovoltEmf, -113.010, 0.0006, Computed("HANDBOOK U3")),
        ("U2 0 dBµV", "0", Unit::DbMicrovolt, -106.990, 0.0006, Computed("HANDBOOK U2")),
        ("U4 50 W", "50", Unit::Watt, 46.990, 0.0006, Computed("HANDBOOK U4")),
        ("U4 10 W", "10", Unit::Watt, 40.0, 0.0006, Published("FCC Element 4 2024-28, E4D12")),
        ("U4 110 W", "110", Unit::Watt, 50.414, 0.0006, Computed("HANDBOOK U4")),
        ("U4 1 mW", "1", Unit::Milliwatt, 0.0, 1e-9, Published("the definition of dBm")),
        ("U4 0.1 pW", "-100", Unit::Dbm, -100.0, 1e-9, Published("FCC Element 4, E4D14")),
        ("−120 dBm", "0.2236", Unit::Microvolt, -120.0, 0.001, Practice),
    ];
    for (id, typed, unit, expected, rounding, source) in rows {
        close(id, level(typed, unit), expected, rounding, &source);
    }
}

#[test]
fn powers_back_from_levels() {
    // FCC Element 4 pool, E4D14: -100 dBm is 0.1 pW.
    let power = Dbm::new(-100.0).unwrap().watts().watts();
    close("E4D14", power / 1e-13, 1.0, 1e-9, &Published("FCC Element 4, E4D14"));
}

#[test]
fn published_sums_of_losses_and_gains() {
    let rows: [(&str, f64, &[f64], f64, f64, f64, Source); 6] = [
        // id, transmitter W, losses dB, gain dB, expected W, rounding W, where
        ("E1", 150.0, &[2.0, 2.2], 7.0, 286.0, 0.5, Published("FCC Element 4, E9A02")),
        ("E2", 200.0, &[4.0, 3.2, 0.8], 10.0, 317.0, 0.5, Published("FCC Element 4, E9A06")),
        ("E3", 200.0, &[2.0, 2.8, 1.2], 7.0, 252.0, 0.5, Published("FCC Element 4, E9A07")),
        ("P4", 50.0, &[3.0], 6.0, 99.76, 0.01, Computed("HANDBOOK P4")),
        ("22 W", 22.0, &[1.0], 0.0, 17.5, 0.05, Practice),
        ("U6", 10.0, &[3.0], 0.0, 5.0, 0.02, Published("FCC Element 3, G5B01")),
    ];
    for (id, watts, losses, gain, expected, rounding, source) in rows {
        let start = Watts::new(watts).unwrap().level() + Db::new(gain).unwrap();
        let end = losses.iter().fold(start, |level, loss| level - Db::new(*loss).unwrap());
        close(id, end.watts().watts(), expected, rounding, &source);
    }
}

#[test]
fn published_ratios_of_powers() {
    let rows: [(&str, f64, f64, f64, f64, Source); 4] = [
        ("5 to 10 W", 10.0, 5.0, 3.0, 0.02, Published("FCC Element 2, T5B09")),
        ("12 to 3 W", 3.0, 12.0, -6.0, 0.03, Published("FCC Element 2, T5B10")),
        ("20 to 200 W", 200.0, 20.0, 10.0, 1e-9, Published("FCC Element 2, T5B11")),
        ("17.1 of 22 W", 22.0, 17.1, 1.09, 0.005, Practice),
    ];
    for (id, out, reference, expected, rounding, source) in rows {
        let ratio = Db::of(Watts::new(out).unwrap(), Watts::new(reference).unwrap());
        close(id, ratio.db(), expected, rounding, &source);
    }
}
