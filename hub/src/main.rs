//! The `guyline` program: a node, the exchange, and the judge, on the command line.

use std::process::ExitCode;

fn main() -> ExitCode {
    guyline_hub::cli::run()
}
