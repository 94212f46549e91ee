//! What reconciling says, in words: sentences, values as people read them, the next thing to do.
//!
//! In: a solved model and explanations. Out: text and a [`Finding`]. No word here blames a person:
//! a slip is something that happened to a reading.

use super::super::case::Case;
use super::super::findings::{Finding, Weight};
use super::super::guard::watts_shown;
use super::super::plan::Reads;
use super::ExplanationKind::{self, *};
use super::model::{Line, Model};
use super::{Meant, Reconciled};
use crate::units::{Dbm, shown};

/// A slip this likely is worth a look even behind a fault.
const SHARE_WORTH_A_LOOK: f64 = 0.1;

/// The unit of a line at its plane.
pub(super) fn unit(line: &Line<'_>) -> &'static str {
    if line.check.reads == Reads::FrequencyError { "Hz" } else { "dBm" }
}

fn text(line: &Line<'_>, value: f64) -> String {
    let there = line.check.plane.words();
    match (line.check.reads, Dbm::new(value)) {
        (Reads::FrequencyError, _) => format!("{} Hz", shown(value, 0)),
        (Reads::Power, Ok(level)) => {
            let watts = watts_shown(level.watts().watts());
            format!("{watts} ({} dBm) at the {there}", shown(value, 1))
        }
        _ => format!("{} dBm at the {there}", shown(value, 1)),
    }
}

/// Whether the readings fit, in a sentence.
pub(super) fn said(model: &Model<'_>, chance: f64, fits: bool) -> String {
    let count: usize = model.lines.iter().map(|line| line.ids.len()).sum();
    let readings = if count == 1 { "reading" } else { "readings" };
    let chi_square = shown(model.fit.chi_square, 1);
    let chance = chance_text(chance);
    let whether = if fits { "fit together" } else { "do not fit together" };
    format!(
        "{count} {readings}, ratings and calibration {whether}: chi-square {chi_square} with {} \
         degrees of freedom, chance {chance}",
        model.fit.degrees_of_freedom
    )
}

fn chance_text(chance: f64) -> String {
    match chance {
        c if c < 0.0005 => "less than 1 in 2000".to_owned(),
        c => format!("{} %", shown(100.0 * c, if c < 0.1 { 2 } else { 0 })),
    }
}

/// The hypothesis as a sentence, with its size.
pub(super) fn sentence(words: &str, size: f64) -> String {
    let decimals = if size.abs() < 100.0 { 1 } else { 0 };
    let words = words.replace("{size}", &shown(size, decimals));
    let mut letters = words.chars();
    let first: String = letters.next().map(|c| c.to_uppercase().collect()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}

/// What the readings would have meant. A fault leaves them as they stand.
pub(super) fn meant(
    model: &Model<'_>,
    kind: ExplanationKind,
    shifts: &[(usize, f64)],
) -> Vec<Meant> {
    let meant = shifts.iter().flat_map(|&(at, shift)| {
        let line = &model.lines[at];
        let value = if kind.is_slip() { line.value - shift } else { line.value };
        let of = move |id: &&str| Meant { id: (*id).to_owned(), value, text: text(line, value) };
        line.ids.iter().map(of)
    });
    meant.collect()
}

/// The next thing to do. Common practice, no source.
pub(super) fn next(kind: ExplanationKind) -> &'static str {
    match kind {
        ForgottenElement | CountedElement => {
            "Look at what is really connected; then correct the chain, or repeat the reading."
        }
        Emf | DecibelUnit | OtherUnit => {
            "Look at the unit the instrument shows; then enter the reading anew in that unit."
        }
        Sign => "Enter the reading anew with its sign; withdraw this one.",
        PeakPower => "Set the meter to average power and repeat.",
        WrongPlane => "Look at which port the cable is on; then repeat where the check says.",
        SwappedDuplexer => {
            "Do not key. Compare the duplexer's port marks with transmitter and receiver, swap, \
             and repeat everything at the antenna port."
        }
        WrongChannel => "Compare the frequency on the test set with the licence, and repeat.",
        Unexplained => "Repeat this reading with another cable; withdraw the one that was wrong.",
        Receiver => "Repeat with another cable; if it stays, check squelch and front end.",
        Transmitter => "Repeat with another meter; if it stays, look at the power setting.",
        ReceivePath | TransmitPath => {
            "Repeat with another jumper on this path; if it stays, look at the duplexer's tuning."
        }
        Desense => "Repeat into a load with good cables, then the test that separates the causes.",
        Carrier => "Repeat on another instrument; if it stays, look at the reference oscillator.",
        Part => {
            "Repeat with another in its place; if that fits, mark this one and have it measured."
        }
        Instrument => "Repeat with another instrument; if that fits, have this one calibrated.",
    }
}

/// What to say when readings do not fit. Nothing where a fault that has its own verdict explains
/// them, and no slip comes near.
pub(crate) fn finding(case: &Case<'_>, reconciled: &Reconciled) -> Option<Finding> {
    let first = reconciled.explanations.first()?;
    let slip = reconciled.explanations.iter().find(|e| e.kind.is_slip());
    let has_verdict = !first.kind.is_slip() && !matches!(first.kind, Part | Instrument);
    if has_verdict && slip.is_none_or(|slip| slip.share < SHARE_WORTH_A_LOOK) {
        return None;
    }
    let second = reconciled.explanations.get(1).filter(|e| e.share >= SHARE_WORTH_A_LOOK);
    let mut what = format!("Readings do not fit together. Likeliest: {}", first.words);
    if let Some(second) = second {
        what.push_str(&format!(" Or: {}", second.words));
    }
    let session = case.session;
    let title = |id: &str| {
        let check = session.readings.get(id).and_then(|r| case.plan.find(&r.check));
        check.map_or_else(String::new, |check| check.title.clone())
    };
    let mut evidence = reconciled.said.clone();
    let misfit = reconciled.misfit.as_deref();
    for held in reconciled.readings.iter().filter(|held| Some(held.id.as_str()) == misfit) {
        if let (Some(foretold), Some(expanded)) = (held.foretold, held.foretold_expanded) {
            evidence.push_str(&format!(
                ". {}: {} {unit} read, {} ± {} {unit} foretold by all else",
                title(&held.id),
                shown(held.at_plane, 1),
                shown(foretold, 1),
                shown(expanded, 1),
                unit = held.unit
            ));
        }
    }
    if first.kind.is_slip() {
        for meant in &first.readings {
            evidence.push_str(&format!(". Then {} is {}", title(&meant.id), meant.text));
        }
    }
    evidence.push_str(match first.rest_fits {
        true => ". The rest fits then",
        false => ". Even then the rest does not fit: look for a second one",
    });
    let touched = first.readings.iter().filter_map(|meant| session.readings.get(&meant.id));
    let mut checks: Vec<String> = touched.map(|reading| reading.check.clone()).collect();
    checks.sort();
    checks.dedup();
    Some(Finding { weight: Weight::Doubt, what, evidence, next: first.next.clone(), checks })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chance_is_said_as_exactly_as_it_is_worth() {
        let said = [0.0, 0.000_499, 0.0005, 0.0999, 0.1, 0.954, 1.0].map(chance_text);
        let least = "less than 1 in 2000";
        assert_eq!(said, [least, least, "0.05 %", "9.99 %", "10 %", "95 %", "100 %"]);
    }
}
