//! Goal: the program says what it cannot do, where, and what to do next, with its exit code; what
//! it is given and cannot use stays as it was. Method: the built program, run on such input.

use std::path::Path;
use std::process::{Command, Output};

use guyline_tests::built;
use guyline_tests::served::Served;

use crate::crew::{Device, device, work};

fn run(words: &[&str], data: &Path, more: &[&str]) -> Output {
    let mut command = Command::new(built("guyline"));
    command.args(words).arg("--data").arg(data).args(more);
    command.output().expect("the program starts")
}

/// A served node.
fn serve(data: &Path) -> Served {
    let mut command = Command::new(built("guyline"));
    command.args(["serve", "--listen", "127.0.0.1:0", "--data"]).arg(data);
    Served::start(command, "Guyline is at ")
}

/// A device's folder, with nobody using it.
fn closed(device: Device) -> tempfile::TempDir {
    let Device { node, folder } = device;
    drop(node);
    folder
}

/// What a refusal looks like: exit code 1, nothing on standard output, what and help.
fn refused(output: &Output, expected: &[&str]) {
    let text = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{text}");
    assert!(output.stdout.is_empty());
    for expected in expected.iter().chain(&["could not ", "\n  help: "]) {
        assert!(text.contains(expected), "lacks {expected:?}: {text}");
    }
    assert!(!text.contains("panicked"), "{text}");
}

#[test]
fn a_served_node_is_exchanged_with_and_stops_when_told() {
    for signal in ["-INT", "-TERM"] {
        let (hub, ines) = (device("hub"), device("Ines"));
        work(&hub.node, 1, 2);
        work(&ines.node, 2, 1);
        // Only the folders stay: the nodes themselves would keep the program out.
        let (hub, ines) = (closed(hub), closed(ines));
        let mut serving = serve(hub.path());
        let output = run(&["exchange"], ines.path(), &[&serving.screens()]);
        let text = String::from_utf8(output.stdout).unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        assert!(text.contains("level with hub after 2 round trips"), "{text}");
        assert!(text.contains("sent      2 changes"), "{text}");
        assert!(text.contains("received  3 changes"), "{text}");
        serving.signal(signal);
        assert!(serving.wait().success(), "{signal} ends it with success");
        let heads = [&hub, &ines].map(|dir| guyline_hub::Node::open(dir.path()).unwrap().heads());
        assert_eq!(heads[0].as_ref().unwrap(), heads[1].as_ref().unwrap());
    }
}

#[test]
fn a_folder_or_a_port_in_use_is_named() {
    let (first, second) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let serving = serve(first.path());
    let folder = first.path().display().to_string();
    let output = run(&["serve"], first.path(), &[]);
    refused(&output, &["another Guyline is using", &folder, "--data"]);
    let output = run(&["exchange"], first.path(), &["127.0.0.1:1"]);
    refused(&output, &["another Guyline is using", &folder]);
    let screens = serving.screens();
    let address = screens.trim_start_matches("http://");
    let output = run(&["serve"], second.path(), &["--listen", address]);
    refused(&output, &[address, "in use", "another port"]);
}

#[test]
fn a_foreign_a_damaged_and_a_later_store_are_named_and_left_as_they_were() {
    let own = closed(device("hub"));
    let whole = std::fs::read(own.path().join("node.sqlite")).unwrap();
    let later = [&whole[..60], &99u32.to_be_bytes(), &whole[64..]].concat();
    let table = [
        (b"not a database at all".to_vec(), "is not a Guyline store"),
        (whole[..whole.len() / 2].to_vec(), "is damaged"),
        (later, "is a store of version 99"),
        (other_database(), "a database of another program"),
    ];
    for (content, said) in table {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("node.sqlite");
        std::fs::write(&file, &content).unwrap();
        let output = run(&["serve"], folder.path(), &[]);
        refused(&output, &[said, &file.display().to_string()]);
        assert_eq!(std::fs::read(&file).unwrap(), content, "{said}");
    }
}

fn other_database() -> Vec<u8> {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("other.sqlite");
    let other = rusqlite::Connection::open(&file).unwrap();
    other
        .execute_batch("CREATE TABLE recipe (name TEXT); INSERT INTO recipe VALUES ('stew');")
        .unwrap();
    other.close().unwrap();
    std::fs::read(file).unwrap()
}

#[test]
fn an_address_that_cannot_be_is_wrong_input_and_makes_no_store() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("node");
    for address in ["192.0.2.7:4770", "hub", "https://127.0.0.1:4770"] {
        let output = run(&["exchange"], &data, &[address]);
        let text = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{address}: {text}");
        assert!(text.contains(address) && text.contains("\n  help: "), "{address}: {text}");
        assert!(!data.exists(), "{address}: a store was made");
    }
    let output = Command::new(built("guyline")).args(["serve", "--date", "x"]).output().unwrap();
    assert_eq!(output.status.code(), Some(2));
}

#[test]
fn a_store_is_looked_through_copied_and_made_from_its_copy() {
    let hub = device("hub");
    work(&hub.node, 1, 2);
    let folder = tempfile::tempdir().unwrap();
    let (copy, back) = (folder.path().join("copy.sqlite"), folder.path().join("back"));
    let words = |output: &Output| String::from_utf8_lossy(&output.stdout).into_owned();
    // While the node is open here: a copy needs nobody to stop.
    let output = run(&["backup"], hub.folder.path(), &[copy.to_str().unwrap()]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let output = run(&["backup"], hub.folder.path(), &[copy.to_str().unwrap()]);
    refused(&output, &["is there already", "copy.sqlite"]);
    let output = run(&["restore"], &back, &[copy.to_str().unwrap()]);
    assert!(words(&output).contains("made a store"), "{}", words(&output));
    let output = run(&["inspect"], &back, &[]);
    assert_eq!(words(&output), "1 documents, 3 changes, 0 set aside\n");
    let output = run(&["inspect"], &back, &["--json"]);
    let found: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(found["changes"], 3);
    for (words, more) in [("inspect", &[][..]), ("history", &["01ARZ3NDEKTSV4RRFFQ69G5FAV"])] {
        let output = run(&[words], &folder.path().join("nowhere"), more);
        refused(&output, &["holds no store"]);
    }
    assert!(!folder.path().join("nowhere").exists(), "nothing was made");
}

#[test]
fn a_damaged_change_is_named_and_the_exit_code_says_so() {
    let hub = device("hub");
    work(&hub.node, 1, 2);
    let hub = closed(hub);
    let file = rusqlite::Connection::open(hub.path().join("node.sqlite")).unwrap();
    let damage = "UPDATE change SET bytes = zeroblob(length(bytes)) WHERE position = 2";
    assert_eq!(file.execute(damage, []).unwrap(), 1);
    file.close().unwrap();
    let output = run(&["inspect"], hub.path(), &[]);
    assert_eq!(output.status.code(), Some(1));
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let id = crate::crew::id(1).to_string();
    assert!(text.contains(&format!("DAMAGED {id}")) && text.contains("position 2"), "{text}");
    assert!(String::from_utf8_lossy(&output.stderr).contains("help: run guyline repair"));
}
