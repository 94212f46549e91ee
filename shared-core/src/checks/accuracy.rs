//! How far an instrument may be off at a reading: its data sheet, range by range.
//!
//! In: an accuracy, a quantity, the reading and the carrier. Out: a half-width in the unit of the
//! figure (dB, percent, ppm). Of the ranges that hold for the reading the widest counts; where none
//! does, the general figure.

use crate::record::AccuracyOf;
use crate::record::shop::{Accuracy, AccuracyRange};

/// The half-width of a quantity at a reading: dBm of a level, W of a power, Hz of a deviation or of
/// how far a carrier is off.
pub(super) fn half_width(accuracy: &Accuracy, of: AccuracyOf, reading: f64, at_hz: u64) -> f64 {
    let general = match of {
        AccuracyOf::Level => accuracy.level_db,
        AccuracyOf::Power => accuracy.power_percent,
        AccuracyOf::Frequency => accuracy.frequency_ppm,
        AccuracyOf::Deviation => accuracy.deviation_percent,
    };
    let holds = |range: &&AccuracyRange| {
        range.of == of
            && range.from.is_none_or(|from| reading >= from)
            && range.to.is_none_or(|to| reading <= to)
            && range.from_hz.is_none_or(|from| at_hz >= from)
            && range.to_hz.is_none_or(|to| at_hz <= to)
    };
    let widths = accuracy.ranges.iter().filter(holds).map(|range| range.half_width);
    widths.reduce(f64::max).unwrap_or(general)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn range(
        of: AccuracyOf,
        ends: [Option<f64>; 2],
        hz: [Option<u64>; 2],
        w: f64,
    ) -> AccuracyRange {
        let ([from, to], [from_hz, to_hz]) = (ends, hz);
        AccuracyRange { of, from, to, from_hz, to_hz, half_width: w }
    }

    #[test]
    fn the_widest_range_that_holds_goes_before_the_general_figure() {
        use AccuracyOf::{Deviation, Frequency, Level, Power};
        let accuracy = Accuracy {
            level_db: 1.0,
            power_percent: 6.0,
            frequency_ppm: 0.1,
            deviation_percent: 5.0,
            ranges: vec![
                range(Level, [None, Some(-110.0)], [None, None], 2.0),
                range(Level, [None, Some(-125.0)], [Some(400_000_000), None], 3.0),
                range(Level, [Some(-50.0), Some(0.0)], [None, Some(1_000_000_000)], 0.5),
                range(Power, [Some(1.0), Some(100.0)], [None, None], 4.0),
            ],
        };
        for (of, reading, mhz, expected) in [
            (Level, -109.9, 155, 1.0),
            (Level, -110.0, 155, 2.0),
            (Level, -125.0, 155, 2.0),
            (Level, -125.0, 400, 3.0),
            (Level, -125.0, 399, 2.0),
            (Level, -50.0, 1_000, 0.5),
            (Level, -50.1, 1_000, 1.0),
            (Level, 0.0, 1_001, 1.0),
            (Power, 0.99, 155, 6.0),
            (Power, 1.0, 155, 4.0),
            (Power, 100.0, 155, 4.0),
            (Power, 100.1, 155, 6.0),
            (Frequency, 50.0, 155, 0.1),
            (Deviation, 2_000.0, 155, 5.0),
        ] {
            let got = half_width(&accuracy, of, reading, mhz * 1_000_000);
            assert!((got - expected).abs() < 1e-12, "{of:?} {reading} at {mhz} MHz: {got}");
        }
    }
}
