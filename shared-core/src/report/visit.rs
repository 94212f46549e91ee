//! The report of one visit.
//!
//! Order of a reader's questions: did it pass, what did not, what was done, what is left to do;
//! then every reading as found and as left with limit, margin and doubt; then with what it was
//! read.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::attached::attached;
use super::levels::levels_of;
use super::shapes::{
    CautionLine, Cell, Concluded, DoneBy, Figures, InstrumentLine, Letterhead, LicenceLine, Line,
    Overall, Said, Signature, StageLines, VisitReport,
};
use crate::checks::licence::LicenceVerdict;
use crate::checks::{Appraisal, Caution, Cautions, CheckState, ReadingState, Sheet};
use crate::language::Language;
use crate::record::session::Remark;
use crate::record::shop::Calibrated;
use crate::record::{Phase, Stamp};
use crate::uncertainty::Outcome;

/// What there is to tell of a visit. Appraisal and cautions speak the language already.
pub fn visit_report(
    sheet: &Sheet,
    appraisal: &Appraisal,
    cautions: &Cautions,
    language: Language,
) -> VisitReport {
    let teller = Teller { sheet, language };
    let Sheet { shop, site, session } = sheet;
    let repeater = site.repeaters.get(&session.repeater);
    let (first_day, last_day) = teller.days();
    VisitReport {
        shop: shop.name.clone(),
        letterhead: Letterhead::of(shop),
        site: site.name.clone(),
        repeater: repeater.map_or(&session.repeater, |repeater| &repeater.name).clone(),
        receive_hz: repeater.map_or(0, |repeater| repeater.receive_hz),
        transmit_hz: repeater.map_or(0, |repeater| repeater.transmit_hz),
        channel_width_hz: repeater.map_or(0, |repeater| repeater.channel_width_hz),
        region: repeater.map(|repeater| repeater.region.clone()).unwrap_or_default(),
        work_order: session.work_order.clone(),
        first_day,
        last_day,
        crew: session.crew.keys().map(|person| teller.name(person)).collect(),
        decision_rule: shop.decision_rule,
        overall: overall(&appraisal.checks),
        summary: session.summary.iter().map(|said| teller.done_by(said)).collect(),
        concluded: concluded(&appraisal.checks),
        adjusted: teller.remarks("adjustments", &session.adjustments),
        put_back: teller.remarks("restorations", &session.restorations),
        found: found(appraisal),
        stages: teller.stages(&appraisal.checks),
        licence: appraisal.licence.iter().map(licence).collect(),
        instruments: teller.instruments(),
        diagrams: levels_of(appraisal),
        stops: appraisal.chains.iter().flat_map(|chain| chain.stops.clone()).collect(),
        cautions: teller.cautions(appraisal, cautions),
        deferral: cautions.deferral.clone(),
        notes: teller.remarks("notes", &session.notes),
        withdrawn: teller.withdrawn(&appraisal.checks),
        signatures: teller.signatures(),
        amended: session
            .amendments
            .values()
            .map(|amendment| teller.said(&amendment.reason, &amendment.stamp))
            .collect(),
        attached: attached(session, |stamp| teller.name(&stamp.by)),
        pictures: BTreeMap::new(),
    }
}

fn overall(checks: &[CheckState]) -> Overall {
    let mut overall = Overall {
        worst: checks.iter().filter_map(|check| check.outcome).max(),
        ..Overall::default()
    };
    for state in checks {
        match state.outcome {
            Some(Outcome::Pass) => overall.pass += 1,
            Some(Outcome::ConditionalPass) => overall.conditional_pass += 1,
            Some(Outcome::ConditionalFail) => overall.conditional_fail += 1,
            Some(Outcome::Fail) => overall.fail += 1,
            Some(Outcome::NotJudged) => overall.not_judged += 1,
            None if state.check.optional => {}
            None => overall.not_read += 1,
        }
    }
    overall
}

/// The checks that do not simply pass, by the reading that says so.
fn concluded(checks: &[CheckState]) -> Vec<Concluded> {
    let mut all: Vec<Concluded> = checks
        .iter()
        .filter(|state| state.outcome.is_some_and(|outcome| outcome != Outcome::Pass))
        .filter_map(|state| {
            let outcome = state.outcome?;
            let says = latest(state).into_iter().find(|r| r.verdict.outcome == outcome)?;
            Some(Concluded {
                title: state.check.title.clone(),
                outcome,
                reason: says.verdict.reason.clone(),
            })
        })
        .collect();
    all.sort_by_key(|it| std::cmp::Reverse(it.outcome));
    all
}

