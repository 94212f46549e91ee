//! Goal: what an instrument says becomes a reading only as it was said, by a person's hand; a level
//! is sent only after the guard and a person; and the instrument made of software speaks the
//! standard to a client of another make. Method: the desk's own commands against it over loopback.

use std::process::Command;

use guyline_hub::Node;
use guyline_hub::desk::{self, Code, Refusal};
use guyline_hub::instruments::{Fault, Scenario, Simulated};
use guyline_tests::repository;
use serde_json::{Value, json};

use crate::crew::{Device, device};

const PROFILE: &str = include_str!("../../demo-data/instruments/monitor.profile.toml");
const SCENARIO: &str = include_str!("../../demo-data/instruments/monitor.scenario.toml");

/// A device at a visit of the invented shop, with the first monitor connected to it.
struct Bench {
    device: Device,
    session: String,
    instrument: Simulated,
}

impl Bench {
    async fn with(fault: Fault) -> Self {
        let device = device("tablet");
        let node = &device.node;
        let today = call(node, "start-demo", json!({})).await.unwrap();
        let session = today["sessions"][0]["id"].as_str().unwrap().to_owned();
        let shop = call(node, "papers", json!({})).await.unwrap()["id"].clone();
        for (field, value) in [("profile", PROFILE), ("serial_number", "SIM-1")] {
            let path = ["instruments", "monitor-1", field];
            let set = json!({ "document": shop, "path": path, "value": value });
            call(node, "set-field", set).await.unwrap();
        }
        let instrument = Simulated::start(Scenario::parse(SCENARIO).unwrap(), fault, 0).unwrap();
        let at = instrument.address().to_string();
        let place = json!({ "instrument": "monitor-1", "address": at });
        let placed = call(node, "place-instrument", place).await.unwrap();
        assert_eq!(placed["instruments"]["monitor-1"]["address"], at);
        call(node, "join-crew", json!({ "session": session })).await.unwrap();
        Self { device, session, instrument }
    }

    async fn call(&self, command: &str, body: Value) -> Result<Value, Refusal> {
        call(&self.device.node, command, body).await
    }

    /// Connects the monitor to the receiver and gives the chain's id.
    async fn connect(&self, name: &str, plane: &str, port: &str, between: &[&str]) -> String {
        let chain = json!({ "session": self.session, "name": name, "plane": plane, "port": port,
                            "instrument": "monitor-1", "between": between, "line": [] });
        let page = self.call("connect-chain", chain).await.unwrap();
        let chains = page["appraisal"]["chains"].as_array().unwrap();
        let found = chains.iter().find(|chain| chain["chain"]["name"] == name).unwrap();
        found["id"].as_str().unwrap().to_owned()
    }

    async fn ask(&self, check: &str, chain: &str) -> Result<Value, Refusal> {
        let asked = json!({ "session": self.session, "check": check, "chain": chain });
        self.call("ask-instrument", asked).await
    }

    async fn record(&self, chain: &str, typed: &str, live: &Value) -> Result<Value, Refusal> {
        let reading = json!({ "session": self.session, "check": "receiver.opening", "chain": chain,
                              "typed": typed, "unit": "dBm", "phase": "as-found",
                              "replaces": null, "live": live });
        self.call("record-reading", reading).await
    }

    async fn propose(&self, chain: &str, level: &str) -> Result<Value, Refusal> {
        let level = json!({ "session": self.session, "chain": chain, "typed": level,
                            "unit": "dBm" });
        self.call("propose-level", level).await
    }
}

async fn call(node: &Node, command: &str, body: Value) -> Result<Value, Refusal> {
    desk::call(node, command, body).await
}

#[tokio::test]
async fn a_live_reading_is_recorded_as_it_was_said_and_by_whom() {
    let bench = Bench::with(Fault::None).await;
    let chain = bench.connect("direct", "receiver-port", "gen", &["cable-a"]).await;
    let read = bench.ask("receiver.opening", &chain).await.unwrap();
    assert_eq!(read["typed"], "-121.2");
    assert_eq!(read["unit"], "dBm");
    assert_eq!(read["met"]["calibration_ended"], Value::Null);

    // Nothing is recorded by asking.
    let page = bench.call("session", json!({ "session": bench.session })).await.unwrap();
    assert_eq!(readings(&page), Vec::<Value>::new());
    // A number that was changed is a typed one.
    let changed = bench.record(&chain, "-122.2", &read["live"]).await.unwrap_err();
    assert_eq!(changed.code, Code::NotAReading);
    let made_up = bench.record(&chain, "-121.2", &json!("made-up")).await.unwrap_err();
    assert_eq!(made_up.code, Code::NotAReading);

    let page = bench.record(&chain, "-121.2", &read["live"]).await.unwrap();
    let said = "INVENTED INSTRUMENTS,SERVICE MONITOR,SIM-1,1.0";
    assert_eq!(readings(&page)[0]["answered_by"], said);
    let page = bench.record(&chain, "-121.2", &Value::Null).await.unwrap();
    let typed: Vec<Value> = readings(&page).iter().map(|it| it["answered_by"].clone()).collect();
    assert!(typed.contains(&Value::Null) && typed.contains(&json!(said)), "{typed:?}");
}

