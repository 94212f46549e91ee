//! The node behind the window: opened at the start, or when its passphrase was typed. A keyring
//! may open it at the start; where it does not, the door says why and the passphrase is asked for.
//! A window that locked itself asks for it whatever a keyring says.
//!
//! In: a data directory. Out: the node and its merging by itself, which end with the process; what
//! it was moving is made good by the next merge. Until an encrypted node is open every command is
//! answered with that, and again once nobody touched the window for as long as the device is set
//! to: the node stays open and merges on, and only the window is shut. A passphrase is kept
//! nowhere.

use std::path::{Path, PathBuf};
use std::sync::{Mutex as Held, MutexGuard, OnceLock, PoisonError};
use std::time::Duration;

use guyline_hub::at_rest::idle::{LockRefused, Moment, Watch};
use guyline_hub::at_rest::keyring::{self, KeyringError, Platform, RingFault};
use guyline_hub::at_rest::{Keys, Passphrase, is_encrypted};
use guyline_hub::background::Background;
use guyline_hub::desk::{self, Code, Refusal};
use guyline_hub::documents::NodeError;
use guyline_hub::{Node, NodeRefused};
use serde::{Deserialize, Serialize};
use tauri::async_runtime::{Mutex, spawn_blocking};

/// So many wrong passphrases are answered as fast as they can be tried; each one after them waits.
const TRIES: u32 = 10;
const WAIT: Duration = Duration::from_secs(30);

/// Where the node is, and the node once it is open.
pub(crate) struct Door {
    dir: PathBuf,
    encrypted: bool,
    opened: OnceLock<(Node, Background)>,
    /// Whether somebody is at the window of an encrypted node.
    watch: Held<Watch>,
    /// How many passphrases were wrong. Held while one is tried: one at a time is.
    wrong: Mutex<u32>,
    /// Why a keyring that was to open it did not.
    ring_fault: Held<Option<RingFault>>,
}

/// What somebody typed.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Typed {
    passphrase: String,
}

/// Whether a keyring is to open it, and the passphrase, which is wanted for either.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct RingAsked {
    on: bool,
    passphrase: String,
}

/// How this device is locked.
#[derive(Serialize)]
pub(crate) struct Locking {
    encrypted: bool,
    /// After how many seconds without touch the passphrase is asked for again; none: never.
    after_s: Option<u64>,
    /// Whether a keyring opens it at the start.
    keyring: bool,
}

/// After how many seconds without touch the passphrase is asked for again; none: never.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct LockAfter {
    after_s: Option<u64>,
}

impl Door {
    /// Opens the node in a directory, unless it waits for a passphrase: one that is encrypted and
    /// that no keyring opens.
    pub(crate) fn at(dir: PathBuf) -> Result<Self, NodeRefused> {
        let encrypted = is_encrypted(&dir).map_err(|error| NodeRefused::Store(error.into()))?;
        let mut watch = Watch::begin(None, Moment::now());
        let mut ring_fault = None;
        let node = match encrypted {
            false => Some(Node::open(&dir)?),
            true => by_keyring(&dir).unwrap_or_else(|fault| {
                ring_fault = Some(fault);
                None
            }),
        };
        if let Some(node) = node.as_ref().filter(|_| encrypted) {
            watch = begun(node).map_err(NodeRefused::Seals)?;
        }
        let (opened, wrong) = (OnceLock::new(), Mutex::new(0));
        let (watch, ring_fault) = (Held::new(watch), Held::new(ring_fault));
        let door = Self { dir, encrypted, opened, watch, wrong, ring_fault };
        if let Some(node) = node.map(with_papers) {
            let merging = tauri::async_runtime::block_on(async { Background::start(&node) });
            read_ahead(node.clone());
            // Nobody else has the door yet.
            let _first = door.opened.set((node, merging));
        }
        Ok(door)
    }

    /// The node, while the window is not shut.
    pub(crate) fn node(&self) -> Result<&Node, Refusal> {
        let shut = |what| Refusal::new(Code::Locked, what, "type the passphrase of this device");
        let opened = self.opened.get().map(|(node, _)| node);
        let node = opened.ok_or_else(|| shut("what is on this device is encrypted"))?;
        match self.watch().is_locked(Moment::now()) {
            true => Err(shut("nobody touched this device for a while")),
            false => Ok(node),
        }
    }

    /// The window was closed: what was worked on is made quick to open the next time.
    pub(crate) fn rest(&self) {
        let Some((node, _)) = self.opened.get() else { return };
        if self.encrypted
            && !self.watch().is_locked(Moment::now())
            && let Err(error) = node.left_open()
        {
            // The next start asks for the passphrase, which does no harm.
            eprintln!("that the window was closed could not be noted: {error}");
        }
        if let Err(error) = node.rest() {
            // Nothing is lost by it, and the next start tells what is wrong with the disk.
            eprintln!("what was worked on is not as quick to open as it could be: {error}");
        }
    }

