//! `guyline repair`: a new store from what a damaged one still holds, and from a copy, a bundle or
//! a node.
//!
//! Ends with 0 where everything that is known to have been there is back, and with 1 where
//! something is missing, which it names.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use super::{DataArgs, could_not, in_runtime, open, unlocked};
use crate::Node;
use crate::at_rest::{EncryptionError, Passphrase, is_encrypted};
use crate::attachments::upkeep::Standing;
use crate::repair::{Lost, RepairError, Repaired, Unpacked, repair, unpack};
use crate::store::demand_file;
use crate::sync::bundle;

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct RepairArgs {
    #[command(flatten)]
    data: DataArgs,
    /// A file that `guyline backup` or `guyline bundle out` made, or the address of a node that
    /// holds the same documents
    #[arg(long, value_name = "COPY-BUNDLE-or-ADDRESS")]
    from: Option<String>,
}

/// Where what is lost is to come from.
enum Source {
    Nowhere,
    Copy(PathBuf),
    /// This device's own, which is as good as a copy.
    OwnBundle(Unpacked),
    Bundle(PathBuf),
    Address(String),
}

impl Source {
    fn of(
        dir: &Path,
        from: Option<&str>,
        passphrase: Option<&Passphrase>,
    ) -> Result<Self, RepairError> {
        let Some(from) = from else {
            return Ok(Self::Nowhere);
        };
        let path = PathBuf::from(from);
        if !path.exists() {
            return Ok(Self::Address(from.to_owned()));
        }
        if !is_bundle(&path) {
            return Ok(Self::Copy(path));
        }
        Ok(unpack(dir, &path, passphrase)?.map_or(Self::Bundle(path), Self::OwnBundle))
    }

    fn copy(&self) -> Option<PathBuf> {
        match self {
            Self::Copy(path) => Some(path.clone()),
            Self::OwnBundle(unpacked) => Some(unpacked.copy()),
            Self::Nowhere | Self::Bundle(_) | Self::Address(_) => None,
        }
    }
}

/// What opens the folder, where it is encrypted.
fn passphrase_of(data: &DataArgs) -> Result<Option<Passphrase>, EncryptionError> {
    let encrypted = is_encrypted(&data.dir)?;
    data.unlocking.passphrase(encrypted)
}

/// A file that cannot be read is no bundle: whoever takes it for a copy says why.
fn is_bundle(path: &Path) -> bool {
    let mut head = [0; 4];
    File::open(path).and_then(|mut file| file.read_exact(&mut head)).is_ok()
        && bundle::begins(&head)
}

pub(super) fn run(args: &RepairArgs) -> ExitCode {
    let dir = &args.data.dir;
    if let Err(error) = demand_file(dir) {
        return could_not("repair", &error, error.help());
    }
    if is_whole(&args.data) {
        println!("{} is whole: nothing to repair, and nothing was changed", dir.display());
        return ExitCode::SUCCESS;
    }
    let passphrase = match passphrase_of(&args.data) {
        Ok(passphrase) => passphrase,
        Err(error) => return could_not("repair", &error, error.help()),
    };
    let passphrase = passphrase.as_ref();
    let done = Source::of(dir, args.from.as_deref(), passphrase).and_then(|source| {
        let repaired = repair(dir, source.copy().as_deref(), passphrase)?;
        Ok((repaired, source))
    });
    let (repaired, source) = match done {
        Ok(done) => done,
        Err(error) => return could_not("repair", &error, error.help()),
    };
    told(&repaired);
    let lost = match ask(&args.data, &source, &repaired.lost) {
        Ok(lost) => lost,
        Err(code) => return code,
    };
    told_contents(&args.data);
    still_lost(&lost)
}

/// Attachments lie beside the store and stay as they are: says how they stand.
fn told_contents(data: &DataArgs) {
    let node = match open(data) {
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
fn is_whole(data: &DataArgs) -> bool {
    let inspected = unlocked(&data.dir, &data.unlocking).ok().and_then(|node| node.inspect().ok());
    inspected.is_some_and(|found| found.problems.is_empty())
}

fn told(repaired: &Repaired) {
    let Repaired { aside, documents, changes, from_copy, cut_off, same_node, .. } = repaired;
    println!("the damaged files are in {}, as they were", aside.display());
    println!("{changes} changes of {documents} documents are in the new store");
    if *from_copy > 0 {
        println!("  {from_copy} of what was read came from the copy alone");
    }
    if *cut_off > 0 {
        println!(
            "  {cut_off} bytes are missing at the end of the damaged file: more may have been \
             there than anything in it tells of"
        );
    }
    if !same_node {
        println!("  who this node was could not be read: give it its name again");
    }
}

/// What is missing after the source was asked, where it is one that is asked only now.
fn ask(data: &DataArgs, source: &Source, lost: &[Lost]) -> Result<Vec<Lost>, ExitCode> {
    let node = open(data)?;
    let code = match source {
        Source::Nowhere | Source::Copy(_) | Source::OwnBundle(_) => ExitCode::SUCCESS,
        Source::Bundle(path) => take_bundle(&node, path),
        Source::Address(address) => ask_node(&node, address.clone()),
    };
    if code != ExitCode::SUCCESS {
        println!("the new store is in place; exchange with a node to get back what is missing");
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

fn take_bundle(node: &Node, path: &Path) -> ExitCode {
    let taken = File::open(path)
        .map_err(bundle::BundleRefused::File)
        .and_then(|mut file| bundle::take(node, &mut file));
    match taken {
        Ok(taken) => {
            println!("{} changes came from the bundle of {}", taken.taken, taken.device);
            ExitCode::SUCCESS
        }
        Err(error) => could_not("take the bundle", &error, error.help()),
    }
}

fn ask_node(node: &Node, address: String) -> ExitCode {
    let node = node.clone();
    in_runtime(async move {
        match node.exchange_with(&address).await {
            Ok(report) => {
                let (changes, name) = (report.received_changes, report.peer_name);
                println!("{changes} changes came from {name}");
                ExitCode::SUCCESS
            }
            Err(error) => could_not("ask the other node", &error, error.help()),
        }
    })
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
         --from a copy or a bundle made before",
        lost.len()
    );
    ExitCode::FAILURE
}
