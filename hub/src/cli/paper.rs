//! A judged session as a page of plain text, for a terminal.
//!
//! In: the Session page. Out: lines no wider than [`WIDTH`]. Shows what the core says; computes
//! nothing but where to put a mark.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use guyline_core::checks::{ChainState, CheckState, MayKey, ReadingState, Stage};
use guyline_core::record::Stamp;
use guyline_core::rf::chain::{LevelDiagram, Node};
use guyline_core::uncertainty::Outcome;
use guyline_core::units::shown;

use crate::desk::SessionPage;
use crate::render::text::folded;

/// The widest line, in characters.
pub(super) const WIDTH: usize = 100;

/// The columns a diagram's scale is drawn in.
const SCALE: usize = 30;

/// The whole page.
pub(super) fn page(page: &SessionPage) -> String {
    let mut out = String::new();
    header(&mut out, page);
    for chain in &page.appraisal.chains {
        chain_part(&mut out, chain);
    }
    checks(&mut out, page);
    cautions(&mut out, page);
    findings(&mut out, page);
    remarks(&mut out, page);
    out
}

fn line(out: &mut String, text: &str) {
    writeln!(out, "{}", text.trim_end()).expect("a String takes all text");
}

fn rule(out: &mut String, title: &str) {
    let dashes = WIDTH.saturating_sub(title.chars().count() + 4);
    line(out, "");
    line(out, &format!("── {title} {}", "─".repeat(dashes)));
}

/// Text broken at blanks, each line indented.
pub(super) fn wrapped(out: &mut String, indent: usize, text: &str) {
    folded(text, indent, WIDTH).iter().for_each(|row| line(out, row));
}

fn header(out: &mut String, page: &SessionPage) {
    rule(out, &format!("{}: {}", page.site, page.repeater.name));
    line(out, &format!("{} · {}", page.shop, page.work_order));
    let mhz = |hz: u64| shown(hz as f64 / 1e6, 4);
    line(
        out,
        &format!(
            "receives {} MHz, transmits {} MHz, channel {} kHz",
            mhz(page.repeater.receive_hz),
            mhz(page.repeater.transmit_hz),
            shown(page.repeater.channel_width_hz as f64 / 1e3, 2)
        ),
    );
    let crew: Vec<&str> = page.crew.keys().map(|id| name(&page.people, id)).collect();
    line(out, &format!("crew: {}", crew.join(", ")));
    for hazard in &page.hazards {
        wrapped(out, 2, &format!("! {hazard}"));
    }
}

fn name<'a>(people: &'a BTreeMap<String, String>, id: &'a str) -> &'a str {
    people.get(id).map_or(id, String::as_str)
}

fn signed(people: &BTreeMap<String, String>, stamp: &Stamp) -> String {
    let at = stamp.at.to_string();
    let clock = at.get(11..16).unwrap_or(&at);
    format!("{} {clock}", name(people, &stamp.by))
}

fn chain_part(out: &mut String, state: &ChainState) {
    let chain = &state.chain;
    rule(out, &format!("chain: {} ({})", chain.name, chain.plane.words()));
    if let Some(refused) = &state.refused {
        wrapped(out, 2, &format!("cannot be worked out: {refused}"));
    }
    for stop in &state.stops {
        wrapped(out, 2, &format!("■ DO NOT KEY: {}.", stop.what));
        wrapped(out, 4, &format!("{}.", stop.help));
    }
    for element in state.keyed.iter().filter(|element| element.may == MayKey::ForAWhile) {
        wrapped(out, 2, &format!("▲ KEY FOR A WHILE ONLY: {}: {}.", element.at, element.why));
    }
    for diagram in &state.diagrams {
        diagram_part(out, diagram);
    }
}

/// A level diagram to scale: one row a node, the mark's column standing for the level.
fn diagram_part(out: &mut String, diagram: &LevelDiagram) {
    line(out, "");
    let at = shown(diagram.frequency_hz as f64 / 1e6, 4);
    line(out, &format!("  {} at {at} MHz", diagram.title));
    let levels = diagram.nodes.iter().map(|node| node.level_dbm);
    let (low, high) = levels.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), level| {
        (low.min(level), high.max(level))
    });
    let span = (high - low).max(1.0);
    for node in &diagram.nodes {
        if let (Some(element), Some(loss_db)) = (&node.element, node.loss_db) {
            let label = format!("│ {element}");
            line(out, &format!("  {label:<40}{:>6} dB", shown(-loss_db, 2)));
        }
        let column = ((node.level_dbm - low) / span * (SCALE - 1) as f64).round() as usize;
        let mut scale: Vec<char> = vec!['·'; SCALE];
        scale[column.min(SCALE - 1)] = '●';
        let scale: String = scale.into_iter().collect();
        line(out, &format!("  {:<38}{}  {scale}", node.label, levels_text(node)));
    }
}

