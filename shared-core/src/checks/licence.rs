//! What was read against the repeater's licence: carrier, output power, effective radiated power.
//!
//! In: a case whose repeater has a licence. Out: one [`LicenceVerdict`] a subject that could be
//! compared, with margin and uncertainty like any verdict. The licence's own numbers decide; how
//! far a carrier may be off them is the region's table's word. Changes no verdict on a reading.
//!
//!   ERP = P at the antenna port − feedline − other losses + gain over a dipole      dBm, dB, dBd

use std::rc::Rc;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::case::Case;
use super::element::{ElementRefused, duplexer, of_run};
use super::findings::{Finding, Weight};
use super::guard::watts_shown;
use super::judge::NotJudged;
use super::measure::Measured;
use super::plan::{Check, Judges, Reads};
use crate::language::{Language, say};
use crate::limits::{AsRead, Licence, LicenceFinding, LicenceSubject, licence_findings};
use crate::record::{AntennaSystem, LicenceTerms, Phase, Plane};
use crate::uncertainty::Budget;
use crate::uncertainty::decision::{Limits, Outcome, decide};
use crate::uncertainty::inputs::rectangular;
use crate::units::{Dbm, Hertz, Ppm, Watts, shown};

/// What is said of one thing a licence speaks of.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct LicenceVerdict {
    /// Carrier, output power or ERP.
    pub subject: String,
    /// The outcome.
    pub outcome: Outcome,
    /// How far the reading is from the licence: Hz for a carrier, dB for powers.
    pub off: f64,
    /// Hz or dB.
    pub unit: String,
    /// The distance to the licence's limit, negative outside.
    pub margin: f64,
    /// Expanded uncertainty of `off`.
    pub expanded: f64,
    /// In words.
    pub words: String,
    /// The licence, and for a carrier the tolerance's row.
    pub source: String,
    /// False where a number it rests on is from memory.
    pub verified: bool,
    /// How it was computed, line by line.
    pub working: Vec<String>,
}

/// A quantity worked out from readings, with its budget and working.
struct Found {
    value: f64,
    budget: Budget,
    working: Vec<String>,
}

/// Everything a licence speaks of and a reading answers. Empty without a licence; what cannot be
/// worked out is left out, since the reading's own verdict says why.
pub(crate) fn verdicts(case: &Case<'_>) -> Vec<LicenceVerdict> {
    let Some(terms) = &case.repeater.licence else { return Vec::new() };
    let subjects = [carrier(case, terms), output(case, terms), erp(case, terms)];
    subjects.into_iter().filter_map(|found| found.ok().flatten()).collect()
}

/// What the licence's verdicts add to the findings.
pub(crate) fn findings(
    verdicts: &[LicenceVerdict],
    language: Language,
) -> impl Iterator<Item = Finding> {
    let broken = |verdict: &&LicenceVerdict| {
        matches!(verdict.outcome, Outcome::Fail | Outcome::ConditionalFail)
    };
    verdicts.iter().filter(broken).map(move |verdict| Finding {
        weight: Weight::Fault,
        what: say!(
            language,
            "The licence does not allow this {}: {}.",
            "La licence ne permet pas ceci, {} : {}.",
            verdict.subject,
            verdict.words
        ),
        evidence: say!(
            language,
            "{} {} from the licence, ±{}; {}",
            "à {} {} de la licence, ±{} ; {}",
            shown(verdict.off, 2),
            verdict.unit,
            shown(verdict.expanded, 2),
            verdict.source
        ),
        next: language
            .pick(
                "Do not leave it so: bring it within the licence, or have the licence changed.",
                "Ne pas le laisser ainsi : le ramener dans la licence, ou faire changer celle-ci.",
            )
            .to_owned(),
        checks: Vec::new(),
    })
}

