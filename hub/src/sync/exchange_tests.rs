//! Goal: two sides end level whatever is lost, repeated, replaced or put back. Method: two logs in
//! memory that do what the machine asks; every body can be dropped, doubled or kept for later.

use std::collections::BTreeMap;

use super::*;
use crate::chunk::Chunk;
use crate::fixture::{id, session_with_notes};
use crate::log::{LogEntry, Place};
use crate::packed::Packed;

#[path = "exchange_parts_tests.rs"]
mod parts;

/// Logs in memory have no device, and their receipts say nothing.
const UNSIGNED: Receipt = Receipt { key: [0; 32], signature: [0; 64] };

fn unsigned() -> Signer {
    Signer::new(|_| UNSIGNED)
}

/// A node without a disk: a log, and what it remembers.
#[derive(Clone)]
struct Side {
    card: Card,
    log: Vec<(LogEntry, Option<NodeId>)>,
    /// Which start wrote each entry, and which one this is.
    lives: Vec<u8>,
    life: u8,
    memories: BTreeMap<NodeId, (StoreId, Memory)>,
    /// What a peer gave us below this it may have lost.
    given_after: BTreeMap<NodeId, usize>,
    slice_max: usize,
    /// So many entries are passed for one slice.
    passes_max: usize,
    /// How much of others' logs it keeps. A session's site has the session's id; from 200 on
    /// documents are papers.
    wants: Scope,
    /// Whether a peer is recognised by where it is reached.
    addresses_known: bool,
}

impl Side {
    fn new(n: u8) -> Self {
        let card = Card { node: NodeId([n; 16]), store: StoreId([n; 16]), name: format!("{n}") };
        Self {
            card,
            log: Vec::new(),
            lives: Vec::new(),
            life: 0,
            memories: BTreeMap::new(),
            given_after: BTreeMap::new(),
            slice_max: 1_000,
            passes_max: 1_000,
            wants: Scope::All,
            addresses_known: true,
        }
    }

    /// Its own session with so many notes.
    fn with_session(n: u8, notes: usize) -> Self {
        let mut side = Self::new(n);
        side.add_session(n, notes);
        side
    }

    fn add_session(&mut self, n: u8, notes: usize) {
        let (_, changes) = session_with_notes(n, notes);
        let entries =
            changes.iter().map(|change| LogEntry { document: id(n), change: Chunk::from(change) });
        self.log.extend(entries.map(|entry| (entry, None)));
        self.lives.resize(self.log.len(), self.life);
    }

    /// The same as it was now, started again later.
    fn put_back(&self, life: u8) -> Self {
        Self { life, ..self.clone() }
    }

    fn mark(&self, position: usize) -> Mark {
        match position.checked_sub(1) {
            None => Mark::START,
            Some(index) => {
                let mut hash = self.log[index].0.change.hash().0;
                hash[0] ^= self.lives[index];
                Mark { position: position as u64, hash }
            }
        }
    }

    fn met(&self, node: NodeId) -> Option<(NodeId, StoreId, Memory)> {
        self.memories.get(&node).map(|(store, memory)| (node, *store, memory.clone()))
    }

    fn memory(&mut self, card: &Card) -> &mut Memory {
        let entry = self.memories.entry(card.node).or_insert((card.store, Memory::NONE));
        if entry.0 != card.store {
            *entry = (card.store, Memory::NONE);
            self.given_after.insert(card.node, self.log.len());
        }
        &mut entry.1
    }

    fn fits(&self, mark: Mark) -> bool {
        let position = mark.position as usize;
        position <= self.log.len() && self.mark(position) == mark
    }

    fn after(&self, after: Mark, peer: NodeId, ask: &Ask) -> LogSlice {
        let known = ask.known.as_ref();
        let fits = self.fits(after) && known.is_none_or(|known| self.fits(known.upto));
        let (after, start, ask) = match fits {
            true => (after, Start::Continues, ask.clone()),
            false => (Mark::START, Start::Anew, ask.afresh()),
        };
        let given_after = self.given_after.get(&peer).copied().unwrap_or(0);
        let mut slice = LogSlice {
            after,
            start,
            to: self.mark(self.log.len()),
            left_out: ask.digest(),
            packed: Vec::new(),
            entries: Vec::new(),
            seals: Vec::new(),
            more: false,
        };
        for (passed, (index, (entry, from))) in
            self.log.iter().enumerate().skip(after.position as usize).enumerate()
        {
            let goes = (*from != Some(peer) || index < given_after)
                && ask.asks_for(index as u64 + 1, Some(place(entry.document)));
            if passed == self.passes_max || (goes && slice.entries.len() == self.slice_max) {
                (slice.to, slice.more) = (self.mark(index), true);
                break;
            }
            if goes {
                slice.entries.push(entry.clone());
            }
        }
        slice
    }

