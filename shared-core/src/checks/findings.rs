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
use crate::language::{Language, say};
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
            findings.extend(of_verdict(case, state, reading.reading.phase, &reading.verdict));
            findings.extend(out_of_calibration(case, state, &reading.reading));
            findings.extend(off_at_the_next(case, state, &reading.reading));
        }
        findings.extend(two_facts(state, case.language));
    }
    findings.extend(direct_against_coupled(checks, case.language));
    findings.extend(desense.and_then(|causes| likely_cause(causes, checks, case.language)));
    findings.sort_by_key(|finding| finding.weight);
    findings.dedup();
    findings
}

fn of_verdict(
    case: &Case<'_>,
    state: &CheckState,
    phase: Phase,
    verdict: &Verdict,
) -> Option<Finding> {
    let language = case.language;
    if !matches!(verdict.outcome, Outcome::Fail | Outcome::ConditionalFail) {
        return None;
    }
    let value = verdict.value?;
    let what = what_fails(state, value, verdict, language);
    // A fault found and put right stays in the record, but asks for nothing more.
    let put_right = phase == Phase::AsFound
        && state.readings.iter().any(|r| r.standing && r.reading.phase == Phase::AsLeft)
        && matches!(state.outcome, Some(Outcome::Pass | Outcome::ConditionalPass));
    let (weight, what, next) = match put_right {
        true => (
            Weight::Note,
            say!(
                language,
                "As found, and put right: {what}",
                "À l’arrivée, et remis en ordre : {what}"
            ),
            language.pick("Nothing: as left it holds.", "Rien : au départ, cela tient."),
        ),
        false => (Weight::Fault, what, next_test(state.check.judges, state.check.reads, language)),
    };
    Some(Finding {
        weight,
        what,
        evidence: say!(language, "{}: {}", "{} : {}", state.check.title, verdict.reason),
        next: next.to_owned(),
        checks: vec![state.check.id.clone()],
    })
}

/// What it means that a check fails.
fn what_fails(state: &CheckState, value: f64, verdict: &Verdict, language: Language) -> String {
    let (title, found) = (&state.check.title, &verdict.value_text);
    match (state.check.judges, state.check.reads) {
        (Judges::Rise, _) => desense_words(value, verdict, language),
        (Judges::Loss, Reads::Power) => {
            say!(language, "The transmit path loses {found}.", "Le trajet d’émission perd {found}.")
        }
        (Judges::Loss, _) if state.check.limit.of != LimitOf::Fixed => say!(
            language,
            "The receive path loses {found}.",
            "Le trajet de réception perd {found}."
        ),
        (Judges::Agreement, _) => say!(
            language,
            "Direct and through the coupler lie {found} apart.",
            "En direct et à travers le coupleur diffèrent de {found}."
        ),
        (Judges::Itself, Reads::Level) => say!(
            language,
            "The receiver opens only at {found}.",
            "Le récepteur n’ouvre qu’à {found}."
        ),
        (Judges::Itself | Judges::Loss, _) => say!(
            language,
            "{title}: {found} is outside {}.",
            "{title} : {found} est hors de {}.",
            verdict.limit_text
        ),
    }
}

