//! Who may use whom: between crates, between the rooms of a crate, and between the screens' tiers.
//!
//! The tables here are the house's plan as data. A room is found by the longest path that fits.

use toml::{Table, Value};

use crate::{Finding, Source, code, finding};

/// A crate, the crates of this workspace it may use, and outside crates it may not.
struct Edges {
    manifest: &'static str,
    ours: &'static [&'static str],
    never: &'static [&'static str],
}

const CRATES: [Edges; 4] = [
    Edges {
        manifest: "shared-core/Cargo.toml",
        ours: &[],
        never: &["tokio", "axum", "reqwest", "rusqlite", "rand", "log", "tracing", "tauri"],
    },
    Edges { manifest: "hub/Cargo.toml", ours: &["guyline-core"], never: &["tauri"] },
    Edges { manifest: "src-tauri/Cargo.toml", ours: &["guyline-hub"], never: &["rusqlite"] },
    Edges {
        manifest: "tests/Cargo.toml",
        ours: &["guyline-core", "guyline-hub", "guyline-app"],
        never: &[],
    },
];

/// A crate uses only the crates that stand below it.
pub(crate) fn crate_edges(source: &Source) -> Vec<Finding> {
    let Some(edges) = CRATES.iter().find(|edges| edges.manifest == source.name) else {
        return Vec::new();
    };
    let manifest: Table = match source.text.parse() {
        Ok(manifest) => manifest,
        Err(fault) => return vec![finding(&source.name, 1, format!("is not TOML: {fault}"))],
    };
    let tables = ["dependencies", "dev-dependencies", "build-dependencies"];
    let used = tables
        .iter()
        .filter_map(|table| manifest.get(*table).and_then(Value::as_table))
        .flat_map(Table::keys);
    used.filter(|used| {
        let upward = used.starts_with("guyline-") && !edges.ours.contains(&used.as_str());
        upward || edges.never.contains(&used.as_str())
    })
    .map(|used| {
        let line = source.text.lines().position(|line| line.starts_with(used.as_str()));
        let what = format!("uses `{used}`, which this crate may not; see DEVELOPERS.md, the house");
        finding(&source.name, line.map_or(1, |index| index + 1), what)
    })
    .collect()
}

/// The rooms of the core, each of which may use those before it.
const CORE_ORDER: [&str; 8] =
    ["units", "time", "rf", "uncertainty", "limits", "record", "checks", "report"];

/// What the core may never name: it has no clock, chance, files, threads, waiting, or log.
const CORE_NEVER: [&str; 16] = [
    "std::fs",
    "std::net",
    "std::thread",
    "std::process",
    "std::env",
    "Instant::now",
    "SystemTime::now",
    "HashMap",
    "HashSet",
    "tokio",
    "rand",
    "println!",
    "eprintln!",
    "async",
    "log::",
    "tracing::",
];

/// A room, the modules of `root` it may use, and what it may never name.
struct Room {
    path: &'static str,
    root: &'static str,
    may: &'static [&'static str],
    never: &'static [&'static str],
}

/// What the state machine and the bytes of an exchange may not reach: they do no I/O.
const NO_IO: &[&str] =
    &["tokio", "std::net", "std::fs", "rusqlite", "reqwest", "axum", "Instant", "SystemTime"];

const fn sans_io(path: &'static str) -> Room {
    Room { path, root: "crate", may: &["log", "sync", "fixture"], never: NO_IO }
}

