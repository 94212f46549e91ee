//! How the window's page is put on the screen: without layers where there is no graphics processor.
//!
//! The toolkit puts a page together from layers as a graphics processor would, and where there is
//! none a program plays one, which takes longer than the page itself. The bench `typing-to-verdict`
//! shows it.

use std::path::Path;

use tauri::WebviewWindow;
use webkit2gtk::{HardwareAccelerationPolicy, SettingsExt as _, WebViewExt as _};

/// Where the kernel shows what can draw (Linux, Documentation/gpu/drm-uapi, "Render nodes").
const CAN_DRAW: &str = "/dev/dri";

pub(crate) fn suit_the_machine(window: &WebviewWindow) -> tauri::Result<()> {
    if has_graphics(Path::new(CAN_DRAW)) {
        return Ok(());
    }
    window.with_webview(|view| {
        if let Some(settings) = view.inner().settings() {
            settings.set_hardware_acceleration_policy(HardwareAccelerationPolicy::Never);
        }
    })
}

/// Whether a graphics processor may be used. A screen alone, as a server has, draws nothing.
fn has_graphics(folder: &Path) -> bool {
    let Ok(nodes) = folder.read_dir() else { return false };
    nodes.flatten().any(|node| node.file_name().as_encoded_bytes().starts_with(b"renderD"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_render_node_draws() {
        let folder = std::env::temp_dir().join(format!("guyline-drawing-{}", std::process::id()));
        assert!(!has_graphics(&folder), "nothing is there");
        std::fs::create_dir_all(&folder).unwrap();
        std::fs::write(folder.join("card0"), []).unwrap();
        let screen_alone = has_graphics(&folder);
        std::fs::write(folder.join("renderD128"), []).unwrap();
        let whole = has_graphics(&folder);
        std::fs::remove_dir_all(&folder).unwrap();
        assert_eq!((screen_alone, whole), (false, true));
    }
}
