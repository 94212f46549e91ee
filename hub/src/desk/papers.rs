//! The commands of the Papers screen: show the shop, change a field, choose, take back, the plan.
//!
//! Each command that changes something is one change of one document, on disk when it returns.

use std::collections::BTreeMap;

use guyline_core::checks::Plan;
use guyline_core::checks::{Rules, plan_file, plan_shop};
use guyline_core::language::Language;
use guyline_core::record::logo;
use guyline_core::record::papers_edit::with_numbers;
use guyline_core::record::shop::{Calibration, days_left};
use guyline_core::record::validate::{self, Problem};
use guyline_core::record::{
    Conflict, Document, DocumentId, DocumentKind, PaperRefused, PaperStep, Session, Shop, ShopEdit,
    SiteEdit,
};
use serde::de::DeserializeOwned;
use serde_json::Value;

use super::asker::Asker;
use super::edit::author;
use super::pages::Standing;
use super::papers_pages::{
    ChooseClaim, DueLine, EnterCalibration, PaperLine, PaperProblem, PapersPage, PlanLine,
    PlanTaken, PlanText, PutEntry, Recorded, RetireEntry, SetField, SignLimits, SiteLine,
    UndoChange,
};
use super::papers_words::{place, words};
use super::refusal::{Code, Refusal};
use super::requests::Nothing;
use super::session::not_here;
use super::today::{find_shop, names, of_kind, shop_of, standing};
use crate::Node;

/// So many changes are told on a screen; the document holds them all.
pub(super) const STEPS_SHOWN: usize = 20;

/// The shop whose papers are here, with its document's id.
pub(super) fn shop_here(node: &Node) -> Result<(DocumentId, Shop), Refusal> {
    let id = shop_id(node)?;
    Ok((id, shop_of(node, id)?))
}

/// Its document's id.
pub(super) fn shop_id(node: &Node) -> Result<DocumentId, Refusal> {
    find_shop(node)?.ok_or_else(|| not_here("shop", "whose papers are asked for"))
}

pub(super) fn show(node: &Asker, _: Nothing) -> Result<PapersPage, Refusal> {
    let (id, shop) = shop_here(node)?;
    let standing: Standing = standing(node, &names(&shop))?;
    let (conflicts, steps) = node
        .with_document(id, |document| (document.conflicts(), document.paper_steps(STEPS_SHOWN)))?;
    let mut problems = validate::shop(&shop);
    problems.extend(plan_shop::problems(&shop));
    let mut sites = Vec::new();
    for site in of_kind(node, DocumentKind::Site)? {
        let site = site?;
        let name = node.with_document(site, |document| document.site().map(|s| s.name.clone()))?;
        sites.push(SiteLine { id: site.to_string(), name: name.unwrap_or_default() });
    }
    sites.sort_by(|a, b| a.name.cmp(&b.name));
    let paper = serde_json::to_value(&shop).expect("papers hold text keys and plain values");
    Ok(PapersPage {
        id: id.to_string(),
        standing,
        disputed: disputed(&conflicts, &paper),
        conflicts,
        problems: problems.into_iter().map(shown).collect(),
        due: due(node, &shop),
        plan: plan(&shop, node.language),
        steps: lines(steps, &paper),
        sites,
        sign: SignLimits { bytes_max: logo::BYTES_MAX, pixels_max: logo::PIXELS_MAX },
        shop,
    })
}

pub(super) fn shown(problem: Problem) -> PaperProblem {
    PaperProblem { at: problem.at, what: problem.what }
}

pub(super) fn disputed(conflicts: &[Conflict], paper: &Value) -> Vec<String> {
    conflicts.iter().map(|conflict| place(&conflict.path, paper)).collect()
}

pub(super) fn lines(steps: Vec<PaperStep>, paper: &Value) -> Vec<PaperLine> {
    steps.into_iter().map(|step| PaperLine { words: words(&step, paper), step }).collect()
}

/// How long each calibration in use holds.
fn due(node: &Node, shop: &Shop) -> BTreeMap<String, DueLine> {
    let now = node.now();
    let instruments = shop.instruments.iter().filter(|(_, found)| found.retired.is_none());
    let instruments = instruments
        .map(|(id, found)| (format!("instruments.{id}"), Some(found.calibration_due.clone())));
    let parts = shop.parts.iter().filter(|(_, found)| found.retired.is_none());
    let parts = parts.map(|(id, found)| (format!("parts.{id}"), found.calibration_due.clone()));
    let line = |(key, on): (String, Option<String>)| {
        let on = on?;
        let days = days_left(&on, now)?;
        Some((key, DueLine { on, days }))
    };
    instruments.chain(parts).filter_map(line).collect()
}

