//! A sweep as data: what every port sends to every port, at rising frequencies.
//!
//! In: frequencies in hertz, scattering parameters as complex ratios, one reference resistance a
//! port in ohms. Out: the response at a frequency, and loss, return loss and VSWR from a response.
//! It does not know where the numbers come from and never guesses beyond the swept range.
//!
//!   loss        = −20·log10 |S_to,from|     dB; of a reflection (to = from) it is the return loss
//!   VSWR        = (1 + |Γ|) / (1 − |Γ|)     1 and more; none for |Γ| ≥ 1, refused
//!
//! Between two points the magnitude goes linearly in dB and the phase along the shorter way, so
//! that an interpolated loss always lies between its two measured neighbours: a straight line
//! between complex values would cut through a notch and flatter it. Common practice, no source.
//! Formulas: HANDBOOK 5.3. Check values: HANDBOOK 5.3, T1, T3.

use std::f64::consts::{PI, TAU};
use std::ops::RangeInclusive;

use num_complex::Complex64;

use crate::units::{Db, Hertz, OutOfRange, in_range};

/// The most ports a sweep may have: a combiner's, and bounded work for what comes from outside.
pub const PORTS_MAX: usize = 8;
/// The most frequencies a sweep may have.
pub const POINTS_MAX: usize = 200_001;
/// The magnitudes of a reflection that have a standing-wave ratio.
pub const REFLECTION_RANGE: RangeInclusive<f64> = 0.0..=0.999_999;

/// Scattering parameters over frequency. Ports are counted from 1, as on the instrument.
#[derive(Clone, Debug, PartialEq)]
pub struct Sweep {
    ports: usize,
    frequencies_hz: Vec<f64>,
    /// Point by point, each a matrix row by row: the row is the port it comes out of.
    scattering: Vec<Complex64>,
    references_ohm: Vec<f64>,
}

/// Why there is no sweep, or no answer from it.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SweepRefused {
    /// Too many ports, or none.
    #[error("a sweep of {ports} ports: expected 1 to {PORTS_MAX}")]
    Ports {
        /// How many there were.
        ports: usize,
    },
    /// Too many frequencies, or none.
    #[error("a sweep of {points} frequencies: expected 1 to {POINTS_MAX}")]
    Points {
        /// How many there were.
        points: usize,
    },
    /// The lists do not belong together.
    #[error("{found} {of} in the sweep: expected {expected}")]
    Shape {
        /// Which list.
        of: &'static str,
        /// How long it is.
        found: usize,
        /// How long it must be.
        expected: usize,
    },
    /// A frequency that does not rise, or is none.
    #[error("frequency {frequency_hz} Hz at point {point} does not rise from the one before")]
    Order {
        /// The point, counted from 1.
        point: usize,
        /// Its frequency.
        frequency_hz: f64,
    },
    /// A value that is no number.
    #[error("the value at point {point} of the sweep is not finite")]
    NotFinite {
        /// The point, counted from 1.
        point: usize,
    },
    /// A reference that is no resistance.
    #[error(transparent)]
    Reference(OutOfRange),
    /// A port the sweep does not have.
    #[error("the sweep has ports 1 to {ports}, not port {port}")]
    Port {
        /// The port that was asked for.
        port: usize,
        /// How many there are.
        ports: usize,
    },
    /// A frequency that was not swept.
    #[error(
        "the sweep covers {low_mhz} to {high_mhz} MHz, not {wanted_mhz} MHz",
        low_mhz = .low_hz / 1e6,
        high_mhz = .high_hz / 1e6,
        wanted_mhz = .wanted_hz / 1e6
    )]
    Outside {
        /// Where the sweep begins.
        low_hz: f64,
        /// Where it ends.
        high_hz: f64,
        /// What was asked for.
        wanted_hz: f64,
    },
}

impl Sweep {
    /// The reference resistances a port may have, in ohms.
    pub const REFERENCE_RANGE: RangeInclusive<f64> = 1e-6..=1e6;

