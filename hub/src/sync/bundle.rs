//! A bundle: an exchange in a file, for a stick when there is nothing else.
//!
//! In: a node, and a file. Out: the node's whole log as the bodies an exchange would send, sealed
//! by the device; or what of such a file was new here. A file is checked to its last byte before
//! any of it is taken, so what is cut, changed or malformed changes nothing. Taking one twice, or
//! an older one after a newer one, does no harm. Names in a bundle are never used as names of
//! files.
//!
//! Layout: `GUYB`, version (1 byte), the device's public key (32); the roster as the device knows
//! it, its length (u32, little-endian) and its statements as JSON, which goes first as in every
//! exchange; then for each body: its length (u32, little-endian) and the body as in
//! [`super::wire`]; then a length of 0, and the device's signature (64) of the SHA-512/256 of every
//! byte before it. Version 1 had no roster and is still taken. The content of attachments may
//! follow, as in [`super::bundle_contents`].

use std::io::{Read, Seek, SeekFrom, Write};

use sha2::{Digest, Sha512_256};

use super::bundle_contents::{self, Places};
use super::exchange::{ExchangeFault, Tally};
use super::http_driver::{self, ExchangeError, SLICE_BYTES_MAX};
use super::wire::{self, Body, MalformedBody, PACKED_BYTES_MAX};
use crate::Node;
use crate::attachments::AttachmentError;
use crate::documents::NodeError;
use crate::identity::{PublicKey, ROSTER_BYTES_MAX, Roster, RosterEntry};
use crate::log::{Ask, Mark, NodeId, Start};

pub use super::bundle_contents::Carried;

const MAGIC: &[u8; 4] = b"GUYB";
const VERSION: u8 = 2;
/// The version that had no roster.
const WITHOUT_ROSTER: u8 = 1;
const SIGNATURE_BYTES: usize = 64;

/// What a bundle was made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BundleWritten {
    /// Changes in it.
    pub changes: u64,
    /// Bytes of it.
    pub bytes: u64,
    /// What of the attachments is in it.
    pub carried: Carried,
}

/// What of a bundle was taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BundleTaken {
    /// The device that wrote it, by its own word.
    pub device: String,
    /// The key that sealed it.
    pub key: PublicKey,
    /// Changes that were new here.
    pub taken: u64,
    /// Changes that were set aside as malformed.
    pub set_aside: u64,
    /// The documents that changed, by id.
    pub documents: Vec<String>,
    /// Contents of attachments that were named and lacking here.
    pub contents: u64,
}

