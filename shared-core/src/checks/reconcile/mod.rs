//! Whether a session's readings fit together, and if not, what would explain it.
//!
//! In: a case and its site. Out: a [`Reconciled`]: opening level, power, losses, desense and shared
//! errors as all readings together say, how far each reading lies from what the others foretell,
//! chi-square, and when chance would hardly scatter them so, what may have happened, likeliest
//! first: slips with the value each reading would have meant, and faults beside them. Nobody is
//! named, and nothing is said of slips while chi-square is fine. It changes no verdict.
//!
//! Method: [`model`] (weighted least squares), [`slips`] and [`faults`] (what can have happened),
//! [`explain`] (how likely it makes the readings).

#[cfg(test)]
mod bounds_tests;
mod explain;
mod faults;
mod model;
mod said;
mod slips;
mod table;
#[cfg(test)]
mod tests;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::case::Case;
use crate::language::{Language, say};
use crate::record::{Phase, Site};
use crate::rf::chi_square::chance_of_more;
use crate::rf::least_squares::{Direction, Fit, FitRefused};
use explain::{Hypothesis, Weighed, ranked};
use model::{Line, Model, Quantity, Stands, model};
use slips::{Scene, slips};
use table::Table;

pub(crate) use said::finding;

/// What all readings of a session say together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Reconciled {
    /// In a sentence.
    pub said: String,
    /// Whether the readings fit together, and with ratings and calibration.
    pub fits: bool,
    /// The weighted sum of squares.
    pub chi_square: f64,
    /// What it has to be held against.
    pub degrees_of_freedom: usize,
    /// The chance of a chi-square this large or larger if nothing is wrong.
    pub chance: f64,
    /// The reading that fits least, by id. None while all is fine.
    pub misfit: Option<String>,
    /// What may have happened, likeliest first, five at most. Empty while all is fine.
    pub explanations: Vec<Explanation>,
    /// The repeater and the shared errors, as all readings together say once the likeliest
    /// explanation is undone: a fault's size comes on top.
    pub estimates: Vec<Estimate>,
    /// The readings that took part, in the order of their ids.
    pub readings: Vec<HeldReading>,
}

/// Something unknown, found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Estimate {
    /// What it is.
    pub what: String,
    /// Before or after adjustment. None for errors, which adjusting does not change.
    pub phase: Option<Phase>,
    /// dBm, dB or Hz.
    pub unit: String,
    /// What it is found to be.
    pub value: f64,
    /// Expanded uncertainty, k = 2.
    pub expanded: f64,
    /// What it was taken for before anything was read: a rating, or no error.
    pub before: f64,
    /// How far it could have been off that, k = 2.
    pub before_expanded: f64,
}

/// A reading held against all others.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct HeldReading {
    /// The reading's id.
    pub id: String,
    /// What it means at its plane, in `unit`.
    pub at_plane: f64,
    /// dBm or Hz.
    pub unit: String,
    /// The reading less what is fitted through all, in dB or Hz.
    pub residual: f64,
    /// The residual over its own standard uncertainty. None where nothing else speaks of it.
    pub standardised: Option<f64>,
    /// What ratings, calibration and all other readings foretell for it, once the likeliest
    /// explanation is undone.
    pub foretold: Option<f64>,
    /// Expanded uncertainty (k = 2) of its distance from that.
    pub foretold_expanded: Option<f64>,
}

/// Something that may have happened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Explanation {
    /// Which.
    pub kind: ExplanationKind,
    /// What may have happened, in a sentence.
    pub words: String,
    /// What to do next.
    pub next: String,
    /// Its share among all that was thought of, 0 to 1.
    pub share: f64,
    /// Chi-square once it is undone.
    pub chi_square: f64,
    /// Whether the rest fits together then. If not, look for a second one.
    pub rest_fits: bool,
    /// The readings it touches, with what they would have meant. For a fault the readings stand.
    pub readings: Vec<Meant>,
}

/// What a reading would have meant.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Meant {
    /// The reading's id.
    pub id: String,
    /// At its plane, in dBm or Hz.
    pub value: f64,
    /// For people.
    pub text: String,
}

