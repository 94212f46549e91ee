//! A shop's day as plain text. Nothing is sent from here.

use guyline_core::report::{AtRepeater, Language, ShopDay};

use super::text::Page;

/// Days to come or gone, in words.
pub(super) fn days(days: i64, language: Language) -> String {
    let words = language.words();
    match days < 0 {
        true => format!("{} {}", -days, words.ended),
        false => format!("{days} {}", words.days_left),
    }
}

/// The day as plain text.
pub(super) fn text(day: &ShopDay, language: Language) -> String {
    let words = language.words();
    let mut out = Page { text: String::new(), language, words };
    out.line(&day.shop);
    day.letterhead.under_name().for_each(|line| out.wrapped(0, line));
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
    if let Some(wording) = &day.letterhead.wording {
        out.line("");
        out.wrapped(0, wording);
    }
    out.line("");
    out.wrapped(0, words.as_written);
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
