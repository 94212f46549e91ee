//! Attachments looked through, copied beside a backup, and brought back from one.
//!
//! In: a node, or folders. Out: what is damaged, what is named and not here, how many were copied.
//! What is not here may simply not be fetched yet, so it is told and is no damage; what is here and
//! does not give its hash is damage, and other devices may hold it.

use std::path::{Path, PathBuf};

use guyline_core::record::{Document, DocumentKind};
use serde::Serialize;

use super::{AttachmentError, Contents};
use crate::Node;
use crate::documents::NodeError;

/// How the attachments of a node stand.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Standing {
    /// How many contents are here.
    pub held: u64,
    /// Their bytes.
    pub bytes: u64,
    /// The hashes of those that are not what they were.
    pub damaged: Vec<String>,
    /// Why the folder cannot be looked through, where it cannot.
    pub unreadable: Option<String>,
    /// What is named by a visit and not here.
    pub absent: Vec<NotHere>,
}

/// Something named and not here.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct NotHere {
    /// The visit.
    pub session: String,
    /// The entry.
    pub attachment: String,
    /// The hash of its content.
    pub hash: String,
}

impl Node {
    /// Reads every content here again, and names what visits name and is not here.
    pub fn inspect_contents(&self) -> Result<Standing, NodeError> {
        let mut standing = Standing::default();
        let all = match self.contents().all() {
            Ok(all) => all,
            Err(error) => {
                standing.unreadable = Some(error.to_string());
                return Ok(standing);
            }
        };
        for (hash, length) in &all {
            (standing.held, standing.bytes) = (standing.held + 1, standing.bytes + length);
            match self.contents().check(*hash) {
                Ok(_) => {}
                // What cannot be reached was not looked at, and is not called damaged.
                Err(error @ AttachmentError::Bucket(_)) => {
                    standing.unreadable = Some(error.to_string());
                    return Ok(standing);
                }
                Err(_) => standing.damaged.push(hash.to_string()),
            }
        }
        for id in self.documents()? {
            // A document that cannot be read is told of by the store's own inspection.
            let Ok(DocumentKind::Session) = self.kind_of(id) else { continue };
            let held = |hash: &str| all.iter().any(|(held, _)| held.to_string() == hash);
            let absent = self.with_document(id, |document: &Document| {
                let Ok(session) = document.session() else { return Vec::new() };
                let standing = session.standing_attachments();
                let absent = standing.filter(|(_, it)| !held(&it.hash));
                let line = |(entry, it): (&str, &guyline_core::record::Attachment)| NotHere {
                    session: id.to_string(),
                    attachment: entry.to_owned(),
                    hash: it.hash.clone(),
                };
                absent.map(line).collect()
            })?;
            standing.absent.extend(absent);
        }
        Ok(standing)
    }
}

/// The folder that stands beside a backup's file.
pub(crate) fn folder_beside(backup: &Path) -> PathBuf {
    let mut name = backup.as_os_str().to_owned();
    name.push(".attachments");
    PathBuf::from(name)
}

/// Copies every content from one place to another, each checked. Gives how many were copied, and
/// how many are damaged and were not.
pub(crate) fn copy(from: &Contents, to: &Contents) -> Result<(u64, u64), AttachmentError> {
    let (mut copied, mut damaged) = (0, 0);
    for (hash, _) in from.all()? {
        match from.read(hash) {
            Ok(bytes) => {
                to.put(&bytes)?;
                copied += 1;
            }
            Err(AttachmentError::Damaged) => damaged += 1,
            Err(error) => return Err(error),
        }
    }
    Ok((copied, damaged))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::attachments::ContentHash;

    #[test]
    fn what_is_whole_is_copied_and_what_is_damaged_is_counted() {
        let (from, to) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let here = Contents::beside(from.path());
        let (good, bad) = (here.put(b"good").unwrap(), here.put(b"bad").unwrap());
        let name = bad.to_string();
        let path = from.path().join("attachments").join(&name[..2]).join(&name);
        std::fs::write(path, b"bat").unwrap();
        let there = Contents::beside(to.path());
        assert_eq!(copy(&here, &there).unwrap(), (1, 1));
        assert_eq!(there.read(good).unwrap(), b"good");
        assert!(!there.has(bad).unwrap());
        assert_eq!(copy(&there, &here).unwrap(), (1, 0));
        assert_ne!(good, ContentHash::of(b"bad"));
    }

    #[test]
    fn a_node_tells_what_is_damaged_and_nothing_of_what_is_well() {
        let folder = tempfile::tempdir().unwrap();
        let node = Node::open(folder.path()).unwrap();
        assert_eq!(node.inspect_contents().unwrap(), Standing::default());
        let hash = node.contents().put(b"well").unwrap();
        let found = node.inspect_contents().unwrap();
        assert_eq!((found.held, found.bytes, found.damaged.len()), (1, 4, 0));
        let name = hash.to_string();
        let path = folder.path().join("attachments").join(&name[..2]).join(&name);
        std::fs::write(path, b"wall").unwrap();
        assert_eq!(node.inspect_contents().unwrap().damaged, [name]);
    }
}