    fn store(
        &mut self,
        peer: &Card,
        entries: Vec<LogEntry>,
        seen: (Mark, Ask),
        anew: bool,
    ) -> Stored {
        if anew {
            self.given_after.insert(peer.node, self.log.len());
            self.memory(peer).acknowledged = Mark::START;
        }
        let mut stored = Stored::default();
        for entry in entries {
            if !self.log.iter().any(|(known, _)| *known == entry) {
                stored.documents.insert(entry.document);
                stored.taken += 1;
                self.log.push((entry, Some(peer.node)));
                self.lives.push(self.life);
            }
        }
        let memory = self.memory(peer);
        (memory.seen, memory.asked) = seen;
        stored
    }

    /// Gives an input and does what is asked until the machine says something or ends.
    fn advance(
        &mut self,
        machine: &mut Exchange,
        input: Input,
    ) -> Result<Option<Vec<u8>>, ExchangeFault> {
        let (mut next, mut said) = (Some(input), None);
        while let Some(input) = next.take() {
            machine.handle(input)?;
            while let Some(output) = machine.next_output() {
                match output {
                    Output::Recall(card) => {
                        let known =
                            self.met(card.node).filter(|(_, store, _)| *store == card.store);
                        next = Some(Input::Recalled(known.map(|(.., memory)| memory)));
                    }
                    Output::Forget { peer } => {
                        self.given_after.insert(peer, self.log.len());
                        self.memories.get_mut(&peer).expect("it was met").1 = Memory::NONE;
                    }
                    Output::Gather { peer, after, ask, packs } => {
                        let mut slice = self.after(after, peer, &ask);
                        if packs {
                            // Some of it was packed together before.
                            let loose = slice.entries.split_off(slice.entries.len() / 2);
                            let packed = Packed::of(&slice.entries, &[]);
                            (slice.packed, slice.entries) = (vec![packed], loose);
                        }
                        next = Some(Input::Gathered(slice));
                    }
                    Output::Store { peer, mut slice, documents, seen, asked, anew, .. } => {
                        wire::unpack_slice(&mut slice).unwrap();
                        let entries = slice.entries;
                        let ids = entries.iter().map(|entry| entry.document);
                        assert_eq!(documents, ids.collect());
                        let stored = self.store(&peer, entries, (seen, asked), anew);
                        next = Some(Input::Stored(stored));
                    }
                    Output::Acknowledge { peer, mark, holds, .. } => {
                        let memory = self.memory(&peer);
                        (memory.acknowledged, memory.holds) = (mark, holds);
                    }
                    Output::Send(body) => said = Some(body),
                    Output::Done => {}
                }
            }
        }
        Ok(said)
    }

    fn answer(&mut self, body: Vec<u8>) -> Result<Vec<u8>, ExchangeFault> {
        let mut machine = Exchange::answerer(self.card.clone(), unsigned(), self.wants.clone());
        Ok(self.advance(&mut machine, Input::Received(body))?.expect("an answer"))
    }

    /// Calls `other` through `wire`, which may lose the answer to a round.
    fn call_through(
        &mut self,
        other: &mut Self,
        mut lost: impl FnMut(u64) -> bool,
    ) -> Result<Tally, ExchangeFault> {
        let mut machine = Exchange::caller(self.card.clone(), unsigned(), self.wants.clone())
            .packing(self.card.node.0[0].is_multiple_of(2));
        let met = self.met(other.card.node).filter(|_| self.addresses_known);
        let mut input = Input::Begin { met };
        while let Some(body) = self.advance(&mut machine, input)? {
            let answer = other.answer(body)?;
            if lost(machine.tally().rounds) {
                return Ok(machine.tally().clone());
            }
            input = Input::Received(answer);
        }
        Ok(machine.tally().clone())
    }

    fn call(&mut self, other: &mut Self) -> Tally {
        self.call_through(other, |_| false).unwrap()
    }

    fn hashes(&self) -> BTreeSet<[u8; 32]> {
        self.log.iter().map(|(entry, _)| entry.change.hash().0).collect()
    }
}

fn place(document: DocumentId) -> Place {
    match document.to_bytes()[0] {
        200.. => Place::Papers,
        _ => Place::Visit(document),
    }
}

