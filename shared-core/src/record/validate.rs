//! What a document's values must be, whether they come from a form, a file or another device.
//!
//! In: typed views. Out: every problem with the place it stands at, in words. Shapes and types are
//! the reader's affair; here it is about numbers nobody can mean and names that lead nowhere.

use std::collections::BTreeMap;
use std::fmt;

use chrono::NaiveDate;

use super::attachment::{SubjectKind, entry_problem};
use super::edit::RETRACTABLE;
use super::ids::is_entry_id;
pub use super::papers_sound::{shop, site};
use super::session::{Chain, Retraction, Session, SignOff, Stamp};
use super::shop::Shop;
use super::site::Site;
use crate::units::Entry;

/// The longest name, in characters.
pub const NAME_MAX: usize = 120;
/// The longest text, in characters.
pub const TEXT_MAX: usize = 4000;
/// The longest profile of an instrument, in bytes.
pub const PROFILE_MAX: usize = 16 * 1024;
/// The most points kept of each path of a swept duplexer: what lies about the two frequencies, not
/// the file.
pub const SWEEP_POINTS_MAX: usize = 64;

/// Something that cannot be so, and where it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// The path from the document's content, as in `parts.cable-a.loss[0].loss_db`.
    pub at: String,
    /// What is wrong, and what would be right.
    pub what: String,
    /// Whether it takes two fields to see it: sound edits made apart can lead to it, so it refuses
    /// an edit and a judgement, but never a change from elsewhere.
    pub across: bool,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.at, self.what)
    }
}

/// The longest statement of a sign-off, in bytes: a full visit's takes a tenth of it.
pub const STATEMENT_MAX: usize = 256 * 1024;

/// What is wrong with a sign-off by itself, and at which field. Whether the signature is true is
/// not asked here: a false one must stay in view.
pub(crate) fn sign_off_problem(
    statement: &str,
    key: &str,
    signature: &str,
) -> Option<(&'static str, String)> {
    if statement.is_empty() || statement.len() > STATEMENT_MAX {
        let problem = format!("has {} bytes, of 1 to {STATEMENT_MAX}", statement.len());
        return Some(("statement", problem));
    }
    let digits = |text: &str, bytes: usize| {
        text.len() == 2 * bytes
            && text.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b))
    };
    if !digits(key, 32) {
        return Some(("key", "is not 64 hexadecimal digits".to_owned()));
    }
    if !digits(signature, 64) {
        return Some(("signature", "is not 128 hexadecimal digits".to_owned()));
    }
    None
}

/// What is wrong with a text, if anything.
pub(crate) fn text_problem(text: &str, longest: usize) -> Option<String> {
    if text.trim().is_empty() {
        return Some("is empty".to_owned());
    }
    if text.chars().count() > longest {
        return Some(format!("is longer than {longest} characters"));
    }
    let control = text.chars().find(|c| c.is_control() && *c != '\n');
    control.map(|c| format!("holds the control character {:?}", c))
}

/// Collects problems under a path that grows and shrinks with the walk.
pub(super) struct Walk {
    path: Vec<String>,
    problems: Vec<Problem>,
}

impl Walk {
    pub(super) fn over(walk: impl FnOnce(&mut Self)) -> Vec<Problem> {
        let mut this = Self { path: Vec::new(), problems: Vec::new() };
        walk(&mut this);
        this.problems
    }

    pub(super) fn within(&mut self, step: &str, walk: impl FnOnce(&mut Self)) {
        self.path.push(step.chars().take(NAME_MAX).collect());
        walk(self);
        self.path.pop();
    }

    pub(super) fn entry(&mut self, map: &'static str, id: &str, walk: impl FnOnce(&mut Self)) {
        self.within(map, |w| {
            w.within(id, |w| {
                if !is_entry_id(id) {
                    w.problem("is no id: 1 to 64 letters, digits and hyphens are".to_owned());
                }
                walk(w);
            });
        });
    }

    pub(super) fn problem(&mut self, what: String) {
        self.problems.push(Problem { at: self.path.join("."), what, across: false });
    }

