//! What a document's values must be, whether they come from a form, a file or another device.
//!
//! In: typed views. Out: every problem with the place it stands at, in words. Shapes and types are
//! the reader's affair; here it is about numbers nobody can mean and names that lead nowhere.

use std::fmt;

use chrono::NaiveDate;

use super::edit::RETRACTABLE;
use super::ids::is_entry_id;
use super::session::{Chain, Retraction, Session, SignOff, Stamp};
use super::shop::{
    AccuracyOf, AccuracyRange, CableRun, Instrument, LossPoint, Part, PartKind, Shop,
};
use super::site::{DuplexerSweep, LicenceTerms, Repeater, Site};
use crate::limits::LimitTable;
use crate::rf::feedline;
use crate::units::{Db, Dbm, Entry, Hertz, Watts};

/// The longest name, in characters.
pub const NAME_MAX: usize = 120;
/// The longest text, in characters.
pub const TEXT_MAX: usize = 4000;
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
struct Walk {
    path: Vec<String>,
    problems: Vec<Problem>,
}

impl Walk {
    fn over(walk: impl FnOnce(&mut Self)) -> Vec<Problem> {
        let mut this = Self { path: Vec::new(), problems: Vec::new() };
        walk(&mut this);
        this.problems
    }

    fn within(&mut self, step: &str, walk: impl FnOnce(&mut Self)) {
        self.path.push(step.chars().take(NAME_MAX).collect());
        walk(self);
        self.path.pop();
    }

    fn entry(&mut self, map: &'static str, id: &str, walk: impl FnOnce(&mut Self)) {
        self.within(map, |w| {
            w.within(id, |w| {
                if !is_entry_id(id) {
                    w.problem("is no id: 1 to 64 letters, digits and hyphens are".to_owned());
                }
                walk(w);
            });
        });
    }

    fn problem(&mut self, what: String) {
        self.problems.push(Problem { at: self.path.join("."), what });
    }

    fn text(&mut self, field: &'static str, text: &str, longest: usize) {
        if let Some(what) = text_problem(text, longest) {
            self.within(field, |w| w.problem(what));
        }
    }

    fn refused<T, E: fmt::Display>(&mut self, field: &'static str, made: Result<T, E>) {
        if let Err(error) = made {
            self.within(field, |w| w.problem(error.to_string()));
        }
    }

    fn between(&mut self, field: &'static str, value: f64, low: f64, high: f64) {
        // `contains` is false for NaN.
        if !(low..=high).contains(&value) {
            self.within(field, |w| w.problem(format!("{value} is outside {low} to {high}")));
        }
    }

    fn date(&mut self, field: &'static str, text: &str) {
        if text.parse::<NaiveDate>().is_err() {
            let shown: String = text.chars().take(40).collect();
            self.within(field, |w| w.problem(format!("{shown:?} is no date as in 2027-03-31")));
        }
    }

    fn stamp(&mut self, stamp: &Stamp) {
        self.within("stamp", |w| {
            w.text("by", &stamp.by, NAME_MAX);
            w.text("device", &stamp.device, NAME_MAX);
        });
    }
}

/// Everything wrong with a shop.
pub fn shop(shop: &Shop) -> Vec<Problem> {
    Walk::over(|w| {
        w.text("name", &shop.name, NAME_MAX);
        w.between("guard_factor", shop.guard_factor, 0.0, 5.0);
        w.between("calibration_widening", shop.calibration_widening, 1.0, 20.0);
        for (id, person) in &shop.people {
            w.entry("people", id, |w| w.text("name", &person.name, NAME_MAX));
        }
        for (id, found) in &shop.instruments {
            w.entry("instruments", id, |w| instrument(w, found));
        }
        for (id, found) in &shop.parts {
            w.entry("parts", id, |w| part(w, found));
        }
        for (region, rows) in &shop.limit_rows {
            w.entry("limit_rows", region, |w| match LimitTable::shipped(region) {
                Err(error) => w.problem(error.to_string()),
                Ok(table) => {
                    if let Err(error) = table.with_shop_rows(rows) {
                        w.problem(error.to_string());
                    }
                }
            });
        }
    })
}

