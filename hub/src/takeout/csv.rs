//! Comma-separated values (RFC 4180): CRLF, no byte-order mark, quotes only where they are needed.
//!
//! A spreadsheet takes a cell that begins with `=`, `+`, `-` or `@` for a formula, and some strip a
//! blank in front of one first. Such a text gets an apostrophe in front, which spreadsheets show as
//! text and [`plain`] takes off again: nothing is lost on the way out and in. Numbers are no texts,
//! and a text that is a number stays as it was typed.

use std::borrow::Cow;

use guyline_core::units::{Entry, Unit};

use super::table::{Cell, Row};

/// What makes a spreadsheet calculate, also in the full-width forms some of them take.
const CALCULATES: [char; 8] = ['=', '+', '-', '@', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}'];

/// The table with a first row of names.
pub(crate) fn write<R: Row>(rows: &[R]) -> Vec<u8> {
    let names = R::COLUMNS.iter().map(|(name, _)| (*name).to_owned()).collect();
    let cells = |row: &R| row.cells().iter().map(shown).collect();
    lines(std::iter::once(names).chain(rows.iter().map(cells)))
}

/// Lines of cells, each as it is to stand there.
pub(crate) fn lines(rows: impl Iterator<Item = Vec<String>>) -> Vec<u8> {
    let mut writer =
        csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    for row in rows {
        writer.write_record(&row).expect("every row has a cell for each column, in memory");
    }
    writer.into_inner().expect("it is written to memory")
}

fn shown(cell: &Cell<'_>) -> String {
    match cell {
        Cell::Empty => String::new(),
        Cell::Text(text) => harmless(text).into_owned(),
        Cell::Number(number) => number.to_string(),
        Cell::Whole(count) => count.to_string(),
        Cell::Truth(truth) => truth.to_string(),
    }
}

/// A text no spreadsheet calculates with. [`plain`] gives the text back.
pub(crate) fn harmless(text: &str) -> Cow<'_, str> {
    match wants_mark(text) && !is_number(text) {
        true => Cow::Owned(format!("'{text}")),
        false => Cow::Borrowed(text),
    }
}

/// The text that [`harmless`] was given, or a cell as somebody wrote it, without blanks around it.
pub(crate) fn plain(cell: &str) -> &str {
    match cell.strip_prefix('\'') {
        Some(text) if wants_mark(text) && !is_number(text) => text,
        _ => cell.trim(),
    }
}

/// Whether a text calculates, or would lose its outer blanks, now or with marks taken off.
fn wants_mark(text: &str) -> bool {
    let bare = text.trim_start_matches('\'');
    let begins = |c: char| CALCULATES.contains(&c) || c.is_control() || c.is_whitespace();
    bare.starts_with(begins) || text.ends_with(char::is_whitespace)
}

/// Whether it is a number somebody typed.
fn is_number(text: &str) -> bool {
    text.trim() == text && Entry::parse(text, Unit::Dbm).is_ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_that_would_be_calculated_is_not_and_a_number_is_not_touched() {
        for text in [
            "=1+1",
            "+1+1",
            "-cmd",
            "@SUM(A1)",
            "\t=1",
            "\0=1",
            "\r=1",
            " =1",
            "=",
            "--1",
            "\u{ff1d}1",
        ] {
            assert_eq!(harmless(text), format!("'{text}"), "{text:?}");
            assert_eq!(plain(&harmless(text)), text);
        }
        for text in ["-120.7", "+5", "\u{2212}120,7", "it rained", "", "O'Brien", "'quoted'"] {
            assert_eq!(harmless(text), text);
            assert_eq!(plain(text), text);
        }
    }

    proptest::proptest! {
        #[test]
        fn every_text_comes_back(text in "['=+@ \t\0a-]{0,6}|\\PC{0,12}") {
            let shown = harmless(&text);
            proptest::prop_assert_eq!(plain(&shown), &text);
            let first = shown.chars().next().unwrap_or('x');
            proptest::prop_assert!(is_number(&text) || !CALCULATES.contains(&first));
        }
    }
}
