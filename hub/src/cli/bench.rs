//! `guyline bench TOPIC FILE`: every calculation of the core from plain JSON, without a database.
//!
//! In: the topic's question as JSON, from a file or standard input; `--attach FIELD=FILE` puts a
//! file's content into a field (as text, or as base64 where the field's name ends in `_base64`).
//! Out: the answer, a line a number, or JSON with `--json`. Wrong input is refused with field and
//! what was expected, and exit code 2. `--list` names the topics, `--example` prints a question to
//! begin with, `--schema` the shape of all.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use guyline_core::bench::{BenchAnswer, BenchQuestion, BenchRefused, ask, topics};
use serde_json::Value;

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct BenchArgs {
    /// What to calculate; `--list` names the topics.
    #[arg(required_unless_present_any = ["list", "schema"])]
    topic: Option<String>,
    /// The question as JSON; `-` reads standard input. Without it, only what is attached.
    file: Option<PathBuf>,
    /// Put a file's content into a field of the question.
    #[arg(long, value_name = "FIELD=FILE")]
    attach: Vec<String>,
    /// Print the answer as JSON.
    #[arg(long)]
    json: bool,
    /// List the topics.
    #[arg(long)]
    list: bool,
    /// Print a question to begin with instead of answering.
    #[arg(long)]
    example: bool,
    /// Print the JSON Schema of all questions.
    #[arg(long)]
    schema: bool,
}

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
enum NoAnswer {
    #[error("{file}: cannot be read: {source}")]
    Unreadable { file: String, source: std::io::Error },
    #[error("{file}: {source}")]
    NotJson { file: String, source: serde_json::Error },
    #[error("--attach {text}: expected FIELD=FILE")]
    Attachment { text: String },
    #[error("{topic}: field {field}: {expected}")]
    Shape { topic: String, field: String, expected: String },
    #[error("{topic}: {source}")]
    Refused { topic: String, source: BenchRefused },
}

/// Calculates, lists the topics or prints the schema.
pub(super) fn run(args: &BenchArgs) -> ExitCode {
    if args.list {
        for topic in topics() {
            println!("{:<18}{}", topic.name, topic.title);
        }
        return ExitCode::SUCCESS;
    }
    if args.schema {
        let schema = schemars::schema_for!(BenchQuestion);
        println!("{}", super::json(&schema));
        return ExitCode::SUCCESS;
    }
    let named = args.topic.as_deref().unwrap_or_default();
    if args.example
        && let Some(topic) = topics().iter().find(|topic| topic.name == named)
    {
        println!("{}", super::json(&topic.example));
        return ExitCode::SUCCESS;
    }
    match answer(args) {
        Ok(found) => print!("{}", told(&found, args.json)),
        Err(error) => {
            eprintln!("could not calculate: {error}");
            eprintln!(
                "  help: `guyline bench --list` names the topics, `guyline bench TOPIC --example` \
                 prints a question"
            );
            return ExitCode::from(2);
        }
    }
    ExitCode::SUCCESS
}

fn answer(args: &BenchArgs) -> Result<BenchAnswer, NoAnswer> {
    let topic = args.topic.clone().expect("clap demands it without --list and --schema");
    let mut given = args.file.as_deref().map_or(Ok(Value::Object(Default::default())), read)?;
    for text in &args.attach {
        let wrong = || NoAnswer::Attachment { text: text.clone() };
        let (field, file) = text.split_once('=').ok_or_else(wrong)?;
        let fields = given.as_object_mut().ok_or_else(wrong)?;
        fields.insert(field.to_owned(), attached(field, Path::new(file))?);
    }
    // The topic sorts before what goes with it, so that a wrong field is named with its path.
    let question = serde_json::json!({ "topic": topic, "with": given });
    let question: BenchQuestion =
        serde_path_to_error::deserialize(question).map_err(|error| NoAnswer::Shape {
            topic: topic.clone(),
            field: error.path().to_string(),
            expected: error.inner().to_string(),
        })?;
    ask(&question).map_err(|source| NoAnswer::Refused { topic, source })
}

fn unreadable(path: &Path) -> impl FnOnce(std::io::Error) -> NoAnswer {
    let file = path.display().to_string();
    move |source| NoAnswer::Unreadable { file, source }
}

