//! The command line: one command a file, arguments in, text and an exit code out.
//!
//! Exit codes: 0 done, 1 could not be done, 2 wrong input. Errors go to standard error, each with
//! what to do next.

mod attach;
mod bench;
mod browser;
mod bundle;
mod day;
pub mod demo;
mod encrypt;
mod exchange;
mod export;
mod fleet;
mod history;
mod instrument;
pub mod judge;
mod keep;
mod move_out;
mod paper;
mod papers;
mod repair;
mod report;
mod roster;
mod serve;
mod settings;
mod sweep;
mod upkeep;
mod verify;

use std::io::IsTerminal as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand};

use crate::at_rest::{self, EncryptionError, Passphrase};
use crate::render::Typesetter;
use crate::store::{OpenError, demand};
use crate::{Node, NodeRefused};

/// Records what a repeater's site check found, judges it, and merges it with the other nodes'.
#[derive(Debug, Parser)]
#[command(name = "guyline", version, about)]
struct Guyline {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Serves a node's screens, and answers other nodes, until it is stopped.
    Serve(settings::ServeArgs),
    /// Makes a node and another one level.
    Exchange(exchange::ExchangeArgs),
    /// Carries everything a node holds to another one in a file, for a stick.
    Bundle(bundle::BundleArgs),
    /// Shows the shop's devices, or takes one off.
    Roster(roster::RosterArgs),
    /// Lets another device in to the shop.
    Invite(roster::InviteArgs),
    /// Comes in to a shop with an invitation.
    Join(roster::JoinArgs),
    /// Says or changes what a device keeps: everything, or the visits to wanted sites only.
    Keep(keep::KeepArgs),
    /// Lets a browser in to this hub's screens, lists those that were, or ends one.
    Browser(browser::BrowserArgs),
    /// Judges a session given as plain JSON, without a database.
    Judge(judge::JudgeArgs),
    /// Calculates one thing from plain JSON, without a database.
    Bench(bench::BenchArgs),
    /// Tells what happened in a session, step by step, or shows it as it was after a step.
    History(history::HistoryArgs),
    /// Attaches a photograph, a sweep, a recording or a certificate to a session.
    Attach(attach::AttachArgs),
    /// Tells what is attached to a session, or writes it into a file.
    Attachment(attach::AttachmentArgs),
    /// Writes a visit's report into a file.
    Report(report::ReportArgs),
    /// Writes a site's report, of all its repeaters and visits, into a file.
    SiteReport(report::SiteReportArgs),
    /// Writes what all crews found on a day into a file. Nothing is sent.
    DayEnd(report::DayEndArgs),
    /// Tells what each check does over the years at every repeater, the worst first.
    Fleet(fleet::FleetArgs),
    /// Checks a sign-off or a report against the record, and tells what was changed since.
    Verify(verify::VerifyArgs),
    /// The shop's own plan, out as a text and in again.
    Plan(papers::PlanArgs),
    /// Takes readings, sites or due dates out, for other programs.
    Export(export::ExportArgs),
    /// Takes parts, instruments or sites in from a list of comma-separated values.
    Import(papers::ImportArgs),
    /// Writes a sweep's Touchstone file anew, in another version, unit or number format.
    Sweep(sweep::SweepArgs),
    /// Asks an instrument that speaks SCPI, or plays one.
    Instrument(instrument::InstrumentArgs),
    /// Reads everything in a store again and names what is damaged.
    Inspect(upkeep::InspectArgs),
    /// Makes a new store from what a damaged one still holds, and says what is lost.
    Repair(repair::RepairArgs),
    /// Makes a store as small as it can be without losing anything.
    Compact(upkeep::CompactArgs),
    /// Copies a store into one file, also while it is in use.
    Backup(upkeep::BackupArgs),
    /// Makes a store from such a copy.
    Restore(upkeep::RestoreArgs),
    /// Makes a store's files readable with a passphrase only, or readable again.
    Encrypt(encrypt::EncryptArgs),
    /// Moves a hub's store into a PostgreSQL database, for several processes at once.
    Move(move_out::MoveArgs),
    /// Plays a working day from files.
    Demo(demo::DemoArgs),
}

/// Where a command's node keeps its store.
#[derive(Debug, Args)]
struct DataArgs {
    /// The folder of the node's store; it is made where there is none
    #[arg(long = "data", value_name = "DIR")]
    dir: PathBuf,
    #[command(flatten)]
    unlocking: Unlocking,
}

/// What opens a store that is encrypted.
#[derive(Debug, Clone, Default, Args)]
struct Unlocking {
    /// A file that holds the passphrase of an encrypted store; without it a terminal is asked
    #[arg(long, env = "GUYLINE_PASSPHRASE_FILE", value_name = "FILE")]
    passphrase_file: Option<PathBuf>,
}

