//! What every whole-system test stands on: the repository, the built programs, served nodes, a
//! driven window, somebody who writes, two languages held against each other, and counts asked for
//! from outside.

pub mod both_languages;
pub mod database;
pub mod driven;
pub mod recordings;
pub mod served;

use std::path::{Path, PathBuf};
use std::str::FromStr;

use guyline_core::record::Author;
use guyline_core::time::Timestamp;
use serde_json::{Value, json};

/// The repository's own folder.
pub fn repository() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// The folder with the demo's files.
pub fn demo_data() -> PathBuf {
    repository().join("demo-data")
}

/// A count somebody asked for in an environment variable, as for a long run.
pub fn asked<T: FromStr>(variable: &str, otherwise: T) -> T {
    match std::env::var(variable) {
        Ok(text) => text.parse().unwrap_or_else(|_| panic!("{variable} is a count, not {text:?}")),
        Err(_) => otherwise,
    }
}

/// Somebody who writes, at a fixed time.
pub fn author() -> Author {
    let at = Timestamp::parse("2026-05-14T10:20:00Z").expect("a time");
    Author { person: "ines".to_owned(), device: "tablet".to_owned(), at }
}

/// A built program, beside the running test's own folder: `cargo build --workspace` puts it there.
pub fn built(program: &str) -> PathBuf {
    let test = std::env::current_exe().expect("a test knows where it is");
    let folder = test.parent().expect("a program lies in a folder");
    // A test lies in target/<profile>/deps, a bench beside the programs.
    let folder = if folder.ends_with("deps") { folder.parent() } else { Some(folder) };
    let path = folder.expect("deps lies in target/<profile>").join(program);
    assert!(path.exists(), "{} is not built: run ./tests/run", path.display());
    path
}

/// The demo's shop and site with one opening level through the coupler.
pub fn sheet() -> Value {
    let file = |name: &str| -> Value {
        let text = std::fs::read_to_string(demo_data().join(name)).expect("the demo has it");
        serde_json::from_str(&text).expect("the demo's files are JSON")
    };
    let stamp = json!({ "by": "ines", "device": "tablet", "at": "2026-05-14T17:00:00Z" });
    json!({
        "shop": file("shop.json"),
        "site": file("site.json"),
        "session": {
            "site": "01JV3M0000000000000000S1TE",
            "repeater": "lookout-vhf",
            "work_order": "WO 1",
            "opened": stamp,
            "chains": { "c": {
                "name": "direct", "plane": "receiver-port", "instrument": "monitor-1",
                "port": "gen", "between": ["cable-a"], "stamp": stamp } },
            "readings": { "r": {
                "check": "receiver.opening", "chain": "c", "plane": "receiver-port",
                "criterion": "opens", "instrument": "monitor-1", "typed": "-120.7", "unit": "dBm",
                "phase": "as-found", "stamp": stamp } }
        }
    })
}
