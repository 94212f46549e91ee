//! The rules of the house that a machine can hold: heads, sizes, who may import whom, banned words,
//! the fixed top level.
//!
//! Each rule is a function from a file's name and text to what is wrong with it, so that the tests
//! at the end can show that it fails on what it forbids.

use std::path::Path;
use std::process::Command;

use guyline_tests::repository;

const FILE_LINES_MAX: usize = 500;
const SCREEN_LINES_MAX: usize = 300;
const LINE_MAX: usize = 100;
const FUNCTION_LINES_MAX: usize = 70;

/// Rooms whose files may not name what stands beside them. A path prefix, and words.
const NOT_THERE: [(&str, &[&str]); 12] = [
    ("shared-core/src/", &["std::fs", "std::net", "std::thread", "tokio", "::now()", "rand::"]),
    ("shared-core/src/units/", &["crate::rf", "crate::limits", "crate::record", "crate::checks"]),
    ("shared-core/src/rf/", &["crate::uncertainty", "crate::limits", "crate::record"]),
    ("shared-core/src/uncertainty/", &["crate::limits", "crate::record", "crate::checks"]),
    ("shared-core/src/limits/", &["crate::record", "crate::checks"]),
    ("shared-core/src/record/", &["crate::checks"]),
    ("shared-core/src/bench/", &["crate::record", "crate::checks"]),
    ("hub/src/store/", &["crate::desk", "crate::http", "crate::cli"]),
    ("hub/src/sync/exchange.rs", &["tokio", "std::net", "std::fs", "crate::store", "reqwest"]),
    ("hub/src/sync/wire.rs", &["tokio", "std::net", "std::fs", "crate::store", "reqwest"]),
    ("hub/src/desk/", &["crate::http", "crate::cli", "axum", "tauri", "rusqlite"]),
    ("hub/src/http/", &["rusqlite", "guyline_core::rf"]),
];

/// Which of our crates a crate may depend on.
const CRATES: [(&str, &[&str]); 4] = [
    ("shared-core/Cargo.toml", &[]),
    ("hub/typeset/Cargo.toml", &["guyline-core"]),
    ("hub/Cargo.toml", &["guyline-core", "guyline-typeset"]),
    ("src-tauri/Cargo.toml", &["guyline-hub", "guyline-typeset"]),
];

const TOP_LEVEL: [&str; 10] = [
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "Cargo.toml",
    "Cargo.lock",
    "shared-core",
    "hub",
    "src-tauri",
    "ui",
    "tests",
];

/// What git keeps or would keep, with its text.
fn files() -> Vec<(String, String)> {
    let listed = Command::new("git")
        .args(["ls-files", "--cached", "--others", "--exclude-standard"])
        .current_dir(repository())
        .output()
        .expect("the tests run in a git checkout");
    let names = String::from_utf8(listed.stdout).expect("file names are plain text");
    let read = |name: &str| {
        // What is no text is looked at all the same: a program has no place at the top level.
        let bytes = std::fs::read(repository().join(name)).ok()?;
        Some((name.to_owned(), String::from_utf8_lossy(&bytes).into_owned()))
    };
    let files: Vec<_> = names.lines().filter_map(read).collect();
    assert!(files.len() > 100, "only {} files were found", files.len());
    files
}

fn is_screen(name: &str) -> bool {
    (name.ends_with(".svelte") || name.ends_with(".ts")) && !name.contains("/bridge/types/")
}

fn head(name: &str, text: &str) -> Vec<String> {
    let first = text.lines().find(|line| !line.starts_with("#!")).unwrap_or_default();
    let wanted: &[&str] = match Path::new(name).extension().and_then(|e| e.to_str()) {
        Some("rs") => &["//!"],
        Some("ts") if is_screen(name) => &["/**", "//"],
        Some("mjs") => &["//"],
        Some("svelte") => &["<!--"],
        Some("py") => &["\"\"\""],
        Some("css") => &["/*"],
        None if text.starts_with("#!") => &["#"],
        _ => return Vec::new(),
    };
    if wanted.iter().any(|start| first.starts_with(start)) {
        return Vec::new();
    }
    vec![format!("{name}:1: say what the file is for, with {}", wanted[0])]
}