/// The test that would tell most, when a check of this kind fails. Common practice, no source.
fn next_test(judges: Judges, reads: Reads, language: Language) -> &'static str {
    match (judges, reads) {
        (Judges::Rise, _) => language.pick(
            "Repeat into a load with good cables. If it stays, look at the duplexer's tuning and \
             at shielding; if it comes only with the antenna, look at the antenna system.",
            "Refaire sur une charge avec de bons câbles. Si cela reste, examiner l’accord du \
             duplexeur et le blindage ; si cela ne vient qu’avec l’antenne, le système d’antenne.",
        ),
        (Judges::Loss, Reads::Power) => language.pick(
            "Check cables and connectors between transmitter and antenna port, then the duplexer's \
             tuning at the transmit frequency.",
            "Contrôler câbles et connecteurs entre l’émetteur et le port d’antenne, puis l’accord \
             du duplexeur à la fréquence d’émission.",
        ),
        (Judges::Loss, _) => language.pick(
            "Check cables and connectors between antenna port and receiver, then the duplexer's \
             tuning at the receive frequency.",
            "Contrôler câbles et connecteurs entre le port d’antenne et le récepteur, puis \
             l’accord du duplexeur à la fréquence de réception.",
        ),
        (Judges::Agreement, _) => language.pick(
            "Check which port of the coupler was used and its factor at this frequency, then \
             repeat both readings.",
            "Vérifier quel port du coupleur a servi et son facteur à cette fréquence, puis refaire \
             les deux mesures.",
        ),
        (Judges::Itself, Reads::Level) => language.pick(
            "Repeat with another cable; if it stays, check squelch setting and front end.",
            "Refaire avec un autre câble ; si cela reste, contrôler le réglage du silencieux et \
             l’étage d’entrée.",
        ),
        (Judges::Itself, _) => language.pick(
            "Repeat once; if it stays, adjust or repair, and record as left.",
            "Refaire une fois ; si cela reste, régler ou réparer, et noter la mesure au départ.",
        ),
    }
}

fn desense_words(value: f64, verdict: &Verdict, language: Language) -> String {
    let desense = Db::new(value).ok();
    let wanted = verdict.limits.and_then(|limits| limits.high).and_then(|db| Db::new(db).ok());
    let mut what = say!(
        language,
        "The keyed transmitter costs the receiver {}.",
        "L’émetteur en marche coûte au récepteur {}.",
        verdict.value_text
    );
    if let Some(over_noise) = desense.and_then(interference_over_noise) {
        let (apart, side) = match over_noise.db() {
            db if db < 0.0 => (-db, language.pick("under", "sous le")),
            db => (db, language.pick("over", "au-dessus du")),
        };
        let apart = shown(apart, 1);
        what.push_str(&say!(
            language,
            " That is interference {apart} dB {side} the receiver's noise.",
            " C’est un brouillage de {apart} dB {side} bruit du récepteur."
        ));
    }
    if let (Some(found), Some(wanted)) = (desense, wanted)
        && let Some(extra) = extra_isolation(found, wanted)
    {
        let extra = shown(extra.db(), 1);
        what.push_str(&say!(
            language,
            " {extra} dB more isolation would bring it to the limit.",
            " {extra} dB d’isolation de plus le ramèneraient à la limite."
        ));
    }
    what
}

fn out_of_calibration(case: &Case<'_>, state: &CheckState, reading: &Reading) -> Vec<Finding> {
    let Ok(setup) = case.setup(&reading.chain) else { return Vec::new() };
    let found = |ended: &Expired| Finding {
        weight: Weight::Doubt,
        what: say!(
            case.language,
            "{} was out of calibration when it was used.",
            "{} n’était plus étalonné quand il a servi.",
            ended.name
        ),
        evidence: ended.words(case.language),
        next: case
            .language
            .pick(
                "Repeat with one in calibration, or have it calibrated and judge again.",
                "Refaire avec un autre, étalonné, ou le faire étalonner et juger à nouveau.",
            )
            .to_owned(),
        checks: vec![state.check.id.clone()],
    };
    expired(case.shop, &setup, reading).iter().map(found).collect()
}

/// The next calibration tells of the time before it.
fn off_at_the_next(case: &Case<'_>, state: &CheckState, reading: &Reading) -> Vec<Finding> {
    let Ok(setup) = case.setup(&reading.chain) else { return Vec::new() };
    let found = |(name, on): (&str, &str)| Finding {
        weight: Weight::Doubt,
        what: say!(
            case.language,
            "{name} was found off when it was next calibrated.",
            "{name} a été trouvé hors tolérance à l’étalonnage suivant."
        ),
        evidence: say!(
            case.language,
            "Read on {}, calibrated on {on}.",
            "Mesure du {}, étalonnage du {on}.",
            reading.stamp.at.day()
        ),
        next: case
            .language
            .pick(
                "Ask by how much it was off, and repeat what has less margin than that.",
                "Demander de combien il s’écartait, et refaire ce qui a moins de marge que cela.",
            )
            .to_owned(),
        checks: vec![state.check.id.clone()],
    };
    found_off(case.shop, &setup, reading).map(found).collect()
}

