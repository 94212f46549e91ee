//! The commands of a hub's browsers: who was granted one, granting, revoking. Only at the device
//! itself: no browser lets another in.

use super::pages::BrowsersPage;
use super::refusal::{Code, Refusal};
use super::requests::{GrantBrowser, Nothing, RevokeBrowser};
use super::today;
use crate::Node;
use crate::render::qr::QrCode;

/// A browser is let in for so long where nobody says otherwise.
const DAYS: u32 = 30;

pub(super) fn show(node: &Node, _: Nothing) -> Result<BrowsersPage, Refusal> {
    let served = node.served_at();
    let (addresses, fingerprint) = served.map(|at| (at.addresses, at.fingerprint)).unzip();
    Ok(BrowsersPage {
        addresses: addresses.unwrap_or_default(),
        fingerprint,
        grants: node.browser_grants(),
        code: None,
        link: None,
        link_qr: None,
    })
}

pub(super) fn grant(node: &Node, asked: GrantBrowser) -> Result<BrowsersPage, Refusal> {
    let person = match asked.person {
        Some(person) => person,
        None => node.person()?.ok_or_else(|| {
            let help = "name one of the shop's people";
            Refusal::new(Code::NobodyHolds, "nobody is named, and nobody holds this device", help)
        })?,
    };
    today::demand_here(node, &person)?;
    let days = asked.days.unwrap_or(DAYS);
    let code = node.grant_browser(&asked.name, &person, asked.role, days)?;
    let page = show(node, Nothing {})?;
    let link = page.addresses.first().map(|address| format!("{address}/#/sign-in/{code}"));
    let link_qr = link.as_deref().and_then(QrCode::of);
    Ok(BrowsersPage { code: Some(code), link, link_qr, ..page })
}

pub(super) fn revoke(node: &Node, asked: RevokeBrowser) -> Result<BrowsersPage, Refusal> {
    node.revoke_browser(&asked.id)?;
    show(node, Nothing {})
}