#[tokio::test]
async fn an_instrument_that_misbehaves_gives_a_sentence_and_no_reading() {
    for fault in [Fault::Dropped, Fault::Garbage, Fault::WrongUnit, Fault::Overload] {
        let bench = Bench::with(fault).await;
        let chain = bench.connect("direct", "receiver-port", "gen", &["cable-a"]).await;
        let refusal = bench.ask("receiver.opening", &chain).await.unwrap_err();
        assert_eq!(refusal.code, Code::InstrumentSilent, "{fault:?}");
        assert!(refusal.what.contains(&bench.instrument.address().to_string()), "{refusal}");
        assert!(!refusal.help.is_empty());
        let page = bench.call("session", json!({ "session": bench.session })).await.unwrap();
        assert_eq!(readings(&page), Vec::<Value>::new(), "{fault:?}");
    }
}

#[tokio::test]
async fn a_level_goes_out_once_and_only_by_a_persons_word() {
    let bench = Bench::with(Fault::None).await;
    let chain = bench.connect("direct", "receiver-port", "gen", &["cable-a"]).await;
    let level = async || bench.ask("receiver.opening", &chain).await.unwrap()["typed"].clone();
    let proposed = bench.propose(&chain, "-95.5").await.unwrap();
    assert!(proposed["words"].as_str().unwrap().contains("-95.500 DBM"), "{proposed}");
    assert_eq!(level().await, "-121.2", "proposing sends nothing");

    let word = json!({ "proposal": proposed["proposal"] });
    let set = bench.call("agree-to-level", word.clone()).await.unwrap();
    assert_eq!(set["reads"], "-95.5 dBm");
    assert_eq!(level().await, "-95.5");
    let again = bench.call("agree-to-level", word).await.unwrap_err();
    assert_eq!(again.code, Code::NotHere, "one word sets it once");
    let loud = bench.propose(&chain, "0").await.unwrap_err();
    assert!(loud.what.contains("that the profile allows"), "{loud}");
}

#[tokio::test]
async fn the_guard_stops_a_level_where_a_transmitter_could_reach_the_generator() {
    let bench = Bench::with(Fault::None).await;
    // The antenna port with nothing between: keyed, the transmitter reaches the generator.
    let chain = bench.connect("bare", "antenna-port", "gen", &[]).await;
    let stopped = bench.propose(&chain, "-95").await.unwrap_err();
    assert_eq!(stopped.code, Code::Stopped, "{stopped}");
}

#[tokio::test]
async fn what_is_not_connected_or_another_one_is_told_by_name() {
    let bench = Bench::with(Fault::None).await;
    let chain = bench.connect("direct", "receiver-port", "gen", &["cable-a"]).await;
    let gone = json!({ "instrument": "monitor-1", "address": null });
    bench.call("place-instrument", gone).await.unwrap();
    let refusal = bench.ask("receiver.opening", &chain).await.unwrap_err();
    assert!(refusal.what.contains("is not connected"), "{refusal}");
    let wrong = json!({ "instrument": "monitor-1", "address": "the bench" });
    let refusal = bench.call("place-instrument", wrong).await.unwrap_err();
    assert!(refusal.what.contains("the bench"), "{refusal}");
    let meter = json!({ "instrument": "wattmeter-1", "address": "127.0.0.1:5025" });
    bench.call("place-instrument", meter).await.unwrap();
    let asked = json!({ "instrument": "wattmeter-1" });
    let refusal = bench.call("try-instrument", asked).await.unwrap_err();
    assert!(refusal.what.contains("power meter 1 has no profile"), "{refusal}");
}

/// The `PyVISA` library is a client of another make; it reads and sets in twenty scripts.
#[test]
fn a_client_of_another_make_understands_the_simulated_instrument() {
    let instrument = Simulated::start(Scenario::parse(SCENARIO).unwrap(), Fault::None, 0).unwrap();
    let port = instrument.address().port().to_string();
    let out = Command::new(repository().join("target/oracle-venv/bin/python"))
        .arg(repository().join("tests/node/visa_client.py"))
        .arg(port)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&out.stdout);
    assert!(out.status.success(), "{said}{}", String::from_utf8_lossy(&out.stderr));
    assert_eq!(said.trim(), "20 scripts");
}

fn readings(page: &Value) -> Vec<Value> {
    let checks = page["appraisal"]["checks"].as_array().unwrap();
    let all = checks.iter().flat_map(|check| check["readings"].as_array().unwrap());
    all.map(|reading| reading["reading"].clone()).collect()
}