    /// Why a keyring that was to open it did not, in a word a screen looks up.
    pub(crate) fn ring_fault(&self) -> Option<&'static str> {
        self.ring_fault.lock().unwrap_or_else(PoisonError::into_inner).as_ref().map(RingFault::word)
    }

    fn watch(&self) -> MutexGuard<'_, Watch> {
        // It holds whole values only: a panic elsewhere leaves it as it was.
        self.watch.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Somebody touched the window.
    pub(crate) fn touched(&self) {
        self.watch().touch(Moment::now());
    }

    /// How it is locked.
    pub(crate) fn locking(&self) -> Result<Locking, Refusal> {
        let after = self.node()?.lock_after()?.filter(|_| self.encrypted);
        let after_s = after.map(|after| after.as_secs());
        Ok(Locking { encrypted: self.encrypted, after_s, keyring: keyring::is_on(&self.dir) })
    }

    /// Has a keyring open it at the start from now on, or no longer. Gives why the keyring may
    /// still have an item that opens nothing.
    pub(crate) async fn keyring(&self, asked: RingAsked) -> Result<Option<&'static str>, Refusal> {
        self.node()?;
        let mut wrong = self.wrong.lock().await;
        let (dir, waits) = (self.dir.clone(), *wrong >= TRIES);
        let switched = spawn_blocking(move || {
            if waits {
                std::thread::sleep(WAIT);
            }
            let passphrase = passphrase(&asked.passphrase)?;
            let left = match asked.on {
                true => keyring::on(&dir, &passphrase, &Platform).map(|()| None),
                false => keyring::off(&dir, &passphrase, &Platform),
            };
            left.map_err(|error| ring_refusal(&error))
        });
        let switched = switched.await.map_err(|fault| ended(&fault))?;
        match &switched {
            Ok(_) => *wrong = 0,
            Err(refusal) => *wrong += u32::from(refusal.code == Code::Locked),
        }
        Ok(switched?.as_ref().map(RingFault::word))
    }

    /// Chooses after how long it is.
    pub(crate) fn lock_after(&self, asked: &LockAfter) -> Result<(), Refusal> {
        let node = self.node()?;
        if !self.encrypted {
            let help = "encrypt it first: guyline encrypt on --data FOLDER";
            let what = "what is on this device is not encrypted, so there is no passphrase to ask";
            return Err(Refusal::new(Code::EditRefused, what, help));
        }
        let after = asked.after_s.map(Duration::from_secs);
        node.set_lock_after(after).map_err(|error| match error {
            LockRefused::Node(error) => error.into(),
            error => Refusal::new(Code::WrongBody, error.to_string(), "choose another time"),
        })?;
        self.watch().choose(after, Moment::now());
        Ok(())
    }

    /// Opens it with a passphrase, or the window on it again.
    pub(crate) async fn unlock(&self, typed: Typed) -> Result<(), Refusal> {
        let mut wrong = self.wrong.lock().await;
        let again = self.opened.get().map(|(node, _)| node);
        if again.is_some() && !self.watch().is_locked(Moment::now()) {
            return Ok(());
        }
        let (dir, waits, again) = (self.dir.clone(), *wrong >= TRIES, again.cloned());
        let opened = spawn_blocking(move || {
            if waits {
                std::thread::sleep(WAIT);
            }
            let node = match again {
                None => {
                    let node = open(&dir, &typed.passphrase)?;
                    // How it was left says nothing more once the passphrase was typed.
                    node.was_left_shut()?;
                    node
                }
                Some(node) => fits(&dir, &typed.passphrase).map(|()| node)?,
            };
            let after = node.lock_after()?;
            Ok::<_, Refusal>((node, after))
        });
        match opened.await.map_err(|fault| ended(&fault))? {
            Ok((node, after)) => {
                *self.watch() = Watch::begin(after, Moment::now());
                self.opened.get_or_init(|| {
                    let merging = Background::start(&node);
                    (node, merging)
                });
                *wrong = 0;
                *self.ring_fault.lock().unwrap_or_else(PoisonError::into_inner) = None;
                Ok(())
            }
            Err(refusal) => {
                *wrong += u32::from(refusal.code == Code::Locked);
                Err(refusal)
            }
        }
    }
}

/// The node of an encrypted folder, by the keyring; none where none is to open it.
fn by_keyring(dir: &Path) -> Result<Option<Node>, RingFault> {
    let Some(keys) = keyring::keys(dir, &Platform)? else { return Ok(None) };
    // What else is wrong with the store is said when the passphrase was typed.
    Node::unlock_with(dir, keys).map(Some).map_err(|_| RingFault::Unfit)
}

/// Whether the passphrase is wanted all the same of a node that a keyring opened.
fn begun(node: &Node) -> Result<Watch, NodeError> {
    let after = node.lock_after()?;
    let begun = if node.was_left_shut()? { Watch::shut } else { Watch::begin };
    Ok(begun(after, Moment::now()))
}

fn ended(fault: &tauri::Error) -> Refusal {
    Refusal::new(Code::StoreFailed, fault.to_string(), "close the window and start again")
}

fn ring_refusal(error: &KeyringError) -> Refusal {
    // The window counts wrong passphrases by this code.
    let code = match error {
        KeyringError::Switch(_) => Code::Locked,
        KeyringError::Ring(_) => Code::EditRefused,
    };
    Refusal::new(code, error.to_string(), error.help())
}

/// Reads what the first screen asks for, while the window is still coming up.
fn read_ahead(node: Node) {
    tauri::async_runtime::spawn(async move {
        // What is wrong with it is said to whoever asks.
        drop(desk::call(&node, "today", serde_json::json!({})).await);
    });
}

fn open(dir: &Path, typed: &str) -> Result<Node, Refusal> {
    Ok(with_papers(Node::unlock(dir, &passphrase(typed)?)?))
}

/// Whether a passphrase is that of a folder which is open already.
fn fits(dir: &Path, typed: &str) -> Result<(), Refusal> {
    let passphrase = passphrase(typed)?;
    Keys::of(dir, Some(&passphrase))?;
    Ok(())
}

fn passphrase(typed: &str) -> Result<Passphrase, Refusal> {
    Passphrase::new(typed)
        .map_err(|error| Refusal::new(Code::Locked, error.to_string(), error.help()))
}

fn with_papers(node: Node) -> Node {
    node.with_typesetter(|work, language, paper| {
        guyline_typeset::pdf(work, language, paper).map_err(|error| error.to_string())
    })
}
