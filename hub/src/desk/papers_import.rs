//! Lists of parts, instruments and sites, taken in from comma-separated text or JSON.
//!
//! In: text, as [`rows`] reads it. Out: every problem by line and column, and the good rows,
//! taken as one change where that is asked. A row is good as a whole or not taken at all, and
//! nothing that stands already is overwritten.

use std::collections::BTreeMap;

use guyline_core::record::papers_edit::with_numbers;
use guyline_core::record::{Author, Document, Instrument, Part, Shop, ShopEdit, Site, validate};
use serde::de::DeserializeOwned;
use serde_json::{Map, Value, json};

use super::edit::author;
use super::papers::{shop_here, write};
use super::papers_pages::{ImportRows, ImportSeen, Imported, WrongCell};
use super::papers_rows::{Cells, Columns, rows};
use super::refusal::Refusal;
use crate::Node;

/// The columns of each kind of list; the first ones a row cannot do without.
fn columns(of: Imported) -> (&'static [&'static str], &'static [&'static str]) {
    match of {
        Imported::Parts => (
            &["name", "kind", "tolerance_db", "power_max_w"],
            &["id", "loss", "coupling", "return_loss_db", "serial_number", "calibration_due"],
        ),
        Imported::Instruments => (
            &[
                "name",
                "calibration_due",
                "ports",
                "level_db",
                "power_percent",
                "frequency_ppm",
                "deviation_percent",
            ],
            &["id", "serial_number"],
        ),
        Imported::Sites => (&["name", "access"], &["hazards"]),
    }
}

/// A row that is good, or what is wrong with it.
type Row<T> = Result<(String, T), Vec<WrongCell>>;

pub(super) fn import(node: &Node, asked: ImportRows) -> Result<ImportSeen, Refusal> {
    let author = if asked.take { Some(author(node)?) } else { None };
    import_rows(node, asked.of, &asked.text, author.as_ref())
}

/// Looks at a list, and takes its good rows where an author is given.
pub fn import_rows(
    node: &Node,
    of: Imported,
    text: &str,
    author: Option<&Author>,
) -> Result<ImportSeen, Refusal> {
    let (wanted, others) = columns(of);
    let mut seen = ImportSeen {
        columns: wanted.iter().chain(others).map(|name| (*name).to_owned()).collect(),
        good: Vec::new(),
        wrong: Vec::new(),
        taken: 0,
        change: None,
    };
    let columns = Columns { wanted, others };
    let rows = match rows(columns, text, &mut seen.wrong) {
        Some(rows) => rows,
        None => return Ok(seen),
    };
    match of {
        Imported::Parts | Imported::Instruments => {
            let (id, shop) = shop_here(node)?;
            let (parts, instruments) = entries(of, &shop, rows, &mut seen);
            if let (Some(author), false) = (author, parts.is_empty() && instruments.is_empty()) {
                seen.taken = parts.len() + instruments.len();
                let edit = ShopEdit::Import { parts, instruments };
                let done = write(node, id, |document| document.edit_shop(&edit, author))?;
                seen.change = Some(done.change);
            }
        }
        Imported::Sites => {
            for (line, cells) in rows {
                let row = site(line, &cells);
                let Some((_, site)) = keep(row, &mut seen) else { continue };
                if let Some(author) = author {
                    let id = node.fresh_id().parse().expect("a fresh id can name a document");
                    let made = Document::create_site(id, &site, node.fresh_actor(), author)?;
                    node.create(made.0, made.1)?;
                    seen.taken += 1;
                }
            }
        }
    }
    Ok(seen)
}

type Parts = BTreeMap<String, Part>;
type Instruments = BTreeMap<String, Instrument>;

fn entries(
    of: Imported,
    shop: &Shop,
    rows: Vec<(u64, Cells)>,
    seen: &mut ImportSeen,
) -> (Parts, Instruments) {
    let (mut parts, mut instruments) = (Parts::new(), Instruments::new());
    for (line, cells) in rows {
        let taken = |id: &str, found: bool| {
            let what = format!("{id} stands already; nothing is overwritten");
            found.then(|| vec![WrongCell { line, column: Some("id".to_owned()), what }])
        };
        if of == Imported::Parts {
            let row = part(line, &cells).and_then(|(id, part)| {
                let found = shop.parts.contains_key(&id) || parts.contains_key(&id);
                taken(&id, found).map_or(Ok((id, part)), Err)
            });
            parts.extend(keep(row, seen));
        } else {
            let row = instrument(line, &cells).and_then(|(id, instrument)| {
                let found = shop.instruments.contains_key(&id) || instruments.contains_key(&id);
                taken(&id, found).map_or(Ok((id, instrument)), Err)
            });
            instruments.extend(keep(row, seen));
        }
    }
    (parts, instruments)
}

