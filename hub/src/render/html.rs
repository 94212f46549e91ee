//! A visit's report as one HTML file: no script, nothing loaded from anywhere, fit for mail and for
//! paper. Every text is escaped by the library that writes the markup.

use guyline_core::record::logo::Logo;
use guyline_core::report::{DoneBy, Drawings, Language, Letterhead, Levels, VisitReport, Words};
use guyline_core::rf::chain::Node;
use guyline_core::uncertainty::Outcome;
use guyline_core::units::shown;
use maud::{DOCTYPE, Markup, html};

use super::drawing::svg;
use super::readings::Readings;

const STYLE: &str = include_str!("report.css");
/// Nothing may be loaded and nothing may run, wherever the file is opened. The shop's sign and the
/// photographs stand in the file itself.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; \
                      base-uri 'none'; form-action 'none'";

/// One file that stands by itself, around what it says.
pub(super) fn document(language: &str, title: &str, said: &Markup) -> Markup {
    let more = html! {
        meta http-equiv="Content-Security-Policy" content=(POLICY);
        style { (maud::PreEscaped(STYLE)) }
    };
    page_with(language, title, &more, &html! { body { main { (said) } } })
}

/// A page with what else stands in its head, around its body.
pub(super) fn page_with(language: &str, title: &str, head: &Markup, body: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang=(language) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                (head)
            }
            (body)
        }
    }
}

/// The whole report.
pub fn page(report: &VisitReport, language: Language, verification: &[String]) -> String {
    let drawings = Drawings::of(report, language);
    let told = Told { language, words: language.words(), drawings };
    told.page(report, verification).into_string()
}

struct Told {
    language: Language,
    words: &'static Words,
    drawings: Drawings,
}

/// The shop's sign, its name and what stands under it.
pub(super) fn letterhead(shop: &str, letterhead: &Letterhead) -> Markup {
    let source = |logo: &Logo| format!("data:{};base64,{}", logo.kind.media_type(), logo.base64);
    html! {
        @if let Some(logo) = &letterhead.logo {
            img class="logo" src=(source(logo)) alt=(shop) width=(logo.width) height=(logo.height);
        }
        p { strong { (shop) } }
        @for line in letterhead.under_name() { p class="small" { (line) } }
    }
}

/// What the shop says besides. Lines that were typed stay lines.
pub(super) fn wording(letterhead: &Letterhead) -> Markup {
    html! {
        @if let Some(wording) = &letterhead.wording {
            p { @for line in wording.lines() { (line) br; } }
        }
    }
}

impl Told {
    fn page(&self, report: &VisitReport, verification: &[String]) -> Markup {
        let words = self.words;
        let said = html! {
            (self.head(report))
            (self.conclusions(report))
            (self.readings(report))
            (self.levels(report))
            (super::photographs::section(report, words))
            (self.rest(report))
            section {
                h2 { (words.verification) }
                p { (words.as_written) }
                p { (words.how_to_verify) }
                @for line in verification { p class="small" { code { (line) } } }
            }
        };
        document(words.language, &format!("{}: {}", words.title, report.site), &said)
    }

    fn head(&self, report: &VisitReport) -> Markup {
        let words = self.words;
        let mhz = |hz: u64| format!("{} MHz", shown(hz as f64 / 1e6, 5));
        let crew = match report.crew.is_empty() {
            true => words.nobody.to_owned(),
            false => report.crew.join(", "),
        };
        let channel = format!("{} kHz", shown(report.channel_width_hz as f64 / 1e3, 2));
        html! {
            header {
                (letterhead(&report.shop, &report.letterhead))
                h1 { (words.title) ": " (report.site) }
                p { (report.repeater) }
                dl {
                    @for (what, value) in [
                        (words.work_order, report.work_order.clone()),
                        (words.visited, report.days(" \u{2013} ")),
                        (words.crew, crew),
                        (words.receives, mhz(report.receive_hz)),
                        (words.transmits, mhz(report.transmit_hz)),
                        (words.channel, channel),
                    ] {
                        div { dt { (what) } dd { (value) } }
                    }
                }
            }
        }
    }

