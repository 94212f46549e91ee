//! Goal: a folder that the keyring of the platform opens, with a real one: what the program says
//! of it while that is unlocked, locked, away, and without the item. Method: the built program
//! beside a Secret Service on a bus of its own. `status` opens the folder's keys as the window
//! does.

use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use guyline_hub::Node;
use guyline_tests::built;
use guyline_tests::driven::Secrets;

const WORDS: &str = "seven guyed masts in fog";
const OPENS: &str = "the window opens it with the platform's keyring";

/// A folder, and the file with its passphrase.
struct Device {
    folder: tempfile::TempDir,
}

impl Device {
    fn encrypted() -> Self {
        let device = Self { folder: tempfile::tempdir().unwrap() };
        drop(Node::open(&device.dir()).unwrap());
        std::fs::write(device.folder.path().join("words"), WORDS).unwrap();
        device.encrypt(&["on"], "unix:path=/nonexistent").unwrap();
        device
    }

    fn dir(&self) -> std::path::PathBuf {
        self.folder.path().join("node")
    }

    /// What `guyline encrypt` prints beside a bus, or its error.
    fn encrypt(&self, what: &[&str], bus: &str) -> Result<String, String> {
        let done = Command::new(built("guyline"))
            .arg("encrypt")
            .args(what)
            .arg("--data")
            .arg(self.dir())
            .arg("--passphrase-file")
            .arg(self.folder.path().join("words"))
            .env("DBUS_SESSION_BUS_ADDRESS", bus)
            .output()
            .unwrap();
        let said = [done.stdout, done.stderr].concat();
        let said = String::from_utf8(said).unwrap();
        if done.status.success() { Ok(said) } else { Err(said) }
    }

    fn status(&self, bus: &str) -> String {
        self.encrypt(&["status"], bus).unwrap()
    }
}

fn has_slot(dir: &Path) -> bool {
    dir.join("node.keyring").exists()
}

#[test]
fn a_real_keyring_opens_the_folder_until_it_is_locked_away_or_without_the_item() {
    let secrets = Secrets::with_bus();
    let bus = secrets.address();
    let device = Device::encrypted();
    assert!(!device.status(bus).contains("keyring"), "nobody asked for it");
    let said = device.encrypt(&["keyring", "on"], bus).unwrap();
    assert!(said.contains("keep the passphrase"), "{said}");
    assert_eq!(secrets.items().len(), 1);
    assert!(device.status(bus).contains(OPENS));

    device.encrypt(&["keyring", "on"], bus).unwrap();
    assert_eq!(secrets.items().len(), 1, "switched on anew it has one item");
    secrets.delete_items();
    let lost = device.status(bus);
    assert!(lost.contains("asks for the passphrase: the keyring does not have"), "{lost}");
    device.encrypt(&["keyring", "on"], bus).unwrap();
    assert!(device.status(bus).contains(OPENS));

    let away = device.status("unix:path=/nonexistent");
    assert!(away.contains("asks for the passphrase: there is no keyring here"), "{away}");

    secrets.lock();
    let locked = device.status(bus);
    assert!(locked.contains("asks for the passphrase: the keyring is locked"), "{locked}");
    let refused = device.encrypt(&["keyring", "on"], bus).unwrap_err();
    assert!(refused.contains("the keyring is locked") && refused.contains("help:"), "{refused}");
    let off = device.encrypt(&["keyring", "off"], bus).unwrap();
    assert!(off.contains("may still be in the keyring") && !has_slot(&device.dir()), "{off}");
    assert!(!device.status(bus).contains("keyring"));
}

#[test]
fn a_keyring_answers_before_anybody_could_have_typed() {
    let secrets = Secrets::with_bus();
    let device = Device::encrypted();
    let took = || {
        let mut took: Vec<Duration> = (0..9)
            .map(|_| {
                let start = Instant::now();
                device.status(secrets.address());
                start.elapsed()
            })
            .collect();
        took.sort();
        took[4]
    };
    let without = took();
    device.encrypt(&["keyring", "on"], secrets.address()).unwrap();
    let with = took();
    println!("status takes {without:?}, and {with:?} where a keyring opens the folder");
    // A person is not kept waiting (common practice, no source).
    assert!(with < without + Duration::from_secs(1));
}

#[test]
fn switched_off_nothing_of_it_is_left_in_the_keyring() {
    let secrets = Secrets::with_bus();
    let bus = secrets.address();
    let device = Device::encrypted();
    for off in [&["keyring", "off"][..], &["off"]] {
        device.encrypt(&["keyring", "on"], bus).unwrap();
        assert_eq!(secrets.items().len(), 1);
        device.encrypt(off, bus).unwrap();
        assert_eq!(secrets.items(), Vec::<String>::new(), "after {off:?}");
        assert!(!has_slot(&device.dir()), "after {off:?}");
    }
    let plain = device.encrypt(&["keyring", "on"], bus).unwrap_err();
    assert!(plain.contains("is not encrypted"), "{plain}");
}
