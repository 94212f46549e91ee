//! The table behind the causes of a desense: which there are, and what each test makes of them.
//!
//! In: the shipped TOML. Out: rows that hold together. Knows no reading: [`super::causes`] does.

use std::sync::OnceLock;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use crate::language::Language;

/// What may deafen a receiver at its site.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema, TS,
)]
#[serde(rename_all = "kebab-case")]
pub enum Cause {
    /// Too little of the transmitter's noise is held back at the receive frequency.
    DuplexerTransmitSide,
    /// Too little of the carrier is held back before the receiver.
    DuplexerReceiveSide,
    /// The transmitter makes more noise than its kind does.
    TransmitterNoise,
    /// The receiver takes less carrier than its kind does.
    ReceiverOverload,
    /// It comes past the duplexer: through jumpers, connectors, covers.
    CablingShielding,
    /// It arises behind the antenna port, under the transmitter's power.
    AntennaSystem,
    /// It is there with the transmitter off.
    SiteNoise,
}

/// A test that tells causes apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum TestId {
    IntoLoad,
    TwoWays,
    OnAntenna,
    Site,
    Pad,
    ReceivePath,
    TransmitPath,
    TransmitSideSweep,
    ReceiveSideSweep,
    GoodCables,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Table {
    pub(crate) source: String,
    #[serde(rename = "source-fr")]
    source_fr: String,
    #[serde(rename = "cause")]
    pub(crate) causes: Vec<CauseRow>,
    #[serde(rename = "test")]
    pub(crate) tests: Vec<TestRow>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct CauseRow {
    pub(crate) id: Cause,
    pub(crate) title: String,
    #[serde(rename = "title-fr")]
    title_fr: String,
    pub(crate) share: f64,
    pub(crate) remedy: String,
    #[serde(rename = "remedy-fr")]
    remedy_fr: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct TestRow {
    pub(crate) id: TestId,
    pub(crate) title: String,
    #[serde(rename = "title-fr")]
    title_fr: String,
    /// The check of the plan that it is read for; none where it is no check.
    #[serde(default)]
    pub(crate) check: Option<String>,
    pub(crate) how: String,
    #[serde(rename = "how-fr")]
    how_fr: String,
    #[serde(rename = "outcome")]
    pub(crate) outcomes: Vec<OutcomeRow>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct OutcomeRow {
    pub(crate) says: String,
    #[serde(rename = "says-fr")]
    says_fr: String,
    /// How likely it is under each cause, in the order of the causes.
    pub(crate) given: Vec<f64>,
}

impl Table {
    /// The table shipped with the program, read once.
    pub(crate) fn standard() -> &'static Self {
        Self::of(Language::English)
    }

    /// The same with its words in a language.
    pub(crate) fn of(language: Language) -> &'static Self {
        static STANDARD: [OnceLock<Table>; 2] = [OnceLock::new(), OnceLock::new()];
        STANDARD[language as usize].get_or_init(|| {
            let table: Table = toml::from_str(include_str!("../../data/causes.toml"))
                .expect("the shipped table is read by a test");
            match language {
                Language::English => table,
                Language::French => table.in_french(),
            }
        })
    }

    fn in_french(mut self) -> Self {
        self.source.clone_from(&self.source_fr);
        for row in &mut self.causes {
            row.title.clone_from(&row.title_fr);
            row.remedy.clone_from(&row.remedy_fr);
        }
        for row in &mut self.tests {
            row.title.clone_from(&row.title_fr);
            row.how.clone_from(&row.how_fr);
            for outcome in &mut row.outcomes {
                outcome.says.clone_from(&outcome.says_fr);
            }
        }
        self
    }

    /// The row of a test.
    pub(crate) fn test(&self, id: TestId) -> &TestRow {
        self.tests.iter().find(|row| row.id == id).expect("a test holds every row to be there")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_table_holds_together() {
        let table = Table::standard();
        let count = table.causes.len();
        assert_eq!(count, 7);
        let shares: f64 = table.causes.iter().map(|row| row.share).sum();
        assert!((shares - 1.0).abs() < 1e-9, "{shares}");
        for (index, row) in table.causes.iter().enumerate() {
            assert!(row.share > 0.0 && !row.remedy.is_empty(), "{}", row.title);
            assert!(table.causes[..index].iter().all(|other| other.id < row.id), "in order, once");
        }
        assert_eq!(table.tests.len(), 10);
        assert!(table.source.contains("no source"));
        for row in &table.tests {
            for cause in 0..count {
                let sum: f64 = row.outcomes.iter().map(|outcome| outcome.given[cause]).sum();
                assert!((sum - 1.0).abs() < 1e-9, "{}, cause {cause}: {sum}", row.title);
            }
            for outcome in &row.outcomes {
                assert_eq!(outcome.given.len(), count, "{}", outcome.says);
                assert!(
                    outcome.given.iter().all(|p| *p > 0.0),
                    "{}: nothing is certain",
                    outcome.says
                );
            }
        }
    }
}
