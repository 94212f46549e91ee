//! What leaves the tool: a visit's or a site's report or a shop's day as a file, with a seal that
//! tells whether it was changed.
//!
//! In: a report as data. Out: bytes, as PDF, as one self-contained HTML file, as plain text, or as
//! JSON. Nothing here judges or words anything anew; what people typed reaches a file as text only.
//! Besides, [`qr`]: what another device may read with a camera.
//! The PDF's typesetter is given from outside, so that nothing that makes no PDF carries it.

mod day;
mod drawing;
pub mod html;
mod mail;
mod photographs;
pub mod qr;
mod readings;
pub mod seal;
mod site;
mod site_text;
pub mod text;

use guyline_core::report::{Language, Paper, Paperwork};
use serde::{Deserialize, Serialize};
use ts_rs::TS;

/// Makes a PDF of something, or says why not.
pub type Typesetter = fn(Paperwork<'_>, Language, Paper) -> Result<Vec<u8>, String>;

/// The kind of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, TS, clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum FileForm {
    /// For the customer and for paper.
    Pdf,
    /// One file for a browser or for mail.
    Html,
    /// Plain text.
    Text,
    /// The report as data.
    Json,
}

impl FileForm {
    /// The end of a file's name.
    pub fn extension(self) -> &'static str {
        match self {
            Self::Pdf => "pdf",
            Self::Html => "html",
            Self::Text => "txt",
            Self::Json => "json",
        }
    }

    /// The form a file's name ends with.
    pub fn of_extension(extension: &str) -> Option<Self> {
        let forms = [Self::Pdf, Self::Html, Self::Text, Self::Json];
        forms.into_iter().find(|form| form.extension() == extension)
    }

    /// Its media type (RFC 6838).
    pub fn media_type(self) -> &'static str {
        match self {
            Self::Pdf => "application/pdf",
            Self::Html => "text/html; charset=utf-8",
            Self::Text => "text/plain; charset=utf-8",
            Self::Json => "application/json",
        }
    }
}

/// Why a report cannot be made.
#[derive(Debug, thiserror::Error)]
pub enum NotRendered {
    /// No typesetter was given.
    #[error("this program was built without the part that makes PDF files")]
    NoTypesetter,
    /// The typesetter refused.
    #[error("{0}")]
    Typesetter(String),
}

/// A file's bytes, without a seal.
pub fn render(
    work: Paperwork<'_>,
    form: FileForm,
    (language, paper): (Language, Paper),
    typesetter: Option<Typesetter>,
) -> Result<Vec<u8>, NotRendered> {
    let text = match (form, work) {
        (FileForm::Pdf, _) => {
            let typesetter = typesetter.ok_or(NotRendered::NoTypesetter)?;
            return typesetter(work, language, paper).map_err(NotRendered::Typesetter);
        }
        (FileForm::Html, Paperwork::Visit(report, lines)) => html::page(report, language, lines),
        (FileForm::Html, Paperwork::Site(report, lines)) => site::page(report, language, lines),
        (FileForm::Html, Paperwork::Day(day)) => mail::page(day, language),
        (FileForm::Text, Paperwork::Visit(report, lines)) => text::page(report, language, lines),
        (FileForm::Text, Paperwork::Site(report, lines)) => {
            site_text::page(report, language, lines)
        }
        (FileForm::Text, Paperwork::Day(day)) => day::text(day, language),
        (FileForm::Json, Paperwork::Visit(report, _)) => json(report),
        (FileForm::Json, Paperwork::Site(report, _)) => json(report),
        (FileForm::Json, Paperwork::Day(day)) => json(day),
    };
    Ok(text.into_bytes())
}

fn json(value: &impl Serialize) -> String {
    serde_json::to_string_pretty(value).expect("text keys and finite numbers only")
}
