//! The typesetter: a report as a PDF.
//!
//! In: a visit's or a site's report or a shop's day as data, a paper size, a language. Out: the
//! bytes of a tagged PDF. No network, no file, no clock: the fonts are built in, and the same
//! report gives the same bytes. What people typed reaches the page as data and never as markup.
//! Knows no record and decides nothing.

use std::sync::OnceLock;

use guyline_core::record::logo::{Logo, LogoKind};
use guyline_core::report::{
    Drawings, Language, Letterhead, Paper, Paperwork, SiteReport, VisitReport, drawing, trend_said,
};
use serde_json::{Value, json};
use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::visualize::{ExchangeFormat, RasterImage};
use typst::{Library, LibraryExt, World};
use typst_kit::fonts::FontStore;
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards};

const REPORT: &str = include_str!("report.typ");
const SITE: &str = include_str!("site.typ");
const DAY: &str = include_str!("day.typ");
const SHARED: &str = include_str!("shared.typ");
const DRAWING: &str = include_str!("drawing.typ");
const PHOTOGRAPHS: &str = include_str!("photographs.typ");

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
        Paperwork::Visit(_, verification) | Paperwork::Site(_, verification) => {
            verification.join("\n")
        }
        Paperwork::Day(day) => format!("{} {}", day.shop, day.day),
    }
}

fn told(errors: &[SourceDiagnostic]) -> String {
    let words: Vec<String> = errors.iter().map(|error| error.message.to_string()).collect();
    words.join("; ")
}

/// What the template reads.
fn data(work: Paperwork<'_>, language: Language, paper: Paper, logo: Option<&Sign>) -> Value {
    let mut own = match work {
        Paperwork::Visit(report, verification) => visit(report, language, verification),
        Paperwork::Site(report, verification) => site(report, language, verification),
        Paperwork::Day(day) => json!({ "day": day }),
    };
    let letterhead = letterhead(work);
    own["under_name"] = json!(letterhead.under_name().collect::<Vec<_>>());
    own["logo"] = logo
        .map_or(Value::Null, |logo| json!({ "width_pt": logo.width_pt, "format": logo.format }));
    json!({
        "own": own,
        "words": language.words(),
        "said": language.names(),
        "paper": name(paper),
    })
}

fn visit(report: &VisitReport, language: Language, verification: &[String]) -> Value {
    let marks = report
        .diagrams
        .iter()
        .map(|levels| levels.marks.iter().map(|mark| mark.said(language)).collect::<Vec<_>>());
    json!({
        "report": report,
        "rule": language.rule(report.decision_rule),
        "drawings": Drawings::of(report, language),
        "marks": marks.collect::<Vec<_>>(),
        "verification": verification,
        "pictures": report.pictures.keys().collect::<Vec<_>>(),
    })
}

fn site(report: &SiteReport, language: Language, verification: &[String]) -> Value {
    let plots = report.channels.iter().map(|channel| {
        let plot = |it| {
            let (drawing, said) = (drawing::history(it, language), trend_said(it, language));
            json!({ "drawing": drawing, "said": said })
        };
        channel.history.iter().map(plot).collect::<Vec<_>>()
    });
    let own = language.site_words();
    let more = report.channels.iter().map(|channel| {
        let more = channel.latest.as_ref().map_or(0, |latest| latest.photographs.more);
        (more > 0).then(|| own.more_photographs(more))
    });
    json!({
        "report": report,
        "words": own,
        "needs": report.needs.iter().map(|need| need.said(language)).collect::<Vec<_>>(),
        "plots": plots.collect::<Vec<_>>(),
        "pictures": report.pictures.keys().collect::<Vec<_>>(),
        "more_photographs": more.collect::<Vec<_>>(),
        "verification": verification,
    })
}

fn letterhead(work: Paperwork<'_>) -> &Letterhead {
    match work {
        Paperwork::Visit(report, _) => &report.letterhead,
        Paperwork::Site(report, _) => &report.letterhead,
        Paperwork::Day(day) => &day.letterhead,
    }
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
    parts: [Source; 3],
    files: Vec<(FileId, Bytes)>,
}

impl Sheet {
    fn of(work: Paperwork<'_>, language: Language, paper: Paper) -> Self {
        let (name, template) = match work {
            Paperwork::Visit(..) => ("report.typ", REPORT),
            Paperwork::Site(..) => ("site.typ", SITE),
            Paperwork::Day(_) => ("day.typ", DAY),
        };
        let logo = letterhead(work).logo.as_ref().and_then(Sign::of);
        let data = data(work, language, paper, logo.as_ref()).to_string();
        let mut files = vec![(file("data.json"), Bytes::from_string(data))];
        files.extend(pictures(work));
        files.extend(logo.map(|logo| (file("logo"), Bytes::new(logo.bytes))));
        let source = |name: &str, text: &str| Source::new(file(name), text.to_owned());
        Self {
            library: LazyHash::new(<Library as LibraryExt>::default()),
            template: source(name, template),
            parts: [
                source("shared.typ", SHARED),
                source("drawing.typ", DRAWING),
                source("photographs.typ", PHOTOGRAPHS),
            ],
            files,
        }
    }
}

/// A shop's sign that can be laid out.
struct Sign {
    bytes: Vec<u8>,
    format: &'static str,
    width_pt: f64,
}

/// A sign is at most so wide and so high on paper, in points.
const SIGN_MAX_PT: [f64; 2] = [150.0, 48.0];

impl Sign {
    /// None where its pixels cannot be read: a report must not fail for a picture that somebody's
    /// device let in, and the Papers screen shows that it is none.
    fn of(logo: &Logo) -> Option<Self> {
        let bytes = logo.bytes()?;
        let (format, known) = match logo.kind {
            LogoKind::Png => ("png", ExchangeFormat::Png),
            LogoKind::Jpeg => ("jpg", ExchangeFormat::Jpg),
        };
        RasterImage::plain(Bytes::new(bytes.clone()), known).ok()?;
        let (width, height) = (f64::from(logo.width), f64::from(logo.height));
        let scale = (SIGN_MAX_PT[0] / width).min(SIGN_MAX_PT[1] / height).min(1.0);
        Some(Self { bytes, format, width_pt: width * scale })
    }
}

/// The pictures of a report, each a file named by its hash.
fn pictures(work: Paperwork<'_>) -> Vec<(FileId, Bytes)> {
    let pictures = match work {
        Paperwork::Visit(report, _) => &report.pictures,
        Paperwork::Site(report, _) => &report.pictures,
        Paperwork::Day(_) => return Vec::new(),
    };
    let named = pictures.iter();
    let named = named.filter(|(hash, _)| hash.bytes().all(|b| b.is_ascii_alphanumeric()));
    let picture = |(hash, bytes): (&String, &Vec<u8>)| {
        (file(&format!("picture-{hash}.jpg")), Bytes::new(bytes.clone()))
    };
    named.map(picture).collect()
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
        let mut known = std::iter::once(&self.template).chain(&self.parts);
        known.find(|source| source.id() == id).cloned().ok_or(FileError::AccessDenied)
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        let known = self.files.iter().find(|(known, _)| *known == id);
        known.map(|(_, bytes)| bytes.clone()).ok_or(FileError::AccessDenied)
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
