//! The desk: every command a person's screen can call, defined once.
//!
//! In: a command's name and a JSON body. Out: a JSON answer, or a [`Refusal`] that says what to do
//! next. Served by the window's bridge and over HTTP alike; knows neither. Judging is the core's,
//! keeping is the node's: the desk puts the two together, and answers in the language it is asked
//! in.

mod asker;
mod attachments;
mod bench;
mod board;
mod browsers;
pub(crate) mod data;
mod devices;
mod edit;
mod fleet;
mod history;
mod instruments;
mod judged;
mod keeping;
mod listing;
mod members;
mod pages;
mod papers;
mod papers_import;
mod papers_pages;
mod papers_rows;
mod papers_site;
mod papers_words;
mod reached;
mod refusal;
mod report;
mod requests;
mod rights;
mod session;
mod sign_off;
mod site_report;
mod start;
mod sweeps;
mod takeout;
mod today;
mod typescript;

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

pub use asker::Asker;
pub use attachments::{
    ATTACHED_FILE_BYTES_MAX, AskAttachment, Attach, AttachmentLine, Given, LookAtAttachment,
    WriteCaption, attach_file, attachment_lines, content_file, hash_in,
};
pub use bench::{BenchTopic, BenchTopics};
pub use board::day_file;
pub use edit::{author, edit_session, record_reading, undo_newest};
pub use fleet::fleet_page;
pub use guyline_core::language::Language;
pub use history::{history, page_after};
pub use instruments::{
    AgreeToLevel, AskInstrument, InstrumentHere, InstrumentMet, InstrumentsPage, LevelProposed,
    LevelSet, LiveReading, PlaceInstrument, ProposeLevel, TryInstrument,
};
pub use keeping::{
    KeepOnly, KeepingPage, KeptSite, VisitsKept, keep_site_named, page as keeping_page,
};
pub use pages::{
    BrowsersPage, BundleReport, DataFile, Destination, DevicesPage, FileVerification, FleetPage,
    HistoryStep, JudgedEntry, MembersPage, PaperSince, PeerLine, Position, ReportFile,
    SessionHistory, SessionLine, SessionPage, SessionVerification, ShopBoard, ShortCode,
    SignOffVerified, SignedOff, Standing, Started, Today, Undoable, UnreadVisit,
};
pub use papers::{export_plan, import_plan};
pub use papers_import::import_rows;
pub use papers_pages::{
    AskSite, ChooseClaim, DueLine, EnterCalibration, ImportRows, ImportSeen, Imported, PaperLine,
    PaperProblem, PapersPage, PlanLine, PlanTaken, PlanText, PutEntry, Recorded, RetireEntry,
    SetField, SignLimits, SiteIntermod, SiteLine, SitePage, UndoChange, WrongCell,
};
pub(crate) use reached::held;
pub use reached::{HeldLine, Reached};
pub use refusal::{Code, Refusal};
pub use report::{MadeFile, Wanted, report_file, verify_file};
pub use requests::{
    Acknowledge, Admit, AskDay, AskDayFile, AskMoment, AskReport, AskSession, AskSiteReport,
    AskTakeOut, ConnectChain, EnterReading, ExchangeWith, GiveReason, GrantBrowser, HoldDevice,
    NameDevice, Nothing, PauseBackground, PlanVisit, Revoke, RevokeBrowser, Share, StartShop,
    StartSite, TakeBundle, TakeHeld, UseInvitation, WithdrawReading, Write,
};
pub use rights::Right;
pub(crate) use session::{connect, session_id};
pub use session::{page, papers};
pub use sign_off::{sign, verify};
pub use site_report::site_report_file;
pub use sweeps::WriteSweep;
pub use takeout::{MadeData, WantedData, readings_schema, take_out};
pub use typescript::write_types;

use guyline_core::bench::{BenchAnswer, BenchQuestion};
use guyline_core::checks::ChainState;

use crate::Node;
use crate::background::BackgroundPage;
use crate::sync::ExchangeReport;