/// Why a bundle was not written or taken. What was there is as it was.
#[derive(Debug, thiserror::Error)]
pub enum BundleRefused {
    /// The file cannot be read or written.
    #[error("the bundle's file cannot be used: {0}")]
    File(#[from] std::io::Error),
    /// It starts otherwise.
    #[error("this is no Guyline bundle")]
    NotABundle,
    /// Another version wrote it.
    #[error("a bundle of version {found}, and this Guyline reads version {VERSION}")]
    Version {
        /// The version that was found.
        found: u8,
    },
    /// It ends before its end.
    #[error("the bundle is incomplete: it ends at byte {at}")]
    Incomplete {
        /// Where.
        at: u64,
    },
    /// Something stands behind its end.
    #[error("something stands behind the end of the bundle, at byte {at}")]
    Trailing {
        /// Where.
        at: u64,
    },
    /// A body longer than any can be.
    #[error("body {number} of the bundle would have {bytes} bytes; {PACKED_BYTES_MAX} is the most")]
    TooLong {
        /// Which one, from 1.
        number: u64,
        /// Its length, by its own word.
        bytes: u32,
    },
    /// Its roster is none, or that of another shop.
    #[error("the bundle's roster is not taken: {what}")]
    Roster {
        /// Why.
        what: String,
    },
    /// A byte was changed after it was sealed.
    #[error("the bundle was changed after it was sealed")]
    Changed,
    /// A body that is none.
    #[error("body {number} of the bundle: {source}")]
    Body {
        /// Which one, from 1.
        number: u64,
        /// Why.
        #[source]
        source: MalformedBody,
    },
    /// Another version wrote its attachments.
    #[error("attachments of version {found}, and this Guyline reads version 1")]
    AttachmentsVersion {
        /// The version that was found.
        found: u8,
    },
    /// An attachment that cannot be one.
    #[error("attachment {number} of the bundle is one {what}")]
    Attachment {
        /// Which one, from 1.
        number: u32,
        /// What is wrong with it.
        what: String,
    },
    /// Attachments cannot be read or kept here.
    #[error(transparent)]
    Contents(#[from] AttachmentError),
    /// This device wrote it.
    #[error("this device wrote that bundle itself")]
    Own,
    /// This node's own part failed.
    #[error(transparent)]
    Node(#[from] NodeError),
    /// Taking it broke off.
    #[error(transparent)]
    Exchange(#[from] ExchangeError),
}

impl BundleRefused {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::File(_) => "check the stick, and that the file may be read or written there",
            Self::NotABundle => "choose a file that a Guyline wrote as a bundle",
            Self::Version { .. } | Self::AttachmentsVersion { .. } => {
                "update Guyline on this device"
            }
            Self::Contents(error) => error.help(),
            Self::Incomplete { .. } => {
                "copy the file again, and wait until the stick may be taken out; nothing was taken"
            }
            Self::Trailing { .. }
            | Self::Changed
            | Self::TooLong { .. }
            | Self::Attachment { .. }
            | Self::Body { .. } => {
                "write the bundle anew on the other device; nothing of this one was taken"
            }
            Self::Roster { .. } => {
                "see that the bundle is of this device's shop; nothing of it was taken"
            }
            Self::Own => "take it to the other device",
            Self::Node(_) => "check this device's disk, then take the bundle again",
            Self::Exchange(error) => error.help(),
        }
    }
}

/// Whether a file that begins so is meant for a bundle.
pub fn begins(head: &[u8]) -> bool {
    head.starts_with(MAGIC)
}

/// Writes everything this node holds.
pub fn write(node: &Node, out: &mut impl Write) -> Result<BundleWritten, BundleRefused> {
    write_up_to(node, out, u64::MAX)
}

/// The same, with attachments of no more than so many bytes together, small ones first.
pub fn write_up_to(
    node: &Node,
    out: &mut impl Write,
    attachments_max: u64,
) -> Result<BundleWritten, BundleRefused> {
    let card = node.lock().store.card().clone();
    let mut sealed = Sealing { out, hash: Sha512_256::new(), bytes: 0 };
    sealed.write(MAGIC)?;
    sealed.write(&[VERSION])?;
    sealed.write(&node.key().to_bytes())?;
    let roster = serde_json::to_vec(&node.roster_entries()).expect("texts only");
    let length = u32::try_from(roster.len()).expect("a roster is bounded");
    sealed.write(&length.to_le_bytes())?;
    sealed.write(&roster)?;
    let (mut after, mut changes) = (Mark::START, 0);
    loop {
        let slice = node.lock().store.log_after(after, NodeId::NOBODY, SLICE_BYTES_MAX);
        let mut slice = slice.map_err(NodeError::Store)?;
        // The first piece starts over for whoever reads it; the others go on where it ended.
        slice.start = if after == Mark::START { Start::Owed } else { Start::Continues };
        (after, changes) = (slice.to, changes + slice.entries.len() as u64);
        let more = slice.more;
        let body = wire::encode(&Body {
            card: card.clone(),
            yours: None,
            mine: Some(slice),
            ask: Ask::ALL,
        });
        let length = u32::try_from(body.len()).expect("a body is bounded in bytes");
        sealed.write(&length.to_le_bytes())?;
        sealed.write(&body)?;
        if !more {
            break;
        }
    }
    sealed.write(&0_u32.to_le_bytes())?;
    let signature = node.device_key().sign_bundle(&sealed.hash.clone().finalize());
    sealed.out.write_all(&signature)?;
    let bytes = sealed.bytes + SIGNATURE_BYTES as u64;
    let carried = bundle_contents::write(node, sealed.out, attachments_max)?;
    sealed.out.flush()?;
    Ok(BundleWritten { changes, bytes: bytes + carried.bytes, carried })
}

/// Takes what is new in a bundle.
pub fn take(node: &Node, file: &mut (impl Read + Seek)) -> Result<BundleTaken, BundleRefused> {
    let (key, device, places) = check(node, file)?;
    file.seek(SeekFrom::Start(0))?;
    let mut reader = Reading::of(file)?;
    // Whose changes are taken is known before any is.
    node.take_roster(&reader.roster)
        .map_err(|refusal| BundleRefused::Roster { what: refusal.what })?;
    let mut all = Tally::default();
    while let Some(body) = reader.body()? {
        let tally = http_driver::take(node, body)?;
        all.stored.taken += tally.stored.taken;
        all.stored.set_aside += tally.stored.set_aside;
        all.stored.documents.extend(tally.stored.documents);
    }
    Ok(BundleTaken {
        device,
        key,
        taken: all.stored.taken,
        set_aside: all.stored.set_aside,
        documents: all.stored.documents.iter().map(ToString::to_string).collect(),
        contents: bundle_contents::take(node, file, &places)?,
    })
}

/// Reads all of a bundle once, before any of it is taken. Gives who sealed it and what the device
/// calls itself.
fn check(node: &Node, file: &mut impl Read) -> Result<(PublicKey, String, Places), BundleRefused> {
    let mut reader = Reading::of(file)?;
    let me = node.lock().store.card().node;
    let mut device = String::new();
    while let Some(body) = reader.body()? {
        let number = reader.number;
        let body = wire::decode(&body).map_err(|source| BundleRefused::Body { number, source })?;
        if body.card.node == me {
            return Err(BundleRefused::Own);
        }
        device = body.card.name;
    }
    let (key, hash) = (reader.key, reader.hash.clone().finalize());
    let mut signature = [0; SIGNATURE_BYTES];
    reader.exactly(&mut signature)?;
    let places = bundle_contents::check(reader.file, reader.at)?;
    key.verify_bundle(&hash, &signature).map_err(|_| BundleRefused::Changed)?;
    if let Some(known) = node.roster() {
        let tried = Roster::clone(&known).take(&reader.roster);
        tried.map_err(|error| BundleRefused::Roster { what: error.to_string() })?;
    }
    Ok((key, device, places))
}

/// Writes bytes and keeps their hash.
struct Sealing<'a, W> {
    out: &'a mut W,
    hash: Sha512_256,
    bytes: u64,
}

impl<W: Write> Sealing<'_, W> {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<()> {
        self.out.write_all(bytes)?;
        self.hash.update(bytes);
        self.bytes += bytes.len() as u64;
        Ok(())
    }
}

