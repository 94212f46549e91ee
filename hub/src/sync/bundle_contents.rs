//! The attachments' part of a bundle: their content behind the sealed changes.
//!
//! In: a node and a file. Out: what of the content was new here. It needs no seal: what counts is
//! named by the record, by its hash. All of it is read once and checked before any of the bundle is
//! taken; only what a visit here then names and this node lacks is kept. Memory holds one piece.
//!
//! Layout, behind the signature: `GUYA`, version (1 byte), how many (u32, little-endian); then for
//! each: its hash (32), its length (u64), its bytes. A bundle without attachments ends before it.

use std::collections::BTreeMap;
use std::io::{Read, Seek, SeekFrom, Write};

use super::bundle::{BundleRefused, exactly};
use crate::Node;
use crate::attachments::{AttachmentError, ContentHash};

const MAGIC: &[u8; 4] = b"GUYA";
const VERSION: u8 = 1;
const PIECE: usize = 64 * 1024;
/// The longest content a bundle may carry: what the record allows.
const LENGTH_MAX: u64 = guyline_core::record::attachment::CONTENT_BYTES_MAX;

/// What of the attachments went into a bundle.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Carried {
    /// How many.
    pub contents: u64,
    /// Bytes of their part.
    pub bytes: u64,
    /// How many that are here were left out for their size.
    pub left: u64,
}

/// Writes what visits here name and this node holds, small ones first, up to so many bytes.
pub(super) fn write(
    node: &Node,
    out: &mut impl Write,
    most: u64,
) -> Result<Carried, BundleRefused> {
    let mut carried = Carried::default();
    let mut chosen = Vec::new();
    for (length, hash) in node.named_contents()? {
        // What is damaged here is told by `inspect`, and carried nowhere.
        if node.contents().check(hash).ok() != Some(length) {
            continue;
        }
        match carried.bytes + length <= most {
            true => {
                carried.bytes += length;
                chosen.push((length, hash));
            }
            false => carried.left += 1,
        }
    }
    if chosen.is_empty() {
        return Ok(Carried { bytes: 0, ..carried });
    }
    out.write_all(MAGIC)?;
    out.write_all(&[VERSION])?;
    let count = u32::try_from(chosen.len()).expect("a node holds fewer");
    out.write_all(&count.to_le_bytes())?;
    carried.bytes = 9;
    for (length, hash) in chosen {
        out.write_all(&hash.to_bytes())?;
        out.write_all(&length.to_le_bytes())?;
        let (file, _) = node.contents().opened(hash)?;
        let copied = std::io::copy(&mut file.take(length), out)?;
        if copied != length {
            return Err(AttachmentError::Damaged.into());
        }
        carried.contents += 1;
        carried.bytes += 40 + length;
    }
    Ok(carried)
}

/// Where each content of a bundle stands: its place in the file and its length.
pub(super) type Places = BTreeMap<ContentHash, (u64, u64)>;

/// Reads the part once, from where the changes end, and checks every byte of it.
pub(super) fn check(file: &mut impl Read, at: u64) -> Result<Places, BundleRefused> {
    let mut reading = Reading { file, at };
    let mut head = [0; 9];
    if !reading.starts(&mut head)? {
        return Ok(Places::new());
    }
    if head[..4] != *MAGIC {
        return Err(BundleRefused::Trailing { at });
    }
    if head[4] != VERSION {
        return Err(BundleRefused::AttachmentsVersion { found: head[4] });
    }
    let count = u32::from_le_bytes([head[5], head[6], head[7], head[8]]);
    let mut places = Places::new();
    for number in 1..=count {
        let mut named = [0; 40];
        reading.exactly(&mut named)?;
        let (hash, length) = named.split_at(32);
        let hash = ContentHash::from_bytes(hash.try_into().expect("32 bytes"));
        let length = u64::from_le_bytes(length.try_into().expect("8 bytes"));
        if length == 0 || length > LENGTH_MAX {
            return Err(BundleRefused::Attachment { number, what: format!("of {length} bytes") });
        }
        let start = reading.at;
        if reading.hashed(length)? != hash {
            let what = "whose bytes give another hash".to_owned();
            return Err(BundleRefused::Attachment { number, what });
        }
        places.insert(hash, (start, length));
    }
    match reading.file.read(&mut [0])? {
        0 => Ok(places),
        _ => Err(BundleRefused::Trailing { at: reading.at }),
    }
}

/// Keeps what visits here name and this node lacks. Gives how many that were.
pub(super) fn take(
    node: &Node,
    file: &mut (impl Read + Seek),
    places: &Places,
) -> Result<u64, BundleRefused> {
    let mut taken = 0;
    for (length, hash) in node.lacking_contents()? {
        let Some((start, carried)) = places.get(&hash) else { continue };
        let Some(_claim) = node.contents().claim(hash) else { continue };
        if *carried != length {
            continue;
        }
        let mut at = node.contents().arrived(hash);
        if at > length {
            node.contents().forget_arrived(hash);
            at = 0;
        }
        if at == length {
            // It came whole, and what was to be done then could not be.
            taken += u64::from(node.contents().arrive(hash, length, at, &[])?);
            continue;
        }
        file.seek(SeekFrom::Start(start + at))?;
        let mut piece = vec![0; PIECE];
        while at < length {
            let next = PIECE.min(usize::try_from(length - at).unwrap_or(PIECE));
            file.read_exact(&mut piece[..next])?;
            let whole = node.contents().arrive(hash, length, at, &piece[..next])?;
            at += next as u64;
            taken += u64::from(whole);
        }
    }
    Ok(taken)
}

struct Reading<'a, R> {
    file: &'a mut R,
    at: u64,
}

