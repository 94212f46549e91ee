//! Attachments of a visit: photographs, sweeps, recordings, certificates. Here is what the record
//! says of them; their content is kept beside it, by its hash, and never in it.
//!
//! In: who attaches what to what. Out: entries like the others: added, never changed, taken back in
//! view. A caption written later is an entry of its own that replaces those its author had seen, so
//! that two written apart both stay until somebody writes a third. A file's name is text that a
//! person typed; nothing may use it as one.

use autosurgeon::{Hydrate, Reconcile};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::session::{Session, Stamp};
use super::validate::{NAME_MAX, TEXT_MAX, text_problem};

/// The list of what was attached.
pub(super) const ATTACHMENTS: &str = "attachments";
/// The list of captions written later.
pub(super) const CAPTIONS: &str = "captions";
/// No content is longer, in bytes, whatever its type: 256 MiB. What a node takes is less; this
/// bounds what a document from elsewhere may say.
pub const CONTENT_BYTES_MAX: u64 = 256 * 1024 * 1024;
/// The longest media type, in bytes (RFC 6838 allows 127 for each half; none in use is near it).
const MEDIA_TYPE_MAX: usize = 100;

/// Something attached to a visit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Attachment {
    /// The BLAKE3 hash of its content, in 64 hexadecimal digits.
    pub hash: String,
    /// What it is, as in `image/jpeg` (RFC 6838).
    pub media_type: String,
    /// The length of its content, in bytes.
    #[ts(type = "number")]
    pub length: u64,
    /// What a person called the file. Text, never a path.
    pub file_name: String,
    /// What it shows, where its author said so at once.
    #[serde(default)]
    pub caption: Option<String>,
    /// What it belongs to; none: to the whole visit.
    #[serde(default)]
    pub of: Option<Subject>,
    /// Who, and when.
    pub stamp: Stamp,
}

/// What an attachment belongs to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Subject {
    /// The kind of thing.
    pub kind: SubjectKind,
    /// Its id: a check's in the plan, a reading's in this session, a finding's as it was shown.
    pub id: String,
}

/// The kinds of thing an attachment can belong to, beside the whole visit.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate,
)]
#[serde(rename_all = "kebab-case")]
pub enum SubjectKind {
    /// A check of the plan.
    #[autosurgeon(rename = "check")]
    Check,
    /// A reading of this session.
    #[autosurgeon(rename = "reading")]
    Reading,
    /// Something found. Findings are worked out anew each time: the id is what it was called then.
    #[autosurgeon(rename = "finding")]
    Finding,
}

/// What somebody attaches, before it is signed.
#[derive(Clone, Debug, PartialEq)]
pub struct Attached {
    /// The BLAKE3 hash of its content, in 64 hexadecimal digits.
    pub hash: String,
    /// What it is.
    pub media_type: String,
    /// The length of its content, in bytes.
    pub length: u64,
    /// What a person called the file.
    pub file_name: String,
    /// What it shows, where that was said.
    pub caption: Option<String>,
    /// What it belongs to; none: to the whole visit.
    pub of: Option<Subject>,
}

/// A caption written after something was attached.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate)]
#[serde(deny_unknown_fields)]
pub struct Caption {
    /// The attachment, by id.
    pub attachment: String,
    /// What it shows.
    pub text: String,
    /// The captions this one takes the place of: all that its author had seen.
    pub replaces: Vec<String>,
    /// Who, and when.
    pub stamp: Stamp,
}

impl Attached {
    pub(super) fn signed(self, stamp: Stamp) -> Attachment {
        let Self { hash, media_type, length, file_name, caption, of } = self;
        Attachment { hash, media_type, length, file_name, caption, of, stamp }
    }
}

