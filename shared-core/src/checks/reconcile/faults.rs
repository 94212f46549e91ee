//! What may be wrong with the equipment rather than with a reading: each quantity, part and
//! instrument may be far from its rating.
//!
//! In: a model. Out: hypotheses. Listed beside the slips, so that nobody is told of a slip where a
//! lossy path explains the readings as well.

use std::collections::BTreeMap;

use super::super::case::Case;
use super::ExplanationKind::{self, *};
use super::explain::{Hypothesis, Move};
use super::model::{Model, Quantity, Stands};
use super::table::Table;
use crate::language::Language;
use crate::record::Phase;
use crate::rf::least_squares::Direction;

/// Every fault that the readings can show.
pub(super) fn faults(table: &Table, case: &Case<'_>, model: &Model<'_>) -> Vec<Hypothesis> {
    let mut found = Vec::new();
    let mut both: BTreeMap<Quantity<'_>, Vec<Direction>> = BTreeMap::new();
    for (stands, _) in &model.unknowns {
        let Stands::For(phase, quantity) = stands else { continue };
        let along = along(model, *phase, *quantity);
        both.entry(*quantity).or_default().push(along.clone());
        found.push(off_its_rating(table, case, *quantity, along, when(*phase, case.language)));
    }
    for (quantity, phases) in both.into_iter().filter(|(_, phases)| phases.len() > 1) {
        found.push(off_its_rating(table, case, quantity, phases.concat(), ""));
    }
    found.extend(off_their_calibration(table, model, case.language));
    found
}

fn when(phase: Phase, language: Language) -> &'static str {
    match phase {
        Phase::AsFound => language.pick("as found, ", "à l’arrivée, "),
        Phase::AsLeft => language.pick("as left, ", "au départ, "),
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
    case: &Case<'_>,
    quantity: Quantity<'_>,
    along: Direction,
    when: &str,
) -> Hypothesis {
    let (kind, one_sided, words) = off_words(quantity, case.language);
    let odds = table.odds(kind);
    let spread = match kind {
        Carrier => odds.spread * case.repeater.transmit_hz as f64 / 1e6,
        _ => odds.spread,
    };
    let moves = vec![Move { along, mean: odds.mean, spread }];
    Hypothesis { kind, odds: odds.odds, moves, one_sided, words: format!("{when}{words}") }
}

/// The kind of fault that a quantity off its rating is, whether it goes one way only, and words.
fn off_words(quantity: Quantity<'_>, language: Language) -> (ExplanationKind, bool, &'static str) {
    let (kind, one_sided, english, french) = match quantity {
        Quantity::Opening(_) => (
            Receiver,
            true,
            "the receiver opens {size} dB worse than rated, and no reading is wrong",
            "le récepteur ouvre {size} dB moins bien que prévu, et aucune mesure n’est fausse",
        ),
        Quantity::Power(_) => (
            Transmitter,
            false,
            "the transmitter makes {size} dB over its rating, and no reading is wrong",
            "l’émetteur donne {size} dB de plus que prévu, et aucune mesure n’est fausse",
        ),
        Quantity::ReceiveLoss => (
            ReceivePath,
            true,
            "the receive path loses {size} dB over its rating, and no reading is wrong",
            "le trajet de réception perd {size} dB de trop, et aucune mesure n’est fausse",
        ),
        Quantity::TransmitLoss => (
            TransmitPath,
            true,
            "the transmit path loses {size} dB over its rating, and no reading is wrong",
            "le trajet d’émission perd {size} dB de trop, et aucune mesure n’est fausse",
        ),
        Quantity::Desense => (
            Desense,
            true,
            "the desense is {size} dB more than is usual, and no reading is wrong",
            "la désensibilisation dépasse de {size} dB l’habituelle, et aucune mesure n’est fausse",
        ),
        Quantity::DesenseAt(_) => (
            Desense,
            false,
            "the desense differs by {size} dB with how the test set is connected",
            "la désensibilisation change de {size} dB selon le branchement de l’appareil",
        ),
        Quantity::Carrier => (
            Carrier,
            false,
            "the carrier is off its channel by {size} Hz, and no reading is wrong",
            "la porteuse est à {size} Hz de son canal, et aucune mesure n’est fausse",
        ),
    };
    (kind, one_sided, language.pick(english, french))
}

/// Parts that lose more than they did when measured, and instruments off by more than their
/// accuracy. Frequencies are left out: one reading cannot tell the counter from the carrier.
fn off_their_calibration(table: &Table, model: &Model<'_>, language: Language) -> Vec<Hypothesis> {
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
            Some("part") => (
                Part,
                true,
                language.pick(
                    "the {what} is {size} dB more than when it was measured",
                    "{what} : {size} dB de plus que lors de sa mesure",
                ),
            ),
            Some("instrument") => (
                Instrument,
                false,
                language.pick(
                    "the {what} is off by {size} dB, more than its accuracy",
                    "{what} : à côté de {size} dB, plus que sa précision",
                ),
            ),
            _ => return None,
        };
        // A part that loses more makes a generator's level look higher, and a power lower.
        let turn = if kind == Part { -1.0 } else { 1.0 };
        let along = along.into_iter().map(|(at, factor)| (at, turn * factor)).collect();
        let odds = table.odds(kind);
        let moves = vec![Move { along, mean: odds.mean, spread: odds.spread }];
        let words = words.replace("{what}", what);
        Some(Hypothesis { kind, odds: odds.odds, moves, one_sided, words })
    };
    causes.into_iter().filter_map(fault).collect()
}