impl<R: Read> Reading<'_, R> {
    /// Fills the head. False where the file ends before it.
    fn starts(&mut self, head: &mut [u8]) -> Result<bool, BundleRefused> {
        if self.file.read(&mut head[..1])? == 0 {
            return Ok(false);
        }
        self.at += 1;
        self.exactly(&mut head[1..])?;
        Ok(true)
    }

    fn exactly(&mut self, bytes: &mut [u8]) -> Result<(), BundleRefused> {
        exactly(self.file, &mut self.at, bytes)
    }

    /// The hash of so many bytes, read piece by piece.
    fn hashed(&mut self, length: u64) -> Result<ContentHash, BundleRefused> {
        let mut hasher = blake3::Hasher::new();
        let mut piece = vec![0; PIECE];
        let mut left = length;
        while left > 0 {
            let next = PIECE.min(usize::try_from(left).unwrap_or(PIECE));
            self.exactly(&mut piece[..next])?;
            hasher.update(&piece[..next]);
            left -= next as u64;
        }
        Ok(ContentHash::from_bytes(*hasher.finalize().as_bytes()))
    }
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use guyline_core::record::{Attached, SessionEdit};

    use super::super::bundle;
    use super::*;
    use crate::fixture::{author, id, session};

    fn node(name: &str) -> (Node, tempfile::TempDir) {
        let folder = tempfile::tempdir().unwrap();
        let node = Node::open(folder.path()).unwrap();
        node.set_name(name).unwrap();
        (node, folder)
    }

    /// A node with one visit and so many attachments, of lengths that grow.
    fn with(name: &str, count: u8) -> (Node, tempfile::TempDir, Vec<ContentHash>) {
        let (node, folder) = node(name);
        let (document, change) = session(1);
        node.create(document, change).unwrap();
        let hashes = (1..=count).map(|n| {
            let bytes = vec![n; 50 * usize::from(n)];
            let hash = node.contents().put(&bytes).unwrap();
            let what = Attached {
                hash: hash.to_string(),
                media_type: "application/pdf".to_owned(),
                length: bytes.len() as u64,
                file_name: "a.pdf".to_owned(),
                caption: None,
                of: None,
            };
            let edit = SessionEdit::Attach { id: format!("p{n}"), what };
            node.edit(id(1), |document| document.apply(&edit, &author())).unwrap().unwrap();
            hash
        });
        let hashes = hashes.collect();
        (node, folder, hashes)
    }

    fn written(node: &Node, most: u64) -> (Vec<u8>, Carried) {
        let mut out = Vec::new();
        let written = bundle::write_up_to(node, &mut out, most).unwrap();
        assert_eq!(written.bytes, out.len() as u64);
        (out, written.carried)
    }

    #[test]
    fn a_stick_carries_attachments_and_only_what_is_named_is_kept() {
        let (ines, _a, hashes) = with("Ines", 3);
        ines.contents().put(b"named by nobody").unwrap();
        let (hub, _b) = node("hub");
        let (bytes, carried) = written(&ines, u64::MAX);
        assert_eq!((carried.contents, carried.left), (3, 0));
        let taken = bundle::take(&hub, &mut Cursor::new(&bytes)).unwrap();
        assert_eq!(taken.contents, 3);
        for hash in hashes {
            assert_eq!(hub.contents().read(hash).unwrap(), ines.contents().read(hash).unwrap());
        }
        assert_eq!(hub.contents().all().unwrap().len(), 3);
        assert_eq!(bundle::take(&hub, &mut Cursor::new(&bytes)).unwrap().contents, 0, "twice");
    }

    #[test]
    fn a_bound_takes_the_small_ones_and_tells_how_many_are_left() {
        let (ines, _a, hashes) = with("Ines", 3);
        let (bytes, carried) = written(&ines, 160);
        assert_eq!((carried.contents, carried.left), (2, 1));
        let (hub, _b) = node("hub");
        bundle::take(&hub, &mut Cursor::new(&bytes)).unwrap();
        assert!(hub.contents().has(hashes[1]).unwrap() && !hub.contents().has(hashes[2]).unwrap());
    }

    #[test]
    fn a_bundle_cut_or_changed_anywhere_in_the_attachments_changes_nothing() {
        let (ines, _a, _) = with("Ines", 2);
        let (whole, carried) = written(&ines, u64::MAX);
        let (hub, _b) = node("hub");
        let start = whole.len() - usize::try_from(carried.bytes).unwrap();
        for at in start..whole.len() {
            if at > start {
                let refused = bundle::take(&hub, &mut Cursor::new(&whole[..at])).unwrap_err();
                assert!(matches!(refused, BundleRefused::Incomplete { .. }), "{at}: {refused}");
            }
            let mut changed = whole.clone();
            changed[at] ^= 0x11;
            assert!(bundle::take(&hub, &mut Cursor::new(&changed)).is_err(), "byte {at}");
        }
        let longer = [&whole[..], b"more"].concat();
        assert!(bundle::take(&hub, &mut Cursor::new(&longer)).is_err());
        assert!(hub.documents().unwrap().is_empty());
        assert!(hub.contents().all().unwrap().is_empty());
    }

    #[test]
    fn what_came_in_part_before_is_completed_by_a_stick() {
        let (ines, _a, hashes) = with("Ines", 2);
        let (hub, _b) = node("hub");
        let (bytes, _) = written(&ines, 0);
        bundle::take(&hub, &mut Cursor::new(&bytes)).unwrap();
        hub.contents().arrive(hashes[1], 100, 0, &[2; 30]).unwrap();
        let (bytes, _) = written(&ines, u64::MAX);
        assert_eq!(bundle::take(&hub, &mut Cursor::new(&bytes)).unwrap().contents, 2);
        assert_eq!(hub.contents().read(hashes[1]).unwrap(), vec![2; 100]);
    }
}
