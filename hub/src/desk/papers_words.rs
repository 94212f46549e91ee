//! A change of a shop or a site in words, as somebody would tell it.

use guyline_core::record::{Moved, PaperStep};
use serde_json::Value;

/// So many fields of one change are told; an import has hundreds.
const TOLD: usize = 3;

/// What a change did, as in "cable A, tolerance: 0.1 → 0.2".
pub(super) fn words(step: &PaperStep, paper: &Value) -> String {
    if step.moved.is_empty() {
        return match step.intent.as_str() {
            "create" => "made this paper".to_owned(),
            "" => "changed something".to_owned(),
            intent => intent.to_owned(),
        };
    }
    let mut told: Vec<String> = step.moved.iter().take(TOLD).map(|m| moved(m, paper)).collect();
    if step.moved.len() > TOLD {
        told.push(format!("and {} more", step.moved.len() - TOLD));
    }
    let told = told.join("; ");
    match step.intent.as_str() {
        "undo" => format!("took back: {told}"),
        "choose" => format!("chose: {told}"),
        _ => told,
    }
}

fn moved(moved: &Moved, paper: &Value) -> String {
    let place = place(&moved.path, paper);
    let field = moved.path.last().map(String::as_str).unwrap_or_default();
    match (&moved.before, &moved.after) {
        (None, Some(Value::Object(_))) => format!("added {place}"),
        (_, None | Some(Value::Null)) => format!("{place}: taken out"),
        (None | Some(Value::Null), Some(after)) => {
            format!("{place}: {}{}", short(field, after), unit(field))
        }
        (Some(before), Some(after)) => {
            let (before, after) = (short(field, before), short(field, after));
            format!("{place}: {before} → {after}{}", unit(field))
        }
    }
}

/// A field as people say where it is, as in "cable A, tolerance".
pub(super) fn place(path: &[String], paper: &Value) -> String {
    let list = path.first().map(String::as_str).unwrap_or_default();
    let entry = path.get(1).and_then(|id| paper.get(list)?.get(id));
    let mut place = match (entry.and_then(|entry| name(list, entry, paper)), path.get(1)) {
        (Some(name), _) => vec![name],
        (None, Some(id)) => vec![plain(list), id.clone()],
        (None, None) => vec![plain(list)],
    };
    place.extend(path.iter().skip(2).map(|field| plain(field)));
    place.join(", ")
}

/// What an entry is called.
fn name(list: &str, entry: &Value, paper: &Value) -> Option<String> {
    let text = |field: &str| entry.get(field).and_then(Value::as_str);
    match list {
        "calibrations" => {
            let items = if text("of") == Some("part") { "parts" } else { "instruments" };
            let item = paper.get(items)?.get(text("item")?)?.get("name")?.as_str()?;
            Some(format!("calibration of {item}"))
        }
        "baselines" => Some(format!("usual value of {}", text("check")?)),
        _ => ["name", "title", "text"].iter().find_map(|field| text(field)).map(str::to_owned),
    }
}

/// How a field's name ends, and the unit people write for it.
const UNITS: [(&str, &str); 7] = [
    ("_hz", " MHz"),
    ("_dbm", " dBm"),
    ("_db", " dB"),
    ("_w", " W"),
    ("_ppm", " ppm"),
    ("_percent", " %"),
    ("_degrees", "°"),
];

fn unit(field: &str) -> &'static str {
    UNITS.iter().find(|(end, _)| field.ends_with(end)).map_or("", |(_, unit)| unit)
}

/// `power_max_w` as people say it.
fn plain(field: &str) -> String {
    let end = UNITS.iter().find_map(|(end, _)| field.strip_suffix(end));
    end.unwrap_or(field).replace(['_', '-'], " ")
}

fn short(field: &str, value: &Value) -> String {
    let text = match value {
        Value::String(_) if field == "logo" => return "a picture".to_owned(),
        Value::Number(hertz) if field.ends_with("_hz") => {
            hertz.as_f64().map_or_else(|| hertz.to_string(), |hertz| (hertz / 1e6).to_string())
        }
        Value::String(text) => text.clone(),
        Value::Bool(true) => "yes".to_owned(),
        Value::Bool(false) => "no".to_owned(),
        Value::Array(list) => return format!("{} values", list.len()),
        Value::Object(_) => return "another one".to_owned(),
        other => other.to_string(),
    };
    match text.chars().count() {
        0..=60 => text,
        _ => format!("{}…", text.chars().take(60).collect::<String>()),
    }
}
