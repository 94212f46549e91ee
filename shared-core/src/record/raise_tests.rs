//! Documents that schema 1 wrote, kept as the bytes of their changes: they open, they are raised by
//! the same change everywhere, and nothing of them is lost.

use crate::record::schema_1::{SESSION, SHOP, SITE, open};
use crate::record::{Author, DocumentKind, EditRefused, SCHEMA, SessionEdit};
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

        assert!(document.raise().unwrap().is_some(), "{kind:?} was of schema 1");
        assert!(document.raise().unwrap().is_none(), "{kind:?} is raised once");

        assert_eq!((document.shop().ok().cloned(), document.site().ok().cloned()), before);
        assert_eq!(document.session().ok().cloned(), session);
        assert_eq!(document.changes().len(), count + 1);
    }
    let session = open(SESSION, 1);
    let session = session.session().unwrap();
    assert!(session.readings.len() > 10 && session.sign_offs.is_empty());
}

#[test]
fn an_older_document_is_raised_before_it_is_written() {
    let mut document = open(SESSION, 1);
    let refused = document.apply(&note("r1"), &author("ines")).unwrap_err();
    assert_eq!(refused, EditRefused::Older { found: 1, written: SCHEMA });
    document.raise().unwrap();
    document.apply(&note("r1"), &author("ines")).unwrap();
}

#[test]
fn two_devices_that_raise_apart_make_one_change_and_hide_nothing_from_each_other() {
    let (mut ines, mut tobias) = (open(SESSION, 1), open(SESSION, 2));
    let raised = [ines.raise().unwrap().unwrap(), tobias.raise().unwrap().unwrap()];
    assert_eq!(raised[0].hash(), raised[1].hash());

    ines.apply(&note("from-ines"), &author("ines")).unwrap();
    tobias.apply(&note("from-tobias"), &author("tobias")).unwrap();
    ines.take(tobias.changes()).unwrap();
    tobias.take(ines.changes()).unwrap();

    let both: Vec<_> = ines.session().unwrap().restorations.keys().collect();
    assert_eq!(both, ["from-ines", "from-tobias"]);
    assert_eq!(ines.session().unwrap(), tobias.session().unwrap());
}