/// Every check, also those that are off, as the shop has it. Only what cannot be edited is told in
/// the language: a limit that is changed must not take a translated source into the record.
fn plan(shop: &Shop, language: Language) -> Vec<PlanLine> {
    let mut all = shop.clone();
    all.checks_off.clear();
    let rules = Rules::of(&all, &nobodys_session());
    let told = rules.clone().in_language(language);
    let line = |mut check: guyline_core::checks::Check| {
        if let Some(told) = told.plan.find(&check.id) {
            check.title.clone_from(&told.title);
        }
        let shipped = Plan::standard().find(&check.id);
        let own_limit = shop.check_limits.get(&check.id).is_some_and(Option::is_some);
        PlanLine {
            off: shop.checks_off.get(&check.id).copied().unwrap_or(false),
            added: shipped.is_none(),
            shipped_limit: shipped.filter(|_| own_limit).map(|check| check.limit.clone()),
            check,
        }
    };
    rules.plan.checks.into_iter().map(line).collect()
}

/// A session in which nothing was read: the plan as it stands for the next visit.
fn nobodys_session() -> Session {
    let stamp = serde_json::json!({ "by": "x", "device": "x", "at": "1970-01-01T00:00:00Z" });
    let session = serde_json::json!({
        "site": "00000000000000000000000000", "repeater": "x", "work_order": "x", "opened": stamp,
    });
    serde_json::from_value(session).expect("it has what a session must have")
}

pub(super) fn set_field(node: &Node, asked: SetField) -> Result<Recorded, Refusal> {
    let SetField { document, path, value } = asked;
    let value = with_numbers(value);
    change(node, &document, |document, author| match document.kind() {
        DocumentKind::Site => document.edit_site(&SiteEdit::SetField { path, value }, author),
        _ => document.edit_shop(&ShopEdit::SetField { path, value }, author),
    })
}

pub(super) fn put_entry(node: &Node, asked: PutEntry) -> Result<Recorded, Refusal> {
    let PutEntry { document, list, entry } = asked;
    let (id, entry) = (node.fresh_id(), with_numbers(entry));
    if let Some(edit) = shop_entry(&list, id.clone(), &entry)? {
        return change(node, &document, |document, author| document.edit_shop(&edit, author));
    }
    match site_entry(&list, id, &entry)? {
        Some(edit) => change(node, &document, |document, author| document.edit_site(&edit, author)),
        None => Err(not_here("list", &list)),
    }
}

fn shop_entry(list: &str, id: String, entry: &Value) -> Result<Option<ShopEdit>, Refusal> {
    Ok(Some(match list {
        "people" => ShopEdit::PutPerson { id, person: typed(entry)? },
        "instruments" => ShopEdit::PutInstrument { id, instrument: Box::new(typed(entry)?) },
        "parts" => ShopEdit::PutPart { id, part: Box::new(typed(entry)?) },
        _ => return Ok(None),
    }))
}

fn site_entry(list: &str, id: String, entry: &Value) -> Result<Option<SiteEdit>, Refusal> {
    Ok(Some(match list {
        "hazard_entries" => SiteEdit::PutHazard { id, hazard: typed(entry)? },
        "repeaters" => SiteEdit::PutRepeater { id, repeater: Box::new(typed(entry)?) },
        "equipment" => SiteEdit::PutEquipment { id, equipment: typed(entry)? },
        "co_sited" => SiteEdit::PutCoSited { id, transmitter: typed(entry)? },
        "baselines" => SiteEdit::PutBaseline { id, baseline: typed(entry)? },
        _ => return Ok(None),
    }))
}

/// The entry as its list holds it.
fn typed<T: DeserializeOwned>(entry: &Value) -> Result<T, Refusal> {
    serde_path_to_error::deserialize(entry).map_err(|error| {
        let help = "correct the field that is named and try again";
        Refusal::new(Code::EditRefused, error.inner().to_string(), help)
            .at(error.path().to_string())
    })
}

pub(super) fn retire(node: &Node, asked: RetireEntry) -> Result<Recorded, Refusal> {
    let RetireEntry { document, list, entry: id, retired } = asked;
    let from = retired.then(|| node.now().day().to_string());
    change(node, &document, |document, author| match document.kind() {
        DocumentKind::Site => document.edit_site(&SiteEdit::Retire { list, id, from }, author),
        _ => document.edit_shop(&ShopEdit::Retire { list, id, from }, author),
    })
}

