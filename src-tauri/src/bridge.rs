//! The one command a window can call: it hands a desk command to this device's node.
//!
//! In: the command's name, its body as JSON, as `POST /api/<command>` takes them, and the language
//! the screen is in. Out: the answer as JSON, or the refusal as the desk worded it. The window and
//! a browser at a hub see the same desk; only what a browser does by itself, keeping a file and
//! giving notice, and the passphrase of this device, when it is typed and when it is asked for
//! again, are the window's and done here. It knows no command of the desk by name.

use guyline_hub::desk::{self, Code, Language, Refusal};
use serde::de::DeserializeOwned;
use serde_json::{Value, json};
use tauri::{State, WebviewWindow};

use crate::door::Door;
use crate::{keeping, notices};

/// Passes one desk command to the node and its answer back.
#[tauri::command]
pub(crate) async fn desk(
    window: WebviewWindow,
    door: State<'_, Door>,
    command: String,
    body: Value,
    language: Option<Language>,
) -> Result<Value, Refusal> {
    match command.as_str() {
        "keep-file" => {
            let kept = keeping::keep(&window, read(body)?).await?;
            Ok(json!({ "at": kept }))
        }
        "give-notice" => {
            let given = notices::give(&window, read(body)?).await?;
            Ok(json!({ "given": given }))
        }
        "unlock" => {
            door.unlock(read(body)?).await?;
            Ok(json!({}))
        }
        "keyring-fault" => Ok(json!({ "fault": door.ring_fault() })),
        "keyring" => {
            let left = door.keyring(read(body)?).await?;
            Ok(json!({ "left": left }))
        }
        "touched" => {
            door.touched();
            Ok(json!({}))
        }
        "locking" => {
            let locking = door.locking()?;
            Ok(json!(locking))
        }
        "lock-after" => {
            door.lock_after(&read(body)?)?;
            Ok(json!({}))
        }
        _ => {
            let language = language.unwrap_or_default();
            desk::call_in(door.node()?, language, &command, body).await
        }
    }
}

fn read<T: DeserializeOwned>(body: Value) -> Result<T, Refusal> {
    serde_json::from_value(body).map_err(|error| {
        let help = "send the fields this command asks for, and no others";
        Refusal::new(Code::WrongBody, error.to_string(), help)
    })
}
