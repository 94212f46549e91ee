//! `guyline instrument`: where an instrument is connected, who it is, what it reads now, one level
//! of its generator once a person agrees, and an instrument made of software to train with.
//!
//! Each is the desk's own command, so that terminal and screen cannot differ.

use std::io::{BufRead, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use serde_json::{Value, json};

use super::{DataArgs, could_not, in_runtime, open_existing};
use crate::desk::{self, Refusal};
use crate::instruments::{Fault, Scenario, Simulated};

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct InstrumentArgs {
    #[command(subcommand)]
    asked: Asked,
}

#[derive(Debug, clap::Subcommand)]
enum Asked {
    /// Lists the shop's instruments and where they are connected to this device.
    List {
        #[command(flatten)]
        data: DataArgs,
    },
    /// Says where an instrument is connected to this device.
    Place {
        #[command(flatten)]
        data: DataArgs,
        /// The instrument's id
        instrument: String,
        /// 192.0.2.9:5025 or /dev/ttyUSB0@9600; none where it is no longer connected
        address: Option<String>,
    },
    /// Asks an instrument who it is, and looks it up in the shop's list.
    Try {
        #[command(flatten)]
        data: DataArgs,
        /// The instrument's id
        instrument: String,
    },
    /// Reads a check's quantity off the instrument of a chain.
    Read {
        #[command(flatten)]
        data: DataArgs,
        /// The session's id
        session: String,
        /// The check's id, as receiver.opening
        check: String,
        /// The chain's id
        chain: String,
        /// Record it: as-found or as-left
        #[arg(long, value_name = "PHASE")]
        record: Option<String>,
    },
    /// Sets a generator's level, if the guard lets it through and you agree.
    SetLevel {
        #[command(flatten)]
        data: DataArgs,
        /// The session's id
        session: String,
        /// The chain's id
        chain: String,
        /// The level, as -91
        #[arg(allow_negative_numbers = true)]
        level: String,
        /// Its unit: dBm, uV, uV-emf or dBuV
        #[arg(default_value = "dBm")]
        unit: String,
    },
    /// Plays an instrument on this machine until it is stopped.
    Simulate {
        /// The scenario, a TOML file
        scenario: PathBuf,
        /// The port; 0 takes any that is free
        #[arg(long, default_value_t = 5025)]
        port: u16,
        /// How it misbehaves
        #[arg(long, value_enum, default_value_t = Fault::None)]
        fault: Fault,
    },
}

pub(super) fn run(args: &InstrumentArgs) -> ExitCode {
    match &args.asked {
        Asked::List { data } => tell(data, "instruments", json!({})),
        Asked::Place { data, instrument, address } => {
            tell(data, "place-instrument", json!({ "instrument": instrument, "address": address }))
        }
        Asked::Try { data, instrument } => {
            tell(data, "try-instrument", json!({ "instrument": instrument }))
        }
        Asked::Read { data, session, check, chain, record } => {
            read(data, [session, check, chain], record.as_deref())
        }
        Asked::SetLevel { data, session, chain, level, unit } => set_level(
            data,
            json!({ "session": session, "chain": chain, "typed": level, "unit": unit }),
        ),
        Asked::Simulate { scenario, port, fault } => simulate(scenario, *port, *fault),
    }
}

fn tell(data: &DataArgs, command: &str, body: Value) -> ExitCode {
    with_desk(data, async |desk| {
        let given = desk.call(command, body).await?;
        println!("{}", super::json(&given));
        Ok(())
    })
}

fn read(data: &DataArgs, [session, check, chain]: [&str; 3], record: Option<&str>) -> ExitCode {
    let asked = json!({ "session": session, "check": check, "chain": chain });
    with_desk(data, async |desk| {
        let read = desk.call("ask-instrument", asked).await?;
        println!("{}", super::json(&read));
        let Some(phase) = record else { return Ok(()) };
        let reading = json!({
            "session": session, "check": check, "chain": chain, "typed": read["typed"],
            "unit": read["unit"], "phase": phase, "replaces": null, "live": read["live"],
        });
        desk.call("record-reading", reading).await?;
        println!("recorded {phase}");
        Ok(())
    })
}

fn set_level(data: &DataArgs, asked: Value) -> ExitCode {
    with_desk(data, async |desk| {
        let proposed = desk.call("propose-level", asked).await?;
        print!("{}\nType yes to send it: ", proposed["words"].as_str().unwrap_or_default());
        let mut answer = String::new();
        let heard =
            std::io::stdout().flush().and_then(|()| std::io::stdin().lock().read_line(&mut answer));
        if heard.is_err() || answer.trim() != "yes" {
            println!("nothing was sent");
            return Ok(());
        }
        let set = desk.call("agree-to-level", json!({ "proposal": proposed["proposal"] })).await?;
        println!("{}", super::json(&set));
        Ok(())
    })
}

fn simulate(scenario: &std::path::Path, port: u16, fault: Fault) -> ExitCode {
    let text = match std::fs::read_to_string(scenario) {
        Ok(text) => text,
        Err(error) => return could_not("read the scenario", &error, "name a TOML file"),
    };
    let scenario = match Scenario::parse(&text) {
        Ok(scenario) => scenario,
        Err(error) => {
            eprintln!("{error}\n  help: see demo-data/instruments for one");
            return ExitCode::from(2);
        }
    };
    match Simulated::start(scenario, fault, port) {
        Ok(instrument) => {
            println!("an instrument made of software listens at {}", instrument.address());
            in_runtime(async {
                match tokio::signal::ctrl_c().await {
                    Ok(()) => ExitCode::SUCCESS,
                    Err(error) => could_not("wait", &error, "start it again"),
                }
            })
        }
        Err(error) => could_not("listen", &error, "choose another port with --port"),
    }
}

/// The desk of a node.
struct Desk {
    node: crate::Node,
}

impl Desk {
    async fn call(&self, command: &str, body: Value) -> Result<Value, Refusal> {
        desk::call(&self.node, command, body).await
    }
}

fn with_desk(data: &DataArgs, work: impl AsyncFnOnce(&Desk) -> Result<(), Refusal>) -> ExitCode {
    let node = match open_existing(data) {
        Ok(node) => node,
        Err(code) => return code,
    };
    in_runtime(async {
        match work(&Desk { node }).await {
            Ok(()) => ExitCode::SUCCESS,
            Err(refusal) => {
                eprintln!("{refusal}");
                ExitCode::FAILURE
            }
        }
    })
}
