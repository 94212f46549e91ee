//! The commands of a visit's attachments: attach, caption, retire, look at one, fetch it now.
//!
//! The content is on disk before the record names it, so that no power cut leaves a name without
//! it. What a person called the file is kept as text and never used as a name of one.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use guyline_core::record::{Attached, Author, DocumentId, Session, SessionEdit, Subject};
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::asker::Asker;
use super::edit::{author, edit_session};
use super::pages::{ReportFile, SessionPage};
use super::refusal::{Code, Refusal};
use super::requests::AskSession;
use super::session::{not_here, papers, session_id, shown};
use crate::Node;
use crate::attachments::{AttachmentError, ContentHash, limits, private, renditions};

/// The list of a visit's attachments.
const ATTACHMENTS: &str = "attachments";
/// The longest file that one body from a screen over HTTP carries, in bytes: more than any
/// photograph or paper may have. A longer recording is attached on the command line.
pub const ATTACHED_FILE_BYTES_MAX: usize = 26 * 1024 * 1024;
/// The longest content that a browser elsewhere gets in an answer, in bytes. A hub would hold a
/// longer one several times over, for each that asks; as a file it goes out piece by piece.
const LOOKED_AT_BYTES_MAX: u64 = 1024 * 1024;
/// The longest name of a file that is kept, in characters.
const NAME_MAX: usize = 120;

/// A file to attach to a visit.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct Attach {
    /// The session's id.
    pub session: String,
    /// What the person calls the file.
    pub file_name: String,
    /// What it is said to be (RFC 6838); empty where nobody says.
    pub media_type: String,
    /// What it shows; empty where nobody says.
    pub caption: String,
    /// What it belongs to; none: to the whole visit.
    pub of: Option<Subject>,
    /// Whether a photograph keeps where and with what it was taken.
    pub keep_position: bool,
    /// Its bytes (RFC 4648, section 4).
    pub base64: String,
}

/// Another caption for an attachment.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct WriteCaption {
    /// The session's id.
    pub session: String,
    /// The attachment's id.
    pub attachment: String,
    /// What it shows.
    pub text: String,
}

/// An attachment of a visit.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct AskAttachment {
    /// The session's id.
    pub session: String,
    /// The attachment's id.
    pub attachment: String,
}

/// An attachment to look at.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct LookAtAttachment {
    /// The session's id.
    pub session: String,
    /// The attachment's id.
    pub attachment: String,
    /// A smaller one, to stand among others. Images only.
    pub small: bool,
}

/// An attachment in a line.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct AttachmentLine {
    /// Its id.
    pub id: String,
    /// The hash of its content.
    pub hash: String,
    /// What it is.
    pub media_type: String,
    /// Whether it can be shown as a picture.
    pub picture: bool,
    /// The length of its content, in bytes.
    #[ts(type = "number")]
    pub length: u64,
    /// What a person called the file.
    pub file_name: String,
    /// What it shows: two where two people said so apart.
    pub captions: Vec<String>,
    /// What it belongs to, in words; none: to the whole visit.
    pub of: Option<String>,
    /// Who, and when.
    pub stamp: guyline_core::record::Stamp,
    /// Whether it was taken off the visit. It stays in view, and can be put back.
    pub retired: bool,
    /// Whether its content is on this device.
    pub here: bool,
    /// How many bytes of it have come, where it is not whole yet.
    #[ts(type = "number")]
    pub arrived: u64,
}

/// What somebody attaches: its bytes and what is said of them.
pub struct Given<'a> {
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// What the person calls the file.
    pub file_name: &'a str,
    /// What it is said to be, where somebody says.
    pub media_type: Option<&'a str>,
    /// What it shows, where somebody says.
    pub caption: Option<&'a str>,
    /// What it belongs to; none: to the whole visit.
    pub of: Option<Subject>,
    /// Whether a photograph keeps where and with what it was taken.
    pub keep_position: bool,
}

/// Keeps content, and then records that it belongs to a visit. Gives the entry's id.
pub fn attach_file(
    node: &Node,
    session: DocumentId,
    author: &Author,
    given: Given<'_>,
) -> Result<String, Refusal> {
    let Given { bytes, file_name, media_type, caption, of, keep_position } = given;
    may_be_attached(node, session, author)?;
    let kind = limits::admit(&bytes, media_type).map_err(AttachmentError::from)?;
    let bytes = match kind.image {
        Some(format) if !keep_position => {
            private::picture_only(&bytes, format).map_err(AttachmentError::from)?
        }
        _ => bytes,
    };
    let what = Attached {
        hash: node.contents().put(&bytes)?.to_string(),
        media_type: kind.media_type.to_owned(),
        length: bytes.len() as u64,
        file_name: plain_name(file_name, kind.extension),
        caption: caption.map(str::trim).filter(|text| !text.is_empty()).map(str::to_owned),
        of,
    };
    let id = node.fresh_id();
    edit_session(node, session, author, &SessionEdit::Attach { id: id.clone(), what })?;
    Ok(id)
}