fn read(path: &Path) -> Result<Value, NoAnswer> {
    let text = match path.to_str() {
        Some("-") => std::io::read_to_string(std::io::stdin()),
        _ => std::fs::read_to_string(path),
    };
    let text = text.map_err(unreadable(path))?;
    let file = path.display().to_string();
    serde_json::from_str(&text).map_err(|source| NoAnswer::NotJson { file, source })
}

fn attached(field: &str, path: &Path) -> Result<Value, NoAnswer> {
    let bytes = std::fs::read(path).map_err(unreadable(path))?;
    Ok(Value::String(match field.ends_with("_base64") {
        true => STANDARD.encode(bytes),
        // A comment in another encoding spoils no number; the reader of the text judges the rest.
        false => String::from_utf8_lossy(&bytes).into_owned(),
    }))
}

fn told(answer: &BenchAnswer, json: bool) -> String {
    let whole = serde_json::to_value(answer).expect("answers are finite numbers and text");
    if json {
        return format!("{whole:#}\n");
    }
    let mut text = String::new();
    lines(&mut text, "", &whole["found"]);
    text
}

/// A line a value, each under the path of its field.
fn lines(text: &mut String, path: &str, value: &Value) {
    let under = |name: &str| match path {
        "" => name.to_owned(),
        _ => format!("{path}.{name}"),
    };
    match value {
        Value::Object(fields) => {
            fields.iter().for_each(|(name, value)| lines(text, &under(name), value));
        }
        Value::Array(values) => {
            let numbered = values.iter().enumerate();
            numbered.for_each(|(n, value)| lines(text, &under(&(n + 1).to_string()), value));
        }
        Value::Null => text.push_str(&format!("{path:<36} none\n")),
        Value::String(words) => text.push_str(&format!("{path:<36} {words}\n")),
        Value::Number(number) => {
            let number = number.as_f64().map_or_else(|| number.to_string(), rounded);
            text.push_str(&format!("{path:<36} {number}\n"));
        }
        Value::Bool(yes) => text.push_str(&format!("{path:<36} {yes}\n")),
    }
}

/// Six figures are more than any instrument gives; `--json` has them all.
fn rounded(number: f64) -> String {
    let figures = format!("{number:.5e}").parse::<f64>().expect("a number was printed");
    match figures.abs() {
        0.0 => "0".to_owned(),
        1e-4..1e9 => figures.to_string(),
        _ => format!("{figures:e}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn args(topic: &str, file: Option<&Path>, attach: &[&str]) -> BenchArgs {
        BenchArgs {
            topic: Some(topic.to_owned()),
            file: file.map(Path::to_owned),
            attach: attach.iter().map(|text| (*text).to_owned()).collect(),
            json: false,
            example: false,
            list: false,
            schema: false,
        }
    }

    fn refused(topic: &str, text: &str) -> String {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("question.json");
        std::fs::write(&file, text).unwrap();
        answer(&args(topic, Some(&file), &[])).unwrap_err().to_string()
    }

    #[test]
    fn a_question_is_answered_line_by_line() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("question.json");
        std::fs::write(&file, r#"{"typed": "50", "unit": "W"}"#).unwrap();
        let found = answer(&args("level", Some(&file), &[])).unwrap();
        // HANDBOOK U4: 50 W is 46.990 dBm.
        let text = told(&found, false);
        assert!(text.contains("level_dbm") && text.contains(" 46.9897\n"), "{text}");
        assert!(told(&found, true).contains("\"topic\": \"level\""));
    }

    #[test]
    fn a_file_is_put_into_the_field_that_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("typed.txt");
        std::fs::write(&file, "50").unwrap();
        let attach = format!("typed={}", file.display());
        let found = answer(&args("level", None, &[&attach])).unwrap_err().to_string();
        assert!(found.contains("unit"), "only the unit is missing now: {found}");
    }

    #[test]
    fn a_wrong_question_is_refused_with_its_field() {
        assert!(refused("colour", "{}").contains("desense"));
        assert!(refused("level", "{").contains("question.json"));
        let text = refused("desense", r#"{"keyed_dbm": "x"}"#);
        assert!(text.contains("with.keyed_dbm"), "{text}");
        let text = refused("desense", r#"{"keyed_dbm": 900, "unkeyed_dbm": -116, "wanted_db": 1}"#);
        assert!(text.contains("level of 900 dBm"), "{text}");
        let text = answer(&args("level", None, &["typed"])).unwrap_err().to_string();
        assert!(text.contains("FIELD=FILE"), "{text}");
    }
}
