//! Running the built `guyline` program.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The folder with the demo's files.
pub(crate) fn demo_data() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-data")
}

/// The program beside this test's own folder: `cargo build --workspace` puts it there.
pub(crate) fn path() -> PathBuf {
    let test = std::env::current_exe().expect("a test knows where it is");
    let built = test.parent().and_then(Path::parent).expect("tests lie in target/<profile>/deps");
    let program = built.join("guyline");
    assert!(program.exists(), "{} is not built: run ./tests/run", program.display());
    program
}

/// Runs it with words and paths in turn, to the end.
pub(crate) fn guyline(words: &[&str], paths: &[&Path], more: &[&str], last: &Path) -> Output {
    let mut command = Command::new(path());
    command.args(words).args(paths).args(more).arg(last);
    command.output().expect("the program starts")
}
