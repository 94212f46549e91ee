//! Goal: whatever fails between keeping content and recording that it belongs to a visit, no record
//! names content that was never durable, and trying again ends well. Method: the store on a disk in
//! memory that fails at every call in turn; the content's files through calls that fail likewise.

use std::io;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use guyline_core::record::DocumentId;
use guyline_disk::{Failure, Fault};
use guyline_hub::Node;
use guyline_hub::attachments::ContentHash;
use guyline_hub::attachments::files::{Files, SystemFiles};
use guyline_hub::desk::{Given, Refusal, attach_file};
use guyline_tests::author;

use crate::recorded::{Place, State, Step, take};

const CONTENT: &[u8] = b"%PDF-1.7\na certificate";

fn visit() -> DocumentId {
    DocumentId::from_bytes([1; 16])
}

fn attach(node: &Node) -> Result<String, Refusal> {
    let given = Given {
        bytes: CONTENT.to_vec(),
        file_name: "certificate.pdf",
        media_type: None,
        caption: None,
        of: None,
        keep_position: false,
    };
    attach_file(node, visit(), &author(), given)
}

/// A place with a visit in it.
fn place() -> Place {
    let place = Place::new();
    let node = place.open().expect("a fresh store opens");
    take(&node, &Step::Begin(1), &mut State::default()).expect("a visit can be opened");
    place
}

/// How many attachments the visit names, each of which must be here, whole.
fn named(node: &Node) -> usize {
    let look = |document: &guyline_core::record::Document| {
        document.session().expect("a session").attachments.values().cloned().collect::<Vec<_>>()
    };
    let named = node.with_document(visit(), look).expect("it is here");
    for attachment in &named {
        let hash: ContentHash = attachment.hash.parse().expect("a hash");
        assert_eq!(node.contents().read(hash).expect("it is durable"), CONTENT);
    }
    named.len()
}

#[test]
fn a_store_that_fails_at_any_call_leaves_no_name_without_content() {
    let mut refused = 0;
    for failure in [Failure::Write, Failure::Sync, Failure::Full] {
        for call in 0..12 {
            let place = place();
            let node = place.open().expect("it opens");
            let at = place.disk.calls().0 + call;
            place.disk.plant(Some(Fault { at, failure, for_ever: true }));
            let told = attach(&node);
            drop(node);
            place.disk.plant(None);
            let node = place.open().expect("it opens again");
            let count = named(&node);
            match told {
                Ok(_) => assert_eq!(count, 1, "{failure:?} at {call}: acknowledged and lost"),
                Err(_) => refused += 1,
            }
            attach(&node).expect("trying again ends well");
            assert_eq!(named(&node), count + 1);
        }
    }
    assert!(refused > 3, "{refused} refused");
}

/// Files of which a call fails, as on a full disk.
#[derive(Debug, Default)]
struct Failing {
    calls: AtomicUsize,
    at: usize,
}

impl Failing {
    fn call(&self) -> io::Result<()> {
        match self.calls.fetch_add(1, Ordering::Relaxed) == self.at {
            true => Err(io::ErrorKind::StorageFull.into()),
            false => Ok(()),
        }
    }
}

impl Files for Failing {
    fn make_folder(&self, path: &Path) -> io::Result<()> {
        self.call().and_then(|()| SystemFiles.make_folder(path))
    }
    fn append(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        self.call().and_then(|()| SystemFiles.append(path, bytes))
    }
    fn sync(&self, path: &Path) -> io::Result<()> {
        self.call().and_then(|()| SystemFiles.sync(path))
    }
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.call().and_then(|()| SystemFiles.rename(from, to))
    }
    fn sync_folder(&self, path: &Path) -> io::Result<()> {
        self.call().and_then(|()| SystemFiles.sync_folder(path))
    }
    fn remove(&self, path: &Path) -> io::Result<()> {
        SystemFiles.remove(path)
    }
}

#[test]
fn a_full_disk_at_any_call_of_the_contents_files_records_nothing() {
    for at in 0..8 {
        let place = place();
        let node = place.open().expect("it opens");
        let failing = node.clone().with_files(Arc::new(Failing { at, ..Failing::default() }));
        let refused = attach(&failing).expect_err("a call failed");
        assert!(refused.what.contains("the disk is full"), "call {at}: {refused}");
        assert_eq!(named(&node), 0, "call {at}: nothing is recorded");
        attach(&node).expect("with room it goes on");
        assert_eq!(named(&node), 1);
    }
}