#[test]
fn a_first_meeting_takes_two_round_trips_and_every_later_one_takes_one() {
    let (mut a, mut b) = (Side::with_session(1, 2), Side::with_session(2, 4));
    let first = a.call(&mut b);
    assert_eq!((first.rounds, first.sent_changes, first.stored.taken), (2, 3, 5));
    assert_eq!(a.hashes(), b.hashes());

    let repeated = a.call(&mut b);
    assert_eq!((repeated.rounds, repeated.sent_changes, repeated.stored.taken), (1, 0, 0));
    // b knows from a's call what a holds, though it never called.
    assert_eq!(b.met(a.card.node).unwrap().2.acknowledged, b.mark(b.log.len()));
    let back = b.call(&mut a);
    assert_eq!((back.rounds, back.sent_changes, back.stored.taken), (1, 0, 0));
}

#[test]
fn a_third_side_gets_everything_through_the_second() {
    let (mut a, mut b, mut c) = (Side::with_session(1, 2), Side::with_session(2, 3), Side::new(3));
    a.call(&mut b);
    let tally = c.call(&mut b);
    assert_eq!(tally.stored.taken, 3 + 4);
    assert_eq!(c.hashes(), a.hashes());
}

#[test]
fn a_long_log_goes_in_pieces_until_both_are_level() {
    let (mut a, mut b) = (Side::with_session(1, 24), Side::with_session(2, 9));
    (a.slice_max, b.slice_max) = (4, 3);
    let tally = a.call(&mut b);
    assert_eq!(a.hashes(), b.hashes());
    // 25 changes by 4 are 7 rounds; 10 by 3 go along; one more to learn names.
    assert_eq!((tally.sent_changes, tally.stored.taken, tally.rounds), (25, 10, 8));
}

#[test]
fn a_lost_answer_of_any_round_does_no_harm() {
    for lost_round in 1..=8 {
        let (mut a, mut b) = (Side::with_session(1, 24), Side::with_session(2, 9));
        (a.slice_max, b.slice_max) = (4, 3);
        a.call_through(&mut b, |round| round == lost_round).unwrap();
        a.call(&mut b);
        assert_eq!(a.hashes(), b.hashes(), "lost in round {lost_round}");
        assert_eq!(a.log.len(), 35, "nothing is stored twice, lost in round {lost_round}");
    }
}

#[test]
fn old_bodies_that_come_again_change_nothing() {
    let (mut a, mut b) = (Side::with_session(1, 3), Side::with_session(2, 3));
    a.call(&mut b);
    let mut machine = Exchange::caller(a.card.clone(), unsigned(), Scope::All);
    let met = a.met(b.card.node);
    let body = a.advance(&mut machine, Input::Begin { met }).unwrap().unwrap();
    let before = b.log.clone();
    for _ in 0..3 {
        b.answer(body.clone()).unwrap();
    }
    assert_eq!(b.log, before);
    let tally = b.call(&mut a);
    assert_eq!((tally.sent_changes, tally.stored.taken), (0, 0));
}

#[test]
fn a_replaced_store_gets_everything_again() {
    let (mut a, mut b) = (Side::with_session(1, 3), Side::with_session(2, 3));
    a.call(&mut b);
    let everything = a.hashes();
    // The same device, after its store was lost.
    b = Side::new(2);
    b.card.store = StoreId([99; 16]);
    a.call(&mut b);
    assert_eq!(b.hashes(), everything);
    let tally = a.call(&mut b);
    assert_eq!((tally.sent_changes, tally.stored.taken), (0, 0));
}

/// Work on both sides after a backup of b was taken, then b put back with other work in its place.
/// Whoever calls, whether or not they know each other's address, both must end with everything.
#[test]
fn a_store_put_back_from_a_backup_neither_loses_nor_hides_what_came_later() {
    for case in 0..16_u8 {
        let (calls_back, stranger, chatty, sliced) =
            (case & 1 != 0, case & 2 != 0, case & 4 != 0, case & 8 != 0);
        let (mut a, mut b) = (Side::with_session(1, 0), Side::with_session(2, 3));
        if sliced {
            (a.slice_max, b.slice_max) = (3, 2);
        }
        a.call(&mut b);
        if chatty {
            b.call(&mut a);
        }
        let backup = b.clone();
        // Work that only a has seen, then the disk of b dies, and other work takes its positions.
        b.add_session(3, 5);
        a.call(&mut b);
        let mut b = backup.put_back(1);
        b.add_session(4, 5);
        if stranger {
            a.addresses_known = false;
            b.addresses_known = false;
        }
        let (caller, answerer) = if calls_back { (&mut b, &mut a) } else { (&mut a, &mut b) };
        caller.call(answerer);
        assert_eq!(a.hashes(), b.hashes(), "case {case}");
        assert_eq!(a.log.len(), 1 + 4 + 6 + 6, "case {case}");
        assert_eq!(b.log.len(), a.log.len(), "case {case}");
        // Each hears once how far the other is; from then on nothing moves.
        assert_eq!(a.call(&mut b).stored.taken + b.call(&mut a).stored.taken, 0, "case {case}");
        for tally in [a.call(&mut b), b.call(&mut a)] {
            assert_eq!((tally.sent_changes, tally.stored.taken), (0, 0), "case {case}");
        }
    }
}

