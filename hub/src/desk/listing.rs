//! The list of visits: one line each, worked out once and kept until anything under it changes.
//!
//! In: a node. Out: the shop's id, and a line for every session with its verdicts. What is kept is
//! derived: a line holds for one judge, and for the newest changes of its session, its shop and its
//! site; anything else is worked out again. Without what is kept the list is the same, and slower.

use std::collections::BTreeMap;

use automerge::ChangeHash;
use guyline_core::checks::findings::Weight;
use guyline_core::record::{DocumentId, DocumentKind, Shop};
use guyline_core::uncertainty::Outcome;
use serde::{Deserialize, Serialize};

use super::judged::Judged;
use super::pages::SessionLine;
use super::reached::Reached;
use super::refusal::Refusal;
use super::session::papers;
use super::today::{names, shop_of};
use crate::Node;
use crate::store::Summary;

/// Which core judged: what another build worked out is not shown by this one.
const JUDGE: &[u8] = env!("GUYLINE_JUDGE").as_bytes();

/// What is said of a document.
#[derive(Clone, Debug, Serialize, Deserialize)]
enum Said {
    #[serde(rename = "p")]
    Shop,
    #[serde(rename = "s")]
    Site,
    /// Shop, site, and the line.
    #[serde(rename = "v")]
    Session(Option<String>, String, Line),
}

impl Said {
    fn kind(&self) -> DocumentKind {
        match self {
            Self::Shop => DocumentKind::Shop,
            Self::Site => DocumentKind::Site,
            Self::Session(..) => DocumentKind::Session,
        }
    }

    /// Where a visit was made.
    fn site(&self) -> Option<DocumentId> {
        match self {
            Self::Session(_, site, _) => site.parse().ok(),
            Self::Shop | Self::Site => None,
        }
    }
}

/// A line without names of fields and without what is known anyway: there are many of these. Site,
/// repeater, order, opening, crew, checks read, checks, worst outcome, findings, signed off.
type Line =
    (String, String, String, String, Vec<String>, usize, usize, Option<Outcome>, usize, bool);

/// What the Today screen lists.
pub(super) struct Listing {
    pub(super) shop: Option<Shop>,
    /// Newest id first.
    pub(super) sessions: Vec<SessionLine>,
}

type Heads = BTreeMap<DocumentId, Vec<ChangeHash>>;

/// Lists what is here, and keeps what had to be worked out.
pub(super) fn list(node: &Node) -> Result<Listing, Refusal> {
    let heads = node.heads()?;
    let kept = node.summaries()?;
    let mut said = BTreeMap::new();
    let mut fresh = BTreeMap::new();
    let mut lines = Vec::new();
    for &id in heads.keys() {
        match kept.get(&id).and_then(|kept| still_holds(kept, id, &heads)) {
            Some(holds) => drop(said.insert(id, holds)),
            None => match node.kind_of(id) {
                Ok(DocumentKind::Shop) => drop(fresh.insert(id, Said::Shop)),
                Ok(DocumentKind::Site) => drop(fresh.insert(id, Said::Site)),
                Ok(DocumentKind::Session) => {}
                Err(error) => lines.push(unreadable(id, Refusal::from(error).what)),
            },
        }
    }
    // Or whoever asks for the sites next would read every document to find them.
    node.learn_places(said.iter().map(|(id, said)| (*id, said.kind(), said.site())));
    let shops = said.iter().chain(&fresh).filter(|(_, said)| matches!(said, Said::Shop));
    let shop_id = shops.map(|(id, _)| *id).min();
    let shop = shop_id.map(|id| shop_of(node, id)).transpose()?;
    let people = shop.as_ref().map(names).unwrap_or_default();
    let told: Vec<DocumentId> = lines.iter().filter_map(|line| line.id.parse().ok()).collect();
    for &id in heads.keys().filter(|id| !told.contains(id)) {
        match said.remove(&id).or_else(|| fresh.get(&id).cloned()) {
            Some(Said::Shop | Said::Site) => {}
            Some(Said::Session(shop, _, line)) if shop == shop_id.map(|id| id.to_string()) => {
                lines.push(shown(id, line));
            }
            _ => match worked_out(node, id, &people) {
                Ok((site, line)) => {
                    let shop = shop_id.map(|id| id.to_string());
                    fresh.insert(id, Said::Session(shop, site, line.clone()));
                    lines.push(shown(id, line));
                }
                Err(refusal) => lines.push(unreadable(id, refusal.what)),
            },
        }
    }
    keep(node, &heads, fresh);
    lines.sort_by(|a, b| b.id.cmp(&a.id));
    Ok(Listing { shop, sessions: lines })
}

