//! What a reading means at its plane, with its budget and the working in words.
//!
//! In: a reading, its check and its resolved chain. Out: a value in dBm or Hz. Knows no limit.

use super::accuracy::half_width;
use super::calibration::{Expired, expired, widening};
use super::case::Case;
use super::chain_refused::ChainRefused;
use super::element::Direction;
use super::plan::{Check, Plan, Reads};
use super::repeats::repeats;
use super::setup::Setup;
use crate::language::{Language, say};
use crate::record::{AccuracyOf, Reading, Repeater};
use crate::rf::chain::Row;
use crate::uncertainty::budget::Budget;
use crate::uncertainty::inputs::{self, rectangular};
use crate::units::{Dbm, Entry, EntryRefused, Hertz, OutOfRange, shown};

/// A value at a plane.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Measured {
    /// In dBm for levels and powers, in Hz for frequency error and deviation.
    pub(crate) value: f64,
    /// The number it was made from: as typed, or the mean of repeats, in dBm or Hz.
    pub(crate) entered: f64,
    pub(crate) budget: Budget,
    /// What was out of calibration on the day.
    pub(crate) expired: Vec<Expired>,
    /// How it came about, line by line.
    pub(crate) working: Vec<String>,
}

/// Why a reading has no meaning.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotMeasured {
    /// The number or its unit.
    #[error(transparent)]
    Entry(#[from] EntryRefused),
    /// The chain.
    #[error(transparent)]
    Chain(#[from] ChainRefused),
    /// The carrier.
    #[error(transparent)]
    Number(#[from] OutOfRange),
    /// A unit that this check is not read in.
    #[error("{title} is not read in {unit}; it is read in {allowed}")]
    Unit {
        /// The check.
        title: String,
        /// What was given.
        unit: &'static str,
        /// What would be right.
        allowed: String,
    },
}

impl NotMeasured {
    /// Why, in a language.
    pub(super) fn said(&self, language: Language) -> String {
        match self {
            _ if language == Language::English => self.to_string(),
            Self::Entry(error) => error.said(language),
            Self::Chain(error) => error.said(language),
            Self::Number(error) => error.said(language),
            Self::Unit { title, unit, allowed } => {
                format!("« {title} » ne se lit pas en {unit}, mais en {allowed}")
            }
        }
    }
}

/// The number a reading stands for, in dBm or Hz, before the chain is taken off.
pub(crate) fn entered(
    check: &Check,
    repeater: &Repeater,
    reading: &Reading,
) -> Result<f64, NotMeasured> {
    let entry = Entry::parse(&reading.typed, reading.unit)?;
    if !check.reads.units().contains(&reading.unit) {
        let allowed: Vec<&str> = check.reads.units().iter().map(|unit| unit.symbol()).collect();
        return Err(NotMeasured::Unit {
            title: check.title.clone(),
            unit: reading.unit.symbol(),
            allowed: allowed.join(", "),
        });
    }
    Ok(match check.reads {
        Reads::Level | Reads::Power => entry.level()?.dbm(),
        Reads::FrequencyError | Reads::Deviation => {
            entry.offset(Hertz::carrier(repeater.transmit_hz as f64)?)?.hertz()
        }
    })
}

/// What was read: one number, or the mean of repeats.
struct Read {
    value: f64,
    /// What was typed, in words.
    typed: String,
    /// The budget's input for how well it repeats: cause, words, standard uncertainty, freedom.
    repeat: (String, String, f64, f64),
}

/// What the reading means at its plane. `id` names the reading in the budget.
pub(crate) fn measure(
    case: &Case<'_>,
    id: &str,
    check: &Check,
    reading: &Reading,
    setup: &Setup<'_>,
) -> Result<Measured, NotMeasured> {
    let repeater = case.repeater;
    let read = read(case, id, check, reading)?;
    let expired = expired(case.shop, setup, reading);
    let widen = |cause: &str| widening(case.shop, &expired, cause);
    let (cause, what, standard) = instrument_input(case, check, reading, setup, read.value);
    let (repeat_cause, repeat_what, repeat_standard, dof) = &read.repeat;
    let budget = Budget::default().with(&cause, &what, standard * widen(&cause), 1.0).with_dof(
        repeat_cause,
        repeat_what,
        *repeat_standard,
        *dof,
        1.0,
    );
    let (raw, typed) = (read.value, &read.typed);
    let (sign, at_hz, going, first) = match check.reads {
        Reads::Level => {
            let first = say!(
                case.language,
                "{typed} = {} dBm at the generator",
                "{typed} = {} dBm au générateur",
                shown(raw, 1)
            );
            (-1.0, repeater.receive_hz, Direction::TowardsRepeater, first)
        }
        Reads::Power => {
            let first = say!(
                case.language,
                "{typed} = {} dBm at the meter",
                "{typed} = {} dBm au wattmètre",
                shown(raw, 2)
            );
            (1.0, repeater.transmit_hz, Direction::FromRepeater, first)
        }
        Reads::FrequencyError | Reads::Deviation => {
            let working = vec![format!("{typed} = {} Hz", shown(raw, 0))];
            return Ok(Measured { value: raw, entered: raw, budget, expired, working });
        }
    };
    let row = setup.to_plane(at_hz, going)?;
    let mut budget = budget;
    for (cause, what, standard) in setup.mismatches(&row)? {
        budget = budget.with(&cause, &what, standard, 1.0);
    }
    let losses = Losses { row, sign, language: case.language };
    let (value, budget, working) = through(losses, raw, budget, first, reading, widen)?;
    Ok(Measured { value, entered: raw, budget, expired, working })
}

/// The reading, or the mean of its repeats where there are as many as the plan asks for.
fn read(case: &Case<'_>, id: &str, check: &Check, reading: &Reading) -> Result<Read, NotMeasured> {
    let (repeater, language) = (case.repeater, case.language);
    let value = entered(check, repeater, reading)?;
    let own = |r: &Reading| format!("{} {}", r.typed.trim(), r.unit);
    let alike = repeats(case, check, id, reading);
    let values: Vec<f64> =
        alike.iter().filter_map(|other| entered(check, repeater, other).ok()).collect();
    let enough = check.repeats_from.is_some_and(|from| values.len() >= from as usize);
    let Some(scatter) = inputs::repeats(&values).filter(|_| enough) else {
        let criterion = criterion(check, reading);
        let what = say!(language, "repeatability, {criterion}", "répétabilité, {criterion}");
        let repeat = (format!("reading:{id}"), what, rectangular(check.repeat), f64::INFINITY);
        let typed = say!(language, "{} typed", "{} saisis", own(reading));
        return Ok(Read { value, typed, repeat });
    };
    let unit = if matches!(check.reads, Reads::Level | Reads::Power) { "dB" } else { "Hz" };
    let count = values.len();
    let typed: Vec<String> = alike.iter().map(|other| own(other)).collect();
    let s = shown(scatter.deviation, if unit == "Hz" { 1 } else { 2 });
    let typed = say!(
        language,
        "mean of {count} repeats ({}; s = {s} {unit})",
        "moyenne de {count} répétitions ({} ; s = {s} {unit})",
        typed.join(", ")
    );
    let cause = format!(
        "repeats:{}:{}:{}:{:?}:{}",
        check.id, reading.chain, reading.instrument, reading.phase, reading.stamp.by
    );
    // Repeats that agree to the last digit scatter by less than that digit shows, not by nothing.
    let last_digit = rectangular(half_of_last_digit(check, repeater, reading, value));
    let repeat = match scatter.standard > last_digit {
        true => {
            let what =
                say!(language, "scatter of {count} repeats", "dispersion de {count} répétitions");
            (cause, what, scatter.standard, scatter.dof)
        }
        false => {
            let what = language.pick("last digit of the readout", "dernier chiffre affiché");
            (cause, what.to_owned(), last_digit, f64::INFINITY)
        }
    };
    Ok(Read { value: scatter.mean, typed, repeat })
}

/// What a reading was read by, as the plan says it now: the record keeps the shipped plan's words
/// in English.
fn criterion<'a>(check: &'a Check, reading: &'a Reading) -> &'a str {
    let shipped = Plan::standard().find(&check.id);
    match shipped.is_some_and(|shipped| shipped.criterion == reading.criterion) {
        true => &check.criterion,
        false => &reading.criterion,
    }
}

/// Half a step of the last digit that was typed, in dB or Hz.
fn half_of_last_digit(check: &Check, repeater: &Repeater, reading: &Reading, value: f64) -> f64 {
    let typed = reading.typed.trim();
    let decimals = typed.split_once(['.', ',']).map_or(0, |(_, digits)| digits.len());
    let step = 0.5 * 0.1f64.powi(i32::try_from(decimals).unwrap_or(i32::MAX));
    let near = Entry::parse(typed, reading.unit).ok().and_then(|entry| {
        let typed = format!("{:.*}", decimals + 1, entry.value() + step);
        entered(check, repeater, &Reading { typed, ..reading.clone() }).ok()
    });
    // At the end of a quantity's range there is no next step to see.
    near.map_or(0.0, |near| (near - value).abs())
}

/// What stands between instrument and plane, and which way it counts.
struct Losses {
    row: Row,
    sign: f64,
    language: Language,
}

/// Takes the losses off (a generator's level) or puts them back on (a meter's power).
fn through(
    Losses { row, sign, language }: Losses,
    raw: f64,
    mut budget: Budget,
    first: String,
    reading: &Reading,
    widen: impl Fn(&str) -> f64,
) -> Result<(f64, Budget, Vec<String>), NotMeasured> {
    let mut working = vec![first];
    for element in &row.elements {
        let mark = if sign < 0.0 { '\u{2212}' } else { '+' };
        working.push(format!("{mark} {} dB, {}", shown(element.loss.db(), 2), element.name));
        let what = say!(language, "loss of {}", "perte de {}", element.name);
        let standard_db = element.standard_db * widen(&element.cause);
        budget = budget.with(&element.cause, &what, standard_db, sign);
    }
    let value = Dbm::new(raw + sign * row.loss().db())?.dbm();
    working.push(say!(
        language,
        "= {} dBm at the {}",
        "= {} dBm au {}",
        shown(value, 1),
        reading.plane.said(language)
    ));
    Ok((value, budget, working))
}

/// The instrument's own error as (cause, words, standard uncertainty in dB or Hz).
fn instrument_input(
    case: &Case<'_>,
    check: &Check,
    reading: &Reading,
    setup: &Setup<'_>,
    raw: f64,
) -> (String, String, f64) {
    let (repeater, language) = (case.repeater, case.language);
    let instrument = setup.instrument();
    let off = |of, reading, at_hz| half_width(&instrument.accuracy, of, reading, at_hz);
    let (receive_hz, transmit_hz) = (repeater.receive_hz, repeater.transmit_hz);
    let (quantity, half_width) = match check.reads {
        Reads::Level => ("level", off(AccuracyOf::Level, raw, receive_hz)),
        Reads::Power => {
            let watts = 10f64.powf((raw - 30.0) / 10.0);
            let percent = off(AccuracyOf::Power, watts, transmit_hz);
            ("power", 10.0 * (1.0 + percent / 100.0).log10())
        }
        Reads::FrequencyError => {
            let ppm = off(AccuracyOf::Frequency, raw.abs(), transmit_hz);
            ("frequency", ppm * transmit_hz as f64 / 1e6)
        }
        Reads::Deviation => {
            let percent = off(AccuracyOf::Deviation, raw.abs(), transmit_hz);
            ("deviation", raw.abs() * percent / 100.0)
        }
    };
    let cause = format!("instrument:{}:{quantity}", reading.instrument);
    let french = match check.reads {
        Reads::Level => "niveau",
        Reads::Power => "puissance",
        Reads::FrequencyError => "fréquence",
        Reads::Deviation => "excursion",
    };
    let what = say!(language, "{quantity} of {}", "{french} de {}", instrument.name);
    (cause, what, rectangular(half_width))
}