/// The standing reading of the latest phase that reads this, judged by itself or not, at a plane.
fn latest(case: &Case<'_>, fits: impl Fn(&Check) -> bool) -> Option<(Phase, Rc<Measured>)> {
    let standing = case.standing_readings().iter();
    let of = standing.filter_map(|(id, reading)| {
        let check = case.plan.find(&reading.check).filter(|check| fits(check))?;
        Some((reading.phase, *id, case.measured(id, check, reading).ok()?))
    });
    let (phase, _, measured) = of.max_by_key(|(phase, id, _)| (*phase, *id))?;
    Some((phase, measured))
}

fn carrier(case: &Case<'_>, terms: &LicenceTerms) -> Result<Option<LicenceVerdict>, NotJudged> {
    let repeater = case.repeater;
    let wanted = |check: &Check| check.reads == Reads::FrequencyError;
    let Some((_, read)) = latest(case, wanted) else { return Ok(None) };
    let tolerance = case.limits()?.frequency_tolerance(
        terms.transmit_hz,
        repeater.channel_width_hz,
        repeater.station,
    )?;
    let carrier = Hertz::carrier(repeater.transmit_hz as f64 + read.value)?;
    let as_read = AsRead { carrier: Some(carrier), output: None, erp: None };
    let allowed = tolerance.value.at(Hertz::carrier(terms.transmit_hz as f64)?).hertz();
    let found = Found {
        value: carrier.hertz() - terms.transmit_hz as f64,
        budget: read.budget.clone(),
        working: read.working.clone(),
    };
    let limits = Limits::between(-allowed, allowed);
    let mut said = said(case, terms, as_read, tolerance.value, (found, limits))?;
    if let Some(said) = &mut said {
        said.source.push_str(&format!("; {} ppm, {}", tolerance.value.ppm(), tolerance.source));
        said.verified = tolerance.verified;
        if !tolerance.verified {
            said.words.push_str(
                case.language.pick("; tolerance not verified", " ; tolérance non vérifiée"),
            );
        }
    }
    Ok(said)
}

fn output(case: &Case<'_>, terms: &LicenceTerms) -> Result<Option<LicenceVerdict>, NotJudged> {
    let Some(licensed_w) = terms.output_w else { return Ok(None) };
    let wanted = |check: &Check| check.reads == Reads::Power && check.judges == Judges::Itself;
    let Some((_, read)) = latest(case, wanted) else { return Ok(None) };
    let found =
        Found { value: read.value, budget: read.budget.clone(), working: read.working.clone() };
    of_power(case, terms, found, licensed_w, |output| AsRead {
        carrier: None,
        output: Some(output),
        erp: None,
    })
}

fn erp(case: &Case<'_>, terms: &LicenceTerms) -> Result<Option<LicenceVerdict>, NotJudged> {
    let (Some(licensed_w), Some(antenna)) = (terms.erp_w, &case.repeater.antenna) else {
        return Ok(None);
    };
    let Some(found) = radiated(case, antenna)? else { return Ok(None) };
    of_power(case, terms, found, licensed_w, |erp| AsRead {
        carrier: None,
        output: None,
        erp: Some(erp),
    })
}

