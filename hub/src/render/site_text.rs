//! A site's report as plain text, for a terminal, a ticket or a mail.

use guyline_core::report::{
    Cell, ChannelReport, Language, LatestVisit, Line, SitePhotographs, SiteReport, SiteWords,
    trend_said,
};

use super::photographs::lines;
use super::site::{crew, facts, other, thing};
use super::text::Page;

/// The whole report.
pub(super) fn page(report: &SiteReport, language: Language, verification: &[String]) -> String {
    let own = language.site_words();
    let mut out = Page { text: String::new(), language, words: language.words() };
    out.line(&report.shop);
    report.letterhead.under_name().for_each(|line| out.wrapped(0, line));
    out.line(&format!("{}: {}", own.title, report.site));
    match &report.as_of {
        Some(day) => out.line(&format!("{} {day}", own.as_of)),
        None => out.line(own.never),
    }
    conclusions(&mut out, report, own);
    out.title(own.access);
    out.wrapped(0, &report.access);
    out.title(own.hazards);
    if report.hazards.is_empty() {
        out.wrapped(0, own.no_hazards);
    }
    report.hazards.iter().for_each(|it| out.wrapped(0, &format!("* {it}")));
    out.wrapped(0, &report.deferral);
    report.channels.iter().for_each(|it| channel(&mut out, it, own));
    rest(&mut out, report, own);
    if let Some(wording) = &report.letterhead.wording {
        out.line("");
        out.wrapped(0, wording);
    }
    out.title(out.words.verification);
    out.wrapped(0, out.words.as_written);
    out.wrapped(0, out.words.how_to_verify);
    verification.iter().for_each(|line| out.line(line));
    out.text
}

fn conclusions(out: &mut Page, report: &SiteReport, own: &SiteWords) {
    out.title(out.words.conclusions);
    for it in &report.channels {
        let worst = it.latest.as_ref().and_then(|latest| latest.overall.worst);
        let outcome = out.language.outcome(worst);
        out.wrapped(0, &format!("* {}: {outcome}", it.name));
        match &it.latest {
            Some(latest) => {
                let signed = signed(!latest.signatures.is_empty(), own);
                let visit = format!("{}: {}, {}", own.latest, latest.day, latest.work_order);
                out.wrapped(4, &format!("{visit}, {signed}"));
                let counts = latest.overall.counts();
                let told = counts.iter().zip(out.words.counts).filter(|(count, _)| **count > 0);
                let told: Vec<String> =
                    told.map(|(count, word)| format!("{count} {word}")).collect();
                out.wrapped(4, &told.join(", "));
            }
            None => out.wrapped(4, own.never),
        }
    }
    out.title(own.needs);
    if report.needs.is_empty() {
        out.line(own.no_needs);
    }
    for it in &report.needs {
        let said = it.said(out.language);
        out.wrapped(0, &format!("* {}: {said}", it.repeater));
    }
    if !report.unread.is_empty() {
        out.title(own.unread);
        report.unread.iter().for_each(|why| out.wrapped(0, &format!("* {why}")));
    }
}

fn signed(is: bool, own: &SiteWords) -> &'static str {
    if is { own.signed_off } else { own.not_signed_off }
}

fn channel(out: &mut Page, it: &ChannelReport, own: &'static SiteWords) {
    out.title(&it.name);
    for (what, value) in facts(it, out.words, own) {
        out.wrapped(0, &format!("{what}: {value}"));
    }
    if let Some(latest) = &it.latest {
        visit(out, latest, own);
    }
    out.line("");
    out.line(&own.history.to_uppercase());
    if it.history.is_empty() {
        out.line(own.no_history);
    }
    for history in &it.history {
        let said = trend_said(history, out.language);
        out.wrapped(0, &format!("* {} ({}): {said}", history.title, history.limit_text));
        for point in &history.points {
            let of = |read: &Option<guyline_core::checks::HistoryRead>, phase: &str| {
                read.as_ref().map(|read| format!("{}: {}", phase.to_lowercase(), read.text))
            };
            let found = of(&point.as_found, out.words.as_found);
            let both = [found, of(&point.as_left, out.words.as_left)];
            let both: Vec<String> = both.into_iter().flatten().collect();
            out.wrapped(4, &format!("{} {}", point.at.day(), both.join("; ")));
        }
    }
}