fn keep<T>(row: Row<T>, seen: &mut ImportSeen) -> Option<(String, T)> {
    match row {
        Ok((id, entry)) => {
            seen.good.push(id.clone());
            Some((id, entry))
        }
        Err(wrong) => {
            seen.wrong.extend(wrong);
            None
        }
    }
}

fn part(line: u64, cells: &Cells) -> Row<Part> {
    let id = id_of(cells);
    let mut entry = flat(cells, &["name", "kind", "serial_number", "calibration_due"]);
    number(&mut entry, cells, &["tolerance_db", "power_max_w", "return_loss_db"]);
    let mut wrong = Vec::new();
    for column in ["loss", "coupling"] {
        match points(cells.get(column)) {
            Ok(points) => drop(entry.insert(column.to_owned(), points)),
            Err(what) => wrong.push(cell(line, column, what)),
        }
    }
    let part: Part = built(line, cells, entry, wrong)?;
    let alone = Shop { parts: BTreeMap::from([(id.clone(), part.clone())]), ..bare() };
    sound(line, &format!("parts.{id}."), validate::shop(&alone))?;
    Ok((id, part))
}

fn instrument(line: u64, cells: &Cells) -> Row<Instrument> {
    let id = id_of(cells);
    let mut entry = flat(cells, &["name", "serial_number", "calibration_due"]);
    let mut accuracy = Map::new();
    let fields = ["level_db", "power_percent", "frequency_ppm", "deviation_percent"];
    number(&mut accuracy, cells, &fields);
    entry.insert("accuracy".to_owned(), Value::Object(accuracy));
    let mut wrong = Vec::new();
    match ports(cells.get("ports")) {
        Ok(ports) => drop(entry.insert("ports".to_owned(), ports)),
        Err(what) => wrong.push(cell(line, "ports", what)),
    }
    let instrument: Instrument = built(line, cells, entry, wrong)?;
    let instruments = BTreeMap::from([(id.clone(), instrument.clone())]);
    let alone = Shop { instruments, ..bare() };
    sound(line, &format!("instruments.{id}."), validate::shop(&alone))?;
    Ok((id, instrument))
}

fn site(line: u64, cells: &Cells) -> Row<Site> {
    let mut entry = flat(cells, &["name", "access"]);
    let hazards = cells.get("hazards").map(String::as_str).unwrap_or_default();
    let hazards = hazards.split(';').map(str::trim).filter(|text| !text.is_empty());
    let hazards: Map<String, Value> = hazards
        .enumerate()
        .map(|(index, text)| (format!("listed-{}", index + 1), json!({ "text": text })))
        .collect();
    entry.insert("hazard_entries".to_owned(), Value::Object(hazards));
    entry.insert("repeaters".to_owned(), json!({}));
    let site: Site = built(line, cells, entry, Vec::new())?;
    sound(line, "", validate::site(&site))?;
    Ok((site.name.clone(), site))
}

/// A shop with nothing in it, to hold one entry against the rules.
fn bare() -> Shop {
    let shop = json!({ "name": "x", "decision_rule": "guard-banded", "people": {},
                       "instruments": {}, "parts": {} });
    serde_json::from_value(shop).expect("it has what a shop must have")
}

fn cell(line: u64, column: &str, what: String) -> WrongCell {
    WrongCell { line, column: Some(column.to_owned()), what }
}

/// The id given, or the name made into one.
fn id_of(cells: &Cells) -> String {
    let name = cells.get("id").or_else(|| cells.get("name"));
    let name = name.map(|name| name.to_lowercase()).unwrap_or_default();
    let letters = name.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' });
    let id: String = letters.take(64).collect();
    id.trim_matches('-').to_owned()
}

