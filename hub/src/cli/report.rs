//! `guyline report`: a visit's report in a file, sealed by this device.
//!
//! The file is written whole or not at all, and never over one that is there.

use std::fs::OpenOptions;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::ValueEnum;
use guyline_core::report::{Language, Paper};

use super::{DataArgs, could_not, open_existing};
use crate::desk::{Wanted, report_file, session_id};
use crate::render::{FileForm, Typesetter};

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct ReportArgs {
    #[command(flatten)]
    data: DataArgs,
    /// The session's id
    session: String,
    /// The file to write; it must not be there yet
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// The kind of file; without it, what the file's name ends with
    #[arg(long = "as", value_name = "KIND")]
    form: Option<FileForm>,
    /// The language of its fixed words
    #[arg(long, value_enum, default_value = "english")]
    language: LanguageArg,
    /// The size of its sheets
    #[arg(long, value_enum, default_value = "a4")]
    paper: PaperArg,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum LanguageArg {
    English,
    French,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum PaperArg {
    A4,
    Letter,
}

pub(super) fn run(args: &ReportArgs, typesetter: Typesetter) -> ExitCode {
    let named = args.out.extension().and_then(|end| end.to_str()).and_then(FileForm::of_extension);
    let Some(form) = args.form.or(named) else {
        let what = std::io::Error::other(format!("{} says no kind of file", args.out.display()));
        return could_not("write the report", &what, "end its name in .pdf, .html, .txt or .json");
    };
    let node = match open_existing(&args.data.dir) {
        Ok(node) => node.with_typesetter(typesetter),
        Err(code) => return code,
    };
    let wanted = Wanted {
        form,
        language: match args.language {
            LanguageArg::English => Language::English,
            LanguageArg::French => Language::French,
        },
        paper: match args.paper {
            PaperArg::A4 => Paper::A4,
            PaperArg::Letter => Paper::Letter,
        },
    };
    let made = session_id(&args.session).and_then(|id| report_file(&node, id, wanted));
    match made {
        Ok(made) => match write(&args.out, &made.bytes) {
            Ok(()) => {
                println!("{}: {} bytes", args.out.display(), made.bytes.len());
                ExitCode::SUCCESS
            }
            Err(error) => {
                let help = "name a file that is not there yet, in a folder you may write in";
                could_not(&format!("write {}", args.out.display()), &error, help)
            }
        },
        Err(refusal) => {
            eprintln!("could not make the report: {refusal}");
            ExitCode::FAILURE
        }
    }
}

fn write(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut file = OpenOptions::new().write(true).create_new(true).open(path)?;
    let written = file.write_all(bytes).and_then(|()| file.sync_all());
    if written.is_err() {
        // Half a report must not be taken for one. The first fault is the one to tell.
        let _ = std::fs::remove_file(path);
    }
    written
}
