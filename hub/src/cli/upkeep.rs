//! `guyline inspect`, `compact`, `backup` and `restore`: a store looked through, made small,
//! copied, and made from a copy.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use super::{DataArgs, Unlocking, could_not, json, open_existing};
use crate::at_rest::{self, Keys};
use crate::attachments::Contents;
use crate::attachments::upkeep::{NotHere, Standing, copy, folder_beside};
use crate::documents::Compacted;
use crate::inspection::Inspection;
use crate::store::{self, BackupError, OpenError};

/// What `inspect` asks.
#[derive(Debug, clap::Args)]
pub(super) struct InspectArgs {
    #[command(flatten)]
    data: DataArgs,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

/// What `compact` asks.
#[derive(Debug, clap::Args)]
pub(super) struct CompactArgs {
    #[command(flatten)]
    data: DataArgs,
}

/// What `backup` asks.
#[derive(Debug, clap::Args)]
pub(super) struct BackupArgs {
    #[command(flatten)]
    data: DataArgs,
    /// The file to make; it must not be there yet
    file: PathBuf,
}

/// What `restore` asks.
#[derive(Debug, clap::Args)]
pub(super) struct RestoreArgs {
    #[command(flatten)]
    data: DataArgs,
    /// A file that `guyline backup` made
    file: PathBuf,
}

/// Ends with 1 where something is damaged.
pub(super) fn inspect(args: &InspectArgs) -> ExitCode {
    let node = match open_existing(&args.data) {
        Ok(node) => node,
        Err(code) => return code,
    };
    let found = node.inspect().and_then(|found| Ok((found, node.inspect_contents()?)));
    match found {
        Ok((found, contents)) => told(&found, &contents, args.json),
        Err(error) => could_not("inspect", &error, "keep a copy of the folder and check the disk"),
    }
}

fn told(found: &Inspection, contents: &Standing, as_json: bool) -> ExitCode {
    let Inspection { documents, changes, set_aside, problems } = found;
    if as_json {
        println!("{}", json(&All { found, attachments: contents }));
    } else {
        println!("{documents} documents, {changes} changes, {set_aside} set aside");
        for damage in problems {
            let place = damage.document.as_deref().unwrap_or("the file");
            println!("DAMAGED {place}: {}", damage.found);
        }
        told_contents(contents);
    }
    if let Some(why) = &contents.unreadable {
        eprintln!(
            "attachments cannot be read: {why}\n  help: check the disk and the folder's rights"
        );
        return ExitCode::FAILURE;
    }
    if problems.is_empty() && !contents.damaged.is_empty() {
        eprintln!(
            "{} attachments are damaged\n  help: merge with a node that holds them: they are \
             fetched anew",
            contents.damaged.len()
        );
        return ExitCode::FAILURE;
    }
    if problems.is_empty() {
        return ExitCode::SUCCESS;
    }
    eprintln!(
        "{} problems\n  help: run guyline repair --data FOLDER, with --from a copy or another \
         node's address",
        problems.len()
    );
    ExitCode::FAILURE
}

/// What is printed as JSON.
#[derive(serde::Serialize)]
struct All<'a> {
    #[serde(flatten)]
    found: &'a Inspection,
    attachments: &'a Standing,
}

fn told_contents(contents: &Standing) {
    let Standing { held, bytes, damaged, unreadable, absent } = contents;
    if let Some(why) = unreadable {
        println!("DAMAGED attachments: {why}");
    }
    if held + (absent.len() as u64) > 0 {
        println!("{held} attachments, {bytes} bytes");
    }
    for hash in damaged {
        println!("DAMAGED attachment {hash}");
    }
    for NotHere { session, attachment, hash } in absent {
        println!("NOT HERE {attachment} of {session}: {hash}");
    }
}

pub(super) fn compact(args: &CompactArgs) -> ExitCode {
    let node = match open_existing(&args.data) {
        Ok(node) => node,
        Err(code) => return code,
    };
    let done =
        node.store_bytes().and_then(|before| Ok((before, node.compact()?, node.store_bytes()?)));
    let (before, Compacted { folded, only_here, not_alike }, after) = match done {
        Ok(done) => done,
        Err(error) => {
            return could_not("compact", &error, "make room on the disk; nothing is lost");
        }
    };
    println!("{before} bytes before, {after} after");
    println!("{folded} documents are kept as one");
    if only_here > 0 {
        println!("{only_here} are kept twice until another node holds them: merge, then again");
    }
    if not_alike > 0 {
        println!(
            "{not_alike} are kept change by change: their saved form would not give them back"
        );
    }
    ExitCode::SUCCESS
}

pub(super) fn backup(args: &BackupArgs) -> ExitCode {
    let (dir, file) = (&args.data.dir, &args.file);
    let done = at_rest::is_encrypted(dir)
        .and_then(|encrypted| args.data.unlocking.passphrase(encrypted))
        .and_then(|passphrase| Keys::of(dir, passphrase.as_ref()))
        .map_err(|error| BackupError::from(OpenError::from(error)))
        .and_then(|keys| {
            store::backup(dir, file, keys.as_ref())?;
            at_rest::keep_beside(dir, file).map_err(OpenError::from)?;
            Ok(keys)
        });
    match done {
        Ok(keys) => {
            println!("copied {} into {}", dir.display(), file.display());
            if keys.is_some() {
                println!(
                    "the copy opens with the same passphrase: keep its .encryption file with it"
                );
            }
            copied(dir, &folder_beside(file), keys.as_ref())
        }
        Err(error) => could_not("back up", &error, error.help()),
    }
}

pub(super) fn restore(args: &RestoreArgs) -> ExitCode {
    let (dir, file) = (&args.data.dir, &args.file);
    match restored(dir, file, &args.data.unlocking) {
        Ok(keys) => {
            println!("made a store in {} from {}", dir.display(), file.display());
            copied(&folder_beside(file), dir, keys.as_ref())
        }
        Err(error) => could_not("restore", &error, error.help()),
    }
}

fn restored(dir: &Path, file: &Path, unlocking: &Unlocking) -> Result<Option<Keys>, BackupError> {
    if store::file(dir).exists() {
        return Err(BackupError::Taken { path: store::file(dir) });
    }
    let keys = unlocking
        .passphrase(at_rest::beside(file).exists())
        .and_then(|passphrase| Keys::beside(file, passphrase.as_ref()))
        .map_err(OpenError::from)?;
    store::restore(file, dir, keys.as_ref())?;
    at_rest::bring_from_beside(file, dir).map_err(OpenError::from)?;
    Ok(keys)
}

/// Copies the attachments beside the store, which a backup's one file does not hold.
fn copied(from: &Path, to: &Path, keys: Option<&Keys>) -> ExitCode {
    let contents = |dir| Contents::of_node(dir, keys);
    match copy(&contents(from), &contents(to)) {
        Ok((0, 0)) => ExitCode::SUCCESS,
        Ok((copied, 0)) => {
            println!("{copied} attachments copied into {}", to.display());
            ExitCode::SUCCESS
        }
        Ok((copied, damaged)) => {
            println!("{copied} attachments copied into {}", to.display());
            eprintln!(
                "{damaged} attachments are damaged and were not copied\n  help: merge with a node \
                 that holds them"
            );
            ExitCode::FAILURE
        }
        Err(error) => could_not("copy the attachments", &error, error.help()),
    }
}
