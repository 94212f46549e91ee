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
    let repeater = case.repeater;
    Ok(match check.reads {
        Reads::Level => {
            let row = setup
                .to_plane(repeater.receive_hz, Direction::TowardsRepeater)
                .map_err(NotMeasured::from)?;
            let value = at_plane + row.loss().db();
            let text = format!("about {} dBm", shown(value, 1));
            Expected { value, unit: Unit::Dbm, text, because }
        }
        Reads::Power => {
            let row = setup
                .to_plane(repeater.transmit_hz, Direction::FromRepeater)
                .map_err(NotMeasured::from)?;
            let value = Watts::from_level(Dbm::new(at_plane)? - row.loss()).watts();
            let text = format!("about {} W", shown(value, 1));
            Expected { value, unit: Unit::Watt, text, because }
        }
        Reads::FrequencyError => {
            let text = "near 0 Hz".to_owned();
            Expected { value: at_plane, unit: Unit::Hertz, text, because }
        }
        Reads::Deviation => {
            let text = format!("up to {} Hz", shown(at_plane, 0));
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
    let ratings = &case.repeater.ratings;
    let rating = || match check.reads {
        Reads::Level => Ok((ratings.opening_level_dbm, "the rated opening level".to_owned())),
        Reads::Power => {
            Ok((Watts::new(ratings.power_w)?.level().dbm(), "the rated power".to_owned()))
        }
        Reads::FrequencyError => Ok((0.0, "a carrier on its channel".to_owned())),
        Reads::Deviation => {
            let limits = limit(case, check)?.limits;
            Ok((limits.high.unwrap_or_default(), "the channel's deviation".to_owned()))
        }
    };
    let Some(from) = check.from.as_deref() else {
        return rating();
    };
    let other = case.check(from)?;
    let (base, because) = match case.standing(from, phase, None) {
        Some((id, reading)) => {
            (case.measured(id, other, reading)?.value, format!("what {:?} read", other.title))
        }
        None => at_plane(case, other, phase)?,
    };
    let duplexer = |towards| -> Result<(f64, &str), NotJudged> {
        let (db, swept) = duplexer_loss(case.repeater, towards)?;
        Ok((db, if swept { "swept" } else { "rated" }))
    };
    Ok(match (check.judges, check.reads) {
        (Judges::Loss, Reads::Power) => (
            base - duplexer(Plane::AntennaPort)?.0,
            format!("{because}, less the duplexer's {} loss", duplexer(Plane::AntennaPort)?.1),
        ),
        (Judges::Loss, _) if check.limit.of == LimitOf::Fixed => (
            base + check.limit.value.unwrap_or_default(),
            format!("{because}, plus what is put in the line"),
        ),
        (Judges::Loss, _) => (
            base + duplexer(Plane::ReceiverPort)?.0,
            format!("{because}, plus the duplexer's {} loss", duplexer(Plane::ReceiverPort)?.1),
        ),
        _ => (base, because),
    })
}
