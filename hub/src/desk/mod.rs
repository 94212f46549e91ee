//! The desk: every command a person's screen can call, defined once.
//!
//! In: a command's name and a JSON body. Out: a JSON answer, or a [`Refusal`] that says what to do
//! next. Served by the window's bridge and over HTTP alike; knows neither. Judging is the core's,
//! keeping is the node's: the desk puts the two together.

mod bench;
mod edit;
mod history;
mod listing;
mod pages;
mod refusal;
mod requests;
mod session;
mod today;
mod typescript;

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

pub use bench::{BenchTopic, BenchTopics};
pub use edit::{author, edit_session, record_reading};
pub use history::{history, page_after};
pub use pages::{
    HistoryStep, JudgedEntry, PeerLine, Position, SessionHistory, SessionLine, SessionPage,
    Standing, Today,
};
pub use refusal::{Code, Refusal};
pub use requests::{
    Acknowledge, AskMoment, AskSession, ConnectChain, EnterReading, ExchangeWith, HoldDevice,
    Nothing, WithdrawReading, Write,
};
pub(crate) use session::{connect, session_id};
pub use session::{page, papers};
pub use typescript::write_types;

use guyline_core::bench::{BenchAnswer, BenchQuestion};
use guyline_core::checks::ChainState;

use crate::Node;
use crate::sync::ExchangeReport;

/// Makes [`call`] and the list of commands from one table, so that neither can forget one.
macro_rules! commands {
    ($($name:literal : $asks:ty => $gives:ty = $handler:path;)*) => {
        /// Carries out a command that does not leave this device.
        fn here(node: &Node, command: &str, body: Value) -> Result<Value, Refusal> {
            match command {
                $($name => {
                    let asked: $asks = read(command, body)?;
                    let given: $gives = $handler(node, asked)?;
                    Ok(write(&given))
                })*
                _ => Err(Refusal::new(
                    Code::UnknownCommand,
                    format!("the desk has no command {command:?}"),
                    format!("the commands are: {}, exchange", [$($name),*].join(", ")),
                )),
            }
        }

        /// Calls `visit` with each command's name, what it asks and what it gives.
        fn each_command(visit: &mut typescript::Visit<'_>) {
            $(visit.command::<$asks, $gives>($name);)*
            visit.command::<ExchangeWith, ExchangeReport>(EXCHANGE);
        }
    };
}

/// The one command that goes to another node, and so takes its time.
const EXCHANGE: &str = "exchange";

commands! {
    "today": Nothing => Today = today::today;
    "position": Nothing => Position = today::position;
    "hold-device": HoldDevice => Today = today::hold_device;
    "session": AskSession => SessionPage = session::show;
    "join-crew": AskSession => SessionPage = session::join_crew;
    "preview-chain": ConnectChain => ChainState = session::preview_chain;
    "connect-chain": ConnectChain => SessionPage = session::connect_chain;
    "judge-entry": EnterReading => JudgedEntry = session::judge_entry;
    "record-reading": EnterReading => SessionPage = session::record;
    "withdraw-reading": WithdrawReading => SessionPage = session::withdraw;
    "acknowledge": Acknowledge => SessionPage = session::acknowledge;
    "add-note": Write => SessionPage = session::add_note;
    "record-adjustment": Write => SessionPage = session::record_adjustment;
    "summarise": Write => SessionPage = session::summarise;
    "history": AskSession => SessionHistory = history::show;
    "session-after": AskMoment => SessionPage = history::show_moment;
    "bench-topics": Nothing => BenchTopics = bench::list;
    "bench": BenchQuestion => BenchAnswer = bench::calculate;
}

/// Carries out a command.
pub async fn call(node: &Node, command: &str, body: Value) -> Result<Value, Refusal> {
    if command == EXCHANGE {
        let asked: ExchangeWith = read(command, body)?;
        return Ok(write(&today::exchange(node, &asked.address).await?));
    }
    let (node, command) = (node.clone(), command.to_owned());
    // The store waits for the disk; the thread that answers everybody else must not.
    let done = tokio::task::spawn_blocking(move || here(&node, &command, body)).await;
    done.unwrap_or_else(|panic| std::panic::resume_unwind(panic.into_panic()))
}

fn read<T: DeserializeOwned>(command: &str, body: Value) -> Result<T, Refusal> {
    serde_path_to_error::deserialize(body).map_err(|error| {
        let help = "send the fields this command asks for, and no others";
        Refusal::new(Code::WrongBody, error.inner().to_string(), help)
            .at(format!("{command}: {}", error.path()))
    })
}

fn write<T: Serialize>(given: &T) -> Value {
    serde_json::to_value(given).expect("pages hold text keys and finite numbers only")
}
