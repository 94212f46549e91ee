//! A feedline's loss and what it hides of its load; the list of cables. Formulas:
//! [`crate::rf::feedline`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use super::mismatch::ReflectionKnown;
use crate::language::Language;
use crate::rf::feedline::{
    CableLaw, ListedCable, added_loss, cable, cables, reflection_at_input, reflection_at_load,
    total_loss,
};
use crate::units::{Db, Hertz, Loss, Metres, OutOfRange};

/// The loss of 100 m of a cable at a frequency.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct CablePoint {
    /// Where.
    pub frequency_hz: u64,
    /// How much.
    pub loss_db_per_100m: f64,
}

/// How a line's loss is known: exactly one of these.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "snake_case")]
pub enum LineKnown {
    /// By a cable's short name in the list, and a length.
    Listed(ListedLine),
    /// By a cable's loss at two frequencies or more, and a length.
    Points(PointsLine),
    /// As measured: the matched loss of the whole line at this frequency.
    LossDb(f64),
}

/// A length of a listed cable.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct ListedLine {
    /// The cable's short name.
    pub cable: String,
    /// How much of it.
    pub length_m: f64,
}

/// A length of a cable from its maker's table.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct PointsLine {
    /// Its loss at two frequencies or more.
    pub points: Vec<CablePoint>,
    /// How much of it.
    pub length_m: f64,
}

/// Which end of a line a reflection is seen at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "snake_case")]
pub enum LineEnd {
    /// Where the transmitter stands.
    Input,
    /// Where the antenna stands.
    Load,
}

/// A line with what is seen at one of its ends.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct FeedlineQuestion {
    /// The line.
    pub line: LineKnown,
    /// At which frequency.
    pub frequency_hz: u64,
    /// The reflection seen at one end; none for a matched load.
    pub seen: Option<ReflectionKnown>,
    /// At which end it is seen; the load where nothing is said.
    pub seen_at: Option<LineEnd>,
}

/// What a line loses, and what is seen at both ends.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct FeedlineAnswer {
    /// The loss with a matched load.
    pub matched_db: f64,
    /// The loss with this load. None where the load takes nothing.
    pub total_db: Option<f64>,
    /// What the load's mismatch adds. None where the load takes nothing.
    pub added_db: Option<f64>,
    /// The reflection coefficient at the load.
    pub load_reflection: f64,
    /// The VSWR at the load. None where all comes back.
    pub load_vswr: Option<f64>,
    /// The return loss at the load. None where nothing measurable comes back.
    pub load_return_loss_db: Option<f64>,
    /// The VSWR at the input. None where all comes back.
    pub input_vswr: Option<f64>,
    /// The return loss at the input. None where nothing measurable comes back.
    pub input_return_loss_db: Option<f64>,
    /// The law of the cable, k1·√f + k2·f in dB per 100 m and MHz: k1. None for a measured line.
    pub k1: Option<f64>,
    /// The same: k2.
    pub k2: Option<f64>,
    /// Where the cable's loss stands. None where the question gave it.
    pub source: Option<String>,
    /// False where that is from memory and nobody has read it lately.
    pub verified: bool,
}

/// The listed cables at a frequency.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct CablesQuestion {
    /// At which frequency.
    pub frequency_hz: u64,
}

/// The listed cables.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct CablesAnswer {
    /// Thinnest first.
    pub cables: Vec<CableLine>,
}

/// One cable of the list.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct CableLine {
    /// Its short name.
    pub cable: String,
    /// Its name in words.
    pub name: String,
    /// Its loss at the frequency asked for. None where it is not known there.
    pub loss_db_per_100m: Option<f64>,
    /// Where its numbers stand.
    pub source: String,
    /// False where they are from memory and nobody has read them lately.
    pub verified: bool,
}

/// A frequency given in whole hertz as the core's quantity.
pub(super) fn carrier(hertz: u64) -> Result<Hertz, OutOfRange> {
    // Above 2^53 Hz the rounding does not matter: it is refused.
    Hertz::carrier(hertz as f64)
}

/// A line's matched loss, its law if it has one, and what of the list it leans on.
struct Line {
    matched: Loss,
    law: Option<CableLaw>,
    listed: Option<&'static ListedCable>,
}

impl LineKnown {
    fn line(&self, at: Hertz) -> Result<Line, BenchRefused> {
        Ok(match self {
            Self::Listed(known) => {
                let listed = cable(&known.cable)?;
                let matched = listed.law.loss(at, Metres::line(known.length_m)?)?;
                Line { matched, law: Some(listed.law.clone()), listed: Some(listed) }
            }
            Self::Points(known) => {
                let points: Result<Vec<_>, OutOfRange> = known
                    .points
                    .iter()
                    .map(|point| {
                        let loss = Loss::named("cable loss per 100 m", point.loss_db_per_100m)?;
                        Ok((carrier(point.frequency_hz)?, loss))
                    })
                    .collect();
                let law = CableLaw::fitted("this cable", &points?)?;
                let matched = law.loss(at, Metres::line(known.length_m)?)?;
                Line { matched, law: Some(law), listed: None }
            }
            Self::LossDb(db) => {
                Line { matched: Loss::named("line loss", *db)?, law: None, listed: None }
            }
        })
    }
}

