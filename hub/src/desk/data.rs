//! What the read-only HTTP answers say: the record as it is here, judged anew.
//!
//! Nothing here asks a clock, so that the same record gives the same answer and [`mark`] tells
//! whether it has changed.

use chrono::NaiveDate;
use guyline_core::record::{DocumentId, DocumentKind, Repeater, Shop};

use super::listing::{line, list};
use super::pages::SessionLine;
use super::papers::shop_here;
use super::refusal::Refusal;
use super::session::not_here;
use super::takeout::{readings_of, sites};
use super::today::{is_here, names, of_kind};
use crate::Node;
use crate::takeout::ReadingRow;
use crate::takeout::answers::{
    CalibratedKind, CalibrationData, CalibrationsAnswer, ReadingsAnswer, RepeaterData, SiteData,
    SitesAnswer, VisitAnswer, VisitData, VisitsAnswer,
};

/// Which core judged: what another build says is another answer.
const JUDGE: &str = env!("GUYLINE_JUDGE");

/// Which readings are asked for.
#[derive(Clone, Debug)]
pub(crate) struct ReadingsAsked {
    /// Of this site only.
    pub(crate) site: Option<DocumentId>,
    /// Read on this day or later, in UTC by the device's clock.
    pub(crate) from: Option<NaiveDate>,
    /// Read on this day or earlier.
    pub(crate) to: Option<NaiveDate>,
    /// Behind this reading of this visit.
    pub(crate) after: Option<(DocumentId, String)>,
    /// So many at most.
    pub(crate) limit: usize,
}

/// A text that changes whenever an answer may: what judged, and every document's newest changes.
pub(crate) fn mark(node: &Node) -> Result<String, Refusal> {
    let mut text = JUDGE.to_owned();
    for (id, heads) in node.heads()? {
        let heads: Vec<String> = heads.iter().map(ToString::to_string).collect();
        text.push_str(&format!(" {id}={}", heads.join("+")));
    }
    Ok(text)
}

pub(crate) fn all_sites(node: &Node) -> Result<SitesAnswer, Refusal> {
    let channel = |(id, repeater): (String, Repeater)| RepeaterData {
        id,
        name: repeater.name,
        receive_hz: repeater.receive_hz,
        transmit_hz: repeater.transmit_hz,
        channel_width_hz: repeater.channel_width_hz,
        call_sign: repeater.call_sign,
        retired: repeater.retired,
    };
    let site = |(id, site): (DocumentId, guyline_core::record::Site)| SiteData {
        id: id.to_string(),
        name: site.name,
        repeaters: site.repeaters.into_iter().map(channel).collect(),
    };
    Ok(SitesAnswer { sites: sites(node)?.into_iter().map(site).collect() })
}

pub(crate) fn all_visits(node: &Node) -> Result<VisitsAnswer, Refusal> {
    let mut visits: Vec<VisitData> = list(node)?.sessions.into_iter().map(visit).collect();
    visits.sort_by(|a, b| a.id.cmp(&b.id));
    Ok(VisitsAnswer { visits })
}

pub(crate) fn one_visit(node: &Node, id: DocumentId) -> Result<VisitAnswer, Refusal> {
    if !is_here(node, id, DocumentKind::Session)? {
        return Err(not_here("visit", &id.to_string()));
    }
    let people = super::today::shop(node)?.as_ref().map(names).unwrap_or_default();
    Ok(VisitAnswer { visit: visit(line(node, id, &people)), readings: readings_of(node, id)? })
}

fn visit(line: SessionLine) -> VisitData {
    let count = |count: usize| u64::try_from(count).unwrap_or(u64::MAX);
    VisitData {
        id: line.id,
        site_name: line.site,
        repeater_name: line.repeater,
        work_order: line.work_order,
        opened_at: line.opened_at,
        crew: line.crew,
        checks_read: count(line.checks_read),
        checks: count(line.checks),
        worst: line.worst,
        findings: count(line.findings),
        signed_off: line.signed_off,
        unreadable: line.unreadable,
    }
}

/// A page of readings. Visits before the page are not judged.
pub(crate) fn readings(node: &Node, asked: &ReadingsAsked) -> Result<ReadingsAnswer, Refusal> {
    let mut page = ReadingsAnswer { readings: Vec::new(), next: None, unread: Vec::new() };
    for id in of_kind(node, DocumentKind::Session)? {
        let id = id?;
        let before = asked.after.as_ref().is_some_and(|(last, _)| id < *last);
        if before || !of_site(node, id, asked.site)? {
            continue;
        }
        let rows = match readings_of(node, id) {
            Ok(rows) => rows,
            Err(_) => {
                page.unread.push(id.to_string());
                continue;
            }
        };
        for row in rows.into_iter().filter(|row| is_asked(row, id, asked)) {
            if page.readings.len() == asked.limit {
                page.next = page.readings.last().map(|last| cursor(&last.session, &last.reading));
                return Ok(page);
            }
            page.readings.push(row);
        }
    }
    Ok(page)
}

/// What `after` says of a reading.
fn cursor(session: &str, reading: &str) -> String {
    format!("{session}.{reading}")
}

fn of_site(node: &Node, id: DocumentId, site: Option<DocumentId>) -> Result<bool, Refusal> {
    let Some(site) = site else { return Ok(true) };
    Ok(node.with_document(id, |document| document.session().is_ok_and(|s| s.site == site))?)
}

fn is_asked(row: &ReadingRow, id: DocumentId, asked: &ReadingsAsked) -> bool {
    let behind = match &asked.after {
        Some((last, reading)) if *last == id => row.reading > *reading,
        _ => true,
    };
    let day = row.at.get(..10).unwrap_or_default();
    // Days written alike compare as they follow each other.
    let from = asked.from.is_none_or(|from| *day >= *from.to_string());
    let to = asked.to.is_none_or(|to| *day <= *to.to_string());
    behind && from && to
}

/// When calibrations end, up to a day.
pub(crate) fn calibrations(
    node: &Node,
    until: Option<NaiveDate>,
) -> Result<CalibrationsAnswer, Refusal> {
    let (_, shop) = shop_here(node)?;
    let mut calibrations = every_calibration(&shop);
    if let Some(until) = until {
        calibrations.retain(|line| *line.due <= *until.to_string());
    }
    calibrations.sort_by(|a, b| (&a.due, &a.id).cmp(&(&b.due, &b.id)));
    Ok(CalibrationsAnswer { calibrations })
}

fn every_calibration(shop: &Shop) -> Vec<CalibrationData> {
    let instruments = shop.instruments.iter().filter(|(_, found)| found.retired.is_none());
    let instruments = instruments.map(|(id, found)| CalibrationData {
        of: CalibratedKind::Instrument,
        id: id.clone(),
        name: found.name.clone(),
        serial_number: found.serial_number.clone(),
        due: found.calibration_due.clone(),
    });
    let parts = shop.parts.iter().filter(|(_, found)| found.retired.is_none());
    let parts = parts.filter_map(|(id, found)| {
        Some(CalibrationData {
            of: CalibratedKind::Part,
            id: id.clone(),
            name: found.name.clone(),
            serial_number: found.serial_number.clone(),
            due: found.calibration_due.clone()?,
        })
    });
    instruments.chain(parts).collect()
}
