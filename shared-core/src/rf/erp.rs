//! Radiated power: what goes out of an antenna behind its losses.
//!
//!   EIRP = P − losses + gain over isotropic           dBm, dB, dBi
//!   ERP  = P − losses + gain over a dipole            dBm, dB, dBd
//!   dBi  = dBd + 2.15                                 one constant, everywhere
//!
//! HANDBOOK U7: regulation texts use the factor 1.64, which is 2.148 dB; the 0.002 dB between the
//! two is below any reading. Check values: HANDBOOK E1-E3, P4. In the main beam, free space; knows
//! neither ground nor pattern nor licence.

use crate::units::{Db, Dbm, Loss, OutOfRange, Watts};

/// How far a half-wave dipole is over an isotropic radiator, in dB.
pub const DIPOLE_DBI: f64 = 2.15;

/// The gain of an antenna in its main beam. Made by what it is referred to, never by a bare number.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct AntennaGain {
    dbi: f64,
}

impl AntennaGain {
    /// Referred to a half-wave dipole (dBd).
    pub fn over_dipole(gain: Db) -> Self {
        Self { dbi: gain.db() + DIPOLE_DBI }
    }

    /// Referred to an isotropic radiator (dBi).
    pub fn over_isotropic(gain: Db) -> Self {
        Self { dbi: gain.db() }
    }

    /// In dB over an isotropic radiator.
    pub fn dbi(self) -> f64 {
        self.dbi
    }

    /// In dB over a half-wave dipole.
    pub fn dbd(self) -> f64 {
        self.dbi - DIPOLE_DBI
    }
}

/// What an antenna sends out in its main beam.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Radiated {
    eirp: Dbm,
    erp: Dbm,
}

impl Radiated {
    /// The same field from an isotropic radiator would take this power.
    pub fn eirp(self) -> Dbm {
        self.eirp
    }

    /// The same field from a dipole would take this power.
    pub fn erp(self) -> Dbm {
        self.erp
    }
}

/// What a transmitter's power radiates through losses and an antenna.
pub fn radiated(power: Watts, loss: Loss, gain: AntennaGain) -> Result<Radiated, OutOfRange> {
    let eirp = power.level().dbm() - loss.db() + gain.dbi;
    Ok(Radiated { eirp: Dbm::new(eirp)?, erp: Dbm::new(eirp - DIPOLE_DBI)? })
}

/// The transmitter power that makes an ERP: the most that may be set where the ERP is a limit.
pub fn power_for_erp(erp: Watts, loss: Loss, gain: AntennaGain) -> Result<Watts, OutOfRange> {
    Ok(Dbm::new(erp.level().dbm() + loss.db() - gain.dbd())?.watts())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_power_that_no_level_can_hold_is_refused() {
        let (power, gain) = (Watts::new(1e12).unwrap(), Db::new(100.0).unwrap());
        let gain = AntennaGain::over_dipole(gain);
        let refused = radiated(power, Loss::ZERO, gain).unwrap_err().to_string();
        assert!(refused.starts_with("level of 252.15"), "{refused}");
        assert!(power_for_erp(power, Loss::new(200.0).unwrap(), gain).is_err());
    }

    proptest! {
        #[test]
        fn the_power_for_an_erp_makes_that_erp(
            watts in 0.1..1000.0f64, loss in 0.0..30.0f64, gain in -10.0..20.0f64,
        ) {
            let loss = Loss::new(loss).unwrap();
            let gain = AntennaGain::over_dipole(Db::new(gain).unwrap());
            let out = radiated(Watts::new(watts).unwrap(), loss, gain).unwrap();
            let back = power_for_erp(out.erp().watts(), loss, gain).unwrap();
            prop_assert!((back.watts() / watts - 1.0).abs() < 1e-9);
            prop_assert!(((out.eirp() - out.erp()).db() - DIPOLE_DBI).abs() < 1e-9);
            let same = AntennaGain::over_isotropic(Db::new(gain.dbi()).unwrap());
            prop_assert!((same.dbd() - gain.dbd()).abs() < 1e-9);
        }
    }
}
