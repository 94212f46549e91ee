//! The cause of a desense from the tests that were made. Formulas: [`crate::rf::causes`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use crate::language::{Language, say};
use crate::rf::causes::{DesenseCauses, PathRead, Rise, Tests, causes};
use crate::uncertainty::decision::{Limits, conformity};
use crate::units::{Db, Dbm, in_range, shown};

/// The tests that were made, as far as they were: load, antenna, pad, ports.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct DesenseCausesQuestion {
    /// The receiver's own opening level at its port, in dBm.
    pub receiver_opening_dbm: Option<f64>,
    /// How much later it opens keyed than not keyed, straight on the antenna port.
    pub direct: Option<DifferenceRead>,
    /// The same through a coupler into a load.
    pub into_load: Option<DifferenceRead>,
    /// How much later it opens on the antenna than into the load, not keyed.
    pub antenna_unkeyed: Option<DifferenceRead>,
    /// How much later it opens keyed than not keyed on the antenna.
    pub antenna: Option<DifferenceRead>,
    /// What a pad in the receiver's line costs, not keyed.
    pub padded_unkeyed: Option<DifferenceRead>,
    /// How much later it opens keyed than not keyed behind that pad.
    pub padded: Option<DifferenceRead>,
    /// The loss from the antenna's port to the receiver's.
    pub receive_path: Option<PathLossRead>,
    /// The loss from the transmitter's port to the antenna's.
    pub transmit_path: Option<PathLossRead>,
}

/// A difference of two levels.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct DifferenceRead {
    /// The difference, in dB.
    pub db: f64,
    /// Its expanded uncertainty (k = 2), in dB.
    pub expanded_db: f64,
}

/// A path's loss with the most it may be.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct PathLossRead {
    /// The loss, in dB.
    pub loss_db: f64,
    /// Its expanded uncertainty (k = 2), in dB.
    pub expanded_db: f64,
    /// The most it may be, in dB.
    pub limit_db: f64,
}

/// What the tests say together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct DesenseCausesAnswer {
    /// The causes, the most likely first, and the tests to make next. None where no test found the
    /// receiver deafened.
    pub causes: Option<DesenseCauses>,
}

fn expanded(db: f64) -> Result<f64, BenchRefused> {
    Ok(in_range("expanded uncertainty", db, 0.0..=60.0, "dB")?)
}

impl DifferenceRead {
    fn rise(self) -> Result<Rise, BenchRefused> {
        let expanded_db = expanded(self.expanded_db)?;
        Ok(Rise::new(Db::new(self.db)?.db(), 0.5 * expanded_db, expanded_db))
    }
}

impl PathLossRead {
    fn read(self, language: Language) -> Result<PathRead, BenchRefused> {
        let (loss, limit) = (Db::new(self.loss_db)?.db(), Db::new(self.limit_db)?.db());
        let standard = 0.5 * expanded(self.expanded_db)?;
        let holds = conformity(loss, standard, f64::INFINITY, Limits::at_most(limit))
            .expect("there is a limit");
        let said = say!(
            language,
            "{} dB, at most {} dB",
            "{} dB, au plus {} dB",
            shown(loss, 2),
            shown(limit, 1)
        );
        Ok(PathRead { holds, said })
    }
}