    pub(super) fn across(&mut self, what: String) {
        self.problems.push(Problem { at: self.path.join("."), what, across: true });
    }

    pub(super) fn maybe<T>(&mut self, given: Option<&T>, walk: impl FnOnce(&mut Self, &T)) {
        if let Some(given) = given {
            walk(self, given);
        }
    }

    pub(super) fn refers<T>(
        &mut self,
        field: &'static str,
        what: &str,
        id: &str,
        to: &BTreeMap<String, T>,
    ) {
        if !to.contains_key(id) {
            self.within(field, |w| w.across(no_such(what, id)));
        }
    }

    pub(super) fn text(&mut self, field: &'static str, text: &str, longest: usize) {
        if let Some(what) = text_problem(text, longest) {
            self.within(field, |w| w.problem(what));
        }
    }

    pub(super) fn refused<T, E: fmt::Display>(&mut self, field: &'static str, made: Result<T, E>) {
        if let Err(error) = made {
            self.within(field, |w| w.problem(error.to_string()));
        }
    }

    pub(super) fn optional_text(
        &mut self,
        field: &'static str,
        text: Option<&String>,
        longest: usize,
    ) {
        self.maybe(text, |w, text| w.text(field, text, longest));
    }

    pub(super) fn optional_date(&mut self, field: &'static str, date: Option<&String>) {
        self.maybe(date, |w, date| w.date(field, date));
    }

    pub(super) fn between(&mut self, field: &'static str, value: f64, low: f64, high: f64) {
        // `contains` is false for NaN.
        if !(low..=high).contains(&value) {
            self.within(field, |w| w.problem(format!("{value} is outside {low} to {high}")));
        }
    }

    pub(super) fn date(&mut self, field: &'static str, text: &str) {
        if text.parse::<NaiveDate>().is_err() {
            let shown: String = text.chars().take(40).collect();
            self.within(field, |w| w.problem(format!("{shown:?} is no date as in 2027-03-31")));
        }
    }

    pub(super) fn stamp(&mut self, stamp: &Stamp) {
        self.within("stamp", |w| {
            w.text("by", &stamp.by, NAME_MAX);
            w.text("device", &stamp.device, NAME_MAX);
        });
    }
}

/// Everything wrong with a session by itself, without its shop and site.
pub fn session(session: &Session) -> Vec<Problem> {
    Walk::over(|w| {
        w.text("repeater", &session.repeater, NAME_MAX);
        w.text("work_order", &session.work_order, NAME_MAX);
        for (id, found) in &session.chains {
            w.entry("chains", id, |w| chain(w, found));
        }
        for (id, reading) in &session.readings {
            w.entry("readings", id, |w| {
                w.text("check", &reading.check, NAME_MAX);
                w.refused("typed", Entry::parse(&reading.typed, reading.unit));
                w.optional_text("answered_by", reading.answered_by.as_ref(), TEXT_MAX);
                w.stamp(&reading.stamp);
                if !session.chains.contains_key(&reading.chain) {
                    w.within("chain", |w| w.problem(no_such("chain", &reading.chain)));
                }
            });
        }
        for (id, withdrawal) in &session.withdrawals {
            w.entry("withdrawals", id, |w| {
                w.text("reason", &withdrawal.reason, TEXT_MAX);
                w.stamp(&withdrawal.stamp);
                if !session.readings.contains_key(&withdrawal.reading) {
                    w.within("reading", |w| w.problem(no_such("reading", &withdrawal.reading)));
                }
            });
        }
        let remarks = [
            ("notes", &session.notes),
            ("adjustments", &session.adjustments),
            ("restorations", &session.restorations),
        ];
        for (map, remarks) in remarks {
            for (id, remark) in remarks {
                w.entry(map, id, |w| {
                    w.text("text", &remark.text, TEXT_MAX);
                    w.stamp(&remark.stamp);
                });
            }
        }
        later_entries(w, session);
    })
}

