//! The isolation a duplexer must give, against what it gives. Formulas:
//! [`crate::rf::duplexer::isolation`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use crate::rf::duplexer::isolation::{
    Listening, TransmitNoise, wanted_for_carrier, wanted_for_noise,
};
use crate::units::{Db, Dbm, Watts};

/// A transmitter and the receiver beside it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct IsolationWanted {
    /// The transmitter's power, in watts.
    pub power_w: f64,
    /// Its noise at the receiver's frequency, relative to its carrier, in dBc/Hz.
    pub transmit_noise_dbc_per_hz: f64,
    /// The receiver's noise bandwidth, in hertz.
    pub bandwidth_hz: f64,
    /// The receiver's noise figure, in dB.
    pub noise_figure_db: f64,
    /// The desense that is accepted, in dB.
    pub desense_max_db: f64,
    /// The strongest carrier at the transmitter's frequency that the receiver stands, in dBm.
    /// Without it, only the noise is reckoned.
    pub carrier_max_dbm: Option<f64>,
}

/// What is wanted, with what was measured.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct IsolationQuestion {
    /// The transmitter and the receiver.
    pub wanted: IsolationWanted,
    /// The isolation measured at the receiver's frequency, in dB.
    pub measured_at_receive_db: Option<f64>,
    /// The isolation measured at the transmitter's frequency, in dB.
    pub measured_at_transmit_db: Option<f64>,
}

/// Both wants, each against what was measured.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct IsolationAnswer {
    /// The receiver's own noise, in dBm.
    pub noise_floor_dbm: f64,
    /// The transmitter's noise in the receiver's bandwidth, at the transmitter's port, in dBm.
    pub transmit_noise_dbm: f64,
    /// Against the transmitter's noise, at the receiver's frequency.
    pub noise: IsolationMargin,
    /// Against its carrier, at the transmitter's frequency. None where nothing says what the
    /// receiver stands.
    pub carrier: Option<IsolationMargin>,
}

/// Isolation wanted against isolation measured.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct IsolationMargin {
    /// What is wanted, in dB.
    pub wanted_db: f64,
    /// What was measured, in dB.
    pub measured_db: Option<f64>,
    /// How much more than wanted was measured, in dB; negative is too little.
    pub margin_db: Option<f64>,
}

impl IsolationWanted {
    /// Against isolations at the receiver's and at the transmitter's frequency.
    pub(super) fn against(
        &self,
        at_receive: Option<Db>,
        at_transmit: Option<Db>,
    ) -> Result<IsolationAnswer, BenchRefused> {
        let power = Watts::new(self.power_w)?;
        let noise = TransmitNoise::new(self.transmit_noise_dbc_per_hz)?;
        let receiver = Listening::new(self.bandwidth_hz, Db::new(self.noise_figure_db)?)?;
        let desense_max = Db::new(self.desense_max_db)?;
        let for_noise = wanted_for_noise(power, noise, receiver, desense_max)?;
        let carrier_max = self.carrier_max_dbm.map(Dbm::new).transpose()?;
        Ok(IsolationAnswer {
            noise_floor_dbm: receiver.floor().dbm(),
            transmit_noise_dbm: receiver.noise(power, noise)?.dbm(),
            noise: margin(for_noise, at_receive),
            carrier: carrier_max.map(|most| margin(wanted_for_carrier(power, most), at_transmit)),
        })
    }
}

fn margin(wanted: Db, measured: Option<Db>) -> IsolationMargin {
    IsolationMargin {
        wanted_db: wanted.db(),
        measured_db: measured.map(Db::db),
        margin_db: measured.map(|measured| (measured - wanted).db()),
    }
}

impl IsolationQuestion {
    pub(super) fn answer(&self) -> Result<IsolationAnswer, BenchRefused> {
        let measured = |db: Option<f64>| db.map(Db::new).transpose();
        let at_receive = measured(self.measured_at_receive_db)?;
        self.wanted.against(at_receive, measured(self.measured_at_transmit_db)?)
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// HANDBOOK Z3's transmitter and receiver, with a receiver that stands −20 dBm.
    pub(in super::super) const WANTED: IsolationWanted = IsolationWanted {
        power_w: 50.0,
        transmit_noise_dbc_per_hz: -150.0,
        bandwidth_hz: 12_000.0,
        noise_figure_db: 6.0,
        desense_max_db: 3.010,
        carrier_max_dbm: Some(-20.0),
    };

    #[test]
    fn wanted_against_measured() {
        let asked = IsolationQuestion {
            wanted: WANTED,
            measured_at_receive_db: Some(90.0),
            measured_at_transmit_db: Some(60.0),
        };
        let found = asked.answer().unwrap();
        // HANDBOOK Z3: 65.0 dB for 3 dB of desense; U4: 50 W is 46.990 dBm.
        assert!((found.noise.wanted_db - 65.0).abs() < 0.08);
        assert!((found.noise.margin_db.unwrap() - 25.0).abs() < 0.08);
        let carrier = found.carrier.unwrap();
        assert!((carrier.wanted_db - 66.99).abs() < 0.001);
        assert!((carrier.margin_db.unwrap() - -6.99).abs() < 0.001);
    }

    #[test]
    fn what_was_not_said_is_not_answered() {
        let wanted = IsolationWanted { carrier_max_dbm: None, ..WANTED };
        let asked = IsolationQuestion {
            wanted,
            measured_at_receive_db: None,
            measured_at_transmit_db: None,
        };
        let found = asked.answer().unwrap();
        assert!(found.carrier.is_none() && found.noise.margin_db.is_none());
        let silent = IsolationWanted { desense_max_db: 0.0, ..WANTED };
        assert!(matches!(silent.against(None, None), Err(BenchRefused::Duplexer(_))));
    }
}