fn sizes(name: &str, text: &str) -> Vec<String> {
    let (most, rust) = match name {
        name if name.ends_with(".rs") => (FILE_LINES_MAX, true),
        name if is_screen(name) => (SCREEN_LINES_MAX, false),
        _ => return Vec::new(),
    };
    let mut found = Vec::new();
    let lines = text.lines().count();
    if lines > most {
        found.push(format!("{name}: {lines} lines; split it, {most} is the most"));
    }
    if rust {
        let long = text.lines().enumerate().filter(|(_, line)| line.chars().count() > LINE_MAX);
        found.extend(long.map(|(n, _)| format!("{name}:{}: wider than {LINE_MAX}", n + 1)));
        found.extend(long_functions(name, text));
    }
    found
}

/// A function ends at the first line that closes at the indent it began with: rustfmt sees to that.
/// One that a trait only names ends where its first statement would.
fn long_functions(name: &str, text: &str) -> Vec<String> {
    let lines: Vec<&str> = text.lines().collect();
    let mut found = Vec::new();
    for (start, line) in lines.iter().enumerate() {
        let code = line.trim_start();
        let begins = ["fn ", "pub fn ", "pub(crate) fn ", "pub(super) fn ", "async fn "]
            .iter()
            .any(|begin| code.starts_with(begin));
        let close = format!("{}}}", &line[..line.len() - code.len()]);
        let end = lines[start..].iter().position(|line| *line == close);
        let opens = lines[start..].iter().find(|line| line.ends_with('{') || line.ends_with(';'));
        let begins = begins && opens.is_some_and(|line| line.ends_with('{'));
        if let Some(length) = end.filter(|length| begins && *length > FUNCTION_LINES_MAX) {
            found.push(format!("{name}:{}: a function of {length} lines; split it", start + 1));
        }
    }
    found
}

fn imports(name: &str, text: &str) -> Vec<String> {
    let mut found = Vec::new();
    for (place, words) in NOT_THERE.iter().filter(|(place, _)| name.starts_with(place)) {
        for (n, line) in text.lines().enumerate() {
            // Doc comments and tests may speak of what the code may not use.
            let code = !line.trim_start().starts_with("//") && !name.ends_with("_tests.rs");
            for word in words.iter().filter(|word| code && line.contains(**word)) {
                found.push(format!("{name}:{}: {word} has no place in {place}", n + 1));
            }
        }
    }
    if is_screen(name) && !name.starts_with("ui/src/bridge/") && name.starts_with("ui/src/") {
        for word in ["fetch(", "invoke("] {
            if text.contains(word) {
                found.push(format!("{name}: {word}…) stands in ui/src/bridge only"));
            }
        }
    }
    found
}

fn crates(name: &str, text: &str) -> Vec<String> {
    let Some((_, may)) = CRATES.iter().find(|(file, _)| *file == name) else { return Vec::new() };
    let named = text.lines().filter_map(|line| line.split(['.', ' ', '=']).next());
    let ours = named.filter(|word| word.starts_with("guyline-"));
    ours.filter(|word| !may.contains(word))
        .map(|word| format!("{name}: may not depend on {word}"))
        .collect()
}

