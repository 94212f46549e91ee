//! The limit of a check for a repeater: which row it is, from where, and whether it was verified.
//!
//! In: a case and a check. Out: limits with their source. A shop's own row goes before a shipped
//! one, and a licensed output power closes a rating's upper side. A number from memory is carried
//! as unverified all the way into the verdict.

use super::case::Case;
use super::guard::watts_shown;
use super::judge::NotJudged;
use super::plan::{Check, Judges, LimitKind, LimitOf, Reads};
use crate::language::{Language, say};
use crate::limits::Found;
use crate::record::LicenceTerms;
use crate::uncertainty::decision::Limits;
use crate::units::{Hertz, Watts};

/// A limit worked out for a repeater.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct LimitFound {
    pub(crate) limits: Limits,
    pub(crate) source: String,
    pub(crate) verified: bool,
    /// What its text says besides.
    pub(crate) notes: Vec<String>,
}

/// The limit of a check.
pub(crate) fn limit(case: &Case<'_>, check: &Check) -> Result<LimitFound, NotJudged> {
    let (repeater, rule) = (case.repeater, &check.limit);
    let ratings = &repeater.ratings;
    let from_plan = |value: f64| Found {
        value,
        source: rule.source.clone(),
        verified: true,
        notes: Vec::new(),
    };
    let found = match rule.of {
        LimitOf::RatedOpeningLevel => from_plan(ratings.opening_level_dbm),
        LimitOf::RatedPower => from_plan(Watts::new(ratings.power_w)?.level().dbm()),
        LimitOf::RatedTransmitLoss => from_plan(ratings.duplexer_transmit_loss_db),
        LimitOf::RatedReceiveLoss => from_plan(ratings.duplexer_receive_loss_db),
        LimitOf::Fixed => from_plan(rule.value.expect("the plan's reader demands it")),
        LimitOf::FrequencyTolerance => {
            let found = case.limits()?.frequency_tolerance(
                repeater.transmit_hz,
                repeater.channel_width_hz,
                repeater.station,
            )?;
            let carrier = Hertz::carrier(repeater.transmit_hz as f64)?;
            let source = format!("{} ppm, {}", found.value.ppm(), found.source);
            Found {
                value: found.value.at(carrier).hertz(),
                source,
                verified: found.verified,
                notes: found.notes,
            }
        }
        LimitOf::ChannelDeviation => case.limits()?.deviation(repeater.channel_width_hz)?,
    };
    let number = found.value;
    let limits = match rule.kind {
        LimitKind::AtMost => Limits::at_most(number + rule.allow),
        LimitKind::Within => Limits::between(-(number + rule.allow), number + rule.allow),
        LimitKind::Around => Limits::between(number - rule.allow_below, number + rule.allow_above),
    };
    let (source, notes) = (found.source, found.notes);
    let found = LimitFound { limits, source, verified: rule.verified && found.verified, notes };
    let output = check.reads == Reads::Power && check.judges == Judges::Itself;
    match repeater.licence.as_ref().filter(|_| output) {
        Some(licence) => licensed(found, licence, case.language),
        None => Ok(found),
    }
}

/// An output power may not exceed the licensed one (47 CFR 90.215(b)), whatever its rating allows.
fn licensed(
    mut found: LimitFound,
    licence: &LicenceTerms,
    language: Language,
) -> Result<LimitFound, NotJudged> {
    let Some(output_w) = licence.output_w else { return Ok(found) };
    let output = Watts::new(output_w)?.level().dbm();
    if found.limits.high.is_none_or(|high| output < high) {
        found.limits.high = Some(output);
        found.source.push_str(&say!(
            language,
            "; not over the licensed {}: {}",
            " ; pas plus que les {} de la licence : {}",
            watts_shown(output_w),
            licence.source
        ));
    }
    Ok(found)
}
