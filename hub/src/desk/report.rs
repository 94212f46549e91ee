//! The commands of what leaves the tool: a visit's report as a sealed file, and the check of one.
//!
//! A file is made from the record as it is here, names the changes it was made from, and is sealed
//! by this device. Checked, it tells three things apart: whether a byte was changed, whether the
//! record it names gives this very file, and what was changed in the record since.

use std::collections::BTreeMap;

use guyline_core::checks::PaperHeads;
use guyline_core::record::{Author, DocumentId};
use guyline_core::report::{AttachedLine, Language, Paper, Paperwork, VisitReport};

use super::judged::Judged;
use super::pages::{FileVerification, ReportFile};
use super::refusal::{Code, Refusal};
use super::requests::AskReport;
use super::session::{papers_and_heads, session_id};
use super::sign_off::at_heads;
use super::site_report;
use crate::Node;
use crate::attachments::renditions;
use crate::render::seal::{self, Origin, Sealed};
use crate::render::{FileForm, NotRendered, render};

/// What a report is to look like.
#[derive(Clone, Copy, Debug)]
pub struct Wanted {
    /// The kind of file.
    pub form: FileForm,
    /// The language of its fixed words.
    pub language: Language,
    /// The size of its sheets, where it has any.
    pub paper: Paper,
}

pub(super) fn make(node: &Node, asked: AskReport) -> Result<ReportFile, Refusal> {
    let AskReport { session, form, language, paper } = asked;
    let made = report_file(node, session_id(&session)?, Wanted { form, language, paper })?;
    Ok(ReportFile::of(made.name, form.media_type(), &made.bytes))
}

/// A report's file with the name it should get.
pub struct MadeFile {
    /// Letters, digits and hyphens only, with an end that says what it is.
    pub name: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// Makes a visit's report and seals it.
pub fn report_file(node: &Node, id: DocumentId, wanted: Wanted) -> Result<MadeFile, Refusal> {
    let (sheet, heads) = papers_and_heads(node, id)?;
    let origin = Origin {
        session: Some(heads.session),
        visits: Vec::new(),
        shop: heads.shop,
        site: heads.site,
        program: env!("CARGO_PKG_VERSION").to_owned(),
        language: wanted.language,
        paper: wanted.paper,
        device: node.name()?,
        pictures: Vec::new(),
    };
    let mut report = Judged::in_language(&sheet, wanted.language)?.report(&sheet);
    if matches!(wanted.form, FileForm::Pdf | FileForm::Html) {
        report.pictures = pictures_here(node, report.attached.iter(), renditions::PRINTED);
    }
    let origin = Origin { pictures: report.pictures.keys().cloned().collect(), ..origin };
    let content = content(node, &report, wanted.form, &origin)?;
    Ok(MadeFile {
        name: name(&report, wanted.form),
        bytes: seal::seal(content, wanted.form, &origin, node.device_key()),
    })
}

/// The pictures that are on this device, of at most so many pixels a side.
pub(super) fn pictures_here<'a>(
    node: &Node,
    lines: impl Iterator<Item = &'a AttachedLine>,
    side: u32,
) -> BTreeMap<String, Vec<u8>> {
    lines.filter_map(|it| Some((it.hash.clone(), picture(node, &it.hash, side)?))).collect()
}

/// The pictures that a file was made with, or the first that is not here.
pub(super) fn pictures_then(
    node: &Node,
    hashes: &[String],
    side: u32,
) -> Result<BTreeMap<String, Vec<u8>>, String> {
    let one = |hash: &String| match picture(node, hash, side) {
        Some(picture) => Ok((hash.clone(), picture)),
        None => Err(format!("picture {hash} is not on this device, or damaged")),
    };
    hashes.iter().map(one).collect()
}

/// A picture made smaller; none where it is not here, or no picture.
fn picture(node: &Node, hash: &str, side: u32) -> Option<Vec<u8>> {
    let made = node.contents().smaller(hash.parse().ok()?, side).ok()?;
    Some(made.to_vec())
}

