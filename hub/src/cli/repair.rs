//! `guyline repair`: a new store from what a damaged one still holds, and from a copy or a node.
//!
//! Ends with 0 where everything that is known to have been there is back, and with 1 where
//! something is missing, which it names.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use super::{DataArgs, could_not, in_runtime, open};
use crate::Node;
use crate::attachments::upkeep::Standing;
use crate::repair::{Lost, Repaired, repair};
use crate::store::file;

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct RepairArgs {
    #[command(flatten)]
    data: DataArgs,
    /// A file that `guyline backup` made, or the address of a node that holds the same documents
    #[arg(long, value_name = "COPY-or-ADDRESS")]
    from: Option<String>,
}

pub(super) fn run(args: &RepairArgs) -> ExitCode {
    let dir = &args.data.dir;
    if !file(dir).is_file() {
        let missing = std::io::Error::other(format!("{} holds no store", dir.display()));
        return could_not("repair", &missing, "name the folder of a store with --data");
    }
    if is_whole(dir) {
        println!("{} is whole: nothing to repair, and nothing was changed", dir.display());
        return ExitCode::SUCCESS;
    }
    let copy = args.from.as_ref().map(PathBuf::from).filter(|path| path.exists());
    let repaired = match repair(dir, copy.as_deref()) {
        Ok(repaired) => repaired,
        Err(error) => return could_not("repair", &error, error.help()),
    };
    told(&repaired);
    let address = args.from.as_ref().filter(|_| copy.is_none());
    let lost = match ask(dir, address.map(String::as_str), &repaired.lost) {
        Ok(lost) => lost,
        Err(code) => return code,
    };
    told_contents(dir);
    still_lost(&lost)
}

/// Attachments lie beside the store and stay as they are: says how they stand.
fn told_contents(dir: &Path) {
    let node = match open(dir) {
        Ok(node) => node,
        // What cannot be opened was told of by then.
        Err(_) => return,
    };
    match node.inspect_contents() {
        Ok(Standing { held: 0, absent, unreadable: None, .. }) if absent.is_empty() => {}
        Ok(Standing { held, damaged, absent, unreadable, .. }) => {
            let (damaged, absent) = (damaged.len(), absent.len());
            println!("{held} attachments are beside it, {damaged} damaged");
            println!("{absent} attachments are named and not here");
            unreadable.iter().for_each(|why| println!("attachments cannot be read: {why}"));
        }
        Err(error) => println!("the attachments were not looked at: {error}"),
    }
}

/// Whether the store opens and nothing in it is damaged.
fn is_whole(dir: &Path) -> bool {
    let inspected = Node::open(dir).ok().and_then(|node| node.inspect().ok());
    inspected.is_some_and(|found| found.problems.is_empty())
}

fn told(repaired: &Repaired) {
    let Repaired { aside, documents, changes, from_copy, same_node, .. } = repaired;
    println!("the damaged files are in {}, as they were", aside.display());
    println!("{changes} changes of {documents} documents are in the new store");
    if *from_copy > 0 {
        println!("  {from_copy} of what was read came from the copy alone");
    }
    if !same_node {
        println!("  who this node was could not be read: give it its name again");
    }
}

/// What is missing after the node at an address was asked, where one is given.
fn ask(dir: &Path, address: Option<&str>, lost: &[Lost]) -> Result<Vec<Lost>, ExitCode> {
    let node = open(dir)?;
    if let Some(address) = address {
        let asked = node.clone();
        let code = in_runtime(async move {
            match asked.exchange_with(address).await {
                Ok(report) => {
                    let (changes, name) = (report.received_changes, report.peer_name);
                    println!("{changes} changes came from {name}");
                    ExitCode::SUCCESS
                }
                Err(error) => could_not("ask the other node", &error, error.help()),
            }
        });
        if code != ExitCode::SUCCESS {
            println!("the new store is in place; exchange with a node to get back what is missing");
        }
    }
    let mut still = Vec::new();
    for lost in lost {
        match lost.still(&node) {
            Ok(found) => still.extend(found),
            Err(error) => return Err(could_not("look at the new store", &error, "inspect it")),
        }
    }
    Ok(still)
}

fn still_lost(lost: &[Lost]) -> ExitCode {
    for Lost { document, changes, waiting, whole } in lost {
        let what = if *whole { "nothing of it could be read" } else { "changes are missing" };
        println!("LOST {document}: {what}");
        for change in changes {
            println!("  {change}");
        }
        if *waiting > 0 {
            println!("  {waiting} that build on these wait in the damaged files");
        }
    }
    if lost.is_empty() {
        println!("nothing that is known to have been there is missing");
        return ExitCode::SUCCESS;
    }
    eprintln!(
        "{} documents are not whole\n  help: merge with a node that holds them, or repair again \
         --from a copy made before",
        lost.len()
    );
    ExitCode::FAILURE
}
