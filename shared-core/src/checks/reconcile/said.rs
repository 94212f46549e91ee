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
use crate::language::{Language, say};
use crate::units::{Dbm, shown};

/// A slip this likely is worth a look even behind a fault.
const SHARE_WORTH_A_LOOK: f64 = 0.1;

/// The unit of a line at its plane.
pub(super) fn unit(line: &Line<'_>) -> &'static str {
    if line.check.reads == Reads::FrequencyError { "Hz" } else { "dBm" }
}

fn text(line: &Line<'_>, value: f64, language: Language) -> String {
    let there = line.check.plane.said(language);
    match (line.check.reads, Dbm::new(value)) {
        (Reads::FrequencyError, _) => format!("{} Hz", shown(value, 0)),
        (Reads::Power, Ok(level)) => {
            let watts = watts_shown(level.watts().watts());
            let level = shown(value, 1);
            say!(
                language,
                "{watts} ({level} dBm) at the {there}",
                "{watts} ({level} dBm) au {there}"
            )
        }
        _ => say!(language, "{} dBm at the {there}", "{} dBm au {there}", shown(value, 1)),
    }
}

/// Whether the readings fit, in a sentence.
pub(super) fn said(model: &Model<'_>, chance: f64, fits: bool, language: Language) -> String {
    let count: usize = model.lines.iter().map(|line| line.ids.len()).sum();
    let readings = match count {
        1 => language.pick("reading", "mesure"),
        _ => language.pick("readings", "mesures"),
    };
    let chi_square = shown(model.fit.chi_square, 1);
    let chance = chance_text(chance, language);
    let whether = match fits {
        true => language.pick("fit together", "concordent"),
        false => language.pick("do not fit together", "ne concordent pas"),
    };
    say!(
        language,
        "{count} {readings}, ratings and calibration {whether}: chi-square {chi_square} with {} \
         degrees of freedom, chance {chance}",
        "{count} {readings}, valeurs assignées et étalonnages {whether} : chi carré {chi_square} à \
         {} degrés de liberté, probabilité {chance}",
        model.fit.degrees_of_freedom
    )
}

fn chance_text(chance: f64, language: Language) -> String {
    match chance {
        c if c < 0.0005 => language.pick("less than 1 in 2000", "moins de 1 sur 2000").to_owned(),
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
    language: Language,
) -> Vec<Meant> {
    let meant = shifts.iter().flat_map(|&(at, shift)| {
        let line = &model.lines[at];
        let value = if kind.is_slip() { line.value - shift } else { line.value };
        let of = move |id: &&str| {
            let text = text(line, value, language);
            Meant { id: (*id).to_owned(), value, text }
        };
        line.ids.iter().map(of)
    });
    meant.collect()
}

/// The next thing to do. Common practice, no source.
pub(super) fn next(kind: ExplanationKind, language: Language) -> &'static str {
    let (english, french) = match kind {
        ForgottenElement | CountedElement => (
            "Look at what is really connected; then correct the chain, or repeat the reading.",
            "Regarder ce qui est branché en fait ; puis corriger le montage, ou refaire la mesure.",
        ),
        Emf | DecibelUnit | OtherUnit => (
            "Look at the unit the instrument shows; then enter the reading anew in that unit.",
            "Regarder l’unité que montre l’instrument ; puis saisir la mesure dans cette unité.",
        ),
        Sign => (
            "Enter the reading anew with its sign; withdraw this one.",
            "Saisir la mesure à nouveau avec son signe ; retirer celle-ci.",
        ),
        PeakPower => (
            "Set the meter to average power and repeat.",
            "Mettre le wattmètre en puissance moyenne et refaire.",
        ),
        WrongPlane => (
            "Look at which port the cable is on; then repeat where the check says.",
            "Regarder sur quel port est le câble ; puis refaire là où le contrôle le dit.",
        ),
        SwappedDuplexer => (
            "Do not key. Compare the duplexer's port marks with transmitter and receiver, swap, \
             and repeat everything at the antenna port.",
            "Ne pas émettre. Comparer les repères du duplexeur avec l’émetteur et le récepteur, \
             échanger, et tout refaire au port d’antenne.",
        ),
        WrongChannel => (
            "Compare the frequency on the test set with the licence, and repeat.",
            "Comparer la fréquence de l’appareil avec la licence, et refaire.",
        ),
        Unexplained => (
            "Repeat this reading with another cable; withdraw the one that was wrong.",
            "Refaire cette mesure avec un autre câble ; retirer celle qui était fausse.",
        ),
        Receiver => (
            "Repeat with another cable; if it stays, check squelch and front end.",
            "Refaire avec un autre câble ; si cela reste, contrôler silencieux et étage d’entrée.",
        ),
        Transmitter => (
            "Repeat with another meter; if it stays, look at the power setting.",
            "Refaire avec un autre wattmètre ; si cela reste, regarder le réglage de puissance.",
        ),
        ReceivePath | TransmitPath => (
            "Repeat with another jumper on this path; if it stays, look at the duplexer's tuning.",
            "Refaire avec un autre cordon sur ce trajet ; si cela reste, regarder l’accord du \
             duplexeur.",
        ),
        Desense => (
            "Repeat into a load with good cables, then the test that separates the causes.",
            "Refaire sur une charge avec de bons câbles, puis l’essai qui sépare les causes.",
        ),
        Carrier => (
            "Repeat on another instrument; if it stays, look at the reference oscillator.",
            "Refaire avec un autre instrument ; si cela reste, voir l’oscillateur de référence.",
        ),
        Part => (
            "Repeat with another in its place; if that fits, mark this one and have it measured.",
            "Refaire avec un autre à sa place ; si cela concorde, marquer celui-ci et le faire \
             mesurer.",
        ),
        Instrument => (
            "Repeat with another instrument; if that fits, have this one calibrated.",
            "Refaire avec un autre instrument ; si cela concorde, faire étalonner celui-ci.",
        ),
    };
    language.pick(english, french)
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
    let language = case.language;
    let mut what = say!(
        language,
        "Readings do not fit together. Likeliest: {}",
        "Des mesures ne concordent pas. Le plus probable : {}",
        first.words
    );
    if let Some(second) = second {
        what.push_str(&say!(language, " Or: {}", " Ou : {}", second.words));
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
            evidence.push_str(&say!(
                language,
                ". {}: {} {unit} read, {} ± {} {unit} foretold by all else",
                ". {} : {} {unit} lus, {} ± {} {unit} prévus par tout le reste",
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
            let (title, text) = (title(&meant.id), &meant.text);
            evidence.push_str(&say!(
                language,
                ". Then {title} is {text}",
                ". Alors {title} vaut {text}"
            ));
        }
    }
    evidence.push_str(match first.rest_fits {
        true => language.pick(". The rest fits then", ". Le reste concorde alors"),
        false => language.pick(
            ". Even then the rest does not fit: look for a second one",
            ". Même alors le reste ne concorde pas : en chercher une seconde",
        ),
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
        let said = [0.0, 0.000_499, 0.0005, 0.0999, 0.1, 0.954, 1.0]
            .map(|c| chance_text(c, Language::English));
        let least = "less than 1 in 2000";
        assert_eq!(said, [least, least, "0.05 %", "9.99 %", "10 %", "95 %", "100 %"]);
    }
}