/// Each gave the other work and was put back to before it: neither may take it for granted that the
/// other still has what it gave.
#[test]
fn two_stores_put_back_one_after_the_other_give_each_other_everything_again() {
    for case in 0..32_u8 {
        let (b_calls, chatty, sliced) = (case & 1 != 0, case & 2 != 0, case & 4 != 0);
        let lost_round = u64::from(case >> 3);
        let (mut a, mut b) = (Side::with_session(1, 1), Side::with_session(2, 1));
        if sliced {
            (a.slice_max, b.slice_max) = (3, 2);
        }
        a.call(&mut b);
        if chatty {
            b.call(&mut a);
        }
        let (old_a, old_b) = (a.clone(), b.clone());
        a.add_session(3, 4);
        a.call(&mut b);
        // The disk of a dies; what it gave is with b, and so is other work in its positions.
        let mut a = old_a.put_back(1);
        a.add_session(4, 4);
        b.add_session(5, 4);
        b.call(&mut a);
        let everything = a.hashes();
        assert_eq!(everything, b.hashes(), "case {case}");
        // Then the disk of b: what it gave and what it was given is with a alone.
        let mut b = old_b.put_back(1);
        b.add_session(6, 9);
        let (caller, answerer) = if b_calls { (&mut b, &mut a) } else { (&mut a, &mut b) };
        // What was found out before an answer got lost must not be forgotten with it.
        caller.call_through(answerer, |round| round == lost_round).unwrap();
        answerer.call(caller);
        assert_eq!(a.hashes(), b.hashes(), "case {case}");
        assert!(a.hashes().is_superset(&everything), "case {case}");
        a.call(&mut b);
        for tally in [a.call(&mut b), b.call(&mut a)] {
            assert_eq!((tally.sent_changes, tally.stored.taken), (0, 0), "case {case}");
        }
    }
}

#[test]
fn a_node_that_reaches_itself_says_so() {
    let mut a = Side::with_session(1, 1);
    let mut twin = a.clone();
    let fault = a.call_through(&mut twin, |_| false).unwrap_err();
    assert!(matches!(fault, ExchangeFault::Itself), "{fault}");
}

#[test]
fn a_peer_that_never_takes_what_it_is_sent_is_given_up() {
    let mut a = Side::with_session(1, 1);
    let stubborn = Card { node: NodeId([9; 16]), store: StoreId([9; 16]), name: "9".to_owned() };
    let nothing = LogSlice {
        after: Mark::START,
        start: Start::Continues,
        to: Mark::START,
        left_out: None,
        packed: Vec::new(),
        entries: Vec::new(),
        seals: Vec::new(),
        more: false,
    };
    let answer = wire::encode(&Body {
        card: stubborn,
        yours: Some((Mark::START, UNSIGNED)),
        mine: Some(nothing),
        ask: Ask::ALL,
    });
    let mut machine = Exchange::caller(a.card.clone(), unsigned(), Scope::All);
    let mut input = Input::Begin { met: None };
    let fault = loop {
        match a.advance(&mut machine, input) {
            Ok(Some(_)) => input = Input::Received(answer.clone()),
            Ok(None) => panic!("it cannot be level"),
            Err(fault) => break fault,
        }
    };
    assert!(matches!(fault, ExchangeFault::Stalled { rounds: 2 }), "{fault}");
}

#[test]
fn nothing_is_acknowledged_before_it_is_stored() {
    let (mut a, b) = (Side::with_session(1, 2), Side::new(2));
    let mut machine = Exchange::caller(a.card.clone(), unsigned(), Scope::All);
    let hello = a.advance(&mut machine, Input::Begin { met: None }).unwrap().unwrap();
    let answered = b.clone().answer(hello).unwrap();
    let body = a.advance(&mut machine, Input::Received(answered)).unwrap().unwrap();

    let mut answerer = Exchange::answerer(b.card.clone(), unsigned(), Scope::All);
    answerer.handle(Input::Received(body)).unwrap();
    assert!(matches!(answerer.next_output(), Some(Output::Recall(_))));
    assert_eq!(answerer.next_output(), None);
    answerer.handle(Input::Recalled(None)).unwrap();
    assert!(matches!(answerer.next_output(), Some(Output::Acknowledge { .. })));
    assert!(matches!(answerer.next_output(), Some(Output::Store { .. })));
    assert_eq!(answerer.next_output(), None, "it says nothing while the disk is not done");
}
