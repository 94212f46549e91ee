//! Rules on words: what must not stand in a file, how a module may not be called, where links lead.
//!
//! Banned words are written in two halves here, so that this file does not hold what it looks for.

use crate::{Finding, Source, code, finding};

/// A banned word, the endings of the files it is banned in (none: all), and what to do instead.
struct Ban {
    word: &'static str,
    endings: &'static [&'static str],
    instead: &'static str,
}

const fn ban(word: &'static str, endings: &'static [&'static str], instead: &'static str) -> Ban {
    Ban { word, endings, instead }
}

const RUST: &[&str] = &[".rs"];
const SCREENS: &[&str] = &[".ts", ".svelte"];
const UNFINISHED: &str = "finish it, or leave it out and say so in the closing note";
const MACHINE: &str = "a path of one machine; work it out from the repository or take an argument";
const NOT_CITED: &str = "nothing may cite it; name a public source or say there is none";

const BANS: [Ban; 25] = [
    ban(concat!("todo", "!("), RUST, UNFINISHED),
    ban(concat!("unimplemented", "!("), RUST, UNFINISHED),
    ban(concat!("FIX", "ME"), &[], UNFINISHED),
    ban(concat!("TO", "DO"), &[], UNFINISHED),
    ban(concat!("XX", "X"), &[], UNFINISHED),
    ban(concat!("TB", "D"), &[], UNFINISHED),
    ban(concat!("TB", "A"), &[], UNFINISHED),
    ban(concat!("coming ", "soon"), &[], UNFINISHED),
    ban(concat!("lorem ", "ipsum"), &[], UNFINISHED),
    ban(concat!("dbg", "!("), RUST, "take it out; a test says what the value must be"),
    ban(concat!("console", ".log("), SCREENS, "take it out; what matters is shown on the screen"),
    ban(concat!("#[ig", "nore"), RUST, "make the test run, or delete it"),
    ban(concat!("should_", "panic"), RUST, "let the code return an error and test that"),
    ban(concat!("#[al", "low("), RUST, "use `#[expect(lint, reason = \"…\")]`, or mend it"),
    ban(concat!("#![al", "low("), RUST, "use `#[expect(lint, reason = \"…\")]`, or mend it"),
    ban(
        concat!("f64::", "EPSILON"),
        RUST,
        "give the tolerance the quantity deserves, with its unit",
    ),
    ban(concat!("Other(", "String)"), RUST, "name the fault and give it fields"),
    ban(concat!(".sk", "ip("), SCREENS, "make the test run, or delete it"),
    ban(concat!(".on", "ly("), SCREENS, "run them all"),
    ban(concat!("test.fix", "me"), SCREENS, "make the test run, or delete it"),
    ban(concat!("tran", "script"), &[], NOT_CITED),
    ban(concat!("seed ", "document"), &[], NOT_CITED),
    ban(concat!("/wo", "rk/"), &[], MACHINE),
    ban(concat!("/ro", "ot/"), &[], MACHINE),
    ban(concat!("/tmp/", "bash"), &[], MACHINE),
];

/// Words that mean unfinished, unseen, untested or not ours to cite.
pub(crate) fn banned(source: &Source) -> Vec<Finding> {
    // The lists of the package managers hold names that nobody here chose.
    if source.name.ends_with("package-lock.json") || source.name == "Cargo.lock" {
        return Vec::new();
    }
    let bans = BANS.iter().filter(|ban| {
        ban.endings.is_empty() || ban.endings.iter().any(|ending| source.name.ends_with(ending))
    });
    let found = bans.flat_map(|ban| {
        code::uses(&source.text, ban.word).map(|(line, _)| {
            finding(&source.name, line, format!("holds `{}`: {}", ban.word, ban.instead))
        })
    });
    found.collect()
}

/// Names that say nothing about what is inside.
const EMPTY_NAMES: [&str; 7] = ["utils", "util", "helpers", "helper", "manager", "misc", "common"];

/// A module is named for what it holds.
pub(crate) fn named_badly(source: &Source) -> Vec<Finding> {
    let parts = source.name.split('/').map(|part| part.split('.').next().unwrap_or_default());
    let in_path = parts.map(|part| (1, part.to_owned()));
    let is_rust = source.name.ends_with(".rs");
    let declared = EMPTY_NAMES.iter().filter(|_| is_rust).flat_map(|name| {
        let lines = code::uses(&source.text, "mod").filter(|(_, rest)| {
            rest.trim_start()
                .strip_prefix(name)
                .is_some_and(|rest| rest.trim_start().starts_with([';', '{']))
        });
        lines.map(|(line, _)| (line, (*name).to_owned())).collect::<Vec<_>>()
    });
    let named = in_path.chain(declared);
    let badly = named.filter(|(_, name)| EMPTY_NAMES.contains(&name.to_lowercase().as_str()));
    badly
        .map(|(line, name)| {
            let what = format!("`{name}` says nothing; name the module for what it holds");
            finding(&source.name, line, what)
        })
        .collect()
}

/// A page's links lead to files that are there. `exists` is asked with a path from the top.
pub(crate) fn dead_links(source: &Source, exists: impl Fn(&str) -> bool) -> Vec<Finding> {
    if !source.name.ends_with(".md") {
        return Vec::new();
    }
    let folder = source.name.rsplit_once('/').map_or("", |(folder, _)| folder);
    let links = code::uses(&source.text, "](").filter_map(|(line, rest)| {
        let link = rest.split([')', '#']).next().unwrap_or_default();
        let elsewhere = link.contains("://") || link.is_empty();
        (!elsewhere).then(|| (line, format!("{folder}/{link}").trim_start_matches('/').to_owned()))
    });
    links
        .filter(|(_, path)| !exists(path))
        .map(|(line, path)| {
            finding(
                &source.name,
                line,
                format!("links to {path}, which is not there; mend the link"),
            )
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::found;

    #[test]
    fn every_banned_word_is_found_where_it_is_banned() {
        for Ban { word, endings, .. } in &BANS {
            let name = format!("a{}", endings.first().unwrap_or(&".md"));
            let text = format!("fine\n{word} \n");
            assert!(found(banned, &name, &text).contains(&2), "{word} passes in {name}");
        }
    }

    #[test]
    fn what_only_contains_a_banned_word_is_not_found() {
        let text = concat!("XX", "XL todos PREFIX", "ME xs.sk", "ip(1)\n");
        assert!(found(banned, "a.rs", text).is_empty());
        assert!(found(banned, "package-lock.json", concat!("FIX", "ME")).is_empty());
    }

    #[test]
    fn an_empty_name_is_found_as_a_file_a_folder_or_a_module() {
        assert_eq!(found(named_badly, "hub/src/utils.rs", ""), [1]);
        assert_eq!(found(named_badly, "ui/src/helpers/bar.ts", ""), [1]);
        assert_eq!(
            found(named_badly, "hub/src/lib.rs", "\npub mod helpers;\nmod misc {}\n"),
            [2, 3]
        );
        assert!(found(named_badly, "hub/src/lib.rs", "mod commons;\nmod store;\n").is_empty());
    }

    #[test]
    fn a_dead_link_is_found() {
        let links = |source: &Source| dead_links(source, |path| path == "docs/map.md");
        let text = "[a](map.md) [b](https://example.org/x) [c](#here)\n[d](gone.md#x)\n";
        assert_eq!(found(links, "docs/README.md", text), [2]);
        assert!(found(links, "docs/notes.rs", text).is_empty());
    }
}
