//! The commands of the Today screen: what to do, what waits, who holds the device, merging.

use std::collections::BTreeMap;

use guyline_core::record::validate::NAME_MAX;
use guyline_core::record::{DocumentId, DocumentKind, Shop};

use super::keeping::sites_kept;
use super::listing::{Listing, list};
use super::pages::{Destination, PeerLine, Position, Standing, Today};
use super::reached::Reach;
use super::refusal::{Code, Refusal};
use super::requests::{ExchangeWith, HoldDevice, Nothing};
use super::rights;
use crate::Node;
use crate::log::Scope;
use crate::sync::ExchangeReport;

pub(super) fn today(node: &Node, _: Nothing) -> Result<Today, Refusal> {
    let Listing { shop, mut sessions } = list(node)?;
    let reach = Reach::of(node)?;
    for line in &mut sessions {
        line.reached = line.id.parse().map(|id| reach.reached(id)).unwrap_or_default();
    }
    let people = shop.as_ref().map(names).unwrap_or_default();
    let standing = standing(node, &people)?;
    let now = node.now();
    let here = |id: &String| shop.as_ref().is_some_and(|s| s.people[id].is_here(now));
    let peers = peers(node)?;
    let destinations = destinations(node)?;
    let people = people.into_iter().filter(|(id, _)| here(id)).collect();
    let shop = shop.map(|shop| shop.name);
    let sites_kept = sites_kept(node)?;
    Ok(Today { shop, standing, people, sessions, peers, destinations, sites_kept })
}

/// The nodes met so far, the last one first.
pub(super) fn peers(node: &Node) -> Result<Vec<PeerLine>, Refusal> {
    let line = |peer: crate::store::Peer| PeerLine {
        name: peer.name,
        address: peer.address,
        last_at: peer.last_exchange_at.to_string(),
        last_failure: peer.last_failure,
        not_there: peer.not_there,
        sites_kept: match peer.holds {
            Scope::All => None,
            Scope::Sites(sites) => Some(sites.len()),
        },
    };
    Ok(node.peers()?.into_iter().map(line).collect())
}

/// What is wrong with a device's name, if anything.
pub(super) fn device_problem(name: &str) -> Option<String> {
    let fits =
        !name.is_empty() && name.chars().count() <= NAME_MAX && !name.chars().any(char::is_control);
    (!fits).then(|| format!("a device's name has 1 to {NAME_MAX} characters, and no line ends"))
}

/// Every repeater in use at every site that can be read here.
fn destinations(node: &Node) -> Result<Vec<Destination>, Refusal> {
    let mut all = Vec::new();
    for id in of_kind(node, DocumentKind::Site)? {
        let id = id?;
        let site = node.with_document(id, |document| document.site().cloned())?;
        // What a later version wrote is not ours to plan with.
        let Ok(site) = site else { continue };
        let in_use = site.repeaters.into_iter().filter(|(_, found)| found.retired.is_none());
        all.extend(in_use.map(|(repeater, found)| Destination {
            site: id.to_string(),
            site_name: site.name.clone(),
            repeater,
            repeater_name: found.name,
        }));
    }
    all.sort_by(|a, b| (&a.site_name, &a.repeater_name).cmp(&(&b.site_name, &b.repeater_name)));
    Ok(all)
}

pub(super) fn position(node: &Node, _: Nothing) -> Result<Position, Refusal> {
    Ok(Position { position: node.position()? })
}

pub(super) fn hold_device(node: &Node, asked: HoldDevice) -> Result<Today, Refusal> {
    demand_here(node, &asked.person)?;
    node.set_person(&asked.person)?;
    today(node, Nothing {})
}

/// Whether somebody belongs to the shop now.
pub(super) fn demand_here(node: &Node, person: &str) -> Result<(), Refusal> {
    let now = node.now();
    let here = |shop: Shop| shop.people.get(person).is_some_and(|one| one.is_here(now));
    if shop(node)?.is_some_and(here) {
        return Ok(());
    }
    let what = format!("the shop has nobody under {person:?}");
    let help = "choose one of the shop's people; merge with the hub if its papers are missing";
    Err(Refusal::new(Code::NotHere, what, help).at("person"))
}

pub(super) async fn exchange(node: &Node, asked: ExchangeWith) -> Result<ExchangeReport, Refusal> {
    let report = node.exchange_with(&asked.address).await?;
    // Beside it: people wait for readings, not for photographs.
    let (node, address) = (node.clone(), asked.address);
    tokio::spawn(async move {
        if let Err(error) = node.settle_contents_with(&address).await {
            tracing::debug!(%error, "attachments wait");
        }
    });
    Ok(report)
}

/// Who holds this device, and what is only here.
pub(super) fn standing(
    node: &Node,
    people: &BTreeMap<String, String>,
) -> Result<Standing, Refusal> {
    let person = node.person()?;
    Ok(Standing {
        device: node.name()?,
        person_name: person.as_ref().and_then(|id| people.get(id).cloned()),
        person,
        browser: node.visitor().map(|visitor| visitor.name.clone()),
        may: rights::held(node),
        position: node.position()?,
        only_here: node.only_here()?,
        set_aside: node.set_aside_count()?,
    })
}

/// Whether a document is here and of this kind.
pub(super) fn is_here(node: &Node, id: DocumentId, kind: DocumentKind) -> Result<bool, Refusal> {
    let known = node.documents()?.contains(&id);
    Ok(known && node.kind_of(id)? == kind)
}

/// The documents of a kind, in the order of their ids, each looked at when it is asked for.
pub(super) fn of_kind(
    node: &Node,
    kind: DocumentKind,
) -> Result<impl Iterator<Item = Result<DocumentId, Refusal>> + '_, Refusal> {
    Ok(node.documents()?.into_iter().filter_map(move |id| match node.kind_of(id) {
        Ok(found) => (found == kind).then_some(Ok(id)),
        Err(error) => Some(Err(error.into())),
    }))
}

/// The shop whose papers are here.
pub(super) fn shop(node: &Node) -> Result<Option<Shop>, Refusal> {
    find_shop(node)?.map(|id| shop_of(node, id)).transpose()
}

/// Its document. What cannot be read is passed over, if a shop can.
pub(super) fn find_shop(node: &Node) -> Result<Option<DocumentId>, Refusal> {
    let mut damaged = None;
    for id in node.documents()? {
        match node.kind_of(id) {
            Ok(DocumentKind::Shop) => return Ok(Some(id)),
            Ok(_) => {}
            Err(error) => damaged = damaged.or(Some(error)),
        }
    }
    damaged.map_or(Ok(None), |error| Err(error.into()))
}

pub(super) fn shop_of(node: &Node, id: DocumentId) -> Result<Shop, Refusal> {
    Ok(node.with_document(id, |document| document.shop().cloned())??)
}

pub(super) fn names(shop: &Shop) -> BTreeMap<String, String> {
    shop.people.iter().map(|(id, person)| (id.clone(), person.name.clone())).collect()
}
