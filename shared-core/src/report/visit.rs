//! The report of one visit.
//!
//! Order of a reader's questions: did it pass, what did not, what was done, what is left to do; then
//! every reading as found and as left with limit, margin and doubt; then with what it was read.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use crate::checks::findings::Weight;
use crate::checks::{Appraisal, Caution, Cautions, CheckState, ReadingState, Sheet, Stage, Stop};
use crate::record::session::Remark;
use crate::record::{Phase, Stamp};
use crate::rf::chain::LevelDiagram;
use crate::uncertainty::Outcome;
use crate::uncertainty::decision::DecisionRule;

/// A visit, as its customer is told of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct VisitReport {
    /// The shop's name.
    pub shop: String,
    /// The site's name.
    pub site: String,
    /// The repeater.
    pub repeater: String,
    /// What it listens on, in hertz.
    pub receive_hz: u64,
    /// What it transmits on, in hertz.
    pub transmit_hz: u64,
    /// The channel's width, in hertz.
    pub channel_width_hz: u64,
    /// The region whose limits hold.
    pub region: String,
    /// The shop's order.
    pub work_order: String,
    /// The day of the first entry, by the clock that wrote it.
    pub first_day: String,
    /// The day of the last one.
    pub last_day: String,
    /// Who was there, by name.
    pub crew: Vec<String>,
    /// How a reading's uncertainty enters its verdict.
    pub decision_rule: DecisionRule,
    /// What comes of it all.
    pub overall: Overall,
    /// The visit in a sentence: two where two people wrote it apart.
    pub summary: Vec<DoneBy>,
    /// What does not pass, gravest first.
    pub concluded: Vec<Concluded>,
    /// What was adjusted.
    pub adjusted: Vec<DoneBy>,
    /// What was put back as it belongs.
    pub put_back: Vec<DoneBy>,
    /// What was found, and what to do about it.
    pub found: Vec<Said>,
    /// The readings, stage by stage.
    pub stages: Vec<StageLines>,
    /// What was read with, and until when its calibration holds.
    pub instruments: Vec<InstrumentLine>,
    /// Levels along what was connected.
    pub diagrams: Vec<LevelDiagram>,
    /// What forbade keying, where something did.
    pub stops: Vec<Stop>,
    /// The cautions that were read, and by whom.
    pub cautions: Vec<CautionLine>,
    /// How every caution ends.
    pub deferral: String,
    /// Notes.
    pub notes: Vec<DoneBy>,
    /// Readings that were taken back or corrected, with the reason.
    pub withdrawn: Vec<Line>,
    /// Who signed, on which device, when.
    pub signatures: Vec<Signature>,
    /// Why something was changed after that.
    pub amended: Vec<DoneBy>,
}

/// How many checks ended how.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Overall {
    /// The worst outcome; none where nothing was judged.
    pub worst: Option<Outcome>,
    /// Checks that pass.
    pub pass: usize,
    /// Checks that pass in doubt.
    pub conditional_pass: usize,
    /// Checks that fail in doubt.
    pub conditional_fail: usize,
    /// Checks that fail.
    pub fail: usize,
    /// Checks that were read and could not be judged.
    pub not_judged: usize,
    /// Checks of the plan that were not read.
    pub not_read: usize,
}

/// A check that does not simply pass.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Concluded {
    /// The check's title.
    pub title: String,
    /// Its outcome.
    pub outcome: Outcome,
    /// Why, in a sentence.
    pub reason: String,
}

/// Something found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Said {
    /// How grave it is.
    pub weight: Weight,
    /// What was found.
    pub what: String,
    /// What points to it.
    pub evidence: String,
    /// What to do next.
    pub next: String,
}

/// The readings of a stage.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct StageLines {
    /// The stage.
    pub stage: Stage,
    /// Its checks that were read or should have been.
    pub lines: Vec<Line>,
}

/// A check with its readings.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Line {
    /// The check's title.
    pub title: String,
    /// Where it was taken.
    pub plane: String,
    /// The readings that stand, as found.
    pub as_found: Vec<Cell>,
    /// The readings that stand, as left.
    pub as_left: Vec<Cell>,
    /// Why these no longer stand, where they do not.
    pub taken_back: Option<String>,
}