/// Kinds of explanations: slips, then faults.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema, TS,
)]
#[serde(rename_all = "kebab-case")]
pub enum ExplanationKind {
    /// A pad or coupler in the chain that was left out of the sum.
    ForgottenElement,
    /// A pad or coupler counted that was not there.
    CountedElement,
    /// A voltage at the terminals for an open-circuit one, or the reverse.
    Emf,
    /// dBm for dBµV, or the reverse.
    DecibelUnit,
    /// Any other unit than the one typed.
    OtherUnit,
    /// A sign forgotten, or one too many.
    Sign,
    /// Peak power read for average.
    PeakPower,
    /// Taken on the other side of the duplexer.
    WrongPlane,
    /// Transmitter and receiver on each other's port of the duplexer.
    SwappedDuplexer,
    /// On the channel of another repeater.
    WrongChannel,
    /// A reading that is wrong as no slip listed explains.
    Unexplained,
    /// The receiver is worse than rated.
    Receiver,
    /// The transmitter makes another power than rated.
    Transmitter,
    /// The receive path loses more than rated.
    ReceivePath,
    /// The transmit path loses more than rated.
    TransmitPath,
    /// The desense is unusual.
    Desense,
    /// The carrier is far off its channel.
    Carrier,
    /// A part loses more than when it was measured.
    Part,
    /// An instrument is off by more than its accuracy.
    Instrument,
}

impl ExplanationKind {
    /// All of them.
    pub const ALL: [Self; 19] = [
        Self::ForgottenElement,
        Self::CountedElement,
        Self::Emf,
        Self::DecibelUnit,
        Self::OtherUnit,
        Self::Sign,
        Self::PeakPower,
        Self::WrongPlane,
        Self::SwappedDuplexer,
        Self::WrongChannel,
        Self::Unexplained,
        Self::Receiver,
        Self::Transmitter,
        Self::ReceivePath,
        Self::TransmitPath,
        Self::Desense,
        Self::Carrier,
        Self::Part,
        Self::Instrument,
    ];

    /// Whether a reading is wrong, rather than the equipment.
    pub fn is_slip(self) -> bool {
        self <= Self::Unexplained
    }
}

/// How many explanations are shown, and the least share of one.
const SHOWN: usize = 5;
const SHARE_LEAST: f64 = 0.005;

/// Holds a session's standing readings against each other. None where none of them speaks of level,
/// power or carrier; refused where a rating or a stated uncertainty is no number.
pub fn reconcile(case: &Case<'_>, site: &Site) -> Result<Option<Reconciled>, FitRefused> {
    let table = Table::standard();
    let Some(model) = model(case, table)? else { return Ok(None) };
    let chance = chance_of(model.fit.chi_square, &model);
    let fits = chance >= table.chance_least;
    let likeliest = match fits {
        true => Vec::new(),
        false => likeliest(&Scene { case, site, table, model: &model }),
    };
    let undone = likeliest.first().map(|(h, weighed, _)| h.shifts(weighed.sizes));
    let undone = undone.unwrap_or_default();
    let without = model.without(&undone)?;
    let readings = held(&model, &without, &undone);
    let explained = |(hypothesis, weighed, share): &(Hypothesis, Weighed, f64)| Explanation {
        kind: hypothesis.kind,
        words: said::sentence(&hypothesis.words, weighed.sizes[0]),
        next: said::next(hypothesis.kind, case.language).to_owned(),
        share: *share,
        chi_square: weighed.chi_square,
        rest_fits: chance_of(weighed.chi_square, &model) >= table.chance_least,
        readings: said::meant(
            &model,
            hypothesis.kind,
            &hypothesis.shifts(weighed.sizes),
            case.language,
        ),
    };
    Ok(Some(Reconciled {
        said: said::said(&model, chance, fits, case.language),
        fits,
        chi_square: model.fit.chi_square,
        degrees_of_freedom: model.fit.degrees_of_freedom,
        chance,
        misfit: (!fits).then(|| misfit(&likeliest, &undone, &readings)).flatten(),
        explanations: likeliest.iter().map(explained).collect(),
        estimates: estimates(&model, &without, case.language),
        readings: each(&model, readings),
    }))
}

fn chance_of(chi_square: f64, model: &Model<'_>) -> f64 {
    chance_of_more(chi_square, model.fit.degrees_of_freedom)
        .expect("every unknown has a prior, so each reading is a degree of freedom")
}