const ROOMS: [Room; 12] = [
    Room {
        path: "hub/src/store/",
        root: "crate",
        may: &["store", "log", "fixture"],
        never: &["tokio", "axum", "reqwest"],
    },
    Room {
        path: "hub/src/identity/",
        root: "crate",
        may: &["identity", "log", "fixture"],
        never: &["axum", "rusqlite"],
    },
    sans_io("hub/src/sync/exchange.rs"),
    sans_io("hub/src/sync/wire.rs"),
    sans_io("hub/src/sync/chunk.rs"),
    sans_io("hub/src/sync/schedule.rs"),
    Room {
        path: "hub/src/sync/",
        root: "crate",
        may: &["sync", "store", "identity", "documents", "log", "clock", "fixture", "http"],
        never: &["rusqlite", "tauri"],
    },
    Room {
        path: "hub/src/desk/",
        root: "crate",
        may: &[
            "desk",
            "store",
            "sync",
            "identity",
            "render",
            "documents",
            "log",
            "clock",
            "fixture",
        ],
        never: &["axum", "clap", "tauri", "rusqlite"],
    },
    Room {
        path: "hub/src/http/",
        root: "crate",
        may: &["http", "desk", "sync", "identity", "log", "clock", "fixture"],
        never: &["rusqlite", "guyline_core::rf"],
    },
    Room {
        path: "hub/src/cli/",
        root: "crate",
        may: &["cli", "desk", "http", "sync", "log", "clock"],
        never: &["rusqlite"],
    },
    Room { path: "hub/src/render/", root: "crate", may: &["render"], never: &["rusqlite", "axum"] },
    Room {
        path: "src-tauri/src/",
        root: "guyline_hub",
        may: &["desk", "sync"],
        never: &["guyline_core", "rusqlite", "axum"],
    },
];

/// A room of a crate uses only the rooms it may.
pub(crate) fn rust_rooms(source: &Source) -> Vec<Finding> {
    if !source.name.ends_with(".rs") {
        return Vec::new();
    }
    let code = code::only(&source.text);
    if let Some(path) = source.name.strip_prefix("shared-core/src/") {
        return core_room(source, &code, path);
    }
    let fitting = ROOMS.iter().filter(|room| source.name.starts_with(room.path));
    let Some(room) = fitting.max_by_key(|room| room.path.len()) else {
        return Vec::new();
    };
    let strange = used_modules(&code, room.root, &source.name)
        .into_iter()
        .filter(|(_, module)| !room.may.contains(&module.as_str()))
        .map(|(line, module)| {
            let may = room.may.join(", ");
            let what = format!(
                "`{}` may use {may}; it uses `{module}`; ask through one of them",
                room.path
            );
            finding(&source.name, line, what)
        });
    strange.chain(named(source, &code, room.never)).collect()
}

fn core_room(source: &Source, code: &str, path: &str) -> Vec<Finding> {
    let own = path.split(['/', '.']).next().unwrap_or_default();
    let rank = |room: &str| CORE_ORDER.iter().position(|known| *known == room);
    let mut found: Vec<Finding> = named(source, code, &CORE_NEVER).collect();
    match rank(own) {
        Some(own_rank) => found.extend(
            used_modules(code, "crate", &source.name)
                .into_iter()
                .filter(|(_, module)| rank(module).is_some_and(|rank| rank > own_rank))
                .map(|(line, module)| {
                    let what =
                        format!("`{own}` stands before `{module}` and may not use it; pass it in");
                    finding(&source.name, line, what)
                }),
        ),
        None if own != "lib" => {
            let what =
                format!("`{own}` has no place in the order of the core; add it to CORE_ORDER");
            found.push(finding(&source.name, 1, what));
        }
        None => {}
    }
    found
}

fn named<'a>(
    source: &'a Source,
    code: &'a str,
    never: &'a [&'a str],
) -> impl Iterator<Item = Finding> + 'a {
    never.iter().flat_map(move |word| {
        code::uses(code, word).map(move |(line, _)| {
            let what = format!("names `{word}`, which this room may not; pass in what it needs");
            finding(&source.name, line, what)
        })
    })
}

/// The modules named behind `root::`, each with its line; `root::{a, b::c}` names `a` and `b`.
///
/// In a room's `mod.rs`, and twice up from any other file, `super` is the root too. Types and
/// functions of the root itself are no modules and are left out by their capital or bracket.
fn used_modules(code: &str, root: &str, file: &str) -> Vec<(usize, String)> {
    let mut starts = vec![format!("{root}::")];
    if root == "crate" {
        starts.push("super::super::".to_owned());
        if file.ends_with("/mod.rs") {
            starts.push("use super::".to_owned());
        }
    }
    let mut found = Vec::new();
    for start in &starts {
        for (at, _) in code.match_indices(start) {
            if code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_' || c == ':') {
                continue;
            }
            let line = code[..at].matches('\n').count() + 1;
            // From `super` on, only what is a room elsewhere counts: the rest is the room's own.
            let is_room = |name: &str| {
                !start.contains("super")
                    || CORE_ORDER.contains(&name)
                    || ROOMS.iter().any(|room| room.path.ends_with(&format!("/{name}/")))
            };
            let names = first_names(&code[at + start.len()..]);
            let modules = names
                .into_iter()
                .filter(|name| name.starts_with(|c: char| c.is_ascii_lowercase()) && is_room(name));
            found.extend(modules.map(|name| (line, name)));
        }
    }
    found.sort();
    found
}