/// What is kept of a document, if it was worked out from what is here now.
fn still_holds(kept: &Summary, id: DocumentId, heads: &Heads) -> Option<Said> {
    let said: Said = serde_json::from_str(&kept.said).ok()?;
    kept.fits(&as_slices(&worked_out_from(&said, id, heads)?)).then_some(said)
}

/// Everything that what is said of a document was worked out from. None where some is not here.
fn worked_out_from(said: &Said, id: DocumentId, heads: &Heads) -> Option<Vec<Vec<u8>>> {
    let newest = |id: DocumentId| {
        let heads = heads.get(&id)?.iter().flat_map(|hash| hash.0);
        Some(id.to_bytes().into_iter().chain(heads).collect::<Vec<u8>>())
    };
    let mut from = vec![JUDGE.to_vec(), newest(id)?];
    if let Said::Session(shop, site, _) = said {
        from.push(newest(site.parse().ok()?)?);
        from.push(match shop {
            Some(shop) => newest(shop.parse().ok()?)?,
            None => Vec::new(),
        });
    }
    Some(from)
}

fn as_slices(parts: &[Vec<u8>]) -> Vec<&[u8]> {
    parts.iter().map(Vec::as_slice).collect()
}

fn keep(node: &Node, heads: &Heads, fresh: BTreeMap<DocumentId, Said>) {
    let summary = |(id, said): (DocumentId, Said)| {
        let from = worked_out_from(&said, id, heads)?;
        let text = serde_json::to_string(&said).expect("text keys and finite numbers only");
        Some((id, Summary::new(text, &as_slices(&from))))
    };
    let fresh: BTreeMap<DocumentId, Summary> = fresh.into_iter().filter_map(summary).collect();
    if !fresh.is_empty() {
        // A list that cannot be kept is as right as one that can. A disk that fails says so at the
        // next entry, and reading must go on when it is full.
        drop(node.keep_summaries(&fresh));
    }
}

fn unreadable(id: DocumentId, what: String) -> SessionLine {
    SessionLine { unreadable: Some(what), ..shown(id, Line::default()) }
}

fn shown(id: DocumentId, line: Line) -> SessionLine {
    let (
        site,
        repeater,
        work_order,
        opened_at,
        crew,
        checks_read,
        checks,
        worst,
        findings,
        signed_off,
    ) = line;
    SessionLine {
        id: id.to_string(),
        site,
        repeater,
        work_order,
        opened_at,
        crew,
        checks_read,
        checks,
        worst,
        findings,
        signed_off,
        reached: Reached::default(),
        unreadable: None,
    }
}

/// A visit's line, worked out anew.
pub(super) fn line(node: &Node, id: DocumentId, people: &BTreeMap<String, String>) -> SessionLine {
    match worked_out(node, id, people) {
        Ok((_, line)) => shown(id, line),
        Err(refusal) => unreadable(id, refusal.what),
    }
}

/// The id of a session's site, and the session's line.
fn worked_out(
    node: &Node,
    id: DocumentId,
    people: &BTreeMap<String, String>,
) -> Result<(String, Line), Refusal> {
    let sheet = papers(node, id)?;
    let Judged { appraisal, .. } = Judged::of(&sheet)?;
    let repeater = sheet.site.repeaters.get(&sheet.session.repeater);
    let name = |id: &String| people.get(id).unwrap_or(id).clone();
    let line = (
        sheet.site.name,
        repeater.map(|repeater| repeater.name.clone()).unwrap_or_default(),
        sheet.session.work_order,
        sheet.session.opened.at.to_string(),
        sheet.session.crew.keys().map(name).collect(),
        appraisal.checks.iter().filter(|check| check.outcome.is_some()).count(),
        appraisal.checks.len(),
        appraisal.checks.iter().filter_map(|check| check.outcome).max(),
        appraisal.findings.iter().filter(|finding| finding.weight != Weight::Note).count(),
        !sheet.session.sign_offs.is_empty(),
    );
    Ok((sheet.session.site.to_string(), line))
}

#[cfg(test)]
#[path = "listing_tests.rs"]
mod tests;
