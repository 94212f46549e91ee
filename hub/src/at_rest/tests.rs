//! What is encrypted opens with its passphrase and with nothing else, shows nothing on the disk,
//! and comes back as it was.

use std::collections::BTreeMap;

use std::io::Read as _;

use guyline_core::record::DocumentId;

use super::*;
use crate::attachments::{AttachmentError, ContentHash, Contents};
use crate::fixture::{author, id, note, session};
use crate::store::OpenError;
use crate::{Node, NodeRefused};

/// Cheap, so that tests can try many.
const COST: Cost = Cost { memory_kib: 64, passes: 1, lanes: 1 };
const NOTE: &str = "the third cavity was loose";
const CONTENT: &[u8] = b"%PDF-1.7\na certificate nobody else may read";

fn words(text: &str) -> Passphrase {
    Passphrase::new(text).unwrap()
}

fn right() -> Passphrase {
    words("seven guyed masts in fog")
}

/// A node with a session, a note and content, and what tells whether it is the same again.
fn made(dir: &Path) -> Known {
    let node = Node::open(dir).unwrap();
    let (document, change) = session(7);
    node.create(document, change).unwrap();
    write(&node, "n1");
    node.contents().put(CONTENT).unwrap();
    known(&node)
}

fn write(node: &Node, name: &str) {
    let edit = note(name, NOTE);
    node.edit(id(7), |document| document.apply(&edit, &author())).unwrap().unwrap();
}

#[derive(Debug, PartialEq)]
struct Known {
    key: String,
    heads: BTreeMap<DocumentId, Vec<automerge::ChangeHash>>,
    content: Vec<u8>,
}

fn known(node: &Node) -> Known {
    Known {
        key: node.key().to_string(),
        heads: node.heads().unwrap(),
        content: node.contents().read(ContentHash::of(CONTENT)).unwrap(),
    }
}

fn refusal(opened: Result<Node, NodeRefused>) -> EncryptionError {
    match opened.unwrap_err() {
        NodeRefused::Store(OpenError::Encryption(error)) => error,
        other => panic!("{other}"),
    }
}

/// Every file under a folder, with what is in it.
fn files(dir: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        match path.is_dir() {
            true => found.extend(files(&path)),
            false => found.push((path.clone(), std::fs::read(&path).unwrap())),
        }
    }
    found
}

fn holds(bytes: &[u8], text: &[u8]) -> bool {
    bytes.windows(text.len()).any(|window| window == text)
}

#[test]
fn a_passphrase_is_stretched_as_the_reference_implementation_does() {
    let cost = Cost { memory_kib: 65_536, passes: 2, lanes: 1 };
    let key = stretched(&words("password"), b"somesalt", cost).unwrap();
    // The reference implementation's own test of Argon2id (version 0x13, t = 2, m = 2^16, p = 1);
    // from memory, unverified but for that both say the same.
    let expected = "09316115d5cf24ed5a15a31a3ba326e5cf32edc24702987c02b6566f61913cf7";
    assert_eq!(blake3::Hash::from_bytes(*key).to_hex().as_str(), expected);
}

#[test]
fn a_passphrase_has_a_length_and_a_lines_end_is_no_part_of_it() {
    assert!(words("eight ch\n").is(&words("eight ch")));
    assert!(!words("eight ch ").is(&words("eight ch")), "a blank is");
    assert!(matches!(Passphrase::new("seven c\n"), Err(EncryptionError::Length { length: 7 })));
    assert!(matches!(Passphrase::new(&"x".repeat(1025)), Err(EncryptionError::Length { .. })));
    assert_eq!(format!("{:?}", right()), "Passphrase", "it shows itself nowhere");
}

#[test]
fn what_is_encrypted_shows_nothing_on_the_disk_and_comes_back_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path();
    let before = made(dir);
    let secret = std::fs::read(dir.join(crate::identity::DEVICE_KEY)).unwrap();
    let plain = |dir: &Path| -> Vec<PathBuf> {
        let told = |bytes: &[u8]| {
            [NOTE.as_bytes(), b"lookout-vhf", CONTENT, &secret].iter().any(|it| holds(bytes, it))
        };
        files(dir).into_iter().filter(|(_, bytes)| told(bytes)).map(|(path, _)| path).collect()
    };
    assert_eq!(plain(dir).len(), 3, "the store, the content and the key can be read before");

    let done = switch::on(dir, &right(), COST).unwrap();
    assert_eq!((done.contents, done.damaged, done.left), (1, 0, Vec::new()));
    assert_eq!(plain(dir), Vec::<PathBuf>::new());
    assert!(matches!(refusal(Node::open(dir)), EncryptionError::Locked { .. }));
    let wrong = Node::unlock(dir, &words("seven guyed masts in rain"));
    assert!(matches!(refusal(wrong), EncryptionError::WrongPassphrase { .. }));
    let node = Node::unlock(dir, &right()).unwrap();
    assert_eq!(known(&node), before);
    assert_eq!(node.inspect().unwrap().problems.len(), 0);
    write(&node, "n2");
    let later = known(&node);
    drop(node);
    assert_eq!(plain(dir), Vec::<PathBuf>::new(), "nor what is written later");
    let again = switch::on(dir, &right(), COST).unwrap_err().to_string();
    assert!(again.contains("already"), "{again}");

    switch::off(dir, &right()).unwrap();
    assert_eq!(known(&Node::open(dir).unwrap()), later);
    assert!(!is_encrypted(dir).unwrap());
}