/// Makes [`call`] and the list of commands from two tables, so that none can forget one: those that
/// do not leave this device, and those that wait for others.
macro_rules! commands {
    (here { $($name:literal : $right:ident, $asks:ty => $gives:ty = $handler:path;)* }
     away { $($far:literal : $far_right:ident, $far_asks:ty => $far_gives:ty
        = $far_handler:path;)* }) => {
        /// Every command with the right it takes.
        pub const COMMANDS: &[(&str, Right)] = &[
            $(($name, Right::$right),)*
            $(($far, Right::$far_right),)*
        ];

        /// Carries out a command that does not leave this device.
        fn here(asker: &Asker, command: &str, body: Value) -> Result<Value, Refusal> {
            match command {
                $($name => {
                    let asked: $asks = read(command, body)?;
                    let given: $gives = $handler(asker, asked)?;
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
            asker: &Asker,
            command: &str,
            body: &mut Value,
        ) -> Option<Result<Value, Refusal>> {
            match command {
                $($far => {
                    let asked: $far_asks = match read(command, body.take()) {
                        Ok(asked) => asked,
                        Err(refusal) => return Some(Err(refusal)),
                    };
                    let given: Result<$far_gives, Refusal> = $far_handler(asker, asked).await;
                    Some(given.map(|given| write(&given)))
                })*
                _ => None,
            }
        }

        /// Calls `visit` with each command's name, what it asks and what it gives.
        fn each_command(visit: &mut typescript::Visit<'_>) {
            $(visit.command::<$asks, $gives>($name, Right::$right);)*
            $(visit.command::<$far_asks, $far_gives>($far, Right::$far_right);)*
        }
    };
}

commands! {
    here {
    "today": Read, Nothing => Today = today::today;
    "position": Read, Nothing => Position = today::position;
    "start-shop": Device, StartShop => Today = start::start_shop;
    "start-demo": Device, Nothing => Today = start::start_demo;
    "start-site": Papers, StartSite => Started = start::start_site;
    "plan-visit": Record, PlanVisit => Started = start::plan_visit;
    "hold-device": Device, HoldDevice => Today = today::hold_device;
    "session": Read, AskSession => SessionPage = session::show;
    "join-crew": Record, AskSession => SessionPage = session::join_crew;
    "preview-chain": Read, ConnectChain => ChainState = session::preview_chain;
    "connect-chain": Record, ConnectChain => SessionPage = session::connect_chain;
    "judge-entry": Read, EnterReading => JudgedEntry = session::judge_entry;
    "record-reading": Record, EnterReading => SessionPage = session::record;
    "withdraw-reading": Record, WithdrawReading => SessionPage = session::withdraw;
    "acknowledge": Record, Acknowledge => SessionPage = session::acknowledge;
    "add-note": Record, Write => SessionPage = session::add_note;
    "record-adjustment": Record, Write => SessionPage = session::record_adjustment;
    "summarise": Record, Write => SessionPage = session::summarise;
    "record-restoration": Record, Write => SessionPage = session::record_restoration;
    "leave-site": Record, AskSession => SessionPage = session::leave_site;
    "undo": Record, AskSession => SessionPage = session::undo;
    "sign-off": Record, AskSession => SessionPage = sign_off::sign_off;
    "amend": Record, GiveReason => SessionPage = sign_off::amend;
    "attach": Record, Attach => SessionPage = attachments::attach;
    "caption": Record, WriteCaption => SessionPage = attachments::caption;
    "retire-attachment": Record, AskAttachment => SessionPage = attachments::retire;
    "put-attachment-back": Record, AskAttachment => SessionPage = attachments::put_back;
    "attachment": Read, LookAtAttachment => ReportFile = attachments::look;
    "write-sweep": Read, WriteSweep => ReportFile = sweeps::write_anew;
    "report": Read, AskReport => ReportFile = report::make;
    "site-report": Read, AskSiteReport => ReportFile = site_report::make;
    "board": Read, AskDay => ShopBoard = board::show;
    "fleet": Read, Nothing => FleetPage = fleet::show;
    "day-file": Read, AskDayFile => ReportFile = board::file;
    "take-out": Read, AskTakeOut => DataFile = takeout::make;
    "devices": Read, Nothing => DevicesPage = devices::show;
    "take-held": Device, TakeHeld => DevicesPage = reached::take_held;
    "keep-only": Device, KeepOnly => DevicesPage = keeping::keep_only;
    "keep-site": Device, AskSite => DevicesPage = keeping::keep_site;
    "name-device": Device, NameDevice => DevicesPage = devices::name;
    "background": Device, Nothing => BackgroundPage = members::background;
    "pause-background": Device, PauseBackground => BackgroundPage = members::pause;
    "browsers": Device, Nothing => BrowsersPage = browsers::show;
    "grant-browser": Device, GrantBrowser => BrowsersPage = browsers::grant;
    "revoke-browser": Device, RevokeBrowser => BrowsersPage = browsers::revoke;
    "bundle-out": Device, Nothing => ReportFile = devices::bundle_out;
    "bundle-in": Device, TakeBundle => BundleReport = devices::bundle_in;
    "verify": Read, AskSession => SessionVerification = sign_off::show;
    "history": Read, AskSession => SessionHistory = history::show;
    "session-after": Read, AskMoment => SessionPage = history::show_moment;
    "papers": Read, Nothing => PapersPage = papers::show;
    "site": Read, AskSite => SitePage = papers_site::show;
    "set-field": Papers, SetField => Recorded = papers::set_field;
    "put-entry": Papers, PutEntry => Recorded = papers::put_entry;
    "retire-entry": Papers, RetireEntry => Recorded = papers::retire;
    "record-calibration": Papers, EnterCalibration => Recorded = papers::record_calibration;
    "choose-claim": Papers, ChooseClaim => Recorded = papers::choose;
    "undo-change": Papers, UndoChange => Recorded = papers::undo;
    "plan-text": Read, Nothing => PlanText = papers::plan_text;
    "take-plan": Papers, PlanText => PlanTaken = papers::take_plan;
    "instruments": Instrument, Nothing => InstrumentsPage = instruments::list;
    "place-instrument": Instrument, PlaceInstrument => InstrumentsPage = instruments::place;
    "try-instrument": Instrument, TryInstrument => InstrumentMet = instruments::meet;
    "ask-instrument": Instrument, AskInstrument => LiveReading = instruments::ask;
    "propose-level": Instrument, ProposeLevel => LevelProposed = instruments::propose;
    "agree-to-level": Instrument, AgreeToLevel => LevelSet = instruments::agree;
    "import-rows": Papers, ImportRows => ImportSeen = papers_import::import;
    "bench-topics": Read, Nothing => BenchTopics = bench::list;
    "bench": Read, BenchQuestion => BenchAnswer = bench::calculate;
    }
    away {
        "fetch-attachments": Device, AskSession => SessionPage = attachments::fetch;
        "exchange": Device, ExchangeWith => ExchangeReport = today::exchange;
        "members": Device, Nothing => MembersPage = members::show;
        "found-roster": Device, Nothing => MembersPage = members::found;
        "share": Device, Share => MembersPage = members::share;
        "invite": Device, Nothing => MembersPage = members::invite;
        "admit": Device, Admit => MembersPage = members::admit;
        "revoke": Device, Revoke => MembersPage = members::revoke;
        "short-code": Device, UseInvitation => ShortCode = members::short;
        "join": Device, UseInvitation => MembersPage = members::join;
    }
}

/// Refuses a command that whoever asks may not give. One that is not there, no browser is told of.
pub fn demand(node: &Node, command: &str) -> Result<(), Refusal> {
    match COMMANDS.iter().find(|(name, _)| *name == command) {
        Some((_, right)) => rights::demand(node, *right),
        None if node.visitor().is_some() => Err(rights::lacks(node)),
        None => Ok(()),
    }
}

/// Carries out a command, and answers in English.
pub async fn call(node: &Node, command: &str, body: Value) -> Result<Value, Refusal> {
    call_in(node, Language::English, command, body).await
}

/// The same, answered in a language.
pub async fn call_in(
    node: &Node,
    language: Language,
    command: &str,
    mut body: Value,
) -> Result<Value, Refusal> {
    demand(node, command)?;
    let asker = Asker::new(node, language);
    if let Some(done) = away(&asker, command, &mut body).await {
        return done;
    }
    let command = command.to_owned();
    node.on_disk(move |_| here(&asker, &command, body)).await
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
