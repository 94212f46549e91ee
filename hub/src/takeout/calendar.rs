//! What falls due, for a calendar: iCalendar (RFC 5545), an all-day event each.
//!
//! In: the shop, its sites and its visits. Out: the next visit of every repeater in use, and the
//! last day of every calibration that is kept. An event keeps its UID for good, so that a calendar
//! that takes the file in again moves it. Nothing of the clock is in it: the stamp of an event is
//! that of the newest entry it rests on, and 1970 where nobody signed one.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};
use guyline_core::record::{DocumentId, Session, Shop, Site};
use guyline_core::report::VISIT_EVERY_DAYS;
use guyline_core::time::Timestamp;

/// The most bytes of a line (RFC 5545, section 3.1), without its end.
const LINE_MAX: usize = 75;

/// Something that is due on a day.
struct Due {
    uid: String,
    stamp: Option<Timestamp>,
    day: NaiveDate,
    summary: String,
    description: String,
    category: &'static str,
}

/// The calendar and how many events it has.
pub(crate) fn write(
    shop: &Shop,
    sites: &[(DocumentId, Site)],
    sessions: &[Session],
) -> (Vec<u8>, usize) {
    let mut all: Vec<Due> = visits(sites, sessions).chain(calibrations(shop)).collect();
    all.sort_by(|a, b| (a.day, &a.uid).cmp(&(b.day, &b.uid)));
    let mut out = String::new();
    for line in ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Guyline//Due dates//EN"] {
        content_line(&mut out, line);
    }
    content_line(&mut out, "CALSCALE:GREGORIAN");
    all.iter().for_each(|due| event(&mut out, due));
    content_line(&mut out, "END:VCALENDAR");
    (out.into_bytes(), all.len())
}

/// A year after the last reading of each repeater. One that was never read has no day to count
/// from.
fn visits<'a>(
    sites: &'a [(DocumentId, Site)],
    sessions: &[Session],
) -> impl Iterator<Item = Due> + 'a {
    let mut last: BTreeMap<(DocumentId, String), Timestamp> = BTreeMap::new();
    for session in sessions {
        for reading in session.readings.values() {
            let newest = last.entry((session.site, session.repeater.clone()));
            let newest = newest.or_insert(reading.stamp.at);
            *newest = reading.stamp.at.max(*newest);
        }
    }
    let of_site = |(id, site): &'a (DocumentId, Site)| {
        let in_use = site.repeaters.iter().filter(|(_, repeater)| repeater.retired.is_none());
        in_use.map(move |(key, repeater)| (*id, site, key, repeater))
    };
    sites.iter().flat_map(of_site).filter_map(move |(id, site, key, repeater)| {
        let read = *last.get(&(id, key.clone()))?;
        let every = u64::try_from(VISIT_EVERY_DAYS).expect("a number of days is not negative");
        Some(Due {
            uid: format!("visit-{id}-{key}@guyline"),
            stamp: Some(read),
            day: read.day().checked_add_days(Days::new(every))?,
            summary: format!("Visit {}: {}", site.name, repeater.name),
            description: format!("Last read on {}, due after {every} days.", read.day()),
            category: "VISIT",
        })
    })
}

fn calibrations(shop: &Shop) -> impl Iterator<Item = Due> + '_ {
    let instruments = shop.instruments.iter().filter(|(_, found)| found.retired.is_none());
    let instruments = instruments.map(|(id, found)| {
        ("instruments", id, &found.name, found.serial_number.as_ref(), Some(&found.calibration_due))
    });
    let parts = shop.parts.iter().filter(|(_, found)| found.retired.is_none());
    let parts = parts.map(|(id, found)| {
        let due = found.calibration_due.as_ref();
        ("parts", id, &found.name, found.serial_number.as_ref(), due)
    });
    instruments.chain(parts).filter_map(|(list, id, name, serial, due)| {
        let entry = format!("{list}.{id}");
        let serial = serial.map(|serial| format!(" Serial number {serial}."));
        Some(Due {
            uid: format!("calibration-{list}-{id}@guyline"),
            stamp: shop.written.get(&entry).map(|stamp| stamp.at),
            day: due?.parse().ok()?,
            summary: format!("Calibration of {name} ends"),
            description: format!("The last day it holds.{}", serial.unwrap_or_default()),
            category: "CALIBRATION",
        })
    })
}

fn event(out: &mut String, due: &Due) {
    let stamp = due.stamp.map_or(0, Timestamp::unix_ms);
    let stamp = chrono::DateTime::from_timestamp_millis(stamp).expect("a stamp is a time");
    content_line(out, "BEGIN:VEVENT");
    content_line(out, &format!("UID:{}", text(&due.uid)));
    content_line(out, &format!("DTSTAMP:{}", stamp.format("%Y%m%dT%H%M%SZ")));
    content_line(out, &format!("DTSTART;VALUE=DATE:{}", due.day.format("%Y%m%d")));
    content_line(out, &format!("SUMMARY:{}", text(&due.summary)));
    content_line(out, &format!("DESCRIPTION:{}", text(&due.description)));
    content_line(out, &format!("CATEGORIES:{}", due.category));
    content_line(out, "TRANSP:TRANSPARENT");
    content_line(out, "END:VEVENT");
}

/// A text value (RFC 5545, section 3.3.11). A control character has no place in one.
fn text(words: &str) -> String {
    let mut out = String::new();
    for c in words.replace("\r\n", "\n").chars() {
        match c {
            '\\' | ';' | ',' => out.extend(['\\', c]),
            '\n' => out.push_str("\\n"),
            '\t' => out.push(c),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// A line, folded between characters where it is too long, with its end.
fn content_line(out: &mut String, line: &str) {
    let mut width = 0;
    for c in line.chars() {
        if width + c.len_utf8() > LINE_MAX {
            out.push_str("\r\n ");
            width = 1;
        }
        out.push(c);
        width += c.len_utf8();
    }
    out.push_str("\r\n");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_escaped_and_a_line_folded_between_characters() {
        // RFC 5545, section 3.3.11: backslash, semicolon, comma and line ends are escaped.
        assert_eq!(text("a;b, c\\d\r\ne\u{7}f"), "a\\;b\\, c\\\\d\\ne f");
        let mut out = String::new();
        let long = format!("SUMMARY:{}", "é".repeat(60));
        content_line(&mut out, &long);
        assert!(out.lines().all(|line| line.len() <= LINE_MAX), "{out}");
        assert_eq!(out.replace("\r\n ", "").trim_end(), long);
    }
}