/// Two people read one check: two facts, not a conflict, but worth a look.
fn two_facts(state: &CheckState, language: Language) -> Option<Finding> {
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
            what: say!(
                language,
                "{} was read {} times.",
                "{} : mesuré {} fois.",
                state.check.title,
                values.len()
            ),
            evidence: say!(
                language,
                "the readings lie {} dB apart; repeats agree within 1 dB (common practice)",
                "les mesures diffèrent de {} dB ; des répétitions concordent à 1 dB près (pratique \
                 courante)",
                shown(apart, 1)
            ),
            next: match apart > 1.0 {
                true => language.pick(
                    "Find out which one to trust and withdraw the other.",
                    "Trouver à laquelle se fier et retirer l’autre.",
                ),
                false => language.pick("Nothing: both stand.", "Rien : les deux restent."),
            }
            .to_owned(),
            checks: vec![state.check.id.clone()],
        }
    })
}

fn direct_against_coupled(checks: &[CheckState], language: Language) -> Option<Finding> {
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
            true => language.pick(
                "Desense direct and through the coupler agree.",
                "La désensibilisation en direct et celle à travers le coupleur concordent.",
            ),
            false => language.pick(
                "Desense direct and through the coupler disagree.",
                "La désensibilisation en direct et celle à travers le coupleur ne concordent pas.",
            ),
        }
        .to_owned(),
        evidence: say!(
            language,
            "{} dB direct, {} dB coupled; within 1 dB agrees (common practice)",
            "{} dB en direct, {} dB au coupleur ; à 1 dB près elles concordent (pratique courante)",
            shown(direct, 1),
            shown(coupled, 1)
        ),
        next: match agree {
            true => language
                .pick("Nothing: the two confirm each other.", "Rien : les deux se confirment."),
            false => language.pick(
                "Repeat the pair with the larger value; suspect what differs between the two.",
                "Refaire la paire qui a la plus grande valeur ; soupçonner ce qui les distingue.",
            ),
        }
        .to_owned(),
        checks: vec!["desense.direct".to_owned(), "desense.coupled".to_owned()],
    })
}

/// A weight from which on the cause is gone after, rather than told from the others.
const LIKELY_ENOUGH: f64 = 0.8;

fn likely_cause(
    causes: &DesenseCauses,
    checks: &[CheckState],
    language: Language,
) -> Option<Finding> {
    let [first, second, ..] = causes.suspects.as_slice() else { return None };
    let percent = |weight: f64| shown(100.0 * weight, 0);
    let what = say!(
        language,
        "What deafens the receiver: most likely {} ({} %), then {} ({} %).",
        "Ce qui assourdit le récepteur : sans doute {} ({} %), sinon {} ({} %).",
        first.title,
        percent(first.weight),
        second.title,
        percent(second.weight)
    );
    let points = first.evidence.iter().filter(|evidence| evidence.factor > 1.0);
    let points: Vec<&str> = points.map(|evidence| evidence.said.as_str()).collect();
    let next = match causes.next.first() {
        Some(test) if first.weight < LIKELY_ENOUGH => {
            say!(
                language,
                "{} Of the tests not made yet it tells the causes apart best.",
                "{} Des essais qui restent, c’est celui qui sépare le mieux les causes.",
                test.how
            )
        }
        _ => first.remedy.clone(),
    };
    let desense = checks.iter().filter(|state| state.check.stage == Stage::Desense);
    let read = desense.filter(|state| state.readings.iter().any(|r| r.standing));
    Some(Finding {
        weight: Weight::Note,
        what,
        evidence: say!(
            language,
            "{}; weights: {}",
            "{} ; poids : {}",
            points.join(language.pick("; ", " ; ")),
            causes.source
        ),
        next,
        checks: read.map(|state| state.check.id.clone()).collect(),
    })
}
