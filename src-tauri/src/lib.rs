//! The window on a node: opens the node of this device, once its passphrase was typed where it has
//! one, and shows the screens on it.
//!
//! In: `--data DIR` or `GUYLINE_DATA` (a data directory), else the platform's own place for app
//! data; a link to an invitation. Out: one window; exit code 1 and a message on stderr when it
//! cannot start. A second start on the same directory shows the first one's window and ends.
//!
//! It knows no check, no limit and no store: what a screen asks goes through `bridge` to the
//! node's desk.

mod arguments;
mod bridge;
mod door;
#[cfg(target_os = "linux")]
mod drawing;
mod keeping;
mod notices;
mod window;

use std::error::Error;
use std::path::PathBuf;

use tauri::{Manager, RunEvent};

use arguments::{Asked, WrongArguments};
use door::Door;

/// Opens the node, then the window; returns when the window has been closed.
///
/// Ends the process with code 1 when the node or the window cannot be opened.
#[cfg_attr(mobile, tauri::mobile_entry_point)]
pub fn run() {
    if let Err(fault) = start() {
        eprintln!("could not start Guyline: {}", with_causes(&fault));
        std::process::exit(1);
    }
}

/// Why the app did not start.
#[derive(Debug, thiserror::Error)]
enum StartError {
    #[error(transparent)]
    Arguments(#[from] WrongArguments),
    #[error(
        "no screen to open a window on: neither DISPLAY nor WAYLAND_DISPLAY is set; \
             `guyline serve` shows the same screens in a browser"
    )]
    NoScreen,
    #[error("the window toolkit did not start")]
    Window(#[source] tauri::Error),
    #[error("the platform names no place for app data; say where with --data DIR")]
    NoPlaceForData(#[source] tauri::Error),
    // Boxed, so that the window knows the node and not its store.
    #[error("{fault}\n  help: {help}")]
    Node { fault: Box<dyn Error>, help: &'static str },
}

fn start() -> Result<(), StartError> {
    let Asked { data, link } =
        Asked::read(std::env::args_os().skip(1), std::env::var_os("GUYLINE_DATA"))?;
    if !has_screen() {
        return Err(StartError::NoScreen);
    }
    let context = tauri::generate_context!();
    let app =
        window::around(tauri::Builder::default(), &context.config().identifier, data.as_deref())
            .invoke_handler(tauri::generate_handler![bridge::desk])
            .setup(move |app| Ok(window::open(app.handle(), link.as_deref())?))
            .build(context)
            .map_err(StartError::Window)?;
    // A second start on this directory has ended by now. A foreign database is told without a
    // window: the window opens in `run`.
    let data = match data {
        Some(data) => data,
        None => app.path().app_data_dir().map_err(StartError::NoPlaceForData)?,
    };
    app.manage(open_door(data)?);
    // The window opens in here, after the door is managed.
    app.run(|app, event| {
        if matches!(event, RunEvent::Exit) {
            app.state::<Door>().rest();
        }
    });
    Ok(())
}

fn open_door(data: PathBuf) -> Result<Door, StartError> {
    Door::at(data).map_err(|fault| {
        let help = fault.help();
        StartError::Node { fault: Box::new(fault), help }
    })
}

/// Only X11 and Wayland have to be asked for by name; the toolkit panics where neither is.
fn has_screen() -> bool {
    let set = |name| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    !cfg!(target_os = "linux") || set("DISPLAY") || set("WAYLAND_DISPLAY")
}

/// A fault and what caused it, outermost first; a cause the line tells already is not told again.
fn with_causes(fault: &dyn Error) -> String {
    let mut told = fault.to_string();
    let mut cause = fault.source();
    while let Some(fault) = cause {
        let said = fault.to_string();
        if !told.ends_with(&said) {
            told = format!("{told}: {said}");
        }
        cause = fault.source();
    }
    told
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    fn json(text: &str) -> serde_json::Value {
        serde_json::from_str(text).unwrap()
    }

    #[test]
    fn the_window_may_call_the_desk_and_nothing_else() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("capabilities");
        let files: Vec<_> =
            folder.read_dir().unwrap().map(|entry| entry.unwrap().file_name()).collect();
        assert_eq!(files, ["main.json"], "each file gives somebody more");
        let given = json(include_str!("../capabilities/main.json"));
        let expected = serde_json::json!({
            "identifier": "main",
            "description": given["description"],
            "windows": ["main"],
            "permissions": ["allow-desk"],
        });
        assert_eq!(given, expected);
        let app = &json(include_str!("../tauri.conf.json"))["app"];
        assert_eq!(app["withGlobalTauri"], false);
        let security = &app["security"];
        assert_eq!(security["freezePrototype"], true);
        assert_eq!(security["capabilities"], serde_json::json!(["main"]));
        assert!(security.get("dangerousDisableAssetCspModification").is_none());
        let policy = security["csp"].as_object().unwrap();
        for (directive, sources) in policy {
            let sources = sources.as_str().unwrap();
            let open = ["unsafe", "*", "data:", "https:"];
            assert!(!open.iter().any(|word| sources.contains(word)), "{directive}: {sources}");
        }
        assert_eq!(policy["default-src"], "'self'");
    }

    #[test]
    fn the_platform_is_told_of_the_links_this_program_takes() {
        let configured = json(include_str!("../tauri.conf.json"));
        let schemes = &configured["plugins"]["deep-link"]["desktop"]["schemes"];
        assert_eq!(*schemes, serde_json::json!([arguments::SCHEME.trim_end_matches(':')]));
        let entry = include_str!("../guyline.desktop");
        // Without `%u` a desktop starts the program and keeps the link to itself (Desktop Entry
        // Specification, "The Exec key").
        for line in ["Exec={{exec}} %u", "MimeType=x-scheme-handler/guyline;"] {
            assert!(entry.lines().any(|said| said == line), "{line} is missing");
        }
        assert_eq!(configured["bundle"]["linux"]["deb"]["desktopTemplate"], "guyline.desktop");
    }

    #[test]
    fn a_fault_is_told_with_its_causes() {
        let source = tauri::Error::from(std::io::Error::other("the disk is gone"));
        let told = with_causes(&StartError::Window(source));
        assert!(told.starts_with("the window toolkit did not start: "), "{told}");
        assert!(told.contains("the disk is gone"), "{told}");
    }
}
