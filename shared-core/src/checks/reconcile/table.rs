//! What is known before anything is read, and how often which slip happens: data, with odds.
//!
//! In: the shipped TOML. Out: a [`Table`]. Its numbers rank explanations; no verdict rests on them.

use std::sync::OnceLock;

use serde::Deserialize;

use super::ExplanationKind;

/// The shipped table.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Table {
    /// Below this chance readings do not fit together.
    pub(super) chance_least: f64,
    /// The least spread of a reading, in dB or Hz.
    pub(super) spread_least: f64,
    /// What is known of the repeater.
    pub(super) before: Before,
    fault: Faults,
    slip: Slips,
}

/// Standard uncertainties around the ratings.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Before {
    pub(super) opening_level_db: f64,
    pub(super) power_db: f64,
    pub(super) desense_mean_db: f64,
    pub(super) desense_db: f64,
    /// Half-width.
    pub(super) desense_apart_db: f64,
    pub(super) carrier_ppm: f64,
}

/// How often, and where its size is not known beforehand, how large.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Odds {
    pub(super) odds: f64,
    #[serde(default)]
    pub(super) mean: f64,
    #[serde(default)]
    pub(super) spread: f64,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct Faults {
    receiver: Odds,
    transmitter: Odds,
    receive_path: Odds,
    transmit_path: Odds,
    desense: Odds,
    carrier: Odds,
    part: Odds,
    instrument: Odds,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct Slips {
    forgotten_element: Odds,
    counted_element: Odds,
    emf: Odds,
    decibel_unit: Odds,
    other_unit: Odds,
    sign: Odds,
    peak_power: Odds,
    wrong_plane: Odds,
    swapped_duplexer: Odds,
    wrong_channel: Odds,
    unexplained: Odds,
}

impl Table {
    /// The table shipped with the program, read once.
    pub(super) fn standard() -> &'static Self {
        static STANDARD: OnceLock<Table> = OnceLock::new();
        STANDARD.get_or_init(|| {
            toml::from_str(include_str!("../../../data/slips.toml"))
                .expect("the shipped table is tested")
        })
    }

    /// The odds of a kind.
    pub(super) fn odds(&self, kind: ExplanationKind) -> Odds {
        match kind {
            ExplanationKind::ForgottenElement => self.slip.forgotten_element,
            ExplanationKind::CountedElement => self.slip.counted_element,
            ExplanationKind::Emf => self.slip.emf,
            ExplanationKind::DecibelUnit => self.slip.decibel_unit,
            ExplanationKind::OtherUnit => self.slip.other_unit,
            ExplanationKind::Sign => self.slip.sign,
            ExplanationKind::PeakPower => self.slip.peak_power,
            ExplanationKind::WrongPlane => self.slip.wrong_plane,
            ExplanationKind::SwappedDuplexer => self.slip.swapped_duplexer,
            ExplanationKind::WrongChannel => self.slip.wrong_channel,
            ExplanationKind::Unexplained => self.slip.unexplained,
            ExplanationKind::Receiver => self.fault.receiver,
            ExplanationKind::Transmitter => self.fault.transmitter,
            ExplanationKind::ReceivePath => self.fault.receive_path,
            ExplanationKind::TransmitPath => self.fault.transmit_path,
            ExplanationKind::Desense => self.fault.desense,
            ExplanationKind::Carrier => self.fault.carrier,
            ExplanationKind::Part => self.fault.part,
            ExplanationKind::Instrument => self.fault.instrument,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_table_holds_together() {
        let table = Table::standard();
        assert!(table.chance_least > 0.0 && table.chance_least <= 0.01);
        assert!(table.spread_least > 0.0);
        for kind in ExplanationKind::ALL {
            let odds = table.odds(kind);
            assert!(odds.odds > 0.0 && odds.odds < 0.1, "{kind:?}");
            assert!(odds.spread >= 0.0 && odds.mean.is_finite(), "{kind:?}");
            assert!(kind.is_slip() || odds.spread > 0.0, "{kind:?}: a fault has no fixed size");
        }
    }
}
