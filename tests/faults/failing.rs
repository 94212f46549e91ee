//! Goal: a disk that fails is told of, loses nothing that was acknowledged, and the node goes on
//! once the cause is gone. Method: a session is worked through on a disk in memory once for each
//! call that changes it, with that call failing in one of three ways, once or from then on. And
//! each read in turn ends early or has a bit turned.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

use guyline_disk::{Failure, Fault, Image, Reading};
use guyline_hub::Node;

use crate::recorded::{
    Acknowledged, Found, Place, Recording, State, Step, look, steps, take, wrong,
};

const STEPS: usize = 33;
/// So many steps may fail before somebody makes room.
const PATIENCE: usize = 3;
const FAILURES: [Failure; 3] = [Failure::Write, Failure::Sync, Failure::Full];
const THREADS: usize = 2;

/// What became of a session on a disk that fails.
#[derive(Debug)]
struct Worked {
    stands: State,
    /// The last step that failed, if none was kept after it: it may be on disk all the same.
    in_doubt: Option<State>,
    errors: usize,
}

impl Worked {
    fn allowed(self) -> Vec<State> {
        std::iter::once(self.stands).chain(self.in_doubt).collect()
    }
}

/// Works through the steps. A step that fails is told of and left; after some the fault goes away.
fn work(place: &Place, steps: &[Step]) -> Worked {
    let mut worked = Worked { stands: State::default(), in_doubt: None, errors: 0 };
    let mut node = reopened(place, &mut worked);
    for step in steps {
        if matches!(step, Step::Restart) {
            drop(node);
            node = reopened(place, &mut worked);
            let found = State::of(&node);
            let kept = found == worked.stands || Some(&found) == worked.in_doubt.as_ref();
            assert!(kept, "after a restart it stands otherwise: {found:?}");
            (worked.stands, worked.in_doubt) = (found, None);
            continue;
        }
        loop {
            let mut attempted = worked.stands.clone();
            match take(&node, step, &mut attempted) {
                Ok(()) => {
                    (worked.stands, worked.in_doubt) = (attempted, None);
                    break;
                }
                Err(said) => {
                    assert!(!said.is_empty(), "an error says something");
                    assert_eq!(State::of(&node), worked.stands, "memory is not ahead: {said}");
                    worked.in_doubt = Some(attempted);
                    worked.errors += 1;
                    patience(place, &worked);
                }
            }
        }
    }
    worked
}

/// Opens the store, if need be after the cause of a failure is gone.
fn reopened(place: &Place, worked: &mut Worked) -> Node {
    loop {
        match place.open() {
            Ok(node) => return node,
            Err(said) => {
                assert!(!said.is_empty(), "an error says something");
                worked.errors += 1;
                patience(place, worked);
            }
        }
    }
}

fn patience(place: &Place, worked: &Worked) {
    if worked.errors >= PATIENCE {
        place.disk.plant(None);
    }
    assert!(worked.errors <= PATIENCE + 1, "it does not go on once the cause is gone");
}

/// How many calls change the disk in a session that nothing happens to.
fn calls(steps: &[Step]) -> (u64, u64) {
    let place = Place::new();
    work(&place, steps);
    place.disk.calls()
}

#[test]
fn a_disk_that_fails_is_told_of_loses_nothing_and_is_used_again() {
    let steps = steps(2, STEPS, 9);
    let (points, _) = calls(&steps);
    let start = Instant::now();
    let (runs, told) = (AtomicUsize::new(0), AtomicUsize::new(0));
    std::thread::scope(|scope| {
        for thread in 0..THREADS {
            let (steps, runs, told) = (&steps, &runs, &told);
            scope.spawn(move || {
                let place = Place::new();
                for at in (thread as u64..points).step_by(THREADS) {
                    for (failure, for_ever) in FAILURES
                        .into_iter()
                        .flat_map(|failure| [false, true].map(|for_ever| (failure, for_ever)))
                    {
                        let fault = Fault { at, failure, for_ever };
                        let errors = failing(&place, steps, fault);
                        runs.fetch_add(1, Ordering::Relaxed);
                        told.fetch_add(usize::from(errors > 0), Ordering::Relaxed);
                    }
                }
            });
        }
    });
    let (runs, told) = (runs.into_inner(), told.into_inner());
    assert!(runs >= 2_400, "only {runs} faults");
    assert!(told > runs / 2, "only {told} faults were told of");
    let took = start.elapsed().as_secs_f64();
    println!("{runs} faults at {points} calls, {told} told of: nothing lost, {took:.1} s");
}

/// Works through a session with a fault, and looks at what is there after it. Says how many errors
/// were told.
fn failing(place: &Place, steps: &[Step], fault: Fault) -> usize {
    place.disk.load(Image::default());
    place.disk.plant(Some(fault));
    let worked = work(place, steps);
    place.disk.plant(None);
    let errors = worked.errors;
    let allowed = worked.allowed();
    if let Some(wrong) = wrong(place, &allowed) {
        panic!("{fault:?}: {wrong}");
    }
    errors
}

/// A read that goes wrong may make the node refuse; it may not make it lose, nor say untruths.
#[test]
fn a_read_that_ends_early_or_has_a_bit_turned_loses_nothing() {
    let recording = Recording::make(&Place::new(), &steps(4, STEPS, 30), Acknowledged::WhenStored);
    // The power went before the store was closed, so that the log is read as well.
    let moment = recording.moments() - 20;
    let found = recording.at(moment).cut(1, &mut guyline_disk::Chance::new(0));
    let place = Place::new();
    place.disk.load(found.clone());
    assert_eq!(wrong(&place, recording.allowed(moment)), None);
    let (_, reads) = place.disk.calls();
    let (mut runs, mut refused) = (0, 0);
    for at in 0..reads {
        for short in [true, false] {
            place.disk.load(found.clone());
            place.disk.misread(Some(Reading { at, short }));
            // It may refuse; what it moved after a bad read may be damaged, and is found to be.
            for misread in [true, false] {
                let found = look(&place, recording.allowed(moment));
                let silent = matches!(found, Found::Silent(_));
                assert!(!silent, "read {at}, short {short}, misread {misread}: {found:?}");
                refused += usize::from(misread && found != Found::Whole);
                place.disk.misread(None);
            }
            runs += 1;
        }
    }
    assert!(refused > 0, "no bad read was noticed");
    println!("{runs} bad reads, {refused} told of at once: nothing lost");
}
