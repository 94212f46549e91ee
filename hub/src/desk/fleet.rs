//! The command of the fleet's history: every check of every repeater in use, over all its visits,
//! ranked within its class.
//!
//! Everything is read and judged anew from the record as it is here.

use std::collections::BTreeMap;

use guyline_core::checks::{Appraisal, FleetRepeater, Sheet, fleet, histories};
use guyline_core::record::{DocumentKind, Repeater};

use super::asker::Asker;
use super::judged::Judged;
use super::pages::{FleetPage, UnreadVisit};
use super::refusal::Refusal;
use super::requests::Nothing;
use super::session::papers;
use super::today::of_kind;
use crate::Node;

pub(super) fn show(asker: &Asker, _: Nothing) -> Result<FleetPage, Refusal> {
    page_for(asker)
}

/// A repeater with its site's name and its visits.
struct Visited {
    site_name: String,
    repeater: Repeater,
    visits: Vec<(String, Appraisal)>,
}

/// The fleet as the record here has it, in English.
pub fn fleet_page(node: &Node) -> Result<FleetPage, Refusal> {
    page_for(&Asker::in_english(node))
}

fn page_for(node: &Asker) -> Result<FleetPage, Refusal> {
    let mut by_repeater: BTreeMap<(String, String), Visited> = BTreeMap::new();
    let mut unread = Vec::new();
    for id in of_kind(node, DocumentKind::Session)? {
        let id = id?;
        let session = id.to_string();
        let judged = papers(node, id)
            .and_then(|sheet| Ok((Judged::in_language(&sheet, node.language)?, sheet)));
        match judged {
            Ok((judged, sheet)) => add(&mut by_repeater, session, judged.appraisal, sheet),
            Err(refusal) => unread.push(UnreadVisit { session, why: refusal.what }),
        }
    }
    let of_one = |((site, _), it): ((String, String), Visited)| {
        let Visited { site_name, repeater, visits } = it;
        let judged: Vec<(&str, &Appraisal)> =
            visits.iter().map(|(session, it)| (session.as_str(), it)).collect();
        FleetRepeater {
            site,
            site_name,
            histories: histories(&judged),
            receive_hz: repeater.receive_hz,
            transmit_hz: repeater.transmit_hz,
            repeater: repeater.name,
        }
    };
    let repeaters: Vec<FleetRepeater> = by_repeater.into_iter().map(of_one).collect();
    Ok(FleetPage { classes: fleet(&repeaters), unread })
}

/// Counts a visit to its repeater, where that is in use.
fn add(
    all: &mut BTreeMap<(String, String), Visited>,
    session: String,
    appraisal: Appraisal,
    sheet: Sheet,
) {
    let Sheet { mut site, session: visit, .. } = sheet;
    let Some(repeater) = site.repeaters.remove(&visit.repeater) else { return };
    if repeater.retired.is_some() {
        return;
    }
    let key = (visit.site.to_string(), visit.repeater);
    let new = || Visited { site_name: site.name, repeater, visits: Vec::new() };
    all.entry(key).or_insert_with(new).visits.push((session, appraisal));
}
