//! `guyline plan` and `guyline import`: the shop's plan as a text, and lists taken in.
//!
//! A wrong plan is refused as `FILE:LINE:COLUMN: what would be right`, one line a fault, and exit
//! code 2; a list is only looked at unless `--take` is given.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, Subcommand, ValueEnum};
use guyline_core::record::Author;

use super::{DataArgs, could_not, open_existing};
use crate::Node;
use crate::desk::{self, ImportSeen, Imported, Refusal, WrongCell};

/// What the command line asks of the plan.
#[derive(Debug, Args)]
pub(super) struct PlanArgs {
    #[command(subcommand)]
    way: Way,
}

#[derive(Debug, Subcommand)]
enum Way {
    /// Prints what the shop changes on the shipped plan, and adds to it.
    Export {
        #[command(flatten)]
        data: DataArgs,
    },
    /// Makes a text the shop's plan.
    Import {
        #[command(flatten)]
        data: DataArgs,
        #[command(flatten)]
        by: ByArgs,
        /// The plan as TOML; `-` reads standard input
        file: PathBuf,
    },
}

/// In whose name something is written.
#[derive(Debug, Args)]
struct ByArgs {
    /// The person's id; who holds the device where it is left out
    #[arg(long = "by", value_name = "PERSON")]
    person: Option<String>,
}

/// What the command line asks of a list.
#[derive(Debug, Args)]
pub(super) struct ImportArgs {
    #[command(flatten)]
    data: DataArgs,
    #[command(flatten)]
    by: ByArgs,
    /// What the rows are
    of: Rows,
    /// The list; its first row names the columns
    file: PathBuf,
    /// Take the good rows; without it they are only looked at
    #[arg(long)]
    take: bool,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Rows {
    Parts,
    Instruments,
    Sites,
}

pub(super) fn plan(args: &PlanArgs) -> ExitCode {
    let (Way::Export { data } | Way::Import { data, .. }) = &args.way;
    let node = match open_existing(data) {
        Ok(node) => node,
        Err(code) => return code,
    };
    match &args.way {
        Way::Export { .. } => match desk::export_plan(&node) {
            Ok(text) => {
                print!("{text}");
                ExitCode::SUCCESS
            }
            Err(refusal) => refused("write the plan out", &refusal),
        },
        Way::Import { by, file, .. } => match text_of(file) {
            Ok(text) => take_plan(&node, by, file, &text),
            Err(code) => code,
        },
    }
}

fn take_plan(node: &Node, by: &ByArgs, file: &Path, text: &str) -> ExitCode {
    let taken = author(node, by).and_then(|author| desk::import_plan(node, text, &author));
    match taken {
        Ok(taken) if taken.wrong.is_empty() => {
            println!("the shop's plan is taken in");
            ExitCode::SUCCESS
        }
        Ok(taken) => {
            for wrong in &taken.wrong {
                eprintln!("{}:{wrong}", file.display());
            }
            eprintln!("  help: put right what is named; the shop's plan is as it was");
            ExitCode::from(2)
        }
        Err(refusal) => refused("take the plan in", &refusal),
    }
}

pub(super) fn import(args: &ImportArgs) -> ExitCode {
    let node = match open_existing(&args.data) {
        Ok(node) => node,
        Err(code) => return code,
    };
    let text = match text_of(&args.file) {
        Ok(text) => text,
        Err(code) => return code,
    };
    let of = match args.of {
        Rows::Parts => Imported::Parts,
        Rows::Instruments => Imported::Instruments,
        Rows::Sites => Imported::Sites,
    };
    let author = match args.take.then(|| author(&node, &args.by)).transpose() {
        Ok(author) => author,
        Err(refusal) => return refused("take the list in", &refusal),
    };
    match desk::import_rows(&node, of, &text, author.as_ref()) {
        Ok(seen) => {
            print!("{}", told(&args.file, &seen, args.take));
            if seen.wrong.is_empty() { ExitCode::SUCCESS } else { ExitCode::from(2) }
        }
        Err(refusal) => refused("take the list in", &refusal),
    }
}

/// What a list holds, line by line.
fn told(file: &Path, seen: &ImportSeen, take: bool) -> String {
    let mut out = String::new();
    for WrongCell { line, column, what } in &seen.wrong {
        let column = column.as_ref().map(|column| format!(" {column}:")).unwrap_or_default();
        out.push_str(&format!("{}:{line}:{column} {what}\n", file.display()));
    }
    let good = seen.good.len();
    match take {
        true => out.push_str(&format!("{} of {good} good rows taken in\n", seen.taken)),
        false => out.push_str(&format!(
            "{good} good rows, {} problems; nothing taken in yet\n  help: --take takes the good \
             rows\n",
            seen.wrong.len()
        )),
    }
    out
}

fn author(node: &Node, by: &ByArgs) -> Result<Author, Refusal> {
    match &by.person {
        Some(person) => {
            let device = node.name().map_err(Refusal::from)?;
            Ok(Author { person: person.clone(), device, at: node.now() })
        }
        None => desk::author(node),
    }
}

fn text_of(file: &Path) -> Result<String, ExitCode> {
    let text = match file.to_str() {
        Some("-") => std::io::read_to_string(std::io::stdin()),
        _ => std::fs::read_to_string(file),
    };
    text.map_err(|error| {
        could_not(&format!("read {}", file.display()), &error, "name a text file in UTF-8")
    })
}

fn refused(what: &str, refusal: &Refusal) -> ExitCode {
    eprintln!("could not {what}: {refusal}");
    ExitCode::FAILURE
}
