//! `guyline roster`, `invite` and `join`: which devices belong to the shop, and how one comes in.
//!
//! `invite` shares until somebody has come in or nobody did; who lets in compares the code on both
//! sides and answers on the terminal. A device taken off the roster stays off: a new key comes in
//! anew.

use std::io::{BufRead, Write};
use std::net::SocketAddr;
use std::process::ExitCode;
use std::time::{Duration, Instant};

use super::{DataArgs, could_not, in_runtime, json, open, open_existing};
use crate::Node;
use crate::desk::{HeldLine, Refusal, held};
use crate::identity::{Invitation, PublicKey, Role};
use crate::sync::members::{code_with, join};

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct RosterArgs {
    #[command(flatten)]
    data: DataArgs,
    /// Make the shop's root key here, and put this device on the roster
    #[arg(long)]
    found: bool,
    /// Take the device with this key off the roster
    #[arg(long, value_name = "KEY", requires = "reason")]
    revoke: Option<String>,
    /// Why it is taken off
    #[arg(long)]
    reason: Option<String>,
    /// List the changes that wait for somebody to look at them
    #[arg(long)]
    held: bool,
    /// Take what waits of the device with this key, after you looked at it
    #[arg(long, value_name = "KEY")]
    take_held: Option<String>,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct InviteArgs {
    #[command(flatten)]
    data: DataArgs,
    /// Where the other device reaches this one, as 192.0.2.7:4771
    #[arg(long, value_name = "ADDRESS")]
    share: SocketAddr,
    /// For an office's device and not a crew's
    #[arg(long, conflicts_with = "read_only")]
    office: bool,
    /// For a device that shows what is there and enters nothing
    #[arg(long)]
    read_only: bool,
    /// Show the invitation as a QR code too, for the other device's camera
    #[arg(long)]
    qr: bool,
}

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct JoinArgs {
    #[command(flatten)]
    data: DataArgs,
    /// The line the other device shows
    invitation: String,
}

/// So long an invitation waits on a terminal.
const WAITS: Duration = Duration::from_secs(600);

pub(super) fn roster(args: &RosterArgs) -> ExitCode {
    let node = match open_existing(&args.data) {
        Ok(node) => node,
        Err(code) => return code,
    };
    if args.held {
        return match held(&node) {
            Ok(lines) => show_held(&lines, args.json),
            Err(refusal) => refused("list what waits", &refusal),
        };
    }
    match changed(&node, args) {
        Ok(()) => {
            if let Some(fault) = node.roster_fault() {
                eprintln!("nobody is admitted here: {fault}");
            }
            let members = node.members();
            if args.json {
                println!("{}", json(&members));
            } else if members.is_empty() {
                println!("this device is on no shop's roster");
            }
            for member in members.iter().filter(|_| !args.json) {
                let off = member.revoked.as_ref().map(|why| format!(", taken off: {why}"));
                println!("{}  {}{}", member.whole_key, member.name, off.unwrap_or_default());
            }
            ExitCode::SUCCESS
        }
        Err(refusal) => refused("change the roster", &refusal),
    }
}

fn changed(node: &Node, args: &RosterArgs) -> Result<(), Refusal> {
    if args.found {
        node.found_shop()?;
    }
    if let Some(key) = &args.take_held {
        let taken = node.take_held(key_of(key)?)?;
        println!("{taken} changes were taken");
    }
    let Some(key) = &args.revoke else { return Ok(()) };
    node.revoke(key_of(key)?, args.reason.as_deref().unwrap_or_default())
}

fn key_of(text: &str) -> Result<PublicKey, Refusal> {
    text.parse().map_err(|_| {
        let help = "copy the key from the list: 64 digits";
        Refusal::new(crate::desk::Code::NotHere, "that is no device's key", help)
    })
}

fn show_held(lines: &[HeldLine], as_json: bool) -> ExitCode {
    if as_json {
        println!("{}", json(&lines));
    } else if lines.is_empty() {
        println!("nothing waits");
    }
    for line in lines.iter().filter(|_| !as_json) {
        let key = line.key.as_deref().unwrap_or("no seal");
        let device = line.device.as_deref().unwrap_or("a device nobody here knows");
        println!("{key}  {device}");
        println!("  {} changes in {} papers: {}", line.changes, line.documents, line.reason);
    }
    ExitCode::SUCCESS
}

pub(super) fn invite(args: &InviteArgs) -> ExitCode {
    let node = match open_existing(&args.data) {
        Ok(node) => node,
        Err(code) => return code,
    };
    in_runtime(async {
        let address = match node.share(args.share).await {
            Ok(address) => address,
            Err(error) => return could_not("share", &error, error.help()),
        };
        let invitation = match node.invite(vec![address.to_string()]) {
            Ok(invitation) => invitation,
            Err(refusal) => return refused("invite", &refusal),
        };
        println!("{invitation}");
        if args.qr {
            super::show_qr(&invitation.to_string());
        }
        let role = match (args.office, args.read_only) {
            (true, _) => Role::Office,
            (_, true) => Role::ReadOnly,
            _ => Role::Crew,
        };
        let code = wait_for_guest(&node, role).await;
        node.share_no_more().await;
        code
    })
}

async fn wait_for_guest(node: &Node, role: Role) -> ExitCode {
    let until = Instant::now() + WAITS;
    while Instant::now() < until {
        if let Some((name, short)) = node.at_door() {
            println!("{name} is at the door. Does it show {short}? Write yes to let it in.");
            // A terminal that is gone cannot answer: then nobody is let in.
            let _nobody_reads = std::io::stdout().flush();
            let answer = tokio::task::spawn_blocking(|| {
                let mut line = String::new();
                std::io::stdin().lock().read_line(&mut line).map(|_| line)
            });
            let said_yes = matches!(answer.await, Ok(Ok(line)) if line.trim() == "yes");
            if !said_yes {
                node.close_door();
                println!("nobody was let in");
                return ExitCode::FAILURE;
            }
            return match node.admit(&short, role) {
                Ok(()) => {
                    println!("{name} belongs to the shop");
                    // The other side asks once more, to hear that it was let in.
                    tokio::time::sleep(Duration::from_secs(3)).await;
                    ExitCode::SUCCESS
                }
                Err(refusal) => refused("let it in", &refusal),
            };
        }
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
    println!("nobody came");
    ExitCode::FAILURE
}

pub(super) fn join_shop(args: &JoinArgs) -> ExitCode {
    let node = match open(&args.data) {
        Ok(node) => node,
        Err(code) => return code,
    };
    let invitation: Invitation = match args.invitation.parse() {
        Ok(invitation) => invitation,
        Err(error) => {
            return could_not("come in", &error, "copy the whole line the other device shows");
        }
    };
    println!("the other device must show {}", code_with(&node, &invitation));
    in_runtime(async {
        match join(&node, &invitation).await {
            Ok(()) => {
                println!("this device belongs to the shop");
                ExitCode::SUCCESS
            }
            Err(error) => could_not("come in", &error, error.help()),
        }
    })
}

fn refused(what: &str, refusal: &Refusal) -> ExitCode {
    eprintln!("could not {what}: {refusal}");
    ExitCode::FAILURE
}
