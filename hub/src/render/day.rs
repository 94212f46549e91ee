//! A shop's day as HTML fit for mail, and as plain text. Nothing is sent from here.

use guyline_core::report::{AtRepeater, Language, ShopDay};
use maud::{Markup, html};

use super::html::{document, mark};
use super::text::Page;

/// The day as one HTML file.
pub(super) fn html(day: &ShopDay, language: Language) -> String {
    let words = language.words();
    let title = format!("{}: {}", words.day, day.day);
    let said = html! {
        header {
            p { (day.shop) }
            h1 { (title) }
        }
        (wrong(day, language))
        (visits(day, language))
        (due(day, language))
        (board(day, language))
        p class="small" { (words.nothing_sent) }
    };
    document(words.language, &title, &said).into_string()
}

fn wrong(day: &ShopDay, language: Language) -> Markup {
    let words = language.words();
    html! {
        h2 { (words.failing) }
        @if day.failing.is_empty() { p { (words.none) } }
        ul {
            @for it in &day.failing {
                li {
                    (mark(Some(it.outcome))) " "
                    strong { (it.site) ", " (it.repeater) ": " (it.title) } ": "
                    (language.outcome(Some(it.outcome))) ". " (it.reason)
                }
            }
        }
        (places(words.revisits, words.none, &day.revisits))
        (places(words.disagreements, words.none, &day.disagreements))
    }
}

fn places(title: &str, none: &str, list: &[AtRepeater]) -> Markup {
    html! {
        h2 { (title) }
        @if list.is_empty() { p { (none) } }
        ul {
            @for it in list { li { strong { (it.site) ", " (it.repeater) } ": " (it.what) } }
        }
    }
}

fn visits(day: &ShopDay, language: Language) -> Markup {
    let words = language.words();
    html! {
        h2 { (words.visits) }
        @if day.visits.is_empty() { p { (words.no_visits) } } @else {
            div class="wide" tabindex="0" role="region" aria-label=(words.visits) {
                table {
                    thead {
                        tr {
                            th scope="col" { (words.title) }
                            th scope="col" { (words.work_order) }
                            th scope="col" { (words.crew) }
                            th scope="col" { (words.overall) }
                            th scope="col" { (words.signed) }
                        }
                    }
                    tbody {
                        @for it in &day.visits {
                            tr {
                                th scope="row" {
                                    (it.site) br;
                                    span class="small" { (it.repeater) }
                                }
                                td { (it.work_order) }
                                td { (it.crew.join(", ")) }
                                td {
                                    (mark(it.overall.worst)) " "
                                    (language.outcome(it.overall.worst))
                                }
                                td { (if it.signed_off { words.signed } else { words.not_signed }) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn due(day: &ShopDay, language: Language) -> Markup {
    let words = language.words();
    html! {
        h2 { (words.calibrations) }
        @if day.calibrations.is_empty() { p { (words.none) } }
        ul {
            @for it in &day.calibrations {
                li { strong { (it.name) } ", " (it.due) ": " (days(it.days, language)) }
            }
        }
        h2 { (words.silent) }
        @if day.silent.is_empty() { p { (words.none) } }
        ul {
            @for it in &day.silent {
                li { strong { (it.name) } ", " (words.last_heard) " " (it.last) }
            }
        }
        h2 { (words.overdue) }
        @if day.overdue.is_empty() { p { (words.none) } }
        ul {
            @for it in &day.overdue {
                li { strong { (it.site) ", " (it.repeater) } ", " (words.last_visit) " " (it.last) }
            }
        }
    }
}

fn days(days: i64, language: Language) -> String {
    let words = language.words();
    match days < 0 {
        true => format!("{} {}", -days, words.ended),
        false => format!("{days} {}", words.days_left),
    }
}

fn board(day: &ShopDay, language: Language) -> Markup {
    let words = language.words();
    html! {
        @if !day.board.rows.is_empty() {
            h2 { (words.board) }
            div class="wide" tabindex="0" role="region" aria-label=(words.board) {
                table {
                    thead {
                        tr {
                            th scope="col" { (words.check) }
                            @for row in &day.board.rows {
                                th scope="col" { (row.site) br; span class="small" { (row.day) } }
                            }
                        }
                    }
                    tbody {
                        @for (index, title) in day.board.checks.iter().enumerate() {
                            tr {
                                th scope="row" { (title) }
                                @for row in &day.board.rows {
                                    @let outcome = row.outcomes.get(index).copied().flatten();
                                    td { (mark(outcome)) " " (language.outcome(outcome)) }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The day as plain text.
pub(super) fn text(day: &ShopDay, language: Language) -> String {
    let words = language.words();
    let mut out = Page { text: String::new(), language, words };
    out.line(&day.shop);
    out.line(&format!("{}: {}", words.day, day.day));
    let failing = day.failing.iter().map(|it| {
        let outcome = language.outcome(Some(it.outcome));
        format!("{}, {}: {}: {outcome}. {}", it.site, it.repeater, it.title, it.reason)
    });
    section(&mut out, words.failing, words.none, failing);
    let place = |it: &AtRepeater| format!("{}, {}: {}", it.site, it.repeater, it.what);
    section(&mut out, words.revisits, words.none, day.revisits.iter().map(place));
    section(&mut out, words.disagreements, words.none, day.disagreements.iter().map(place));
    let visits = day.visits.iter().map(|it| {
        let outcome = language.outcome(it.overall.worst);
        let signed = if it.signed_off { words.signed } else { words.not_signed };
        let crew = it.crew.join(", ");
        format!("{}, {} ({}), {crew}: {outcome}. {signed}", it.site, it.repeater, it.work_order)
    });
    section(&mut out, words.visits, words.no_visits, visits);
    let due = |it: &guyline_core::report::CalibrationLine| {
        format!("{}, {}: {}", it.name, it.due, days(it.days, language))
    };
    section(&mut out, words.calibrations, words.none, day.calibrations.iter().map(due));
    let silent =
        day.silent.iter().map(|it| format!("{}, {} {}", it.name, words.last_heard, it.last));
    section(&mut out, words.silent, words.none, silent);
    let overdue = day
        .overdue
        .iter()
        .map(|it| format!("{}, {}, {} {}", it.site, it.repeater, words.last_visit, it.last));
    section(&mut out, words.overdue, words.none, overdue);
    out.line("");
    out.line(words.nothing_sent);
    out.text
}

fn section(out: &mut Page, title: &str, none: &str, lines: impl Iterator<Item = String>) {
    out.title(title);
    let mut any = false;
    for line in lines {
        any = true;
        out.wrapped(0, &format!("* {line}"));
    }
    if !any {
        out.line(none);
    }
}
