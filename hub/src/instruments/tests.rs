//! Conversations with an instrument made of software that behaves and misbehaves.

use std::io::{BufRead, BufReader, Write};
use std::time::{Duration, Instant};

use guyline_core::record::Instrument;
use guyline_core::scpi::{Profile, ReplyRefused};
use guyline_core::units::{Reads, Unit};
use serialport::SerialPort;

use super::link::LinkFault;
use super::*;

const PROFILE: &str = include_str!("../../../demo-data/instruments/monitor.profile.toml");
const SCENARIO: &str = include_str!("../../../demo-data/instruments/monitor.scenario.toml");

fn profile() -> Profile {
    let quick = PROFILE.replace("timeout_ms = 2_000", "timeout_ms = 200");
    assert_ne!(quick, PROFILE);
    Profile::parse(&quick).unwrap()
}

fn meant(serial: &str) -> Instrument {
    serde_json::from_value(serde_json::json!({
        "name": "monitor", "calibration_due": "2027-01-01", "ports": {}, "serial_number": serial,
        "accuracy": { "level_db": 0.5, "power_percent": 5.0, "frequency_ppm": 0.1,
                      "deviation_percent": 5.0 },
    }))
    .unwrap()
}

fn simulated(fault: Fault) -> Simulated {
    Simulated::start(Scenario::parse(SCENARIO).unwrap(), fault, 0).unwrap()
}

fn read(from: &Simulated, quantity: Reads) -> Result<Heard, InstrumentFault> {
    let profile = profile();
    let address = Address::Socket(from.address());
    let conversation = Conversation::open(&address, &meant("SIM-1"), profile.clone())?;
    conversation.read(profile.ask(quantity).unwrap())
}

#[test]
fn addresses_are_of_a_socket_or_a_serial_line() {
    for (text, shown) in [
        ("192.0.2.9:5025", "192.0.2.9:5025"),
        ("[2001:db8::9]:5025", "[2001:db8::9]:5025"),
        (" /dev/ttyUSB0@115200 ", "/dev/ttyUSB0@115200"),
        ("/dev/ttyUSB0", "/dev/ttyUSB0@9600"),
        ("COM3@19200", "COM3@19200"),
    ] {
        assert_eq!(text.parse::<Address>().unwrap().to_string(), shown);
    }
    for none in ["", "192.0.2.9", "bench:5025", "/etc/passwd", "/dev/../etc/passwd", "COM3@12"] {
        assert!(none.parse::<Address>().unwrap_err().to_string().contains("5025"), "{none}");
    }
}

#[test]
fn an_instrument_that_behaves_is_read_in_the_units_of_its_profile() {
    let instrument = simulated(Fault::None);
    let level = read(&instrument, Reads::Level).unwrap();
    assert_eq!((level.typed.as_str(), level.unit), ("-121.2", Unit::Dbm));
    assert_eq!(level.identity.serial_number.as_deref(), Some("SIM-1"));
    let power = read(&instrument, Reads::Power).unwrap();
    // 22 100 mW with a scatter of 40, from mW to W: six of its standard deviations.
    let watts: f64 = power.typed.parse().unwrap();
    assert!((watts - 22.1).abs() < 0.24 && power.unit == Unit::Watt, "{power:?}");
}

#[test]
fn two_runs_of_one_seed_say_the_same_and_scatter() {
    let run = || {
        let instrument = simulated(Fault::None);
        let one = || read(&instrument, Reads::FrequencyError).unwrap().typed;
        [one(), one(), one()]
    };
    let first = run();
    assert_eq!(first, run());
    assert_ne!(first[0], first[1]);
}