/// Refuses before anything is kept what the record would refuse after it.
fn may_be_attached(node: &Node, session: DocumentId, author: &Author) -> Result<(), Refusal> {
    let awaits = node.with_document(session, |document| {
        document.session().map(|session| !session.awaits_reason(&author.person).is_empty())
    })??;
    match awaits {
        true => Err(guyline_core::record::EditRefused::SignedOff.into()),
        false => Ok(()),
    }
}

/// What a person called a file, as a line of text: no folders, nothing that turns or hides letters.
fn plain_name(name: &str, extension: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or_default();
    let turns = |c: char| {
        let marks = '\u{200e}'..='\u{200f}';
        let embeddings = '\u{202a}'..='\u{202e}';
        marks.contains(&c) || embeddings.contains(&c) || ('\u{2066}'..='\u{2069}').contains(&c)
    };
    let plain: String =
        last.chars().filter(|c| !c.is_control() && !turns(*c)).take(NAME_MAX).collect();
    match plain.trim() {
        "" => format!("unnamed.{extension}"),
        plain => plain.to_owned(),
    }
}

pub(super) fn attach(node: &Asker, mut asked: Attach) -> Result<SessionPage, Refusal> {
    let id = session_id(&asked.session)?;
    // Let go as soon as it is decoded: it is the longest of all that is held.
    let text = std::mem::take(&mut asked.base64);
    let bytes = STANDARD.decode(&text).map_err(|error| {
        let what = format!("the file did not come whole: {error}");
        Refusal::new(Code::WrongBody, what, "choose the file again").at("base64")
    })?;
    drop(text);
    let given = Given {
        bytes,
        file_name: &asked.file_name,
        media_type: Some(&asked.media_type),
        caption: Some(&asked.caption),
        of: asked.of,
        keep_position: asked.keep_position,
    };
    attach_file(node, id, &author(node)?, given)?;
    shown(node, id)
}

pub(super) fn caption(node: &Asker, asked: WriteCaption) -> Result<SessionPage, Refusal> {
    let id = session_id(&asked.session)?;
    let WriteCaption { attachment, text, .. } = asked;
    let text = text.trim().to_owned();
    let edit = SessionEdit::Caption { id: node.fresh_id(), attachment, text };
    edit_session(node, id, &author(node)?, &edit)?;
    shown(node, id)
}

pub(super) fn retire(node: &Asker, asked: AskAttachment) -> Result<SessionPage, Refusal> {
    let id = session_id(&asked.session)?;
    let list = ATTACHMENTS.to_owned();
    let edit = SessionEdit::Retract { id: node.fresh_id(), list, entry: asked.attachment };
    edit_session(node, id, &author(node)?, &edit)?;
    shown(node, id)
}

/// Puts back on a visit what was taken off it: that taking off is taken back.
pub(super) fn put_back(node: &Asker, asked: AskAttachment) -> Result<SessionPage, Refusal> {
    let id = session_id(&asked.session)?;
    let taken_off = node.with_document(id, |document| {
        let session = document.session()?;
        let of_it = session.retractions.iter().filter(|(id, retraction)| {
            retraction.list == ATTACHMENTS
                && retraction.entry == asked.attachment
                && session.stands("retractions", id)
        });
        Ok::<_, Refusal>(of_it.map(|(id, _)| id.clone()).collect::<Vec<_>>())
    })??;
    let author = author(node)?;
    // Two may have taken it off apart.
    for entry in taken_off {
        let list = "retractions".to_owned();
        edit_session(
            node,
            id,
            &author,
            &SessionEdit::Retract { id: node.fresh_id(), list, entry },
        )?;
    }
    shown(node, id)
}

/// The bytes of an attachment, as a file.
pub(super) fn look(node: &Node, asked: LookAtAttachment) -> Result<ReportFile, Refusal> {
    let session = papers(node, session_id(&asked.session)?)?.session;
    let hash = hash_in(&session, &asked.attachment)?;
    if asked.small {
        let bytes = node.contents().smaller(hash, renditions::SMALL)?;
        return Ok(ReportFile::of(format!("{}.jpg", short(hash)), "image/jpeg", &bytes));
    }
    let length = session.attachments.get(&asked.attachment).map_or(0, |found| found.length);
    if node.visitor().is_some() && length > LOOKED_AT_BYTES_MAX {
        let what = format!("{length} bytes are too many for one answer to a browser");
        let help = format!("get it as a file, at /attachment/{hash}");
        return Err(Refusal::new(Code::TooLarge, what, help));
    }
    let (name, media_type, bytes) = content_file(node, hash)?;
    Ok(ReportFile::of(name, media_type, &bytes))
}