fn instrument(w: &mut Walk, instrument: &Instrument) {
    w.text("name", &instrument.name, NAME_MAX);
    w.date("calibration_due", &instrument.calibration_due);
    let accuracy = &instrument.accuracy;
    w.within("accuracy", |w| {
        w.between("level_db", accuracy.level_db, 0.0, 20.0);
        w.between("power_percent", accuracy.power_percent, 0.0, 50.0);
        w.between("frequency_ppm", accuracy.frequency_ppm, 0.0, 1000.0);
        w.between("deviation_percent", accuracy.deviation_percent, 0.0, 50.0);
        for (index, range) in accuracy.ranges.iter().enumerate() {
            w.within(&format!("ranges[{index}]"), |w| accuracy_range(w, range));
        }
    });
    for (id, port) in &instrument.ports {
        w.entry("ports", id, |w| {
            w.text("name", &port.name, NAME_MAX);
            if let Some(power_w) = port.power_max_w {
                w.refused("power_max_w", Watts::new(power_w));
            }
            return_loss(w, "return_loss_db", port.return_loss_db);
        });
    }
}

fn accuracy_range(w: &mut Walk, range: &AccuracyRange) {
    let widest = match range.of {
        AccuracyOf::Level => 20.0,
        AccuracyOf::Power | AccuracyOf::Deviation => 50.0,
        AccuracyOf::Frequency => 1000.0,
    };
    w.between("half_width", range.half_width, 0.0, widest);
    for (field, end) in [("from", range.from), ("to", range.to)] {
        if let Some(end) = end {
            w.between(field, end, -1e9, 1e9);
        }
    }
    let turned = |low: Option<f64>, high: Option<f64>| low.zip(high).is_some_and(|(l, h)| l > h);
    if turned(range.from, range.to) {
        w.within("to", |w| w.problem("lies below from".to_owned()));
    }
    if turned(range.from_hz.map(|hz| hz as f64), range.to_hz.map(|hz| hz as f64)) {
        w.within("to_hz", |w| w.problem("lies below from_hz".to_owned()));
    }
}

fn cable_run(w: &mut Walk, run: &CableRun) {
    w.refused("listed", feedline::cable(&run.listed));
    w.between("length_m", run.length_m, 0.01, 2_000.0);
    // A length that may be nothing is no length.
    w.between("length_tolerance_m", run.length_tolerance_m, 0.0, run.length_m.max(0.0));
}

fn part(w: &mut Walk, part: &Part) {
    w.text("name", &part.name, NAME_MAX);
    w.between("tolerance_db", part.tolerance_db, 0.0, 20.0);
    w.refused("power_max_w", Watts::new(part.power_max_w));
    return_loss(w, "return_loss_db", part.return_loss_db);
    if let Some(short) = &part.short_time {
        w.within("short_time", |w| {
            // Less than for long would be no rating at all.
            w.between("power_w", short.power_w, part.power_max_w, 1e6);
            w.between("seconds", short.seconds, 0.1, 86_400.0);
        });
    }
    if let Some(due) = &part.calibration_due {
        w.date("calibration_due", due);
    }
    let listed = part.kind == PartKind::Cable && part.cable.is_some();
    loss_points(w, "loss", &part.loss, !part.kind.ends_a_line() && !listed);
    if let Some(run) = &part.cable {
        w.within("cable", |w| match part.kind {
            PartKind::Cable => cable_run(w, run),
            _ => w.problem("has no place here: only a cable is known by its length".to_owned()),
        });
    }
    match &part.isolator {
        Some(isolator) if part.kind == PartKind::Isolator => w.within("isolator", |w| {
            loss_points(w, "isolation", &isolator.isolation, true);
            w.refused("reverse_power_max_w", Watts::new(isolator.reverse_power_max_w));
        }),
        Some(_) => w.within("isolator", |w| {
            w.problem("has no place here: only an isolator has two directions".to_owned());
        }),
        None if part.kind == PartKind::Isolator => {
            w.within("isolator", |w| w.problem("is wanted: arrow and isolation".to_owned()));
        }
        None => {}
    }
    loss_points(w, "coupling", &part.coupling, part.kind == PartKind::Coupler);
}

fn return_loss(w: &mut Walk, field: &'static str, given: Option<f64>) {
    if let Some(db) = given {
        w.between(field, db, 0.0, 100.0);
    }
}

fn loss_points(w: &mut Walk, field: &'static str, points: &[LossPoint], wanted: bool) {
    w.within(field, |w| {
        if points.is_empty() == wanted {
            let what = if wanted { "at least one point is wanted" } else { "has no place here" };
            w.problem(what.to_owned());
        }
        if !points.is_sorted_by(|a, b| a.at_hz < b.at_hz) {
            w.problem("the points must rise in frequency".to_owned());
        }
        for (index, point) in points.iter().enumerate() {
            w.within(&index.to_string(), |w| {
                w.refused("at_hz", Hertz::carrier(point.at_hz as f64));
                // A passive part does not amplify.
                w.between("loss_db", point.loss_db, 0.0, *Db::RANGE.end());
            });
        }
    });
}

