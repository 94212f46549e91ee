//! What a sign-off closes, what opens it again, and what can be taken back: alone and apart.

use super::*;

fn refused(document: &mut Document, edit: &SessionEdit, who: &str) -> EditRefused {
    document.apply(edit, &author(who, 5)).unwrap_err()
}

fn note(id: &str) -> SessionEdit {
    SessionEdit::AddNote { id: id.to_owned(), text: "rain".to_owned() }
}

fn amend(id: &str) -> SessionEdit {
    SessionEdit::Amend { id: id.to_owned(), reason: "the pad was left out".to_owned() }
}

fn retract(id: &str, list: &str, entry: &str) -> SessionEdit {
    SessionEdit::Retract { id: id.to_owned(), list: list.to_owned(), entry: entry.to_owned() }
}

#[test]
fn after_a_sign_off_everybody_gives_a_reason_once() {
    let (mut document, _) = session();
    assert_eq!(refused(&mut document, &amend("m0"), "ines"), EditRefused::NothingToAmend);
    document.apply(&sign("s1"), &author("ines", 1)).unwrap();
    assert_eq!(refused(&mut document, &note("n1"), "ines"), EditRefused::SignedOff);
    assert_eq!(refused(&mut document, &note("n1"), "tobias"), EditRefused::SignedOff);

    document.apply(&amend("m1"), &author("ines", 2)).unwrap();
    document.apply(&note("n1"), &author("ines", 3)).unwrap();
    assert_eq!(refused(&mut document, &note("n2"), "tobias"), EditRefused::SignedOff);
    assert_eq!(refused(&mut document, &amend("m2"), "ines"), EditRefused::NothingToAmend);
    assert_eq!(document.session().unwrap().amendments["m1"].of, ["s1"]);

    document.apply(&sign("s2"), &author("ines", 4)).unwrap();
    assert_eq!(refused(&mut document, &note("n2"), "ines"), EditRefused::SignedOff);
}

#[test]
fn who_writes_apart_from_a_sign_off_is_told_from_who_writes_after_it() {
    let (mut ines, all) = session();
    let mut tobias = copy(&all, 3);
    let signed: Vec<String> = ines.heads().iter().map(ToString::to_string).collect();
    ines.apply(&sign("s1"), &author("ines", 1)).unwrap();
    tobias.apply(&note("apart"), &author("tobias", 9)).unwrap();
    ines.take(tobias.changes()).unwrap();
    ines.apply(&amend("m1"), &author("ines", 2)).unwrap();
    ines.apply(&note("after"), &author("ines", 3)).unwrap();

    let since = ines.since(&signed, "s1").unwrap().unwrap();
    let ids = |steps: &[crate::record::Step]| -> Vec<String> {
        steps.iter().map(|step| step.entry.clone().unwrap().id).collect()
    };
    assert_eq!(ids(&since.apart), ["apart"]);
    assert_eq!(ids(&since.after), ["m1", "after"]);
    let then = ines.as_at(&signed).unwrap().unwrap();
    assert!(then.session().unwrap().notes.is_empty());
    assert_eq!(ines.since(&["00".repeat(32)], "s1").unwrap(), None, "it does not know that one");
    assert!(ines.as_at(&[]).unwrap().is_none());
}

#[test]
fn two_who_sign_apart_have_both_signed_and_both_must_be_answered() {
    let (mut ines, all) = session();
    let mut tobias = copy(&all, 3);
    ines.apply(&sign("s1"), &author("ines", 1)).unwrap();
    tobias.apply(&sign("s2"), &author("tobias", 1)).unwrap();
    ines.take(tobias.changes()).unwrap();
    assert_eq!(ines.session().unwrap().awaits_reason("ines"), ["s1", "s2"]);
    ines.apply(&amend("m1"), &author("ines", 2)).unwrap();
    assert_eq!(ines.session().unwrap().amendments["m1"].of, ["s1", "s2"]);
}

#[test]
fn a_sign_off_that_cannot_be_one_is_refused() {
    let (mut document, _) = session();
    for (at, value) in
        [("key", "AB".repeat(32)), ("signature", "cd".repeat(63)), ("statement", String::new())]
    {
        let mut edit = sign("s1");
        let SessionEdit::SignOff { statement, key, signature, .. } = &mut edit else {
            unreachable!()
        };
        match at {
            "key" => *key = value,
            "signature" => *signature = value,
            _ => *statement = value,
        }
        let error = refused(&mut document, &edit, "ines");
        assert!(matches!(&error, EditRefused::Unfit { field, .. } if *field == at), "{error}");
    }
}

