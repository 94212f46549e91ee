//! `guyline export`: readings, sites or due dates as a file for other programs.
//!
//! The file's name says its form: `.csv`, `.json`, `.parquet`, `.geojson`, `.ics`. It is written
//! whole or not at all, and never over one that is there. `--schema` prints the JSON Schema of a
//! file of readings. A visit that could not be read is named on standard error, and the exit code
//! is 1 though the file is there.

use std::path::PathBuf;
use std::process::ExitCode;

use super::report::write;
use super::{DataArgs, Unlocking, could_not, json, open_existing};
use crate::desk::{MadeData, WantedData, readings_schema, take_out};
use crate::takeout::{DataForm, TakenOut};

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct ExportArgs {
    /// The folder of the node's store
    #[arg(long = "data", value_name = "DIR", required_unless_present = "schema")]
    dir: Option<PathBuf>,
    #[command(flatten)]
    unlocking: Unlocking,
    /// The file to write; it must not be there yet
    #[arg(long, value_name = "FILE", required_unless_present = "schema")]
    out: Option<PathBuf>,
    /// What to take out; without it, what the form is for
    #[arg(long)]
    of: Option<TakenOut>,
    /// The form; without it, what the file's name ends with
    #[arg(long = "as", value_name = "FORM")]
    form: Option<DataForm>,
    /// Tell where sites stand: strangers can read it too
    #[arg(long)]
    positions: bool,
    /// Print the JSON Schema of a file of readings instead
    #[arg(long)]
    schema: bool,
}

pub(super) fn run(args: &ExportArgs) -> ExitCode {
    if args.schema {
        println!("{}", json(&readings_schema()));
        return ExitCode::SUCCESS;
    }
    let (Some(dir), Some(out)) = (&args.dir, &args.out) else {
        unreachable!("clap demands both without --schema");
    };
    let end = out.extension().and_then(|end| end.to_str());
    let Some(form) = args.form.or_else(|| end.and_then(DataForm::of_extension)) else {
        let what = std::io::Error::other(format!("{} says no form", out.display()));
        let help = "end its name in .csv, .json, .parquet, .geojson or .ics";
        could_not("take data out", &what, help);
        return ExitCode::from(2);
    };
    let of = args.of.unwrap_or(match form {
        DataForm::Geojson => TakenOut::Sites,
        DataForm::Ics => TakenOut::Due,
        DataForm::Csv | DataForm::Json | DataForm::Parquet => TakenOut::Readings,
    });
    let node =
        match open_existing(&DataArgs { dir: dir.clone(), unlocking: args.unlocking.clone() }) {
            Ok(node) => node,
            Err(code) => return code,
        };
    let made = match take_out(&node, WantedData { of, form, positions: args.positions }) {
        Ok(made) => made,
        Err(refusal) => {
            eprintln!("could not take data out: {refusal}");
            return ExitCode::FAILURE;
        }
    };
    if let Err(error) = write(out, &made.bytes) {
        let help = "name a file that is not there yet, in a folder you may write in";
        return could_not(&format!("write {}", out.display()), &error, help);
    }
    told(out, of, &made)
}

fn told(out: &std::path::Path, of: TakenOut, made: &MadeData) -> ExitCode {
    let (entries, bytes) = (made.entries, made.bytes.len());
    println!("{}: {} of {entries} entries, {bytes} bytes", out.display(), of.name());
    for visit in &made.unread {
        eprintln!("visit {} could not be read and is not in it: {}", visit.session, visit.why);
    }
    match made.unread.is_empty() {
        true => ExitCode::SUCCESS,
        false => {
            eprintln!(
                "  help: run guyline inspect, or merge with a device that has the visit whole"
            );
            ExitCode::FAILURE
        }
    }
}
