//! Goal: the built program as a hub on a bucket: what one device attaches another one gets, it lies
//! in the bucket and not in the folder, every command on the folder knows where, and the keys are
//! told nobody. Method: the program, a store with buckets that is none of ours, devices over TLS.

use std::path::Path;
use std::process::{Command, Output, Stdio};

use guyline_hub::attachments::ContentHash;
use guyline_hub::desk::{Given, attach_file};
use guyline_tests::served::Served;
use guyline_tests::{author, built};

use crate::bucket_store::{BucketStore, KEY_ID, PREFIX, SECRET, plain};
use crate::crew::{Device, Seeded, device, id, work};
use crate::members::let_in;

fn guyline(words: &[&str], data: &Path) -> Command {
    let mut command = Command::new(built("guyline"));
    command.args(words).arg("--data").arg(data);
    command.env("GUYLINE_BUCKET_KEY_ID", KEY_ID).env("GUYLINE_BUCKET_SECRET", SECRET);
    command
}

fn serve(data: &Path, store: &BucketStore) -> Command {
    let mut command = guyline(&["serve", "--no-background", "--share", "127.0.0.1:0"], data);
    command.args(["--log", "debug", "--bucket", "photographs", "--bucket-prefix", PREFIX]);
    command.args(["--bucket-endpoint", &store.endpoint]);
    command
}

fn told(output: &Output) -> String {
    String::from_utf8_lossy(&[&output.stdout[..], &output.stderr].concat()).into_owned()
}

/// Starts a hub, and gives where it shares as well.
fn started(mut command: Command) -> (Served, String) {
    command.stderr(Stdio::piped());
    let hub = Served::start(command, "Attachments are kept in");
    let share = format!("https://{}", hub.shared());
    (hub, share)
}

fn attach(device: &Device, seed: u64, length: usize) -> (ContentHash, Vec<u8>) {
    let mut bytes = b"%PDF-1.7\n".to_vec();
    bytes.extend(Seeded(seed).bytes(length - bytes.len()));
    let given = Given {
        bytes: bytes.clone(),
        file_name: "certificate.pdf",
        media_type: Some("application/pdf"),
        caption: None,
        of: None,
        keep_position: false,
    };
    attach_file(&device.node, id(1), &author(), given).unwrap();
    (ContentHash::of(&bytes), bytes)
}

#[tokio::test(flavor = "multi_thread")]
async fn what_one_device_attaches_another_gets_from_a_hub_on_a_bucket() {
    let store = BucketStore::start().await;
    let (hub, ines, tobias) = (device("hub"), device("Ines"), device("Tobias"));
    hub.node.found_shop().unwrap();
    let_in(&hub, &ines).await;
    let_in(&hub, &tobias).await;
    work(&hub.node, 1, 0);
    let (before, _) = attach(&hub, 1, 700);
    hub.node.share_no_more().await;
    let Device { node, folder } = hub;
    drop(node);

    let (serving, share) = started(serve(folder.path(), &store));
    ines.node.exchange_with(&share).await.unwrap();
    let (hash, bytes) = attach(&ines, 2, 9 * 1024 * 1024);
    ines.node.exchange_with(&share).await.unwrap();
    let moved = ines.node.settle_contents_with(&share).await.unwrap();
    assert_eq!((moved.given, moved.fetched, moved.refused.len()), (1, 1, 0), "{moved:?}");
    tobias.node.exchange_with(&share).await.unwrap();
    let moved = tobias.node.settle_contents_with(&share).await.unwrap();
    assert_eq!((moved.fetched, moved.lacking), (2, 0), "{moved:?}");
    assert_eq!(tobias.node.contents().read(hash).unwrap(), bytes);
    let log = serving.stop();
    for secret in [KEY_ID, SECRET, &hash.to_string()] {
        assert!(!log.contains(secret), "{secret} is in the log: {log}");
    }
    let mut names = [plain(before), plain(hash)];
    names.sort();
    assert_eq!(store.names().await, names, "also what was there before");
    let name = hash.to_string();
    assert!(!folder.path().join("attachments").join(&name[..2]).join(&name).exists());

    commands_know_where(folder.path(), &store);
    let (again, there) = started(serve(folder.path(), &store));
    let eva = device("Éva");
    assert!(eva.node.exchange_with(&there).await.is_err(), "nobody else gets anything");
    again.stop();

    // Encrypted later, nothing readable is put there any more, and what was is told of.
    let passphrase = ines.folder.path().join("passphrase");
    std::fs::write(&passphrase, "four words and more\n").unwrap();
    let mut on = guyline(&["encrypt", "on"], folder.path());
    let said = told(&on.arg("--passphrase-file").arg(&passphrase).output().unwrap());
    for expected in ["2 attachments are encrypted", "still in the bucket photographs as it was"] {
        assert!(said.contains(expected), "lacks {expected:?}: {said}");
    }
    let mut command = serve(folder.path(), &store);
    command.arg("--passphrase-file").arg(&passphrase);
    let (encrypted, there) = started(command);
    ines.node.exchange_with(&there).await.unwrap();
    let (third, _) = attach(&ines, 3, 5_000);
    ines.node.exchange_with(&there).await.unwrap();
    let moved = ines.node.settle_contents_with(&there).await.unwrap();
    assert_eq!((moved.given, moved.lacking), (1, 0), "{moved:?}");
    encrypted.stop();
    let names = store.names().await;
    let of_a_key = |name: &&String| name.starts_with(&format!("{PREFIX}/encrypted-"));
    assert_eq!((names.len(), names.iter().filter(of_a_key).count()), (5, 3), "{names:?}");
    assert!(!names.contains(&plain(third)), "{names:?}");
}

/// What else is run on the folder finds its attachments, or says why not.
fn commands_know_where(folder: &Path, store: &BucketStore) {
    let inspected = guyline(&["inspect"], folder).output().unwrap();
    assert!(told(&inspected).contains("2 attachments, 9437884 bytes"), "{}", told(&inspected));
    let copy = tempfile::tempdir().unwrap();
    let file = copy.path().join("copy.sqlite");
    let copied = guyline(&["backup"], folder).arg(&file).output().unwrap();
    assert!(told(&copied).contains("2 attachments copied"), "{}", told(&copied));
    let back = copy.path().join("restored");
    let restored = guyline(&["restore"], &back).arg(&file).output().unwrap();
    assert!(told(&restored).contains("2 attachments copied"), "{}", told(&restored));
    let refused = |mut command: Command, code: i32, expected: &[&str]| {
        let output = command.output().unwrap();
        assert_eq!(output.status.code(), Some(code), "{}", told(&output));
        for expected in expected.iter().chain(&["could not ", "\n  help: "]) {
            assert!(told(&output).contains(expected), "lacks {expected:?}: {}", told(&output));
        }
    };
    let elsewhere = "its attachments lie in the bucket photographs at http://127.0.0.1:";
    refused(guyline(&["serve"], folder), 1, &[elsewhere, "name that bucket"]);
    let mut keyless = serve(folder, store);
    keyless.env_remove("GUYLINE_BUCKET_SECRET");
    refused(keyless, 1, &["its access keys are not in the environment", "GUYLINE_BUCKET_KEY_ID"]);
    let mut half = guyline(&["serve", "--bucket", "photographs"], folder);
    half.env_remove("GUYLINE_BUCKET_SECRET");
    refused(half, 2, &["a bucket without its endpoint", "--bucket-endpoint"]);
}
