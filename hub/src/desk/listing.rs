//! The list of visits: one line each, worked out once and kept until anything under it changes.
//!
//! In: a node. Out: the shop's id, and a line for every session with its verdicts. What is kept is
//! derived: a line holds for one judge, and for the newest changes of its session, its shop and its
//! site; anything else is worked out again. Without what is kept the list is the same, and slower.

use std::collections::BTreeMap;

use automerge::ChangeHash;
use guyline_core::checks::findings::Weight;
use guyline_core::record::{DocumentId, DocumentKind, Shop};
use guyline_core::time::Timestamp;
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
#[serde(untagged)]
enum Said {
    /// Site, and the line. Which shop it was worked out for is known before it is looked at.
    Session(String, Line),
    Paper(Paper),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
enum Paper {
    #[serde(rename = "p")]
    Shop,
    #[serde(rename = "s")]
    Site,
}

impl Said {
    fn kind(&self) -> DocumentKind {
        match self {
            Self::Paper(Paper::Shop) => DocumentKind::Shop,
            Self::Paper(Paper::Site) => DocumentKind::Site,
            Self::Session(..) => DocumentKind::Session,
        }
    }

    /// Where a visit was made.
    fn site(&self) -> Option<DocumentId> {
        match self {
            Self::Session(site, _) => site.parse().ok(),
            Self::Paper(_) => None,
        }
    }
}

/// A line without names of fields and without what is known anyway: there are many of these. Site,
/// repeater, order, opening in milliseconds, crew, checks read, checks, worst outcome, findings,
/// signed off.
type Line =
    (String, String, String, Option<i64>, Vec<String>, usize, usize, Option<usize>, usize, bool);

/// The worst outcome's number is its place here.
const OUTCOMES: [Outcome; 5] = [
    Outcome::Pass,
    Outcome::ConditionalPass,
    Outcome::NotJudged,
    Outcome::ConditionalFail,
    Outcome::Fail,
];

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
    let mut sorted = Sorted::default();
    let mut visits = BTreeMap::new();
    for &id in heads.keys() {
        match kept.get(&id).and_then(read) {
            Some(said @ Said::Session(..)) => drop(visits.insert(id, said)),
            Some(said) if holds(&said, &kept[&id], id, None, &heads) => {
                sorted.said.insert(id, said);
            }
            _ => sorted.look(node, id),
        }
    }
    let before = sorted.shop();
    let holds_for = |id: DocumentId, said: &Said, shop: Option<DocumentId>| {
        holds(said, &kept[&id], id, shop, &heads)
    };
    let (held, stale): (BTreeMap<_, _>, BTreeMap<_, _>) =
        visits.into_iter().partition(|(id, said)| holds_for(*id, said, before));
    sorted.said.extend(held);
    stale.keys().for_each(|&id| sorted.look(node, id));
    // A damaged line may have said that the shop is a visit.
    let shop_id = sorted.shop();
    if shop_id != before {
        sorted.said.retain(|&id, said| said.site().is_none() || holds_for(id, said, shop_id));
    }
    sorted.lines(node, shop_id, &heads)
}

/// The documents by what they are, as far as it is known.
#[derive(Default)]
struct Sorted {
    /// What is kept of them and holds.
    said: BTreeMap<DocumentId, Said>,
    /// What was worked out now.
    fresh: BTreeMap<DocumentId, Said>,
    /// Those of which not even the kind can be read.
    unreadable: BTreeMap<DocumentId, SessionLine>,
}

impl Sorted {
    /// Reads what kind of a document it is.
    fn look(&mut self, node: &Node, id: DocumentId) {
        match node.kind_of(id) {
            Ok(DocumentKind::Shop) => drop(self.fresh.insert(id, Said::Paper(Paper::Shop))),
            Ok(DocumentKind::Site) => drop(self.fresh.insert(id, Said::Paper(Paper::Site))),
            Ok(DocumentKind::Session) => {}
            Err(error) => {
                self.unreadable.insert(id, unreadable(id, Refusal::from(error).what));
            }
        }
    }

    fn shop(&self) -> Option<DocumentId> {
        let shops = self.said.iter().chain(&self.fresh);
        shops.filter(|(_, said)| matches!(said, Said::Paper(Paper::Shop))).map(|(id, _)| *id).min()
    }

