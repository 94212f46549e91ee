//! Documents that earlier schemas wrote, kept as the bytes of their changes: they open, they are
//! raised by the same changes everywhere, and nothing of them is lost.

use super::super::{apply, shop, site};
use super::STEPS;
use crate::record::schema_1::{SESSION, SHOP, SITE, open};
use crate::record::{Attached, Author, Document, DocumentKind, EditRefused, SessionEdit, schema_2};
use crate::time::Timestamp;

fn author(person: &str) -> Author {
    let at = Timestamp::from_unix_ms(1_780_000_000_000).unwrap();
    Author { person: person.to_owned(), device: format!("{person}'s tablet"), at }
}

fn note(id: &str) -> SessionEdit {
    SessionEdit::RecordRestoration { id: id.to_owned(), text: "squelch put back".to_owned() }
}

#[test]
fn every_document_of_schema_1_opens_and_is_raised_without_loss() {
    for (bytes, kind) in
        [(SHOP, DocumentKind::Shop), (SITE, DocumentKind::Site), (SESSION, DocumentKind::Session)]
    {
        let mut document = open(bytes, 1);
        assert_eq!(document.kind(), kind);
        let before = (document.shop().ok().cloned(), document.site().ok().cloned());
        let session = document.session().ok().cloned();
        let count = document.changes().len();

        let steps = kind.schema() - 1;
        assert_eq!(document.raise().unwrap().len() as u64, steps, "{kind:?} was of schema 1");
        assert!(document.raise().unwrap().is_empty(), "{kind:?} is raised once");

        assert_eq!((document.shop().ok().cloned(), document.site().ok().cloned()), before);
        assert_eq!(document.session().ok().cloned(), session);
        assert_eq!(document.changes().len() as u64, count as u64 + steps);
    }
    let session = open(SESSION, 1);
    let session = session.session().unwrap();
    assert!(session.readings.len() > 10 && session.sign_offs.is_empty());
}

#[test]
fn an_older_document_is_raised_before_it_is_written() {
    let mut document = open(SESSION, 1);
    let refused = document.apply(&note("r1"), &author("ines")).unwrap_err();
    assert_eq!(refused, EditRefused::Older { found: 1, written: 3 });
    document.raise().unwrap();
    document.apply(&note("r1"), &author("ines")).unwrap();
}

#[test]
fn two_devices_that_raise_apart_make_one_change_and_hide_nothing_from_each_other() {
    let (mut ines, mut tobias) = (open(SESSION, 1), open(SESSION, 2));
    let raised = [ines.raise().unwrap(), tobias.raise().unwrap()];
    assert_eq!(raised[0].len(), 2);
    let hashes = raised.map(|all| all.iter().map(automerge::Change::hash).collect::<Vec<_>>());
    assert_eq!(hashes[0], hashes[1]);

    ines.apply(&note("from-ines"), &author("ines")).unwrap();
    tobias.apply(&note("from-tobias"), &author("tobias")).unwrap();
    ines.take(tobias.changes()).unwrap();
    tobias.take(ines.changes()).unwrap();

    let both: Vec<_> = ines.session().unwrap().restorations.keys().collect();
    assert_eq!(both, ["from-ines", "from-tobias"]);
    assert_eq!(ines.session().unwrap(), tobias.session().unwrap());
}

fn attach(id: &str) -> SessionEdit {
    let what = Attached {
        hash: "ab".repeat(32),
        media_type: "image/jpeg".to_owned(),
        length: 7,
        file_name: "IMG_0001.jpg".to_owned(),
        caption: None,
        of: None,
    };
    SessionEdit::Attach { id: id.to_owned(), what }
}

/// Merges two and asserts that each sees both attachments and the restorations named. One person
/// writes on both: where the visit is signed off she has given her reason.
fn both_see(mut ines: Document, mut tobias: Document, restorations: &[&str]) {
    ines.apply(&attach("from-ines"), &author("ines")).unwrap();
    tobias.apply(&attach("from-tobias"), &author("ines")).unwrap();
    ines.take(tobias.changes()).unwrap();
    tobias.take(ines.changes()).unwrap();
    assert_eq!(ines.session().unwrap(), tobias.session().unwrap());
    let session = ines.session().unwrap();
    let attached: Vec<_> = session.attachments.keys().collect();
    assert_eq!(attached, ["from-ines", "from-tobias"]);
    let kept: Vec<_> = session.restorations.keys().collect();
    assert_eq!(kept, restorations);
}

#[test]
fn a_session_made_in_schema_2_is_raised_apart_and_hides_nothing() {
    let (mut ines, mut tobias) = (schema_2::made(1), schema_2::made(2));
    let before = ines.session().unwrap().clone();
    assert!(before.attachments.is_empty() && before.sign_offs.len() == 1);
    let raised = [ines.raise().unwrap(), tobias.raise().unwrap()];
    assert_eq!(raised[0].len(), 1, "one schema up");
    assert_eq!(raised[0][0].hash(), raised[1][0].hash());
    assert_eq!(*ines.session().unwrap(), before);
    both_see(ines, tobias, &["s1"]);
}

#[test]
fn one_that_an_earlier_version_raised_part_of_the_way_goes_on_from_its_change() {
    let (mut ines, mut tobias) = (schema_2::raised(1), open(SESSION, 2));
    let raised = [ines.raise().unwrap(), tobias.raise().unwrap()];
    assert_eq!((raised[0].len(), raised[1].len()), (1, 2));
    assert_eq!(raised[0][0].hash(), raised[1][1].hash());
    let version_2 = schema_2::raised(3).changes();
    assert!(version_2.iter().any(|change| change.hash() == raised[1][0].hash()));
    both_see(ines, tobias, &["from-version-2"]);
}

#[test]
fn raising_is_no_amendment_of_what_was_signed_before_and_attaching_is_one() {
    let mut document = schema_2::made(1);
    let signed: Vec<String> = document.heads().iter().map(ToString::to_string).collect();
    document.raise().unwrap();
    assert_eq!(document.changes_since(&signed), Some(0));
    document.apply(&attach("p"), &author("ines")).unwrap();
    let since = document.since(&signed, "o1").unwrap().unwrap();
    let ids: Vec<_> = since.after.iter().map(|step| step.entry.clone().unwrap().id).collect();
    assert_eq!((ids, since.apart.len()), (vec!["p".to_owned()], 0));
    let refused = document.apply(&attach("late"), &author("tobias")).unwrap_err();
    assert_eq!(refused, EditRefused::SignedOff, "who gave no reason attaches nothing");
}

#[test]
fn every_list_a_kind_has_is_given_by_one_step() {
    for (kind, lists) in [
        (DocumentKind::Session, &apply::MAPS[..]),
        (DocumentKind::Shop, &shop::MAPS),
        (DocumentKind::Site, &site::MAPS),
    ] {
        let given: Vec<&str> = STEPS.iter().flat_map(|step| step.lists(kind)).copied().collect();
        assert_eq!(given, lists, "{kind:?}");
    }
}
