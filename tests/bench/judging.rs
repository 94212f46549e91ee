//! A whole visit judged, against loading its document: 60 readings, findings and reconciling.

use std::hint::black_box;
use std::time::Instant;

use automerge::{Automerge, Change};
use guyline_core::checks::{Cautions, Plan, appraise};
use guyline_core::record::Document;
use guyline_hub::Node;
use guyline_hub::desk::papers;

use crate::{Row, median, papers as made};

const ROUNDS: usize = 20;

pub(crate) fn row() -> Row {
    let folder = tempfile::tempdir().expect("a folder for the bench");
    let node = Node::open(folder.path()).expect("a fresh store opens");
    let session = made::shop_site_and_sessions(&node, 1)[0];
    made::full_visit(&node, session);
    let sheet = papers(&node, session).expect("its papers are here");
    assert_eq!(sheet.session.readings.len(), 60);
    let changes: Vec<Change> = node.with_document(session, Document::changes).expect("it is here");
    let mut document = Automerge::new();
    document.apply_changes(changes).expect("they fit together");
    let saved = document.save();
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        let start = Instant::now();
        let judged = appraise(Plan::standard(), Cautions::standard(), &sheet);
        black_box(judged.expect("the papers belong together"));
        ours.push(start.elapsed());
        let start = Instant::now();
        black_box(Automerge::load(&saved).expect("it was saved"));
        theirs.push(start.elapsed());
    }
    let measured = median(ours).as_secs_f64() / median(theirs).as_secs_f64();
    Row { name: "judge", measured, goal: 1.0 }
}
