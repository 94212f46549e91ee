//! The desk: every command a person's screen can call, defined once.
//!
//! In: a command's name and a JSON body. Out: a JSON answer, or a [`Refusal`] that says what to do
//! next. Served by the window's bridge and over HTTP alike; knows neither. Judging is the core's,
//! keeping is the node's: the desk puts the two together.

mod bench;
mod board;
mod devices;
mod edit;
mod history;
mod instruments;
mod judged;
mod listing;
mod members;
mod pages;
mod papers;
mod papers_import;
mod papers_pages;
mod papers_site;
mod papers_words;
mod reached;
mod refusal;
mod report;
mod requests;
mod session;
mod sign_off;
mod start;
mod today;
mod typescript;

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

pub use bench::{BenchTopic, BenchTopics};
pub use board::day_file;
pub use edit::{author, edit_session, record_reading, undo_newest};
pub use history::{history, page_after};
pub use instruments::{
    AgreeToLevel, AskInstrument, InstrumentHere, InstrumentMet, InstrumentsPage, LevelProposed,
    LevelSet, LiveReading, PlaceInstrument, ProposeLevel, TryInstrument,
};
pub use pages::{
    BundleReport, Destination, DevicesPage, FileVerification, HistoryStep, JudgedEntry,
    MembersPage, PaperSince, PeerLine, Position, ReportFile, SessionHistory, SessionLine,
    SessionPage, SessionVerification, ShopBoard, ShortCode, SignOffVerified, SignedOff, Standing,
    Started, Today, Undoable, UnreadVisit,
};
pub use papers::{export_plan, import_plan};
pub use papers_import::import_rows;
pub use papers_pages::{
    AskSite, ChooseClaim, DueLine, EnterCalibration, ImportRows, ImportSeen, Imported, PaperLine,
    PaperProblem, PapersPage, PlanLine, PlanTaken, PlanText, PutEntry, Recorded, RetireEntry,
    SetField, SiteIntermod, SiteLine, SitePage, UndoChange, WrongCell,
};
pub(crate) use reached::held;
pub use reached::{HeldLine, Reached};
pub use refusal::{Code, Refusal};
pub use report::{MadeFile, Wanted, report_file, verify_file};
pub use requests::{
    Acknowledge, Admit, AskDay, AskDayFile, AskMoment, AskReport, AskSession, ConnectChain,
    EnterReading, ExchangeWith, GiveReason, HoldDevice, NameDevice, Nothing, PauseBackground,
    PlanVisit, Revoke, Share, StartShop, StartSite, TakeBundle, TakeHeld, UseInvitation,
    WithdrawReading, Write,
};
pub(crate) use session::{connect, session_id};
pub use session::{page, papers};
pub use sign_off::{sign, verify};
pub use typescript::write_types;

use guyline_core::bench::{BenchAnswer, BenchQuestion};
use guyline_core::checks::ChainState;

use crate::Node;
use crate::background::BackgroundPage;
use crate::sync::ExchangeReport;

/// Makes [`call`] and the list of commands from two tables, so that none can forget one: those that
/// do not leave this device, and those that wait for others.
macro_rules! commands {
    (here { $($name:literal : $asks:ty => $gives:ty = $handler:path;)* }
     away { $($far:literal : $far_asks:ty => $far_gives:ty = $far_handler:path;)* }) => {
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
                    format!("the commands are: {}", [$($name,)* $($far),*].join(", ")),
                )),
            }
        }

        /// Carries out a command that waits for other devices; none where it is no such command.
        async fn away(
            node: &Node,
            command: &str,
            body: &mut Value,
        ) -> Option<Result<Value, Refusal>> {
            match command {
                $($far => {
                    let asked: $far_asks = match read(command, body.take()) {
                        Ok(asked) => asked,
                        Err(refusal) => return Some(Err(refusal)),
                    };
                    let given: Result<$far_gives, Refusal> = $far_handler(node, asked).await;
                    Some(given.map(|given| write(&given)))
                })*
                _ => None,
            }
        }

        /// Calls `visit` with each command's name, what it asks and what it gives.
        fn each_command(visit: &mut typescript::Visit<'_>) {
            $(visit.command::<$asks, $gives>($name);)*
            $(visit.command::<$far_asks, $far_gives>($far);)*
        }
    };
}

