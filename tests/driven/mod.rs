//! A real window, driven from outside as a person would: by the window's test and by the benches.
//!
//! Method: a screen in memory, a session bus of its own, the built program, and tauri-driver 2 over
//! WebKitWebDriver. Nothing here asserts anything about the app.

mod keyring;
mod stage;
mod webdriver;

pub use keyring::Secrets;
pub use stage::{Stage, running_on};
pub use webdriver::{Element, Page, until};
