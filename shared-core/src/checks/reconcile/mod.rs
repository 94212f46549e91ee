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

use super::judge::Case;
use crate::record::{Phase, Site};
use crate::rf::least_squares::Residual;
use explain::ranked;
use model::{Model, Quantity, Stands, model};
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
    /// The repeater and the shared errors, as all readings together say.
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
    /// What ratings, calibration and all other readings foretell for it.
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
/// power or carrier.
pub fn reconcile(case: &Case<'_>, site: &Site) -> Option<Reconciled> {
    let table = Table::standard();
    let model = model(case, table)
        .expect("ratings and readings are within their ranges, and every unknown has a prior")?;
    let chance = model.fit.p_value.expect("with priors, every reading is a degree of freedom");
    let fits = chance >= table.chance_least;
    let explanations = match fits {
        true => Vec::new(),
        false => explanations(&Scene { case, site, table, model: &model }),
    };
    let misfit = (!fits).then(|| misfit(&model)).flatten();
    Some(Reconciled {
        said: said::said(&model, chance, fits),
        fits,
        chi_square: model.fit.chi_square,
        degrees_of_freedom: model.fit.degrees_of_freedom,
        chance,
        misfit,
        explanations,
        estimates: estimates(&model),
        readings: model.lines.iter().zip(&model.fit.residuals).map(|(l, r)| held(l, r)).collect(),
    })
}

/// The reading that fits least.
fn misfit(model: &Model<'_>) -> Option<String> {
    let standardised = |residual: &Residual| residual.standardised.map_or(0.0, f64::abs);
    let lines = model.lines.iter().zip(&model.fit.residuals);
    let most = lines.max_by(|a, b| standardised(a.1).total_cmp(&standardised(b.1)));
    most.map(|(line, _)| line.id.to_owned())
}

fn explanations(scene: &Scene<'_>) -> Vec<Explanation> {
    let mut all = slips(scene);
    all.extend(faults::faults(scene.table, scene.case.repeater, scene.model));
    let shown = ranked(scene.model, all).into_iter().take(SHOWN);
    shown
        .filter(|(_, _, share)| *share >= SHARE_LEAST)
        .map(|(hypothesis, weighed, share)| {
            let shifts = hypothesis.shifts(weighed.sizes);
            Explanation {
                kind: hypothesis.kind,
                words: said::sentence(&hypothesis.words, weighed.sizes[0]),
                next: said::next(hypothesis.kind).to_owned(),
                share,
                chi_square: weighed.chi_square,
                readings: said::meant(scene.model, hypothesis.kind, &shifts),
            }
        })
        .collect()
}

fn estimates(model: &Model<'_>) -> Vec<Estimate> {
    let found = model.unknowns.iter().enumerate().map(|(at, (stands, prior))| {
        let standard = model.fit.covariance[at][at].sqrt();
        let (what, phase, unit, scale) = match stands {
            Stands::For(phase, quantity) => {
                let (what, unit) = quantity_words(*quantity);
                (what.to_owned(), Some(*phase), unit, 1.0)
            }
            Stands::Error { what, standard, .. } => {
                let unit = if what.starts_with("frequency") { "Hz" } else { "dB" };
                (format!("error of the {what}"), None, unit, *standard)
            }
        };
        Estimate {
            what,
            phase,
            unit: unit.to_owned(),
            value: scale * model.fit.estimates[at],
            expanded: 2.0 * scale * standard,
            before: scale * prior.mean,
            before_expanded: 2.0 * scale * prior.standard,
        }
    });
    found.collect()
}

fn quantity_words(quantity: Quantity<'_>) -> (&'static str, &'static str) {
    match quantity {
        Quantity::Opening(_) => ("opening level at the receiver port", "dBm"),
        Quantity::Power(_) => ("power at the transmitter port", "dBm"),
        Quantity::ReceiveLoss => ("loss of the receive path", "dB"),
        Quantity::TransmitLoss => ("loss of the transmit path", "dB"),
        Quantity::Desense => ("desense", "dB"),
        Quantity::DesenseAt(_) => ("what a way of connecting adds to the desense", "dB"),
        Quantity::Carrier => ("carrier's distance from its channel", "Hz"),
    }
}

fn held(line: &model::Line<'_>, residual: &Residual) -> HeldReading {
    HeldReading {
        id: line.id.to_owned(),
        at_plane: line.value,
        unit: said::unit(line).to_owned(),
        residual: residual.residual,
        standardised: residual.standardised,
        foretold: residual.off.map(|(off, _)| line.value - off),
        foretold_expanded: residual.off.map(|(_, standard)| 2.0 * standard),
    }
}
