//! What people read: verdicts, findings and foretold readings in words, on a bad day.
//!
//! Method: the small invented session of `tests.rs` with a reading of every kind. The numbers in
//! the words are arithmetic on what was typed; the two of the interference are HANDBOOK Z1.

use serde_json::{Value, json};

use super::tests::{appraised, reading, sheet, verdict};
use super::*;

/// Id, check, chain, number, unit.
type Row = (&'static str, &'static str, &'static str, &'static str, &'static str);

const BAD_DAY: [Row; 10] = [
    ("a", "receiver.opening", "rx", "-118.6", "dBm"),
    ("b", "transmitter.power", "tx", "17.5", "W"),
    ("c", "transmitter.frequency-error", "tx", "-400", "Hz"),
    ("d", "transmitter.deviation", "tx", "2.6", "kHz"),
    ("e", "duplexer.transmit-loss", "ant", "12.3", "W"),
    ("f", "duplexer.receive-loss", "ant", "-115.1", "dBm"),
    ("g", "desense.direct", "ant", "-110.1", "dBm"),
    ("h", "desense.coupled-unkeyed", "coupled", "-85.1", "dBm"),
    ("i", "desense.coupled", "coupled", "-82", "dBm"),
    ("j", "receiver.opening", "rx", "-119.6", "dBm"),
];

fn bad_day() -> Value {
    let mut sheet = sheet();
    for (id, check, through, typed, unit) in BAD_DAY {
        sheet["session"]["readings"][id] = reading(check, through, typed, unit);
    }
    sheet["session"]["readings"]["j"]["stamp"]["by"] = json!("tobias");
    sheet
}

/// A check, and what is said of it: judged, value, limit, margin, reason.
const SAID: [(&str, [&str; 5]); 9] = [
    (
        "receiver.opening",
        [
            "level",
            "−119.6 dBm (0.234 µV)",
            "at most −120.0 dBm",
            "0.40 dB outside",
            "0.40 dB outside the limit, uncertainty ±0.67: less than the uncertainty",
        ],
    ),
    (
        "transmitter.power",
        [
            "power",
            "17.5 W (42.43 dBm)",
            "17.5 W to 26.4 W",
            "0.01 dB inside",
            "0.01 dB inside the limit, uncertainty ±0.20: less than the uncertainty; limit \
             not verified",
        ],
    ),
    (
        "transmitter.frequency-error",
        [
            "frequency error",
            "−400 Hz (−2.58 ppm)",
            "−387.5 Hz to 387.5 Hz",
            "12 Hz outside",
            "12 Hz outside the limit, uncertainty ±19: less than the uncertainty",
        ],
    ),
    (
        "transmitter.deviation",
        [
            "deviation",
            "2600 Hz",
            "at most 2500 Hz",
            "100 Hz outside",
            "100 Hz outside the limit, uncertainty ±93",
        ],
    ),
    (
        "duplexer.transmit-loss",
        [
            "loss",
            "1.53 dB",
            "at most 1.3 dB",
            "0.23 dB outside",
            "0.23 dB outside the limit, uncertainty ±0.08",
        ],
    ),
    (
        "duplexer.receive-loss",
        [
            "loss",
            "4.50 dB",
            "at most 1.3 dB",
            "3.20 dB outside",
            "3.20 dB outside the limit, uncertainty ±0.49",
        ],
    ),
    (
        "desense.direct",
        [
            "desense",
            "5.00 dB",
            "at most 1.0 dB",
            "4.00 dB outside",
            "4.00 dB outside the limit, uncertainty ±0.49",
        ],
    ),
    (
        "desense.coupled-unkeyed",
        [
            "difference",
            "0.00 dB",
            "−1.0 dB to 1.0 dB",
            "1.00 dB inside",
            "1.00 dB inside the limit, uncertainty ±0.60",
        ],
    ),
    (
        "desense.coupled",
        [
            "desense",
            "3.10 dB",
            "at most 1.0 dB",
            "2.10 dB outside",
            "2.10 dB outside the limit, uncertainty ±0.49",
        ],
    ),
];

#[test]
fn a_verdict_reads_as_people_write_it() {
    let appraisal = appraised(&bad_day());
    for (check, expected) in SAID {
        let found = verdict(&appraisal, check);
        let said = [
            &found.judged,
            &found.value_text,
            &found.limit_text,
            &found.margin_text,
            &found.reason,
        ];
        assert_eq!(said, expected, "{check}");
    }
}

#[test]
fn the_working_leads_from_what_was_typed_to_the_verdict() {
    let appraisal = appraised(&bad_day());
    let lines = |check: &str| verdict(&appraisal, check).working.join("\n");
    for (check, expected) in [
        (
            "transmitter.power",
            "17.5 W typed = 42.43 dBm at the meter\n= 42.4 dBm at the antenna port\nlimit: 17.5 W",
        ),
        ("transmitter.power", "U = ±0.20 dB, k = 2\nwithin the limit with a probability of 52.4 %"),
        ("transmitter.frequency-error", "-400 Hz typed = −400 Hz\nlimit: −387.5 Hz to 387.5 Hz"),
        ("transmitter.frequency-error", "U = ±19 Hz, k = 2\n"),
        (
            "duplexer.transmit-loss",
            "Power at the transmitter port: 42.43 dBm\n42.43 − (40.90) = 1.53 dB\nlimit:",
        ),
        ("duplexer.transmit-loss", "probability of less than 0.1 %"),
        (
            "desense.coupled-unkeyed",
            "− 30.00 dB, coupler, coupled\n= −115.1 dBm at the antenna port\nLoss of the receive \
             path: −115.10 dBm\n−115.10 − (−115.10) = 0.00 dB",
        ),
        ("desense.coupled-unkeyed", "probability of more than 99.9 %"),
    ] {
        let got = lines(check);
        assert!(got.contains(expected), "{check}:\n{got}\nlacks\n{expected}");
    }
}

#[test]
fn findings_say_what_is_wrong_and_what_to_do() {
    let appraisal = appraised(&bad_day());
    let fault = findings::Weight::Fault;
    for (weight, what, evidence, next) in [
        (
            fault,
            "The receiver opens only at −118.6 dBm (0.263 µV).",
            "1.40 dB outside",
            "another cable",
        ),
        (
            fault,
            "Frequency error: −400 Hz (−2.58 ppm) is outside −387.5 Hz to 387.5 Hz.",
            "Frequency error: 12 Hz outside the limit",
            "adjust or repair",
        ),
        (fault, "The transmit path loses 1.53 dB.", "0.23 dB outside", "at the transmit frequency"),
        (fault, "The receive path loses 4.50 dB.", "3.20 dB outside", "at the receive frequency"),
        (
            // HANDBOOK Z1: 5 dB is I/N 3.349 dB, 1 dB is −5.868 dB.
            fault,
            "The keyed transmitter costs the receiver 5.00 dB. That is interference 3.3 dB over \
             the receiver's noise. 9.2 dB more isolation would bring it to the limit.",
            "4.00 dB outside",
            "into a load with good cables",
        ),
        (
            findings::Weight::Doubt,
            "Desense direct and through the coupler disagree.",
            "5.0 dB direct, 3.1 dB coupled; within 1 dB agrees",
            "the pair with the larger value",
        ),
        (
            findings::Weight::Note,
            "Opening level at the receiver port was read 2 times.",
            "the readings lie 1.0 dB apart",
            "both stand",
        ),
    ] {
        let found = appraisal.findings.iter().find(|finding| finding.what == what);
        let found = found.unwrap_or_else(|| panic!("{what}: {:#?}", appraisal.findings));
        assert_eq!(found.weight, weight, "{what}");
        assert!(found.evidence.contains(evidence), "{what}: {}", found.evidence);
        assert!(found.next.contains(next), "{what}: {}", found.next);
    }
    let weights: Vec<_> = appraisal.findings.iter().map(|finding| finding.weight).collect();
    assert!(weights.is_sorted(), "gravest first");
}

#[test]
fn readings_apart_and_readings_that_agree_are_told_from_each_other() {
    let of = |direct: &str, coupled: &str, second: &str| {
        let mut sheet = bad_day();
        sheet["session"]["readings"]["g"]["typed"] = json!(direct);
        sheet["session"]["readings"]["i"]["typed"] = json!(coupled);
        sheet["session"]["readings"]["j"]["typed"] = json!(second);
        appraised(&sheet).findings
    };
    let weight = |findings: &[Finding], part: &str| {
        let found = findings.iter().find(|finding| finding.what.contains(part)).unwrap();
        (found.weight, found.next.clone())
    };
    // −115.1 dBm not keyed: 2.0 dB direct and 3.0 dB coupled, whole decibels that a float holds.
    let near = of("-113.1", "-82.1", "-119.6");
    let (agrees, next) = weight(&near, "through the coupler agree");
    assert_eq!(
        (agrees, next.as_str()),
        (findings::Weight::Note, "Nothing: the two confirm each other.")
    );
    let far = of("-113.1", "-81.9", "-119.7");
    assert_eq!(weight(&far, "coupler disagree").0, findings::Weight::Doubt);
    let (doubt, next) = weight(&far, "was read 2 times");
    assert_eq!(doubt, findings::Weight::Doubt, "1.1 dB apart");
    assert_eq!(next, "Find out which one to trust and withdraw the other.");
    // Under the noise: 2 dB of desense is I/N −2.329 dB (HANDBOOK Z1).
    let direct = far.iter().find(|f| f.what.contains("costs the receiver 2.00 dB")).unwrap();
    assert!(direct.what.contains("interference 2.3 dB under the receiver's noise"), "{direct:?}");
}

#[test]
fn what_is_to_be_read_says_where_it_comes_from() {
    let appraisal = appraised(&bad_day());
    let table: [(&str, &str, f64, &str, &str); 8] = [
        ("receiver.opening", "rx", -120.0, "about −120.0 dBm", "the rated opening level"),
        ("transmitter.power", "tx", 22.0, "about 22.0 W", "the rated power"),
        ("transmitter.frequency-error", "tx", 0.0, "near 0 Hz", "a carrier on its channel"),
        ("transmitter.deviation", "tx", 2_500.0, "up to 2500 Hz", "the channel's deviation"),
        (
            "duplexer.transmit-loss",
            "ant",
            13.900_744,
            "about 13.9 W",
            "what \"Power at the transmitter port\" read, less the duplexer's rated loss",
        ),
        (
            "duplexer.receive-loss",
            "ant",
            -118.6,
            "about −118.6 dBm",
            "what \"Opening level at the receiver port\" read, plus the duplexer's rated loss",
        ),
        (
            "desense.coupled-unkeyed",
            "coupled",
            -85.1,
            "about −85.1 dBm",
            "what \"Loss of the receive path\" read",
        ),
        (
            "desense.padded-unkeyed",
            "coupled",
            -79.1,
            "about −79.1 dBm",
            "what \"Through the coupler, not keyed\" read, plus what is put in the line",
        ),
    ];
    for (check, chain, value, text, because) in table {
        let state = appraisal.checks.iter().find(|state| state.check.id == check).unwrap();
        let found = &state.expected[chain];
        assert!((found.value - value).abs() < 1e-5, "{check}: {found:?}");
        assert_eq!((found.text.as_str(), found.because.as_str()), (text, because), "{check}");
    }
}
