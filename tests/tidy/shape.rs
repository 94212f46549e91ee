//! Rules on a file's shape: what it opens with, how long it is, how long its lines and functions are.

use crate::{Finding, Source, code, finding};

/// The longest file of Rust, with its tests, in lines.
const RUST_LINES_MAX: usize = 500;
/// The longest file of the screens, in lines.
const SCREEN_LINES_MAX: usize = 300;
/// The longest line of Rust, in characters.
const COLUMNS_MAX: usize = 100;
/// The longest function, from its name to its last brace, in lines.
const FUNCTION_LINES_MAX: usize = 70;

fn ends(source: &Source, endings: &[&str]) -> bool {
    endings.iter().any(|ending| source.name.ends_with(ending))
}

/// A file opens with a comment that says what it is for.
pub(crate) fn says_what_it_is_for(source: &Source) -> Vec<Finding> {
    let first = source.text.lines().next().unwrap_or_default();
    let second = source.text.lines().nth(1).unwrap_or_default();
    let (opens, with) = match source.name.rsplit_once('.').map_or("", |(_, ending)| ending) {
        "rs" => (says(first, &["//!"]), "`//!`"),
        "ts" | "js" => (says(first, &["//", "/*"]) || says(second, &["*"]), "`/** */`"),
        "css" => (says(first, &["/*"]) || says(second, &["*"]), "`/* */`"),
        "svelte" => (says(first, &["<!--"]), "`<!-- -->`"),
        "py" => (says(first, &["\"\"\"", "#"]), "a docstring"),
        _ if first.starts_with("#!") => (says(second, &["#"]), "`#` under its first line"),
        _ => return Vec::new(),
    };
    let what = format!("does not open with {with}; say what the file is for, what goes in and out");
    if opens { Vec::new() } else { vec![finding(&source.name, 1, what)] }
}

/// Whether a line is one of these comment marks with words behind it.
fn says(line: &str, marks: &[&str]) -> bool {
    let line = line.trim();
    marks
        .iter()
        .any(|mark| line.strip_prefix(mark).is_some_and(|said| said.contains(char::is_alphabetic)))
}

/// A file is read in one go.
pub(crate) fn short_files(source: &Source) -> Vec<Finding> {
    let most = match () {
        () if ends(source, &[".rs"]) => RUST_LINES_MAX,
        () if ends(source, &[".svelte", ".ts"]) => SCREEN_LINES_MAX,
        () => return Vec::new(),
    };
    let lines = source.text.lines().count();
    let what = format!("has {lines} lines, more than {most}; split it by topic");
    if lines <= most { Vec::new() } else { vec![finding(&source.name, most + 1, what)] }
}

/// Two files fit beside each other.
pub(crate) fn short_lines(source: &Source) -> Vec<Finding> {
    let lines = source.text.lines().enumerate().filter(|_| ends(source, &[".rs"]));
    lines
        .filter(|(_, line)| line.chars().count() > COLUMNS_MAX)
        .map(|(index, line)| {
            let columns = line.chars().count();
            let what = format!("is {columns} columns wide, more than {COLUMNS_MAX}; break it");
            finding(&source.name, index + 1, what)
        })
        .collect()
}

/// A function is seen whole.
pub(crate) fn short_functions(source: &Source) -> Vec<Finding> {
    if !ends(source, &[".rs"]) {
        return Vec::new();
    }
    functions(&code::only(&source.text))
        .into_iter()
        .filter(|function| function.lines > FUNCTION_LINES_MAX)
        .map(|Function { name, line, lines }| {
            let what = format!(
                "`{name}` has {lines} lines, more than {FUNCTION_LINES_MAX}; \
                 give its steps names of their own"
            );
            finding(&source.name, line, what)
        })
        .collect()
}

#[derive(Debug, PartialEq)]
struct Function {
    name: String,
    line: usize,
    lines: usize,
}