    fn lines(
        mut self,
        node: &Node,
        shop_id: Option<DocumentId>,
        heads: &Heads,
    ) -> Result<Listing, Refusal> {
        // Or whoever asks for the sites next would read every document to find them.
        node.learn_places(self.said.iter().map(|(id, said)| (*id, said.kind(), said.site())));
        let shop = shop_id.map(|id| shop_of(node, id)).transpose()?;
        let people = shop.as_ref().map(names).unwrap_or_default();
        let mut lines = Vec::new();
        for &id in heads.keys().filter(|id| !self.unreadable.contains_key(id)) {
            match self.said.remove(&id).or_else(|| self.fresh.get(&id).cloned()) {
                Some(Said::Paper(_)) => {}
                Some(Said::Session(_, line)) => lines.push(shown(id, line)),
                None => match worked_out(node, id, &people) {
                    Ok((site, line)) => {
                        self.fresh.insert(id, Said::Session(site, line.clone()));
                        lines.push(shown(id, line));
                    }
                    Err(refusal) => lines.push(unreadable(id, refusal.what)),
                },
            }
        }
        keep(node, heads, shop_id, self.fresh);
        lines.extend(self.unreadable.into_values());
        lines.sort_by(|a, b| b.id.cmp(&a.id));
        Ok(Listing { shop, sessions: lines })
    }
}

fn read(kept: &Summary) -> Option<Said> {
    serde_json::from_str(&kept.said).ok()
}

/// Whether what is kept of a document was worked out from what is here now, for this shop.
fn holds(
    said: &Said,
    kept: &Summary,
    id: DocumentId,
    shop: Option<DocumentId>,
    heads: &Heads,
) -> bool {
    worked_out_from(said, id, shop, heads).is_some_and(|from| kept.fits(&as_slices(&from)))
}

/// Everything that what is said of a document was worked out from. None where some is not here.
fn worked_out_from(
    said: &Said,
    id: DocumentId,
    shop: Option<DocumentId>,
    heads: &Heads,
) -> Option<Vec<Vec<u8>>> {
    let newest = |id: DocumentId| {
        let heads = heads.get(&id)?.iter().flat_map(|hash| hash.0);
        Some(id.to_bytes().into_iter().chain(heads).collect::<Vec<u8>>())
    };
    let mut from = vec![JUDGE.to_vec(), newest(id)?];
    if let Said::Session(site, _) = said {
        from.push(newest(site.parse().ok()?)?);
        from.push(match shop {
            Some(shop) => newest(shop)?,
            None => Vec::new(),
        });
    }
    Some(from)
}

fn as_slices(parts: &[Vec<u8>]) -> Vec<&[u8]> {
    parts.iter().map(Vec::as_slice).collect()
}

fn keep(node: &Node, heads: &Heads, shop: Option<DocumentId>, fresh: BTreeMap<DocumentId, Said>) {
    let summary = |(id, said): (DocumentId, Said)| {
        let from = worked_out_from(&said, id, shop, heads)?;
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
        opened_ms,
        crew,
        checks_read,
        checks,
        worst,
        findings,
        signed_off,
    ) = line;
    let opened = opened_ms.and_then(|ms| Timestamp::from_unix_ms(ms).ok());
    SessionLine {
        id: id.to_string(),
        site,
        repeater,
        work_order,
        opened_at: opened.map(|at| at.to_string()).unwrap_or_default(),
        crew,
        checks_read,
        checks,
        worst: worst.and_then(|number| OUTCOMES.get(number).copied()),
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
    let worst = appraisal.checks.iter().filter_map(|check| check.outcome).max();
    let line = (
        sheet.site.name,
        repeater.map(|repeater| repeater.name.clone()).unwrap_or_default(),
        sheet.session.work_order,
        Some(sheet.session.opened.at.unix_ms()),
        sheet.session.crew.keys().map(name).collect(),
        appraisal.checks.iter().filter(|check| check.outcome.is_some()).count(),
        appraisal.checks.len(),
        worst.and_then(|worst| OUTCOMES.iter().position(|outcome| *outcome == worst)),
        appraisal.findings.iter().filter(|finding| finding.weight != Weight::Note).count(),
        !sheet.session.sign_offs.is_empty(),
    );
    Ok((sheet.session.site.to_string(), line))
}

#[cfg(test)]
#[path = "listing_tests.rs"]
mod tests;
