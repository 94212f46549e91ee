//! Goal: a power cut loses nothing that was acknowledged, at whatever moment it comes. Method: a
//! session is recorded on a disk in memory; for every call that reached the disk, and for many
//! damages each (what was not made durable is lost, torn or reordered, from a seed), the store is
//! opened again and inspected. The same oracle must find the fault in three mutants.
//!
//! Q: every moment of one session × 200 damages. Long: `GUYLINE_POWER_SESSIONS=10
//! GUYLINE_POWER_DAMAGES=250 cargo test --workspace --test faults power -- --nocapture`.
//! Damages that leave byte-equal disks are opened once: what is there decides what is read.

use std::collections::BTreeSet;
use std::ops::Range;
use std::sync::Mutex;
use std::time::Instant;

use guyline_disk::{Chance, Lie, Unsynced};
use guyline_tests::asked;

use crate::recorded::{Acknowledged, Place, Recording, State, Step, steps, take, wrong};

const STEPS: usize = 36;
const RESTART_EVERY: usize = 9;
const DAMAGES: usize = 200;
const PAIRS: usize = 5_000;
const THREADS: usize = 2;

/// Power cuts of one recording.
struct Cuts<'a> {
    recording: &'a Recording,
    moments: Range<usize>,
    damages: usize,
    seed: u64,
}

/// What they came to.
#[derive(Debug, Default)]
struct Tally {
    cuts: usize,
    disks: usize,
    failures: Vec<String>,
}

impl Cuts<'_> {
    /// Cuts the power at every moment.
    fn everywhere(&self) -> Tally {
        let tally = Mutex::new(Tally::default());
        std::thread::scope(|scope| {
            for thread in 0..THREADS {
                let tally = &tally;
                scope.spawn(move || {
                    let place = Place::new();
                    let mut disk = self.recording.at(self.moments.start);
                    let mut opened = BTreeSet::new();
                    for moment in self.moments.clone() {
                        if moment > self.moments.start {
                            disk.step(&self.recording.trace[moment - 1]);
                        }
                        if moment % THREADS == thread {
                            let done = self.at(moment, &disk, &place, &mut opened);
                            tally.lock().expect("nobody panics with it").add(done);
                        }
                    }
                });
            }
        });
        tally.into_inner().expect("nobody panicked with it")
    }

    /// `opened` are the disks met before, each with the states it may hold.
    fn at(
        &self,
        moment: usize,
        disk: &Unsynced,
        place: &Place,
        opened: &mut BTreeSet<(u64, usize, usize)>,
    ) -> Tally {
        let allowed = self.recording.allowed(moment);
        let Range { start, end } = self.recording.window(moment);
        let mut seen = BTreeSet::new();
        let mut tally = Tally { cuts: self.damages, ..Tally::default() };
        for damage in 0..self.damages {
            let mut chance = chance(self.seed, moment, damage);
            let found = disk.cut(damage, &mut chance);
            if !seen.insert(found.mark(disk.durable()))
                || !opened.insert((found.mark(&self.recording.origin), start, end))
            {
                continue;
            }
            tally.disks += 1;
            place.disk.load(found);
            if let Some(wrong) = wrong(place, allowed) {
                let place = format!("seed {}, moment {moment}, damage {damage}", self.seed);
                tally.failures.push(format!("{place}: {wrong}"));
            }
        }
        tally
    }
}

impl Tally {
    fn add(&mut self, other: Self) {
        self.cuts += other.cuts;
        self.disks += other.disks;
        self.failures.extend(other.failures);
    }
}

fn chance(seed: u64, moment: usize, damage: usize) -> Chance {
    Chance::new(seed ^ (moment as u64) << 20 ^ (damage as u64) << 44)
}

fn none_failed(tally: &Tally) {
    let failures = &tally.failures;
    assert!(failures.is_empty(), "{} failed, the first: {}", failures.len(), failures[0]);
}

#[test]
fn a_power_cut_at_any_moment_loses_nothing_that_was_acknowledged() {
    let sessions: u64 = asked("GUYLINE_POWER_SESSIONS", 1);
    let damages = asked("GUYLINE_POWER_DAMAGES", DAMAGES);
    let start = Instant::now();
    let (mut all, mut moments) = (Tally::default(), 0);
    for seed in 0..sessions {
        let recording = Recording::make(
            &Place::new(),
            &steps(seed, STEPS, RESTART_EVERY),
            Acknowledged::WhenStored,
        );
        let whole = 0..recording.moments();
        moments += whole.len();
        all.add(Cuts { recording: &recording, moments: whole, damages, seed }.everywhere());
    }
    none_failed(&all);
    let Tally { cuts, disks, .. } = all;
    assert!(cuts >= 80_000 || damages < DAMAGES, "only {cuts} cuts");
    println!(
        "{cuts} power cuts at {moments} moments left {disks} different disks: all whole, {:.1} s",
        start.elapsed().as_secs_f64()
    );
}

