//! `guyline inspect`, `compact`, `backup` and `restore`: a store looked through, made small,
//! copied, and made from a copy.

use std::path::PathBuf;
use std::process::ExitCode;

use super::{DataArgs, could_not, json, open_existing};
use crate::documents::Compacted;
use crate::inspection::Inspection;
use crate::store;

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
    let node = match open_existing(&args.data.dir) {
        Ok(node) => node,
        Err(code) => return code,
    };
    match node.inspect() {
        Ok(found) => told(&found, args.json),
        Err(error) => could_not("inspect", &error, "keep a copy of the folder and check the disk"),
    }
}

fn told(found: &Inspection, as_json: bool) -> ExitCode {
    let Inspection { documents, changes, set_aside, problems } = found;
    if as_json {
        println!("{}", json(found));
    } else {
        println!("{documents} documents, {changes} changes, {set_aside} set aside");
        for damage in problems {
            let place = damage.document.as_deref().unwrap_or("the file");
            println!("DAMAGED {place}: {}", damage.found);
        }
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

pub(super) fn compact(args: &CompactArgs) -> ExitCode {
    let node = match open_existing(&args.data.dir) {
        Ok(node) => node,
        Err(code) => return code,
    };
    let size = || std::fs::metadata(store::file(&args.data.dir)).map(|found| found.len());
    let done = size().map_err(|error| error.to_string()).and_then(|before| {
        let compacted = node.compact().map_err(|error| error.to_string())?;
        Ok((before, compacted, size().map_err(|error| error.to_string())?))
    });
    let (before, Compacted { folded, only_here, not_alike }, after) = match done {
        Ok(done) => done,
        Err(what) => {
            let error = std::io::Error::other(what);
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
    match store::backup(&args.data.dir, &args.file) {
        Ok(()) => {
            println!("copied {} into {}", args.data.dir.display(), args.file.display());
            ExitCode::SUCCESS
        }
        Err(error) => could_not("back up", &error, error.help()),
    }
}

pub(super) fn restore(args: &RestoreArgs) -> ExitCode {
    match store::restore(&args.file, &args.data.dir) {
        Ok(()) => {
            println!("made a store in {} from {}", args.data.dir.display(), args.file.display());
            ExitCode::SUCCESS
        }
        Err(error) => could_not("restore", &error, error.help()),
    }
}
