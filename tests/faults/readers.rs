//! Every reader of the core against changed inputs: it answers or refuses.

use std::panic::{AssertUnwindSafe, catch_unwind};

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use guyline_core::bench::{BenchQuestion, ask, topics};
use guyline_core::checks::{Cautions, Plan, Sheet, appraise};
use guyline_core::rf::audio::iq::read_sigmf;
use guyline_core::rf::audio::recording::read_wav;
use guyline_core::rf::emission::Emission;
use guyline_core::scpi::{Identity, Profile, error_entry};
use guyline_core::units::Reads;
use serde_json::{Value, json};

use crate::mutation::{Seeded, mutated};
use crate::sound::{self, text_of};

const CASES: usize = 3_000;

pub(crate) fn cases() -> usize {
    guyline_tests::asked("GUYLINE_CASES", CASES)
}

/// Reads every changed input. Returns how many were taken, which shows that not all were nonsense.
pub(crate) fn outside_never_panics(
    reader: &str,
    count: usize,
    sound: &[Vec<u8>],
    read: impl Fn(&[u8]) -> bool,
) -> usize {
    for input in sound {
        assert!(read(input), "{reader}: the sound input is taken");
    }
    let mut taken = 0;
    for case in 0..count {
        let mut chance = Seeded(0x6775_796c_696e_6500 ^ case as u64);
        let input = mutated(&sound[chance.below(sound.len())], &mut chance);
        match catch_unwind(AssertUnwindSafe(|| read(&input))) {
            Ok(was_taken) => taken += usize::from(was_taken),
            Err(_) => panic!("{reader}, case {case}: {:?}", String::from_utf8_lossy(&input)),
        }
    }
    println!("{reader}: {taken} of {count} changed inputs were taken, the others refused");
    taken
}

#[test]
fn every_question_to_the_bench_is_answered_or_refused() {
    for topic in topics() {
        let long = ["audio", "iq"].contains(&topic.name.as_str());
        let sound = serde_json::to_vec(&topic.example).unwrap();
        let count = if long { cases() / 100 } else { cases() / 10 };
        let name = topic.name.as_str();
        outside_never_panics(name, count, &[sound], |input| {
            let Ok(given) = serde_json::from_slice::<Value>(input) else { return false };
            let question = json!({ "topic": name, "with": given });
            let question = serde_json::from_value::<BenchQuestion>(question);
            question.is_ok_and(|question| ask(&question).is_ok())
        });
    }
}

#[test]
fn touchstone_text_is_read_or_refused() {
    let taken = outside_never_panics("touchstone", cases(), &sound::touchstone(), |input| {
        let text = String::from_utf8_lossy(input);
        let question = json!({ "topic": "sweep", "with": { "touchstone": text } });
        let question: BenchQuestion = serde_json::from_value(question).unwrap();
        ask(&question).is_ok()
    });
    assert!(taken > 0, "some changes leave a sweep");
}

#[test]
fn wav_bytes_are_read_or_refused() {
    let example = STANDARD.decode(text_of("audio", "recording_base64")).expect("it is base64");
    outside_never_panics("wav, whole", cases() / 100, &[example], |input| {
        read_wav(input, 1).is_ok()
    });
    let taken = outside_never_panics("wav", cases(), &sound::wavs(), |input| {
        // Every channel it says it has, within reason, and one it has not.
        let read = read_wav(input, 1);
        let channels = read.as_ref().map_or(0, |recording| recording.channels.min(4));
        let rest = (2..=u64::from(channels) + 1).map(|channel| read_wav(input, channel).is_ok());
        rest.fold(read.is_ok(), |any, one| any || one)
    });
    assert!(taken > 0, "some changes leave a recording");
}

#[test]
fn sigmf_recordings_are_read_or_refused() {
    for (meta, data) in sound::sigmf() {
        let each = cases() / 6;
        let taken = outside_never_panics("sigmf meta", each, &[meta.clone().into()], |input| {
            read_sigmf(&String::from_utf8_lossy(input), &data).is_ok()
        });
        assert!(taken > 0, "some changes leave meta data");
        let taken =
            outside_never_panics("sigmf data", each, std::slice::from_ref(&data), |input| {
                read_sigmf(&meta, input).is_ok()
            });
        assert!(taken > 0, "some changes leave data");
    }
}

#[test]
fn what_an_instrument_says_is_read_or_refused() {
    let text = include_str!("../../demo-data/instruments/monitor.profile.toml");
    let profile = Profile::parse(text).expect("the demo's profile");
    let level = profile.ask(Reads::Level).expect("it asks for a level");
    let replies = ["-121.25", "-1.2125E+02", "+17.1 DBM", "9.9E37", "0,\"No error\"", "a,b,c,d"];
    let replies = replies.map(|reply| reply.as_bytes().to_vec());
    let taken = outside_never_panics("reply", 10 * cases(), &replies[..3], |input| {
        let reply = String::from_utf8_lossy(input);
        let _queue = error_entry(&reply);
        level.reading(&reply).inspect(|typed| assert!(typed.parse::<f64>().is_ok())).is_ok()
    });
    assert!(taken > 0, "some changes leave a number");
    outside_never_panics("identity", cases(), &replies[5..], |input| {
        Identity::parse(&String::from_utf8_lossy(input)).is_ok()
    });
    outside_never_panics("profile", cases() / 10, &[text.as_bytes().to_vec()], |input| {
        Profile::parse(&String::from_utf8_lossy(input)).is_ok()
    });
}

#[test]
fn designators_are_read_or_refused() {
    let sound = ["16K0F3E", "11K2F3E", "100HA1A", "7K60FXE", "20K0F2D"];
    let sound = sound.map(|text| text.as_bytes().to_vec());
    let taken = outside_never_panics("designator", 10 * cases(), &sound, |input| {
        Emission::parse(&String::from_utf8_lossy(input)).is_ok()
    });
    assert!(taken > 0, "some changes leave a designator");
}

#[test]
fn a_sheet_is_judged_or_refused() {
    let sound = serde_json::to_vec(&guyline_tests::sheet()).unwrap();
    outside_never_panics("sheet", cases() / 3, &[sound], |input| {
        let Ok(sheet) = serde_json::from_slice::<Sheet>(input) else { return false };
        appraise(Plan::standard(), Cautions::standard(), &sheet).is_ok()
    });
}