commands! {
    here {
    "today": Nothing => Today = today::today;
    "position": Nothing => Position = today::position;
    "start-shop": StartShop => Today = start::start_shop;
    "start-demo": Nothing => Today = start::start_demo;
    "start-site": StartSite => Started = start::start_site;
    "plan-visit": PlanVisit => Started = start::plan_visit;
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
    "record-restoration": Write => SessionPage = session::record_restoration;
    "leave-site": AskSession => SessionPage = session::leave_site;
    "undo": AskSession => SessionPage = session::undo;
    "sign-off": AskSession => SessionPage = sign_off::sign_off;
    "amend": GiveReason => SessionPage = sign_off::amend;
    "report": AskReport => ReportFile = report::make;
    "board": AskDay => ShopBoard = board::show;
    "day-file": AskDayFile => ReportFile = board::file;
    "devices": Nothing => DevicesPage = devices::show;
    "take-held": TakeHeld => DevicesPage = reached::take_held;
    "name-device": NameDevice => DevicesPage = devices::name;
    "background": Nothing => BackgroundPage = members::background;
    "pause-background": PauseBackground => BackgroundPage = members::pause;
    "bundle-out": Nothing => ReportFile = devices::bundle_out;
    "bundle-in": TakeBundle => BundleReport = devices::bundle_in;
    "verify": AskSession => SessionVerification = sign_off::show;
    "history": AskSession => SessionHistory = history::show;
    "session-after": AskMoment => SessionPage = history::show_moment;
    "papers": Nothing => PapersPage = papers::show;
    "site": AskSite => SitePage = papers_site::show;
    "set-field": SetField => Recorded = papers::set_field;
    "put-entry": PutEntry => Recorded = papers::put_entry;
    "retire-entry": RetireEntry => Recorded = papers::retire;
    "record-calibration": EnterCalibration => Recorded = papers::record_calibration;
    "choose-claim": ChooseClaim => Recorded = papers::choose;
    "undo-change": UndoChange => Recorded = papers::undo;
    "plan-text": Nothing => PlanText = papers::plan_text;
    "take-plan": PlanText => PlanTaken = papers::take_plan;
    "instruments": Nothing => InstrumentsPage = instruments::list;
    "place-instrument": PlaceInstrument => InstrumentsPage = instruments::place;
    "try-instrument": TryInstrument => InstrumentMet = instruments::meet;
    "ask-instrument": AskInstrument => LiveReading = instruments::ask;
    "propose-level": ProposeLevel => LevelProposed = instruments::propose;
    "agree-to-level": AgreeToLevel => LevelSet = instruments::agree;
    "import-rows": ImportRows => ImportSeen = papers_import::import;
    "bench-topics": Nothing => BenchTopics = bench::list;
    "bench": BenchQuestion => BenchAnswer = bench::calculate;
    }
    away {
        "exchange": ExchangeWith => ExchangeReport = today::exchange;
        "members": Nothing => MembersPage = members::show;
        "found-roster": Nothing => MembersPage = members::found;
        "share": Share => MembersPage = members::share;
        "invite": Nothing => MembersPage = members::invite;
        "admit": Admit => MembersPage = members::admit;
        "revoke": Revoke => MembersPage = members::revoke;
        "short-code": UseInvitation => ShortCode = members::short;
        "join": UseInvitation => MembersPage = members::join;
    }
}

/// Carries out a command.
pub async fn call(node: &Node, command: &str, mut body: Value) -> Result<Value, Refusal> {
    if let Some(done) = away(node, command, &mut body).await {
        return done;
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
