//! `guyline judge FILE`: judges a session given as plain JSON, without any database.
//!
//! In: a [`Sheet`] as JSON. Out: its appraisal as JSON on stdout. A wrong file is refused with
//! path, field and what was expected, and exit code 2. `--schema` prints what a file must be.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use guyline_core::checks::{Appraisal, Rules, Sheet};
use guyline_core::record::validate::{Problem, references};

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub struct JudgeArgs {
    /// The session as JSON; `-` reads standard input.
    #[arg(required_unless_present = "schema")]
    file: Option<PathBuf>,
    /// Print the JSON Schema of the file instead.
    #[arg(long)]
    schema: bool,
}

/// Why a file is no sheet.
#[derive(Debug, thiserror::Error)]
enum SheetRefused {
    #[error("{file}: cannot be read: {source}")]
    Unreadable { file: String, source: std::io::Error },
    #[error("{file}: field {field}: {expected}")]
    Shape { file: String, field: String, expected: String },
    #[error("{file}: {}", .problems.iter().map(Problem::to_string).collect::<Vec<_>>().join("\n"))]
    Values { file: String, problems: Vec<Problem> },
}

/// Judges, or prints the schema.
pub fn run(args: &JudgeArgs) -> ExitCode {
    if args.schema {
        return print(&schemars::schema_for!(Sheet));
    }
    let file = args.file.as_deref().expect("clap demands it without --schema");
    match judge_file(file) {
        Ok(appraisal) => print(&appraisal),
        Err(refused) => {
            eprintln!("could not judge: {refused}");
            eprintln!("  help: `guyline judge --schema` prints what the file must look like");
            ExitCode::from(2)
        }
    }
}

fn print(value: &impl serde::Serialize) -> ExitCode {
    println!("{}", super::json(value));
    ExitCode::SUCCESS
}

fn judge_file(path: &Path) -> Result<Appraisal, SheetRefused> {
    let file = path.display().to_string();
    let text = match path.to_str() {
        Some("-") => std::io::read_to_string(std::io::stdin()),
        _ => std::fs::read_to_string(path),
    };
    let text = text.map_err(|source| SheetRefused::Unreadable { file: file.clone(), source })?;
    judge_text(&file, &text)
}

fn judge_text(file: &str, text: &str) -> Result<Appraisal, SheetRefused> {
    let mut reader = serde_json::Deserializer::from_str(text);
    let sheet: Sheet =
        serde_path_to_error::deserialize(&mut reader).map_err(|error| SheetRefused::Shape {
            file: file.to_owned(),
            field: error.path().to_string(),
            expected: error.inner().to_string(),
        })?;
    reader.end().map_err(|error| SheetRefused::Shape {
        file: file.to_owned(),
        field: "(after the sheet)".to_owned(),
        expected: error.to_string(),
    })?;
    let values = |problems| SheetRefused::Values { file: file.to_owned(), problems };
    let Sheet { shop, site, session } = &sheet;
    let appraisal = Rules::of(shop, session).appraise(&sheet).map_err(values)?;
    let lost = references(shop, site, session);
    if lost.is_empty() { Ok(appraisal) } else { Err(values(lost)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(text: &str) -> String {
        judge_text("sheet.json", text).unwrap_err().to_string()
    }

    #[test]
    fn a_wrong_file_is_refused_with_its_place() {
        let text = refused("{");
        assert!(text.starts_with("sheet.json: field"), "{text}");
        let text = refused(r#"{"shop": {"name": 7}}"#);
        assert!(text.contains("field shop.name") && text.contains("expected a string"), "{text}");
        let text = refused(r#"{"shop": {"colour": "red"}}"#);
        assert!(text.contains("shop.colour") && text.contains("unknown field"), "{text}");
    }

    #[test]
    fn a_file_that_is_not_there_is_named() {
        let text = judge_file(Path::new("no/such/sheet.json")).unwrap_err().to_string();
        assert!(text.starts_with("no/such/sheet.json: cannot be read"), "{text}");
    }
}
