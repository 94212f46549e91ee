//! The `guyline` program: a node, the exchange, and the judge, on the command line.

use std::process::ExitCode;

use guyline_core::report::{Language, Paper, Paperwork};

fn main() -> ExitCode {
    guyline_hub::cli::run(typeset)
}

fn typeset(work: Paperwork<'_>, language: Language, paper: Paper) -> Result<Vec<u8>, String> {
    guyline_typeset::pdf(work, language, paper).map_err(|error| error.to_string())
}