impl Unlocking {
    fn with_file(passphrase_file: Option<PathBuf>) -> Self {
        Self { passphrase_file }
    }

    /// The passphrase of a folder, or of the copy of a store; none where it is not encrypted.
    fn passphrase(&self, encrypted: bool) -> Result<Option<Passphrase>, EncryptionError> {
        match (encrypted, &self.passphrase_file) {
            (false, _) => Ok(None),
            (true, Some(file)) => Passphrase::from_file(file).map(Some),
            (true, None) => asked("Passphrase: "),
        }
    }
}

/// A passphrase typed at the terminal, unseen; none where there is no terminal.
fn asked(prompt: &str) -> Result<Option<Passphrase>, EncryptionError> {
    if !std::io::stdin().is_terminal() {
        return Ok(None);
    }
    let typed = rpassword::prompt_password(prompt)
        .map_err(|source| EncryptionError::File { path: "the terminal".into(), source })?;
    Passphrase::new(&typed).map(Some)
}

/// Runs the command line. The typesetter makes its PDF files.
pub fn run(typesetter: Typesetter) -> ExitCode {
    match Guyline::parse().command {
        Command::Serve(args) => serve::run(&args, typesetter),
        Command::Exchange(args) => exchange::run(&args),
        Command::Bundle(args) => bundle::run(&args),
        Command::Roster(args) => roster::roster(&args),
        Command::Invite(args) => roster::invite(&args),
        Command::Join(args) => roster::join_shop(&args),
        Command::Keep(args) => keep::run(&args),
        Command::Browser(args) => browser::run(&args),
        Command::Judge(args) => judge::run(&args),
        Command::Bench(args) => bench::run(&args),
        Command::History(args) => history::run(&args),
        Command::Attach(args) => attach::attach(&args),
        Command::Attachment(args) => attach::attachment(&args),
        Command::Report(args) => report::run(&args, typesetter),
        Command::SiteReport(args) => report::site(&args, typesetter),
        Command::DayEnd(args) => report::day_end(&args, typesetter),
        Command::Fleet(args) => fleet::run(&args),
        Command::Verify(args) => verify::run(&args, typesetter),
        Command::Plan(args) => papers::plan(&args),
        Command::Export(args) => export::run(&args),
        Command::Import(args) => papers::import(&args),
        Command::Sweep(args) => sweep::run(&args),
        Command::Instrument(args) => instrument::run(&args),
        Command::Inspect(args) => upkeep::inspect(&args),
        Command::Repair(args) => repair::run(&args),
        Command::Compact(args) => upkeep::compact(&args),
        Command::Backup(args) => upkeep::backup(&args),
        Command::Restore(args) => upkeep::restore(&args),
        Command::Encrypt(args) => encrypt::run(&args),
        Command::Move(args) => move_out::run(&args),
        Command::Demo(args) => demo::run(&args),
    }
}

/// Says what could not be done and what to do next.
fn could_not(what: &str, error: &dyn std::error::Error, help: &str) -> ExitCode {
    eprintln!("could not {what}: {error}\n  help: {help}");
    ExitCode::FAILURE
}

fn open(data: &DataArgs) -> Result<Node, ExitCode> {
    open_dir(&data.dir, &data.unlocking)
}

fn open_dir(dir: &Path, unlocking: &Unlocking) -> Result<Node, ExitCode> {
    unlocked(dir, unlocking).map_err(|error| could_not("open the node", &error, error.help()))
}

fn unlocked(dir: &Path, unlocking: &Unlocking) -> Result<Node, NodeRefused> {
    let passphrase = at_rest::is_encrypted(dir)
        .and_then(|encrypted| unlocking.passphrase(encrypted))
        .map_err(OpenError::from)?;
    match passphrase {
        Some(passphrase) => Node::unlock(dir, &passphrase),
        None => Node::open(dir),
    }
}

/// Opens a store that must be there: a mistyped folder must not become a new, empty one.
fn open_existing(data: &DataArgs) -> Result<Node, ExitCode> {
    demand(&data.dir).map_err(|error| could_not("open the store", &error, error.help()))?;
    open(data)
}

/// What a command found, as JSON.
fn json(value: &impl serde::Serialize) -> String {
    serde_json::to_string_pretty(value).expect("text keys and finite numbers only")
}

/// Shows a text for a camera; in a terminal in colours that do not depend on its own.
fn show_qr(text: &str) {
    match crate::render::qr::half_blocks(text, std::io::stdout().is_terminal()) {
        Some(code) => print!("{code}"),
        None => eprintln!("it is too long for a QR code: copy the line"),
    }
}

/// Runs a command that waits for the network.
fn in_runtime(work: impl Future<Output = ExitCode>) -> ExitCode {
    match tokio::runtime::Runtime::new() {
        Ok(runtime) => runtime.block_on(work),
        Err(error) => could_not("start", &error, "close other programs and try again"),
    }
}