/// The names a path goes on with: one, or the first of each branch of a group.
fn first_names(rest: &str) -> Vec<String> {
    let name_of = |text: &str| -> String {
        text.trim_start().chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect()
    };
    let Some(group) = rest.strip_prefix('{') else {
        return vec![name_of(rest)];
    };
    let (mut depth, mut begun, mut names) = (0_usize, 0, Vec::new());
    for (at, c) in group.char_indices() {
        match c {
            '{' => depth += 1,
            ',' | '}' if depth == 0 => {
                names.push(name_of(&group[begun..at]));
                begun = at + 1;
                if c == '}' {
                    break;
                }
            }
            '}' => depth -= 1,
            _ => {}
        }
    }
    names
}

/// What only the bridge may name: the two ways to a node.
const BRIDGE_ONLY: [&str; 5] = ["fetch(", "invoke(", "invoke<", "XMLHttpRequest", "@tauri-apps"];

/// What each tier of the screens may import; a folder that is not named here is a topic.
const TIERS: [(&str, &[&str]); 4] =
    [("bridge", &["words"]), ("words", &["bridge"]), ("parts", &["words"]), ("styles", &[])];
const TOPIC_MAY: [&str; 4] = ["bridge", "parts", "words", "styles"];
/// Those that compose the topics; nothing else may import them.
const COMPOSERS: [&str; 2] = ["places", "shell"];

/// A screen's tier imports only what it may, and only the bridge reaches out.
pub(crate) fn ui_rooms(source: &Source) -> Vec<Finding> {
    let Some(path) = source.name.strip_prefix("ui/src/") else {
        return Vec::new();
    };
    let own = path.split_once('/').map_or("", |(folder, _)| folder);
    let mut found = Vec::new();
    if own != "bridge" {
        for word in BRIDGE_ONLY {
            found.extend(code::uses(&source.text, word).map(|(line, _)| {
                let what = format!("names `{word}`; only ui/src/bridge may: ask the desk instead");
                finding(&source.name, line, what)
            }));
        }
    }
    if own.is_empty() || COMPOSERS.contains(&own) {
        return found;
    }
    let may = TIERS.iter().find(|(tier, _)| *tier == own).map_or(&TOPIC_MAY[..], |(_, may)| may);
    for (line, room) in imported_folders(&source.text, path) {
        if room != own && !may.contains(&room.as_str()) {
            let what = format!(
                "`{own}` imports from `{room}`; it may from {}: let a place put them together",
                may.join(", ")
            );
            found.push(finding(&source.name, line, what));
        }
    }
    found
}