    /// Takes a sweep in: `scattering` is point by point, each matrix row by row.
    pub fn new(
        frequencies_hz: Vec<f64>,
        scattering: Vec<Complex64>,
        references_ohm: Vec<f64>,
    ) -> Result<Self, SweepRefused> {
        let (ports, points) = (references_ohm.len(), frequencies_hz.len());
        if !(1..=PORTS_MAX).contains(&ports) {
            return Err(SweepRefused::Ports { ports });
        }
        if !(1..=POINTS_MAX).contains(&points) {
            return Err(SweepRefused::Points { points });
        }
        let (found, expected) = (scattering.len(), points * ports * ports);
        if found != expected {
            return Err(SweepRefused::Shape { of: "values", found, expected });
        }
        for &ohm in &references_ohm {
            in_range("reference resistance", ohm, Self::REFERENCE_RANGE, "Ω")
                .map_err(SweepRefused::Reference)?;
        }
        let mut before = -1.0;
        for (index, &frequency_hz) in frequencies_hz.iter().enumerate() {
            let rises = frequency_hz > before && frequency_hz >= 0.0 && frequency_hz.is_finite();
            if !rises {
                return Err(SweepRefused::Order { point: index + 1, frequency_hz });
            }
            before = frequency_hz;
        }
        match scattering.iter().position(|value| !value.is_finite()) {
            Some(at) => Err(SweepRefused::NotFinite { point: at / (ports * ports) + 1 }),
            None => Ok(Self { ports, frequencies_hz, scattering, references_ohm }),
        }
    }

    /// How many ports there are.
    pub fn ports(&self) -> usize {
        self.ports
    }

    /// The frequencies, rising.
    pub fn frequencies_hz(&self) -> &[f64] {
        &self.frequencies_hz
    }

    /// The matrices, point by point and row by row.
    pub fn scattering(&self) -> &[Complex64] {
        &self.scattering
    }

    /// The reference resistance of every port, in ohms.
    pub fn references_ohm(&self) -> &[f64] {
        &self.references_ohm
    }

    /// What comes out of port `to` for what goes into port `from`, at every frequency.
    pub fn course(
        &self,
        to: usize,
        from: usize,
    ) -> Result<impl Iterator<Item = (f64, Complex64)> + '_, SweepRefused> {
        let (cell, matrix) = (self.cell(to, from)?, self.ports * self.ports);
        let values = self.scattering.iter().skip(cell).step_by(matrix);
        Ok(self.frequencies_hz.iter().copied().zip(values.copied()))
    }

    /// The same at one frequency, between its two neighbours. Refused outside the swept range.
    pub fn at(&self, frequency: Hertz, to: usize, from: usize) -> Result<Complex64, SweepRefused> {
        let cell = self.cell(to, from)?;
        let value = |point: usize| self.scattering[point * self.ports * self.ports + cell];
        let wanted_hz = frequency.hertz();
        let upper = self.frequencies_hz.partition_point(|&at| at < wanted_hz);
        match self.frequencies_hz.get(upper) {
            // To the point itself, nothing is interpolated.
            Some(&at) if at <= wanted_hz => Ok(value(upper)),
            Some(&above) if upper > 0 => {
                let below = self.frequencies_hz[upper - 1];
                let part = (wanted_hz - below) / (above - below);
                Ok(between(value(upper - 1), value(upper), part))
            }
            _ => Err(SweepRefused::Outside {
                low_hz: self.frequencies_hz[0],
                high_hz: self.frequencies_hz[self.frequencies_hz.len() - 1],
                wanted_hz,
            }),
        }
    }

    fn cell(&self, to: usize, from: usize) -> Result<usize, SweepRefused> {
        match [to, from].into_iter().find(|port| !(1..=self.ports).contains(port)) {
            Some(port) => Err(SweepRefused::Port { port, ports: self.ports }),
            None => Ok((to - 1) * self.ports + from - 1),
        }
    }
}

/// The response a part of the way from one to the next.
fn between(first: Complex64, second: Complex64, part: f64) -> Complex64 {
    let (low, high) = (first.norm(), second.norm());
    // Nothing at all has no decibels; there the magnitude itself goes in a straight line.
    let magnitude = match low > 0.0 && high > 0.0 {
        true => low * (high / low).powf(part),
        false => low + (high - low) * part,
    };
    let turn = (second.arg() - first.arg() + PI).rem_euclid(TAU) - PI;
    Complex64::from_polar(magnitude, first.arg() + turn * part)
}

/// The loss of a response; of a reflection, its return loss. None where nothing at all came out,
/// which no instrument measures: the file's writer had no value there.
pub fn loss(response: Complex64) -> Option<Db> {
    Db::new(-20.0 * response.norm().log10()).ok()
}