/// The standing readings of the latest phase.
fn latest(state: &CheckState) -> Vec<&ReadingState> {
    let standing = || state.readings.iter().filter(|reading| reading.standing);
    let phase = standing().map(|reading| reading.reading.phase).max();
    standing().filter(|reading| Some(reading.reading.phase) == phase).collect()
}

fn licence(verdict: &LicenceVerdict) -> LicenceLine {
    LicenceLine {
        subject: verdict.subject.clone(),
        outcome: verdict.outcome,
        words: verdict.words.clone(),
        source: verdict.source.clone(),
        verified: verdict.verified,
    }
}

fn found(appraisal: &Appraisal) -> Vec<Said> {
    let said = appraisal.findings.iter().map(|finding| Said {
        weight: finding.weight,
        what: finding.what.clone(),
        evidence: finding.evidence.clone(),
        next: finding.next.clone(),
    });
    said.collect()
}

/// Puts names in the place of ids.
struct Teller<'a> {
    sheet: &'a Sheet,
    language: Language,
}

impl Teller<'_> {
    fn name(&self, person: &str) -> String {
        let known = self.sheet.shop.people.get(person);
        known.map_or(person, |person| person.name.as_str()).to_owned()
    }

    fn said(&self, text: &str, stamp: &Stamp) -> DoneBy {
        DoneBy { text: text.to_owned(), by: self.name(&stamp.by), at: stamp.at.to_string() }
    }

    fn done_by(&self, remark: &Remark) -> DoneBy {
        self.said(&remark.text, &remark.stamp)
    }

    fn remarks(&self, list: &str, remarks: &BTreeMap<String, Remark>) -> Vec<DoneBy> {
        let standing = remarks.iter().filter(|(id, _)| self.sheet.session.stands(list, id));
        standing.map(|(_, remark)| self.done_by(remark)).collect()
    }

    fn days(&self) -> (String, String) {
        let session = &self.sheet.session;
        let read = session.readings.values().map(|reading| reading.stamp.at);
        let at = read.chain(session.crew.values().map(|stamp| stamp.at));
        let days = |at: crate::time::Timestamp| at.day().to_string();
        let all: Vec<_> = at.collect();
        let opened = session.opened.at;
        (
            days(all.iter().min().copied().unwrap_or(opened)),
            days(all.iter().max().copied().unwrap_or(opened)),
        )
    }

    fn stages(&self, checks: &[CheckState]) -> Vec<StageLines> {
        let mut stages: Vec<StageLines> = Vec::new();
        for state in checks {
            if state.check.optional && state.readings.is_empty() {
                continue;
            }
            let line = self.line(state);
            match stages.last_mut().filter(|last| last.stage == state.check.stage) {
                Some(last) => last.lines.push(line),
                None => {
                    stages.push(StageLines { stage: state.check.stage, lines: vec![line] });
                }
            }
        }
        stages
    }

    fn line(&self, state: &CheckState) -> Line {
        let cells = |phase: Phase| {
            let of_phase = state.readings.iter();
            let of_phase = of_phase.filter(|r| r.standing && r.reading.phase == phase);
            of_phase.map(|reading| self.cell(reading)).collect()
        };
        Line {
            title: state.check.title.clone(),
            plane: state.check.plane.said(self.language).to_owned(),
            as_found: cells(Phase::AsFound),
            as_left: cells(Phase::AsLeft),
            taken_back: None,
        }
    }

    fn cell(&self, state: &ReadingState) -> Cell {
        let ReadingState { id, reading, verdict, .. } = state;
        let Sheet { shop, session, .. } = self.sheet;
        let instrument = shop.instruments.get(&reading.instrument);
        let chain = session.chains.get(&reading.chain);
        Cell {
            id: id.clone(),
            typed: format!("{} {}", reading.typed, reading.unit),
            judged: verdict.judged.clone(),
            value: verdict.value_text.clone(),
            uncertainty: uncertainty(verdict),
            limit: verdict.limit_text.clone(),
            source: verdict.limit_source.clone(),
            verified: verdict.limit_verified,
            margin: verdict.margin_text.clone(),
            conformity_percent: verdict.conformity.map(|probability| 100.0 * probability),
            figures: figures(verdict),
            outcome: verdict.outcome,
            reason: verdict.reason.clone(),
            instrument: instrument.map_or(&reading.instrument, |found| &found.name).clone(),
            chain: chain.map_or(&reading.chain, |found| &found.name).clone(),
            by: self.name(&reading.stamp.by),
            at: reading.stamp.at.to_string(),
        }
    }

    fn withdrawn(&self, checks: &[CheckState]) -> Vec<Line> {
        let gone = checks.iter().flat_map(|state| {
            state.readings.iter().filter(|reading| !reading.standing).map(move |r| (state, r))
        });
        let corrected = self.language.pick("corrected by a later one", "corrigée par une suivante");
        let line = |(state, reading): (&CheckState, &ReadingState)| {
            let reason = reading
                .taken_back
                .as_ref()
                .map(|taken| format!("{}: {}", self.name(&taken.stamp.by), taken.reason));
            let cell = vec![self.cell(reading)];
            let (as_found, as_left) = match reading.reading.phase {
                Phase::AsFound => (cell, Vec::new()),
                Phase::AsLeft => (Vec::new(), cell),
            };
            Line {
                title: state.check.title.clone(),
                plane: state.check.plane.said(self.language).to_owned(),
                as_found,
                as_left,
                taken_back: Some(reason.unwrap_or_else(|| corrected.to_owned())),
            }
        };
        gone.map(line).collect()
    }

    fn instruments(&self) -> Vec<InstrumentLine> {
        let Sheet { shop, session, .. } = self.sheet;
        let due_on = |id: &str, day| shop.calibration_held_to(Calibrated::Instrument, id, day);
        let mut used: BTreeMap<&str, (NaiveDate, bool)> = BTreeMap::new();
        for reading in session.standing_readings().into_values() {
            let day = reading.stamp.at.day();
            let due = due_on(&reading.instrument, day).and_then(|due| due.parse().ok());
            let held = due.is_some_and(|due: NaiveDate| day <= due);
            let (last, all_held) = used.entry(&reading.instrument).or_insert((day, true));
            *last = day.max(*last);
            *all_held &= held;
        }
        let line = |(id, (last, held)): (&str, (NaiveDate, bool))| InstrumentLine {
            name: shop.instruments.get(id).map_or(id, |found| found.name.as_str()).to_owned(),
            calibration_due: due_on(id, last).unwrap_or_default().to_owned(),
            held,
        };
        used.into_iter().map(line).collect()
    }

    fn cautions(&self, appraisal: &Appraisal, cautions: &Cautions) -> Vec<CautionLine> {
        let read = appraisal.cautions.iter().filter(|state| !state.acknowledged_by.is_empty());
        let line = |state: &crate::checks::CautionState| CautionLine {
            title: state.title.clone(),
            text: cautions.find(&state.id).map_or(&state.text, |Caution { text, .. }| text).clone(),
            read_by: state.acknowledged_by.iter().map(|person| self.name(person)).collect(),
        };
        read.map(line).collect()
    }

    fn signatures(&self) -> Vec<Signature> {
        let signed = self.sheet.session.sign_offs.values().map(|sign_off| Signature {
            by: self.name(&sign_off.stamp.by),
            device: sign_off.stamp.device.clone(),
            at: sign_off.stamp.at.to_string(),
            key: sign_off.key.clone(),
        });
        signed.collect()
    }
}

/// A judged value as numbers, where there is a limit to hold it against.
fn figures(verdict: &crate::checks::Verdict) -> Option<Figures> {
    let limits = verdict.limits?;
    Some(Figures {
        value: verdict.value?,
        expanded: verdict.expanded?,
        guard: verdict.guard.unwrap_or_default(),
        low: limits.low,
        high: limits.high,
        unit: verdict.unit.clone(),
    })
}

fn uncertainty(verdict: &crate::checks::Verdict) -> String {
    match (verdict.expanded, verdict.coverage_factor) {
        (Some(expanded), Some(k)) => {
            let digits = if verdict.unit == "Hz" { 0 } else { 2 };
            let (expanded, k) = (crate::units::shown(expanded, digits), crate::units::shown(k, 2));
            format!(
                "±{expanded} {} (k = {k})",
                if verdict.unit == "dBm" { "dB" } else { &verdict.unit }
            )
        }
        _ => String::new(),
    }
}

#[cfg(test)]
#[path = "visit_tests.rs"]
mod tests;
