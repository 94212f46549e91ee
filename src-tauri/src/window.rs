//! The one window: where its page comes from, what a link may do in it, its size, and that a second
//! start on the same folder shows the first one's window.
//!
//! In: the folder and the link that somebody asked for. The page stays on the program's own files;
//! a link fills in a form and does nothing by itself. It knows neither node nor desk.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::time::Duration;

use guyline_hub::identity::Invitation;
use sha2::{Digest as _, Sha256};
use tauri::plugin::TauriPlugin;
use tauri::webview::NewWindowResponse;
use tauri::{
    AppHandle, Builder, Manager as _, Url, WebviewUrl, WebviewWindow, WebviewWindowBuilder,
    WindowEvent, Wry,
};
use tauri_plugin_deep_link::DeepLinkExt as _;
use tauri_plugin_window_state::{AppHandleExt as _, StateFlags};

use crate::arguments::Asked;
use crate::notices::LastNotice;

/// Its label in `tauri.conf.json` and in `capabilities/main.json`.
const LABEL: &str = "main";
/// More of a link that is no invitation is not shown.
const LINK_MAX: usize = 2_000;
/// So long a window that was moved must rest before its place is kept.
const AT_REST: Duration = Duration::from_millis(500);

/// Adds what the window stands on. `folder` is the node's, where one was named.
pub(crate) fn around(app: Builder<Wry>, identifier: &str, folder: Option<&Path>) -> Builder<Wry> {
    let state = tauri_plugin_window_state::Builder::new().with_state_flags(kept());
    // The second start ends in the first of these, before it has opened anything.
    let app = match only_one(identifier, folder) {
        Some(only_one) => app.plugin(only_one),
        None => app,
    };
    app.plugin(state.build())
        .plugin(tauri_plugin_dialog::init())
        .plugin(tauri_plugin_deep_link::init())
        .manage(LastNotice::default())
}

/// What is kept of the window.
fn kept() -> StateFlags {
    StateFlags::SIZE | StateFlags::POSITION | StateFlags::MAXIMIZED
}

/// Keeps where the window is a moment after it was moved, and not only at the end: a tablet's
/// battery may be that end.
fn keep_size(window: &WebviewWindow) {
    let (changed, changes) = mpsc::channel();
    window.on_window_event(move |event| {
        if matches!(event, WindowEvent::Resized(_) | WindowEvent::Moved(_)) {
            // Nobody listens once the thread below is gone, and that ends with the program.
            let _nobody_listens = changed.send(());
        }
    });
    let app = window.app_handle().clone();
    std::thread::spawn(move || {
        while changes.recv().is_ok() {
            while changes.recv_timeout(AT_REST).is_ok() {}
            if let Err(fault) = app.save_window_state(kept()) {
                eprintln!("the window's place could not be kept: {fault}");
            }
        }
    });
}

/// Lets a second start on this folder show the first one's window. Two folders are two devices, as
/// when a day is played on one machine; where the platform cannot tell them apart, the start on a
/// named folder is on its own.
fn only_one(identifier: &str, folder: Option<&Path>) -> Option<TauriPlugin<Wry>> {
    let plugin = tauri_plugin_single_instance::Builder::new().callback(|app, arguments, _| {
        let asked = Asked::read(arguments.into_iter().skip(1).map(OsString::from), None);
        // Whoever was started wrongly is only shown the window.
        show(app, asked.unwrap_or_default().link.as_deref());
    });
    match folder {
        None => Some(plugin.build()),
        Some(folder) if cfg!(target_os = "linux") => {
            Some(plugin.dbus_id(name_of(identifier, folder)).build())
        }
        Some(_) => None,
    }
}

/// A name on the session's bus for the app on a folder, whatever the folder's path is made of.
fn name_of(identifier: &str, folder: &Path) -> String {
    let whole = std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned());
    // One that is not there yet is made by the first start: as much of its path as there is.
    let known = whole.ancestors().find_map(|part| {
        let rest = whole.strip_prefix(part).ok()?;
        Some(part.canonicalize().ok()?.join(rest))
    });
    let folder: PathBuf = known.unwrap_or(whole).components().collect();
    let hash = Sha256::digest(folder.as_os_str().as_encoded_bytes());
    let digits: String = hash[..8].iter().map(|byte| format!("{byte:02x}")).collect();
    format!("{identifier}.on_{digits}")
}

