//! The plan and the cautions a session is judged by: the shipped ones, with what the shop changes
//! on them and adds to them.
//!
//! In: a shop and a session. Out: [`Rules`], or every reason why the shop's plan does not hold
//! together. A shop can take no shipped caution away and reword none; a keyed check it adds carries
//! the shipped cautions of its kind. Where two people's changes made apart do not hold together,
//! the shipped plan judges, and a finding says so.

use std::collections::BTreeSet;

use super::appraise::{Appraisal, Sheet, appraise_in};
use super::caution::{Caution, Cautions};
use super::findings::{Finding, Weight};
use super::french::in_french;
use super::plan::{Check, Judges, LimitOf, LimitRule, Plan, Reads, Through};
use crate::language::Language;
use crate::record::validate::{self, Problem};
use crate::record::{Plane, Session, Shop};

/// What stands before the source of a limit that the shop set.
pub(super) const SHOPS_OWN: &str = "the shop's own: ";

/// The plan and the cautions a session is judged by.
#[derive(Clone, Debug, PartialEq)]
pub struct Rules {
    /// The checks in the order they are worked.
    pub plan: Plan,
    /// The cautions in the order they are said.
    pub cautions: Cautions,
    /// Why the shop's plan is not what judges, where it does not hold together.
    pub doubt: Option<String>,
    /// In which words they speak.
    pub language: Language,
}

impl Rules {
    /// The rules of a shop for a session. A check that is off stays where the session has read it.
    pub fn of(shop: &Shop, session: &Session) -> Self {
        let read: BTreeSet<&str> = session.readings.values().map(|r| r.check.as_str()).collect();
        let cautions = cautions(shop);
        match problems(shop).into_iter().next() {
            None => Self::english(plan(shop, &cautions, &read), cautions, None),
            Some(problem) => {
                let mut plan = Plan::standard().clone();
                carry(&mut plan, &cautions);
                Self::english(plan, cautions, Some(problem.to_string()))
            }
        }
    }

    fn english(plan: Plan, cautions: Cautions, doubt: Option<String>) -> Self {
        Self { plan, cautions, doubt, language: Language::English }
    }

    /// The same in a language, for papers. What the shop wrote itself stays as it wrote it.
    pub fn in_language(self, language: Language) -> Self {
        match language {
            Language::English => self,
            Language::French => {
                let (plan, cautions) = (in_french(self.plan), self.cautions.in_french());
                Self { plan, cautions, language, ..self }
            }
        }
    }

    /// Judges a session by them. Fails with every problem of the three views.
    pub fn appraise(&self, sheet: &Sheet) -> Result<Appraisal, Vec<Problem>> {
        let language = self.language;
        let mut appraisal = appraise_in(language, &self.plan, &self.cautions, sheet)?;
        appraisal.findings.extend(self.doubt.clone().map(|evidence| {
            Finding {
                weight: Weight::Doubt,
                what: language
                    .pick(
                        "The shop's plan does not hold together; the shipped plan judges.",
                        "Le plan de l’atelier ne se tient pas ; c’est le plan fourni qui juge.",
                    )
                    .to_owned(),
                evidence,
                next: language
                    .pick(
                        "open the shop's plan and put right what is named",
                        "ouvrir le plan de l’atelier et corriger ce qui est nommé",
                    )
                    .to_owned(),
                checks: Vec::new(),
            }
        }));
        appraisal.findings.sort_by_key(|finding| finding.weight);
        Ok(appraisal)
    }
}

/// Every reason why the shop's plan does not hold together, each at its field of the shop.
pub fn problems(shop: &Shop) -> Vec<Problem> {
    let mut found = Vec::new();
    let shipped = Plan::standard();
    let mut say = |at: String, what: String| found.push(Problem { at, what, across: true });
    for id in off(shop) {
        match shipped.find(id) {
            None => say(format!("checks_off.{id}"), not_shipped(id)),
            Some(_) => {
                let leans = |check: &&Check| check.from.as_deref() == Some(id);
                let stands = |check: &&Check| !is_off(shop, &check.id);
                let mut all = shipped.checks.iter().chain(shop.added_checks.values().flatten());
                if let Some(check) = all.find(|check| leans(check) && stands(check)) {
                    let what = format!("{} leans on it: turn that off first", check.id);
                    say(format!("checks_off.{id}"), what);
                }
            }
        }
    }
    for (id, rule) in &shop.check_limits {
        let (Some(rule), at) = (rule, format!("check_limits.{id}")) else { continue };
        match shipped.find(id) {
            None => say(at, not_shipped(id)),
            Some(check) => {
                let wrong = of_limit(check, rule);
                wrong.into_iter().for_each(|(field, what)| say(format!("{at}.{field}"), what));
            }
        }
    }
    for (id, check) in &shop.added_checks {
        let Some(check) = check else { continue };
        let at = format!("added_checks.{id}");
        for (field, what) in of_added(shop, check) {
            say(format!("{at}.{field}"), what);
        }
    }
    for (id, caution) in &shop.added_cautions {
        let (Some(caution), at) = (caution, format!("added_cautions.{id}")) else { continue };
        if Cautions::standard().find(id).is_some() {
            say(at.clone(), "is a shipped caution, which stays as it is: take another id".into());
        }
        if let Some(word) = Cautions::clears(&caution.text) {
            let what = format!("{word:?} clears a hazard; a caution may only warn of one");
            say(format!("{at}.text"), what);
        }
    }
    found
}