/// The standing-wave ratio of a reflection. Refused where more comes back than went in.
pub fn vswr(reflection: Complex64) -> Result<f64, OutOfRange> {
    let magnitude = in_range("reflection", reflection.norm(), REFLECTION_RANGE, "(ratio)")?;
    Ok((1.0 + magnitude) / (1.0 - magnitude))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn mhz(mhz: f64) -> Hertz {
        Hertz::carrier(mhz * 1e6).unwrap()
    }

    fn one_port(points: &[(f64, Complex64)]) -> Sweep {
        let (frequencies, values) = points.iter().map(|(mhz, s)| (mhz * 1e6, *s)).unzip();
        Sweep::new(frequencies, values, vec![50.0]).unwrap()
    }

    #[test]
    fn published_return_loss_and_standing_wave_ratios() {
        // HANDBOOK 5.3: |Γ|, return loss, VSWR; calculated there.
        for (gamma, return_loss_db, ratio) in [
            (0.0244, 32.26, 1.05),
            (0.2, 13.98, 1.5),
            (1.0 / 3.0, 9.54, 2.0),
            (0.5, 6.02, 3.0),
            (0.8182, 1.74, 10.0),
        ] {
            let reflection = Complex64::from_polar(gamma, 1.0);
            let got = loss(reflection).unwrap().db();
            assert!((got - return_loss_db).abs() < 0.02, "{gamma}: {got} dB");
            assert!((vswr(reflection).unwrap() / ratio - 1.0).abs() < 0.001, "{gamma}");
        }
    }

    #[test]
    fn of_three_ports_each_way_has_its_own_course() {
        // Invented: S_ij at the first frequency is 0.i j, at the second a hundredth of it more.
        let of = |point: usize, to: usize, from: usize| {
            Complex64::new(0.1 * to as f64 + 0.01 * from as f64 + 0.001 * point as f64, 0.0)
        };
        let ways = (0..2).flat_map(|p| (1..4).flat_map(move |to| (1..4).map(move |f| (p, to, f))));
        let values = ways.map(|(point, to, from)| of(point, to, from)).collect();
        let sweep = Sweep::new(vec![150e6, 160e6], values, vec![50.0; 3]).unwrap();
        for (to, from) in [(1, 1), (1, 3), (2, 1), (3, 2), (3, 3)] {
            let course: Vec<_> = sweep.course(to, from).unwrap().collect();
            assert_eq!(course, [(150e6, of(0, to, from)), (160e6, of(1, to, from))]);
            let at = sweep.at(mhz(160.0), to, from).unwrap();
            assert!((at - of(1, to, from)).norm() < 1e-12, "{to}, {from}: {at}");
        }
        assert!(sweep.course(4, 1).is_err() && sweep.course(1, 0).is_err());
    }

    #[test]
    fn from_nothing_to_something_the_magnitude_goes_straight() {
        let sweep = one_port(&[(150.0, Complex64::ZERO), (160.0, Complex64::new(0.8, 0.0))]);
        for (at, expected) in [(152.5, 0.2), (155.0, 0.4), (157.5, 0.6)] {
            let got = sweep.at(mhz(at), 1, 1).unwrap();
            assert!((got - Complex64::new(expected, 0.0)).norm() < 1e-9, "{at}: {got}");
        }
    }

    #[test]
    fn more_back_than_went_in_has_no_ratio() {
        let refused = vswr(Complex64::new(0.0, 1.2)).unwrap_err().to_string();
        assert!(refused.starts_with("reflection of 1.2 (ratio) is outside 0 to"), "{refused}");
        assert!(loss(Complex64::new(0.0, 0.0)).is_none());
    }

    #[test]
    fn between_two_points_decibels_go_straight_and_the_phase_the_short_way() {
        let sweep = one_port(&[
            (150.0, Complex64::from_polar(1.0, 170f64.to_radians())),
            (152.0, Complex64::from_polar(0.01, -170f64.to_radians())),
        ]);
        let middle = sweep.at(mhz(151.0), 1, 1).unwrap();
        assert!((loss(middle).unwrap().db() - 20.0).abs() < 1e-9);
        assert!((middle.arg().to_degrees().abs() - 180.0).abs() < 1e-9, "{}", middle.arg());
        let end = sweep.at(mhz(152.0), 1, 1).unwrap();
        assert_eq!(end, sweep.scattering()[1], "a measured point is given as it was measured");
    }

    #[test]
    fn beside_nothing_at_all_the_magnitude_goes_straight() {
        let (nothing, some) = (Complex64::new(0.0, 0.0), Complex64::new(0.4, 0.0));
        let sweep = one_port(&[(150.0, some), (152.0, nothing), (154.0, some)]);
        for (at, expected) in [(150.5, 0.3), (151.5, 0.1), (152.0, 0.0), (152.5, 0.1)] {
            let got = sweep.at(mhz(at), 1, 1).unwrap().norm();
            assert!((got - expected).abs() < 1e-12, "{at} MHz: {got}");
        }
    }

    #[test]
    fn nothing_is_said_outside_the_swept_range_or_of_a_port_that_is_not_there() {
        let one = Complex64::new(0.1, 0.0);
        let sweep = one_port(&[(150.0, one), (160.0, one)]);
        for outside in [149.999_999, 160.000_001] {
            let refused = sweep.at(mhz(outside), 1, 1).unwrap_err().to_string();
            assert!(refused.starts_with("the sweep covers 150 to 160 MHz, not"), "{refused}");
        }
        for (to, from) in [(0, 1), (1, 0), (2, 1), (1, 2)] {
            assert!(matches!(sweep.at(mhz(155.0), to, from), Err(SweepRefused::Port { .. })));
        }
    }

    #[test]
    fn what_is_no_sweep_is_refused_by_kind() {
        let one = Complex64::new(0.1, 0.0);
        let made = |frequencies: &[f64], values: usize, ohms: &[f64]| {
            Sweep::new(frequencies.to_vec(), vec![one; values], ohms.to_vec()).unwrap_err()
        };
        assert!(matches!(made(&[1e6], 1, &[]), SweepRefused::Ports { ports: 0 }));
        assert!(matches!(made(&[1e6], 81, &[50.0; 9]), SweepRefused::Ports { ports: 9 }));
        assert!(matches!(made(&[], 0, &[50.0]), SweepRefused::Points { points: 0 }));
        assert!(matches!(made(&[1e6], 3, &[50.0; 2]), SweepRefused::Shape { expected: 4, .. }));
        assert!(matches!(made(&[1e6, 1e6], 2, &[50.0]), SweepRefused::Order { point: 2, .. }));
        assert!(matches!(made(&[f64::NAN], 1, &[50.0]), SweepRefused::Order { point: 1, .. }));
        assert!(matches!(made(&[-1.0], 1, &[50.0]), SweepRefused::Order { point: 1, .. }));
        assert!(matches!(made(&[1e6], 1, &[0.0]), SweepRefused::Reference(_)));
        let many = vec![0.0; POINTS_MAX + 1];
        assert!(matches!(made(&many, 1, &[50.0]), SweepRefused::Points { .. }));
        let bad = vec![one, Complex64::new(f64::NAN, 0.0)];
        let refused = Sweep::new(vec![1e6, 2e6], bad, vec![50.0]).unwrap_err();
        assert_eq!(refused, SweepRefused::NotFinite { point: 2 });
    }

    proptest! {
        #[test]
        fn an_interpolated_loss_lies_between_its_neighbours(
            low in -120f64..0.0, high in -120f64..0.0,
            a in -180f64..180.0, b in -180f64..180.0, part in 0f64..1.0,
        ) {
            let value = |db: f64, degrees: f64| {
                Complex64::from_polar(10f64.powf(db / 20.0), degrees.to_radians())
            };
            let sweep = one_port(&[(150.0, value(low, a)), (151.0, value(high, b))]);
            let got = -loss(sweep.at(mhz(150.0 + part), 1, 1).unwrap()).unwrap().db();
            let straight = low + (high - low) * part;
            prop_assert!((got - straight).abs() < 1e-6, "{got} dB for {straight} dB");
        }

        #[test]
        fn standing_wave_ratio_rises_with_the_reflection(
            gamma in 0f64..0.99, more in 1e-6f64..0.009, turn in 0f64..6.0,
        ) {
            let ratio = |magnitude: f64| vswr(Complex64::from_polar(magnitude, turn)).unwrap();
            prop_assert!(ratio(gamma) < ratio(gamma + more));
            let back = (ratio(gamma) - 1.0) / (ratio(gamma) + 1.0);
            prop_assert!((back - gamma).abs() < 1e-12);
        }
    }
}
