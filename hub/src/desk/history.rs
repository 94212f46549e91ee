//! The commands of a session's history: every step in words, and the session as it was after one.

use std::collections::BTreeMap;

use automerge::{ActorId, Change};
use guyline_core::checks::{Rules, Sheet};
use guyline_core::language::say;
use guyline_core::record::{
    Document, DocumentId, NoSuchMoment, Session, Step, Subject, SubjectKind, Touched,
};

use super::asker::Asker;
use super::pages::{HistoryStep, SessionHistory, SessionPage};
use super::refusal::{Code, Refusal};
use super::requests::{AskMoment, AskSession};
use super::session::{page_of, papers, session_id};
use super::today::names;
use crate::Node;
use crate::identity::{PublicKey, is_of};

/// Every step of a session, in English.
pub fn history(node: &Node, id: DocumentId) -> Result<SessionHistory, Refusal> {
    history_for(&Asker::in_english(node), id)
}

fn history_for(node: &Asker, id: DocumentId) -> Result<SessionHistory, Refusal> {
    let Sheet { shop, site, session } = papers(node, id)?;
    let steps = node.with_document(id, |document| document.history())??;
    let sealers = sealers(node, id)?;
    let repeater = site.repeaters.get(&session.repeater).map(|repeater| repeater.name.clone());
    let rules = Rules::of(&shop, &session).in_language(node.language);
    Ok(SessionHistory {
        id: id.to_string(),
        site: site.name,
        repeater: repeater.unwrap_or_else(|| session.repeater.clone()),
        people: names(&shop),
        steps: steps.into_iter().map(|step| in_words(&session, &rules, &sealers, step)).collect(),
    })
}

/// The Session screen as it was after a change, judged with the papers as they are now. In English.
pub fn page_after(node: &Node, id: DocumentId, change: &str) -> Result<SessionPage, Refusal> {
    page_after_for(&Asker::in_english(node), id, change)
}

fn page_after_for(node: &Asker, id: DocumentId, change: &str) -> Result<SessionPage, Refusal> {
    let now = papers(node, id)?;
    let session = node.with_document(id, |document| document.session_after(change))??;
    page_of(node, id, Sheet { session, ..now })
}

pub(super) fn show(asker: &Asker, asked: AskSession) -> Result<SessionHistory, Refusal> {
    history_for(asker, session_id(&asked.session)?)
}

pub(super) fn show_moment(asker: &Asker, asked: AskMoment) -> Result<SessionPage, Refusal> {
    page_after_for(asker, session_id(&asked.session)?, &asked.change)
}

impl From<NoSuchMoment> for Refusal {
    fn from(error: NoSuchMoment) -> Self {
        let help = "choose a step of the session's history";
        Self::new(Code::NotHere, error.to_string(), help).at("change")
    }
}

/// Which device's seal proves each change of a document, by the change's hash.
pub(super) fn sealers(node: &Node, id: DocumentId) -> Result<BTreeMap<String, String>, Refusal> {
    let mut names: BTreeMap<ActorId, String> = BTreeMap::new();
    for seal in node.seals_of(id)? {
        let key = PublicKey::from_bytes(seal.key);
        if is_of(&seal.actor, key) {
            let name = node.name_of(&key.to_string()).unwrap_or_else(|| key.short());
            names.insert(seal.actor, name);
        }
    }
    let changes = node.with_document(id, Document::changes)?;
    let sealer = |change: Change| {
        let name = names.get(change.actor_id())?;
        Some((change.hash().to_string(), name.clone()))
    };
    Ok(changes.into_iter().filter_map(sealer).collect())
}

/// A step with the words for it.
pub(super) fn in_words(
    session: &Session,
    rules: &Rules,
    sealers: &BTreeMap<String, String>,
    step: Step,
) -> HistoryStep {
    let sealed_by = sealers.get(&step.change).cloned();
    HistoryStep { words: words(session, rules, &step), sealed_by, step }
}