/// Opens it, on the form for an invitation where a link brought one.
pub(crate) fn open(app: &AppHandle, link: Option<&str>) -> tauri::Result<()> {
    let mut config = app.config().app.windows[0].clone();
    if let Some(link) = link {
        config.url = WebviewUrl::App(format!("index.html#{}", form_for(link)).into());
    }
    let window = WebviewWindowBuilder::from_config(app, &config)?
        .on_navigation(is_own)
        .on_new_window(|_, _| NewWindowResponse::Deny)
        .build()?;
    #[cfg(target_os = "linux")]
    crate::drawing::suit_the_machine(&window)?;
    keep_size(&window);
    // Where the platform hands links over while the program runs and not as an argument.
    let handle = app.clone();
    app.deep_link().on_open_url(move |event| {
        for link in event.urls() {
            show(&handle, Some(link.as_str()));
        }
    });
    Ok(())
}

/// Brings the window before the person, and fills the form in where a link came.
fn show(app: &AppHandle, link: Option<&str>) {
    let Some(window) = app.get_webview_window(LABEL) else { return };
    let shown = || {
        window.unminimize()?;
        window.show()?;
        window.set_focus()?;
        let Some(link) = link else { return Ok(()) };
        let mut place = window.url()?;
        place.set_fragment(Some(&form_for(link)));
        window.navigate(place)
    };
    if let Err(fault) = shown() {
        eprintln!("the window could not be shown: {fault}");
    }
}

/// Whether the page may go to an address: only within the program's own files.
fn is_own(address: &Url) -> bool {
    match address.scheme() {
        "tauri" => true,
        // As some platforms write the same.
        "http" | "https" => address.host_str() == Some("tauri.localhost"),
        _ => false,
    }
}

/// The place of the page that shows what a link brought, filled in. One that is no invitation is
/// shown as it came: who asks to come in with it is told what is wrong.
fn form_for(link: &str) -> String {
    let line = match link.parse::<Invitation>() {
        Ok(invitation) => invitation.to_string(),
        Err(_) => link.chars().take(LINK_MAX).collect(),
    };
    let encoded: String = form_urlencoded::byte_serialize(line.as_bytes()).collect();
    format!("/join/{}", encoded.replace('+', "%20"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_stays_at_home() {
        let own = ["tauri://localhost/", "tauri://localhost/#/today", "http://tauri.localhost/x"];
        for address in own {
            assert!(is_own(&address.parse().unwrap()), "{address}");
        }
        let elsewhere = [
            "https://elsewhere.example/",
            "http://127.0.0.1:4770/",
            "http://tauri.localhost.example/",
            "file:///etc/passwd",
            "data:text/html,x",
            "javascript:alert(1)",
        ];
        for address in elsewhere {
            assert!(!is_own(&address.parse().unwrap()), "{address}");
        }
    }

    #[test]
    fn a_link_leads_to_the_form_whatever_it_holds() {
        let (root, host) = ("1f".repeat(32), "e0".repeat(32));
        let line = format!("guyline-join-1 {root} {host} 0123456789ABCDEF 192.0.2.7:4771");
        let invitation: Invitation = line.parse().unwrap();
        let expected =
            format!("/join/guyline-join-1%20{root}%20{host}%200123456789ABCDEF%20192.0.2.7%3A4771");
        assert_eq!(form_for(&invitation.link()), expected);
        assert_eq!(form_for("guyline:x/y#z?é"), "/join/guyline%3Ax%2Fy%23z%3F%C3%A9");
        assert!(form_for(&"x".repeat(9_000)).len() < 2_100);
    }

    #[test]
    fn each_folder_has_a_name_the_bus_takes() {
        let one = name_of("works.guyline.app", Path::new("."));
        assert_eq!(one, name_of("works.guyline.app", &Path::new(".").canonicalize().unwrap()));
        assert_ne!(one, name_of("works.guyline.app", Path::new("elsewhere")));
        let folder = std::env::temp_dir().join(format!("guyline-window-{}", std::process::id()));
        let before = name_of("works.guyline.app", &folder);
        std::fs::create_dir_all(&folder).unwrap();
        let after = name_of("works.guyline.app", &folder);
        std::fs::remove_dir_all(&folder).unwrap();
        assert_eq!(before, after, "the first start makes the folder, the second one finds it");
        // Elements of letters, digits and underscores that begin with no digit (D-Bus
        // specification, "Bus names"; from memory, unverified).
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '_';
        assert!(
            one.split('.')
                .all(|part| part.starts_with(char::is_alphabetic) && part.chars().all(plain)),
            "{one}"
        );
    }
}
