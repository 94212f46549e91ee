//! A visit's report as plain text, for a terminal, a ticket or a mail.

use guyline_core::checks::Stop;
use guyline_core::report::{Cell, DoneBy, Language, Levels, Line, VisitReport, Words};
use guyline_core::units::shown;

/// The widest line, in characters.
const WIDTH: usize = 78;

/// The whole report.
pub fn page(report: &VisitReport, language: Language, verification: &[String]) -> String {
    let mut out = Page { text: String::new(), language, words: language.words() };
    out.head(report);
    out.conclusions(report);
    out.readings(report);
    out.levels(report);
    out.rest(report);
    out.title(out.words.verification);
    out.wrapped(0, out.words.as_written);
    out.wrapped(0, out.words.how_to_verify);
    verification.iter().for_each(|line| out.line(line));
    out.text
}

/// A text broken at blanks into rows no wider than `width` characters, each indented. A word that
/// is wider stands alone and whole.
pub(crate) fn folded(text: &str, indent: usize, width: usize) -> Vec<String> {
    let pad = " ".repeat(indent);
    let (mut rows, mut row) = (Vec::new(), pad.clone());
    for word in text.split_whitespace() {
        let fits = row.chars().count() + 1 + word.chars().count() <= width;
        if !fits && row.len() > pad.len() {
            rows.push(std::mem::replace(&mut row, pad.clone()));
        }
        if row.len() > pad.len() {
            row.push(' ');
        }
        row.push_str(word);
    }
    rows.push(row);
    rows
}

pub(super) struct Page {
    pub(super) text: String,
    pub(super) language: Language,
    pub(super) words: &'static Words,
}

impl Page {
    pub(super) fn line(&mut self, text: &str) {
        self.text.push_str(text.trim_end());
        self.text.push('\n');
    }

    pub(super) fn title(&mut self, title: &str) {
        self.line("");
        self.line(title);
        self.line(&"-".repeat(title.chars().count()));
    }

    /// Text broken at blanks, each line indented. Line ends that were typed stay.
    pub(super) fn wrapped(&mut self, indent: usize, text: &str) {
        for typed in text.lines() {
            for row in folded(typed, indent, WIDTH) {
                self.line(&row);
            }
        }
    }

    fn head(&mut self, report: &VisitReport) {
        let words = self.words;
        self.line(&report.shop);
        report.letterhead.under_name().for_each(|line| self.wrapped(0, line));
        self.line(&format!("{}: {}", words.title, report.site));
        let mhz = |hz: u64| format!("{} MHz", shown(hz as f64 / 1e6, 5));
        let crew = match report.crew.is_empty() {
            true => words.nobody.to_owned(),
            false => report.crew.join(", "),
        };
        for (what, value) in [
            ("", report.repeater.clone()),
            (words.work_order, report.work_order.clone()),
            (words.visited, report.days(" - ")),
            (words.crew, crew),
            (words.receives, mhz(report.receive_hz)),
            (words.transmits, mhz(report.transmit_hz)),
        ] {
            let label = if what.is_empty() { String::new() } else { format!("{what}: ") };
            self.wrapped(0, &format!("{label}{value}"));
        }
    }

    fn conclusions(&mut self, report: &VisitReport) {
        let words = self.words;
        self.title(words.conclusions);
        let overall = &report.overall;
        self.line(&format!("{}: {}", words.overall, self.language.outcome(overall.worst)));
        let counts = overall.counts();
        let told = counts.iter().zip(words.counts).filter(|(count, _)| **count > 0);
        let told: Vec<String> = told.map(|(count, word)| format!("{count} {word}")).collect();
        self.line(&told.join(", "));
        if report.concluded.is_empty() {
            self.line(words.all_pass);
        }
        for it in &report.concluded {
            let outcome = self.language.outcome(Some(it.outcome));
            self.wrapped(0, &format!("* {}: {outcome}. {}", it.title, it.reason));
        }
        self.list(words.summary, &report.summary);
        self.title(words.adjusted);
        if report.adjusted.is_empty() {
            self.line(words.nothing_adjusted);
        }
        self.remarks(&report.adjusted);
        self.list(words.put_back, &report.put_back);
        self.title(words.to_do);
        if report.found.is_empty() {
            self.line(words.nothing_to_do);
        }
        for it in &report.found {
            self.wrapped(0, &format!("* {} ({})", it.what, self.language.weight(it.weight)));
            self.wrapped(4, &format!("{}: {}", words.because, it.evidence));
            self.wrapped(4, &format!("-> {}", it.next));
        }
    }

    fn list(&mut self, title: &str, remarks: &[DoneBy]) {
        if !remarks.is_empty() {
            self.title(title);
            self.remarks(remarks);
        }
    }

    fn remarks(&mut self, remarks: &[DoneBy]) {
        for it in remarks {
            self.wrapped(0, &format!("* {} ({}, {})", it.text, it.by, it.at));
        }
    }