/// A step as somebody would tell it. What the entry says is read where the record keeps it.
fn words(session: &Session, rules: &Rules, step: &Step) -> String {
    let told = step.entry.as_ref().and_then(|entry| entry_words(session, rules, entry));
    let to = rules.language;
    told.unwrap_or_else(|| match step.intent.as_str() {
        "create" => {
            say!(to, "planned the visit: {}", "a prévu la visite : {}", session.work_order)
        }
        "summarise" => {
            match session.summary.iter().find(|said| Some(&said.stamp) == step.stamp.as_ref()) {
                Some(said) => say!(to, "summed up: {}", "a résumé : {}", said.text),
                None => say!(
                    to,
                    "summed up, and somebody wrote another summary since",
                    "a résumé, et quelqu’un a écrit un autre résumé depuis"
                ),
            }
        }
        "" => say!(to, "changed something", "a changé quelque chose"),
        intent => intent.to_owned(),
    })
}

pub(super) fn entry_words(
    session: &Session,
    rules: &Rules,
    Touched { list, id }: &Touched,
) -> Option<String> {
    let to = rules.language;
    Some(match list.as_str() {
        "crew" => say!(to, "came on site", "est arrivé sur place"),
        "chains" => {
            let chain = session.chains.get(id)?;
            let plane = chain.plane.said(to);
            say!(to, "connected {} to the {plane}", "a branché {} au {plane}", chain.name)
        }
        "readings" => say!(to, "read {}", "a lu {}", reading_words(session, rules, id)?),
        "withdrawals" => {
            let taken = session.withdrawals.get(id)?;
            let read = reading_words(session, rules, &taken.reading)?;
            say!(to, "took back {read}: {}", "a repris {read} : {}", taken.reason)
        }
        "acknowledgements" => {
            let caution = &session.acknowledgements.get(id)?.caution;
            let title = rules.cautions.find(caution).map(|caution| caution.title.as_str());
            let title = title.unwrap_or(caution);
            say!(to, "read the caution: {title}", "a lu la mise en garde : {title}")
        }
        "adjustments" => {
            say!(to, "adjusted: {}", "a réglé : {}", session.adjustments.get(id)?.text)
        }
        "notes" => say!(to, "noted: {}", "a noté : {}", session.notes.get(id)?.text),
        "departures" => say!(to, "left the site", "a quitté le site"),
        "restorations" => {
            say!(to, "put back: {}", "a remis en place : {}", session.restorations.get(id)?.text)
        }
        "retractions" => {
            let taken = session.retractions.get(id)?;
            let entry = Touched { list: taken.list.clone(), id: taken.entry.clone() };
            // A document from elsewhere may name itself here.
            let nested = taken.list == "retractions";
            let was = if nested { None } else { entry_words(session, rules, &entry) };
            let was = was.unwrap_or_else(|| say!(to, "a taking back", "une reprise"));
            say!(to, "took back: {was}", "a repris : {was}")
        }
        "sign_offs" => say!(to, "signed the visit off", "a signé la visite"),
        "amendments" => {
            say!(to, "amends: {}", "rectifie : {}", session.amendments.get(id)?.reason)
        }
        "attachments" => {
            let attached = session.attachments.get(id)?;
            let what = attached.caption.as_ref().unwrap_or(&attached.file_name);
            say!(to, "attached: {what}", "a joint : {what}")
        }
        "captions" => {
            say!(to, "captioned: {}", "a mis la légende : {}", session.captions.get(id)?.text)
        }
        _ => return None,
    })
}

/// What an attachment belongs to.
pub(super) fn subject_words(session: &Session, rules: &Rules, of: &Subject) -> String {
    let words = match of.kind {
        SubjectKind::Check => rules.plan.find(&of.id).map(|check| check.title.clone()),
        SubjectKind::Reading => reading_words(session, rules, &of.id),
        SubjectKind::Finding => None,
    };
    words.unwrap_or_else(|| of.id.clone())
}

fn reading_words(session: &Session, rules: &Rules, id: &str) -> Option<String> {
    let reading = session.readings.get(id)?;
    let title = rules.plan.find(&reading.check).map(|check| check.title.as_str());
    let phase = reading.phase.said(rules.language);
    let title = title.unwrap_or(&reading.check);
    let read = format!("{} {}, {phase}", reading.typed, reading.unit);
    Some(say!(rules.language, "{title}: {read}", "{title} : {read}"))
}