/// Everything wrong with a shop's plan by itself and as a whole: what an edit of it is refused by.
pub fn plan_problems(shop: &Shop) -> Vec<Problem> {
    const LISTS: [&str; 4] = ["checks_off.", "check_limits.", "added_checks.", "added_cautions."];
    let of_plan = |problem: &Problem| LISTS.iter().any(|list| problem.at.starts_with(list));
    let mut found: Vec<Problem> = validate::shop(shop).into_iter().filter(of_plan).collect();
    found.extend(problems(shop));
    found
}

fn not_shipped(id: &str) -> String {
    let known: Vec<&str> = Plan::standard().checks.iter().map(|check| check.id.as_str()).collect();
    format!("{id} is no check of the shipped plan; these are: {}", known.join(", "))
}

fn off(shop: &Shop) -> impl Iterator<Item = &str> {
    shop.checks_off.iter().filter(|(_, off)| **off).map(|(id, _)| id.as_str())
}

fn is_off(shop: &Shop, id: &str) -> bool {
    shop.checks_off.get(id).copied().unwrap_or(false)
}

/// What is wrong with a limit of a check: the field and what would be right.
fn of_limit(check: &Check, rule: &LimitRule) -> Vec<(&'static str, String)> {
    let mut found = Vec::new();
    if (rule.of == LimitOf::Fixed) != rule.value.is_some() {
        found.push(("value", "a fixed limit wants `value`, the others take none".to_owned()));
    }
    let fits: &[LimitOf] = match (check.judges, check.reads) {
        (Judges::Loss, _) => &[LimitOf::RatedTransmitLoss, LimitOf::RatedReceiveLoss],
        (Judges::Rise | Judges::Agreement, _) => &[],
        (Judges::Itself, Reads::Level) => &[LimitOf::RatedOpeningLevel],
        (Judges::Itself, Reads::Power) => &[LimitOf::RatedPower],
        (Judges::Itself, Reads::FrequencyError) => &[LimitOf::FrequencyTolerance],
        (Judges::Itself, Reads::Deviation) => &[LimitOf::ChannelDeviation],
    };
    if rule.of != LimitOf::Fixed && !fits.contains(&rule.of) {
        let mut words: Vec<String> = fits.iter().map(word_of).collect();
        words.push(word_of(&LimitOf::Fixed));
        let what = format!("is no limit of what {} judges; {} is", check.id, words.join(" or "));
        found.push(("of", what));
    }
    found
}

/// As it is written in a plan.
fn word_of(of: &LimitOf) -> String {
    let word = serde_json::to_value(of).expect("a word");
    word.as_str().map(|word| format!("`{word}`")).unwrap_or_default()
}

/// What is wrong with a check the shop adds: the field and what would be right.
fn of_added(shop: &Shop, check: &Check) -> Vec<(&'static str, String)> {
    let mut found = Vec::new();
    if Plan::standard().find(&check.id).is_some() {
        found.push(("id", "is a check of the shipped plan: take another id".to_owned()));
    }
    found.extend(of_limit(check, &check.limit).into_iter().map(|(field, what)| match field {
        "of" => ("limit.of", what),
        _ => ("limit.value", what),
    }));
    if let Some(given) = check.repeats_from.filter(|from| *from < 2) {
        let what = format!("{given} readings show no scatter; 2 or more do");
        found.push(("repeats_from", what));
    }
    found.extend(leaning(shop, check));
    let keyed_only = matches!(check.reads, Reads::Power | Reads::FrequencyError | Reads::Deviation);
    if keyed_only && !check.keyed {
        let what = "this is read off a keyed transmitter: `keyed = true` is right".to_owned();
        found.push(("keyed", what));
    }
    if check.keyed && check.plane == Plane::ReceiverPort {
        let what = "nothing is keyed at the receiver port: the transmitter is not in the line";
        found.push(("plane", what.to_owned()));
    }
    let missing: Vec<&str> = wanted_cautions(check)
        .into_iter()
        .filter(|id| !check.cautions.iter().any(|c| c == id))
        .collect();
    if !missing.is_empty() {
        let what = format!("a check keyed like this goes with {}", missing.join(", "));
        found.push(("cautions", what));
    }
    let known = |id: &&String| {
        Cautions::standard().find(id).is_some()
            || shop.added_cautions.get(*id).is_some_and(Option::is_some)
    };
    if let Some(unknown) = check.cautions.iter().find(|id| !known(id)) {
        let all = cautions(shop).all;
        let all: Vec<&str> = all.iter().map(|caution| caution.id.as_str()).collect();
        let what = format!("{unknown} is no caution; these are: {}", all.join(", "));
        found.push(("cautions", what));
    }
    found
}