#[test]
fn no_fault_of_an_instrument_becomes_a_reading() {
    type Is = fn(&InstrumentFault) -> bool;
    let cases: [(Fault, Is); 8] = [
        (Fault::Silent, |e| of_link(e, |fault| matches!(fault, LinkFault::Silent { .. }))),
        (Fault::Dripping, |e| of_link(e, |fault| matches!(fault, LinkFault::Silent { .. }))),
        (Fault::Dropped, |e| of_link(e, |fault| matches!(fault, LinkFault::Ended))),
        (Fault::Garbage, |e| of_link(e, |fault| matches!(fault, LinkFault::Garbage))),
        (Fault::Endless, |e| of_link(e, |fault| matches!(fault, LinkFault::Endless))),
        (Fault::WrongUnit, |e| of_reply(e, |fault| matches!(fault, ReplyRefused::Unit { .. }))),
        (Fault::Errors, |e| of_reply(e, |fault| matches!(fault, ReplyRefused::Reported { .. }))),
        (Fault::Overload, |e| of_reply(e, |fault| matches!(fault, ReplyRefused::NoValue { .. }))),
    ];
    for (fault, is) in cases {
        let instrument = simulated(fault);
        let begun = Instant::now();
        let error = read(&instrument, Reads::Power).unwrap_err();
        assert!(is(&error), "{fault:?}: {error:?}");
        assert!(begun.elapsed() < Duration::from_secs(5), "{fault:?} held us");
        assert!(error.to_string().contains(&instrument.address().to_string()), "{error}");
    }
    let split = read(&simulated(Fault::Split), Reads::Power).unwrap();
    assert!(split.typed.starts_with("22"), "an answer in two pieces is one answer: {split:?}");
}

fn of_link(error: &InstrumentFault, is: fn(&LinkFault) -> bool) -> bool {
    matches!(error, InstrumentFault::Link { source, .. } if is(source))
}

fn of_reply(error: &InstrumentFault, is: fn(&ReplyRefused) -> bool) -> bool {
    matches!(error, InstrumentFault::Reply { source, .. } if is(source))
}

#[test]
fn another_instrument_at_the_address_is_not_asked() {
    let instrument = simulated(Fault::None);
    let address = Address::Socket(instrument.address());
    let error = Conversation::open(&address, &meant("SIM-2"), profile()).err().unwrap();
    assert!(matches!(error, InstrumentFault::Identity { .. }), "{error:?}");
    assert!(error.to_string().contains("SIM-1") && error.to_string().contains("SIM-2"), "{error}");
    let nobody = Address::Socket("127.0.0.1:1".parse().unwrap());
    let error = Conversation::open(&nobody, &meant("SIM-1"), profile()).err().unwrap();
    assert!(of_link(&error, |fault| matches!(fault, LinkFault::Unreachable { .. })), "{error:?}");
}

#[test]
fn a_level_is_set_and_read_back() {
    let instrument = simulated(Fault::None);
    let profile = profile();
    let level = profile.level.clone().unwrap();
    let message = level.message("-95.5", Unit::Dbm).unwrap();
    let address = Address::Socket(instrument.address());
    let conversation = Conversation::open(&address, &meant("SIM-1"), profile.clone()).unwrap();
    let heard = conversation.set_level(&message, profile.ask(Reads::Level)).unwrap().unwrap();
    assert_eq!(heard.typed, "-95.5");
    assert_eq!(read(&instrument, Reads::Level).unwrap().typed, "-95.5", "it stays so");
}

#[test]
fn a_serial_line_does_as_well() {
    let (mine, theirs) = serialport::TTYPort::pair().unwrap();
    let address: Address = format!("{}@9600", theirs.name().unwrap()).parse().unwrap();
    // The library locks a port that is open.
    drop(theirs);
    let instrument = std::thread::spawn(move || {
        let mut out = mine.try_clone_native().unwrap();
        let mut heard = BufReader::new(mine);
        // Who it is, the queue, the reading, the queue.
        for _ in 0..4 {
            let mut line = String::new();
            while !line.ends_with('\n') {
                // Nobody has opened the other end yet, or has not written yet.
                if heard.read_line(&mut line).is_err() {
                    std::thread::sleep(Duration::from_millis(2));
                }
            }
            let answer = match line.trim() {
                "*IDN?" => "INVENTED INSTRUMENTS,SERVICE MONITOR,SIM-1,1.0",
                "MEASure:POWer?" => "17100",
                _ => "0,\"No error\"",
            };
            out.write_all(format!("{answer}\r\n").as_bytes()).unwrap();
        }
        // Closing it would take back what was not read yet.
        (out, heard)
    });
    let quick = PROFILE.replace("timeout_ms = 2_000", "timeout_ms = 5_000");
    let profile = Profile::parse(&quick).unwrap();
    let conversation = Conversation::open(&address, &meant("SIM-1"), profile.clone()).unwrap();
    let heard = conversation.read(profile.ask(Reads::Power).unwrap()).unwrap();
    assert_eq!(heard.typed, "17.1");
    drop(instrument.join().unwrap());
}
