//! The seal at the end of a file that left the tool: which record it was made from, and whether a
//! single byte was changed since.
//!
//! In: a file's bytes. Out: the same with two last lines, as a comment of the file's own kind: what
//! it was made from, and a device's signature over every byte before it. Whoever changes the file
//! can seal it anew with a key of their own; so a true seal is only the first half, and the second
//! is to make the file again from the record it names.
//!
//! A PDF's reader looks for its `startxref` in the last kilobyte (ISO 32000-1, annex H, from
//! memory, unverified; qpdf does). A seal that names many documents is longer: so a PDF's ending is
//! said once more between the two lines.

use guyline_core::checks::PaperHeads;
use guyline_core::report::{Language, Paper};
use serde::{Deserialize, Serialize};

use super::FileForm;
use crate::identity::{DeviceKey, PublicKey};

/// What every seal starts with, so that it is found and nothing else is taken for one.
const MARK: &str = "guyline-seal-1";
/// What the signature's line starts with.
const SIGNED: &str = "guyline-signed";

/// What a file was made from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Origin {
    /// The session's newest changes, where it tells of one visit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub session: Option<PaperHeads>,
    /// Those of every visit to the site, where it tells of a site.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub visits: Vec<PaperHeads>,
    /// The shop's.
    pub shop: PaperHeads,
    /// The site's.
    pub site: PaperHeads,
    /// The version of the program that made it.
    pub program: String,
    /// The language.
    pub language: Language,
    /// The paper.
    pub paper: Paper,
    /// The device's name.
    pub device: String,
    /// The hashes of the pictures it shows: those that were on that device.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub pictures: Vec<String>,
}

/// A file as it was found.
#[derive(Debug)]
pub struct Sealed<'a> {
    /// The kind of file.
    pub form: FileForm,
    /// What it says it was made from.
    pub origin: Origin,
    /// The key that sealed it.
    pub key: PublicKey,
    /// The bytes before the seal.
    pub content: &'a [u8],
}

/// Why a seal proves nothing.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SealRefused {
    /// There is none.
    #[error("the file has no seal at its end: it was cut short, or it was not made by Guyline")]
    None,
    /// It is no seal of this version.
    #[error("the seal cannot be read: {0}")]
    Unreadable(String),
    /// Something was changed.
    #[error("the file was changed after it was sealed")]
    Changed,
}

impl Origin {
    /// The lines that are printed in the file itself.
    pub fn lines(&self) -> Vec<String> {
        let paper = |name: &str, paper: &PaperHeads| {
            format!("{name} {} @ {}", paper.document, paper.heads.join(" "))
        };
        let visits = self.session.iter().chain(&self.visits);
        let visits = visits.map(|session| paper("session", session));
        let program = format!("guyline {}, {}", self.program, self.device);
        visits.chain([paper("shop", &self.shop), paper("site", &self.site), program]).collect()
    }
}

/// A comment of each kind of file. JSON has none: its seal stands after the value.
fn comment(form: FileForm, words: &str) -> String {
    match form {
        FileForm::Pdf => format!("%{words}\n"),
        FileForm::Html => format!("<!--{words}-->\n"),
        FileForm::Text | FileForm::Json => format!("{words}\n"),
    }
}

/// The words of a comment, and what kind of file it belongs to.
fn words(line: &str) -> (FileForm, &str) {
    if let Some(words) = line.strip_prefix('%') {
        return (FileForm::Pdf, words);
    }
    match line.strip_prefix("<!--").and_then(|words| words.strip_suffix("-->")) {
        Some(words) => (FileForm::Html, words),
        None => (FileForm::Text, line),
    }
}

/// Seals a file.
pub fn seal(mut content: Vec<u8>, form: FileForm, origin: &Origin, key: &DeviceKey) -> Vec<u8> {
    if content.last() != Some(&b'\n') {
        content.push(b'\n');
    }
    // The end of an HTML comment must not stand in a name.
    let json = serde_json::to_string(origin).expect("text keys only").replace('>', "\\u003e");
    let ending = if form == FileForm::Pdf { pdf_ending(&content).to_vec() } else { Vec::new() };
    content.extend(comment(form, &format!("{MARK} {json}")).into_bytes());
    content.extend(ending);
    let signature = key.sign_file(&content);
    content.extend(comment(form, &format!("{SIGNED} {} {signature}", key.public())).into_bytes());
    content
}

/// Opens a sealed file.
pub fn open(file: &[u8]) -> Result<Sealed<'_>, SealRefused> {
    let (before, signed) = last_line(file).ok_or(SealRefused::None)?;
    let (form, signed) = words(signed);
    let (content, sealed) = last_line(without_ending(before)).ok_or(SealRefused::None)?;
    let mut parts = signed.split(' ');
    let (Some(SIGNED), Some(key), Some(signature), None) =
        (parts.next(), parts.next(), parts.next(), parts.next())
    else {
        return Err(SealRefused::None);
    };
    let unreadable = |error: String| SealRefused::Unreadable(error);
    let key: PublicKey = key.parse().map_err(|error| unreadable(format!("{error}")))?;
    key.verify_file(before, signature).map_err(|_| SealRefused::Changed)?;
    let (_, sealed) = words(sealed);
    let json = sealed.strip_prefix(MARK).ok_or(SealRefused::None)?;
    let origin = serde_json::from_str(json).map_err(|error| unreadable(error.to_string()))?;
    let form = match form {
        FileForm::Text if content.starts_with(b"{") => FileForm::Json,
        other => other,
    };
    Ok(Sealed { form, origin, key, content })
}

