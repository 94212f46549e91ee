//! A session's readings as observations of one repeater: which unknowns each is made of, and which
//! errors it shares with others.
//!
//! In: a case. Out: a [`Model`], solved. Unknown are opening level, power, the duplexer's two
//! losses, desense and carrier error, each before and after adjustment, held loosely by the
//! ratings; and every error that two readings share (an instrument's, a cable's, a coupler's), held
//! by its standard uncertainty. The ratings may hold them because a repeater far from its rating is
//! an explanation of its own ([`super::explain`]): they decide what asks for an explanation, not
//! which one it gets.

use std::collections::BTreeMap;

use super::super::case::Case;
use super::super::element::duplexer_loss;
use super::super::plan::{Check, Reads};
use super::table::Table;
use crate::record::{Chain, Phase, Plane, Reading, Repeater};
use crate::rf::least_squares::{Fit, FitRefused, Observation, Prior, Unknown, fit};
use crate::uncertainty::inputs::rectangular;
use crate::units::{Entry, Unit};

/// What is unknown of a repeater. The name is the check that an opening level or a power starts at,
/// so that two criteria are two unknowns.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Quantity<'a> {
    /// The level the receiver opens at, at its port.
    Opening(&'a str),
    /// The transmitter's power at its port.
    Power(&'a str),
    /// The duplexer's loss towards the receiver.
    ReceiveLoss,
    /// The duplexer's loss towards the antenna.
    TransmitLoss,
    /// How much worse the receiver opens while the transmitter is keyed.
    Desense,
    /// What this check's way of connecting adds to the desense.
    DesenseAt(&'a str),
    /// How far the carrier lies from its channel.
    Carrier,
}

/// An error with one physical cause.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Input {
    pub(super) cause: String,
    pub(super) what: String,
    pub(super) standard: f64,
    pub(super) sensitivity: f64,
}

/// A reading that takes part, or several repeats of it with their mean: one fact, one line.
#[derive(Debug)]
pub(super) struct Line<'a> {
    pub(super) id: &'a str,
    /// The readings it stands for, in the order of their ids; `id` is the last.
    pub(super) ids: Vec<&'a str>,
    pub(super) reading: &'a Reading,
    pub(super) check: &'a Check,
    pub(super) chain: &'a Chain,
    /// At the plane, in dBm or Hz.
    pub(super) value: f64,
    pub(super) quantities: Vec<(Quantity<'a>, f64)>,
    pub(super) inputs: Vec<Input>,
}

/// What an unknown of the fit stands for.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Stands<'a> {
    /// A quantity of the repeater in one phase.
    For(Phase, Quantity<'a>),
    /// A shared error, in units of its standard uncertainty.
    Error { cause: String, what: String, standard: f64 },
}

/// The readings with the fit through them.
#[derive(Debug)]
pub(super) struct Model<'a> {
    pub(super) lines: Vec<Line<'a>>,
    pub(super) unknowns: Vec<(Stands<'a>, Prior)>,
    pub(super) fit: Fit,
    named: Vec<Unknown>,
    observations: Vec<Observation>,
}

/// The most readings that take part, the latest by id, and the most errors that are unknowns of
/// their own. A visit has far fewer; a document from elsewhere may claim any number.
const READINGS_MOST: usize = 400;
const SHARED_MOST: usize = 200;

/// Solves the readings that stand and mean something. None where there is none.
pub(super) fn model<'a>(case: &Case<'a>, table: &Table) -> Result<Option<Model<'a>>, FitRefused> {
    let lines = lines(case);
    if lines.is_empty() {
        return Ok(None);
    }
    let unknowns = unknowns(case.repeater, table, &lines);
    let observations: Vec<Observation> =
        lines.iter().map(|line| observation(table, line, &unknowns)).collect();
    let named = unknowns
        .iter()
        .map(|(stands, prior)| Unknown { name: format!("{stands:?}"), prior: Some(*prior) });
    let named: Vec<Unknown> = named.collect();
    let fit = fit(&named, &observations)?;
    Ok(Some(Model { lines, unknowns, fit, named, observations }))
}

/// The latest readings, repeats as one line each, in the order of their ids.
fn lines<'a>(case: &Case<'a>) -> Vec<Line<'a>> {
    let mut lines: Vec<Line<'a>> = Vec::new();
    let mut repeated: BTreeMap<&str, usize> = BTreeMap::new();
    let mut taken = 0;
    for (&id, &reading) in case.standing_readings().iter().rev() {
        let first = case.repeats(id, reading).map(|repeats| repeats[0].0);
        let known = first.and_then(|first| repeated.get(first));
        match known {
            Some(&at) => lines[at].ids.insert(0, id),
            None => {
                let Some(line) = line(case, id, reading) else { continue };
                repeated.extend(first.map(|first| (first, lines.len())));
                lines.push(line);
            }
        }
        taken += 1;
        if taken == READINGS_MOST {
            break;
        }
    }
    lines.reverse();
    lines
}

