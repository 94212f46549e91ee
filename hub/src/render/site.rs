//! A site's report as one HTML file: no script, nothing loaded from anywhere. Every text is escaped
//! by the library that writes the markup.

use guyline_core::report::{
    ChannelReport, CoSitedLine, EquipmentLine, Language, LatestVisit, SiteReport, SiteWords, Words,
    drawing, trend_said,
};
use guyline_core::units::shown;
use maud::{Markup, html};

use super::drawing::svg;
use super::html::{document, letterhead, mark, remarks, wording};
use super::photographs::of_site;
use super::readings::Readings;

/// The whole report.
pub(super) fn page(report: &SiteReport, language: Language, verification: &[String]) -> String {
    let told = Told { language, words: language.words(), own: language.site_words() };
    let said = html! {
        (told.head(report))
        (told.conclusions(report))
        (told.place(report))
        @for channel in &report.channels { (told.channel(channel, report)) }
        (told.rest(report))
        (wording(&report.letterhead))
        section {
            h2 { (told.words.verification) }
            p { (told.words.as_written) }
            p { (told.words.how_to_verify) }
            @for line in verification { p class="small" { code { (line) } } }
        }
    };
    let title = format!("{}: {}", told.own.title, report.site);
    document(told.words.language, &title, &said).into_string()
}

/// A frequency as people read it.
pub(super) fn megahertz(hz: u64) -> String {
    format!("{} MHz", shown(hz as f64 / 1e6, 5))
}

/// What is told of a repeater's channel: label and value.
pub(super) fn facts(
    it: &ChannelReport,
    words: &'static Words,
    own: &'static SiteWords,
) -> Vec<(&'static str, String)> {
    let channel = format!(
        "{} kHz, {} {}",
        shown(it.channel_width_hz as f64 / 1e3, 2),
        words.region.to_lowercase(),
        it.region.to_uppercase()
    );
    let known = [
        (words.receives, Some(megahertz(it.receive_hz))),
        (words.transmits, Some(megahertz(it.transmit_hz))),
        (words.channel, Some(channel)),
        (own.call_sign, it.call_sign.clone()),
        (own.emission, it.emission.clone()),
        (own.licence_until, it.licence_expires.clone()),
    ];
    known.into_iter().filter_map(|(what, value)| Some((what, value?))).collect()
}

struct Told {
    language: Language,
    words: &'static Words,
    own: &'static SiteWords,
}

impl Told {
    fn head(&self, report: &SiteReport) -> Markup {
        html! {
            header {
                (letterhead(&report.shop, &report.letterhead))
                h1 { (self.own.title) ": " (report.site) }
                p {
                    @match &report.as_of {
                        Some(day) => { (self.own.as_of) " " (day) }
                        None => { (self.own.never) }
                    }
                }
            }
        }
    }

    /// How each repeater stands, and what has to be done.
    fn conclusions(&self, report: &SiteReport) -> Markup {
        html! {
            section {
                h2 { (self.words.conclusions) }
                @for it in &report.channels {
                    div class="overall" {
                        @let worst = it.latest.as_ref().and_then(|latest| latest.overall.worst);
                        p class="large" {
                            (mark(worst)) " " (it.name) ": " (self.language.outcome(worst))
                        }
                        @match &it.latest {
                            Some(latest) => { (self.latest_line(latest)) }
                            None => { p { (self.own.never) } }
                        }
                    }
                }
                h3 { (self.own.needs) }
                @if report.needs.is_empty() { p { (self.own.no_needs) } }
                ul {
                    @for it in &report.needs {
                        li { strong { (it.repeater) ": " } (it.said(self.language)) }
                    }
                }
                @if !report.unread.is_empty() {
                    h3 { (self.own.unread) }
                    ul { @for why in &report.unread { li { (why) } } }
                }
            }
        }
    }

    fn latest_line(&self, it: &LatestVisit) -> Markup {
        let signed = match it.signatures.is_empty() {
            true => self.own.not_signed_off,
            false => self.own.signed_off,
        };
        let counts = it.overall.counts();
        html! {
            p { (self.own.latest) ": " (it.day) ", " (it.work_order) ", " (signed) }
            p {
                @for (count, word) in counts.iter().zip(self.words.counts) {
                    @if *count > 0 { span class="count" { (count) " " (word) } }
                }
            }
        }
    }

    fn place(&self, report: &SiteReport) -> Markup {
        html! {
            section {
                h2 { (self.own.access) }
                p { @for line in report.access.lines() { (line) br; } }
                h2 { (self.own.hazards) }
                @if report.hazards.is_empty() { p { (self.own.no_hazards) } }
                ul { @for it in &report.hazards { li { (it) } } }
                p { strong { (report.deferral) } }
            }
        }
    }

