//! A shop's day as HTML that a mail program shows as it is: every style stands in its own element,
//! since programs drop style sheets; tables hold the lines, since programs know those; no script,
//! no drawing, no picture, nothing from anywhere else. Readable on a phone. Nothing is sent from
//! here: somebody sends the file, or pastes it.

use std::collections::BTreeMap;

use guyline_core::report::{AtRepeater, BoardRow, Language, ShopDay, Words};
use guyline_core::uncertainty::Outcome;
use maud::{Markup, html};

use super::day::days;
use super::html::page_with;

const FONT: &str = "font-family:Arial,Helvetica,sans-serif;color:#000000;";
const BODY: &str = "margin:0;padding:0;background:#ffffff;";
const WIDE: &str = "width:100%;border-collapse:collapse;";
const SHEET: &str = "width:100%;max-width:640px;border-collapse:collapse;";
const PAGE: &str = "padding:16px;font-family:Arial,Helvetica,sans-serif;font-size:16px;\
                    line-height:1.4;color:#000000;text-align:left;";
const H1: &str = "margin:4px 0 0;font-family:Arial,Helvetica,sans-serif;font-size:24px;\
                  line-height:1.2;color:#000000;";
const H2: &str = "margin:24px 0 4px;padding-bottom:4px;border-bottom:2px solid #000000;\
                  font-family:Arial,Helvetica,sans-serif;font-size:18px;line-height:1.2;\
                  color:#000000;";
const LINE: &str = "padding:8px 0;border-bottom:1px solid #5c5c5c;vertical-align:top;\
                    text-align:left;font-size:16px;line-height:1.4;word-break:break-word;\
                    overflow-wrap:anywhere;";
const SIGN: &str = "width:28px;padding:8px 0;border-bottom:1px solid #5c5c5c;vertical-align:top;\
                    text-align:left;font-size:18px;line-height:1.3;font-weight:bold;";
const PLAIN: &str = "margin:4px 0;font-size:16px;";
const SMALL: &str = "margin:4px 0;font-size:14px;color:#303030;";

/// The day as one HTML file.
pub(super) fn page(day: &ShopDay, language: Language) -> String {
    let words = language.words();
    let title = format!("{}: {}", words.day, day.day);
    let told = Told { language, words };
    let said = html! {
        p style=(PLAIN) { strong { (day.shop) } }
        @for line in day.letterhead.under_name() { p style=(SMALL) { (line) } }
        h1 style=(H1) { (words.day) ": " span style="white-space:nowrap;" { (day.day) } }
        (told.wrong(day))
        (told.visits(day))
        (told.due(day))
        (told.board(day))
        @if let Some(wording) = &day.letterhead.wording {
            p style=(PLAIN) { @for line in wording.lines() { (line) br; } }
        }
        p style=(SMALL) { (words.as_written) " " (words.nothing_sent) }
    };
    document(words.language, &title, &said).into_string()
}

fn document(language: &str, title: &str, said: &Markup) -> Markup {
    let body = html! {
        body style=(BODY) {
            table role="presentation" style=(WIDE) {
                tr {
                    td align="center" style="padding:0;" {
                        table role="presentation" style=(SHEET) {
                            tr { td style=(PAGE) { (said) } }
                        }
                    }
                }
            }
        }
    };
    page_with(language, title, &Markup::default(), &body)
}

/// A letter of its own shape for each outcome, and its colour: mail programs drop drawings.
fn sign(outcome: Option<Outcome>) -> (&'static str, &'static str) {
    match outcome {
        Some(Outcome::Pass) => ("\u{2713}", "#00471c"),
        Some(Outcome::ConditionalPass) => ("\u{25b3}", "#5f3600"),
        Some(Outcome::ConditionalFail) => ("\u{25bd}", "#5f3600"),
        Some(Outcome::Fail) => ("\u{2717}", "#850010"),
        Some(Outcome::NotJudged) | None => ("\u{25cb}", "#303030"),
    }
}

/// Lines of a table, each with its sign where it has one.
fn lines(none: &str, lines: &[(Option<Markup>, Markup)]) -> Markup {
    html! {
        @if lines.is_empty() { p style=(PLAIN) { (none) } } @else {
            table role="presentation" style=(format!("{WIDE}{FONT}")) {
                @for (sign, said) in lines {
                    tr {
                        @if let Some(sign) = sign { td style=(SIGN) { (sign) } }
                        td style=(LINE) { (said) }
                    }
                }
            }
        }
    }
}

