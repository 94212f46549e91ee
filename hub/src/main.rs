//! The `guyline` program: a node, the exchange, and the judge, on the command line.

use std::process::ExitCode;

use guyline_core::report::{Language, Paper, VisitReport};

fn main() -> ExitCode {
    guyline_hub::cli::run(typeset)
}

fn typeset(
    report: &VisitReport,
    language: Language,
    paper: Paper,
    verification: &[String],
) -> Result<Vec<u8>, String> {
    guyline_typeset::pdf(report, language, paper, verification).map_err(|error| error.to_string())
}
