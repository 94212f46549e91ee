//! Every reader of the core against changed inputs: it answers or refuses.

use std::panic::{AssertUnwindSafe, catch_unwind};

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use guyline_core::bench::{BenchQuestion, Topic, ask, topics};
use guyline_core::checks::{Cautions, Plan, Sheet, appraise};
use guyline_core::rf::audio::iq::read_sigmf;
use guyline_core::rf::audio::recording::read_wav;
use guyline_core::rf::emission::Emission;
use serde_json::{Value, json};

use crate::mutation::{Seeded, mutated};

const CASES: usize = 3_000;

fn cases() -> usize {
    guyline_tests::asked("GUYLINE_CASES", CASES)
}

/// Reads every changed input. Returns how many were taken, which shows that not all were nonsense.
fn outside_never_panics(
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

fn example(name: &str) -> &'static Topic {
    topics().iter().find(|topic| topic.name == name).expect("the topic is listed")
}

fn text_of(name: &str, field: &str) -> String {
    example(name).example[field].as_str().expect("the field is text").to_owned()
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
    let version_2 = "[Version] 2.0\n# GHz S MA R 50\n[Number of Ports] 2\n\
                     [Two-Port Data Order] 21_12\n[Number of Frequencies] 2\n[Reference] 50 25\n\
                     [Network Data]\n2 .95 -26 3.57 157 .04 76 .66 -14\n\
                     22 .60 -144 1.30 40 .14 40 .56 -85\n[End]\n";
    let sound = [
        text_of("sweep", "touchstone").into_bytes(),
        version_2.as_bytes().to_vec(),
        b"# MHz Z RI R 75\n100 1 2 3 4 5 6 7 8\n".to_vec(),
    ];
    let taken = outside_never_panics("touchstone", cases(), &sound, |input| {
        let text = String::from_utf8_lossy(input);
        let question = json!({ "topic": "sweep", "with": { "touchstone": text } });
        let question: BenchQuestion = serde_json::from_value(question).unwrap();
        ask(&question).is_ok()
    });
    assert!(taken > 0, "some changes leave a sweep");
}

#[test]
fn recordings_are_read_or_refused() {
    let bytes = |text: String| STANDARD.decode(text).expect("the example is base64");
    let wav = bytes(text_of("audio", "recording_base64"));
    outside_never_panics("wav", cases(), &[wav], |input| read_wav(input, 1).is_ok());
    let (meta, data) = (text_of("iq", "meta"), bytes(text_of("iq", "data_base64")));
    outside_never_panics("sigmf meta", cases(), &[meta.clone().into_bytes()], |input| {
        read_sigmf(&String::from_utf8_lossy(input), &data).is_ok()
    });
    outside_never_panics("sigmf data", cases() / 10, std::slice::from_ref(&data), |input| {
        read_sigmf(&meta, input).is_ok()
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
