//! Receiver voltages in microvolts across 50 Ω, closed circuit (at the terminals).
//!
//!   P\[dBm\] = dBµV − 106.9897        closed circuit in 50 Ω; HANDBOOK U1, U2
//!   EMF = 2 × closed circuit         6.02 dB apart; HANDBOOK U3 and trap 1
//!
//! The two conventions are told apart by constructor, never by a flag somebody forgets.

use std::ops::RangeInclusive;

use super::{Dbm, OutOfRange, in_range};

/// A voltage at the terminals of a 50 Ω load, in microvolts RMS.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Microvolts(f64);

/// 10·log10(P/1 mW) of 1 µV across 50 Ω: (1e-6)²/50 W.
const DBM_OF_ONE_MICROVOLT: f64 = -106.989_700_043_360_19;

impl Microvolts {
    /// −227 dBm to a kilovolt; half of either end, from an EMF, still has a level.
    pub const RANGE: RangeInclusive<f64> = 1e-6..=1e9;

    /// A closed-circuit voltage. Refuses NaN, infinities and what is outside the range.
    pub fn closed_circuit(microvolts: f64) -> Result<Self, OutOfRange> {
        in_range("voltage", microvolts, Self::RANGE, "µV").map(Self)
    }

    /// The closed-circuit voltage that a source with this open-circuit voltage gives into 50 Ω.
    pub fn from_emf(emf_microvolts: f64) -> Result<Self, OutOfRange> {
        in_range("voltage", emf_microvolts, Self::RANGE, "µV EMF").map(|emf| Self(emf / 2.0))
    }

    /// The voltage of a level.
    pub fn from_level(level: Dbm) -> Self {
        Self(10f64.powf((level.dbm() - DBM_OF_ONE_MICROVOLT) / 20.0))
    }

    /// The number of microvolts, closed circuit.
    pub fn microvolts(self) -> f64 {
        self.0
    }

    /// The level of this voltage in 50 Ω.
    pub fn level(self) -> Dbm {
        let dbm = 20.0 * self.0.log10() + DBM_OF_ONE_MICROVOLT;
        Dbm::new(dbm).expect("the range of voltages lies inside the range of levels")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_voltages_have_their_published_levels() {
        // HANDBOOK U1, calculated there; 0.3 and 0.5 µV also on a service manual's page.
        for (microvolts, dbm) in [
            (1.0, -106.990),
            (0.2, -120.969),
            (0.25, -119.031),
            (0.28, -118.047),
            (0.3, -117.447),
            (0.35, -116.108),
            (0.5, -113.010),
            (10.0, -86.990),
            (50.0, -73.010),
            (0.2236, -120.0), // the check value: common practice, no source
        ] {
            let level = Microvolts::closed_circuit(microvolts).unwrap().level();
            assert!((level.dbm() - dbm).abs() < 0.0006, "{microvolts} µV is {} dBm", level.dbm());
        }
    }

    #[test]
    fn emf_is_twice_the_closed_circuit_voltage() {
        // HANDBOOK U3: 0.5 µV closed circuit = 1 µV EMF.
        let from_emf = Microvolts::from_emf(1.0).unwrap();
        assert!((from_emf.microvolts() - 0.5).abs() < 1e-12);
        // HANDBOOK U3: 6 dBµV EMF is -107.010 dBm; 6 dBµV is 10^(6/20) µV.
        let six = Microvolts::from_emf(10f64.powf(6.0 / 20.0)).unwrap();
        assert!((six.level().dbm() - -107.010).abs() < 0.0006);
    }

    #[test]
    fn both_ends_of_the_range_have_a_level() {
        for end in [*Microvolts::RANGE.start(), *Microvolts::RANGE.end()] {
            let level = Microvolts::closed_circuit(end).unwrap().level();
            assert!(Dbm::RANGE.contains(&level.dbm()));
            assert!(Dbm::RANGE.contains(&Microvolts::from_emf(end).unwrap().level().dbm()));
        }
    }
}