/// The functions with a body, each with the line of its name and how many lines it takes.
fn functions(code: &str) -> Vec<Function> {
    let mut found = Vec::new();
    for (at, _) in code.match_indices("fn ") {
        let stands_alone = !code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_');
        let rest = &code[at + 3..];
        let name: String = rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
        if !stands_alone || name.is_empty() {
            continue;
        }
        if let Some(whole) = body_end(rest) {
            let line = code[..at].lines().count().max(1);
            let line = if code[..at].ends_with('\n') { line + 1 } else { line };
            found.push(Function { name, line, lines: rest[..whole].lines().count() });
        }
    }
    found
}

/// Where the body behind a signature ends; `None` for a signature without one.
fn body_end(rest: &str) -> Option<usize> {
    let (mut round, mut curly) = (0_usize, 0_usize);
    for (at, c) in rest.char_indices() {
        match c {
            '(' | '[' => round += 1,
            ')' | ']' => round = round.saturating_sub(1),
            ';' if round == 0 && curly == 0 => return None,
            '{' => curly += 1,
            '}' if curly <= 1 => return (curly == 1).then_some(at + 1),
            '}' => curly -= 1,
            _ => {}
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::found;

    #[test]
    fn a_file_without_an_opening_comment_is_found() {
        let rows = [
            ("a.rs", "//! Levels.\n", "use std::fmt;\n"),
            ("a.rs", "//! Levels.\n", "//!\n"),
            ("a.rs", "//! Levels.\n", "// Levels.\n"),
            ("a.ts", "/**\n * The desk.\n */\n", "import a from 'b';\n"),
            ("a.css", "/* Sizes. */\n", "body {}\n"),
            ("a.svelte", "<!-- A bar. -->\n", "<script></script>\n"),
            ("a.py", "\"\"\"Oracle.\"\"\"\n", "import numpy\n"),
            ("run", "#!/bin/sh\n# Runs all.\n", "#!/bin/sh\nset -e\n"),
        ];
        for (name, good, bad) in rows {
            assert!(found(says_what_it_is_for, name, good).is_empty(), "{name}: {good}");
            assert_eq!(found(says_what_it_is_for, name, bad), [1], "{name}: {bad}");
        }
        assert_eq!(found(says_what_it_is_for, "empty.rs", ""), [1]);
    }

    #[test]
    fn a_file_that_is_too_long_is_found() {
        let rows = [("a.rs", RUST_LINES_MAX), ("a.ts", SCREEN_LINES_MAX), ("a.svelte", 300)];
        for (name, most) in rows {
            assert!(found(short_files, name, &"x\n".repeat(most)).is_empty(), "{name}");
            assert_eq!(found(short_files, name, &"x\n".repeat(most + 1)), [most + 1], "{name}");
        }
    }

    #[test]
    fn a_wide_line_is_found_by_its_characters() {
        let fits = format!("\n{}\n", "µ".repeat(COLUMNS_MAX));
        assert!(found(short_lines, "a.rs", &fits).is_empty());
        let wide = format!("\n{}\n", "x".repeat(COLUMNS_MAX + 1));
        assert_eq!(found(short_lines, "a.rs", &wide), [2]);
    }

    #[test]
    fn a_long_function_is_found_and_neither_its_neighbours_nor_braces_in_text() {
        let body = |lines: usize| "    step(\"}\"); // }\n".repeat(lines);
        let text =
            |lines| format!("//! x\nfn short() {{}}\n\n/// fn\nfn long() {{\n{}}}\n", body(lines));
        assert!(found(short_functions, "a.rs", &text(FUNCTION_LINES_MAX - 2)).is_empty());
        assert_eq!(found(short_functions, "a.rs", &text(FUNCTION_LINES_MAX - 1)), [5]);
    }

    #[test]
    fn functions_are_measured_from_their_name_to_their_last_brace() {
        let code = "trait T {\n    fn a(&self) -> [u8; 2];\n    fn b() {\n        {}\n    }\n}\n\
                    pub fn c<F>(f: F) where F: Fn(u8) -> u8 { f(1); }\n";
        let expected = [("b", 3, 3), ("c", 7, 1)].map(|(name, line, lines)| Function {
            name: name.to_owned(),
            line,
            lines,
        });
        assert_eq!(functions(code), expected);
    }
}
