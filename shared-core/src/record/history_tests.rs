//! Goal: history tells who did what in an order no clock can bend, and shows any moment again.
//! Method: two devices that work apart, one with a clock a day slow, merged in both directions.

use automerge::ActorId;

use crate::record::edit::{Author, SessionEdit};
use crate::record::ids::DocumentId;
use crate::record::{Document, NoSuchMoment};
use crate::time::Timestamp;

const DAY_MS: i64 = 86_400_000;

fn author(person: &str, ms: i64) -> Author {
    let at = Timestamp::from_unix_ms(1_780_000_000_000 + ms).unwrap();
    Author { person: person.to_owned(), device: format!("{person}'s tablet"), at }
}

fn note(id: &str) -> SessionEdit {
    SessionEdit::AddNote { id: id.to_owned(), text: format!("note {id}") }
}

fn said(text: &str) -> SessionEdit {
    SessionEdit::Summarise { text: text.to_owned() }
}

fn document(n: u8) -> DocumentId {
    DocumentId::from_bytes([n; 16])
}

fn actor(n: u8) -> ActorId {
    ActorId::from([n; 16])
}

/// Ines works from 1 to 3; Tobias takes her first entry and writes with a clock a day slow; both
/// then hold everything, and Ines sums up twice.
fn two_devices() -> (Document, Document) {
    let (mut ines, first) = Document::create_session(
        document(1),
        document(0),
        "r",
        "WO 1",
        actor(1),
        &author("wren", 0),
    )
    .unwrap();
    let a = ines.apply(&note("a"), &author("ines", 1_000)).unwrap();
    let mut tobias = Document::from_changes(document(1), vec![first, a], actor(2)).unwrap();
    let b = ines.apply(&note("b"), &author("ines", 2_000)).unwrap();
    let c = tobias.apply(&note("c"), &author("tobias", 1_500 - DAY_MS)).unwrap();
    tobias.take(vec![b]).unwrap();
    ines.take(vec![c]).unwrap();
    let once = ines.apply(&said("fine"), &author("ines", 3_000)).unwrap();
    let twice = ines.apply(&said("fine, but for the wind"), &author("ines", 4_000)).unwrap();
    tobias.take(vec![once, twice]).unwrap();
    (ines, tobias)
}

#[test]
fn causes_stand_before_effects_whatever_the_clocks_say() {
    let (ines, tobias) = two_devices();
    let steps = ines.history().unwrap();
    assert_eq!(steps, tobias.history().unwrap(), "the same on both");
    let entries: Vec<_> = steps
        .iter()
        .map(|step| step.entry.as_ref().map_or("", |entry| entry.id.as_str()))
        .collect();
    // Tobias's clock is a day slow, and yet his note stands after the one he had read.
    assert_eq!(entries, ["", "a", "c", "b", "", ""]);
    let by: Vec<_> = steps.iter().map(|step| step.stamp.as_ref().unwrap().by.as_str()).collect();
    assert_eq!(by, ["wren", "ines", "tobias", "ines", "ines", "ines"]);
    assert_eq!(steps[4].intent, "summarise");
    assert_eq!(steps[1].entry.as_ref().unwrap().list, "notes");
}

#[test]
fn a_clock_that_is_far_off_is_said_and_so_is_what_somebody_had_not_seen() {
    let steps = two_devices().0.history().unwrap();
    let behind: Vec<_> = steps.iter().map(|step| step.behind_s).collect();
    assert_eq!(behind, [None, None, Some((DAY_MS - 500) / 1000), None, None, None]);
    let unseen: Vec<_> = steps.iter().map(|step| step.unseen).collect();
    assert_eq!(unseen, [0, 0, 0, 1, 0, 0], "ines wrote b without having seen c");
}

#[test]
fn any_moment_can_be_seen_again() {
    let (ines, tobias) = two_devices();
    let steps = ines.history().unwrap();
    let notes = |step: usize| {
        let then = tobias.session_after(&steps[step].change).unwrap();
        then.notes.into_keys().collect::<Vec<_>>().join(" ")
    };
    let after: Vec<String> = (0..steps.len()).map(notes).collect();
    assert_eq!(after, ["", "a", "a c", "a b", "a b c", "a b c"]);
    let first = ines.session_after(&steps[4].change).unwrap();
    assert_eq!(first.summary[0].text, "fine", "as it was summed up first");
    assert_eq!(ines.session_after(&steps[5].change).unwrap(), *ines.session().unwrap());
}

#[test]
fn a_moment_that_never_was_is_refused_by_name() {
    let (ines, _) = two_devices();
    for given in ["", "soon", &"0".repeat(64), &"f".repeat(4_000)] {
        let refused = ines.session_after(given).unwrap_err();
        assert!(matches!(refused, NoSuchMoment::Unknown { .. }), "{refused}");
        assert!(refused.to_string().len() < 200, "{refused}");
    }
}
