//! What this device keeps, as the screens show and change it.
//!
//! In: the choice, or a site. Out: the Devices screen, which lists the wanted sites by name; and
//! for a site whether its visits are kept here. What is wanted, [`crate::keeping`] knows.

use std::collections::BTreeSet;

use guyline_core::record::{DocumentId, DocumentKind};
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::pages::DevicesPage;
use super::papers_pages::AskSite;
use super::refusal::Refusal;
use super::requests::Nothing;
use super::site_report::site_id;
use super::today::of_kind;
use crate::Node;
use crate::keeping::{Keeping, KeepsAll};
use crate::log::{Ask, Place, Scope};

/// Whether only visits to wanted sites are kept.
#[derive(Clone, Copy, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct KeepOnly {
    /// True for wanted sites, false for everything.
    pub only: bool,
}

/// What this device keeps.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct KeepingPage {
    /// Whether only visits to wanted sites are kept.
    pub only_wanted: bool,
    /// Why it may keep nothing less than everything, where that is so.
    pub refused: Option<KeepsAll>,
    /// The wanted sites, by name.
    pub sites: Vec<KeptSite>,
    /// The sites whose visits are not wanted, by name.
    pub others: Vec<KeptSite>,
}

/// A site, wanted or not.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, TS)]
pub struct KeptSite {
    /// Its name; its id where its paper is not here or cannot be read.
    pub name: String,
    /// Its id.
    pub id: String,
    /// Whether the papers send whoever holds this device there.
    pub sent_to: bool,
}

/// Whether a site's visits are kept here.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, TS)]
#[serde(rename_all = "kebab-case")]
pub enum VisitsKept {
    /// All that was met elsewhere is here.
    Kept,
    /// They are wanted, and come with the next merge.
    Coming,
    /// They are not.
    NotKept,
}

/// What this device keeps.
pub fn page(node: &Node) -> Result<KeepingPage, Refusal> {
    let Keeping { only_wanted, sites: wanted } = node.keeping()?;
    let sent_to = node.sent_to()?;
    let (mut sites, mut others) = (Vec::new(), Vec::new());
    let mut here = BTreeSet::new();
    for id in of_kind(node, DocumentKind::Site)? {
        let id = id?;
        here.insert(id);
        let list =
            if wanted.contains(&id) || sent_to.contains(&id) { &mut sites } else { &mut others };
        list.push(line(node, id, sent_to.contains(&id))?);
    }
    for id in wanted.union(&sent_to).filter(|id| !here.contains(id)) {
        sites.push(KeptSite {
            name: id.to_string(),
            id: id.to_string(),
            sent_to: sent_to.contains(id),
        });
    }
    sites.sort();
    others.sort();
    let refused = node.keeps_all_since();
    Ok(KeepingPage { only_wanted, refused, sites, others })
}

fn line(node: &Node, id: DocumentId, sent_to: bool) -> Result<KeptSite, Refusal> {
    let name = node.with_document(id, |document| document.site().map(|site| site.name.clone()))?;
    // One that a later version wrote is kept like any other.
    let name = name.unwrap_or_else(|_| id.to_string());
    Ok(KeptSite { name, id: id.to_string(), sent_to })
}

pub(super) fn keep_only(node: &Node, asked: KeepOnly) -> Result<DevicesPage, Refusal> {
    node.keep_only_wanted(asked.only)?;
    super::devices::show(node, Nothing {})
}

pub(super) fn keep_site(node: &Node, asked: AskSite) -> Result<DevicesPage, Refusal> {
    keep_site_named(node, &asked.site)?;
    super::devices::show(node, Nothing {})
}

/// Keeps the visits to a site, by its id or its name.
pub fn keep_site_named(node: &Node, asked: &str) -> Result<(), Refusal> {
    Ok(node.want_site(site_id(node, asked)?)?)
}

/// How many sites' visits are kept; none where all are.
pub(super) fn sites_kept(node: &Node) -> Result<Option<usize>, Refusal> {
    let Keeping { only_wanted, sites } = node.keeping()?;
    if !only_wanted {
        return Ok(None);
    }
    Ok(Some(sites.union(&node.sent_to()?).count()))
}

/// Whether a site's visits are kept. Somebody was asked for all of them once they were wanted, or
/// they are yet to come.
pub(super) fn visits_kept(node: &Node, site: DocumentId) -> Result<VisitsKept, Refusal> {
    let scope = node.scope()?;
    let place = Place::Visit(site);
    if !scope.holds(place) {
        return Ok(VisitsKept::NotKept);
    }
    let whole = |asked: &Ask| asked.known.is_none() && asked.scope.holds(place);
    let asked = node.asked()?;
    match scope == Scope::All && asked.is_empty() || asked.iter().any(whole) {
        true => Ok(VisitsKept::Kept),
        false => Ok(VisitsKept::Coming),
    }
}
