//! Build script of the app: declares its one command, so that a window needs a permission to call
//! it.
//!
//! Without the declaration every window could call every command of the app; with it,
//! `capabilities/main.json` says who may. The icon and `ui/dist` are read by the same step.

fn main() {
    let manifest = tauri_build::AppManifest::new().commands(&["desk"]);
    let attributes = tauri_build::Attributes::new().app_manifest(manifest);
    tauri_build::try_build(attributes)
        .expect("tauri.conf.json, capabilities/ and icons/ are in the repository and valid");
}