    fn channel(&self, it: &ChannelReport, report: &SiteReport) -> Markup {
        html! {
            section {
                h2 { (it.name) }
                dl {
                    @for (what, value) in facts(it, self.words, self.own) {
                        div { dt { (what) } dd { (value) } }
                    }
                }
                @if let Some(latest) = &it.latest {
                    (self.latest(latest))
                    (of_site(&latest.photographs, &report.pictures, self.words, self.own))
                }
                (self.history(it))
            }
        }
    }

    fn latest(&self, it: &LatestVisit) -> Markup {
        html! {
            h3 { (self.own.latest) ": " (it.day) ", " (it.work_order) }
            p { (self.words.crew) ": " (crew(it, self.words)) }
            ul {
                @for it in &it.concluded {
                    li {
                        (mark(Some(it.outcome))) " " strong { (it.title) } ": "
                        (self.language.outcome(Some(it.outcome))) ". " (it.reason)
                    }
                }
            }
            (remarks(self.words.summary, &it.summary))
            (remarks(self.words.adjusted, &it.adjusted))
            @if !it.found.is_empty() { h3 { (self.words.to_do) } }
            ul {
                @for it in &it.found {
                    li {
                        strong { (it.what) } " (" (self.language.weight(it.weight)) ")" br;
                        "\u{2192} " (it.next)
                    }
                }
            }
            (Readings::in_short(self.language).tables(&it.stages))
        }
    }

    fn history(&self, it: &ChannelReport) -> Markup {
        html! {
            h3 { (self.own.history) }
            @if it.history.is_empty() { p { (self.own.no_history) } } @else {
                p class="small" { (self.own.history_why) }
                div class="plots" {
                    @for one in &it.history {
                        figure {
                            (svg(&drawing::history(one, self.language)))
                            figcaption {
                                strong { (one.title) } br;
                                (trend_said(one, self.language)) br;
                                span class="small" { (self.words.limit) ": " (one.limit_text) }
                            }
                        }
                    }
                }
            }
        }
    }

    fn rest(&self, report: &SiteReport) -> Markup {
        html! {
            section {
                h2 { (self.words.instruments) }
                @if report.instruments.is_empty() { p { (self.words.none) } }
                ul {
                    @for it in &report.instruments {
                        li {
                            (it.name) ", " (self.words.calibrated_until) " " (it.calibration_due)
                            @if !it.held { " (" strong { (self.words.not_held) } ")" }
                        }
                    }
                }
                h2 { (self.own.co_sited) }
                @if report.co_sited.is_empty() { p { (self.words.none) } }
                ul {
                    @for it in &report.co_sited {
                        li { strong { (it.name) } ", " (other(it, self.own)) }
                    }
                }
                h2 { (self.own.equipment) }
                @if report.equipment.is_empty() { p { (self.words.none) } }
                ul {
                    @for it in &report.equipment {
                        li { strong { (it.name) } @for fact in thing(it, self.own) { ", " (fact) } }
                    }
                }
                h2 { (self.own.all_visits) }
                @if report.visits.is_empty() { p { (self.own.never) } }
                ul {
                    @for it in &report.visits {
                        li {
                            (it.day) ", " strong { (it.repeater) } ", " (it.work_order) ": "
                            (mark(it.worst)) " " (self.language.outcome(it.worst)) ", "
                            @if it.signed_off { (self.own.signed_off) }
                            @else { (self.own.not_signed_off) }
                        }
                    }
                }
            }
        }
    }
}

/// Who was there.
pub(super) fn crew(it: &LatestVisit, words: &Words) -> String {
    match it.crew.is_empty() {
        true => words.nobody.to_owned(),
        false => it.crew.join(", "),
    }
}

/// What is told of somebody else's transmitter.
pub(super) fn other(it: &CoSitedLine, own: &SiteWords) -> String {
    let watts = |power: f64| format!("{} W", shown(power, 1));
    let power = it.power_w.map_or_else(|| own.unknown.to_owned(), watts);
    let antenna = it.antenna.as_ref().map(|antenna| format!(", {}: {antenna}", own.antenna));
    let frequency = megahertz(it.frequency_hz);
    format!("{frequency}, {}: {power}{}", own.power, antenna.unwrap_or_default())
}

/// What is told of something that stands there.
pub(super) fn thing(it: &EquipmentLine, own: &SiteWords) -> Vec<String> {
    let facts =
        [(own.serial, &it.serial_number), (own.rating, &it.rating), (own.repeater, &it.repeater)];
    let told = facts.into_iter().filter_map(|(what, value)| Some((what, value.as_ref()?)));
    told.map(|(what, value)| format!("{what}: {value}")).collect()
}