impl DesenseCausesQuestion {
    pub(super) fn answer_in(
        &self,
        language: Language,
    ) -> Result<DesenseCausesAnswer, BenchRefused> {
        let rise = |read: Option<DifferenceRead>| read.map(DifferenceRead::rise).transpose();
        let path = |read: Option<PathLossRead>| read.map(|read| read.read(language)).transpose();
        let own = self.receiver_opening_dbm.map(Dbm::new).transpose()?;
        let tests = Tests {
            direct: rise(self.direct)?,
            coupled: rise(self.into_load)?,
            antenna_unkeyed: rise(self.antenna_unkeyed)?,
            antenna: rise(self.antenna)?,
            padded_unkeyed: rise(self.padded_unkeyed)?,
            padded: rise(self.padded)?,
            receive_path: path(self.receive_path)?,
            transmit_path: path(self.transmit_path)?,
            own_level_dbm: own.map(Dbm::dbm),
        };
        Ok(DesenseCausesAnswer { causes: causes(&tests, language) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rf::causes::Cause;

    fn read(db: f64) -> Option<DifferenceRead> {
        Some(DifferenceRead { db, expanded_db: 0.5 })
    }

    fn found(asked: DesenseCausesQuestion) -> DesenseCauses {
        asked.answer_in(Language::English).unwrap().causes.unwrap()
    }

    #[test]
    fn the_published_levels_divide_between_site_and_transmitter() {
        // HANDBOOK 6.2, test data: A −30, B −27, C −24 give site 3, transmitter 3, total 6 dB.
        let found = found(DesenseCausesQuestion {
            receiver_opening_dbm: Some(-120.0),
            antenna_unkeyed: read(3.0),
            antenna: read(3.0),
            ..DesenseCausesQuestion::default()
        });
        for (got, expected) in [
            (found.site_db, 3.0),
            (found.transmitter_db, 3.0),
            (found.total_db, 6.0),
            (found.effective_level_dbm, -114.0),
        ] {
            assert!((got.unwrap() - expected).abs() < 1e-9, "{found:?}");
        }
        assert_eq!(found.next[0].check.as_deref(), Some("desense.coupled"), "HANDBOOK 6.2, step 4");
    }

    #[test]
    fn desense_only_with_the_antenna_is_the_antenna_system() {
        // HANDBOOK 6.2, step 4.
        let asked = DesenseCausesQuestion {
            into_load: read(0.0),
            antenna_unkeyed: read(0.0),
            antenna: read(5.0),
            ..DesenseCausesQuestion::default()
        };
        let first = &found(asked).suspects[0];
        assert_eq!(first.cause, Cause::AntennaSystem);
        assert!(first.weight > 0.8 && first.evidence[0].factor > 1.0, "{first:?}");
    }

    #[test]
    fn a_pad_tells_noise_from_overload_and_a_bad_path_points_to_its_side() {
        // HANDBOOK Z1: 6 dB is I/N 4.744 dB; behind a pad of 6 dB −1.256 dB, a rise of 2.428 dB.
        let noise = DesenseCausesQuestion {
            into_load: read(6.0),
            padded_unkeyed: read(6.0),
            padded: read(2.43),
            ..DesenseCausesQuestion::default()
        };
        let weight = |asked: DesenseCausesQuestion, cause: Cause| {
            found(asked).suspects.iter().find(|s| s.cause == cause).unwrap().weight
        };
        let overload = DesenseCausesQuestion { padded: read(0.05), ..noise };
        let past = DesenseCausesQuestion { padded: read(6.0), ..noise };
        for cause in [Cause::DuplexerTransmitSide, Cause::TransmitterNoise] {
            assert!(weight(noise, cause) > 2.0 * weight(overload, cause), "{cause:?}");
        }
        assert!(weight(overload, Cause::ReceiverOverload) > weight(noise, Cause::ReceiverOverload));
        assert!(weight(past, Cause::CablingShielding) > weight(noise, Cause::CablingShielding));
        let lossy = PathLossRead { loss_db: 4.0, expanded_db: 0.4, limit_db: 1.5 };
        let port = DesenseCausesQuestion { transmit_path: Some(lossy), ..noise };
        let side = Cause::DuplexerTransmitSide;
        assert!(weight(port, side) > weight(noise, side));
        let evidence = found(port).suspects[0].evidence.clone();
        assert!(
            evidence.iter().any(|e| e.said.contains("4.00 dB, at most 1.5 dB")),
            "{evidence:?}"
        );
    }

    #[test]
    fn where_nothing_deafens_there_is_no_cause_and_absurd_numbers_are_refused() {
        let none = DesenseCausesQuestion { into_load: read(0.2), ..Default::default() };
        assert_eq!(none.answer_in(Language::English).unwrap().causes, None);
        assert_eq!(
            DesenseCausesQuestion::default().answer_in(Language::English).unwrap().causes,
            None
        );
        let refused = |db, expanded_db| {
            let read = Some(DifferenceRead { db, expanded_db });
            DesenseCausesQuestion { into_load: read, ..Default::default() }
                .answer_in(Language::English)
                .is_err()
        };
        assert!(refused(f64::NAN, 0.5) && refused(3.0, -0.1) && refused(3.0, 61.0));
        assert!(!refused(3.0, 0.0));
    }
}
