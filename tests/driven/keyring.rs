//! A real keyring for a session's bus of its own: gnome-keyring's Secret Service, unlocked.
//!
//! It keeps its files in a temporary folder and ends when it is dropped.

use std::io::Write as _;
use std::process::{Command, Stdio};

use tempfile::TempDir;

use super::stage::{Running, start_bus};
use super::webdriver::until;

const SERVICE: &str = "org.freedesktop.Secret.Service";
const LOGIN: &str = "/org/freedesktop/secrets/collection/login";

/// The keyring. Fields are dropped in their order: the daemon before its bus and its folder.
pub struct Secrets {
    _daemon: Running,
    _bus: Option<Running>,
    address: String,
    _home: TempDir,
}

impl Secrets {
    /// Starts a bus and a keyring on it.
    pub fn with_bus() -> Self {
        let (bus, address) = start_bus();
        Self { _bus: Some(bus), ..Self::on(&address) }
    }

    /// Starts a keyring on a bus.
    pub fn on(address: &str) -> Self {
        let home = tempfile::tempdir().expect("a folder for the keyring");
        let mut child = Command::new("gnome-keyring-daemon")
            .args(["--unlock", "--foreground", "--components=secrets"])
            .env("DBUS_SESSION_BUS_ADDRESS", address)
            .env("HOME", home.path())
            .env("XDG_DATA_HOME", home.path().join("data"))
            .env("XDG_RUNTIME_DIR", home.path())
            // It would have its questions asked on a screen.
            .env_remove("DISPLAY")
            .env_remove("WAYLAND_DISPLAY")
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("gnome-keyring-daemon starts; ./tests/run installs it");
        let mut password = child.stdin.take().expect("its input was piped");
        password.write_all(b"of the keyring itself").expect("it reads its password");
        drop(password);
        let daemon = Running(child);
        let secrets =
            Self { _daemon: daemon, _bus: None, address: address.to_owned(), _home: home };
        // Named only: a question would have the bus start a keyring of its own.
        let named = until(|| secrets.is_named().then_some(()));
        assert!(named.is_some(), "no keyring came up on {address}");
        let ready =
            until(|| secrets.asked("ReadAlias", "string:default").contains(LOGIN).then_some(()));
        assert!(ready.is_some(), "the keyring has no default collection");
        secrets
    }

    /// The bus it is on.
    pub fn address(&self) -> &str {
        &self.address
    }

    /// Locks it, as when the person's session is locked.
    pub fn lock(&self) {
        let said = self.asked("Lock", &format!("array:objpath:{LOGIN}"));
        assert!(said.contains(LOGIN), "it was not locked: {said}");
    }

    /// The items that Guyline has in there.
    pub fn items(&self) -> Vec<String> {
        let said = self.asked("SearchItems", "dict:string:string:application,guyline");
        let paths = said.lines().filter_map(|line| line.trim().strip_prefix("object path \""));
        paths.map(|path| path.trim_end_matches('"').to_owned()).collect()
    }

    /// Takes them away, as their owner may.
    pub fn delete_items(&self) {
        for item in self.items() {
            self.sent(&[&item, "org.freedesktop.Secret.Item.Delete"]);
        }
        assert_eq!(self.items(), Vec::<String>::new());
    }

    fn is_named(&self) -> bool {
        let listed = Command::new("dbus-send")
            .args([&format!("--bus={}", self.address), "--print-reply"])
            .args(["--dest=org.freedesktop.DBus", "/org/freedesktop/DBus"])
            .arg("org.freedesktop.DBus.ListNames")
            .output()
            .expect("dbus-send starts; ./tests/run installs it");
        String::from_utf8_lossy(&listed.stdout).contains("\"org.freedesktop.secrets\"")
    }

    fn asked(&self, what: &str, argument: &str) -> String {
        self.sent(&["/org/freedesktop/secrets", &format!("{SERVICE}.{what}"), argument])
    }

    fn sent(&self, message: &[&str]) -> String {
        let sent = Command::new("dbus-send")
            .args([&format!("--bus={}", self.address), "--print-reply"])
            .arg("--dest=org.freedesktop.secrets")
            .args(message)
            .output()
            .expect("dbus-send starts; ./tests/run installs it");
        let told = String::from_utf8_lossy(&sent.stderr);
        assert!(sent.status.success(), "the keyring refused {message:?}: {told}");
        String::from_utf8_lossy(&sent.stdout).into_owned()
    }
}
