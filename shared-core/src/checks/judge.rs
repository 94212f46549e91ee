//! Verdicts: what may be said of a reading, with margin, uncertainty, reason and working.
//!
//! In: a [`Case`] and a reading. Out: always a verdict;
//! what cannot be judged says why. Plain functions over the check's data; no check has code of its
//! own.

use std::rc::Rc;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::calibration;
use super::case::Case;
use super::element::ElementRefused;
use super::guard::watts_shown;
use super::limit::limit;
use super::measure::{Measured, NotMeasured};
use super::plan::{Check, Judges, Reads};
use crate::language::{Language, english_only, say};
use crate::limits::{LimitUnknown, ShopRowsRefused};
use crate::record::{Reading, Repeater};
use crate::rf::chain::LossUnknown;
use crate::uncertainty::budget::Combined;
use crate::uncertainty::decision::{Limits, Outcome, conformity, decide};
use crate::uncertainty::{BudgetLine, DecisionRule};
use crate::units::{Dbm, OutOfRange, shown};

/// What is said of one reading.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Verdict {
    /// The outcome.
    pub outcome: Outcome,
    /// Why, in a sentence.
    pub reason: String,
    /// What was judged, in words, as in "loss".
    pub judged: String,
    /// What the reading means at its plane, in dBm or Hz; none where it has no meaning.
    pub at_plane: Option<f64>,
    /// Expanded uncertainty of that, k = 2, in dB or Hz.
    pub at_plane_expanded: Option<f64>,
    /// The judged value, in `unit`.
    pub value: Option<f64>,
    /// The unit of value, limits, margin and uncertainty: dBm, dB or Hz.
    pub unit: String,
    /// What it must lie between.
    pub limits: Option<Limits>,
    /// The distance to the nearer limit, negative outside.
    pub margin: Option<f64>,
    /// Expanded uncertainty, for 95.45 %.
    pub expanded: Option<f64>,
    /// Its factor k: 2, or more where few repeats carry the budget.
    pub coverage_factor: Option<f64>,
    /// The budget's effective degrees of freedom; none where they are infinite.
    pub degrees_of_freedom: Option<f64>,
    /// The guard band: how near to a limit a value is in doubt. Zero with simple acceptance.
    pub guard: Option<f64>,
    /// The probability that what was measured lies within the limits, 0 to 1.
    pub conformity: Option<f64>,
    /// What the limit rests on.
    pub limit_source: String,
    /// False where the limit is from memory.
    pub limit_verified: bool,
    /// What the limit's text says besides, of things that are not looked up: powers, services.
    pub limit_notes: Vec<String>,
    /// The value for people, with its unit and where it helps a second one.
    pub value_text: String,
    /// The limits for people.
    pub limit_text: String,
    /// The margin for people.
    pub margin_text: String,
    /// The budget, largest first.
    pub budget: Vec<BudgetLine>,
    /// How it was computed, line by line.
    pub working: Vec<String>,
}

