//! A file the node made, kept where a person says by the platform's own dialog.
//!
//! In: a name and bytes. Out: where it is kept; nowhere when the person thought better of it. The
//! page never names a place: it hands over a file's name, and only the dialog makes a path of it.

use std::fs::File;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use guyline_hub::desk::{Code, Refusal};
use serde::Deserialize;
use tauri::WebviewWindow;
use tauri_plugin_dialog::DialogExt as _;

/// A file to keep.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct KeepFile {
    /// What the dialog says above, in the screens' language.
    title: String,
    /// The name it should get.
    name: String,
    /// Its bytes (RFC 4648, section 4).
    base64: String,
}

/// Asks where, and keeps it there.
pub(crate) async fn keep(
    window: &WebviewWindow,
    asked: KeepFile,
) -> Result<Option<PathBuf>, Refusal> {
    let bytes = STANDARD.decode(&asked.base64).map_err(|error| {
        let what = format!("{} did not reach the window whole: {error}", asked.name);
        Refusal::new(Code::WrongBody, what, "ask for the file again")
    })?;
    let dialog = window.dialog().file().set_parent(window);
    let dialog = dialog.set_title(asked.title).set_file_name(plain_name(&asked.name));
    let kept = tauri::async_runtime::spawn_blocking(move || {
        let Some(chosen) = dialog.blocking_save_file() else { return Ok(None) };
        let place = chosen.into_path().map_err(|error| not_kept(Path::new(&asked.name), &error))?;
        write(&place, &bytes).map_err(|error| not_kept(&place, &error))?;
        Ok(Some(place))
    });
    kept.await.unwrap_or_else(|error| Err(not_kept(Path::new("the file"), &error)))
}

/// Only ever a name: what stands before a separator would lead elsewhere.
fn plain_name(name: &str) -> &str {
    name.rsplit(['/', '\\']).next().unwrap_or_default()
}

/// On disk when this is Ok: a stick may be pulled out right after.
fn write(place: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut file = File::create(place)?;
    file.write_all(bytes)?;
    file.sync_all()
}

fn not_kept(place: &Path, error: &dyn std::error::Error) -> Refusal {
    let what = format!("{} could not be written: {error}", place.display());
    Refusal::new(Code::StoreFailed, what, "choose another place, or make room there")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_leads_nowhere() {
        let names = [
            ("report.pdf", "report.pdf"),
            ("../../.profile", ".profile"),
            ("/etc/passwd", "passwd"),
            ("C:\\Windows\\x.dll", "x.dll"),
            ("site/", ""),
        ];
        for (name, expected) in names {
            assert_eq!(plain_name(name), expected);
        }
    }

    #[test]
    fn bytes_are_written_over_what_was_there_and_a_bad_place_is_told() {
        let folder = std::env::temp_dir().join(format!("guyline-keeping-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let place = folder.join("report.txt");
        write(&place, b"a longer first text").unwrap();
        write(&place, b"second").unwrap();
        assert_eq!(std::fs::read(&place).unwrap(), b"second");
        let nowhere = folder.join("missing").join("report.txt");
        let refusal = not_kept(&nowhere, &write(&nowhere, b"x").unwrap_err());
        assert!(refusal.what.contains("report.txt"), "{refusal:?}");
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