/// The store itself is made in the first moments of a recording: there is none, or a whole one.
#[test]
fn a_power_cut_while_a_store_is_made_leaves_none_or_a_whole_one() {
    let recording = Recording::make(&Place::new(), &[], Acknowledged::WhenStored);
    let moments = 0..recording.moments();
    let tally = Cuts { recording: &recording, moments, damages: DAMAGES, seed: 7 }.everywhere();
    none_failed(&tally);
    println!(
        "{} power cuts left {} different disks while a store was made",
        tally.cuts, tally.disks
    );
}

#[test]
fn a_second_power_cut_while_the_first_is_mended_loses_nothing_either() {
    let recording =
        Recording::make(&Place::new(), &steps(3, STEPS, RESTART_EVERY), Acknowledged::WhenStored);
    let start = Instant::now();
    std::thread::scope(|scope| {
        for thread in 0..THREADS {
            let recording = &recording;
            scope.spawn(move || {
                let place = Place::new();
                for pair in (thread..PAIRS).step_by(THREADS) {
                    cut_twice(recording, pair, &place);
                }
            });
        }
    });
    println!("{PAIRS} pairs of power cuts in {:.1} s", start.elapsed().as_secs_f64());
}

fn cut_twice(recording: &Recording, pair: usize, place: &Place) {
    let mut chance = Chance::new(0x7061_6972 ^ (pair as u64) << 8);
    let moment = chance.below(recording.moments());
    // Damages 0 and 1 are two of many here too.
    let damage = chance.below(DAMAGES);
    let first = recording.at(moment).cut(damage, &mut chance);
    place.disk.load(first.clone());
    let node = place.open().unwrap_or_else(|error| panic!("pair {pair}: {error}"));
    drop(node);
    let mending = place.disk.trace();
    let mut disk = Unsynced::new(first);
    let again = chance.below(mending.len() + 1);
    mending[..again].iter().for_each(|operation| disk.step(operation));
    let damage = chance.below(DAMAGES);
    place.disk.load(disk.cut(damage, &mut chance));
    if let Some(wrong) = wrong(place, recording.allowed(moment)) {
        panic!("pair {pair}, moments {moment} and {again}: {wrong}");
    }
}

#[test]
fn a_store_goes_on_after_a_power_cut() {
    let recording =
        Recording::make(&Place::new(), &steps(5, STEPS, RESTART_EVERY), Acknowledged::WhenStored);
    let place = Place::new();
    for moment in (0..recording.moments()).step_by(5) {
        place.disk.load(recording.at(moment).cut(2, &mut chance(5, moment, 2)));
        let node = place.open().expect("it opens");
        let mut stands = State::of(&node);
        for step in [Step::Begin(9), Step::Note(9, "after".to_owned(), 40)] {
            take(&node, &step, &mut stands).unwrap_or_else(|error| panic!("{moment}: {error}"));
        }
        drop(node);
        assert_eq!(wrong(&place, &[stands]), None, "moment {moment}");
    }
}

/// Few damages find each mutant: an oracle that needs luck would be none.
#[test]
fn the_oracle_finds_what_is_planted() {
    let found = |name: &str, lie: Option<Lie>, acknowledged: Acknowledged| {
        let place = Place::new();
        if let Some(lie) = lie {
            place.disk.lie(lie);
        }
        let recording = Recording::make(&place, &steps(1, STEPS, RESTART_EVERY), acknowledged);
        let moments = 0..recording.moments();
        let tally = Cuts { recording: &recording, moments, damages: 10, seed: 1 }.everywhere();
        let failures = tally.failures.len();
        println!("{name}: {failures} of {} disks betray it", tally.disks);
        failures
    };
    let sound = Acknowledged::WhenStored;
    assert_eq!(found("no mutant", None, sound), 0);
    assert!(found("synchronous=NORMAL", Some(Lie::Normal), sound) > 0);
    assert!(found("an fsync that lies", Some(Lie::Sync), sound) > 0);
    assert!(found("acknowledged before it is stored", None, Acknowledged::WhenAsked) > 0);
}