#[test]
fn what_is_taken_back_stays_in_view_and_counts_again_when_that_is_taken_back() {
    let (mut document, _) = session();
    let who = author("ines", 1);
    document.apply(&note("n"), &who).unwrap();
    document.apply(&retract("t1", "notes", "n"), &who).unwrap();
    let view = document.session().unwrap();
    assert!(view.notes.contains_key("n") && !view.stands("notes", "n"));
    let twice = refused(&mut document, &retract("t2", "notes", "n"), "ines");
    assert!(matches!(twice, EditRefused::NotRetractable { .. }), "{twice}");

    document.apply(&retract("t3", "retractions", "t1"), &who).unwrap();
    assert!(document.session().unwrap().stands("notes", "n"));
    let again = refused(&mut document, &retract("t4", "retractions", "t3"), "ines");
    assert!(matches!(again, EditRefused::NotRetractable { .. }), "{again}");

    let missing = refused(&mut document, &retract("t5", "notes", "none"), "ines");
    assert!(matches!(missing, EditRefused::Missing { .. }), "{missing}");
    let never = refused(&mut document, &retract("t6", "readings", "n"), "ines");
    assert!(matches!(never, EditRefused::Unfit { field: "list", .. }), "{never}");
}

#[test]
fn an_acknowledgement_taken_back_is_none() {
    let (mut document, _) = session();
    let who = author("ines", 1);
    let read = SessionEdit::Acknowledge { id: "a".into(), caution: "rf-burns".into() };
    document.apply(&read, &who).unwrap();
    assert!(document.session().unwrap().has_acknowledged("ines", "rf-burns"));
    document.apply(&retract("t", "acknowledgements", "a"), &who).unwrap();
    assert!(!document.session().unwrap().has_acknowledged("ines", "rf-burns"));
}

#[test]
fn a_chain_that_was_read_through_is_not_taken_from_under_its_readings() {
    let (mut document, changes) = session();
    let who = author("ines", 1);
    let mut all = changes;
    all.push(document.apply(&connect("c1"), &who).unwrap());
    let mut tobias = copy(&all, 3);
    document.apply(&read("r1", "-121", None), &who).unwrap();
    let error = refused(&mut document, &retract("t", "chains", "c1"), "ines");
    assert!(matches!(error, EditRefused::ReadThrough { .. }), "{error}");
    // Apart, he cannot know of her reading: it keeps the chain in the visit.
    tobias.apply(&retract("t", "chains", "c1"), &author("tobias", 2)).unwrap();
    assert!(!tobias.session().unwrap().chain_counts("c1"));
    document.take(tobias.changes()).unwrap();
    assert!(document.session().unwrap().chain_counts("c1"));
}

#[test]
fn an_undo_finds_the_authors_own_newest_entry_by_its_id() {
    let (mut document, _) = session();
    let newest = |document: &Document, who: &str| {
        let session = document.session().unwrap();
        let found = session.newest_entry(who, &format!("{who}'s tablet"));
        found.map(|(list, id)| format!("{list}/{id}"))
    };
    document.apply(&connect("c1"), &author("ines", 1)).unwrap();
    document.apply(&note("n2"), &author("tobias", 2)).unwrap();
    document.apply(&read("r3", "-121", None), &author("ines", 3)).unwrap();
    assert_eq!(newest(&document, "ines").as_deref(), Some("readings/r3"));
    assert_eq!(newest(&document, "tobias").as_deref(), Some("notes/n2"));
    let back = SessionEdit::WithdrawReading {
        id: "w4".into(),
        reading: "r3".into(),
        reason: "undone".into(),
    };
    document.apply(&back, &author("ines", 4)).unwrap();
    assert_eq!(newest(&document, "ines").as_deref(), Some("withdrawals/w4"));
    document.apply(&retract("x5", "withdrawals", "w4"), &author("ines", 5)).unwrap();
    assert_eq!(document.session().unwrap().standing_readings().len(), 1, "it stands again");
    assert_eq!(newest(&document, "ines").as_deref(), Some("readings/r3"));
    assert_eq!(newest(&document, "wren"), None);
}