/// The shipped cautions that go before a keyed check, by what stands in its line.
fn wanted_cautions(check: &Check) -> Vec<&'static str> {
    if !check.keyed {
        return Vec::new();
    }
    let mut wanted = vec!["rf-burns", "tell-control-point"];
    wanted.push(match check.through {
        Through::Antenna => "antenna-radiates",
        Through::Direct | Through::Coupler => "load-in-place",
    });
    if check.reads == Reads::Level {
        wanted.push("generator-isolated");
    }
    wanted
}

/// What is wrong with what an added check leans on.
fn leaning(shop: &Shop, check: &Check) -> Option<(&'static str, String)> {
    let Some(from) = check.from.as_deref() else {
        let what = "this judges one reading by another: `from` names the check of the other";
        return (check.judges != Judges::Itself).then(|| ("from", what.to_owned()));
    };
    if check.judges == Judges::Itself {
        return Some(("from", "a check that judges itself leans on none".to_owned()));
    }
    let added = shop.added_checks.get(from).and_then(Option::as_ref);
    let Some(other) = Plan::standard().find(from).or(added) else {
        return Some(("from", format!("leans on {from}, which is no check of the plan")));
    };
    if other.reads != check.reads {
        return Some(("from", format!("{from} reads something else: they cannot be compared")));
    }
    let before = other.stage < check.stage
        || (other.stage == check.stage && !leads_to(shop, other, &check.id));
    let what =
        format!("leans on {from}, which must stand before it: in its stage or an earlier one");
    (!before).then_some(("from", what))
}

/// Whether a check leans, over others perhaps, on the one with this id.
fn leads_to(shop: &Shop, check: &Check, id: &str) -> bool {
    let mut at = Some(check);
    // As many steps as there are checks: after that it goes round.
    for _ in 0..=shop.added_checks.len() {
        match at {
            Some(check) if check.id == id => return true,
            Some(check) => {
                let from = check.from.as_deref();
                at = from.and_then(|from| shop.added_checks.get(from)).and_then(Option::as_ref);
            }
            None => return false,
        }
    }
    true
}

/// The shipped cautions, all of them, and the shop's behind those of their stage.
pub fn cautions(shop: &Shop) -> Cautions {
    let mut cautions = Cautions::standard().clone();
    for (id, added) in &shop.added_cautions {
        let Some(added) = added else { continue };
        if cautions.find(id).is_none() && Cautions::clears(&added.text).is_none() {
            cautions.all.push(Caution {
                id: id.clone(),
                stage: added.stage,
                keyed: added.keyed,
                title: added.title.clone(),
                title_fr: added.title.clone(),
                text: added.text.clone(),
                text_fr: added.text.clone(),
            });
        }
    }
    cautions.all.sort_by_key(|caution| caution.stage);
    cautions
}

/// The plan of a shop that holds together.
fn plan(shop: &Shop, cautions: &Cautions, read: &BTreeSet<&str>) -> Plan {
    let mut plan = Plan::standard().clone();
    for check in &mut plan.checks {
        if let Some(Some(rule)) = shop.check_limits.get(&check.id) {
            check.limit = rule.clone();
            check.limit.source = format!("{SHOPS_OWN}{}", rule.source);
        }
    }
    // What an earlier one of them leans on goes in first; they go round nowhere.
    let mut waiting: Vec<&Check> = shop.added_checks.values().flatten().collect();
    while !waiting.is_empty() {
        let ready = waiting
            .iter()
            .position(|check| check.from.as_deref().is_none_or(|from| plan.find(from).is_some()));
        let check = waiting.remove(ready.unwrap_or(0));
        let place = plan.checks.partition_point(|other| other.stage <= check.stage);
        plan.checks.insert(place, check.clone());
    }
    let mut kept: BTreeSet<String> = BTreeSet::new();
    for check in plan.checks.iter().rev() {
        if !is_off(shop, &check.id) || read.contains(&*check.id) || kept.contains(&check.id) {
            kept.extend([check.id.clone()].into_iter().chain(check.from.clone()));
        }
    }
    plan.checks.retain(|check| kept.contains(&check.id));
    for check in &mut plan.checks {
        check.optional |= is_off(shop, &check.id);
    }
    carry(&mut plan, cautions);
    plan
}

/// Puts the shop's keyed cautions before the keyed checks of their stage.
fn carry(plan: &mut Plan, cautions: &Cautions) {
    let shipped = Cautions::standard();
    let own = cautions.all.iter().filter(|caution| shipped.find(&caution.id).is_none());
    for caution in own.filter(|caution| caution.keyed) {
        let before = plan.checks.iter_mut();
        for check in before.filter(|check| check.keyed && check.stage == caution.stage) {
            if !check.cautions.contains(&caution.id) {
                check.cautions.push(caution.id.clone());
            }
        }
    }
}

#[cfg(test)]
#[path = "plan_shop_tests.rs"]
mod tests;
