//! What a check should read: foreseen from ratings, or from what has been read already.
//!
//! In: a case, a check and a chain. Out: the number at the instrument, with where it comes from.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::case::Case;
use super::element::{Direction, duplexer_loss};
use super::judge::NotJudged;
use super::limit::limit;
use super::measure::NotMeasured;
use super::plan::{Check, Judges, LimitOf, Reads};
use super::setup::Setup;
use crate::language::say;
use crate::record::{Phase, Plane};
use crate::units::{Dbm, Unit, Watts, shown};

/// What should be read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Expected {
    /// The number at the instrument, in `unit`.
    pub value: f64,
    /// dBm, W or Hz.
    pub unit: Unit,
    /// The number for people.
    pub text: String,
    /// Where it comes from, in words.
    pub because: String,
}

/// What to read for a check through a chain.
pub(crate) fn expect(
    case: &Case<'_>,
    check: &Check,
    setup: &Setup<'_>,
    phase: Phase,
) -> Result<Expected, NotJudged> {
    let (at_plane, because) = at_plane(case, check, phase)?;
    let (repeater, language) = (case.repeater, case.language);
    Ok(match check.reads {
        Reads::Level => {
            let row = setup
                .to_plane(repeater.receive_hz, Direction::TowardsRepeater)
                .map_err(NotMeasured::from)?;
            let value = at_plane + row.loss().db();
            let text = say!(language, "about {} dBm", "environ {} dBm", shown(value, 1));
            Expected { value, unit: Unit::Dbm, text, because }
        }
        Reads::Power => {
            let row = setup
                .to_plane(repeater.transmit_hz, Direction::FromRepeater)
                .map_err(NotMeasured::from)?;
            let value = Watts::from_level(Dbm::new(at_plane)? - row.loss()).watts();
            let text = say!(language, "about {} W", "environ {} W", shown(value, 1));
            Expected { value, unit: Unit::Watt, text, because }
        }
        Reads::FrequencyError => {
            let text = language.pick("near 0 Hz", "proche de 0 Hz").to_owned();
            Expected { value: at_plane, unit: Unit::Hertz, text, because }
        }
        Reads::Deviation => {
            let text = say!(language, "up to {} Hz", "jusqu’à {} Hz", shown(at_plane, 0));
            Expected { value: at_plane, unit: Unit::Hertz, text, because }
        }
    })
}

/// The value at the plane (dBm or Hz): what a check leans on is taken as read where it has been.
pub(crate) fn at_plane(
    case: &Case<'_>,
    check: &Check,
    phase: Phase,
) -> Result<(f64, String), NotJudged> {
    let language = case.language;
    let Some(from) = check.from.as_deref() else {
        return rated(case, check);
    };
    let other = case.check(from)?;
    let (base, because) = match case.standing(from, phase, None) {
        Some((id, reading)) => {
            let because = say!(language, "what {:?} read", "ce qu’a donné « {} »", other.title);
            (case.measured(id, other, reading)?.value, because)
        }
        None => at_plane(case, other, phase)?,
    };
    let duplexer = |towards| -> Result<(f64, &str), NotJudged> {
        let (db, swept) = duplexer_loss(case.repeater, towards)?;
        let rated = language.pick("rated", "assignée");
        Ok((db, if swept { language.pick("swept", "balayée") } else { rated }))
    };
    Ok(match (check.judges, check.reads) {
        (Judges::Loss, Reads::Power) => {
            let (db, known) = duplexer(Plane::AntennaPort)?;
            let because = say!(
                language,
                "{because}, less the duplexer's {known} loss",
                "{because}, moins la perte {known} du duplexeur"
            );
            (base - db, because)
        }
        (Judges::Loss, _) if check.limit.of == LimitOf::Fixed => {
            let because = say!(
                language,
                "{because}, plus what is put in the line",
                "{because}, plus ce qui est mis sur la ligne"
            );
            (base + check.limit.value.unwrap_or_default(), because)
        }
        (Judges::Loss, _) => {
            let (db, known) = duplexer(Plane::ReceiverPort)?;
            let because = say!(
                language,
                "{because}, plus the duplexer's {known} loss",
                "{because}, plus la perte {known} du duplexeur"
            );
            (base + db, because)
        }
        _ => (base, because),
    })
}

/// What the repeater's ratings and the channel say of a check that leans on no other.
fn rated(case: &Case<'_>, check: &Check) -> Result<(f64, String), NotJudged> {
    let (ratings, language) = (&case.repeater.ratings, case.language);
    let (value, because) = match check.reads {
        Reads::Level => (
            ratings.opening_level_dbm,
            language.pick("the rated opening level", "le niveau d’ouverture assigné"),
        ),
        Reads::Power => (
            Watts::new(ratings.power_w)?.level().dbm(),
            language.pick("the rated power", "la puissance assignée"),
        ),
        Reads::FrequencyError => {
            (0.0, language.pick("a carrier on its channel", "une porteuse sur son canal"))
        }
        Reads::Deviation => (
            limit(case, check)?.limits.high.unwrap_or_default(),
            language.pick("the channel's deviation", "l’excursion du canal"),
        ),
    };
    Ok((value, because.to_owned()))
}
