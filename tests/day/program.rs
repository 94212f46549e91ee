//! Running the built `guyline` program.

use std::path::Path;
use std::process::{Command, Output};

use guyline_tests::built;

/// Runs it with words and paths in turn, to the end.
pub(crate) fn guyline(words: &[&str], paths: &[&Path], more: &[&str], last: &Path) -> Output {
    let mut command = Command::new(built("guyline"));
    command.args(words).args(paths).args(more).arg(last);
    command.output().expect("the program starts")
}