/// What goes out in the antenna's main beam: from the power at the antenna port where it was read,
/// else from the transmitter's, less the duplexer.
fn radiated(case: &Case<'_>, antenna: &AntennaSystem) -> Result<Option<Found>, NotJudged> {
    let at = |plane| move |check: &Check| check.reads == Reads::Power && check.plane == plane;
    let at_antenna = latest(case, at(Plane::AntennaPort));
    let at_transmitter = latest(case, at(Plane::TransmitterPort));
    // What was adjusted since is no longer what goes out.
    let newer = at_antenna.as_ref().map(|(phase, _)| *phase)
        >= at_transmitter.as_ref().map(|(phase, _)| *phase);
    let (read, through) = match (at_antenna.filter(|_| newer), at_transmitter) {
        (Some((_, read)), _) => (read, None),
        (None, Some((_, read))) => {
            (read, Some(duplexer(case.repeater, Plane::AntennaPort, case.language)?))
        }
        (None, None) => return Ok(None),
    };
    let mut found =
        Found { value: read.value, budget: read.budget.clone(), working: read.working.clone() };
    let mut lose = |cause: &str, what: &str, db: f64, standard_db: f64| {
        found.value -= db;
        found.budget = std::mem::take(&mut found.budget).with(cause, what, standard_db, -1.0);
        let (sign, size) = if db < 0.0 { ('+', -db) } else { ('\u{2212}', db) };
        found.working.push(format!("{sign} {} dB, {what}", shown(size, 2)));
    };
    if let Some(element) = through {
        lose(&element.cause, &element.name, element.loss.db(), element.standard_db);
    }
    if let Some(run) = &antenna.feedline {
        let (db, standard_db) = of_run(run, case.repeater.transmit_hz)
            .map_err(|source| ElementRefused::Cable { part: "feedline".to_owned(), source })?;
        let what = say!(
            case.language,
            "feedline, {} m of {}",
            "ligne d’antenne, {} m de {}",
            run.length_m,
            run.listed
        );
        lose("antenna:feedline", &what, db, standard_db);
    }
    let tolerance = rectangular(antenna.tolerance_db);
    let others = case
        .language
        .pick("other losses behind the antenna port", "autres pertes derrière le port d’antenne");
    lose("antenna:losses", others, antenna.other_loss_db, 0.0);
    let gain =
        case.language.pick("the antenna's gain over a dipole", "gain de l’antenne sur un dipôle");
    lose("antenna:gain", gain, -antenna.gain_dbd, tolerance);
    let erp = shown(found.value, 2);
    found.working.push(say!(case.language, "= {erp} dBm ERP", "= {erp} dBm PAR"));
    Ok(Some(found))
}

/// A power against a licensed one: not above it (47 CFR 90.215(b)).
fn of_power(
    case: &Case<'_>,
    terms: &LicenceTerms,
    found: Found,
    licensed_w: f64,
    as_read: impl FnOnce(Watts) -> AsRead,
) -> Result<Option<LicenceVerdict>, NotJudged> {
    let read = Watts::from_level(Dbm::new(found.value)?);
    let licensed = Watts::new(licensed_w)?.level().dbm();
    let mut working = found.working;
    working.push(say!(
        case.language,
        "licensed: {} ({} dBm)",
        "en licence : {} ({} dBm)",
        watts_shown(licensed_w),
        shown(licensed, 2)
    ));
    let found = Found { value: found.value - licensed, budget: found.budget, working };
    let none = Ppm::new(1.0)?;
    said(case, terms, as_read(read), none, (found, Limits::at_most(0.0)))
}

fn said(
    case: &Case<'_>,
    terms: &LicenceTerms,
    as_read: AsRead,
    tolerance: Ppm,
    (found, limits): (Found, Limits),
) -> Result<Option<LicenceVerdict>, NotJudged> {
    let watts = |power: Option<f64>| power.map(Watts::new).transpose();
    let licence = Licence {
        carrier: Hertz::carrier(terms.transmit_hz as f64)?,
        output: watts(terms.output_w)?,
        erp: watts(terms.erp_w)?,
    };
    let width_hz = case.repeater.channel_width_hz;
    let compared = licence_findings(&licence, &as_read, tolerance, width_hz, case.language);
    let Some(LicenceFinding { subject, words, .. }) = compared.into_iter().next() else {
        return Ok(None);
    };
    let expanded = found.budget.expanded();
    let rule = case.shop.decision_rule;
    let guard = rule.guard(case.shop.guard_factor * expanded);
    let decision = decide(found.value, guard, limits, rule).expect("a licence limits something");
    let (subject, unit) = match subject {
        LicenceSubject::Carrier => (case.language.pick("carrier", "porteuse"), "Hz"),
        LicenceSubject::Output => (case.language.pick("output power", "puissance de sortie"), "dB"),
        LicenceSubject::Erp => (case.language.pick("ERP", "PAR"), "dB"),
    };
    Ok(Some(LicenceVerdict {
        subject: subject.to_owned(),
        outcome: decision.outcome,
        off: found.value,
        unit: unit.to_owned(),
        margin: decision.margin,
        expanded,
        words,
        source: say!(case.language, "licence: {}", "licence : {}", terms.source),
        verified: true,
        working: found.working,
    }))
}