fn shape(outcome: Option<Outcome>) -> Markup {
    let (sign, colour) = sign(outcome);
    html! { span aria-hidden="true" style=(format!("color:{colour};")) { (sign) } }
}

struct Told {
    language: Language,
    words: &'static Words,
}

impl Told {
    fn title(&self, title: &str) -> Markup {
        html! { h2 style=(H2) { (title) } }
    }

    fn wrong(&self, day: &ShopDay) -> Markup {
        let failing = day.failing.iter().map(|it| {
            let said = html! {
                strong { (it.site) ", " (it.repeater) } br;
                (it.title) ": " strong { (self.language.outcome(Some(it.outcome))) } ". "
                (it.reason)
            };
            (Some(shape(Some(it.outcome))), said)
        });
        let failing: Vec<_> = failing.collect();
        html! {
            (self.title(self.words.failing))
            (lines(self.words.none, &failing))
            (self.places(self.words.revisits, &day.revisits))
            (self.places(self.words.disagreements, &day.disagreements))
        }
    }

    fn places(&self, title: &str, list: &[AtRepeater]) -> Markup {
        let place = |it: &AtRepeater| {
            (None, html! { strong { (it.site) ", " (it.repeater) } br; (it.what) })
        };
        let list: Vec<_> = list.iter().map(place).collect();
        html! { (self.title(title)) (lines(self.words.none, &list)) }
    }

    fn visits(&self, day: &ShopDay) -> Markup {
        let words = self.words;
        let visit = |it: &guyline_core::report::VisitLine| {
            let signed = if it.signed_off { words.signed } else { words.not_signed };
            let said = html! {
                strong { (it.site) ", " (it.repeater) } ": "
                (self.language.outcome(it.overall.worst)) br;
                (words.work_order) ": " (it.work_order) br;
                (words.crew) ": " (it.crew.join(", ")) br;
                (signed)
            };
            (Some(shape(it.overall.worst)), said)
        };
        let visits: Vec<_> = day.visits.iter().map(visit).collect();
        html! { (self.title(words.visits)) (lines(words.no_visits, &visits)) }
    }

    fn due(&self, day: &ShopDay) -> Markup {
        let words = self.words;
        let calibrations = day.calibrations.iter().map(|it| {
            let left = days(it.days, self.language);
            (None, html! { strong { (it.name) } ", " (it.due) ": " (left) })
        });
        let calibrations: Vec<_> = calibrations.collect();
        let silent = day
            .silent
            .iter()
            .map(|it| (None, html! { strong { (it.name) } ", " (words.last_heard) " " (it.last) }));
        let silent: Vec<_> = silent.collect();
        let overdue = day.overdue.iter().map(|it| {
            let place = format!("{}, {}", it.site, it.repeater);
            (None, html! { strong { (place) } ", " (words.last_visit) " " (it.last) })
        });
        let overdue: Vec<_> = overdue.collect();
        html! {
            (self.title(words.calibrations))
            (lines(words.none, &calibrations))
            (self.title(words.silent))
            (lines(words.none, &silent))
            (self.title(words.overdue))
            (lines(words.none, &overdue))
        }
    }

    /// Every repeater in a line: a column a check would be wider than any phone.
    fn board(&self, day: &ShopDay) -> Markup {
        let rows = day.board.rows.iter().map(|row| self.row(&day.board.checks, row));
        let rows: Vec<_> = rows.collect();
        html! {
            @if !rows.is_empty() {
                (self.title(self.words.board))
                (lines("", &rows))
            }
        }
    }

    fn row(&self, checks: &[String], row: &BoardRow) -> (Option<Markup>, Markup) {
        let read = || row.outcomes.iter().flatten();
        let mut counts: BTreeMap<Outcome, usize> = BTreeMap::new();
        read().for_each(|outcome| *counts.entry(*outcome).or_default() += 1);
        let counted = counts
            .iter()
            .map(|(outcome, count)| format!("{}: {count}", self.language.outcome(Some(*outcome))));
        let counted: Vec<String> = counted.collect();
        let beside = checks.iter().zip(&row.outcomes);
        let beside = beside.filter(|(_, outcome)| outcome.is_some_and(|it| it != Outcome::Pass));
        let said = html! {
            strong { (row.site) ", " (row.repeater) } ", " (row.day) br;
            (counted.join(", "))
            @for (title, outcome) in beside {
                br;
                (shape(*outcome)) " " (title) ": " (self.language.outcome(*outcome))
            }
        };
        (Some(shape(read().max().copied())), said)
    }
}