    fn conclusions(&self, report: &VisitReport) -> Markup {
        let words = self.words;
        let overall = &report.overall;
        let counts = overall.counts();
        html! {
            section {
                h2 { (words.conclusions) }
                div class="overall" {
                    p class="large" {
                        (mark(overall.worst)) " " (words.overall) ": "
                        (self.language.outcome(overall.worst))
                    }
                    p {
                        @for (count, word) in counts.iter().zip(words.counts) {
                            @if *count > 0 { span class="count" { (count) " " (word) } }
                        }
                    }
                }
                @if report.concluded.is_empty() { p { (words.all_pass) } } @else {
                    h3 { (words.not_passing) }
                    ul {
                        @for it in &report.concluded {
                            li {
                                (mark(Some(it.outcome))) " " strong { (it.title) } ": "
                                (self.language.outcome(Some(it.outcome))) ". " (it.reason)
                            }
                        }
                    }
                }
                (remarks(words.summary, &report.summary))
                @if report.summary.len() > 1 { p class="small" { (words.two_summaries) } }
                @if report.adjusted.is_empty() {
                    h3 { (words.adjusted) }
                    p { (words.nothing_adjusted) }
                }
                (remarks(words.adjusted, &report.adjusted))
                (remarks(words.put_back, &report.put_back))
                h3 { (words.to_do) }
                @if report.found.is_empty() { p { (words.nothing_to_do) } }
                ul {
                    @for it in &report.found {
                        li {
                            strong { (it.what) } " (" (self.language.weight(it.weight)) ")" br;
                            span class="small" { (words.because) ": " (it.evidence) } br;
                            "\u{2192} " (it.next)
                        }
                    }
                }
            }
        }
    }

    fn readings(&self, report: &VisitReport) -> Markup {
        let words = self.words;
        html! {
            section {
                h2 { (words.readings) }
                p class="small" {
                    (words.rule) ": " (self.language.rule(report.decision_rule)) "."
                }
                (Readings::in_full(self.language, &self.drawings).tables(&report.stages))
            }
        }
    }

    fn levels(&self, report: &VisitReport) -> Markup {
        let words = self.words;
        html! {
            section {
                @if !report.diagrams.is_empty() { h2 { (words.levels) } }
                @for (it, drawing) in report.diagrams.iter().zip(&self.drawings.levels) {
                    (self.diagram(it, &svg(drawing)))
                }
                @for stop in &report.stops {
                    p class="stop" {
                        strong { (words.do_not_key) ": " (stop.at) ". " }
                        (stop.what) ". " (stop.help) "."
                    }
                }
            }
        }
    }

    /// The drawing to scale, what its marks are, and the numbers in a table.
    fn diagram(&self, it: &Levels, drawing: &Markup) -> Markup {
        let words = self.words;
        let Levels { chains, diagram, marks, .. } = it;
        let passed = |node: &Node| {
            let (element, loss) = (node.element.as_ref()?, node.loss_db?);
            Some(format!("{element}, {} dB", shown(-loss, 2)))
        };
        html! {
            h3 { (diagram.title) ", " (shown(diagram.frequency_hz as f64 / 1e6, 5)) " MHz" }
            p class="small" { (chains.join(", ")) }
            div class="wide" tabindex="0" role="region" aria-label=(diagram.title) { (drawing) }
            ol class="marks" type="A" {
                @for mark in marks { li { (mark.said(self.language)) } }
            }
            div class="wide" tabindex="0" role="region" aria-label=(words.level) {
                table class="levels" {
                    thead {
                        tr {
                            th scope="col" { (words.point) }
                            th scope="col" { (words.level) }
                            th scope="col" { (words.rating) }
                        }
                    }
                    tbody {
                        @for node in &diagram.nodes {
                            tr {
                                th scope="row" {
                                    (node.label)
                                    @if let Some(passed) = passed(node) {
                                        br;
                                        span class="small" { (passed) }
                                    }
                                }
                                td { (shown(node.level_dbm, 1)) " dBm" }
                                td {
                                    @if let Some(most) = node.power_max_w { (shown(most, 1)) " W" }
                                }
                            }
                        }
                    }
                }
            }
        }
    }