impl Model<'_> {
    /// The fit once some readings are moved back.
    pub(super) fn without(&self, shifts: &[(usize, f64)]) -> Result<Fit, FitRefused> {
        let mut observations = self.observations.clone();
        for &(at, shift) in shifts {
            observations[at].value -= shift;
        }
        fit(&self.named, &observations)
    }
}

/// A reading with what it is made of. None where it says nothing of these unknowns.
fn line<'a>(case: &Case<'a>, id: &'a str, reading: &'a Reading) -> Option<Line<'a>> {
    let check = case.check(&reading.check).ok()?;
    let quantities = quantities(case, check)?;
    let chain = case.session.chains.get(&reading.chain)?;
    let measured = case.measured(id, check, reading).ok()?;
    let inputs = measured.budget.inputs().map(|(cause, what, standard, sensitivity)| Input {
        cause: cause.to_owned(),
        what: what.to_owned(),
        standard,
        sensitivity,
    });
    let resolution = Input {
        cause: format!("typed:{id}"),
        what: case
            .language
            .pick("resolution of the number typed", "résolution du nombre saisi")
            .to_owned(),
        standard: rectangular(half_step(reading, case.repeater)),
        sensitivity: 1.0,
    };
    let inputs = inputs.chain([resolution]).collect();
    let (ids, value) = (vec![id], measured.value);
    Some(Line { id, ids, reading, check, chain, value, quantities, inputs })
}

fn quantities<'a>(case: &Case<'a>, check: &'a Check) -> Option<Vec<(Quantity<'a>, f64)>> {
    let mut root = check;
    // The plan's reader lets a check lean only on one before it, so this ends.
    while let Some(from) = root.from.as_deref() {
        root = case.plan.find(from)?;
    }
    let mut quantities = match check.reads {
        Reads::Level => vec![(Quantity::Opening(&root.id), 1.0)],
        Reads::Power => vec![(Quantity::Power(&root.id), 1.0)],
        Reads::FrequencyError => return Some(vec![(Quantity::Carrier, 1.0)]),
        Reads::Deviation => return None,
    };
    match (check.reads, check.plane) {
        (Reads::Level, Plane::ReceiverPort) | (Reads::Power, Plane::TransmitterPort) => {}
        (Reads::Level, Plane::AntennaPort) => quantities.push((Quantity::ReceiveLoss, 1.0)),
        (Reads::Power, Plane::AntennaPort) => quantities.push((Quantity::TransmitLoss, -1.0)),
        _ => return None,
    }
    if check.reads == Reads::Level && check.keyed {
        quantities.push((Quantity::Desense, 1.0));
        quantities.push((Quantity::DesenseAt(&check.id), 1.0));
    }
    Some(quantities)
}

/// Half of one step of the last digit typed, in dB or Hz: the record keeps the text as typed.
fn half_step(reading: &Reading, repeater: &Repeater) -> f64 {
    let text = reading.typed.trim();
    let decimals = text.split(['.', ',']).nth(1).map_or(0, str::len);
    let half = 0.5 * 10f64.powf(-(decimals as f64));
    let value = Entry::parse(text, reading.unit).map_or(0.0, |entry| entry.value().abs());
    let share = half / value.max(half);
    match reading.unit {
        Unit::Dbm | Unit::DbMicrovolt | Unit::Hertz => half,
        Unit::Microvolt | Unit::MicrovoltEmf => 20.0 * (1.0 + share).log10(),
        Unit::Watt | Unit::Milliwatt => 10.0 * (1.0 + share).log10(),
        Unit::Kilohertz => 1_000.0 * half,
        Unit::Ppm => half * repeater.transmit_hz as f64 / 1e6,
    }
}

fn unknowns<'a>(
    repeater: &Repeater,
    table: &Table,
    lines: &[Line<'a>],
) -> Vec<(Stands<'a>, Prior)> {
    let mut quantities = BTreeMap::new();
    let mut errors: BTreeMap<&str, (usize, &str, f64)> = BTreeMap::new();
    for line in lines {
        for (quantity, _) in &line.quantities {
            let prior = prior(*quantity, repeater, table);
            quantities.insert((line.reading.phase, *quantity), prior);
        }
        for input in &line.inputs {
            let shared = errors.entry(&input.cause).or_insert((0, &input.what, 0.0));
            shared.0 += 1;
            shared.2 = shared.2.max(input.standard);
        }
    }
    let quantities =
        quantities.into_iter().map(|((phase, q), prior)| (Stands::For(phase, q), prior));
    let shared =
        errors.into_iter().filter(|(_, (count, _, standard))| *count > 1 && *standard > 0.0);
    let errors = shared.take(SHARED_MOST).map(|(cause, (_, what, standard))| {
        let (cause, what) = (cause.to_owned(), what.to_owned());
        (Stands::Error { cause, what, standard }, Prior { mean: 0.0, standard: 1.0 })
    });
    quantities.chain(errors).collect()
}