/// The folders under `ui/src` that a file imports from by relative path, each with its line.
fn imported_folders(text: &str, path: &str) -> Vec<(usize, String)> {
    let folder: Vec<&str> = path.split('/').collect();
    let folder = &folder[..folder.len() - 1];
    let quoted = ["from ", "import "].into_iter().flat_map(|word| code::uses(text, word));
    let targets = quoted.filter_map(|(line, rest)| {
        let target = rest.strip_prefix(['"', '\''])?.split(['"', '\'']).next()?;
        target.starts_with('.').then_some((line, target))
    });
    targets
        .filter_map(|(line, target)| {
            let mut whole = folder.to_vec();
            for step in target.split('/') {
                match step {
                    "." => {}
                    ".." => drop(whole.pop()),
                    step => whole.push(step),
                }
            }
            (whole.len() > 1).then(|| (line, whole[0].to_owned()))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::found;

    #[test]
    fn a_crate_that_looks_up_is_found() {
        let uses = |name| format!("[package]\nname = \"x\"\n[dev-dependencies]\n{name} = \"1\"\n");
        let rows = [
            ("shared-core/Cargo.toml", "guyline-hub", "serde"),
            ("shared-core/Cargo.toml", "tokio", "automerge"),
            ("hub/Cargo.toml", "guyline-app", "guyline-core"),
            ("hub/Cargo.toml", "guyline-tests", "tokio"),
            ("src-tauri/Cargo.toml", "guyline-core", "guyline-hub"),
        ];
        for (manifest, bad, good) in rows {
            assert_eq!(found(crate_edges, manifest, &uses(bad)), [4], "{manifest}: {bad}");
            assert!(found(crate_edges, manifest, &uses(good)).is_empty(), "{manifest}: {good}");
        }
        assert_eq!(found(crate_edges, "hub/Cargo.toml", "not toml"), [1]);
    }

    #[test]
    fn a_room_that_uses_what_it_may_not_is_found() {
        let rows = [
            ("shared-core/src/rf/chain.rs", "use crate::checks::Plan;", "use crate::units::Db;"),
            ("shared-core/src/units/mod.rs", "use super::record::Kind;", "use super::level::Db;"),
            (
                "shared-core/src/rf/a.rs",
                "use super::super::limits::L;",
                "use super::super::units::U;",
            ),
            (
                "shared-core/src/rf/a.rs",
                "use crate::{units::Db, record};",
                "use crate::{units, rf};",
            ),
            ("shared-core/src/lib.rs", "fn f() { std::fs::read(p) }", "// std::fs is not used"),
            ("shared-core/src/checks/a.rs", "let m = HashMap::new();", "let m = \"HashMap\";"),
            ("hub/src/store/mod.rs", "use crate::desk::call;", "use crate::log::Mark;"),
            ("hub/src/sync/exchange.rs", "use crate::store::Store;", "use crate::log::Mark;"),
            ("hub/src/sync/wire.rs", "use std::net::TcpStream;", "use std::fmt;"),
            ("hub/src/sync/mod.rs", "use rusqlite::Row;", "use crate::store::Store;"),
            ("hub/src/desk/today.rs", "use crate::http::Way;", "use crate::store::StoreError;"),
            ("hub/src/http/router.rs", "use crate::store::Store;", "use crate::{Node, desk};"),
            ("hub/src/cli/serve.rs", "use rusqlite::Row;", "use crate::desk;"),
            ("src-tauri/src/lib.rs", "use guyline_hub::store;", "use guyline_hub::{Node, desk};"),
        ];
        for (file, bad, good) in rows {
            assert_eq!(found(rust_rooms, file, bad), [1], "{file}: {bad}");
            assert!(found(rust_rooms, file, good).is_empty(), "{file}: {good}");
        }
        assert_eq!(
            found(rust_rooms, "shared-core/src/extras.rs", ""),
            [1],
            "a room nobody planned"
        );
    }

    #[test]
    fn a_screen_that_uses_what_it_may_not_is_found() {
        let rows = [
            ("verdict/a.ts", "fetch(\"/api\")", "prefetch(1)"),
            ("places/A.svelte", "invoke<T>(\"desk\")", "invoked(1)"),
            ("App.svelte", "import x from \"@tauri-apps/api\";", "import x from \"svelte\";"),
            ("verdict/a.ts", "import x from \"../reading/b\";", "import x from \"../parts/b\";"),
            ("parts/a.ts", "import x from \"../bridge/desk\";", "import x from \"./keys\";"),
            ("reading/a/b.ts", "import \"../../verdict/c\";", "import \"../c\";"),
            ("chain/a.ts", "import x from \"../places/b\";", "import x from \"../bridge/b\";"),
            ("bridge/a.ts", "import x from \"../chain/b\";", "fetch(\"/api\")"),
        ];
        for (file, bad, good) in rows {
            let file = format!("ui/src/{file}");
            assert_eq!(found(ui_rooms, &file, bad), [1], "{file}: {bad}");
            assert!(found(ui_rooms, &file, good).is_empty(), "{file}: {good}");
        }
        let places = "import a from \"../chain/b\";\nimport c from \"../verdict/d\";\n";
        assert!(found(ui_rooms, "ui/src/places/Today.svelte", places).is_empty());
    }
}
