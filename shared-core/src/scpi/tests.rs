//! What may stand in a profile, who an instrument may say it is, and what becomes of its replies.

use proptest::prelude::*;

use super::*;
use crate::units::{Reads, Unit};

const PROFILE: &str = r#"
form = "guyline instrument, form 1"
identity = "INVENTED INSTRUMENTS,SET 1"
errors = "SYSTem:ERRor?"

[reads.level]
query = "SOURce:POWer:LEVel?"
unit = "dBm"

[reads.power]
query = "MEASure:POWer? (@2)"
unit = "W"
scale = 0.001

[reads.frequency-error]
query = "MEASure:FREQuency:ERRor?"
unit = "Hz"
part = 2

[level]
command = "SOURce:POWer:LEVel {value} DBM"
unit = "dBm"
least = -140
most = -20
"#;

fn profile() -> Profile {
    Profile::parse(PROFILE).unwrap()
}

fn reads(quantity: Reads, reply: &str) -> Result<String, ReplyRefused> {
    profile().ask(quantity).unwrap().reading(reply)
}

#[test]
fn a_profile_says_how_each_quantity_is_asked_for() {
    let profile = profile();
    assert_eq!(profile.timeout_ms, 2_000, "what it has when it says nothing");
    assert_eq!(profile.ask(Reads::Power).unwrap().query, "MEASure:POWer? (@2)");
    assert_eq!(profile.ask(Reads::Deviation), None);
    assert_eq!(profile.reads.len(), 3);
}

#[test]
fn a_profile_that_could_do_harm_or_makes_no_sense_is_refused_by_name() {
    let cases = [
        ("query = \"SOURce:POWer:LEVel?\"", "query = \"SOURce:POWer:LEVel\"", "no query"),
        ("query = \"SOURce:POWer:LEVel?\"", "query = \"POW?;OUTP ON\"", "a semicolon"),
        ("query = \"SOURce:POWer:LEVel?\"", "query = \"*TST?\"", "common command"),
        ("query = \"SOURce:POWer:LEVel?\"", "query = \"POW?\\nKEY 1\"", "'\\n'"),
        ("query = \"SOURce:POWer:LEVel?\"", "query = \"\"", "1 to 200"),
        ("command = \"SOURce:POWer", "command = \"TRANsmit:POWer", "could key a transmitter"),
        ("command = \"SOURce:POWer", "command = \"SOURce:PTT", "could key a transmitter"),
        ("{value} DBM", "-20 DBM", "once"),
        ("{value} DBM", "{value} DBM;KEY 1", "a semicolon"),
        ("command = \"SOURce:POWer:LEVel", "command = \"POW?", "asks instead"),
        ("least = -140", "least = 0", "lies below"),
        ("most = -20", "most = 900", "level.most"),
        ("unit = \"W\"", "unit = \"Hz\"", "Hz is no unit of power"),
        ("scale = 0.001", "scale = 0.0", "reads.power.scale"),
        ("part = 2", "part = 0", "counts from 1"),
        ("[reads.power]", "[reads.colour]", "\"colour\" is none of level"),
        ("form 1", "form 2", "form 1"),
        ("INVENTED INSTRUMENTS,SET 1", "SET 1", "with one comma"),
        ("identity = ", "identity ", "line 3, column 10"),
        ("unit = \"dBm\"\n\n[reads.power]", "unit = \"dBm\"\nkey = 1\n[reads.power]", "line 9"),
    ];
    for (from, to, says) in cases {
        let text = PROFILE.replacen(from, to, 1);
        assert_ne!(text, PROFILE, "{from}");
        let error = Profile::parse(&text).unwrap_err().to_string();
        assert!(error.contains(says), "{to:?}: {error:?} lacks {says:?}");
    }
}

#[test]
fn numbers_are_read_in_each_form_of_the_standard() {
    // IEEE 488.2, sections 8.7.2 to 8.7.4: NR1, NR2 and NR3. From memory, unverified.
    for (reply, typed) in [
        ("-121", "-121"),
        ("-121.25\n", "-121.25"),
        ("-1.2125E+02", "-121.25"),
        ("+1.5e0", "1.5"),
        (".5", "0.5"),
        ("-121.3 DBM", "-121.3"),
        ("-121.3dbm", "-121.3"),
        ("-0.0", "0"),
    ] {
        assert_eq!(reads(Reads::Level, reply).as_deref(), Ok(typed), "{reply}");
    }
    assert_eq!(reads(Reads::Power, "22100").unwrap(), "22.1", "scaled from mW to W");
    assert_eq!(reads(Reads::FrequencyError, "1,-150.5,0").unwrap(), "-150.5", "its second part");
}

