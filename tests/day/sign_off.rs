//! Goal: what was signed off can be checked later, by anybody who has the record, and whatever was
//! changed since is named. Method: the played day is signed off at the office, carried on, and put
//! before `guyline verify`.

use std::path::Path;
use std::process::{Command, Output};

use guyline_core::record::{Author, DocumentId, DocumentKind, Reading, SessionEdit};
use guyline_hub::{Node, desk};
use guyline_tests::{author, built};
use serde_json::Value;

use crate::play;

/// So many sign-offs are written while somebody else writes.
const ROUNDS: usize = 24;

pub(crate) fn session_of(node: &Node) -> DocumentId {
    let is_session =
        |id: &DocumentId| node.with_document(*id, |d| d.kind() == DocumentKind::Session).unwrap();
    node.documents().unwrap().into_iter().find(is_session).unwrap()
}

fn wren() -> Author {
    Author { person: "wren".to_owned(), device: "office".to_owned(), ..author() }
}

fn verify(dir: &Path, session: DocumentId, more: &[&str]) -> Output {
    let mut command = Command::new(built("guyline"));
    command.arg("verify").arg("--data").arg(dir).arg(session.to_string()).args(more);
    command.output().unwrap()
}

fn told(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout).unwrap()
}

fn note(id: &str) -> SessionEdit {
    SessionEdit::AddNote { id: id.to_owned(), text: "the pad was left out".to_owned() }
}

fn edit(node: &Node, session: DocumentId, edit: &SessionEdit) -> Result<(), desk::Refusal> {
    desk::edit_session(node, session, &wren(), edit)
}

#[test]
fn a_visit_signed_off_is_verified_and_every_change_since_is_named() {
    let work = tempfile::tempdir().unwrap();
    play(work.path());
    let dir = work.path().join("wren");
    let node = Node::open(&dir).unwrap();
    let session = session_of(&node);
    drop(node);
    let unsigned = verify(&dir, session, &[]);
    assert_eq!(unsigned.status.code(), Some(2), "nobody signed: that is not intact");

    let node = Node::open(&dir).unwrap();
    desk::sign(&node, session, &wren()).unwrap();
    drop(node);
    let output = verify(&dir, session, &[]);
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!(output.status.code(), Some(0), "{text}");
    assert!(text.contains("the signature is true"), "{text}");

    let node = Node::open(&dir).unwrap();
    let refused = edit(&node, session, &note("late")).unwrap_err();
    assert_eq!(refused.code, desk::Code::SignedOff);
    let reason =
        SessionEdit::Amend { id: "why".to_owned(), reason: "seen on the photo".to_owned() };
    edit(&node, session, &reason).unwrap();
    let sheet = desk::papers(&node, session).unwrap();
    let standing = sheet.session.standing_readings();
    let (reading, _) = standing.iter().find(|(_, r)| r.check == "receiver.opening").unwrap();
    let back = SessionEdit::WithdrawReading {
        id: "taken".to_owned(),
        reading: (*reading).to_owned(),
        reason: "the pad was left out".to_owned(),
    };
    edit(&node, session, &back).unwrap();
    drop(node);

    let output = verify(&dir, session, &["--json"]);
    assert_eq!(output.status.code(), Some(2));
    let told = &told(&output)["sign_offs"][0];
    assert_eq!(told["refused"], Value::Null, "the signature is as true as before");
    assert_eq!(told["rejudged"], serde_json::json!([]), "what was signed is judged the same");
    assert_eq!(told["after"].as_array().unwrap().len(), 2);
    assert_eq!(told["amendments"][0]["reason"], "seen on the photo");
    let now = told["now"].as_array().unwrap();
    let at = format!("receiver.opening, reading {reading}");
    let gone = now.iter().find(|d| d["at"] == at.as_str()).expect("the reading is named");
    assert_eq!(gone["now"], Value::Null);
}

#[test]
fn a_colleague_who_wrote_apart_is_named_and_the_sign_off_travels() {
    let work = tempfile::tempdir().unwrap();
    play(work.path());
    let open = |name: &str| Node::open(&work.path().join(name)).unwrap();
    let (wrens, tobias) = (open("wren"), open("tobias"));
    let session = session_of(&wrens);
    desk::sign(&wrens, session, &wren()).unwrap();
    edit(&tobias, session, &note("apart")).unwrap();
    let runtime = tokio::runtime::Runtime::new().unwrap();
    runtime.block_on(async {
        let listening = guyline_hub::http::Listening::start(&wrens, "127.0.0.1:0").await.unwrap();
        tobias.exchange_with(listening.address()).await.unwrap();
        listening.stop().await;
    });
    drop((wrens, tobias));
    for name in ["wren", "tobias"] {
        let output = verify(&work.path().join(name), session, &["--json"]);
        let told = &told(&output)["sign_offs"][0];
        assert_eq!(told["refused"], Value::Null);
        assert_eq!(told["this_device"], name == "wren");
        let apart = told["apart"].as_array().unwrap();
        assert_eq!(apart.len(), 1, "{name}: {told}");
        assert!(apart[0]["words"].as_str().unwrap().contains("the pad was left out"));
    }
}