fn levels_text(node: &Node) -> String {
    let level = format!("{:>8} dBm ±{}", shown(node.level_dbm, 1), shown(node.expanded_db, 1));
    let over = match (node.headroom_db, node.power_max_w) {
        (Some(headroom), Some(_)) if headroom < 0.0 => " OVER",
        _ => "     ",
    };
    format!("{level}{over}")
}

fn checks(out: &mut String, page: &SessionPage) {
    let mut stage: Option<Stage> = None;
    for state in &page.appraisal.checks {
        if stage != Some(state.check.stage) {
            stage = Some(state.check.stage);
            rule(out, state.check.stage.word());
        }
        check_part(out, page, state);
    }
}

fn mark(outcome: Option<Outcome>) -> &'static str {
    match outcome {
        Some(Outcome::Pass) => "✓",
        Some(Outcome::ConditionalPass) => "△",
        Some(Outcome::ConditionalFail) => "▽",
        Some(Outcome::Fail) => "✗",
        Some(Outcome::NotJudged) | None => "○",
    }
}

fn check_part(out: &mut String, page: &SessionPage, state: &CheckState) {
    let keyed = if state.check.keyed { ", keyed" } else { "" };
    line(out, &format!("{} {} ({}{keyed})", mark(state.outcome), state.check.title, plane(state)));
    if let Some(expected) = state.chain.as_ref().and_then(|id| state.expected.get(id)) {
        wrapped(out, 4, &format!("expect {}: {}", expected.text, expected.because));
    }
    if state.readings.is_empty() {
        let words = if state.check.optional { "made only when asked for" } else { "not read yet" };
        line(out, &format!("    {words}"));
    }
    for reading in &state.readings {
        reading_part(out, page, reading);
    }
}

fn plane(state: &CheckState) -> &'static str {
    state.check.plane.words()
}

fn reading_part(out: &mut String, page: &SessionPage, state: &ReadingState) {
    let reading = &state.reading;
    let verdict = &state.verdict;
    let phase = reading.phase.words();
    let taken_back = if state.standing { "" } else { " (no longer stands)" };
    line(
        out,
        &format!(
            "    {} {:<16} {phase}: {} {} read by {}{taken_back}",
            mark(Some(verdict.outcome)),
            verdict.outcome.word(),
            reading.typed,
            reading.unit,
            signed(&page.people, &reading.stamp)
        ),
    );
    if !verdict.value_text.is_empty() {
        wrapped(
            out,
            6,
            &format!("{} {}; limit {}", verdict.judged, verdict.value_text, verdict.limit_text),
        );
    }
    wrapped(out, 6, &verdict.reason);
}

fn cautions(out: &mut String, page: &SessionPage) {
    rule(out, "cautions");
    for caution in &page.appraisal.cautions {
        let by: Vec<&str> =
            caution.acknowledged_by.iter().map(|id| name(&page.people, id)).collect();
        let by = if by.is_empty() { "nobody yet".to_owned() } else { by.join(", ") };
        line(out, &format!("! {} (read by {by})", caution.title));
        wrapped(out, 4, &caution.text);
    }
}

fn findings(out: &mut String, page: &SessionPage) {
    rule(out, "findings");
    if page.appraisal.findings.is_empty() {
        line(out, "none");
    }
    for finding in &page.appraisal.findings {
        wrapped(out, 0, &finding.what);
        wrapped(out, 4, &format!("because: {}", finding.evidence));
        wrapped(out, 4, &format!("next: {}", finding.next));
    }
}

fn remarks(out: &mut String, page: &SessionPage) {
    rule(out, "adjusted, noted, summed up");
    for (what, remarks) in [("adjusted", &page.adjustments), ("note", &page.notes)] {
        for remark in remarks.values() {
            let by = signed(&page.people, &remark.stamp);
            wrapped(out, 0, &format!("{what} ({by}): {}", remark.text));
        }
    }
    if page.summary.len() > 1 {
        line(out, "two summaries stand; somebody must choose or write one:");
    }
    for summary in &page.summary {
        let by = signed(&page.people, &summary.stamp);
        wrapped(out, 0, &format!("summary ({by}): {}", summary.text));
    }
}
