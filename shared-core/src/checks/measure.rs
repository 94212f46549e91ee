//! What a reading means at its plane, with its budget and the working in words.
//!
//! In: a reading, its check and its resolved chain. Out: a value in dBm or Hz. Knows no limit.

use super::plan::{Check, Reads};
use super::setup::{ChainRefused, Setup};
use crate::record::{Reading, Repeater};
use crate::rf::chain::Row;
use crate::uncertainty::budget::{Budget, rectangular};
use crate::units::{Dbm, Entry, EntryRefused, Hertz, OutOfRange, shown};

/// A value at a plane.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Measured {
    /// In dBm for levels and powers, in Hz for frequency error and deviation.
    pub(crate) value: f64,
    pub(crate) budget: Budget,
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

/// What the reading means at its plane. `id` names the reading in the budget.
pub(crate) fn measure(
    id: &str,
    check: &Check,
    reading: &Reading,
    setup: &Setup<'_>,
    repeater: &Repeater,
) -> Result<Measured, NotMeasured> {
    let raw = entered(check, repeater, reading)?;
    let typed = format!("{} {} typed", reading.typed.trim(), reading.unit);
    let (cause, what, standard) = instrument_input(check, reading, setup, repeater, raw);
    let budget = Budget::default().with(&cause, &what, standard, 1.0).with(
        &format!("reading:{id}"),
        &format!("repeatability, {}", reading.criterion),
        rectangular(check.repeat),
        1.0,
    );
    match check.reads {
        Reads::Level => {
            let row = setup.to_plane(repeater.receive_hz)?;
            let first = format!("{typed} = {} dBm at the generator", shown(raw, 1));
            through(row, raw, -1.0, budget, first, reading)
        }
        Reads::Power => {
            let row = setup.to_plane(repeater.transmit_hz)?;
            let first = format!("{typed} = {} dBm at the meter", shown(raw, 2));
            through(row, raw, 1.0, budget, first, reading)
        }
        Reads::FrequencyError | Reads::Deviation => {
            let working = vec![format!("{typed} = {} Hz", shown(raw, 0))];
            Ok(Measured { value: raw, budget, working })
        }
    }
}

/// Takes the losses off (a generator's level) or puts them back on (a meter's power).
fn through(
    row: Row,
    raw: f64,
    sign: f64,
    mut budget: Budget,
    first: String,
    reading: &Reading,
) -> Result<Measured, NotMeasured> {
    let mut working = vec![first];
    for element in &row.elements {
        let mark = if sign < 0.0 { '\u{2212}' } else { '+' };
        working.push(format!("{mark} {} dB, {}", shown(element.loss.db(), 2), element.name));
        let what = format!("loss of {}", element.name);
        budget = budget.with(&element.cause, &what, element.standard_db, sign);
    }
    let value = Dbm::new(raw + sign * row.loss().db())?.dbm();
    working.push(format!("= {} dBm at the {}", shown(value, 1), reading.plane.words()));
    Ok(Measured { value, budget, working })
}

/// The instrument's own error as (cause, words, standard uncertainty in dB or Hz).
fn instrument_input(
    check: &Check,
    reading: &Reading,
    setup: &Setup<'_>,
    repeater: &Repeater,
    raw: f64,
) -> (String, String, f64) {
    let instrument = setup.instrument();
    let accuracy = &instrument.accuracy;
    let carrier_mhz = repeater.transmit_hz as f64 / 1e6;
    let (quantity, half_width) = match check.reads {
        Reads::Level => ("level", accuracy.level_db),
        Reads::Power => ("power", 10.0 * (1.0 + accuracy.power_percent / 100.0).log10()),
        Reads::FrequencyError => ("frequency", accuracy.frequency_ppm * carrier_mhz),
        Reads::Deviation => ("deviation", raw.abs() * accuracy.deviation_percent / 100.0),
    };
    let cause = format!("instrument:{}:{quantity}", reading.instrument);
    (cause, format!("{quantity} of {}", instrument.name), rectangular(half_width))
}