impl FeedlineQuestion {
    pub(super) fn answer(&self) -> Result<FeedlineAnswer, BenchRefused> {
        let Line { matched, law, listed } = self.line.line(carrier(self.frequency_hz)?)?;
        let seen = self.seen.unwrap_or(ReflectionKnown::Reflection(0.0)).reflection()?;
        let (load, input) = match self.seen_at.unwrap_or(LineEnd::Load) {
            LineEnd::Load => (seen, reflection_at_input(matched, seen)),
            LineEnd::Input => (reflection_at_load(matched, seen)?, seen),
        };
        Ok(FeedlineAnswer {
            matched_db: matched.db(),
            total_db: total_loss(matched, load).map(Loss::db),
            added_db: added_loss(matched, load).map(Db::db),
            load_reflection: load.magnitude(),
            load_vswr: load.vswr(),
            load_return_loss_db: load.return_loss().map(Loss::db),
            input_vswr: input.vswr(),
            input_return_loss_db: input.return_loss().map(Loss::db),
            k1: law.as_ref().map(|law| law.k1),
            k2: law.as_ref().map(|law| law.k2),
            source: listed.map(|cable| cable.source.clone()),
            verified: listed.is_none_or(|cable| cable.verified),
        })
    }
}

impl CablesQuestion {
    pub(super) fn answer_in(&self, language: Language) -> Result<CablesAnswer, BenchRefused> {
        let at = carrier(self.frequency_hz)?;
        let hundred = Metres::line(100.0)?;
        let line = |listed: &ListedCable| CableLine {
            cable: listed.id.clone(),
            name: listed.name(language).to_owned(),
            loss_db_per_100m: listed.law.loss(at, hundred).ok().map(Loss::db),
            source: listed.source.clone(),
            verified: listed.verified,
        };
        Ok(CablesAnswer { cables: cables().iter().map(line).collect() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(json: &str) -> Result<FeedlineAnswer, BenchRefused> {
        serde_json::from_str::<FeedlineQuestion>(json).unwrap().answer()
    }

    #[test]
    fn a_measured_line_and_the_vswr_at_its_load() {
        // HANDBOOK 5.4: 1 dB and VSWR 2: 1.1959 dB in all, VSWR 1.7203 at the input.
        let line = r#"{"line": {"loss_db": 1}, "frequency_hz": 155000000, "seen": {"vswr": 2}}"#;
        let found = asked(line).unwrap();
        assert!((found.total_db.unwrap() - 1.1959).abs() < 0.0001);
        assert!((found.added_db.unwrap() - 0.1959).abs() < 0.0001);
        assert!((found.input_vswr.unwrap() - 1.7203).abs() < 0.0001);
        assert!(found.verified && found.source.is_none());
        // The same seen from the other end.
        let line = r#"{"line": {"loss_db": 1}, "frequency_hz": 155000000,
            "seen": {"vswr": 1.7203}, "seen_at": "input"}"#;
        assert!((asked(line).unwrap().load_vswr.unwrap() - 2.0).abs() < 0.001);
    }

    #[test]
    fn a_length_of_a_cable_by_name_or_by_its_points() {
        let by_points = asked(
            r#"{"frequency_hz": 450000000, "line": {"points": {"length_m": 50, "points": [
                {"frequency_hz": 150000000, "loss_db_per_100m": 2.8},
                {"frequency_hz": 450000000, "loss_db_per_100m": 5.2}]}}}"#,
        )
        .unwrap();
        assert!((by_points.matched_db - 2.6).abs() < 1e-6, "half of 5.2 dB");
        assert!((by_points.k1.unwrap() - 0.206064).abs() < 1e-6, "HANDBOOK 5.4");
        assert!((by_points.total_db.unwrap() - 2.6).abs() < 1e-6, "a matched load adds nothing");
        let by_name = asked(
            r#"{"frequency_hz": 450000000,
                "line": {"listed": {"cable": "foam-13mm", "length_m": 50}}}"#,
        )
        .unwrap();
        // Its table has 1.57 dB per 100 ft there, and the law lies within 5 % of it.
        assert!((by_name.matched_db - 2.576).abs() < 0.129, "{}", by_name.matched_db);
        assert!(by_name.source.is_some());
    }

    #[test]
    fn the_list_says_what_nobody_has_read() {
        let list = CablesQuestion { frequency_hz: 155_000_000 }
            .answer_in(Language::English)
            .unwrap()
            .cables;
        assert!(list.iter().any(|cable| cable.verified));
        assert!(list.iter().any(|cable| !cable.verified));
        assert!(list.iter().all(|cable| cable.loss_db_per_100m.is_some()));
        let far = CablesQuestion { frequency_hz: 50_000_000_000 }
            .answer_in(Language::English)
            .unwrap()
            .cables;
        assert!(far.iter().all(|cable| cable.loss_db_per_100m.is_none()));
    }

    #[test]
    fn what_no_line_shows_is_refused_by_its_kind() {
        let refused = asked(
            r#"{"line": {"loss_db": 3}, "frequency_hz": 155000000,
                "seen": {"vswr": 20}, "seen_at": "input"}"#,
        );
        assert!(matches!(refused, Err(BenchRefused::Number(_))), "{refused:?}");
        let refused = asked(
            r#"{"frequency_hz": 155000000, "line": {"listed": {"cable": "x", "length_m": 1}}}"#,
        );
        assert!(matches!(refused, Err(BenchRefused::Feedline(_))), "{refused:?}");
    }
}