/// The reading that fits least: of those a slip touches the one farthest off, else of all the one
/// with the largest standardised residual.
fn misfit(
    likeliest: &[(Hypothesis, Weighed, f64)],
    undone: &Direction,
    readings: &[HeldReading],
) -> Option<String> {
    let off = |held: &HeldReading| held.foretold.map_or(0.0, |there| (held.at_plane - there).abs());
    let standardised = |held: &HeldReading| held.standardised.map_or(0.0, f64::abs);
    let most = match likeliest.first().is_some_and(|(first, ..)| first.kind.is_slip()) {
        true => {
            let touched = undone.iter().map(|(at, _)| &readings[*at]);
            touched.max_by(|a, b| off(a).total_cmp(&off(b)))
        }
        false => readings.iter().max_by(|a, b| standardised(a).total_cmp(&standardised(b))),
    };
    most.map(|held| held.id.clone())
}

/// The few explanations worth showing, with weight and share.
fn likeliest(scene: &Scene<'_, '_>) -> Vec<(Hypothesis, Weighed, f64)> {
    let mut all = slips(scene);
    all.extend(faults::faults(scene.table, scene.case, scene.model));
    let shown = ranked(scene.model, all).into_iter().take(SHOWN);
    shown.filter(|(_, _, share)| *share >= SHARE_LEAST).collect()
}

fn estimates(model: &Model<'_>, fit: &Fit, language: Language) -> Vec<Estimate> {
    let found = model.unknowns.iter().enumerate().map(|(at, (stands, prior))| {
        let standard = fit.covariance[at][at].sqrt();
        let (what, phase, unit, scale) = match stands {
            Stands::For(phase, quantity) => {
                let (what, unit) = quantity_words(*quantity, language);
                (what.to_owned(), Some(*phase), unit, 1.0)
            }
            Stands::Error { cause, what, standard } => {
                let unit = if cause.ends_with(":frequency") { "Hz" } else { "dB" };
                let what = say!(language, "error of the {what}", "erreur : {what}");
                (what, None, unit, *standard)
            }
        };
        Estimate {
            what,
            phase,
            unit: unit.to_owned(),
            value: scale * fit.estimates[at],
            expanded: 2.0 * scale * standard,
            before: scale * prior.mean,
            before_expanded: 2.0 * scale * prior.standard,
        }
    });
    found.collect()
}

fn quantity_words(quantity: Quantity<'_>, language: Language) -> (&'static str, &'static str) {
    let (english, french, unit) = match quantity {
        Quantity::Opening(_) => {
            ("opening level at the receiver port", "niveau d’ouverture au port du récepteur", "dBm")
        }
        Quantity::Power(_) => {
            ("power at the transmitter port", "puissance au port de l’émetteur", "dBm")
        }
        Quantity::ReceiveLoss => ("loss of the receive path", "perte du trajet de réception", "dB"),
        Quantity::TransmitLoss => ("loss of the transmit path", "perte du trajet d’émission", "dB"),
        Quantity::Desense => ("desense", "désensibilisation", "dB"),
        Quantity::DesenseAt(_) => (
            "what a way of connecting adds to the desense",
            "ce qu’un branchement ajoute à la désensibilisation",
            "dB",
        ),
        Quantity::Carrier => {
            ("carrier's distance from its channel", "écart de la porteuse à son canal", "Hz")
        }
    };
    (language.pick(english, french), unit)
}

/// The lines again as the readings they stand for, in the order of their ids.
fn each(model: &Model<'_>, lines: Vec<HeldReading>) -> Vec<HeldReading> {
    let of_line = |(line, held): (&Line<'_>, HeldReading)| {
        let as_each = |id: &&str| HeldReading { id: (*id).to_owned(), ..held.clone() };
        line.ids.iter().map(as_each).collect::<Vec<_>>()
    };
    let mut readings: Vec<HeldReading> = model.lines.iter().zip(lines).flat_map(of_line).collect();
    readings.sort_by(|a, b| a.id.cmp(&b.id));
    readings
}

/// Residuals as the readings stand; what is foretold, once the likeliest explanation is undone.
fn held(model: &Model<'_>, without: &Fit, undone: &Direction) -> Vec<HeldReading> {
    let lines = model.lines.iter().zip(&model.fit.residuals).zip(&without.residuals);
    let held = lines.enumerate().map(|(at, ((line, residual), cleared))| {
        let moved: f64 = undone.iter().filter(|(k, _)| *k == at).map(|(_, by)| by).sum();
        HeldReading {
            id: line.id.to_owned(),
            at_plane: line.value,
            unit: said::unit(line).to_owned(),
            residual: residual.residual,
            standardised: residual.standardised,
            foretold: cleared.off.map(|(off, _)| line.value - moved - off),
            foretold_expanded: cleared.off.map(|(_, standard)| 2.0 * standard),
        }
    });
    held.collect()
}
