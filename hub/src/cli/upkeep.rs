//! `guyline inspect`, `backup` and `restore`: a store looked through, copied, and made from a copy.

use std::path::PathBuf;
use std::process::ExitCode;

use super::{DataArgs, could_not, json, open_existing};
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
        "{} problems\n  help: keep a copy of the folder; make a store from a backup, or start a \
         new one and exchange with a node that holds the same documents",
        problems.len()
    );
    ExitCode::FAILURE
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
