//! Findings: what the readings together say, in words, with the next test to make.
//!
//! In: a case and its verdicts. Out: findings, gravest first. A finding explains; it changes no
//! verdict.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::appraise::CheckState;
use super::calibration::{Expired, expired, found_off};
use super::case::Case;
use super::judge::Verdict;
use super::plan::{Judges, LimitOf, Reads, Stage};
use crate::record::{Phase, Reading};
use crate::rf::causes::DesenseCauses;
use crate::rf::desense::{extra_isolation, interference_over_noise};
use crate::uncertainty::Outcome;
use crate::units::{Db, shown};

/// Something worth saying about a session.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Finding {
    /// How grave it is.
    pub weight: Weight,
    /// What was found.
    pub what: String,
    /// What points to it.
    pub evidence: String,
    /// What to do next.
    pub next: String,
    /// The checks it speaks of, by id.
    pub checks: Vec<String>,
}

/// How grave a finding is. Ordered from grave to light.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema, TS,
)]
#[serde(rename_all = "kebab-case")]
pub enum Weight {
    /// Something is wrong.
    Fault,
    /// A reading looks like a slip.
    Doubt,
    /// Worth knowing.
    Note,
}

/// Everything found.
pub(crate) fn findings(
    case: &Case<'_>,
    checks: &[CheckState],
    desense: Option<&DesenseCauses>,
) -> Vec<Finding> {
    let mut findings = Vec::new();
    for state in checks {
        for reading in state.readings.iter().filter(|reading| reading.standing) {
            findings.extend(of_verdict(state, reading.reading.phase, &reading.verdict));
            findings.extend(out_of_calibration(case, state, &reading.reading));
            findings.extend(off_at_the_next(case, state, &reading.reading));
        }
        findings.extend(two_facts(state));
    }
    findings.extend(direct_against_coupled(checks));
    findings.extend(desense.and_then(|causes| likely_cause(causes, checks)));
    findings.sort_by_key(|finding| finding.weight);
    findings.dedup();
    findings
}

fn of_verdict(state: &CheckState, phase: Phase, verdict: &Verdict) -> Option<Finding> {
    if !matches!(verdict.outcome, Outcome::Fail | Outcome::ConditionalFail) {
        return None;
    }
    let value = verdict.value?;
    let what = match (state.check.judges, state.check.reads) {
        (Judges::Rise, _) => desense_words(value, verdict),
        (Judges::Loss, Reads::Power) => format!("The transmit path loses {}.", verdict.value_text),
        (Judges::Loss, _) if state.check.limit.of != LimitOf::Fixed => {
            format!("The receive path loses {}.", verdict.value_text)
        }
        (Judges::Agreement, _) => {
            format!("Direct and through the coupler lie {} apart.", verdict.value_text)
        }
        (Judges::Itself, Reads::Level) => {
            format!("The receiver opens only at {}.", verdict.value_text)
        }
        (Judges::Itself | Judges::Loss, _) => format!(
            "{}: {} is outside {}.",
            state.check.title, verdict.value_text, verdict.limit_text
        ),
    };
    // A fault found and put right stays in the record, but asks for nothing more.
    let put_right = phase == Phase::AsFound
        && state.readings.iter().any(|r| r.standing && r.reading.phase == Phase::AsLeft)
        && matches!(state.outcome, Some(Outcome::Pass | Outcome::ConditionalPass));
    let (weight, what, next) = match put_right {
        true => (
            Weight::Note,
            format!("As found, and put right: {what}"),
            "Nothing: as left it holds.".to_owned(),
        ),
        false => (Weight::Fault, what, next_test(state.check.judges, state.check.reads).to_owned()),
    };
    Some(Finding {
        weight,
        what,
        evidence: format!("{}: {}", state.check.title, verdict.reason),
        next,
        checks: vec![state.check.id.clone()],
    })
}

/// The test that would tell most, when a check of this kind fails. Common practice, no source.
fn next_test(judges: Judges, reads: Reads) -> &'static str {
    match (judges, reads) {
        (Judges::Rise, _) => {
            "Repeat into a load with good cables. If it stays, look at the duplexer's tuning and \
             at shielding; if it comes only with the antenna, look at the antenna system."
        }
        (Judges::Loss, Reads::Power) => {
            "Check cables and connectors between transmitter and antenna port, then the duplexer's \
             tuning at the transmit frequency."
        }
        (Judges::Loss, _) => {
            "Check cables and connectors between antenna port and receiver, then the duplexer's \
             tuning at the receive frequency."
        }
        (Judges::Agreement, _) => {
            "Check which port of the coupler was used and its factor at this frequency, then \
             repeat both readings."
        }
        (Judges::Itself, Reads::Level) => {
            "Repeat with another cable; if it stays, check squelch setting and front end."
        }
        (Judges::Itself, _) => "Repeat once; if it stays, adjust or repair, and record as left.",
    }
}

fn desense_words(value: f64, verdict: &Verdict) -> String {
    let desense = Db::new(value).ok();
    let wanted = verdict.limits.and_then(|limits| limits.high).and_then(|db| Db::new(db).ok());
    let mut what = format!("The keyed transmitter costs the receiver {}.", verdict.value_text);
    if let Some(over_noise) = desense.and_then(interference_over_noise) {
        let (apart, side) = match over_noise.db() {
            db if db < 0.0 => (-db, "under"),
            db => (db, "over"),
        };
        let apart = shown(apart, 1);
        what.push_str(&format!(" That is interference {apart} dB {side} the receiver's noise."));
    }
    if let (Some(found), Some(wanted)) = (desense, wanted)
        && let Some(extra) = extra_isolation(found, wanted)
    {
        let extra = shown(extra.db(), 1);
        what.push_str(&format!(" {extra} dB more isolation would bring it to the limit."));
    }
    what
}