/// Everything wrong with a site.
pub fn site(site: &Site) -> Vec<Problem> {
    Walk::over(|w| {
        w.text("name", &site.name, NAME_MAX);
        w.text("access", &site.access, TEXT_MAX);
        for (index, hazard) in site.hazards.iter().enumerate() {
            w.within(&format!("hazards[{index}]"), |w| w.text("text", hazard, TEXT_MAX));
        }
        for (id, found) in &site.repeaters {
            w.entry("repeaters", id, |w| repeater(w, found));
        }
    })
}

fn repeater(w: &mut Walk, repeater: &Repeater) {
    w.text("name", &repeater.name, NAME_MAX);
    w.refused("receive_hz", Hertz::carrier(repeater.receive_hz as f64));
    w.refused("transmit_hz", Hertz::carrier(repeater.transmit_hz as f64));
    w.between("channel_width_hz", repeater.channel_width_hz as f64, 1_000.0, 1_000_000.0);
    w.text("region", &repeater.region, NAME_MAX);
    let ratings = &repeater.ratings;
    w.within("ratings", |w| {
        w.refused("opening_level_dbm", Dbm::new(ratings.opening_level_dbm));
        w.refused("power_w", Watts::new(ratings.power_w));
        w.between("duplexer_transmit_loss_db", ratings.duplexer_transmit_loss_db, 0.0, 30.0);
        w.between("duplexer_receive_loss_db", ratings.duplexer_receive_loss_db, 0.0, 30.0);
        w.between("duplexer_tolerance_db", ratings.duplexer_tolerance_db, 0.0, 10.0);
        w.refused("duplexer_power_max_w", Watts::new(ratings.duplexer_power_max_w));
        for (field, given) in [
            ("receiver_port_return_loss_db", ratings.receiver_port_return_loss_db),
            ("transmitter_port_return_loss_db", ratings.transmitter_port_return_loss_db),
            ("antenna_port_return_loss_db", ratings.antenna_port_return_loss_db),
        ] {
            return_loss(w, field, given);
        }
    });
    if let Some(terms) = &repeater.licence {
        w.within("licence", |w| licence(w, terms));
    }
    if let Some(sweep) = &repeater.duplexer_sweep {
        w.within("duplexer_sweep", |w| duplexer_sweep(w, sweep, repeater));
    }
    if let Some(antenna) = &repeater.antenna {
        w.within("antenna", |w| {
            w.between("gain_dbd", antenna.gain_dbd, -30.0, 30.0);
            w.between("other_loss_db", antenna.other_loss_db, 0.0, 60.0);
            w.between("tolerance_db", antenna.tolerance_db, 0.0, 20.0);
            if let Some(run) = &antenna.feedline {
                w.within("feedline", |w| cable_run(w, run));
            }
        });
    }
}

fn licence(w: &mut Walk, terms: &LicenceTerms) {
    w.refused("transmit_hz", Hertz::carrier(terms.transmit_hz as f64));
    for (field, power) in [("output_w", terms.output_w), ("erp_w", terms.erp_w)] {
        if let Some(watts) = power {
            w.refused(field, Watts::new(watts));
        }
    }
    w.text("source", &terms.source, TEXT_MAX);
}

fn duplexer_sweep(w: &mut Walk, sweep: &DuplexerSweep, repeater: &Repeater) {
    for (field, points, at_hz) in [
        ("transmit_path", &sweep.transmit_path, repeater.transmit_hz),
        ("receive_path", &sweep.receive_path, repeater.receive_hz),
    ] {
        loss_points(w, field, points, true);
        let ends = points.first().zip(points.last());
        if ends.is_some_and(|(low, high)| at_hz < low.at_hz || at_hz > high.at_hz) {
            let what = format!("does not reach the path's own frequency, {at_hz} Hz");
            w.within(field, |w| w.problem(what));
        }
        if points.len() > SWEEP_POINTS_MAX {
            let most = format!("{} points; {SWEEP_POINTS_MAX} is the most", points.len());
            w.within(field, |w| w.problem(most));
        }
    }
    w.between("tolerance_db", sweep.tolerance_db, 0.0, 10.0);
    w.date("swept_on", &sweep.swept_on);
    w.text("source", &sweep.source, TEXT_MAX);
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
