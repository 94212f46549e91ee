//! Goal: no bit that turns on the disk, no cut and no missing permission takes anything away in
//! silence. Method: a node's files as they lie on disk, closed and after a power cut, with one bit
//! turned or cut off at a random place; the store opens and stands as it did, or says what is
//! wrong.
//!
//! 2 000 places by default; `GUYLINE_FLIPS=10000 cargo test --workspace --test faults rotten` is
//! the long run.

use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use guyline_disk::{Chance, Failure, Fault, Image};
use guyline_hub::Node;
use guyline_tests::asked;

use crate::recorded::{
    Acknowledged, Found, Place, Recording, State, Step, look, patiently, steps, take,
};

const FLIPS: usize = 2_000;
const STEPS: usize = 60;
const THREADS: usize = 2;

fn file() -> PathBuf {
    PathBuf::from("node.sqlite")
}

fn log() -> PathBuf {
    PathBuf::from("node.sqlite-wal")
}

/// A recording, and its disk once the node was closed.
fn closed() -> (Recording, Image) {
    let place = Place::new();
    let recording = Recording::make(&place, &steps(11, STEPS, STEPS / 2), Acknowledged::WhenStored);
    let image = place.disk.image();
    (recording, image)
}

/// Turns bits of a file one at a time. Says how many were told of; none may be silent.
fn flips(image: &Image, name: &Path, until: usize, allowed: &[State], count: usize) -> usize {
    let told = Mutex::new(0);
    std::thread::scope(|scope| {
        for thread in 0..THREADS {
            let told = &told;
            scope.spawn(move || {
                let place = Place::new();
                for flip in (thread..count).step_by(THREADS) {
                    let mut chance = Chance::new(0x726f_7474 ^ (flip as u64) << 8);
                    let (at, bit) = (chance.below(until), chance.below(8) as u8);
                    let mut flipped = image.clone();
                    flipped.flip(name, at, bit).expect("there is such a byte");
                    place.disk.load(flipped);
                    match look(&place, allowed) {
                        Found::Whole => {}
                        Found::Told(_) => *told.lock().expect("nobody panics with it") += 1,
                        Found::Silent(what) => panic!("flip {flip}, byte {at}, bit {bit}: {what}"),
                    }
                }
            });
        }
    });
    told.into_inner().expect("nobody panicked with it")
}

#[test]
fn a_bit_turned_in_a_closed_store_is_told_of_or_matters_to_nobody() {
    let count = asked("GUYLINE_FLIPS", FLIPS);
    let (recording, image) = closed();
    let length = image.bytes(&file()).expect("it is there").len();
    let allowed = recording.allowed(recording.moments() - 1);
    let told = flips(&image, &file(), length, allowed, count);
    println!("{count} bits turned in {length} bytes: {told} told of, none silent");
    assert!(told > count / 4, "most of a store is in use");
}

/// A store that met others and was compacted: runs, saved forms and the memory of peers count too.
#[test]
fn a_bit_turned_in_a_store_that_met_others_is_told_of_or_matters_to_nobody() {
    let count = asked("GUYLINE_FLIPS", FLIPS);
    let place = Place::new();
    place.disk.load(crate::migrating::image(crate::migrating::VERSION_1));
    let node = place.open().expect("it opens");
    let compacted = node.compact().expect("there is room");
    assert_eq!((compacted.folded, compacted.not_alike), (3, 0));
    let allowed = [State::of(&node)];
    drop(node);
    let image = place.disk.image();
    let length = image.bytes(&file()).expect("it is there").len();
    let told = flips(&image, &file(), length, &allowed, count);
    println!("{count} bits turned in {length} bytes: {told} told of, none silent");
    assert!(told > count / 10, "a small store, and most of its pages are not full");
}

/// What came and lies as it came counts like what is in its place.
#[test]
fn a_bit_turned_in_what_arrived_is_told_of_or_matters_to_nobody() {
    let count = asked("GUYLINE_FLIPS", FLIPS) / 2;
    let (giver, taker) = (Place::new(), Place::new());
    let mut ignored = State::default();
    let from = giver.open().expect("it opens");
    for step in steps(12, STEPS, usize::MAX) {
        take(&from, &step, &mut ignored).expect("it is kept");
    }
    let node = taker.open().expect("it opens").keeping_from(1);
    let met = from.exchange_by("the taker", true, |body| node.answer(body));
    met.expect("the exchange works");
    drop(node);
    let image = taker.disk.image();
    let stands = State::of(&taker.open().expect("it opens"));
    assert_ne!(stands, State::default());
    let length = image.bytes(&file()).expect("it is there").len();
    let told = flips(&image, &file(), length, &[stands], count);
    println!("{count} bits turned in {length} bytes: {told} told of, none silent");
    assert!(told > count / 20, "a small store, and most of its pages are empty");
}

#[test]
fn a_bit_turned_in_the_log_after_a_power_cut_is_told_of() {
    let count = asked("GUYLINE_FLIPS", FLIPS) / 4;
    let (recording, _) = closed();
    // Before the restart in the middle, where the log is long.
    let moment = (0..recording.moments() / 2)
        .rev()
        .find(|moment| {
            let found = recording.at(*moment).cut(1, &mut Chance::new(0));
            found.bytes(&log()).is_some_and(|log| log.len() > 100_000)
        })
        .expect("the log grows");
    let image = recording.at(moment).cut(1, &mut Chance::new(0));
    let length = image.bytes(&log()).expect("it is there").len();
    // The last two commits cannot be told from one that was in flight.
    let safe = length - 60_000;
    let told = flips(&image, &log(), safe, recording.allowed(moment), count);
    println!("{count} bits turned in {safe} bytes of the log: {told} told of, none silent");
    assert!(told > count * 9 / 10);
}