pub(super) fn record_calibration(
    node: &Node,
    asked: EnterCalibration,
) -> Result<Recorded, Refusal> {
    let EnterCalibration { of, item, on, by, certificate, result, next_due } = asked;
    let shop = shop_id(node)?;
    let calibration = Calibration {
        of,
        item,
        on,
        by,
        certificate,
        result,
        next_due,
        before: None,
        retired: None,
    };
    let edit = ShopEdit::RecordCalibration { id: node.fresh_id(), calibration };
    change(node, &shop.to_string(), |document, author| document.edit_shop(&edit, author))
}

pub(super) fn choose(node: &Node, asked: ChooseClaim) -> Result<Recorded, Refusal> {
    change(node, &asked.document, |document, author| {
        document.choose(&asked.path, &asked.claim, author)
    })
}

pub(super) fn undo(node: &Node, asked: UndoChange) -> Result<Recorded, Refusal> {
    change(node, &asked.document, |document, author| document.undo(&asked.change, author))
}

pub(super) fn plan_text(node: &Node, _: Nothing) -> Result<PlanText, Refusal> {
    Ok(PlanText { text: export_plan(node)? })
}

pub(super) fn take_plan(node: &Node, asked: PlanText) -> Result<PlanTaken, Refusal> {
    import_plan(node, &asked.text, &author(node)?)
}

/// The shop's plan as text.
pub fn export_plan(node: &Node) -> Result<String, Refusal> {
    Ok(plan_file::write(&shop_here(node)?.1))
}

/// Makes a text the shop's plan, unless something is wrong with it.
pub fn import_plan(
    node: &Node,
    text: &str,
    author: &guyline_core::record::Author,
) -> Result<PlanTaken, Refusal> {
    let (id, shop) = shop_here(node)?;
    let plan = match plan_file::read(&shop, text) {
        Ok(plan) => plan,
        Err(wrong) => return Ok(PlanTaken { change: None, wrong }),
    };
    let edit = ShopEdit::SetPlan(Box::new(plan));
    let done = write(node, id, |document| document.edit_shop(&edit, author))?;
    Ok(PlanTaken { change: Some(done.change), wrong: Vec::new() })
}

/// Changes a shop or a site in the name of who holds this device.
pub(super) fn change(
    node: &Node,
    document: &str,
    edit: impl FnOnce(
        &mut Document,
        &guyline_core::record::Author,
    ) -> Result<automerge::Change, PaperRefused>,
) -> Result<Recorded, Refusal> {
    let author = author(node)?;
    let id = document.parse().map_err(|error: guyline_core::record::NotAnId| {
        Refusal::new(Code::NotHere, error.to_string(), "open the paper again").at("document")
    })?;
    write(node, id, |document| edit(document, &author))
}

/// One change of one paper, unless it breaks the shop's plan.
pub(super) fn write(
    node: &Node,
    id: DocumentId,
    edit: impl FnOnce(&mut Document) -> Result<automerge::Change, PaperRefused>,
) -> Result<Recorded, Refusal> {
    let mut made = String::new();
    node.edit(id, |document| {
        let before = document.shop().map(plan_shop::problems).unwrap_or_default();
        let change = edit(document)?;
        let after = document.shop().map(plan_shop::problems).unwrap_or_default();
        // The node drops a document that was refused after it was changed, and reads it anew.
        if let Some(problem) = after.into_iter().find(|problem| !before.contains(problem)) {
            return Err(PaperRefused::Problem(problem));
        }
        made = change.hash().to_string();
        Ok(change)
    })??;
    Ok(Recorded { change: made })
}

impl From<PaperRefused> for Refusal {
    fn from(error: PaperRefused) -> Self {
        let what = error.to_string();
        let help = match &error {
            PaperRefused::NotThat { .. } | PaperRefused::Missing { .. } => "open the paper again",
            PaperRefused::Newer { .. } => "update Guyline on this device",
            PaperRefused::Older { .. } => "open the paper on the newest version first",
            PaperRefused::Taken { .. } => "use a fresh id",
            PaperRefused::Deletes { .. } => "retire the entry instead",
            PaperRefused::NoChange => "change something first",
            PaperRefused::NoSuchChange { .. } => "choose one of the paper's changes",
            PaperRefused::NotUndone { .. } | PaperRefused::BuiltOn { .. } => {
                "set the field to what it should be"
            }
            PaperRefused::Value { .. } | PaperRefused::Problem(_) | PaperRefused::Author { .. } => {
                "correct the field and try again"
            }
        };
        match error {
            PaperRefused::Problem(problem) => {
                Self::new(Code::EditRefused, problem.what, help).at(problem.at)
            }
            PaperRefused::Value { path, expected } => {
                Self::new(Code::EditRefused, expected, help).at(path)
            }
            _ => Self::new(Code::EditRefused, what, help),
        }
    }
}

#[cfg(test)]
#[path = "papers_tests.rs"]
mod tests;
