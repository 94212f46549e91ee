//! Goal: a side that keeps a part gets that part whole, whenever it comes to be wanted and whatever
//! is lost, and is believed to hold no more. Method: as beside it; sites come to be wanted.

use super::*;

fn sites(of: &[u8]) -> Scope {
    Scope::Sites(of.iter().copied().map(id).collect())
}

/// One that holds papers (200) and visits 1 to 5, and one that keeps the visits to some.
fn whole_and_part(of: &[u8]) -> (Side, Side) {
    let mut whole = Side::with_session(200, 2);
    for n in 1..=5 {
        whole.add_session(n, 3);
    }
    let mut part = Side::new(99);
    part.wants = sites(of);
    (whole, part)
}

fn documents(of: &Side) -> Vec<u8> {
    let ids: BTreeSet<u8> = of.log.iter().map(|(entry, _)| entry.document.to_bytes()[0]).collect();
    ids.into_iter().collect()
}

/// How many changes of a document are there.
fn count(of: &Side, n: u8) -> usize {
    of.log.iter().filter(|(entry, _)| entry.document == id(n)).count()
}

/// Writes on in a session that is there, up to so many notes.
fn grow(side: &mut Side, n: u8, notes: usize) {
    let known = side.hashes();
    for change in &session_with_notes(n, notes).1 {
        if !known.contains(&change.hash().0) {
            side.log.push((LogEntry { document: id(n), change: Chunk::from(change) }, None));
            side.lives.push(side.life);
        }
    }
}

#[test]
fn a_part_gets_the_papers_and_its_sites_in_one_meeting() {
    for part_calls in [true, false] {
        let (mut whole, mut part) = whole_and_part(&[2, 4]);
        let tally = if part_calls { part.call(&mut whole) } else { whole.call(&mut part) };
        assert_eq!(documents(&part), [2, 4, 200]);
        assert_eq!(tally.stored.taken + tally.sent_changes, 3 + 2 * 4);
        let again = part.call(&mut whole);
        assert_eq!((again.rounds, again.stored.taken), (1, 0), "nothing is left to say");
        let known = whole.met(part.card.node).unwrap().2;
        assert_eq!(
            (known.acknowledged, known.holds),
            (whole.mark(whole.log.len()), sites(&[2, 4]))
        );
        // What comes later to other sites passes it by.
        whole.add_session(6, 2);
        assert_eq!(part.call(&mut whole).stored.taken, 0);
        assert_eq!(whole.call(&mut part).sent_changes, 0);
    }
}

#[test]
fn a_site_that_comes_to_be_wanted_is_made_up_for_and_nothing_else_is_sent_again() {
    for part_calls in [true, false] {
        let (mut whole, mut part) = whole_and_part(&[2]);
        // Twice: whoever is called hears with the next word that its answer arrived.
        part.call(&mut whole);
        part.call(&mut whole);
        whole.add_session(6, 2);
        part.wants = sites(&[2, 3, 6]);
        let tally = if part_calls { part.call(&mut whole) } else { whole.call(&mut part) };
        assert_eq!(documents(&part), [2, 3, 6, 200]);
        assert_eq!(tally.stored.taken + tally.sent_changes, 4 + 3, "the third site and the sixth");
        // One round trip more than where nothing is made up for, so that both know it.
        assert_eq!(tally.rounds, 2);
        let again = whole.call(&mut part);
        assert_eq!((again.rounds, again.sent_changes), (1, 0));
        assert_eq!(whole.met(part.card.node).unwrap().2.holds, sites(&[2, 3, 6]));
    }
}

#[test]
fn a_side_set_back_to_everything_gets_all_the_rest() {
    let (mut whole, mut part) = whole_and_part(&[2]);
    part.call(&mut whole);
    part.wants = Scope::All;
    let tally = part.call(&mut whole);
    assert_eq!(tally.stored.taken, 4 * 4, "four visits of four changes");
    assert_eq!(part.hashes(), whole.hashes());
    assert_eq!(whole.met(part.card.node).unwrap().2.holds, Scope::All);
    // And less again: nothing goes, and nothing comes of what is not wanted any more.
    part.wants = sites(&[2]);
    whole.add_session(7, 1);
    assert_eq!(part.call(&mut whole).stored.taken, 0);
    assert_eq!(part.log.len(), whole.log.len() - 2);
}

