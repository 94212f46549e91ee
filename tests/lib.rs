//! What every whole-system test stands on: where the repository and the built programs are.

pub mod recordings;

use std::path::{Path, PathBuf};

/// The repository's own folder.
pub fn repository() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// The folder with the demo's files.
pub fn demo_data() -> PathBuf {
    repository().join("demo-data")
}

/// A built program, beside the running test's own folder: `cargo build --workspace` puts it there.
pub fn built(program: &str) -> PathBuf {
    let test = std::env::current_exe().expect("a test knows where it is");
    let folder = test.parent().and_then(Path::parent).expect("tests lie in target/<profile>/deps");
    let path = folder.join(program);
    assert!(path.exists(), "{} is not built: run ./tests/run", path.display());
    path
}
