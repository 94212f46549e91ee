//! Tables of readings in an HTML file, one a stage: what was read as found and as left, and its
//! limit.
//!
//! A visit's report tells each reading in full, with a bar, who read it and what its limit rests
//! on; a site's tells values and verdicts only.

use guyline_core::report::{Cell, Drawings, Language, Line, StageLines, Words};
use maud::{Markup, html};

use super::drawing::svg;
use super::html::mark;

/// Tables of a visit's or a site's readings.
pub(super) struct Readings<'a> {
    language: Language,
    words: &'static Words,
    /// The bars of the readings, where each is told in full.
    full: Option<&'a Drawings>,
}

impl<'a> Readings<'a> {
    /// Each in full, as the report of its visit has it.
    pub(super) fn in_full(language: Language, drawings: &'a Drawings) -> Self {
        Self { language, words: language.words(), full: Some(drawings) }
    }

    /// In short, as the report of a site has them.
    pub(super) fn in_short(language: Language) -> Self {
        Self { language, words: language.words(), full: None }
    }

    /// A table a stage.
    pub(super) fn tables(&self, stages: &[StageLines]) -> Markup {
        let words = self.words;
        html! {
            @for stage in stages {
                h3 { (self.language.stage(stage.stage)) }
                div class="wide" tabindex="0" role="region"
                    aria-label=(self.language.stage(stage.stage)) {
                    table class="readings" {
                        thead {
                            tr {
                                th scope="col" { (words.check) }
                                th scope="col" { (words.as_found) }
                                th scope="col" { (words.as_left) }
                                th scope="col" { (words.limit) }
                            }
                        }
                        tbody { @for line in &stage.lines { (self.row(line)) } }
                    }
                }
            }
        }
    }

    fn row(&self, line: &Line) -> Markup {
        let first = line.as_found.first().or(line.as_left.first());
        html! {
            tr {
                th scope="row" {
                    (line.title)
                    @if self.full.is_some() { br; span class="small" { (line.plane) } }
                }
                td {
                    @if first.is_none() { (self.words.not_read) }
                    @for it in &line.as_found { (self.cell(it)) }
                }
                td { @for it in &line.as_left { (self.cell(it)) } }
                td { @if let Some(it) = first { (self.limit(it)) } }
            }
        }
    }

    fn cell(&self, it: &Cell) -> Markup {
        html! {
            p {
                (mark(Some(it.outcome))) " " strong { (it.value) } " "
                span class="small whole" { (it.uncertainty) } br;
                (self.language.outcome(Some(it.outcome)))
                @if !it.margin.is_empty() { ", " (self.words.margin) " " (it.margin) }
                @if let Some(drawings) = self.full { (self.how_read(it, drawings)) }
            }
        }
    }

    fn how_read(&self, it: &Cell, drawings: &Drawings) -> Markup {
        html! {
            @if let Some(bar) = drawings.bars.get(&it.id) { (svg(bar)) } @else { br; }
            span class="small" {
                (self.words.read) " " (it.typed) ", " (it.by) ", " (it.at) br;
                (it.instrument) ", " (it.chain)
            }
        }
    }

    fn limit(&self, it: &Cell) -> Markup {
        html! {
            (it.limit)
            @if self.full.is_some() {
                br;
                span class="small" {
                    (it.source)
                    @if !it.verified { " (" (self.words.not_verified) ")" }
                }
            } @else if !it.verified {
                br;
                span class="small" { (self.words.not_verified) }
            }
        }
    }
}