/// Reads a bundle body by body, and keeps the hash of what was read.
struct Reading<'a, R> {
    file: &'a mut R,
    key: PublicKey,
    roster: Vec<RosterEntry>,
    hash: Sha512_256,
    at: u64,
    number: u64,
}

impl<'a, R: Read> Reading<'a, R> {
    fn of(file: &'a mut R) -> Result<Self, BundleRefused> {
        let key = PublicKey::from_bytes([0; 32]);
        let (roster, hash) = (Vec::new(), Sha512_256::new());
        let mut this = Self { file, key, roster, hash, at: 0, number: 0 };
        let mut head = [0; 5];
        this.hashed(&mut head)?;
        if head[..4] != *MAGIC {
            return Err(BundleRefused::NotABundle);
        }
        let version = head[4];
        if version != VERSION && version != WITHOUT_ROSTER {
            return Err(BundleRefused::Version { found: version });
        }
        let mut key = [0; 32];
        this.hashed(&mut key)?;
        this.key = PublicKey::from_bytes(key);
        if version != WITHOUT_ROSTER {
            this.roster = this.statements()?;
        }
        Ok(this)
    }

    fn statements(&mut self) -> Result<Vec<RosterEntry>, BundleRefused> {
        let mut length = [0; 4];
        self.hashed(&mut length)?;
        let length = u32::from_le_bytes(length);
        if length as usize > ROSTER_BYTES_MAX {
            let what = format!("it would have {length} bytes; {ROSTER_BYTES_MAX} is the most");
            return Err(BundleRefused::Roster { what });
        }
        let mut text = vec![0; length as usize];
        self.hashed(&mut text)?;
        serde_json::from_slice(&text)
            .map_err(|error| BundleRefused::Roster { what: error.to_string() })
    }

    /// The next body; none at the end of the last.
    fn body(&mut self) -> Result<Option<Vec<u8>>, BundleRefused> {
        let mut length = [0; 4];
        self.hashed(&mut length)?;
        let bytes = u32::from_le_bytes(length);
        if bytes == 0 {
            return Ok(None);
        }
        self.number += 1;
        // The number is somebody else's word: room is made only up to what any body may have.
        if bytes as usize > PACKED_BYTES_MAX {
            return Err(BundleRefused::TooLong { number: self.number, bytes });
        }
        let mut body = vec![0; bytes as usize];
        self.hashed(&mut body)?;
        Ok(Some(body))
    }

    fn hashed(&mut self, bytes: &mut [u8]) -> Result<(), BundleRefused> {
        self.exactly(bytes)?;
        self.hash.update(&*bytes);
        Ok(())
    }

    fn exactly(&mut self, bytes: &mut [u8]) -> Result<(), BundleRefused> {
        exactly(self.file, &mut self.at, bytes)
    }
}

/// Fills bytes from a bundle's file, and counts how far it was read.
pub(super) fn exactly(
    file: &mut impl Read,
    at: &mut u64,
    bytes: &mut [u8],
) -> Result<(), BundleRefused> {
    file.read_exact(bytes).map_err(|error| match error.kind() {
        std::io::ErrorKind::UnexpectedEof => BundleRefused::Incomplete { at: *at },
        _ => BundleRefused::File(error),
    })?;
    *at += bytes.len() as u64;
    Ok(())
}

impl From<ExchangeFault> for BundleRefused {
    fn from(fault: ExchangeFault) -> Self {
        Self::Exchange(fault.into())
    }
}

#[cfg(test)]
#[path = "bundle_tests.rs"]
mod tests;
