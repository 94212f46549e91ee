//! Goal: nobody is called twice at once, too often, or under another key than was said; the list
//! stays small whatever is heard. Method: times made of one instant, no waiting.

use super::*;

fn key(n: u8) -> PublicKey {
    PublicKey::from_bytes([n; 32])
}

fn at(n: u16) -> SocketAddr {
    SocketAddr::from(([192, 0, 2, 7], n))
}

fn failed() -> Option<String> {
    Some("nobody answers".to_owned())
}

#[test]
fn an_address_that_was_heard_of_is_called_for_the_key_it_was_said_to_be() {
    let (mut rounds, now) = (Rounds::default(), Instant::now());
    rounds.heard("a", key(1), [at(1), at(2)].into_iter(), now);
    rounds.known([at(3)].into_iter(), now);
    let calls = rounds.due(now);
    assert_eq!(
        calls,
        [Call { address: at(1), only: Some(key(1)) }, Call { address: at(3), only: None }]
    );
    assert_eq!(rounds.due(now + LAST_WAIT), [], "one call a device, and none twice");
    rounds.ended(calls[0], None, now, 0.5);
    assert_eq!(rounds.due(now + FIRST_WAIT), [], "it was reached: not by its other address too");
}

#[test]
fn an_announcement_takes_nothing_from_a_known_address() {
    let (mut rounds, now) = (Rounds::default(), Instant::now());
    rounds.known([at(3)].into_iter(), now);
    rounds.heard("copied", key(1), [at(3)].into_iter(), now);
    assert_eq!(rounds.due(now), [Call { address: at(3), only: None }]);
    rounds.gone("copied");
    assert_eq!(rounds.targets().len(), 1, "and nothing when it goes");
    rounds.heard("b", key(2), [at(4)].into_iter(), now);
    rounds.heard("copied", key(1), [at(4)].into_iter(), now);
    assert_eq!(rounds.targets()[1].key, Some(key(2)), "nor from another device");
}

#[test]
fn who_does_not_answer_is_asked_less_and_less_and_forgotten() {
    let (mut rounds, mut now) = (Rounds::default(), Instant::now());
    rounds.heard("a", key(1), [at(1)].into_iter(), now);
    rounds.known([at(2)].into_iter(), now);
    let mut last = Duration::ZERO;
    for round in 0..FAILURES_MAX {
        let calls = rounds.due(now);
        assert_eq!(calls.len(), 2, "round {round}");
        for call in calls {
            rounds.ended(call, failed(), now, 0.5);
        }
        rounds.edited(now);
        let wait = rounds.next().unwrap() - now;
        assert!(wait >= last && wait <= LAST_WAIT, "round {round}: {wait:?}");
        (last, now) = (wait, now + wait);
    }
    assert!(last > Duration::from_secs(200), "{last:?}");
    assert_eq!(rounds.targets().len(), 1, "what was only heard of is forgotten");
    assert_eq!(rounds.targets()[0].address, at(2));
    rounds.afresh(now);
    assert_eq!(rounds.due(now).len(), 1, "another network: at once");
}

#[test]
fn an_edit_is_passed_on_soon_and_one_during_a_call_right_after_it() {
    let (mut rounds, now) = (Rounds::default(), Instant::now());
    rounds.known([at(1)].into_iter(), now);
    let call = rounds.due(now)[0];
    rounds.edited(now);
    rounds.ended(call, None, now, 0.5);
    assert_eq!(rounds.next(), Some(now + AFTER_EDIT));
    let call = rounds.due(now + AFTER_EDIT)[0];
    rounds.ended(call, None, now, 0.5);
    assert_eq!(rounds.next(), Some(now + REGULAR));
    rounds.took(now, 0.0);
    assert_eq!(rounds.next(), Some(now + AFTER_TAKING / 2));
    rounds.edited(now);
    assert_eq!(rounds.next(), Some(now + AFTER_EDIT));
}

#[test]
fn the_list_stays_small_whatever_is_heard() {
    let (mut rounds, now) = (Rounds::default(), Instant::now());
    rounds.known([at(9)].into_iter(), now);
    for n in 0..10_000_u16 {
        rounds.heard("one", key(1), [at(10 + n)].into_iter(), now);
    }
    assert_eq!(rounds.targets().len(), 1 + ADDRESSES_MAX, "of one device");
    for n in 0..10_000_u16 {
        let who = PublicKey::from_bytes(std::array::from_fn(|at| n.to_be_bytes()[at % 2]));
        rounds.heard(&n.to_string(), who, [at(20_000 + n)].into_iter(), now);
        assert!(rounds.targets().len() <= TARGETS_MAX);
    }
    assert_eq!(rounds.targets()[0].address, at(9), "what is known stays");
    assert!(rounds.due(now).len() <= CALLS_MAX);
    rounds.silence();
    assert!(rounds.targets().iter().all(|target| target.busy || target.key.is_none()));
}