#[test]
fn a_sign_off_that_was_tampered_with_proves_nothing() {
    let work = tempfile::tempdir().unwrap();
    play(work.path());
    let dir = work.path().join("wren");
    let node = Node::open(&dir).unwrap();
    let session = session_of(&node);
    let true_one = desk::sign(&node, session, &wren()).unwrap();
    let sheet = desk::papers(&node, session).unwrap();
    let signed = sheet.session.sign_offs[&true_one].clone();
    let mut tampered = 0;
    // Every outcome that was signed, turned into another one; and another's name.
    for (from, to) in [("\"fail\"", "\"pass\""), ("\"pass\"", "\"fail\""), ("wren", "ines")] {
        let statement = signed.statement.replacen(from, to, 1);
        assert!(statement != signed.statement || from == "\"fail\"", "{from} was in it");
        if statement == signed.statement {
            continue;
        }
        tampered += 1;
        let forged = SessionEdit::SignOff {
            id: format!("forged-{tampered}"),
            statement,
            key: signed.key.clone(),
            signature: signed.signature.clone(),
        };
        edit(&node, session, &forged).unwrap();
    }
    let told = desk::verify(&node, session).unwrap();
    let (forged, honest): (Vec<_>, Vec<_>) =
        told.sign_offs.iter().partition(|it| it.id.starts_with("forged"));
    assert_eq!((forged.len(), honest.len()), (tampered, 1));
    assert!(forged.iter().all(|it| !it.intact && it.refused.is_some()), "{forged:?}");
    assert!(honest[0].refused.is_none());
}

/// Reads a check once more, with a reason as often as a sign-off came between.
fn read_again(node: &Node, session: DocumentId, like: &Reading, id: &str) {
    for attempt in 0.. {
        let reason = "another one signs".to_owned();
        // Refused before the first sign-off; whether the reading is admitted is what counts.
        edit(node, session, &SessionEdit::Amend { id: format!("{id}-{attempt}"), reason }).ok();
        let again = SessionEdit::RecordReading {
            id: id.to_owned(),
            check: like.check.clone(),
            chain: like.chain.clone(),
            criterion: like.criterion.clone(),
            typed: like.typed.clone(),
            unit: like.unit,
            phase: like.phase,
            replaces: None,
            answered_by: None,
        };
        match edit(node, session, &again) {
            Ok(()) => return,
            Err(refused) => assert_eq!(refused.code, desk::Code::SignedOff),
        }
    }
}

#[test]
fn what_is_written_while_somebody_signs_is_wholly_signed_or_not_at_all() {
    let work = tempfile::tempdir().unwrap();
    play(work.path());
    let node = Node::open(&work.path().join("wren")).unwrap();
    let session = session_of(&node);
    let like = desk::papers(&node, session).unwrap().session.readings.into_values().next().unwrap();
    for round in 0..ROUNDS {
        std::thread::scope(|scope| {
            scope.spawn(|| {
                for n in 0..8 {
                    read_again(&node, session, &like, &format!("again-{round}-{n}"));
                }
            });
            desk::sign(&node, session, &wren()).unwrap();
        });
    }
    let told = desk::verify(&node, session).unwrap();
    assert_eq!(told.sign_offs.len(), ROUNDS);
    for sign_off in told.sign_offs {
        assert_eq!((sign_off.refused, sign_off.missing), (None, None));
        assert_eq!(sign_off.rejudged, [], "what its heads name is what was judged");
    }
}

#[test]
fn an_undo_takes_back_the_last_thing_and_says_what_it_was() {
    let work = tempfile::tempdir().unwrap();
    play(work.path());
    let node = Node::open(&work.path().join("wren")).unwrap();
    let session = session_of(&node);
    assert!(desk::undo_newest(&node, session, &wren()).is_err(), "she entered nothing here");
    let id = node.fresh_id();
    edit(&node, session, &note(&id)).unwrap();
    assert!(desk::page(&node, session).unwrap().notes.contains_key(&id));
    desk::undo_newest(&node, session, &wren()).unwrap();
    assert!(!desk::page(&node, session).unwrap().notes.contains_key(&id));
    assert!(desk::undo_newest(&node, session, &wren()).is_err(), "and nothing else");
}