fn out_of_calibration(case: &Case<'_>, state: &CheckState, reading: &Reading) -> Vec<Finding> {
    let Ok(setup) = case.setup(&reading.chain) else { return Vec::new() };
    let found = |ended: &Expired| Finding {
        weight: Weight::Doubt,
        what: format!("{} was out of calibration when it was used.", ended.name),
        evidence: ended.words(),
        next: "Repeat with one in calibration, or have it calibrated and judge again.".to_owned(),
        checks: vec![state.check.id.clone()],
    };
    expired(case.shop, &setup, reading).iter().map(found).collect()
}

/// The next calibration tells of the time before it.
fn off_at_the_next(case: &Case<'_>, state: &CheckState, reading: &Reading) -> Vec<Finding> {
    let Ok(setup) = case.setup(&reading.chain) else { return Vec::new() };
    let found = |(name, on): (&str, &str)| Finding {
        weight: Weight::Doubt,
        what: format!("{name} was found off when it was next calibrated."),
        evidence: format!("Read on {}, calibrated on {on}.", reading.stamp.at.day()),
        next: "Ask by how much it was off, and repeat what has less margin than that.".to_owned(),
        checks: vec![state.check.id.clone()],
    };
    found_off(case.shop, &setup, reading).map(found).collect()
}

/// Two people read one check: two facts, not a conflict, but worth a look.
fn two_facts(state: &CheckState) -> Option<Finding> {
    let standing: Vec<_> = state.readings.iter().filter(|r| r.standing).collect();
    let newest = standing.last()?.reading.phase;
    let same: Vec<_> = standing.iter().filter(|r| r.reading.phase == newest).collect();
    let values: Vec<f64> = same.iter().filter_map(|r| r.verdict.at_plane).collect();
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let is_level = matches!(state.check.reads, Reads::Level | Reads::Power);
    (values.len() > 1 && is_level).then(|| {
        let apart = high - low;
        Finding {
            weight: if apart > 1.0 { Weight::Doubt } else { Weight::Note },
            what: format!("{} was read {} times.", state.check.title, values.len()),
            evidence: format!(
                "the readings lie {} dB apart; repeats agree within 1 dB (common practice)",
                shown(apart, 1)
            ),
            next: match apart > 1.0 {
                true => "Find out which one to trust and withdraw the other.".to_owned(),
                false => "Nothing: both stand.".to_owned(),
            },
            checks: vec![state.check.id.clone()],
        }
    })
}

fn direct_against_coupled(checks: &[CheckState]) -> Option<Finding> {
    let rise = |id: &str| {
        let state = checks.iter().find(|state| state.check.id == id)?;
        let reading = state.readings.iter().rfind(|reading| reading.standing)?;
        reading.verdict.value
    };
    let (direct, coupled) = (rise("desense.direct")?, rise("desense.coupled")?);
    let apart = coupled - direct;
    let agree = apart.abs() <= 1.0;
    Some(Finding {
        weight: if agree { Weight::Note } else { Weight::Doubt },
        what: match agree {
            true => "Desense direct and through the coupler agree.".to_owned(),
            false => "Desense direct and through the coupler disagree.".to_owned(),
        },
        evidence: format!(
            "{} dB direct, {} dB coupled; within 1 dB agrees (common practice)",
            shown(direct, 1),
            shown(coupled, 1)
        ),
        next: match agree {
            true => "Nothing: the two confirm each other.".to_owned(),
            false => "Repeat the pair with the larger value; suspect what differs between the two."
                .to_owned(),
        },
        checks: vec!["desense.direct".to_owned(), "desense.coupled".to_owned()],
    })
}

/// A weight from which on the cause is gone after, rather than told from the others.
const LIKELY_ENOUGH: f64 = 0.8;

fn likely_cause(causes: &DesenseCauses, checks: &[CheckState]) -> Option<Finding> {
    let [first, second, ..] = causes.suspects.as_slice() else { return None };
    let percent = |weight: f64| shown(100.0 * weight, 0);
    let what = format!(
        "What deafens the receiver: most likely {} ({} %), then {} ({} %).",
        first.title,
        percent(first.weight),
        second.title,
        percent(second.weight)
    );
    let points = first.evidence.iter().filter(|evidence| evidence.factor > 1.0);
    let points: Vec<&str> = points.map(|evidence| evidence.said.as_str()).collect();
    let next = match causes.next.first() {
        Some(test) if first.weight < LIKELY_ENOUGH => {
            format!("{} Of the tests not made yet it tells the causes apart best.", test.how)
        }
        _ => first.remedy.clone(),
    };
    let desense = checks.iter().filter(|state| state.check.stage == Stage::Desense);
    let read = desense.filter(|state| state.readings.iter().any(|r| r.standing));
    Some(Finding {
        weight: Weight::Note,
        what,
        evidence: format!("{}; weights: {}", points.join("; "), causes.source),
        next,
        checks: read.map(|state| state.check.id.clone()).collect(),
    })
}