/// A PDF's last lines: where its table stands, and its end. Nothing where they are not there.
fn pdf_ending(pdf: &[u8]) -> &[u8] {
    const ENDING_BYTES_MAX: usize = 64;
    let tail = pdf.len().saturating_sub(ENDING_BYTES_MAX);
    let word = b"startxref";
    let found = pdf[tail..].windows(word.len()).rposition(|at| at == word);
    match found {
        Some(at) if pdf.ends_with(b"%%EOF\n") => &pdf[tail + at..],
        _ => &[],
    }
}

/// A sealed file's bytes without the ending that was said once more; all, where none was.
fn without_ending(before: &[u8]) -> &[u8] {
    &before[..before.len() - pdf_ending(before).len()]
}

/// What stands before the last line, and that line without its end.
fn last_line(bytes: &[u8]) -> Option<(&[u8], &str)> {
    let whole = bytes.strip_suffix(b"\n")?;
    let start = whole.iter().rposition(|byte| *byte == b'\n').map_or(0, |at| at + 1);
    Some((&bytes[..start], std::str::from_utf8(&whole[start..]).ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn paper(id: &str) -> PaperHeads {
        PaperHeads { document: id.to_owned(), heads: vec!["ab".repeat(32)] }
    }

    fn origin() -> Origin {
        Origin {
            session: Some(paper("A")),
            visits: Vec::new(),
            shop: paper("B"),
            site: paper("C"),
            program: "0.1.0".to_owned(),
            language: Language::English,
            paper: Paper::A4,
            device: "a --> \n tablet".to_owned(),
            pictures: Vec::new(),
        }
    }

    const FORMS: [(FileForm, &[u8]); 5] = [
        (FileForm::Pdf, b"%PDF-1.7\nthe page\n%%EOF"),
        (FileForm::Pdf, b"%PDF-1.7\nthe page\nstartxref\n9\n%%EOF"),
        (FileForm::Html, b"<!doctype html>\n<p>the page</p>\n"),
        (FileForm::Text, b"the page\n"),
        (FileForm::Json, b"{ \"the\": \"page\" }"),
    ];

    #[test]
    fn a_sealed_file_of_each_kind_is_opened_again() {
        let folder = tempfile::tempdir().unwrap();
        let key = DeviceKey::open(folder.path()).unwrap();
        for (form, content) in FORMS {
            let file = seal(content.to_vec(), form, &origin(), &key);
            let opened = open(&file).unwrap();
            assert_eq!((opened.form, &opened.origin), (form, &origin()));
            assert_eq!(opened.key, key.public());
            assert_eq!(opened.content.trim_ascii_end(), content.trim_ascii_end());
        }
    }

    #[test]
    fn a_sealed_pdf_ends_as_its_readers_look_for_it_however_much_the_seal_names() {
        let folder = tempfile::tempdir().unwrap();
        let key = DeviceKey::open(folder.path()).unwrap();
        let many = Origin { visits: vec![paper("A"); 40], session: None, ..origin() };
        let (form, content) = FORMS[1];
        let file = seal(content.to_vec(), form, &many, &key);
        let last = &file[file.len() - 1_024..];
        assert_eq!(last.windows(17).filter(|at| *at == b"startxref\n9\n%%EOF").count(), 1);
        assert_eq!(open(&file).unwrap().origin, many);
        // As it was sealed before: the ending once, and the two lines behind it.
        let mut older = [content, b"\n"].concat();
        let json = serde_json::to_string(&many).unwrap();
        older.extend(format!("%{MARK} {json}\n").into_bytes());
        let signature = key.sign_file(&older);
        older.extend(format!("%{SIGNED} {} {signature}\n", key.public()).into_bytes());
        assert_eq!(open(&older).unwrap().content, [content, b"\n"].concat());
    }

    #[test]
    fn every_changed_byte_and_every_cut_is_noticed() {
        let folder = tempfile::tempdir().unwrap();
        let key = DeviceKey::open(folder.path()).unwrap();
        for (form, content) in FORMS {
            let file = seal(content.to_vec(), form, &origin(), &key);
            for at in 0..file.len() {
                let mut changed = file.clone();
                changed[at] ^= 1;
                assert!(open(&changed).is_err(), "{form:?}: byte {at} of {}", file.len());
                assert!(open(&file[..at]).is_err(), "{form:?}: cut at {at}");
            }
            let longer = [&file[..], b"more\n"].concat();
            assert!(open(&longer).is_err());
        }
    }
}
