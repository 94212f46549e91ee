//! `guyline report`: a visit's report in a file, sealed by this device. `guyline site-report`: a
//! site's. `guyline day-end`: a day of all crews.
//!
//! A file is written whole or not at all, and never over one that is there.

use std::fs::OpenOptions;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::ValueEnum;
use guyline_core::report::{Language, Paper};

use super::{DataArgs, could_not, open_existing};
use crate::Node;
use crate::desk::{MadeFile, Refusal, Wanted, day_file, report_file, session_id, site_report_file};
use crate::render::{FileForm, Typesetter};

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct ReportArgs {
    #[command(flatten)]
    data: DataArgs,
    /// The session's id
    session: String,
    #[command(flatten)]
    file: FileArgs,
}

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct SiteReportArgs {
    #[command(flatten)]
    data: DataArgs,
    /// The site's id or its name
    site: String,
    #[command(flatten)]
    file: FileArgs,
}

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct DayEndArgs {
    #[command(flatten)]
    data: DataArgs,
    /// The day, as in 2026-05-14; without it, today
    #[arg(long)]
    day: Option<String>,
    #[command(flatten)]
    file: FileArgs,
}

/// What file, and how it is to look.
#[derive(Debug, clap::Args)]
struct FileArgs {
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
    make(&args.data, &args.file, typesetter, |node, wanted| {
        report_file(node, session_id(&args.session)?, wanted)
    })
}

pub(super) fn site(args: &SiteReportArgs, typesetter: Typesetter) -> ExitCode {
    make(&args.data, &args.file, typesetter, |node, wanted| {
        site_report_file(node, &args.site, wanted)
    })
}

pub(super) fn day_end(args: &DayEndArgs, typesetter: Typesetter) -> ExitCode {
    make(&args.data, &args.file, typesetter, |node, wanted| {
        day_file(node, args.day.as_deref(), wanted)
    })
}

fn make(
    data: &DataArgs,
    file: &FileArgs,
    typesetter: Typesetter,
    made: impl FnOnce(&Node, Wanted) -> Result<MadeFile, Refusal>,
) -> ExitCode {
    let Some(wanted) = file.wanted() else {
        let what = std::io::Error::other(format!("{} says no kind of file", file.out.display()));
        return could_not("write the file", &what, "end its name in .pdf, .html, .txt or .json");
    };
    let node = match open_existing(data) {
        Ok(node) => node.with_typesetter(typesetter),
        Err(code) => return code,
    };
    let made = match made(&node, wanted) {
        Ok(made) => made,
        Err(refusal) => {
            eprintln!("could not make the file: {refusal}");
            return ExitCode::FAILURE;
        }
    };
    if let Err(error) = write(&file.out, &made.bytes) {
        let help = "name a file that is not there yet, in a folder you may write in";
        return could_not(&format!("write {}", file.out.display()), &error, help);
    }
    println!("{}: {} bytes", file.out.display(), made.bytes.len());
    ExitCode::SUCCESS
}

impl FileArgs {
    /// What is wanted; none where neither the name nor a choice says the kind of file.
    fn wanted(&self) -> Option<Wanted> {
        let end = self.out.extension().and_then(|end| end.to_str());
        Some(Wanted {
            form: self.form.or_else(|| end.and_then(FileForm::of_extension))?,
            language: match self.language {
                LanguageArg::English => Language::English,
                LanguageArg::French => Language::French,
            },
            paper: match self.paper {
                PaperArg::A4 => Paper::A4,
                PaperArg::Letter => Paper::Letter,
            },
        })
    }
}

pub(super) fn write(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut file = OpenOptions::new().write(true).create_new(true).open(path)?;
    let written = file.write_all(bytes).and_then(|()| file.sync_all());
    if written.is_err() {
        // Half a report must not be taken for one. The first fault is the one to tell.
        let _ = std::fs::remove_file(path);
    }
    written
}
