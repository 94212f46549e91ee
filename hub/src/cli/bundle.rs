//! `guyline bundle`: everything a node holds in one sealed file for a stick, and out of one again.

use std::fs::File;
use std::io::{BufReader, BufWriter};
use std::path::PathBuf;
use std::process::ExitCode;

use super::{DataArgs, could_not, open, open_existing};
use crate::sync::bundle::{BundleRefused, take, write};

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct BundleArgs {
    #[command(subcommand)]
    way: Way,
}

#[derive(Debug, clap::Subcommand)]
enum Way {
    /// Writes everything this node holds into a new file.
    Out(FileArgs),
    /// Takes what is new out of a file.
    In(FileArgs),
}

#[derive(Debug, clap::Args)]
struct FileArgs {
    #[command(flatten)]
    data: DataArgs,
    /// The bundle's file
    file: PathBuf,
}

pub(super) fn run(args: &BundleArgs) -> ExitCode {
    match &args.way {
        Way::Out(args) => write_out(args),
        Way::In(args) => take_in(args),
    }
}

fn write_out(args: &FileArgs) -> ExitCode {
    let node = match open_existing(&args.data) {
        Ok(node) => node,
        Err(code) => return code,
    };
    let file = match File::create_new(&args.file) {
        Ok(file) => file,
        Err(error) => {
            let help = "name a file that is not there yet, in a folder you may write in";
            return could_not(&format!("make {}", args.file.display()), &error, help);
        }
    };
    let written = write(&node, &mut BufWriter::new(&file))
        .and_then(|written| Ok(file.sync_all().map(|()| written)?));
    match written {
        Ok(written) => {
            let (changes, bytes) = (written.changes, written.bytes);
            let contents = written.carried.contents;
            let file = args.file.display();
            println!("{file}: {changes} changes, {contents} attachments, {bytes} bytes");
            ExitCode::SUCCESS
        }
        Err(error) => {
            // Half a bundle would be refused anyway. The first fault is the one to tell.
            let _ = std::fs::remove_file(&args.file);
            refused("write the bundle", &error)
        }
    }
}

fn take_in(args: &FileArgs) -> ExitCode {
    let node = match open(&args.data) {
        Ok(node) => node,
        Err(code) => return code,
    };
    let file = match File::open(&args.file) {
        Ok(file) => file,
        Err(error) => return refused("open the bundle", &BundleRefused::File(error)),
    };
    match take(&node, &mut BufReader::new(file)) {
        Ok(taken) => {
            println!("sealed by {}, key {}", taken.device, taken.key.short());
            println!("{} changes were new, in {} papers", taken.taken, taken.documents.len());
            if taken.contents > 0 {
                println!("{} attachments were taken", taken.contents);
            }
            if taken.set_aside > 0 {
                println!("{} changes were malformed and stand aside", taken.set_aside);
            }
            ExitCode::SUCCESS
        }
        Err(error) => refused("take the bundle", &error),
    }
}

fn refused(what: &str, error: &BundleRefused) -> ExitCode {
    could_not(what, error, error.help())
}
