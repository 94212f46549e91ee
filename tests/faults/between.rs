//! What comes from another node, changed at random: it is taken or refused, and the node goes on.
//!
//! Goal: no bytes from a peer, a stick or a person's clipboard end a node, and what was here is
//! here after each. Method: the bodies, the bundle, the roster and the invitation of a real
//! meeting, changed from a seed; the readers alone for most cases, a whole node for a share.

use std::cell::RefCell;
use std::io::Cursor;

use guyline_core::record::{Document, DocumentId, SessionEdit};
use guyline_hub::Node;
use guyline_hub::chunk::Chunk;
use guyline_hub::identity::{Invitation, Roster, RosterEntry};
use guyline_hub::log::LogEntry;
use guyline_hub::packed::Packed;
use guyline_hub::sync::{bundle, wire};
use guyline_tests::author;

use crate::readers::{cases, outside_never_panics};

/// A whole node takes some milliseconds a case.
const SHARE: usize = 30;

fn node(folder: &tempfile::TempDir, name: &str) -> Node {
    Node::open(&folder.path().join(name)).expect("a fresh store opens")
}

/// Makes a visit with some notes.
fn fill(node: &Node) -> DocumentId {
    let id: DocumentId = node.fresh_id().parse().expect("a fresh id is one");
    let (site, author) = (DocumentId::from_bytes([1; 16]), author());
    let made = Document::create_session(id, site, "r", "WO 1", node.fresh_actor(), &author);
    let (document, change) = made.expect("it is sound");
    node.create(document, change).expect("the store takes it");
    for number in 0..5 {
        let edit = SessionEdit::AddNote { id: format!("n{number}"), text: "it rained".to_owned() };
        let edited = node.edit(id, |document| document.apply(&edit, &author));
        edited.expect("the store takes it").expect("the edit is sound");
    }
    id
}

/// Every body of a meeting of two, what was said and what was answered in turn, unpacked: a change
/// to packed bytes hardly gets past the packing.
fn bodies(one: &Node, other: &Node, packs: bool) -> Vec<Vec<u8>> {
    let heard = RefCell::new(Vec::new());
    let met = one.exchange_by("other", packs, |body: Vec<u8>| {
        heard.borrow_mut().push(body.clone());
        let answer = other.answer(body)?;
        heard.borrow_mut().push(answer.clone());
        Ok(answer)
    });
    met.expect("the exchange works");
    heard.into_inner().iter().map(|body| plain(body)).collect()
}

/// The body without its packing.
fn plain(body: &[u8]) -> Vec<u8> {
    let (head, frame) = body.split_at(6);
    match head[5] {
        0 => body.to_vec(),
        _ => {
            let unpacked = zstd::decode_all(frame).expect("it was packed a moment ago");
            [&head[..5], &[0], &unpacked].concat()
        }
    }
}

#[test]
fn bodies_are_read_or_refused_and_a_node_that_gets_one_goes_on() {
    let folder = tempfile::tempdir().expect("a folder");
    let (one, other) = (node(&folder, "one"), node(&folder, "other"));
    let (mine, theirs) = (fill(&one), fill(&other));
    let mut sound = bodies(&one, &other, false);
    fill(&one);
    sound.extend(bodies(&one, &other, true));
    let reads = |input: &[u8]| wire::decode(input).is_ok();
    let taken = outside_never_panics("body", cases(), &sound, reads);
    assert!(taken > 0, "some changes leave a body");
    let before = other.heads().expect("they can be read");
    let answers = |input: &[u8]| other.answer(input.to_vec()).is_ok();
    let said: Vec<Vec<u8>> = sound.into_iter().step_by(2).collect();
    outside_never_panics("body, by a node", cases() / SHARE, &said, answers);
    let after = other.heads().expect("they can be read");
    for id in [mine, theirs] {
        assert_eq!(after.get(&id), before.get(&id), "what was sealed here stays as it was");
        other.with_document(id, |_| ()).expect("it can be read");
    }
    assert_eq!(other.inspect().expect("it can be read").problems, []);
}

#[test]
fn packed_changes_are_read_or_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let giver = node(&folder, "giver");
    let mut entries = Vec::new();
    for id in [fill(&giver), fill(&giver)] {
        let changes = giver.with_document(id, Document::changes).expect("it is here");
        let entry = |change| LogEntry { document: id, change: Chunk::from(change) };
        entries.extend(changes.iter().map(entry));
    }
    let packed = Packed::of(&entries, &[]).bytes().to_vec();
    let content = zstd::decode_all(&packed[9..]).expect("it was packed a moment ago");
    let sound = [&packed[..8], &[0], &content].concat();
    let taken = outside_never_panics("packed changes", cases(), &[sound], |input| {
        let read = Packed::claimed(input.to_vec()).and_then(|packed| packed.content());
        let Ok(content) = read else { return false };
        // What the reader lets through, the library takes or refuses.
        let whole = |entry: &LogEntry| entry.change.change().is_ok();
        content.entries.iter().any(whole)
    });
    assert!(taken > 0, "some changes leave changes");
}

#[test]
fn changes_are_read_or_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let giver = node(&folder, "giver");
    let id = fill(&giver);
    let changes = giver.with_document(id, Document::changes).expect("it is here");
    let sound: Vec<Vec<u8>> = changes.iter().map(|change| change.raw_bytes().to_vec()).collect();
    outside_never_panics("change", cases(), &sound, |input| {
        // What the reader lets through, the library takes or refuses.
        Chunk::read(input.to_vec()).is_ok_and(|chunk| chunk.change().is_ok())
    });
}

#[test]
fn bundles_are_taken_or_refused_whole() {
    let folder = tempfile::tempdir().expect("a folder");
    let (giver, taker) = (node(&folder, "giver"), node(&folder, "taker"));
    let (given, own) = (fill(&giver), fill(&taker));
    let mut sound = Vec::new();
    bundle::write(&giver, &mut sound).expect("it can be written");
    let takes = |input: &[u8]| bundle::take(&taker, &mut Cursor::new(input)).is_ok();
    outside_never_panics("bundle", cases() / SHARE, &[sound], takes);
    for (id, from) in [(given, &giver), (own, &taker)] {
        let heads = |node: &Node| node.heads().expect("they can be read").remove(&id);
        assert_eq!(heads(&taker), heads(from), "the sound one was taken, and no other");
    }
    assert_eq!(taker.inspect().expect("it can be read").problems, []);
}

#[test]
fn rosters_and_invitations_are_read_or_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let office = node(&folder, "office");
    office.found_shop().expect("a shop is started");
    let invitation = office.invite(vec!["192.0.2.7:4771".to_owned()]).expect("it can invite");
    let sound = [invitation.to_string().into_bytes(), invitation.link().into_bytes()];
    let taken = outside_never_panics("invitation", cases(), &sound, |input| {
        String::from_utf8_lossy(input).parse::<Invitation>().is_ok()
    });
    assert!(taken > 0, "some changes leave an invitation");
    let entries = serde_json::to_vec(&office.roster_entries()).expect("text keys only");
    outside_never_panics("roster", cases(), &[entries], |input| {
        let Ok(entries) = serde_json::from_slice::<Vec<RosterEntry>>(input) else { return false };
        Roster::under(invitation.root).take(&entries).is_ok()
    });
}
