//! What an antenna radiates, what arrives over a path, and what a voltage is across a resistance.
//! Formulas: [`crate::rf::erp`], [`crate::rf::path`], [`crate::units`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use super::feedline::carrier;
use crate::rf::erp::{AntennaGain, power_for_erp, radiated};
use crate::rf::path::{STANDARD_BENDING, free_space_loss, horizon_m, link_margin};
use crate::units::{Db, Dbm, Loss, Metres, Ohms, Volts, Watts};

/// An antenna's gain with what it is referred to: exactly one of these.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "snake_case")]
pub enum GainKnown {
    /// Over a half-wave dipole.
    GainDbd(f64),
    /// Over an isotropic radiator.
    GainDbi(f64),
}

/// A transmitter, its losses and its antenna.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct ErpQuestion {
    /// The transmitter's power.
    pub power_w: f64,
    /// Everything between it and the antenna: jumpers, isolator, duplexer, feedline.
    pub losses_db: Vec<f64>,
    /// The antenna.
    pub antenna: GainKnown,
    /// The ERP that the licence allows; none where none is to be looked at.
    pub licensed_erp_w: Option<f64>,
}

/// What is radiated.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct ErpAnswer {
    /// Over a dipole.
    pub erp_w: f64,
    /// The same.
    pub erp_dbm: f64,
    /// Over an isotropic radiator.
    pub eirp_w: f64,
    /// The same.
    pub eirp_dbm: f64,
    /// How far the ERP is under the licensed one; negative where it is over.
    pub margin_db: Option<f64>,
    /// The most the transmitter may be set to.
    pub power_max_w: Option<f64>,
}

/// How a path's loss is known: exactly one of these.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "snake_case")]
pub enum PathKnown {
    /// As free space: the least it can be.
    FreeSpace(FreeSpacePath),
    /// As measured or worked out elsewhere.
    LossDb(f64),
}

/// A path in free space.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct FreeSpacePath {
    /// The frequency.
    pub frequency_hz: u64,
    /// The distance.
    pub distance_m: f64,
}

/// A transmitter and a receiver with a path between them.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct PathQuestion {
    /// The transmitter's level.
    pub transmitted_dbm: f64,
    /// Its antenna.
    pub transmit_antenna: GainKnown,
    /// The receiver's antenna.
    pub receive_antenna: GainKnown,
    /// The losses of both lines together.
    pub lines_db: f64,
    /// The path.
    pub path: PathKnown,
    /// The least level the receiver detects; none where no margin is wanted.
    pub detectable_dbm: Option<f64>,
    /// What is wanted over that; 0 where nothing is said.
    pub wanted_over_db: Option<f64>,
}

/// What arrives.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct PathAnswer {
    /// The path's loss.
    pub path_db: f64,
    /// The level at the receiver.
    pub received_dbm: f64,
    /// How far that is over what is wanted.
    pub margin_db: Option<f64>,
}

/// Two antennas over smooth ground.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct HorizonQuestion {
    /// The height of one.
    pub one_m: f64,
    /// The height of the other; 0 on the ground.
    pub other_m: f64,
    /// How much larger the earth seems to radio waves; 4/3 where nothing is said.
    pub bending: Option<f64>,
}

/// How far they may stand apart.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct HorizonAnswer {
    /// For radio waves.
    pub radio_m: f64,
    /// For the eye.
    pub sight_m: f64,
}

/// How a voltage or a power is known: exactly one of these.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "snake_case")]
pub enum VoltageKnown {
    /// As an RMS voltage, at the terminals.
    VoltageV(f64),
    /// As the voltage of a sine from peak to peak.
    PeakToPeakV(f64),
    /// As decibels over one microvolt.
    VoltageDbuv(f64),
    /// As a power.
    PowerW(f64),
}

/// A voltage across a resistance.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct VoltageQuestion {
    /// What is known.
    pub known: VoltageKnown,
    /// The resistance it stands across.
    pub across_ohm: f64,
}

/// The same in all measures.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct VoltageAnswer {
    /// RMS, at the terminals.
    pub voltage_v: f64,
    /// From peak to peak, of a sine.
    pub peak_to_peak_v: f64,
    /// Over one microvolt.
    pub voltage_dbuv: f64,
    /// The power in the resistance.
    pub power_w: f64,
    /// The same.
    pub power_dbm: f64,
}

impl GainKnown {
    fn gain(self) -> Result<AntennaGain, BenchRefused> {
        Ok(match self {
            Self::GainDbd(db) => AntennaGain::over_dipole(Db::new(db)?),
            Self::GainDbi(db) => AntennaGain::over_isotropic(Db::new(db)?),
        })
    }
}

impl ErpQuestion {
    pub(super) fn answer(&self) -> Result<ErpAnswer, BenchRefused> {
        let losses: Result<Vec<Loss>, _> = self.losses_db.iter().map(|db| Loss::new(*db)).collect();
        let (loss, gain) = (Loss::sum(&losses?)?, self.antenna.gain()?);
        let out = radiated(Watts::new(self.power_w)?, loss, gain)?;
        let licensed = self.licensed_erp_w.map(Watts::new).transpose()?;
        let most = licensed.map(|erp| power_for_erp(erp, loss, gain)).transpose()?;
        Ok(ErpAnswer {
            erp_w: out.erp().watts().watts(),
            erp_dbm: out.erp().dbm(),
            eirp_w: out.eirp().watts().watts(),
            eirp_dbm: out.eirp().dbm(),
            margin_db: licensed.map(|erp| (erp.level() - out.erp()).db()),
            power_max_w: most.map(Watts::watts),
        })
    }
}