    fn readings(&mut self, report: &VisitReport) {
        let words = self.words;
        self.title(words.readings);
        self.wrapped(0, &format!("{}: {}.", words.rule, self.language.rule(report.decision_rule)));
        for stage in &report.stages {
            self.line("");
            self.line(&self.language.stage(stage.stage).to_uppercase());
            stage.lines.iter().for_each(|line| self.check(line));
        }
    }

    fn check(&mut self, line: &Line) {
        let words = self.words;
        self.wrapped(0, &format!("{} ({})", line.title, line.plane));
        for (phase, cells) in [(words.as_found, &line.as_found), (words.as_left, &line.as_left)] {
            cells.iter().for_each(|cell| self.cell(phase, cell));
        }
        if line.as_found.is_empty() && line.as_left.is_empty() {
            self.line(&format!("    {}", words.not_read));
        }
    }

    fn cell(&mut self, phase: &str, it: &Cell) {
        let words = self.words;
        let outcome = self.language.outcome(Some(it.outcome));
        self.wrapped(2, &format!("{phase}: {} {} [{outcome}]", it.value, it.uncertainty));
        let verified =
            if it.verified { String::new() } else { format!(" ({})", words.not_verified) };
        let limit = format!("{}: {}, {}{verified}", words.limit, it.limit, it.source);
        self.wrapped(4, &format!("{limit}; {} {}", words.margin, it.margin));
        let with = format!("{}, {}", it.instrument, it.chain);
        self.wrapped(4, &format!("{} {}, {}, {}; {with}", words.read, it.typed, it.by, it.at));
    }

    /// Level by level, with what was read along the way.
    fn levels(&mut self, report: &VisitReport) {
        let words = self.words;
        if !report.diagrams.is_empty() {
            self.title(words.levels);
        }
        for Levels { chains, diagram, marks, .. } in &report.diagrams {
            let mhz = shown(diagram.frequency_hz as f64 / 1e6, 5);
            self.wrapped(0, &format!("{}, {mhz} MHz ({})", diagram.title, chains.join(", ")));
            for node in &diagram.nodes {
                let loss = node.loss_db.map(|loss| format!(" {} dB", shown(-loss, 2)));
                let passed = node.element.as_ref().zip(loss);
                let passed = passed.map(|(element, loss)| format!("{element}{loss} -> "));
                let most = node.power_max_w.map(|most| format!(", {} {most} W", words.rating));
                let (passed, most) = (passed.unwrap_or_default(), most.unwrap_or_default());
                let level = shown(node.level_dbm, 1);
                self.wrapped(2, &format!("{passed}{}: {level} dBm{most}", node.label));
            }
            marks.iter().for_each(|mark| self.wrapped(4, &mark.said(self.language)));
        }
    }

    fn rest(&mut self, report: &VisitReport) {
        let words = self.words;
        for stop in &report.stops {
            self.line("");
            let Stop { at, what, help, .. } = stop;
            self.wrapped(0, &format!("{}: {at}. {what}. {help}.", words.do_not_key.to_uppercase()));
        }
        if !report.licence.is_empty() {
            self.title(words.licence);
        }
        for it in &report.licence {
            let outcome = self.language.outcome(Some(it.outcome));
            self.wrapped(0, &format!("* {}: {outcome}. {} ({})", it.subject, it.words, it.source));
        }
        self.title(words.instruments);
        for it in &report.instruments {
            let held = if it.held { String::new() } else { format!(" ({})", words.not_held) };
            let until = format!("{} {}{held}", words.calibrated_until, it.calibration_due);
            self.wrapped(0, &format!("* {}, {until}", it.name));
        }
        self.list(words.notes, &report.notes);
        let attached = super::photographs::lines(&report.attached);
        if !attached.is_empty() {
            self.title(words.attached);
            attached.iter().for_each(|line| self.wrapped(0, line));
        }
        if !report.withdrawn.is_empty() {
            self.title(words.withdrawn);
        }
        for line in &report.withdrawn {
            let why = line.taken_back.as_deref().unwrap_or_default();
            for it in line.as_found.iter().chain(&line.as_left) {
                let read = format!("{}: {}, {}, {}", line.title, it.typed, it.by, it.at);
                self.wrapped(0, &format!("* {read}. {why}"));
            }
        }
        self.title(words.cautions);
        for it in &report.cautions {
            let by = it.read_by.join(", ");
            self.wrapped(0, &format!("* {} ({} {by}). {}", it.title, words.read_by, it.text));
        }
        self.wrapped(0, &report.deferral);
        if let Some(wording) = &report.letterhead.wording {
            self.line("");
            self.wrapped(0, wording);
        }
        self.title(words.signed);
        if report.signatures.is_empty() {
            self.line(words.not_signed);
        }
        for it in &report.signatures {
            self.wrapped(0, &format!("* {}, {}, {}", it.by, it.device, it.at));
            self.line(&format!("  {} {}", words.key, it.key));
        }
        self.list(words.amended, &report.amended);
    }
}