fn flat(cells: &Cells, columns: &[&str]) -> Map<String, Value> {
    let text = |column: &&str| Some(((*column).to_owned(), json!(cells.get(*column)?)));
    columns.iter().filter_map(text).collect()
}

fn number(entry: &mut Map<String, Value>, cells: &Cells, columns: &[&str]) {
    let typed = Value::Object(flat(cells, columns));
    if let Value::Object(numbers) = with_numbers(typed) {
        entry.extend(numbers);
    }
}

/// The entry these cells make. What the reader expected stands in the column it was reading.
fn built<T: DeserializeOwned>(
    line: u64,
    cells: &Cells,
    entry: Map<String, Value>,
    mut wrong: Vec<WrongCell>,
) -> Result<T, Vec<WrongCell>> {
    if !wrong.is_empty() {
        return Err(wrong);
    }
    serde_path_to_error::deserialize(Value::Object(entry)).map_err(|error| {
        let path = error.path().to_string();
        let what = error.inner().to_string();
        let last = path.split('.').next_back().unwrap_or_default();
        let missing = what.strip_prefix("missing field `").and_then(|rest| rest.split('`').next());
        let column = missing.unwrap_or(last);
        let what = match (missing, cells.get(column)) {
            (Some(_), _) => "this cell is empty".to_owned(),
            (None, Some(given)) => format!("{given:?}: {what}"),
            (None, None) => what.clone(),
        };
        wrong.push(cell(line, column, what));
        wrong
    })
}

/// What the rules of the paper say of the entry, in its columns.
fn sound(line: u64, root: &str, problems: Vec<validate::Problem>) -> Result<(), Vec<WrongCell>> {
    if problems.is_empty() {
        return Ok(());
    }
    let wrong = problems.into_iter().map(|problem| {
        let at = problem.at.strip_prefix(root).unwrap_or(&problem.at);
        let at = at.strip_prefix("accuracy.").unwrap_or(at);
        cell(line, at.split('.').next().unwrap_or(at), problem.what)
    });
    Err(wrong.collect())
}

/// `150 MHz: 0.3; 470 MHz: 0.55`.
fn points(text: Option<&String>) -> Result<Value, String> {
    let text = text.map(String::as_str).unwrap_or_default();
    let mut points = Vec::new();
    for piece in text.split(';').map(str::trim).filter(|piece| !piece.is_empty()) {
        let right = || format!("{piece:?} is no point as in \"150 MHz: 0.3\"");
        let (at, loss) = piece.split_once(':').ok_or_else(right)?;
        let point = with_numbers(json!({ "at_hz": at.trim(), "loss_db": loss.trim() }));
        if !point["at_hz"].is_u64() || !point["loss_db"].is_number() {
            return Err(right());
        }
        points.push(point);
    }
    Ok(Value::Array(points))
}

/// `generator output: generator 0.1 W; duplex port: duplex 60 W`.
fn ports(text: Option<&String>) -> Result<Value, String> {
    let text = text.map(String::as_str).unwrap_or_default();
    let mut ports = Map::new();
    for piece in text.split(';').map(str::trim).filter(|piece| !piece.is_empty()) {
        let right = || {
            format!(
                "{piece:?} is no port as in \"meter input: meter 100 W\"; a port is a \
                     generator, a meter or duplex"
            )
        };
        let (name, rest) = piece.split_once(':').ok_or_else(right)?;
        let mut words = rest.split_whitespace();
        let kind = words.next().ok_or_else(right)?;
        if !["generator", "meter", "duplex"].contains(&kind) {
            return Err(right());
        }
        let power = match (words.next(), words.next()) {
            (None, _) => Value::Null,
            (Some(power), None | Some("W")) => json!(power.parse::<f64>().map_err(|_| right())?),
            _ => return Err(right()),
        };
        let id = id_of(&Cells::from([("name".to_owned(), name.to_owned())]));
        let port = json!({ "name": name.trim(), "kind": kind, "power_max_w": power });
        if ports.insert(id, port).is_some() {
            return Err(format!("two ports are called {:?}", name.trim()));
        }
    }
    if ports.is_empty() { Err("at least one port is wanted".to_owned()) } else { Ok(ports.into()) }
}

#[cfg(test)]
#[path = "papers_import_tests.rs"]
mod tests;
