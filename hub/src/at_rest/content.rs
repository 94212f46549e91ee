//! The files of attachments in an encrypted folder: a nonce, and the content under XChaCha20.
//!
//! In: a file and where in it. Out: content, read and written at any place, so that what arrives
//! piece by piece goes on where it was. Every file has a nonce of its own. Nothing here tells
//! whether content is what it was: whoever reads it compares its hash, as in a folder that is not
//! encrypted.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;

use chacha20::XChaCha20;
use chacha20::cipher::{KeyIvInit, StreamCipher, StreamCipherSeek};
use zeroize::Zeroizing;

use super::Keys;
use crate::attachments::files::Files;
use crate::attachments::shelf::Lies;

/// So many bytes stand before the content.
const NONCE: usize = 24;

/// How content lies in its files: as it is, or encrypted.
#[derive(Clone, Default)]
pub(crate) struct Lying(Option<Zeroizing<[u8; 32]>>);

impl std::fmt::Debug for Lying {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(if self.0.is_some() { "encrypted" } else { "as it is" })
    }
}

impl Lying {
    /// As the folder with these keys has it.
    pub(crate) fn with(keys: Option<&Keys>) -> Self {
        Self(keys.map(Keys::of_content))
    }

    /// How much content a file of this length holds.
    pub(crate) fn length(&self, of_file: u64) -> u64 {
        of_file.saturating_sub(self.before())
    }

    /// So many bytes stand before the content of each file.
    pub(crate) fn before(&self) -> u64 {
        self.0.as_ref().map_or(0, |_| NONCE as u64)
    }

    /// What tells content under this key from content under another, and tells nothing of the key;
    /// none where it lies as it is.
    pub(crate) fn mark(&self) -> Option<String> {
        let key = self.0.as_ref()?;
        let mark = blake3::derive_key("guyline 2026 mark of the key of attachments", &**key);
        Some(mark[..8].iter().map(|byte| format!("{byte:02x}")).collect())
    }

    /// Puts content at the end of a file's, which is made where there is none.
    pub(crate) fn append(&self, files: &dyn Files, path: &Path, bytes: &[u8]) -> io::Result<()> {
        let Some(key) = &self.0 else { return files.append(path, bytes) };
        let (nonce, mut out, at) = match begun(files, path)? {
            Some((nonce, length)) => (nonce, Vec::new(), self.length(length)),
            None => {
                let mut nonce = [0; NONCE];
                getrandom::fill(&mut nonce).map_err(io::Error::other)?;
                (nonce, nonce.to_vec(), 0)
            }
        };
        let start = out.len();
        out.extend_from_slice(bytes);
        let mut stream = XChaCha20::new(&(**key).into(), &nonce.into());
        stream.try_seek(at).map_err(io::Error::other)?;
        stream.apply_keystream(&mut out[start..]);
        files.append(path, &out)
    }

    /// The content of a file, at its start.
    pub(crate) fn content(&self, mut file: Box<dyn Lies>) -> io::Result<ContentFile> {
        let Some(key) = &self.0 else { return Ok(ContentFile { file, stream: None }) };
        let mut nonce = [0; NONCE];
        file.read_exact(&mut nonce)?;
        let stream = XChaCha20::new(&(**key).into(), &nonce.into());
        Ok(ContentFile { file, stream: Some(Box::new(stream)) })
    }
}

/// The nonce a file begins with, and its length; none where there is no file. One that a power cut
/// left with half a nonce holds no content and is taken away.
fn begun(files: &dyn Files, path: &Path) -> io::Result<Option<([u8; NONCE], u64)>> {
    let mut file = match File::open(path) {
        Ok(file) => file,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(error),
    };
    let length = file.metadata()?.len();
    if length < NONCE as u64 {
        files.remove(path)?;
        return Ok(None);
    }
    let mut nonce = [0; NONCE];
    file.read_exact(&mut nonce)?;
    Ok(Some((nonce, length)))
}

/// Content as it is read.
pub(crate) struct ContentFile {
    file: Box<dyn Lies>,
    stream: Option<Box<XChaCha20>>,
}

impl Read for ContentFile {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let count = self.file.read(into)?;
        if let Some(stream) = &mut self.stream {
            stream.apply_keystream(&mut into[..count]);
        }
        Ok(count)
    }
}

impl ContentFile {
    /// Goes on at a byte of the content.
    pub(crate) fn go_to(&mut self, at: u64) -> io::Result<()> {
        let before = if self.stream.is_some() { NONCE as u64 } else { 0 };
        self.file.seek(SeekFrom::Start(before + at))?;
        if let Some(stream) = &mut self.stream {
            stream.try_seek(at).map_err(io::Error::other)?;
        }
        Ok(())
    }
}
