//! What may be wrong with the equipment rather than with a reading: each quantity, part and
//! instrument may be far from its rating.
//!
//! In: a model. Out: hypotheses. Listed beside the slips, so that nobody is told of a slip where a
//! lossy path explains the readings as well.

use std::collections::BTreeMap;

use super::ExplanationKind::{self, *};
use super::explain::{Hypothesis, Move};
use super::model::{Model, Quantity, Stands};
use super::table::Table;
use crate::record::{Phase, Repeater};
use crate::rf::least_squares::Direction;

/// Every fault that the readings can show.
pub(super) fn faults(table: &Table, repeater: &Repeater, model: &Model<'_>) -> Vec<Hypothesis> {
    let mut found = Vec::new();
    let mut both: BTreeMap<Quantity<'_>, Vec<Direction>> = BTreeMap::new();
    for (stands, _) in &model.unknowns {
        let Stands::For(phase, quantity) = stands else { continue };
        let along = along(model, *phase, *quantity);
        both.entry(*quantity).or_default().push(along.clone());
        found.push(off_its_rating(table, repeater, *quantity, along, phase_words(*phase)));
    }
    for (quantity, phases) in both.into_iter().filter(|(_, phases)| phases.len() > 1) {
        found.push(off_its_rating(table, repeater, quantity, phases.concat(), ""));
    }
    found.extend(off_their_calibration(table, model));
    found
}

fn phase_words(phase: Phase) -> &'static str {
    match phase {
        Phase::AsFound => "as found, ",
        Phase::AsLeft => "as left, ",
    }
}

/// How the readings follow a quantity.
fn along(model: &Model<'_>, phase: Phase, quantity: Quantity<'_>) -> Direction {
    let mut along = Vec::new();
    for (at, line) in model.lines.iter().enumerate().filter(|(_, l)| l.reading.phase == phase) {
        let factors = line.quantities.iter().filter(|(known, _)| *known == quantity);
        along.extend(factors.map(|(_, factor)| (at, *factor)));
    }
    along
}

fn off_its_rating(
    table: &Table,
    repeater: &Repeater,
    quantity: Quantity<'_>,
    along: Direction,
    when: &str,
) -> Hypothesis {
    let (kind, one_sided, words) = match quantity {
        Quantity::Opening(_) => (
            Receiver,
            true,
            "the receiver opens {size} dB worse than rated, and no reading is wrong",
        ),
        Quantity::Power(_) => (
            Transmitter,
            false,
            "the transmitter makes {size} dB over its rating, and no reading is wrong",
        ),
        Quantity::ReceiveLoss => (
            ReceivePath,
            true,
            "the receive path loses {size} dB over its rating, and no reading is wrong",
        ),
        Quantity::TransmitLoss => (
            TransmitPath,
            true,
            "the transmit path loses {size} dB over its rating, and no reading is wrong",
        ),
        Quantity::Desense => {
            (Desense, true, "the desense is {size} dB more than is usual, and no reading is wrong")
        }
        Quantity::DesenseAt(_) => {
            (Desense, false, "the desense differs by {size} dB with how the test set is connected")
        }
        Quantity::Carrier => {
            (Carrier, false, "the carrier is off its channel by {size} Hz, and no reading is wrong")
        }
    };
    let odds = table.odds(kind);
    let spread = match kind {
        Carrier => odds.spread * repeater.transmit_hz as f64 / 1e6,
        _ => odds.spread,
    };
    let moves = vec![Move { along, mean: odds.mean, spread }];
    Hypothesis { kind, odds: odds.odds, moves, one_sided, words: format!("{when}{words}") }
}

/// Parts that lose more than they did when measured, and instruments off by more than their
/// accuracy. Frequencies are left out: one reading cannot tell the counter from the carrier.
fn off_their_calibration(table: &Table, model: &Model<'_>) -> Vec<Hypothesis> {
    let mut causes: BTreeMap<&str, (&str, Direction)> = BTreeMap::new();
    for (at, line) in model.lines.iter().enumerate() {
        if line.quantities.iter().any(|(quantity, _)| *quantity == Quantity::Carrier) {
            continue;
        }
        for input in &line.inputs {
            let found = causes.entry(&input.cause).or_insert((&input.what, Vec::new()));
            found.1.push((at, input.sensitivity));
        }
    }
    let fault = |(cause, (what, along)): (&str, (&str, Direction))| {
        let (kind, one_sided, words): (ExplanationKind, bool, &str) = match cause.split(':').next()
        {
            Some("part") => (Part, true, "is {size} dB more than when it was measured"),
            Some("instrument") => {
                (Instrument, false, "is off by {size} dB, more than its accuracy")
            }
            _ => return None,
        };
        // A part that loses more makes a generator's level look higher, and a power lower.
        let turn = if kind == Part { -1.0 } else { 1.0 };
        let along = along.into_iter().map(|(at, factor)| (at, turn * factor)).collect();
        let odds = table.odds(kind);
        let moves = vec![Move { along, mean: odds.mean, spread: odds.spread }];
        let words = format!("the {what} {words}");
        Some(Hypothesis { kind, odds: odds.odds, moves, one_sided, words })
    };
    causes.into_iter().filter_map(fault).collect()
}