#[test]
fn what_is_no_reading_never_becomes_one() {
    type Is = fn(&ReplyRefused) -> bool;
    let cases: [(&str, Is); 14] = [
        ("", |e| matches!(e, ReplyRefused::Empty)),
        ("  \r\n", |e| matches!(e, ReplyRefused::Empty)),
        ("#212ABCDEFGHIJKL", |e| matches!(e, ReplyRefused::Block)),
        ("-121.3 W", |e| matches!(e, ReplyRefused::Unit { .. })),
        ("-121.3 DBUV", |e| matches!(e, ReplyRefused::Unit { .. })),
        ("-121.3,-121.4", |e| matches!(e, ReplyRefused::Parts { found: 2, wanted: 1 })),
        ("overload", |e| matches!(e, ReplyRefused::NotANumber { .. })),
        ("-121.3.1", |e| matches!(e, ReplyRefused::NotANumber { .. })),
        ("1-2", |e| matches!(e, ReplyRefused::NotANumber { .. })),
        ("nan", |e| matches!(e, ReplyRefused::NotANumber { .. })),
        ("inf", |e| matches!(e, ReplyRefused::NotANumber { .. })),
        ("1e", |e| matches!(e, ReplyRefused::Unit { .. })),
        ("9.91E+37", |e| matches!(e, ReplyRefused::NoValue { how: "not a number" })),
        ("-9.9E37", |e| matches!(e, ReplyRefused::NoValue { how: "out of its range" })),
    ];
    for (reply, is) in cases {
        let refused = reads(Reads::Level, reply).unwrap_err();
        assert!(is(&refused), "{reply:?}: {refused:?}");
    }
    let long = "1".repeat(REPLY_BYTES_MAX + 1);
    assert_eq!(reads(Reads::Level, &long), Err(ReplyRefused::TooLong));
    let few = reads(Reads::FrequencyError, "1").unwrap_err();
    assert_eq!(few, ReplyRefused::Parts { found: 1, wanted: 2 });
}

#[test]
fn the_error_queue_is_understood() {
    assert_eq!(error_entry("0,\"No error\"\n"), Ok(()));
    assert_eq!(error_entry("+0,\"No error\""), Ok(()));
    let reported = error_entry("-222,\"Data out of range\"").unwrap_err();
    assert!(reported.to_string().contains("Data out of range"), "{reported}");
    assert!(matches!(error_entry("well"), Err(ReplyRefused::NotANumber { .. })));
}

#[test]
fn only_the_instrument_that_was_meant_is_taken() {
    let is = |answer: &str, serial: Option<&str>| {
        Identity::parse(answer).and_then(|found| found.is("test set", serial, &profile()))
    };
    let right = "Invented Instruments, SET 1,A-17,2.04";
    assert_eq!(is(right, Some("a-17")), Ok(()));
    assert_eq!(is(right, None), Ok(()));
    // IEEE 488.2 has 0 for a serial number that is not told. From memory, unverified.
    assert_eq!(is("INVENTED INSTRUMENTS,SET 1,0,0", Some("A-17")), Ok(()));
    let other = is(right, Some("A-18")).unwrap_err();
    for part in ["A-17", "A-18", "test set"] {
        assert!(other.to_string().contains(part), "{other}");
    }
    let kind = is("INVENTED INSTRUMENTS,SET 2,A-17,2.04", Some("A-17")).unwrap_err();
    assert!(matches!(kind, NotThisInstrument::Kind { .. }), "{kind:?}");
    for none in ["", "SET 1", ",,,", "a,b,c", "a,b,c,d,e", "a,b\u{7},c,d"] {
        let refused = is(none, None).unwrap_err();
        assert!(matches!(refused, NotThisInstrument::NoIdentity { .. }), "{none:?}: {refused:?}");
    }
    let told = Identity::parse(right).unwrap();
    assert_eq!(told.to_string(), "Invented Instruments,SET 1,A-17,2.04");
}

#[test]
fn a_level_goes_out_within_the_bounds_and_in_the_profiles_unit() {
    let level = profile().level.unwrap();
    let sent = |typed, unit| level.message(typed, unit).unwrap();
    assert_eq!(sent("-91", Unit::Dbm), "SOURce:POWer:LEVel -91.000 DBM");
    // 0.5 µV in 50 Ω is −113.01 dBm: HANDBOOK U1.
    assert_eq!(sent("0,5", Unit::Microvolt), "SOURce:POWer:LEVel -113.010 DBM");
    let over = level.message("-19.9", Unit::Dbm).unwrap_err().to_string();
    assert!(over.contains("−140.0 to −20.0"), "{over}");
    assert!(level.message("-140.1", Unit::Dbm).is_err());
    assert!(level.message("loud", Unit::Dbm).is_err());
    assert!(level.message("3", Unit::Hertz).is_err());
    let text = PROFILE
        .replace("{value} DBM\"\nunit = \"dBm\"", "{value}\"\nunit = \"uV-emf\"")
        .replace("least = -140", "least = 0.05")
        .replace("most = -20", "most = 1000");
    // HANDBOOK U3: twice as much open circuit.
    let emf = Profile::parse(&text).unwrap().level.unwrap();
    assert_eq!(emf.message("0.5", Unit::Microvolt).unwrap(), "SOURce:POWer:LEVel 1.000");
}

proptest! {
    #[test]
    fn no_reply_panics_and_none_becomes_what_cannot_be_typed(reply in "\\PC{0,40}") {
        if let Ok(typed) = reads(Reads::Level, &reply) {
            prop_assert!(typed.parse::<f64>().unwrap().is_finite(), "{}", typed);
        }
    }

    #[test]
    fn a_number_comes_through_to_nine_digits(value in -1e12f64..1e12) {
        let typed = reads(Reads::Level, &format!("{value:.12E}")).unwrap();
        let read: f64 = typed.parse().unwrap();
        prop_assert!((read - value).abs() <= value.abs() * 5.1e-9, "{} {}", value, typed);
    }

    #[test]
    fn no_text_panics_as_a_profile(text in "\\PC{0,200}") {
        let _ = Profile::parse(&text);
        let _ = Profile::parse(&format!("form = \"guyline instrument, form 1\"\n{text}"));
    }
}
