//! The commands that begin something: a shop, a site, a visit, or the invented shop to try things
//! in.
//!
//! Each makes a document by one change, on disk when it returns. A device has one shop: a second is
//! refused, since nobody could say which one judges.

use automerge::Change;
use guyline_core::record::{
    Author, Document, DocumentId, DocumentKind, Malformed, Shop, Site, validate,
};
use guyline_core::uncertainty::decision::DecisionRule;
use serde_json::json;

use super::edit::author;
use super::pages::{Started, Today};
use super::refusal::{Code, Refusal};
use super::requests::{Nothing, PlanVisit, StartShop, StartSite};
use super::session::not_here;
use super::today::{device_problem, find_shop, is_here, today};
use crate::Node;

const DEMO_SHOP: &str = include_str!("../../../demo-data/shop.json");
const DEMO_SITE: &str = include_str!("../../../demo-data/site.json");
/// Who of the invented people holds the device, and what there is to do.
const DEMO: (&str, &str, &str) =
    ("ines", "lookout-vhf", "WO 1187: yearly check before fire season");

pub(super) fn start_shop(node: &Node, asked: StartShop) -> Result<Today, Refusal> {
    no_shop_yet(node)?;
    let person = node.fresh_id();
    let shop = json!({
        "name": asked.name.trim(),
        "decision_rule": DecisionRule::GuardBanded,
        "people": { (person.clone()): { "name": asked.person.trim() } },
        "instruments": {},
        "parts": {},
    });
    let shop: Shop = serde_json::from_value(shop).expect("it has what a shop must have");
    let device = asked.device.trim().to_owned();
    if let Some(what) = device_problem(&device) {
        let help = "say what people call this device, as in: van 2's tablet";
        return Err(Refusal::new(Code::EditRefused, what, help).at("device"));
    }
    let author = Author { person: person.clone(), device: device.clone(), at: node.now() };
    let made = Document::create_shop(fresh(node)?, &shop, node.fresh_actor(), &author);
    keep(node, made)?;
    node.set_name(&device)?;
    node.set_person(&person)?;
    if !node.is_member() {
        node.found_shop()?;
    }
    today(node, Nothing {})
}

pub(super) fn start_demo(node: &Node, _: Nothing) -> Result<Today, Refusal> {
    no_shop_yet(node)?;
    let shop: Shop = serde_json::from_str(DEMO_SHOP).expect("the invented papers are tested");
    let site: Site = serde_json::from_str(DEMO_SITE).expect("the invented papers are tested");
    let (person, repeater, work_order) = DEMO;
    let author = Author { person: person.to_owned(), device: node.name()?, at: node.now() };
    let site_id = fresh(node)?;
    keep(node, Document::create_shop(fresh(node)?, &shop, node.fresh_actor(), &author))?;
    keep(node, Document::create_site(site_id, &site, node.fresh_actor(), &author))?;
    let id = fresh(node)?;
    let actor = node.fresh_actor();
    keep(node, Document::create_session(id, site_id, repeater, work_order, actor, &author))?;
    node.set_person(person)?;
    today(node, Nothing {})
}

pub(super) fn start_site(node: &Node, asked: StartSite) -> Result<Started, Refusal> {
    let author = author(node)?;
    let site = json!({
        "name": asked.name.trim(),
        "access": asked.access.trim(),
        "hazards": [],
        "repeaters": {},
    });
    let site: Site = serde_json::from_value(site).expect("it has what a site must have");
    let id = fresh(node)?;
    keep(node, Document::create_site(id, &site, node.fresh_actor(), &author))?;
    Ok(Started { document: id.to_string() })
}

pub(super) fn plan_visit(node: &Node, asked: PlanVisit) -> Result<Started, Refusal> {
    let author = author(node)?;
    let site: DocumentId = asked.site.parse().map_err(|error: guyline_core::record::NotAnId| {
        Refusal::new(Code::NotHere, error.to_string(), "choose one of the sites").at("site")
    })?;
    if !is_here(node, site, DocumentKind::Site)? {
        return Err(not_here("site", &asked.site));
    }
    let known = node.with_document(site, |document| {
        document.site().map(|site| site.repeaters.contains_key(&asked.repeater))
    })??;
    if !known {
        return Err(not_here("repeater", &asked.repeater).at("repeater"));
    }
    let work_order = asked.work_order.trim();
    if work_order.is_empty() || work_order.chars().count() > validate::NAME_MAX {
        let what = format!("the work order has 1 to {} characters", validate::NAME_MAX);
        let help = "say which order this visit belongs to, or what it is for";
        return Err(Refusal::new(Code::EditRefused, what, help).at("work_order"));
    }
    let (id, actor) = (fresh(node)?, node.fresh_actor());
    let made = Document::create_session(id, site, &asked.repeater, work_order, actor, &author);
    keep(node, made)?;
    Ok(Started { document: id.to_string() })
}

fn no_shop_yet(node: &Node) -> Result<(), Refusal> {
    match find_shop(node)? {
        None => Ok(()),
        Some(_) => {
            let help = "go on with it; another shop goes on another device or in another folder";
            Err(Refusal::new(Code::EditRefused, "this device has a shop already", help))
        }
    }
}

fn keep(node: &Node, made: Result<(Document, Change), Malformed>) -> Result<(), Refusal> {
    let (document, change) = made.map_err(|malformed| {
        let help = "correct the field and try again";
        Refusal::new(Code::EditRefused, malformed.to_string(), help)
    })?;
    Ok(node.create(document, change)?)
}

fn fresh(node: &Node) -> Result<DocumentId, Refusal> {
    Ok(node.fresh_id().parse().expect("a fresh id is a document's id"))
}
