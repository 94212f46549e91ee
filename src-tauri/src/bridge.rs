//! The one command a window can call: it hands a desk command to this device's node.
//!
//! In: the command's name and its body as JSON, as `POST /api/<command>` takes them. Out: the
//! answer as JSON, or the refusal as the desk worded it. It adds nothing, so that the window and a
//! browser at a hub see the same desk; it knows no command by name.

use guyline_hub::Node;
use guyline_hub::desk::{self, Refusal};
use serde_json::Value;
use tauri::State;

/// Passes one desk command to the node and its answer back.
#[tauri::command]
pub(crate) async fn desk(
    node: State<'_, Node>,
    command: String,
    body: Value,
) -> Result<Value, Refusal> {
    desk::call(&node, &command, body).await
}