#[test]
fn another_passphrase_opens_it_and_the_old_one_no_longer() {
    let folder = tempfile::tempdir().unwrap();
    let before = made(folder.path());
    switch::on(folder.path(), &right(), COST).unwrap();
    let new = words("another one entirely");
    switch::change(folder.path(), &new, &right(), COST).unwrap_err();
    switch::change(folder.path(), &right(), &new, COST).unwrap();
    let old = refusal(Node::unlock(folder.path(), &right()));
    assert!(matches!(old, EncryptionError::WrongPassphrase { .. }));
    assert_eq!(known(&Node::unlock(folder.path(), &new).unwrap()), before);
}

/// Puts a folder's files into another.
fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        let name = to.join(path.file_name().unwrap());
        match path.is_dir() {
            true => copy(&path, &name),
            false => drop(std::fs::copy(&path, &name).unwrap()),
        }
    }
}

#[test]
fn a_switch_that_was_cut_off_is_ended_at_the_next_start() {
    let (folder, whole) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let before = made(folder.path());
    copy(folder.path(), whole.path());
    switch::on(whole.path(), &right(), COST).unwrap();

    // Cut off before the new files were whole: as it was.
    std::fs::create_dir(folder.path().join("changing")).unwrap();
    std::fs::write(folder.path().join("changing/node.sqlite"), b"half").unwrap();
    assert_eq!(known(&Node::open(folder.path()).unwrap()), before);
    assert!(!folder.path().join("changing").exists());

    // Cut off after each step of putting them in place: as it is to be.
    type StepOf = fn(&Path, &Path);
    let steps: [StepOf; 6] = [
        |_, _| {},
        |dir, _| std::fs::remove_dir_all(dir.join("attachments")).unwrap(),
        |dir, changed| {
            std::fs::rename(changed.join("attachments"), dir.join("attachments")).unwrap();
        },
        |dir, changed| {
            let key = crate::identity::DEVICE_KEY;
            std::fs::rename(changed.join(key), dir.join(key)).unwrap();
        },
        |dir, changed| {
            std::fs::copy(changed.join(FILE), dir.join(FILE)).unwrap();
        },
        |dir, changed| {
            std::fs::rename(changed.join("node.sqlite"), dir.join("node.sqlite")).unwrap();
        },
    ];
    for done in 1..=steps.len() {
        let cut = tempfile::tempdir().unwrap();
        copy(folder.path(), cut.path());
        let changed = cut.path().join("changed");
        copy(whole.path(), &changed);
        steps[..done].iter().for_each(|step| step(cut.path(), &changed));
        let node = Node::unlock(cut.path(), &right()).unwrap();
        assert_eq!(known(&node), before, "after {done} steps");
        assert!(!changed.exists());
    }
}

#[test]
fn a_closed_key_that_was_changed_is_told_of_and_opens_nothing() {
    let folder = tempfile::tempdir().unwrap();
    made(folder.path());
    switch::on(folder.path(), &right(), COST).unwrap();
    let path = folder.path().join(FILE);
    let text = std::fs::read_to_string(&path).unwrap();
    let value: serde_json::Value = serde_json::from_str(&text).unwrap();
    let with = |name: &str, other: serde_json::Value| {
        let mut value = value.clone();
        value[name] = other;
        value.to_string()
    };
    let flipped = |name: &str| {
        let bytes = bytes_of(value[name].as_str().unwrap()).unwrap();
        let turned: Vec<u8> = bytes.iter().map(|byte| byte ^ 1).collect();
        with(name, text_of(&turned).into())
    };
    let greedy = serde_json::json!({ "memory_kib": 4_000_000_000u64, "passes": 1, "lanes": 1 });
    for (written, expected) in [
        (flipped("key"), "does not open"),
        (flipped("nonce"), "does not open"),
        (flipped("salt"), "does not open"),
        (with("salt", "!".into()), "base64"),
        (with("nonce", "AAAA".into()), "24 bytes"),
        (with("argon2id", greedy), "more memory"),
        (with("version", 2.into()), "of version 2"),
        (String::new(), "damaged"),
        ("{}".to_owned(), "version"),
        ("\u{0}".repeat(5000), "damaged"),
    ] {
        std::fs::write(&path, &written).unwrap();
        let told = refusal(Node::unlock(folder.path(), &right())).to_string();
        assert!(told.contains(expected), "{expected:?}: {told}");
    }
    std::fs::write(&path, [0xff, 0xfe]).unwrap();
    assert!(refusal(Node::open(folder.path())).to_string().contains("no text"));
    std::fs::write(&path, &text).unwrap();
    Node::unlock(folder.path(), &right()).unwrap();
}