/// One reading with what is said of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Cell {
    /// The reading's id.
    pub id: String,
    /// As typed, with its unit.
    pub typed: String,
    /// What was judged, as in "loss".
    pub judged: String,
    /// Its value, with its unit.
    pub value: String,
    /// Its expanded uncertainty, with its unit and k.
    pub uncertainty: String,
    /// The limit.
    pub limit: String,
    /// What the limit rests on.
    pub source: String,
    /// Whether that was seen, and not only remembered.
    pub verified: bool,
    /// The distance to the nearer limit.
    pub margin: String,
    /// The probability that what was measured lies within the limits, in percent.
    pub conformity_percent: Option<f64>,
    /// The outcome.
    pub outcome: Outcome,
    /// Why, in a sentence.
    pub reason: String,
    /// The instrument's name.
    pub instrument: String,
    /// The chain's name.
    pub chain: String,
    /// Who read it, by name.
    pub by: String,
    /// When, by that device's clock.
    pub at: String,
}

/// Words somebody wrote.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct DoneBy {
    /// The words.
    pub text: String,
    /// Who, by name.
    pub by: String,
    /// When, by that device's clock.
    pub at: String,
}

/// An instrument that was used.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct InstrumentLine {
    /// Its name.
    pub name: String,
    /// The last day its calibration holds.
    pub calibration_due: String,
    /// Whether every reading with it was taken by then.
    pub held: bool,
}

/// A caution that was read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct CautionLine {
    /// A few words.
    pub title: String,
    /// What it says.
    pub text: String,
    /// Who read it, by name.
    pub read_by: Vec<String>,
}

/// Somebody who signed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Signature {
    /// Who, by name.
    pub by: String,
    /// On which device.
    pub device: String,
    /// When, by that device's clock.
    pub at: String,
    /// The public key that signed, in hexadecimal.
    pub key: String,
}

/// What there is to tell of a visit.
pub fn visit_report(sheet: &Sheet, appraisal: &Appraisal, cautions: &Cautions) -> VisitReport {
    let teller = Teller { sheet };
    let Sheet { shop, site, session } = sheet;
    let repeater = site.repeaters.get(&session.repeater);
    let (first_day, last_day) = teller.days();
    VisitReport {
        shop: shop.name.clone(),
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
        instruments: teller.instruments(),
        diagrams: diagrams(appraisal),
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
    all.sort_by(|a, b| b.outcome.cmp(&a.outcome));
    all
}

/// The standing readings of the latest phase.
fn latest(state: &CheckState) -> Vec<&ReadingState> {
    let standing = || state.readings.iter().filter(|reading| reading.standing);
    let phase = standing().map(|reading| reading.reading.phase).max();
    standing().filter(|reading| Some(reading.reading.phase) == phase).collect()
}

/// Every diagram once: two chains often share a path.
fn diagrams(appraisal: &Appraisal) -> Vec<LevelDiagram> {
    let mut once: Vec<LevelDiagram> = Vec::new();
    for diagram in appraisal.chains.iter().flat_map(|chain| &chain.diagrams) {
        if !once.contains(diagram) {
            once.push(diagram.clone());
        }
    }
    once
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
            plane: state.check.plane.words().to_owned(),
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
                plane: state.check.plane.words().to_owned(),
                as_found,
                as_left,
                taken_back: Some(reason.unwrap_or_else(|| "corrected by a later one".to_owned())),
            }
        };
        gone.map(line).collect()
    }

    fn instruments(&self) -> Vec<InstrumentLine> {
        let Sheet { shop, session, .. } = self.sheet;
        let mut used: BTreeMap<&str, bool> = BTreeMap::new();
        for reading in session.standing_readings().into_values() {
            let due = shop.instruments.get(&reading.instrument);
            let due = due.and_then(|found| found.calibration_due.parse().ok());
            let held = due.is_some_and(|due: chrono::NaiveDate| reading.stamp.at.day() <= due);
            *used.entry(reading.instrument.as_str()).or_insert(true) &= held;
        }
        let line = |(id, held): (&str, bool)| {
            let found = shop.instruments.get(id);
            InstrumentLine {
                name: found.map_or(id, |found| found.name.as_str()).to_owned(),
                calibration_due: found.map(|f| f.calibration_due.clone()).unwrap_or_default(),
                held,
            }
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
