//! Papers for the benches: the demo's shop and site, and as many sessions as are wanted.

use automerge::ActorId;
use guyline_core::record::{Author, Document, DocumentId, Phase, Plane, SessionEdit, Shop, Site};
use guyline_core::units::Unit;
use guyline_hub::Node;
use guyline_hub::desk::{EnterReading, edit_session, record_reading};
use serde::de::DeserializeOwned;

fn file<T: DeserializeOwned>(name: &str) -> T {
    let path = guyline_tests::demo_data().join(name);
    let text = std::fs::read_to_string(path).expect("the demo's files are there");
    serde_json::from_str(&text).expect("the demo's files are sound")
}

fn author(node: &Node) -> Author {
    Author { person: "ines".to_owned(), device: "bench".to_owned(), at: node.now() }
}

fn document_id(number: usize) -> DocumentId {
    let mut bytes = [0; 16];
    bytes[8..].copy_from_slice(&(number as u64 + 1).to_be_bytes());
    DocumentId::from_bytes(bytes)
}

fn shop(node: &Node, author: &Author) {
    let shop: Shop = file("shop.json");
    let made = Document::create_shop(document_id(0), &shop, ActorId::random(), author);
    let (document, change) = made.expect("the demo's shop is sound");
    node.create(document, change).expect("the store takes it");
}

fn site(node: &Node, author: &Author, number: usize, named: &str) -> DocumentId {
    let mut site: Site = file("site.json");
    named.clone_into(&mut site.name);
    let id = document_id(number);
    let made = Document::create_site(id, &site, ActorId::random(), author);
    let (document, change) = made.expect("the demo's site is sound");
    node.create(document, change).expect("the store takes it");
    id
}

fn session(node: &Node, author: &Author, number: usize, site: DocumentId) -> DocumentId {
    let id = document_id(number);
    let actor = ActorId::random();
    let made = Document::create_session(id, site, "lookout-vhf", "bench", actor, author);
    let (document, change) = made.expect("a session can be planned");
    node.create(document, change).expect("the store takes it");
    id
}

/// Makes shop, site and empty sessions. Returns the sessions.
pub(crate) fn shop_site_and_sessions(node: &Node, count: usize) -> Vec<DocumentId> {
    shop_sites_and_sessions(node, 1, count)
}

/// The same at so many sites in turn.
pub(crate) fn shop_sites_and_sessions(node: &Node, sites: usize, count: usize) -> Vec<DocumentId> {
    let author = author(node);
    shop(node, &author);
    let sites: Vec<DocumentId> = (1..=sites)
        .map(|number| site(node, &author, number, &format!("Owl Knob {number}")))
        .collect();
    let visited = |number: usize| {
        session(node, &author, sites.len() + number + 1, sites[number % sites.len()])
    };
    (0..count).map(visited).collect()
}

/// A chain on the receiver port, by id, and who connected it.
pub(crate) fn connected(node: &Node, session: DocumentId) -> (Author, String) {
    let author = author(node);
    let id = node.fresh_id();
    let edit = SessionEdit::ConnectChain {
        id: id.clone(),
        name: "direct".to_owned(),
        plane: Plane::ReceiverPort,
        instrument: "monitor-1".to_owned(),
        port: "gen".to_owned(),
        between: vec!["cable-a".to_owned()],
        line: Vec::new(),
    };
    edit_session(node, session, &author, &edit).expect("the chain is taken");
    (author, id)
}

/// An opening level, a little different each time.
pub(crate) fn reading(session: DocumentId, chain: &str, number: usize) -> EnterReading {
    EnterReading {
        session: session.to_string(),
        check: "receiver.opening".to_owned(),
        chain: chain.to_owned(),
        typed: format!("-120.{}", number % 10),
        unit: Unit::Dbm,
        phase: Phase::AsFound,
        replaces: None,
        live: None,
    }
}

/// A session as a visit fills it: a chain, twenty readings, ten notes.
pub(crate) fn fill(node: &Node, session: DocumentId) {
    let (author, chain) = connected(node, session);
    for number in 0..20 {
        let asked = reading(session, &chain, number);
        record_reading(node, session, &author, &asked).expect("the reading is admitted");
    }
    for number in 0..10 {
        let text = format!("note {number}: squelch set, tone decoded, fan cleaned");
        let edit = SessionEdit::AddNote { id: node.fresh_id(), text };
        edit_session(node, session, &author, &edit).expect("the note is taken");
    }
}

/// A visit of 60 readings of the receiver, through two chains.
pub(crate) fn full_visit(node: &Node, session: DocumentId) {
    let (author, direct) = connected(node, session);
    let antenna = node.fresh_id();
    let edit = SessionEdit::ConnectChain {
        id: antenna.clone(),
        name: "on the antenna port".to_owned(),
        plane: Plane::AntennaPort,
        instrument: "monitor-1".to_owned(),
        port: "duplex".to_owned(),
        between: vec!["cable-a".to_owned()],
        line: Vec::new(),
    };
    edit_session(node, session, &author, &edit).expect("the chain is taken");
    for number in 0..30 {
        let asked = reading(session, &direct, number);
        record_reading(node, session, &author, &asked).expect("the reading is admitted");
        let asked = EnterReading {
            check: "duplexer.receive-loss".to_owned(),
            typed: format!("-119.{}", number % 10),
            ..reading(session, &antenna, number)
        };
        record_reading(node, session, &author, &asked).expect("the reading is admitted");
    }
}