/// Words that say work was left, or that name what a repository must not.
fn words(name: &str, text: &str) -> Vec<String> {
    // Spelled in two parts, so that this file does not hold them.
    let banned = [
        ["todo", "!("],
        ["unimplemented", "!("],
        ["dbg", "!("],
        ["FIX", "ME"],
        ["#[ign", "ore"],
        [".sk", "ip("],
        ["should_", "panic"],
        ["trans", "cript"],
        ["seed docu", "ment"],
        ["/wo", "rk/"],
        ["/ro", "ot/"],
        ["allow(clip", "py"],
    ];
    let code = ["rs", "ts", "mjs", "svelte", "py", "md", "toml", "sql", "css"];
    let extension = Path::new(name).extension().and_then(|e| e.to_str());
    if name == "LICENSE" || extension.is_some_and(|e| !code.contains(&e)) {
        return Vec::new();
    }
    let lowered = text.to_lowercase();
    let holds = |word: &String| lowered.contains(&word.to_lowercase());
    let iterators = |word: &String| word == ".skip(" && extension == Some("rs");
    let banned = banned.iter().map(|parts| parts.concat());
    let mut found: Vec<String> = banned
        .filter(|word| holds(word) && !iterators(word))
        .map(|word| format!("{name}: holds {word:?}"))
        .collect();
    let stem = Path::new(name).file_stem().and_then(|s| s.to_str()).unwrap_or_default();
    if ["utils", "util", "helpers", "manager", "misc", "common"].contains(&stem) {
        found.push(format!("{name}: a name that says nothing; name what it holds"));
    }
    found
}

fn top_level(name: &str) -> Vec<String> {
    let first = name.split('/').next().unwrap_or_default();
    if first.starts_with('.') || first == "demo-data" || TOP_LEVEL.contains(&first) {
        return Vec::new();
    }
    vec![format!("{name}: nothing else stands at the top level")]
}

fn all(name: &str, text: &str) -> Vec<String> {
    let rules = [head, sizes, imports, crates, words];
    rules.iter().flat_map(|rule| rule(name, text)).chain(top_level(name)).collect()
}

#[test]
fn the_house_is_tidy() {
    let found: Vec<String> = files().iter().flat_map(|(name, text)| all(name, text)).collect();
    assert!(found.is_empty(), "{} things to mend:\n{}", found.len(), found.join("\n"));
}

#[test]
fn every_rule_fails_on_what_it_forbids() {
    let long_line = format!("//! x\n{}\n", "y".repeat(LINE_MAX + 1));
    let long_file = format!("//! x\n{}", "\n".repeat(FILE_LINES_MAX + 1));
    let long_function = format!("//! x\nfn f() {{\n{}}}\n", "    g();\n".repeat(71));
    let left = format!("//! x\nfn f() {{ {}{}) }}\n", "todo", "!(");
    let table: [(&str, &str, &str); 14] = [
        ("hub/src/a.rs", "fn f() {}\n", "say what the file is for"),
        ("tests/a.mjs", "run();\n", "say what the file is for"),
        ("ui/src/A.svelte", "<p>a</p>\n", "say what the file is for"),
        ("hub/src/a.rs", &long_line, "wider than"),
        ("hub/src/a.rs", &long_file, "split it"),
        ("hub/src/a.rs", &long_function, "a function of"),
        ("shared-core/src/a.rs", "//! x\nuse std::fs;\n", "has no place"),
        ("shared-core/src/record/a.rs", "//! x\nuse crate::checks;\n", "has no place"),
        ("hub/src/desk/a.rs", "//! x\nuse axum::Router;\n", "has no place"),
        ("ui/src/a.ts", "/** a */\nfetch(\"/\");\n", "ui/src/bridge only"),
        ("shared-core/Cargo.toml", "guyline-hub.workspace = true\n", "may not depend on"),
        ("hub/src/a.rs", &left, "holds"),
        ("hub/src/utils.rs", "//! x\n", "a name that says nothing"),
        ("notes.md", "x\n", "nothing else stands"),
    ];
    for (name, text, part) in table {
        let found = all(name, text).join("\n");
        assert!(found.contains(part), "{name}: {found:?} lacks {part:?}");
    }
    assert!(all("hub/src/a.rs", "//! x\nfn f() {}\n").is_empty());
}