/// Why a reading cannot be judged.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotJudged {
    /// The reading means nothing.
    #[error(transparent)]
    NotMeasured(#[from] NotMeasured),
    /// The limit is not known.
    #[error(transparent)]
    Limit(#[from] LimitUnknown),
    /// The shop's own rows cannot be read.
    #[error("the shop's own rows of limits: {0}")]
    ShopRows(#[from] ShopRowsRefused),
    /// A sweep does not reach the frequency in use.
    #[error(transparent)]
    Loss(#[from] LossUnknown),
    /// What the repeater's own duplexer or feedline does is not known.
    #[error(transparent)]
    Element(#[from] ElementRefused),
    /// A rating is no quantity.
    #[error(transparent)]
    Rating(#[from] OutOfRange),
    /// The reading it is compared with is not there yet.
    #[error("it waits for a reading of {title:?}")]
    Waits {
        /// The other check.
        title: String,
    },
    /// The plan has no such check.
    #[error("the plan has no check {id:?}")]
    NoSuchCheck {
        /// The id.
        id: String,
    },
    /// The session has no such chain.
    #[error("the session has no chain {id:?}")]
    NoSuchChain {
        /// The id.
        id: String,
    },
}

impl NotJudged {
    /// Why, in a sentence.
    pub(super) fn said(&self, language: Language) -> String {
        match self {
            _ if language == Language::English => self.to_string(),
            Self::Waits { title } => format!("en attente d’une mesure de « {title} »"),
            Self::NoSuchCheck { id } => format!("le plan n’a pas de contrôle « {id} »"),
            Self::NoSuchChain { id } => format!("la visite n’a pas de montage « {id} »"),
            Self::NotMeasured(error) => error.said(language),
            Self::Loss(error) => error.said(language),
            Self::Element(error) => error.said(language),
            Self::Rating(error) => error.said(language),
            Self::Limit(_) | Self::ShopRows(_) => english_only(language, self),
        }
    }
}

/// The verdict on a reading, which need not be recorded yet.
pub fn judge(case: &Case<'_>, id: &str, reading: &Reading) -> Verdict {
    Verdict::clone(&case.verdict(id, reading, || Rc::new(judge_anew(case, id, reading))))
}

fn judge_anew(case: &Case<'_>, id: &str, reading: &Reading) -> Verdict {
    let language = case.language;
    let why = |error: NotJudged| error.said(language);
    match case.check(&reading.check) {
        Err(error) => not_judged(language.pick("reading", "mesure"), None, why(error), Vec::new()),
        Ok(check) => {
            let judged_word = judged_word(check, language);
            let measured = match case.measured(id, check, reading) {
                Err(error) => return not_judged(judged_word, None, why(error), Vec::new()),
                Ok(measured) => measured,
            };
            judged(case, check, reading, &measured).unwrap_or_else(|error| {
                let at_plane = Some((measured.value, measured.budget.expanded()));
                not_judged(judged_word, at_plane, why(error), measured.working.clone())
            })
        }
    }
}

fn judged(
    case: &Case<'_>,
    check: &Check,
    reading: &Reading,
    measured: &Measured,
) -> Result<Verdict, NotJudged> {
    let judged = compare(case, check, reading, measured)?;
    let limit = limit(case, check)?;
    let (value, limits) = (judged.value, limit.limits);
    let Combined { standard, dof, factor } = judged.budget.all();
    let expanded = factor * standard;
    let at_plane_expanded = match check.from {
        None => expanded,
        Some(_) => measured.budget.expanded(),
    };
    let rule = case.shop.decision_rule;
    let guard = rule.guard(case.shop.guard_factor * expanded);
    let decision = decide(value, guard, limits, rule).expect("every kind of limit has a side");
    let chance = conformity(value, standard, dof, limits);
    let (unit, language) = (unit_of(check), case.language);
    let mut working = judged.working;
    let limit_text = limit_text(check, limits, language);
    let source = &limit.source;
    working.push(say!(
        language,
        "limit: {limit_text}, {source}",
        "limite : {limit_text}, {source}"
    ));
    let notes = limit.notes.iter();
    working.extend(notes.map(|note| match language {
        Language::English => format!("beside the limit: {note}"),
        Language::French => format!("à côté de la limite, {}", english_only(language, note)),
    }));
    working.push(coverage_words(expanded, factor, dof, unit, language));
    working.extend(chance.map(|p| {
        let percent = percent(p, language);
        say!(
            language,
            "within the limit with a probability of {percent}",
            "dans la limite avec une probabilité de {percent}"
        )
    }));
    let said = Said { outcome: decision.outcome, margin: decision.margin, expanded, guard, unit };
    let reason = reason(&said, rule, limit.verified, language);
    let (outcome, reason) = calibration::with_policy(case, &judged.expired, said.outcome, reason);
    Ok(Verdict {
        outcome,
        reason,
        judged: judged_word(check, language).to_owned(),
        at_plane: Some(measured.value),
        at_plane_expanded: Some(at_plane_expanded),
        value: Some(value),
        unit: unit.to_owned(),
        limits: Some(limits),
        margin: Some(decision.margin),
        expanded: Some(expanded),
        coverage_factor: Some(factor),
        degrees_of_freedom: dof.is_finite().then_some(dof),
        guard: Some(guard),
        conformity: chance,
        limit_source: limit.source,
        limit_verified: limit.verified,
        limit_notes: limit.notes,
        value_text: value_text(check, case.repeater, value),
        limit_text,
        margin_text: margin_text(decision.margin, unit, language),
        budget: judged.budget.lines(),
        working,
    })
}

/// The judged value: the reading itself, or its difference from another one. What both share, such
/// as one generator and one cable, cancels in the difference.
fn compare(
    case: &Case<'_>,
    check: &Check,
    reading: &Reading,
    measured: &Measured,
) -> Result<Measured, NotJudged> {
    let Some(from) = check.from.as_deref() else {
        return Ok(measured.clone());
    };
    let other_check = case.check(from)?;
    let (other_id, other_reading) =
        case.standing(from, reading.phase, Some(&reading.instrument))
            .ok_or_else(|| NotJudged::Waits { title: other_check.title.clone() })?;
    let other = case.measured(other_id, other_check, other_reading)?;
    let lost_on_the_way_out = check.judges == Judges::Loss && check.reads == Reads::Power;
    let (minuend, subtrahend) = match lost_on_the_way_out {
        true => (&*other, measured),
        false => (measured, &*other),
    };
    let value = minuend.value - subtrahend.value;
    let budget = minuend.budget.clone().minus(&subtrahend.budget);
    let mut working = measured.working.clone();
    working.push(format!("{}: {} dBm", other_check.title, shown(other.value, 2)));
    working.push(format!(
        "{} \u{2212} ({}) = {} dB",
        shown(minuend.value, 2),
        shown(subtrahend.value, 2),
        shown(value, 2)
    ));
    let mut expired = measured.expired.clone();
    let more = other.expired.iter().filter(|e| !measured.expired.contains(e));
    expired.extend(more.cloned());
    Ok(Measured { value, entered: measured.entered, budget, expired, working })
}

pub(crate) fn not_judged(
    judged: &str,
    at_plane: Option<(f64, f64)>,
    reason: String,
    working: Vec<String>,
) -> Verdict {
    Verdict {
        outcome: Outcome::NotJudged,
        reason,
        judged: judged.to_owned(),
        at_plane: at_plane.map(|(value, _)| value),
        at_plane_expanded: at_plane.map(|(_, expanded)| expanded),
        value: None,
        unit: String::new(),
        limits: None,
        margin: None,
        expanded: None,
        coverage_factor: None,
        degrees_of_freedom: None,
        guard: None,
        conformity: None,
        limit_source: String::new(),
        limit_verified: false,
        limit_notes: Vec::new(),
        value_text: String::new(),
        limit_text: String::new(),
        margin_text: String::new(),
        budget: Vec::new(),
        working,
    }
}

/// What a reason speaks of.
struct Said<'a> {
    outcome: Outcome,
    margin: f64,
    expanded: f64,
    guard: f64,
    unit: &'a str,
}

fn reason(said: &Said<'_>, rule: DecisionRule, limit_verified: bool, language: Language) -> String {
    let Said { outcome, margin, expanded, guard, unit } = *said;
    let places = decimals(unit);
    let mut words = say!(
        language,
        "{} the limit, uncertainty ±{}",
        "{} de la limite, incertitude ±{}",
        margin_text(margin, unit, language),
        shown(expanded, places)
    );
    if matches!(outcome, Outcome::ConditionalPass | Outcome::ConditionalFail) {
        let as_wide = (guard - expanded).abs() <= 1e-9 * expanded;
        let guard = shown(guard, places);
        words.push_str(&match as_wide {
            true => say!(language, ": less than the uncertainty", " : moins que l’incertitude"),
            false => say!(
                language,
                ": less than the guard band of {guard}",
                " : moins que la bande de garde de {guard}"
            ),
        });
    }
    if rule == DecisionRule::SimpleAcceptance {
        words.push_str(language.pick(
            "; simple acceptance, the uncertainty does not count",
            " ; acceptation simple, l’incertitude ne compte pas",
        ));
    }
    if !limit_verified {
        words.push_str(language.pick("; limit not verified", " ; limite non vérifiée"));
    }
    words
}

/// How the expanded uncertainty came about.
fn coverage_words(expanded: f64, k: f64, dof: f64, unit: &str, language: Language) -> String {
    let spread = shown(expanded, decimals(unit));
    let unit = spread_unit(unit);
    match dof.is_finite() {
        false => format!("U = ±{spread} {unit}, k = 2"),
        true => say!(
            language,
            "U = ±{spread} {unit}, k = {} for 95.45 % with {} degrees of freedom",
            "U = ±{spread} {unit}, k = {} pour 95.45 % à {} degrés de liberté",
            shown(k, 2),
            shown(dof, 1)
        ),
    }
}

/// A probability for people, never rounded to a certainty it is not.
fn percent(probability: f64, language: Language) -> String {
    match probability {
        p if p > 0.999 => language.pick("more than 99.9 %", "plus de 99.9 %").to_owned(),
        p if p < 0.001 => language.pick("less than 0.1 %", "moins de 0.1 %").to_owned(),
        p => format!("{} %", shown(100.0 * p, 1)),
    }
}

fn judged_word(check: &Check, language: Language) -> &'static str {
    match (check.judges, check.reads) {
        (Judges::Loss, _) => language.pick("loss", "perte"),
        (Judges::Rise, _) => language.pick("desense", "désensibilisation"),
        (Judges::Agreement, _) => language.pick("difference", "écart"),
        (Judges::Itself, Reads::Level) => language.pick("level", "niveau"),
        (Judges::Itself, Reads::Power) => language.pick("power", "puissance"),
        (Judges::Itself, Reads::FrequencyError) => {
            language.pick("frequency error", "erreur de fréquence")
        }
        (Judges::Itself, Reads::Deviation) => language.pick("deviation", "excursion"),
    }
}

/// The unit a check is judged in.
pub(crate) fn unit_of(check: &Check) -> &'static str {
    match (check.judges, check.reads) {
        (Judges::Itself, Reads::Level | Reads::Power) => "dBm",
        (Judges::Itself, Reads::FrequencyError | Reads::Deviation) => "Hz",
        _ => "dB",
    }
}

/// A difference of levels is a ratio.
fn spread_unit(unit: &str) -> &str {
    if unit == "dBm" { "dB" } else { unit }
}

fn decimals(unit: &str) -> usize {
    if unit == "Hz" { 0 } else { 2 }
}

fn value_text(check: &Check, repeater: &Repeater, value: f64) -> String {
    match (check.judges, check.reads) {
        (Judges::Itself, Reads::Power) => {
            format!("{} ({} dBm)", watts_shown(near(value).watts().watts()), shown(value, 2))
        }
        (Judges::Itself, Reads::Level) => {
            let microvolts = near(value).microvolts().microvolts();
            format!("{} dBm ({} µV)", shown(value, 1), shown(microvolts, 3))
        }
        (Judges::Itself, Reads::FrequencyError) => {
            let ppm = value / (repeater.transmit_hz as f64 / 1e6);
            format!("{} Hz ({} ppm)", shown(value, 0), shown(ppm, 2))
        }
        (Judges::Itself, Reads::Deviation) => format!("{} Hz", shown(value, 0)),
        _ => format!("{} dB", shown(value, 2)),
    }
}

fn limit_text(check: &Check, limits: Limits, language: Language) -> String {
    let unit = unit_of(check);
    let one = |value: f64| match (check.judges, check.reads) {
        (Judges::Itself, Reads::Power) => watts_shown(near(value).watts().watts()),
        (Judges::Itself, Reads::FrequencyError) => format!("{} Hz", shown(value, 1)),
        _ => format!("{} {unit}", shown(value, if unit == "Hz" { 0 } else { 1 })),
    };
    match (limits.low, limits.high) {
        (Some(low), Some(high)) => say!(language, "{} to {}", "{} à {}", one(low), one(high)),
        (None, Some(high)) => say!(language, "at most {}", "au plus {}", one(high)),
        (Some(low), None) => say!(language, "at least {}", "au moins {}", one(low)),
        (None, None) => String::new(),
    }
}

/// A level for showing: an allowance may carry a rating past the end of the range.
fn near(dbm: f64) -> Dbm {
    let clamped = dbm.clamp(*Dbm::RANGE.start(), *Dbm::RANGE.end());
    Dbm::new(clamped).expect("readings and ratings are numbers, and clamped into the range")
}

fn margin_text(margin: f64, unit: &str, language: Language) -> String {
    let side = match margin < 0.0 {
        true => language.pick("outside", "en dehors"),
        false => language.pick("inside", "en dedans"),
    };
    format!("{} {} {side}", shown(margin.abs(), decimals(unit)), spread_unit(unit))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_probability_is_never_rounded_to_a_certainty() {
        for (probability, said) in [
            (1.0, "more than 99.9 %"),
            (0.9991, "more than 99.9 %"),
            (0.999, "99.9 %"),
            (0.5, "50.0 %"),
            (0.001, "0.1 %"),
            (0.0009, "less than 0.1 %"),
            (0.0, "less than 0.1 %"),
        ] {
            assert_eq!(percent(probability, Language::English), said, "{probability}");
        }
    }

    #[test]
    fn at_its_limit_a_value_is_inside() {
        for (margin, said) in
            [(0.25, "0.25 dB inside"), (0.0, "0.00 dB inside"), (-0.25, "0.25 dB outside")]
        {
            assert_eq!(margin_text(margin, "dBm", Language::English), said);
            let (outcome, unit) = (Outcome::Pass, "dBm");
            let told = Said { outcome, margin, expanded: 0.1, guard: 0.1, unit };
            let told = reason(&told, DecisionRule::GuardBanded, true, Language::English);
            assert_eq!(told, format!("{said} the limit, uncertainty ±0.10"));
        }
    }
}