impl PathQuestion {
    pub(super) fn answer(&self) -> Result<PathAnswer, BenchRefused> {
        let path = match self.path {
            PathKnown::FreeSpace(path) => {
                free_space_loss(carrier(path.frequency_hz)?, Metres::path(path.distance_m)?)?
            }
            PathKnown::LossDb(db) => Loss::named("path loss", db)?,
        };
        let lines = Loss::named("loss of the lines", self.lines_db)?;
        let gains = self.transmit_antenna.gain()?.dbi() + self.receive_antenna.gain()?.dbi();
        let sent = Dbm::new(self.transmitted_dbm)?;
        let received = Dbm::new(sent.dbm() + gains - lines.db() - path.db())?;
        let detectable = self.detectable_dbm.map(Dbm::new).transpose()?;
        let wanted = Db::new(self.wanted_over_db.unwrap_or(0.0))?;
        Ok(PathAnswer {
            path_db: path.db(),
            received_dbm: received.dbm(),
            margin_db: detectable.map(|least| link_margin(received, least, wanted).db()),
        })
    }
}

impl HorizonQuestion {
    pub(super) fn answer(&self) -> Result<HorizonAnswer, BenchRefused> {
        let (one, other) = (Metres::height(self.one_m)?, Metres::height(self.other_m)?);
        let bending = self.bending.unwrap_or(STANDARD_BENDING);
        Ok(HorizonAnswer {
            radio_m: horizon_m(one, other, bending)?,
            sight_m: horizon_m(one, other, 1.0)?,
        })
    }
}

impl VoltageQuestion {
    pub(super) fn answer(&self) -> Result<VoltageAnswer, BenchRefused> {
        let across = Ohms::new(self.across_ohm)?;
        let voltage = match self.known {
            VoltageKnown::VoltageV(volts) => Volts::rms(volts)?,
            VoltageKnown::PeakToPeakV(volts) => Volts::from_peak_to_peak(volts)?,
            VoltageKnown::VoltageDbuv(dbuv) => Volts::from_dbuv(dbuv)?,
            VoltageKnown::PowerW(watts) => Volts::of(Watts::new(watts)?, across)?,
        };
        let power = voltage.power(across)?;
        Ok(VoltageAnswer {
            voltage_v: voltage.volts(),
            peak_to_peak_v: voltage.peak_to_peak(),
            voltage_dbuv: voltage.dbuv(),
            power_w: power.watts(),
            power_dbm: power.level().dbm(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_repeater_with_a_licensed_erp() {
        // HANDBOOK E1: 150 W, 2 + 2.2 dB, 7 dBd: 286 W (285.82).
        let asked: ErpQuestion = serde_json::from_str(
            r#"{"power_w": 150, "losses_db": [2, 2.2], "antenna": {"gain_dbd": 7},
                "licensed_erp_w": 142.91}"#,
        )
        .unwrap();
        let found = asked.answer().unwrap();
        assert!((found.erp_w - 285.82).abs() < 0.01);
        assert!((found.eirp_dbm - found.erp_dbm - 2.15).abs() < 1e-9);
        // Half of that is 3.01 dB less (HANDBOOK U6) and half the transmitter's power.
        assert!((found.margin_db.unwrap() - -3.0103).abs() < 0.001);
        assert!((found.power_max_w.unwrap() - 75.0).abs() < 0.01);
        let slip = ErpQuestion { losses_db: vec![-2.0], ..asked };
        assert!(slip.answer().unwrap_err().to_string().starts_with("loss of -2 dB"));
    }

    #[test]
    fn a_path_with_its_margin() {
        // HANDBOOK E4: 40 + 10 - 3 - 136 is -89 dBm; over -103 dBm and 6 dB: +8 dB.
        let asked: PathQuestion = serde_json::from_str(
            r#"{"transmitted_dbm": 40, "transmit_antenna": {"gain_dbi": 10},
                "receive_antenna": {"gain_dbi": 0}, "lines_db": 3, "path": {"loss_db": 136},
                "detectable_dbm": -103, "wanted_over_db": 6}"#,
        )
        .unwrap();
        let found = asked.answer().unwrap();
        assert!((found.received_dbm - -89.0).abs() < 1e-9);
        assert!((found.margin_db.unwrap() - 8.0).abs() < 1e-9);
        // HANDBOOK P1: 155 MHz over 10 km is 96.254 dB.
        let path = FreeSpacePath { frequency_hz: 155_000_000, distance_m: 10_000.0 };
        let asked = PathQuestion { path: PathKnown::FreeSpace(path), ..asked };
        assert!((asked.answer().unwrap().path_db - 96.254).abs() < 0.001);
    }

    #[test]
    fn a_horizon_and_a_voltage() {
        // HANDBOOK P2: 100 m is 41.218 km; P3: 15 % beyond what is seen.
        let asked = HorizonQuestion { one_m: 100.0, other_m: 0.0, bending: None };
        let found = asked.answer().unwrap();
        assert!((found.radio_m / 1e3 - 41.218).abs() < 0.001);
        assert!((found.radio_m / found.sight_m - 1.154).abs() < 0.001);
        // HANDBOOK U5: 200 V from peak to peak across 50 Ω is 100 W.
        let known = VoltageKnown::PeakToPeakV(200.0);
        let found = VoltageQuestion { known, across_ohm: 50.0 }.answer().unwrap();
        assert!((found.power_w - 100.0).abs() < 1e-9);
        assert!((found.power_dbm - 50.0).abs() < 1e-9);
        let known = VoltageKnown::PowerW(1200.0);
        let found = VoltageQuestion { known, across_ohm: 50.0 }.answer().unwrap();
        assert!((found.voltage_v - 245.0).abs() < 0.1);
    }
}