/// What schema 2 brought.
fn later_entries(w: &mut Walk, session: &Session) {
    for (id, stamp) in &session.departures {
        w.entry("departures", id, |w| w.stamp(stamp));
    }
    for (id, retraction) in &session.retractions {
        w.entry("retractions", id, |w| {
            w.stamp(&retraction.stamp);
            let Retraction { list, entry, .. } = retraction;
            if !RETRACTABLE.contains(&list.as_str()) {
                w.within("list", |w| w.problem(no_such("list", list)));
            } else if !session.holds(list, entry) {
                w.within("entry", |w| w.problem(no_such("entry", entry)));
            }
        });
    }
    for (id, sign_off) in &session.sign_offs {
        w.entry("sign_offs", id, |w| {
            w.stamp(&sign_off.stamp);
            let SignOff { statement, key, signature, .. } = sign_off;
            if let Some((field, what)) = sign_off_problem(statement, key, signature) {
                w.within(field, |w| w.problem(what));
            }
        });
    }
    for (id, amendment) in &session.amendments {
        w.entry("amendments", id, |w| {
            w.text("reason", &amendment.reason, TEXT_MAX);
            w.stamp(&amendment.stamp);
            for of in amendment.of.iter().filter(|of| !session.sign_offs.contains_key(*of)) {
                w.within("of", |w| w.problem(no_such("sign-off", of)));
            }
        });
    }
    attachments(w, session);
}

/// What schema 3 brought.
fn attachments(w: &mut Walk, session: &Session) {
    for (id, attachment) in &session.attachments {
        w.entry("attachments", id, |w| {
            w.stamp(&attachment.stamp);
            if let Some((field, what)) = entry_problem(attachment) {
                w.within(field, |w| w.problem(what));
            }
            let of = attachment.of.as_ref().filter(|of| of.kind == SubjectKind::Reading);
            if let Some(of) = of.filter(|of| !session.readings.contains_key(&of.id)) {
                w.within("of", |w| w.problem(no_such("reading", &of.id)));
            }
        });
    }
    for (id, caption) in &session.captions {
        w.entry("captions", id, |w| {
            w.stamp(&caption.stamp);
            w.text("text", &caption.text, TEXT_MAX);
            if !session.attachments.contains_key(&caption.attachment) {
                let what = no_such("attachment", &caption.attachment);
                w.within("attachment", |w| w.problem(what));
            }
            let missing = caption.replaces.iter().filter(|of| !session.captions.contains_key(*of));
            for of in missing {
                w.within("replaces", |w| w.problem(no_such("caption", of)));
            }
        });
    }
}

fn chain(w: &mut Walk, chain: &Chain) {
    w.text("name", &chain.name, NAME_MAX);
    w.text("instrument", &chain.instrument, NAME_MAX);
    w.text("port", &chain.port, NAME_MAX);
    w.stamp(&chain.stamp);
}

/// Everything in a session that leads nowhere in its shop and site: these three belong together
/// only when it is empty.
pub fn references(shop: &Shop, site: &Site, session: &Session) -> Vec<Problem> {
    Walk::over(|w| {
        if !site.repeaters.contains_key(&session.repeater) {
            w.within("repeater", |w| w.problem(no_such("repeater", &session.repeater)));
        }
        for (id, chain) in &session.chains {
            w.entry("chains", id, |w| {
                match shop.instruments.get(&chain.instrument) {
                    None => w.within("instrument", |w| {
                        w.problem(no_such("instrument", &chain.instrument));
                    }),
                    Some(found) if !found.ports.contains_key(&chain.port) => {
                        w.within("port", |w| w.problem(no_such("port", &chain.port)));
                    }
                    Some(_) => {}
                }
                for (field, parts) in [("between", &chain.between), ("line", &chain.line)] {
                    for part in parts.iter().filter(|part| !shop.parts.contains_key(*part)) {
                        w.within(field, |w| w.problem(no_such("part", part)));
                    }
                }
            });
        }
    })
}

fn no_such(what: &str, id: &str) -> String {
    let shown: String = id.chars().take(NAME_MAX).collect();
    format!("there is no {what} {shown:?}")
}

#[cfg(test)]
#[path = "validate_tests.rs"]
mod tests;
