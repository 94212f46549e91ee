//! The node behind the window: opened at the start, or when its passphrase was typed.
//!
//! In: a data directory. Out: the node and its merging by itself, which end with the process; what
//! it was moving is made good by the next merge. Until an encrypted node is open every command is
//! answered with that. A passphrase is kept nowhere.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use std::time::Duration;

use guyline_hub::at_rest::{Passphrase, is_encrypted};
use guyline_hub::background::Background;
use guyline_hub::desk::{Code, Refusal};
use guyline_hub::{Node, NodeRefused};
use serde::Deserialize;
use tauri::async_runtime::{Mutex, spawn_blocking};

/// So many wrong passphrases are answered as fast as they can be tried; each one after them waits.
const TRIES: u32 = 10;
const WAIT: Duration = Duration::from_secs(30);

/// Where the node is, and the node once it is open.
pub(crate) struct Door {
    dir: PathBuf,
    opened: OnceLock<(Node, Background)>,
    /// How many passphrases were wrong. Held while one is tried: one at a time is.
    wrong: Mutex<u32>,
}

/// What somebody typed.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Typed {
    passphrase: String,
}

impl Door {
    /// Opens the node in a directory, unless it waits for a passphrase.
    pub(crate) fn at(dir: PathBuf) -> Result<Self, NodeRefused> {
        let door = Self { opened: OnceLock::new(), wrong: Mutex::new(0), dir };
        let locked = is_encrypted(&door.dir).map_err(|error| NodeRefused::Store(error.into()))?;
        if !locked {
            let node = with_papers(Node::open(&door.dir)?);
            let merging = tauri::async_runtime::block_on(async { Background::start(&node) });
            // Nobody else has the door yet.
            let _first = door.opened.set((node, merging));
        }
        Ok(door)
    }

    /// The node.
    pub(crate) fn node(&self) -> Result<&Node, Refusal> {
        let locked = || {
            let help = "type the passphrase of this device";
            Refusal::new(Code::Locked, "what is on this device is encrypted", help)
        };
        self.opened.get().map(|(node, _)| node).ok_or_else(locked)
    }

    /// Opens it with a passphrase.
    pub(crate) async fn unlock(&self, typed: Typed) -> Result<(), Refusal> {
        let mut wrong = self.wrong.lock().await;
        if self.opened.get().is_some() {
            return Ok(());
        }
        let (dir, waits) = (self.dir.clone(), *wrong >= TRIES);
        let opened = spawn_blocking(move || {
            if waits {
                std::thread::sleep(WAIT);
            }
            open(&dir, &typed.passphrase)
        });
        let ended = |fault: tauri::Error| {
            Refusal::new(Code::StoreFailed, fault.to_string(), "close the window and start again")
        };
        match opened.await.map_err(ended)? {
            Ok(node) => {
                let merging = Background::start(&node);
                let _first = self.opened.set((node, merging));
                *wrong = 0;
                Ok(())
            }
            Err(refusal) => {
                *wrong += u32::from(refusal.code == Code::Locked);
                Err(refusal)
            }
        }
    }
}

fn open(dir: &Path, typed: &str) -> Result<Node, Refusal> {
    let passphrase = Passphrase::new(typed)
        .map_err(|error| Refusal::new(Code::Locked, error.to_string(), error.help()))?;
    Ok(with_papers(Node::unlock(dir, &passphrase)?))
}

fn with_papers(node: Node) -> Node {
    node.with_typesetter(|work, language, paper| {
        guyline_typeset::pdf(work, language, paper).map_err(|error| error.to_string())
    })
}