/// The content under a hash as a file: a name made from the hash, and the type its bytes are of.
pub fn content_file(
    node: &Node,
    hash: ContentHash,
) -> Result<(String, &'static str, Vec<u8>), AttachmentError> {
    let bytes = node.contents().read(hash)?;
    let (media_type, extension) = match limits::recognise(&bytes) {
        Some(kind) => (kind.media_type, kind.extension),
        None => ("application/octet-stream", "bin"),
    };
    Ok((format!("{}.{extension}", short(hash)), media_type, bytes))
}

/// The first digits of a hash: enough to tell files apart.
fn short(hash: ContentHash) -> String {
    hash.to_string().chars().take(12).collect()
}

/// The hash of an attachment's content.
pub fn hash_in(session: &Session, attachment: &str) -> Result<ContentHash, Refusal> {
    let found = session.attachments.get(attachment);
    let hash = found.and_then(|found| found.hash.parse().ok());
    hash.ok_or_else(|| not_here("attachment", attachment))
}

/// Everything that was ever attached to a visit, oldest first.
pub fn attachment_lines(
    node: &Node,
    session: &Session,
    named: impl Fn(&Subject) -> String,
) -> Vec<AttachmentLine> {
    let contents = node.contents();
    let line = |(id, it): (&str, &guyline_core::record::Attachment)| {
        let hash: Option<ContentHash> = it.hash.parse().ok();
        // Where it cannot be asked, the bucket has said so in the log: what is shown as not here
        // then is tried again with the next look.
        let here = hash.is_some_and(|hash| contents.has(hash).unwrap_or(false));
        AttachmentLine {
            id: id.to_owned(),
            hash: it.hash.clone(),
            media_type: it.media_type.clone(),
            picture: limits::KINDS
                .iter()
                .any(|kind| kind.media_type == it.media_type && kind.image.is_some()),
            length: it.length,
            file_name: it.file_name.clone(),
            captions: session.captions_of(id).into_iter().map(str::to_owned).collect(),
            of: it.of.as_ref().map(&named),
            stamp: it.stamp.clone(),
            retired: !session.stands(ATTACHMENTS, id),
            here,
            arrived: hash.filter(|_| !here).map_or(0, |hash| contents.arrived(hash)),
        }
    };
    session.attachments.iter().map(|(id, it)| line((id.as_str(), it))).collect()
}

/// Asks the devices met before for what this visit names and this device lacks.
pub(super) async fn fetch(asker: &Asker, asked: AskSession) -> Result<SessionPage, Refusal> {
    let id = session_id(&asked.session)?;
    crate::sync::contents::fetch_from_all(asker).await?;
    let asks = asker.clone();
    asker.on_disk(move |_| shown(&asks, id)).await
}

impl From<AttachmentError> for Refusal {
    fn from(error: AttachmentError) -> Self {
        let code = match &error {
            AttachmentError::Unfit(crate::attachments::Unfit::TooLong { .. })
            | AttachmentError::NoRoom { .. } => Code::TooLarge,
            AttachmentError::Unfit(_) => Code::EditRefused,
            AttachmentError::Absent => Code::NotHere,
            AttachmentError::Foreign { .. } => Code::ExchangeFailed,
            AttachmentError::Damaged
            | AttachmentError::Bucket(_)
            | AttachmentError::Full { .. }
            | AttachmentError::File { .. } => Code::StoreFailed,
        };
        Self::new(code, error.to_string(), error.help())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_person_calls_a_file_is_a_line_of_text_and_no_path() {
        for (given, kept) in [
            ("IMG_0001.jpg", "IMG_0001.jpg"),
            ("../../node.sqlite", "node.sqlite"),
            ("C:\\fakepath\\label.png", "label.png"),
            ("a\u{202e}gpj.exe", "agpj.exe"),
            ("two\nlines\0.jpg", "twolines.jpg"),
            ("  ", "unnamed.jpg"),
            ("photos/", "unnamed.jpg"),
        ] {
            assert_eq!(plain_name(given, "jpg"), kept);
        }
        assert_eq!(plain_name(&"x".repeat(400), "jpg").chars().count(), NAME_MAX);
    }
}