    fn rest(&self, report: &VisitReport) -> Markup {
        let words = self.words;
        html! {
            section {
                @if !report.licence.is_empty() {
                    h2 { (words.licence) }
                    ul {
                        @for it in &report.licence {
                            li {
                                (mark(Some(it.outcome))) " " strong { (it.subject) } ": "
                                (self.language.outcome(Some(it.outcome))) ". " (it.words) br;
                                span class="small" {
                                    (it.source)
                                    @if !it.verified { " (" (words.not_verified) ")" }
                                }
                            }
                        }
                    }
                }
                h2 { (words.instruments) }
                ul {
                    @for it in &report.instruments {
                        li {
                            (it.name) ", " (words.calibrated_until) " " (it.calibration_due)
                            @if !it.held { " (" strong { (words.not_held) } ")" }
                        }
                    }
                }
                (remarks(words.notes, &report.notes))
                @if !report.withdrawn.is_empty() {
                    h2 { (words.withdrawn) }
                    ul {
                        @for line in &report.withdrawn {
                            @for it in line.as_found.iter().chain(&line.as_left) {
                                li {
                                    strong { (line.title) } ": " s { (it.typed) } ", " (it.by) ", "
                                    (it.at) ". " (line.taken_back.as_deref().unwrap_or_default())
                                }
                            }
                        }
                    }
                }
                h2 { (words.cautions) }
                ul {
                    @for it in &report.cautions {
                        li {
                            strong { (it.title) } " (" (words.read_by) " " (it.read_by.join(", "))
                            "). " (it.text)
                        }
                    }
                }
                p { strong { (report.deferral) } }
                (wording(&report.letterhead))
                h2 { (words.signed) }
                @if report.signatures.is_empty() { p { (words.not_signed) } }
                ul {
                    @for it in &report.signatures {
                        li {
                            strong { (it.by) } ", " (it.device) ", " (it.at) br;
                            span class="small" { (words.key) " " code { (it.key) } }
                        }
                    }
                }
                (remarks(words.amended, &report.amended))
            }
        }
    }
}

/// What people wrote under a title, where they did.
pub(super) fn remarks(title: &str, remarks: &[DoneBy]) -> Markup {
    html! {
        @if !remarks.is_empty() {
            h3 { (title) }
            ul {
                @for it in remarks {
                    li { (it.text) " " span class="small" { (it.by) ", " (it.at) } }
                }
            }
        }
    }
}

/// A mark of its own shape for each outcome, as on the screens.
pub(super) fn mark(outcome: Option<Outcome>) -> Markup {
    let (class, shape, sign) = match outcome {
        Some(Outcome::Pass) => ("pass", "M20 2 A18 18 0 1 1 19.9 2 Z", "M11 21 l6 7 l12 -15"),
        Some(Outcome::ConditionalPass) => {
            ("conditional", "M20 2 L39 37 H1 Z", "M20 14 V25 M20 30 V32.5")
        }
        Some(Outcome::ConditionalFail) => {
            ("conditional", "M20 38 L39 3 H1 Z", "M20 8 V19 M20 24 V26.5")
        }
        Some(Outcome::Fail) => (
            "fail",
            "M12.5 2 H27.5 L38 12.5 V27.5 L27.5 38 H12.5 L2 27.5 V12.5 Z",
            "M13 13 L27 27 M27 13 L13 27",
        ),
        Some(Outcome::NotJudged) | None => ("none", "M20 4 A16 16 0 1 1 19.9 4 Z", ""),
    };
    html! {
        svg class=(format!("mark {class}")) viewBox="0 0 40 40" aria-hidden="true" {
            path class="shape" d=(shape) {}
            path class="sign" d=(sign) {}
        }
    }
}