/// Every body of making up is lost in turn, in pieces and with further sites wanted meanwhile.
#[test]
fn a_cut_at_any_body_while_it_is_made_up_for_loses_nothing() {
    let mut cuts = 0;
    for case in 0..16_u8 {
        let (sliced, more_wanted, whole_calls, few_passed) =
            (case & 1 != 0, case & 2 != 0, case & 4 != 0, case & 8 != 0);
        for lost_round in 1..=30 {
            let (mut whole, mut part) = whole_and_part(&[1]);
            part.call(&mut whole);
            whole.slice_max = if sliced { 2 } else { 1_000 };
            whole.passes_max = if few_passed { 3 } else { 1_000 };
            whole.add_session(6, 2);
            part.add_session(7, 1);
            part.wants = sites(&[1, 3, 5, 7]);
            let (caller, answerer) =
                if whole_calls { (&mut whole, &mut part) } else { (&mut part, &mut whole) };
            let tally = caller.call_through(answerer, |round| round == lost_round).unwrap();
            if more_wanted {
                part.wants = sites(&[1, 3, 4, 5, 7]);
            }
            part.call(&mut whole);
            let wanted: &[u8] =
                if more_wanted { &[1, 3, 4, 5, 7, 200] } else { &[1, 3, 5, 7, 200] };
            assert_eq!(documents(&part), wanted, "case {case}, round {lost_round}");
            for n in wanted {
                let told = format!("document {n}, case {case}, round {lost_round}");
                assert_eq!(count(&part, *n), count(&whole, *n), "{told}");
            }
            for tally in [part.call(&mut whole), whole.call(&mut part)] {
                assert_eq!((tally.sent_changes, tally.stored.taken), (0, 0), "case {case}");
            }
            cuts += 1;
            if tally.rounds < lost_round {
                break;
            }
        }
    }
    assert!(cuts > 60, "{cuts} cuts");
}

/// What was left out by what it asked before says so, and is not taken for all it asks for now,
/// even where it starts in the right place.
#[test]
fn a_piece_that_left_out_by_another_asking_is_not_taken() {
    let (mut whole, mut part) = whole_and_part(&[1]);
    // It said that it stores nothing yet, and the answer was lost.
    part.call_through(&mut whole, |round| round == 1).unwrap();
    part.wants = sites(&[1, 2]);
    whole.addresses_known = true;
    whole.call(&mut part);
    part.call(&mut whole);
    assert_eq!(documents(&part), [1, 2, 200]);
    let mut machine = Exchange::caller(whole.card.clone(), unsigned(), Scope::All);
    let met = whole.met(part.card.node);
    whole.add_session(6, 0);
    let late = whole.advance(&mut machine, Input::Begin { met }).unwrap().unwrap();
    part.wants = sites(&[1, 2, 6]);
    part.answer(late).unwrap();
    assert_eq!(count(&part, 6), 0, "it was left out, and not passed by for good");
    part.call(&mut whole);
    assert_eq!(count(&part, 6), 1);
}

/// A part relays between two that never meet, and carries nothing it does not want.
#[test]
fn a_part_passes_on_what_it_keeps() {
    let (mut whole, mut part) = whole_and_part(&[2]);
    part.call(&mut whole);
    let mut third = Side::new(98);
    third.call(&mut part);
    assert_eq!(documents(&third), [2, 200]);
    grow(&mut third, 2, 5);
    third.add_session(8, 1);
    part.call(&mut third);
    whole.call(&mut part);
    assert_eq!(count(&whole, 2), count(&third, 2));
    assert_eq!(documents(&part), [2, 200], "the eighth is not wanted");
}

/// The disk of the one that gave was put back while a part was made up for: what it lost must come
/// back to it, though the part named the start of its log, which fits any.
#[test]
fn a_log_that_was_put_back_is_found_out_while_it_is_made_up_for() {
    for case in 0..8_u8 {
        let (part_calls, sliced, late) = (case & 1 != 0, case & 2 != 0, case & 4 != 0);
        let (mut whole, mut part) = whole_and_part(&[2]);
        part.call(&mut whole);
        let copy = whole.clone();
        grow(&mut whole, 2, 6);
        part.call(&mut whole);
        let everything = count(&part, 2);
        let mut whole = copy.put_back(1);
        whole.add_session(6, 9);
        whole.slice_max = if sliced { 2 } else { 1_000 };
        part.wants = sites(&[2, 3, 6]);
        if late {
            part.call_through(&mut whole, |round| round == 2).unwrap();
        }
        let (caller, answerer) =
            if part_calls { (&mut part, &mut whole) } else { (&mut whole, &mut part) };
        caller.call(answerer);
        whole.call(&mut part);
        assert_eq!(documents(&part), [2, 3, 6, 200], "case {case}");
        assert_eq!(count(&whole, 2), everything, "case {case}: what it lost came back");
        assert_eq!(count(&part, 6), count(&whole, 6), "case {case}");
        part.call(&mut whole);
        for tally in [part.call(&mut whole), whole.call(&mut part)] {
            assert_eq!((tally.sent_changes, tally.stored.taken), (0, 0), "case {case}");
        }
    }
}
