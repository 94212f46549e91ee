//! The typesetter: a report as a PDF.
//!
//! In: a visit's report or a shop's day as data, a paper size, a language. Out: the bytes of a
//! tagged PDF. No network, no file, no clock: the fonts are built in, and the same report gives the
//! same bytes. What people typed reaches the page as data and never as markup. Knows no record and
//! decides nothing.

use std::sync::OnceLock;

use guyline_core::report::{Language, Paper, Paperwork};
use serde_json::{Value, json};
use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World};
use typst_kit::fonts::FontStore;
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards};

const REPORT: &str = include_str!("report.typ");
const DAY: &str = include_str!("day.typ");
const SHARED: &str = include_str!("shared.typ");

/// Why there is no PDF.
#[derive(Debug, thiserror::Error)]
pub enum NotTypeset {
    /// The template does not take this report: a fault of the program.
    #[error("the report could not be laid out: {0}")]
    Layout(String),
    /// The pages cannot be written as a tagged PDF.
    #[error("the report could not be written as PDF: {0}")]
    Pdf(String),
}

/// Lays something out.
pub fn pdf(work: Paperwork<'_>, language: Language, paper: Paper) -> Result<Vec<u8>, NotTypeset> {
    let sheet = Sheet::of(work, language, paper);
    let document = typst::compile::<PagedDocument>(&sheet)
        .output
        .map_err(|errors| NotTypeset::Layout(told(&errors)))?;
    let standards = PdfStandards::new(&[PdfStandard::Ua_1])
        .map_err(|error| NotTypeset::Pdf(error.message().to_string()))?;
    let options = PdfOptions {
        ident: Smart::Custom(ident(work)),
        creator: Smart::Custom(Some("Guyline".to_owned())),
        standards,
        ..PdfOptions::default()
    };
    typst_pdf::pdf(&document, &options).map_err(|errors| NotTypeset::Pdf(told(&errors)))
}

/// What tells one document from another, and stays when it is made again.
fn ident(work: Paperwork<'_>) -> String {
    match work {
        Paperwork::Visit(_, verification) => verification.join("\n"),
        Paperwork::Day(day) => format!("{} {}", day.shop, day.day),
    }
}

fn told(errors: &[SourceDiagnostic]) -> String {
    let words: Vec<String> = errors.iter().map(|error| error.message.to_string()).collect();
    words.join("; ")
}

/// What the template reads.
fn data(work: Paperwork<'_>, language: Language, paper: Paper) -> Value {
    let own = match work {
        Paperwork::Visit(report, verification) => json!({
            "report": report,
            "rule": language.rule(report.decision_rule),
            "verification": verification,
        }),
        Paperwork::Day(day) => json!({ "day": day }),
    };
    json!({
        "own": own,
        "words": language.words(),
        "said": language.names(),
        "paper": name(paper),
    })
}

/// The template's name for a paper.
fn name(paper: Paper) -> &'static str {
    match paper {
        Paper::A4 => "a4",
        Paper::Letter => "us-letter",
    }
}

/// The little world a template is laid out in: itself, its data, and the built-in fonts.
struct Sheet {
    library: LazyHash<Library>,
    template: Source,
    shared: Source,
    data: (FileId, Bytes),
}

impl Sheet {
    fn of(work: Paperwork<'_>, language: Language, paper: Paper) -> Self {
        let (name, template) = match work {
            Paperwork::Visit(..) => ("report.typ", REPORT),
            Paperwork::Day(_) => ("day.typ", DAY),
        };
        let data = data(work, language, paper).to_string();
        Self {
            library: LazyHash::new(<Library as LibraryExt>::default()),
            template: Source::new(file(name), template.to_owned()),
            shared: Source::new(file("shared.typ"), SHARED.to_owned()),
            data: (file("data.json"), Bytes::from_string(data)),
        }
    }
}

fn file(name: &str) -> FileId {
    let path = VirtualPath::new(name).expect("a plain file name");
    RootedPath::new(VirtualRoot::Project, path).intern()
}

/// The built-in fonts, read once.
fn fonts() -> &'static FontStore {
    static FONTS: OnceLock<FontStore> = OnceLock::new();
    FONTS.get_or_init(|| {
        let mut fonts = FontStore::new();
        fonts.extend(typst_kit::fonts::embedded());
        fonts
    })
}

impl World for Sheet {
    fn library(&self) -> &LazyHash<Library> {
        &self.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        fonts().book()
    }

    fn main(&self) -> FileId {
        self.template.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        let known = [&self.template, &self.shared].into_iter().find(|source| source.id() == id);
        known.cloned().ok_or(FileError::AccessDenied)
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        if id == self.data.0 {
            return Ok(self.data.1.clone());
        }
        Err(FileError::AccessDenied)
    }

    fn font(&self, index: usize) -> Option<Font> {
        fonts().font(index)
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        // A report is of its visit, not of the day it is printed.
        None
    }
}

#[cfg(test)]
mod tests;