#[test]
fn a_store_cut_off_anywhere_is_told_of() {
    let (recording, image) = closed();
    let whole = image.bytes(&file()).expect("it is there");
    let allowed = recording.allowed(recording.moments() - 1);
    let place = Place::new();
    let mut chance = Chance::new(9);
    for _ in 0..400 {
        let length = chance.below(whole.len());
        place.disk.load(Image::with_files([(file(), whole[..length].to_vec())]));
        let found = look(&place, allowed);
        assert!(matches!(found, Found::Told(_)), "cut at {length}: {found:?}");
    }
}

/// Root may write anywhere: then the test says so, and makes the file a folder instead.
#[test]
fn a_file_or_folder_that_may_not_be_written_is_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let dir = folder.path().join("node");
    drop(Node::open(&dir).expect("it opens"));
    let file = dir.join("node.sqlite");
    let mode = |path: &Path, mode| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).expect("it is ours");
    };
    mode(&file, 0o444);
    mode(&dir, 0o555);
    let root = std::fs::write(dir.join("probe"), b"").is_ok();
    if root {
        println!("run as root, whom no mode stops: a folder stands where the file should");
        std::fs::remove_file(dir.join("probe")).expect("it was made a line above");
        std::fs::rename(&file, dir.join("kept")).expect("root may");
        std::fs::create_dir(&file).expect("root may");
    }
    let refused = Node::open(&dir).expect_err("it cannot be written");
    assert!(refused.to_string().contains("node."), "{refused}");
    assert!(!refused.help().is_empty());
    if root {
        std::fs::remove_dir(&file).expect("it is empty");
        std::fs::rename(dir.join("kept"), &file).expect("root may");
    }
    mode(&dir, 0o755);
    mode(&file, 0o644);
    patiently(|| Node::open(&dir)).expect("it opens once it may be written");
}

/// A real disk of 1 MB, full: what was acknowledged stays, reading goes on, and so does writing
/// once there is room. Where no disk can be mounted, one in memory says that it is full, and the
/// test says so.
#[test]
fn a_full_disk_is_told_of_and_used_again() {
    let folder = tempfile::tempdir().expect("a folder");
    if let Some(_mounted) = Mount::new(folder.path()) {
        println!("a tmpfs of 1 MB was mounted and filled");
        let dir = folder.path().join("node");
        let open = || patiently(|| Node::open(&dir)).expect("it opens");
        let ballast = folder.path().join("ballast");
        fill(open, || std::fs::remove_file(ballast).expect("it was put there"));
    } else {
        println!("no disk can be mounted here: one in memory is full from its 300th call on");
        let place = Place::new();
        let fault = Fault { at: 300, failure: Failure::Full, for_ever: true };
        place.disk.plant(Some(fault));
        fill(|| place.open().expect("it opens"), || place.disk.plant(None));
    }
}

fn fill(open: impl Fn() -> Node, make_room: impl FnOnce()) {
    let node = open();
    let mut stands = State::default();
    take(&node, &Step::Begin(1), &mut stands).expect("there is room");
    let mut number = 0;
    let said = loop {
        let mut attempted = stands.clone();
        let step = Step::Note(1, format!("n{number}"), 3_000);
        match take(&node, &step, &mut attempted) {
            Ok(()) => stands = attempted,
            Err(said) => break said,
        }
        number += 1;
        assert!(number < 2_000, "the disk never got full");
    };
    assert!(said.contains("full"), "{said}");
    assert!(number > 10, "only {number} notes fitted");
    assert_eq!(State::of(&node), stands, "reading goes on");
    drop(node);
    make_room();
    let node = open();
    assert_eq!(State::of(&node), stands);
    take(&node, &Step::Note(1, "after".to_owned(), 40), &mut stands).expect("there is room again");
    assert_eq!(node.inspect().expect("it can be read").problems, []);
    println!("{number} notes were kept, and one more after room was made");
}

/// A small disk in memory, mounted by the system; taken away when dropped.
struct Mount<'a>(&'a Path);

impl<'a> Mount<'a> {
    fn new(at: &'a Path) -> Option<Self> {
        let mounted = std::process::Command::new("mount")
            .args(["-t", "tmpfs", "-o", "size=1m", "tmpfs"])
            .arg(at)
            .stderr(std::process::Stdio::null())
            .status();
        mounted.ok().filter(|status| status.success())?;
        std::fs::write(at.join("ballast"), vec![1; 200_000]).expect("there is room");
        Some(Self(at))
    }
}

impl Drop for Mount<'_> {
    fn drop(&mut self) {
        // Lazily, because a file of it may still be open while a failed test unwinds.
        let unmounted = std::process::Command::new("umount").arg("-l").arg(self.0).status();
        if !unmounted.is_ok_and(|status| status.success()) {
            eprintln!("{} is still mounted", self.0.display());
        }
    }
}