fn visit(out: &mut Page, it: &LatestVisit, own: &SiteWords) {
    let crew = crew(it, out.words);
    let visit = format!("{}, {}, {crew}", it.day, it.work_order);
    out.line("");
    out.wrapped(0, &format!("{}: {visit}", own.latest.to_uppercase()));
    for it in &it.concluded {
        let outcome = out.language.outcome(Some(it.outcome));
        out.wrapped(0, &format!("* {}: {outcome}. {}", it.title, it.reason));
    }
    for (title, list) in [(out.words.summary, &it.summary), (out.words.adjusted, &it.adjusted)] {
        for it in list {
            out.wrapped(0, &format!("{title}: {} ({}, {})", it.text, it.by, it.at));
        }
    }
    for it in &it.found {
        let weight = out.language.weight(it.weight);
        out.wrapped(0, &format!("* {} ({weight}) -> {}", it.what, it.next));
    }
    for stage in &it.stages {
        out.line("");
        out.line(&out.language.stage(stage.stage).to_uppercase());
        stage.lines.iter().for_each(|line| check(out, line));
    }
    let SitePhotographs { shown, more } = &it.photographs;
    if !shown.is_empty() {
        out.line("");
        out.line(&own.photographs.to_uppercase());
        lines(shown).iter().for_each(|line| out.wrapped(0, line));
    }
    if *more > 0 {
        out.wrapped(0, &own.more_photographs(*more));
    }
}

fn check(out: &mut Page, line: &Line) {
    out.wrapped(0, &line.title);
    let words = out.words;
    for (phase, cells) in [(words.as_found, &line.as_found), (words.as_left, &line.as_left)] {
        cells.iter().for_each(|it| cell(out, phase, it));
    }
    if line.as_found.is_empty() && line.as_left.is_empty() {
        out.line(&format!("    {}", words.not_read));
    }
}

fn cell(out: &mut Page, phase: &str, it: &Cell) {
    let outcome = out.language.outcome(Some(it.outcome));
    out.wrapped(2, &format!("{phase}: {} {} [{outcome}]", it.value, it.uncertainty));
    let verified =
        if it.verified { String::new() } else { format!(" ({})", out.words.not_verified) };
    let margin = format!("{} {}", out.words.margin, it.margin);
    out.wrapped(4, &format!("{}: {}{verified}; {margin}", out.words.limit, it.limit));
}

fn rest(out: &mut Page, report: &SiteReport, own: &SiteWords) {
    let words = out.words;
    let instruments = report.instruments.iter().map(|it| {
        let held = if it.held { String::new() } else { format!(" ({})", words.not_held) };
        format!("{}, {} {}{held}", it.name, words.calibrated_until, it.calibration_due)
    });
    list(out, words.instruments, instruments);
    let others = report.co_sited.iter().map(|it| format!("{}, {}", it.name, other(it, own)));
    list(out, own.co_sited, others);
    let things = report.equipment.iter().map(|it| {
        let facts = thing(it, own).into_iter().map(|fact| format!(", {fact}"));
        format!("{}{}", it.name, facts.collect::<String>())
    });
    list(out, own.equipment, things);
    let language = out.language;
    let visits = report.visits.iter().map(|it| {
        let outcome = language.outcome(it.worst);
        let signed = signed(it.signed_off, own);
        format!("{}, {}, {}: {outcome}, {signed}", it.day, it.repeater, it.work_order)
    });
    list(out, own.all_visits, visits);
}

fn list(out: &mut Page, title: &str, lines: impl Iterator<Item = String>) {
    out.title(title);
    let before = out.text.len();
    lines.for_each(|line| out.wrapped(0, &format!("* {line}")));
    if out.text.len() == before {
        out.line(out.words.none);
    }
}