/// What is known of a quantity before anything is read.
fn prior(quantity: Quantity<'_>, repeater: &Repeater, table: &Table) -> Prior {
    let (ratings, before) = (&repeater.ratings, &table.before);
    let duplexer_db = rectangular(ratings.duplexer_tolerance_db).max(table.spread_least);
    let (mean, standard) = match quantity {
        Quantity::Opening(_) => (ratings.opening_level_dbm, before.opening_level_db),
        Quantity::Power(_) => (10.0 * ratings.power_w.log10() + 30.0, before.power_db),
        Quantity::ReceiveLoss => (foreseen_loss(repeater, Plane::ReceiverPort), duplexer_db),
        Quantity::TransmitLoss => (foreseen_loss(repeater, Plane::AntennaPort), duplexer_db),
        Quantity::Desense => (before.desense_mean_db, before.desense_db),
        Quantity::DesenseAt(_) => (0.0, rectangular(before.desense_apart_db)),
        Quantity::Carrier => (0.0, before.carrier_ppm * repeater.transmit_hz as f64 / 1e6),
    };
    Prior { mean, standard }
}

/// The duplexer's loss towards a plane before anything is read: swept where it was, else rated.
pub(super) fn foreseen_loss(repeater: &Repeater, towards: Plane) -> f64 {
    let ratings = &repeater.ratings;
    let rated = match towards {
        Plane::ReceiverPort => ratings.duplexer_receive_loss_db,
        Plane::TransmitterPort | Plane::AntennaPort => ratings.duplexer_transmit_loss_db,
    };
    // A sweep that does not reach the channel is refused where the papers are checked.
    duplexer_loss(repeater, towards).map_or(rated, |(db, _)| db)
}

/// Errors that no other reading shares are this reading's own spread.
fn observation(table: &Table, line: &Line<'_>, unknowns: &[(Stands<'_>, Prior)]) -> Observation {
    let mut terms = Vec::new();
    let mut variance = table.spread_least.powi(2);
    for (quantity, factor) in &line.quantities {
        let stands = Stands::For(line.reading.phase, *quantity);
        let at = unknowns.iter().position(|(known, _)| *known == stands);
        terms.push((at.expect("every quantity of a line is an unknown"), *factor));
    }
    for input in &line.inputs {
        let spread = input.standard * input.sensitivity;
        let is = |known: &Stands<'_>| match known {
            Stands::Error { cause, .. } => *cause == input.cause,
            Stands::For(..) => false,
        };
        match unknowns.iter().position(|(known, _)| is(known)) {
            Some(at) => terms.push((at, spread)),
            None => variance += spread.powi(2),
        }
    }
    Observation { name: line.id.to_owned(), value: line.value, standard: variance.sqrt(), terms }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_a_step_of_the_last_digit_in_every_unit() {
        let sheet: serde_json::Value =
            serde_json::from_str(include_str!("../../../../demo-data/site.json")).unwrap();
        let repeater: Repeater =
            serde_json::from_value(sheet["repeaters"]["lookout-vhf"].clone()).unwrap();
        // 20·log10 or 10·log10 of (value + half)/value; 158.6 Hz for one part in a million.
        for (typed, unit, expected) in [
            ("-120.2", Unit::Dbm, 0.05),
            ("-120", Unit::Dbm, 0.5),
            (" 12,25 ", Unit::DbMicrovolt, 0.005),
            ("0.256", Unit::Microvolt, 0.016_948),
            ("0.5", Unit::MicrovoltEmf, 0.827_854),
            ("21.0", Unit::Watt, 0.010_328),
            ("25", Unit::Milliwatt, 0.086_002),
            ("0", Unit::Watt, 3.010_300),
            ("150", Unit::Hertz, 0.5),
            ("0.15", Unit::Kilohertz, 5.0),
            ("1.0", Unit::Ppm, 7.93),
        ] {
            let reading = Reading {
                check: String::new(),
                chain: String::new(),
                plane: Plane::AntennaPort,
                criterion: String::new(),
                instrument: String::new(),
                typed: typed.to_owned(),
                unit,
                phase: Phase::AsFound,
                replaces: None,
                answered_by: None,
                stamp: crate::record::Stamp {
                    by: String::new(),
                    device: String::new(),
                    at: crate::time::Timestamp::from_unix_ms(0).unwrap(),
                },
            };
            let got = half_step(&reading, &repeater);
            assert!((got - expected).abs() < 1e-5, "{typed} {unit}: {got}, not {expected}");
        }
    }
}