fn content(
    node: &Node,
    report: &VisitReport,
    form: FileForm,
    origin: &Origin,
) -> Result<Vec<u8>, NotRendered> {
    let look = (origin.language, origin.paper);
    render(Paperwork::Visit(report, &origin.lines()), form, look, node.typesetter())
}

/// A name that says what it is and that every file system takes.
fn name(report: &VisitReport, form: FileForm) -> String {
    format!("{}.{}", plain(&[&report.site, &report.last_day]), form.extension())
}

/// Words as letters, digits and hyphens only.
pub(super) fn plain(words: &[&str]) -> String {
    let letters = |c: char| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' };
    let plain: String = words.join(" ").chars().map(letters).collect();
    let words: Vec<&str> = plain.split('-').filter(|word| !word.is_empty()).collect();
    words.join("-")
}

/// Checks a visit's or a site's report, made here or on another device.
pub fn verify_file(node: &Node, file: &[u8]) -> Result<FileVerification, Refusal> {
    let sealed = match seal::open(file) {
        Ok(sealed) => sealed,
        Err(refused) => {
            return Ok(FileVerification { refused: Some(refused.to_string()), ..nothing_told() });
        }
    };
    let told = FileVerification {
        key: Some(sealed.key.short()),
        this_device: sealed.key == node.key(),
        member: node.name_of(&sealed.key.to_string()),
        device: Some(sealed.origin.device.clone()),
        program: Some(sealed.origin.program.clone()),
        ..nothing_told()
    };
    match &sealed.origin.session {
        Some(session) => against_record(node, &sealed, session, told),
        None => site_report::against_record(node, &sealed, told),
    }
}

fn nothing_told() -> FileVerification {
    FileVerification {
        refused: None,
        key: None,
        this_device: false,
        member: None,
        device: None,
        program: None,
        missing: None,
        same_file: None,
        now: Vec::new(),
        changes: 0,
        intact: false,
    }
}

fn against_record(
    node: &Node,
    sealed: &Sealed<'_>,
    session: &PaperHeads,
    mut told: FileVerification,
) -> Result<FileVerification, Refusal> {
    let origin = &sealed.origin;
    let id = session_id(&session.document)?;
    let (now, heads) = match papers_and_heads(node, id) {
        Ok(now) => now,
        Err(refusal) => {
            told.missing = Some(refusal.what);
            return Ok(told);
        }
    };
    let then = at_heads(node, &now, session, &origin.shop, &origin.site)?;
    let Some(then) = then else {
        told.missing = Some("changes it was made from are not on this device".to_owned());
        return Ok(told);
    };
    let mut report = Judged::in_language(&then, origin.language)?.report(&then);
    match pictures_then(node, &origin.pictures, renditions::PRINTED) {
        Ok(pictures) => report.pictures = pictures,
        Err(missing) => {
            told.missing = Some(missing);
            return Ok(told);
        }
    }
    let again = content(node, &report, sealed.form, origin)?;
    told.same_file = Some(again.trim_ascii_end() == sealed.content.trim_ascii_end());
    let then_heads = (session, &origin.shop, &origin.site);
    // What stands on the same changes is judged the same.
    if then_heads != (&heads.session, &heads.shop, &heads.site) {
        let at = now.session.opened.at;
        let author = Author { person: String::new(), device: String::new(), at };
        let made = Judged::of(&then)?.statement(heads.clone(), &author);
        told.now = made.differences(&Judged::of(&now)?.statement(heads, &author));
    }
    told.changes = node
        .with_document(id, |document| document.changes_since(&session.heads))?
        .unwrap_or_default();
    told.intact = told.same_file == Some(true) && told.now.is_empty() && told.changes == 0;
    Ok(told)
}

impl From<NotRendered> for Refusal {
    fn from(error: NotRendered) -> Self {
        let help = match &error {
            NotRendered::NoTypesetter => "ask for html, text or json",
            NotRendered::Typesetter(_) => {
                "ask for html or text, and tell who looks after Guyline: this is its fault"
            }
        };
        Self::new(Code::NotRendered, error.to_string(), help)
    }
}
