//! The commands of the Today screen: what to do, what waits, who holds the device, merging.

use std::collections::BTreeMap;

use guyline_core::record::{DocumentId, DocumentKind, Shop};

use super::listing::{Listing, list};
use super::pages::{PeerLine, Position, Standing, Today};
use super::refusal::{Code, Refusal};
use super::requests::{HoldDevice, Nothing};
use crate::Node;
use crate::sync::ExchangeReport;

pub(super) fn today(node: &Node, _: Nothing) -> Result<Today, Refusal> {
    let Listing { shop, sessions } = list(node)?;
    let people = shop.as_ref().map(names).unwrap_or_default();
    let standing = standing(node, &people)?;
    let peers = node.peers()?.into_iter().map(|peer| PeerLine {
        name: peer.name,
        address: peer.address,
        last_at: peer.last_exchange_at.to_string(),
        last_failure: peer.last_failure,
        not_there: peer.not_there,
    });
    let peers = peers.collect();
    Ok(Today { shop: shop.map(|shop| shop.name), standing, people, sessions, peers })
}

pub(super) fn position(node: &Node, _: Nothing) -> Result<Position, Refusal> {
    Ok(Position { position: node.position()? })
}

pub(super) fn hold_device(node: &Node, asked: HoldDevice) -> Result<Today, Refusal> {
    let known = shop(node)?.is_some_and(|shop| shop.people.contains_key(&asked.person));
    if !known {
        let what = format!("the shop has nobody under {:?}", asked.person);
        let help = "choose one of the shop's people; merge with the hub if its papers are missing";
        return Err(Refusal::new(Code::NotHere, what, help).at("person"));
    }
    node.set_person(&asked.person)?;
    today(node, Nothing {})
}

pub(super) async fn exchange(node: &Node, address: &str) -> Result<ExchangeReport, Refusal> {
    Ok(node.exchange_with(address).await?)
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

/// The shop whose papers are here. What cannot be read is passed over, if a shop can.
pub(super) fn shop(node: &Node) -> Result<Option<Shop>, Refusal> {
    let mut damaged = None;
    for id in node.documents()? {
        match node.kind_of(id) {
            Ok(DocumentKind::Shop) => return shop_of(node, id).map(Some),
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
