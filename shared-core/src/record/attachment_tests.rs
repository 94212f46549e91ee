//! What the record takes of an attachment, and what it says of captions written apart.

use automerge::ActorId;

use super::*;
use crate::record::{Author, Document, DocumentId, EditRefused, SessionEdit};
use crate::time::Timestamp;

fn author(person: &str) -> Author {
    let at = Timestamp::from_unix_ms(1_780_000_000_000).unwrap();
    Author { person: person.to_owned(), device: format!("{person}'s tablet"), at }
}

fn attached() -> Attached {
    Attached {
        hash: "0f".repeat(32),
        media_type: "image/jpeg".to_owned(),
        length: 1_000,
        file_name: "IMG_0001.jpg".to_owned(),
        caption: Some("the label".to_owned()),
        of: None,
    }
}

fn document(actor: u8) -> Document {
    let id: DocumentId = "01ARZ3NDEKTSV4RRFFQ69G5FAW".parse().unwrap();
    let site = DocumentId::from_bytes([0; 16]);
    let actor = ActorId::from([actor; 16]);
    Document::create_session(id, site, "r", "WO 1", actor, &author("wren")).unwrap().0
}

fn copy(document: &Document, actor: u8) -> Document {
    let actor = ActorId::from([actor; 16]);
    Document::from_changes(document.id(), document.changes(), actor).unwrap()
}

fn attach(document: &mut Document, id: &str) {
    let edit = SessionEdit::Attach { id: id.to_owned(), what: attached() };
    document.apply(&edit, &author("ines")).unwrap();
}

fn caption(document: &mut Document, id: &str, text: &str, who: &str) {
    let edit = SessionEdit::Caption {
        id: id.to_owned(),
        attachment: "p".to_owned(),
        text: text.to_owned(),
    };
    document.apply(&edit, &author(who)).unwrap();
}

fn retract(document: &mut Document, id: &str, list: &str, entry: &str) {
    let (id, list, entry) = (id.to_owned(), list.to_owned(), entry.to_owned());
    document.apply(&SessionEdit::Retract { id, list, entry }, &author("ines")).unwrap();
}

#[test]
fn a_caption_takes_the_place_of_those_its_author_had_seen_and_of_no_other() {
    let mut ines = document(1);
    attach(&mut ines, "p");
    assert_eq!(ines.session().unwrap().captions_of("p"), ["the label"]);
    let mut tobias = copy(&ines, 2);
    caption(&mut ines, "q1", "the duplexer's label", "ines");
    caption(&mut tobias, "q2", "a label", "tobias");
    ines.take(tobias.changes()).unwrap();
    tobias.take(ines.changes()).unwrap();
    for device in [&ines, &tobias] {
        let session = device.session().unwrap();
        assert_eq!(session.captions_of("p"), ["the duplexer's label", "a label"], "both stand");
    }
    caption(&mut ines, "q3", "the duplexer's label, from above", "ines");
    assert_eq!(ines.session().unwrap().captions_of("p"), ["the duplexer's label, from above"]);
    assert_eq!(ines.session().unwrap().newest_entry("ines", "ines's tablet").unwrap().1, "q3");
    retract(&mut ines, "t1", "captions", "q3");
    assert_eq!(ines.session().unwrap().captions_of("p").len(), 2, "taken back: as it was before");
}

#[test]
fn what_is_retired_stays_in_view_and_can_be_taken_up_again() {
    let mut document = document(1);
    attach(&mut document, "p");
    retract(&mut document, "t1", "attachments", "p");
    let session = document.session().unwrap();
    assert!(session.attachments.contains_key("p"));
    assert_eq!(session.standing_attachments().count(), 0);
    retract(&mut document, "t2", "retractions", "t1");
    assert_eq!(document.session().unwrap().standing_attachments().count(), 1);
    let step = document.history().unwrap().into_iter().find(|step| step.intent == "attach");
    let step = step.unwrap();
    assert_eq!(step.entry.unwrap().list, "attachments");
    assert_eq!(step.stamp.unwrap().by, "ines");
}

type Spoil = fn(&mut Attached);

#[test]
fn what_cannot_be_an_attachment_is_refused_by_its_field() {
    let wrong: [(&str, Spoil); 12] = [
        ("hash", |it| it.hash = "0F".repeat(32)),
        ("hash", |it| it.hash = "../../etc/passwd".to_owned()),
        ("media_type", |it| it.media_type = "jpeg".to_owned()),
        ("media_type", |it| it.media_type = "image/jpeg; charset=x".to_owned()),
        ("media_type", |it| it.media_type = "text/html\n".to_owned()),
        ("length", |it| it.length = 0),
        ("length", |it| it.length = CONTENT_BYTES_MAX + 1),
        ("file_name", |it| it.file_name = " ".to_owned()),
        ("file_name", |it| it.file_name = "two\nlines".to_owned()),
        ("caption", |it| it.caption = Some("x".repeat(4_001))),
        ("of", |it| it.of = Some(Subject { kind: SubjectKind::Check, id: String::new() })),
        ("reading", |it| {
            it.of = Some(Subject { kind: SubjectKind::Reading, id: "none".to_owned() });
        }),
    ];
    let mut document = document(1);
    let heads = document.heads();
    for (at, change) in wrong {
        let mut what = attached();
        change(&mut what);
        let edit = SessionEdit::Attach { id: "p".to_owned(), what };
        let refused = document.apply(&edit, &author("ines")).unwrap_err();
        let named = match &refused {
            EditRefused::Unfit { field, .. } => *field,
            EditRefused::Missing { what, .. } => *what,
            other => panic!("{at}: {other}"),
        };
        assert_eq!(named, at, "{refused}");
    }
    assert_eq!(document.heads(), heads);
    assert!(is_media_type("application/pdf") && is_media_type("application/vnd.a+b"));
}