#[test]
fn a_damaged_page_or_secret_of_an_encrypted_folder_is_told_of() {
    let folder = tempfile::tempdir().unwrap();
    made(folder.path());
    switch::on(folder.path(), &right(), COST).unwrap();
    for name in ["node.sqlite", crate::identity::DEVICE_KEY] {
        let path = folder.path().join(name);
        let whole = std::fs::read(&path).unwrap();
        for at in [20, whole.len() / 2, whole.len() - 3] {
            let mut turned = whole.clone();
            turned[at] ^= 1;
            std::fs::write(&path, &turned).unwrap();
            let told = Node::unlock(folder.path(), &right()).err().map(|error| error.to_string());
            assert!(told.is_some(), "byte {at} of {name}");
        }
        std::fs::write(&path, &whole).unwrap();
    }
    let plain = tempfile::tempdir().unwrap();
    drop(Node::open(plain.path()).unwrap());
    std::fs::copy(plain.path().join("node.sqlite"), folder.path().join("node.sqlite")).unwrap();
    let told = Node::unlock(folder.path(), &right()).unwrap_err().to_string();
    assert!(told.contains("not encrypted"), "{told}");
}

#[test]
fn content_is_the_same_however_it_arrives_and_a_torn_beginning_is_begun_anew() {
    let folder = tempfile::tempdir().unwrap();
    let keys = Keys::fresh().unwrap();
    let contents = Contents::beside(folder.path()).lying_with(Some(&keys));
    let bytes: Vec<u8> = (0..1000u32).flat_map(u32::to_le_bytes).collect();
    let hash = ContentHash::of(&bytes);
    let arriving = folder.path().join("attachments/arriving").join(hash.to_string());
    std::fs::create_dir_all(arriving.parent().unwrap()).unwrap();
    std::fs::write(&arriving, b"torn").unwrap();
    let mut at = 0;
    for length in [1, 23, 24, 25, 63, 64, 65, 1000, 2735] {
        assert_eq!(contents.arrived(hash), at as u64);
        let piece = &bytes[at..at + length];
        let whole = contents.arrive(hash, bytes.len() as u64, at as u64, piece).unwrap();
        at += length;
        assert_eq!(whole, at == bytes.len());
    }
    assert_eq!(contents.read(hash).unwrap(), bytes);
    assert_eq!(contents.all().unwrap(), [(hash, 4000)]);
    let (mut file, length) = contents.opened(hash).unwrap();
    assert_eq!(length, 4000);
    for at in [0u64, 1, 64, 100, 3999] {
        file.go_to(at).unwrap();
        let mut rest = Vec::new();
        file.read_to_end(&mut rest).unwrap();
        assert_eq!(rest, bytes[at as usize..], "from {at}");
    }
    let other = Contents::beside(folder.path()).lying_with(Some(&Keys::fresh().unwrap()));
    assert!(matches!(other.read(hash), Err(AttachmentError::Damaged)), "other keys");
    assert!(matches!(Contents::beside(folder.path()).read(hash), Err(AttachmentError::Damaged)));
}

#[test]
fn a_copy_of_an_encrypted_store_opens_with_the_same_passphrase() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("node");
    let before = made(&dir);
    switch::on(&dir, &right(), COST).unwrap();
    let keys = Keys::of(&dir, Some(&right())).unwrap();
    let node = Node::unlock(&dir, &right()).unwrap();
    let copy = folder.path().join("copy");
    crate::store::backup(&dir, &copy, keys.as_ref()).unwrap();
    assert!(keep_beside(&dir, &copy).unwrap());
    drop(node);
    let without = crate::store::restore(&copy, &folder.path().join("no"), None).unwrap_err();
    assert!(without.to_string().contains("not a Guyline store"), "{without}");

    let back = folder.path().join("back");
    let keys = Keys::beside(&copy, Some(&right())).unwrap();
    crate::store::restore(&copy, &back, keys.as_ref()).unwrap();
    assert!(bring_from_beside(&copy, &back).unwrap());
    assert_eq!(Node::unlock(&back, &right()).unwrap().heads().unwrap(), before.heads);

    let bytes = std::fs::read(&copy).unwrap();
    std::fs::write(&copy, &bytes[..bytes.len() - 4096]).unwrap();
    let short = crate::store::restore(&copy, &folder.path().join("x"), keys.as_ref()).unwrap_err();
    assert!(short.to_string().contains("is damaged"), "{short}");
}
