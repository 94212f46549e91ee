//! How far a transmitter must be kept from its own receiver: its noise, and its carrier.
//!
//! In: transmitter power (W), its noise beside the carrier (dBc/Hz), the receiver's bandwidth (Hz),
//! noise figure (dB) and the desense that is accepted (dB), the carrier it stands (dBm).
//! Out: isolation in dB. Two separate wants: the noise falls on the receiver's frequency, where
//! the transmit path must reject it; the carrier overloads from its own, where the receive path
//! must.
//!
//!   noise:   P_tx + n + 10·log10 B − (kTB + NF + I/N)     dB; I/N from the accepted desense
//!   carrier: P_tx − P_max                                 dB
//!
//! Formulas and check values: HANDBOOK Z3, Z4, Z5; kT at 290 K: N1.

use std::ops::RangeInclusive;

use super::super::desense::interference_over_noise;
use super::DuplexerRefused;
use crate::units::{Db, Dbm, OutOfRange, Watts, in_range};

/// Thermal noise in one hertz at 290 K, in dBm: 10·log10(1.380649e-23 J/K · 290 K / 1 mW).
const THERMAL_DBM_PER_HERTZ: f64 = -173.975_187;

/// A transmitter's noise in one hertz at an offset, relative to its carrier.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct TransmitNoise(f64);

impl TransmitNoise {
    /// From under any transmitter's floor to no transmitter at all, in dBc/Hz.
    pub const RANGE: RangeInclusive<f64> = -220.0..=0.0;

    /// Refuses NaN, infinities and anything outside [`TransmitNoise::RANGE`].
    pub fn new(dbc_per_hz: f64) -> Result<Self, OutOfRange> {
        in_range("transmitter noise", dbc_per_hz, Self::RANGE, "dBc/Hz").map(Self)
    }
}

/// A receiver as a transmitter's noise meets it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Listening {
    bandwidth_db_hz: f64,
    floor: Dbm,
}

impl Listening {
    /// Noise bandwidths of receivers, in hertz.
    pub const BANDWIDTH_RANGE: RangeInclusive<f64> = 1.0..=1e8;
    /// Noise figures of receivers, in dB.
    pub const FIGURE_RANGE: RangeInclusive<f64> = 0.0..=60.0;

    /// From the noise bandwidth, in hertz, and the noise figure.
    pub fn new(bandwidth_hz: f64, figure: Db) -> Result<Self, OutOfRange> {
        let bandwidth_hz =
            in_range("receiver bandwidth", bandwidth_hz, Self::BANDWIDTH_RANGE, "Hz")?;
        let figure_db = in_range("noise figure", figure.db(), Self::FIGURE_RANGE, "dB")?;
        let bandwidth_db_hz = 10.0 * bandwidth_hz.log10();
        let floor = Dbm::new(THERMAL_DBM_PER_HERTZ + bandwidth_db_hz + figure_db)?;
        Ok(Self { bandwidth_db_hz, floor })
    }

    /// The receiver's own noise.
    pub fn floor(self) -> Dbm {
        self.floor
    }

    /// The transmitter's noise that falls into the bandwidth, at the transmitter's port.
    pub fn noise(self, power: Watts, noise: TransmitNoise) -> Result<Dbm, OutOfRange> {
        Dbm::new(power.level().dbm() + noise.0 + self.bandwidth_db_hz)
    }
}

/// The desense that can be accepted, in dB: none at all would want boundless isolation.
pub const DESENSE_RANGE: RangeInclusive<f64> = 0.001..=40.0;

/// The isolation at the receiver's frequency that holds the desense to what is accepted.
pub fn wanted_for_noise(
    power: Watts,
    noise: TransmitNoise,
    receiver: Listening,
    desense_max: Db,
) -> Result<Db, DuplexerRefused> {
    in_range("accepted desense", desense_max.db(), DESENSE_RANGE, "dB")?;
    let over = interference_over_noise(desense_max).expect("there is one above 0 dB");
    Ok(receiver.noise(power, noise)? - (receiver.floor + over))
}

/// The isolation at the transmitter's frequency that holds its carrier to what the receiver
/// stands.
pub fn wanted_for_carrier(power: Watts, carrier_max: Dbm) -> Db {
    power.level() - carrier_max
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise_db(watts: f64, dbc: f64, desense_db: f64) -> Result<f64, DuplexerRefused> {
        let receiver = Listening::new(12_000.0, Db::new(6.0).unwrap()).unwrap();
        let (power, noise) = (Watts::new(watts).unwrap(), TransmitNoise::new(dbc).unwrap());
        wanted_for_noise(power, noise, receiver, Db::new(desense_db).unwrap()).map(Db::db)
    }

    #[test]
    fn fifty_watts_beside_a_receiver() {
        // HANDBOOK Z3: 50 W, −150 dBc/Hz, 12 kHz, NF 6. It reckons with −174 dBm/Hz (§12 item 2),
        // 0.025 dB from kT at 290 K, and is rounded to 0.1 dB.
        let receiver = Listening::new(12_000.0, Db::new(6.0).unwrap()).unwrap();
        assert!((receiver.floor().dbm() - -127.21).abs() < 0.03, "{:?}", receiver.floor());
        let noise = TransmitNoise::new(-150.0).unwrap();
        let noise = receiver.noise(Watts::new(50.0).unwrap(), noise).unwrap();
        assert!((noise.dbm() - -62.21).abs() < 0.03, "{noise:?}");
        for (desense_db, isolation_db) in [(3.010, 65.0), (1.0, 70.9), (0.414, 75.0)] {
            let got = noise_db(50.0, -150.0, desense_db).unwrap();
            assert!((got - isolation_db).abs() < 0.08, "{desense_db} dB: {got}");
        }
    }

    #[test]
    fn ten_times_the_power_wants_ten_decibels_more() {
        let step = noise_db(100.0, -150.0, 1.0).unwrap() - noise_db(10.0, -150.0, 1.0).unwrap();
        assert!((step - 10.0).abs() < 1e-9);
    }

    #[test]
    fn what_makes_no_sense_is_refused_by_name() {
        let none = noise_db(50.0, -150.0, 0.0).unwrap_err().to_string();
        assert!(none.starts_with("accepted desense of 0 dB is outside 0.001"), "{none}");
        assert!(TransmitNoise::new(3.0).is_err());
        assert!(Listening::new(0.0, Db::ZERO).is_err());
        let refused = Listening::new(12e3, Db::new(-1.0).unwrap()).unwrap_err().to_string();
        assert!(refused.starts_with("noise figure of -1 dB"), "{refused}");
    }
}