impl Session {
    /// What an attachment shows, in words: none where nobody said, two where two people said so
    /// without seeing each other's.
    pub fn captions_of(&self, attachment: &str) -> Vec<&str> {
        let later: Vec<&str> =
            self.later_captions(attachment).map(|(_, caption)| caption.text.as_str()).collect();
        let first = self.attachments.get(attachment).and_then(|found| found.caption.as_deref());
        match later.is_empty() {
            true => first.into_iter().collect(),
            false => later,
        }
    }

    /// What was attached and not taken back, oldest first.
    pub fn standing_attachments(&self) -> impl Iterator<Item = (&str, &Attachment)> {
        let standing = self.attachments.iter().filter(|(id, _)| self.stands(ATTACHMENTS, id));
        standing.map(|(id, attachment)| (id.as_str(), attachment))
    }

    /// A caption that takes the place of all that stand.
    pub(super) fn next_caption(&self, attachment: String, text: String, stamp: Stamp) -> Caption {
        let replaces = self.later_captions(&attachment).map(|(id, _)| id.to_owned()).collect();
        Caption { attachment, text, replaces, stamp }
    }

    /// The captions of an attachment that stand and that none which stands takes the place of.
    fn later_captions(&self, attachment: &str) -> impl Iterator<Item = (&str, &Caption)> {
        let standing = |id: &str| self.stands(CAPTIONS, id);
        let replaced = move |id: &str| {
            self.captions.iter().any(|(by, later)| {
                standing(by) && later.replaces.iter().any(|replaced| replaced == id)
            })
        };
        let of_it = self.captions.iter().filter(move |(id, caption)| {
            caption.attachment == attachment && standing(id) && !replaced(id)
        });
        of_it.map(|(id, caption)| (id.as_str(), caption))
    }
}

/// What is wrong with an attachment by itself, and at which field.
pub(super) fn problem(attachment: &Attached) -> Option<(&'static str, String)> {
    let Attached { hash, media_type, length, file_name, caption, of } = attachment;
    if !is_hash(hash) {
        return Some(("hash", "is not 64 hexadecimal digits in lower case".to_owned()));
    }
    if !is_media_type(media_type) {
        let shown: String = media_type.chars().take(NAME_MAX).collect();
        return Some(("media_type", format!("{shown:?} is no media type as in image/jpeg")));
    }
    if !(1..=CONTENT_BYTES_MAX).contains(length) {
        return Some(("length", format!("of {length} bytes is outside 1 to {CONTENT_BYTES_MAX}")));
    }
    if let Some(problem) = line_problem(file_name) {
        return Some(("file_name", problem));
    }
    let told = caption.as_ref().and_then(|text| text_problem(text, TEXT_MAX));
    if let Some(problem) = told {
        return Some(("caption", problem));
    }
    let subject = of.as_ref().and_then(|subject| line_problem(&subject.id));
    subject.map(|problem| ("of", problem))
}

/// The same of one that is in a document.
pub(super) fn entry_problem(entry: &Attachment) -> Option<(&'static str, String)> {
    let Attachment { hash, media_type, length, file_name, caption, of, .. } = entry.clone();
    problem(&Attached { hash, media_type, length, file_name, caption, of })
}

/// A text of one line.
fn line_problem(text: &str) -> Option<String> {
    let broken = text.contains('\n').then(|| "has more than one line".to_owned());
    text_problem(text, NAME_MAX).or(broken)
}

/// Whether text is a hash: 64 hexadecimal digits in lower case.
pub fn is_hash(text: &str) -> bool {
    text.len() == 64 && text.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b))
}

/// Two halves of what RFC 6838 (section 4.2) allows, in lower case and without parameters.
fn is_media_type(text: &str) -> bool {
    let half = |part: &str| {
        part.starts_with(|c: char| c.is_ascii_lowercase() || c.is_ascii_digit())
            && part
                .bytes()
                .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b"!#$&-^_.+".contains(&b))
    };
    text.len() <= MEDIA_TYPE_MAX
        && text.split_once('/').is_some_and(|(kind, sub)| half(kind) && half(sub))
}

#[cfg(test)]
#[path = "attachment_tests.rs"]
mod tests;
