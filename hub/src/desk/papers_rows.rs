//! A list as rows of cells: comma-separated text (RFC 4180), or JSON (RFC 8259).
//!
//! In: text, and the columns a list has. Out: the cells of each row that are not empty, with the
//! line the row begins on, and what is wrong by line and column. JSON is an array of objects with
//! the columns as names; a number stays as it was written. Knows no paper: what a cell means is the
//! reader's affair.

use std::collections::BTreeMap;
use std::fmt;

use serde::de::{Deserialize, Deserializer, MapAccess, Visitor};
use serde_json::Value;
use serde_json::value::RawValue;

use super::papers_pages::WrongCell;
use crate::takeout::csv::plain;

/// The columns a list may have; the first ones a row cannot do without.
#[derive(Clone, Copy)]
pub(super) struct Columns {
    pub(super) wanted: &'static [&'static str],
    pub(super) others: &'static [&'static str],
}

impl Columns {
    fn all(self) -> impl Iterator<Item = &'static str> {
        self.wanted.iter().chain(self.others).copied()
    }

    fn has(self, name: &str) -> bool {
        self.all().any(|known| known == name)
    }

    fn unknown(self) -> String {
        format!("is no column; these are: {}", self.all().collect::<Vec<_>>().join(", "))
    }
}

/// The cells of a row that are not empty, by column.
pub(super) type Cells = BTreeMap<String, String>;

/// The rows with their line; none where the text as a whole cannot be read.
pub(super) fn rows(
    columns: Columns,
    text: &str,
    wrong: &mut Vec<WrongCell>,
) -> Option<Vec<(u64, Cells)>> {
    // A spreadsheet may put a byte-order mark before the first name.
    let text = text.trim_start_matches('\u{feff}');
    // No column is called so: this is JSON.
    match text.trim_start().starts_with(['[', '{']) {
        true => objects(columns, text, wrong),
        false => separated(columns, text, wrong),
    }
}

/// The members of an object in their order, also one that stands twice.
struct Members(Vec<(String, Value)>);

impl<'de> Deserialize<'de> for Members {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct All;
        impl<'de> Visitor<'de> for All {
            type Value = Members;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an object with the columns as names")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Members, A::Error> {
                let mut members = Vec::new();
                while let Some(member) = map.next_entry()? {
                    members.push(member);
                }
                Ok(Members(members))
            }
        }
        deserializer.deserialize_map(All)
    }
}

fn objects(columns: Columns, text: &str, wrong: &mut Vec<WrongCell>) -> Option<Vec<(u64, Cells)>> {
    let listed: Vec<&RawValue> = match serde_json::from_str(text) {
        Ok(listed) => listed,
        Err(error) => {
            let line = error.line() as u64;
            wrong.push(WrongCell { line, column: None, what: error.to_string() });
            return None;
        }
    };
    let mut rows = Vec::new();
    let (mut line, mut counted) = (1, 0);
    for object in listed {
        // Each is a piece of the text, so where it stands says on which line it begins.
        let begins = object.get().as_ptr() as usize - text.as_ptr() as usize;
        line += text[counted..begins].matches('\n').count() as u64;
        counted = begins;
        match serde_json::from_str::<Members>(object.get()) {
            Ok(Members(members)) => match cells(columns, line, members) {
                Ok(cells) => rows.push((line, cells)),
                Err(found) => wrong.extend(found),
            },
            Err(error) => wrong.push(WrongCell { line, column: None, what: error.to_string() }),
        }
    }
    Some(rows)
}

fn cells(
    columns: Columns,
    line: u64,
    members: Vec<(String, Value)>,
) -> Result<Cells, Vec<WrongCell>> {
    let (mut cells, mut wrong, mut met) = (Cells::new(), Vec::new(), Vec::new());
    for (name, value) in members {
        let mut say = |what: &str| {
            let what = what.to_owned();
            wrong.push(WrongCell { line, column: Some(name.clone()), what });
        };
        if met.contains(&name) {
            say("this column stands twice");
            continue;
        }
        if !columns.has(&name) {
            say(&columns.unknown());
            continue;
        }
        let text = match value {
            Value::Null => String::new(),
            Value::String(text) => text.trim().to_owned(),
            Value::Number(number) => number.to_string(),
            Value::Bool(_) | Value::Array(_) | Value::Object(_) => {
                say("a text or a number is wanted here");
                continue;
            }
        };
        met.push(name.clone());
        if !text.is_empty() {
            cells.insert(name, text);
        }
    }
    if wrong.is_empty() { Ok(cells) } else { Err(wrong) }
}

/// The same of comma-separated text; none where the first row is no row of names.
fn separated(
    columns: Columns,
    text: &str,
    wrong: &mut Vec<WrongCell>,
) -> Option<Vec<(u64, Cells)>> {
    let mut reader = csv::ReaderBuilder::new()
        .flexible(true)
        .trim(csv::Trim::Headers)
        .from_reader(text.as_bytes());
    let names = match reader.headers() {
        Ok(names) => names.clone(),
        Err(error) => {
            wrong.push(WrongCell { line: 1, column: None, what: error.to_string() });
            return None;
        }
    };
    let mut say = |column: &str, what: String| {
        wrong.push(WrongCell { line: 1, column: Some(column.to_owned()), what });
    };
    for name in names.iter().filter(|name| !columns.has(name)) {
        say(name, columns.unknown());
    }
    for name in columns.wanted.iter().filter(|name| !names.iter().any(|given| given == **name)) {
        say(name, "this column is missing".to_owned());
    }
    for (index, name) in names.iter().enumerate() {
        if names.iter().take(index).any(|other| other == name) {
            say(name, "this column stands twice".to_owned());
        }
    }
    if !wrong.is_empty() {
        return None;
    }
    let mut rows = Vec::new();
    for record in reader.records() {
        match record {
            Ok(record) => {
                let line = record.position().map_or(0, csv::Position::line);
                if record.len() != names.len() {
                    let what = format!("{} cells where {} are wanted", record.len(), names.len());
                    wrong.push(WrongCell { line, column: None, what });
                    continue;
                }
                let cells = names.iter().zip(record.iter().map(plain));
                let cells = cells.filter(|(_, cell)| !cell.is_empty());
                let cells = cells.map(|(name, cell)| (name.to_owned(), cell.to_owned())).collect();
                rows.push((line, cells));
            }
            Err(error) => {
                let line = error.position().map_or(0, csv::Position::line);
                wrong.push(WrongCell { line, column: None, what: error.to_string() });
            }
        }
    }
    Some(rows)
}
