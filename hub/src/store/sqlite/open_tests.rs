//! Goal: only a store of ours, of a version we know and whole, is opened, by one process at a
//! time; every other file is named, told what it is, and left byte for byte as it was. Method:
//! such files in a folder of their own.

use std::collections::BTreeMap;

use super::*;
use crate::store::{Sqlite, Writing};

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().unwrap()
}

/// Every file of a folder but the lock.
fn contents(dir: &Path) -> BTreeMap<String, Vec<u8>> {
    let files = std::fs::read_dir(dir).unwrap().map(|file| file.unwrap().path());
    files
        .filter(|path| !path.ends_with("node.lock"))
        .map(|path| (path.display().to_string(), std::fs::read(&path).unwrap()))
        .collect()
}

/// Opens the store there, which must fail, name the file, help, and change nothing.
fn refused(dir: &Path) -> OpenError {
    let before = contents(dir);
    let error = Sqlite::open(dir).expect_err("it was opened");
    assert!(error.to_string().contains("node.sqlite"), "{error}");
    assert!(!error.help().is_empty());
    assert!(contents(dir) == before, "something was changed: {:?}", contents(dir).keys());
    error
}

fn with_header(dir: &Path, at: usize, bytes: &[u8]) {
    Sqlite::open(dir).unwrap();
    let path = dir.join("node.sqlite");
    let mut file = std::fs::read(&path).unwrap();
    file[at..at + bytes.len()].copy_from_slice(bytes);
    std::fs::write(path, file).unwrap();
}

#[test]
fn a_new_store_has_an_identity_that_stays() {
    let dir = folder();
    let deep = dir.path().join("a/b");
    let first = Sqlite::open(&deep).unwrap().card().clone();
    assert_eq!(*Sqlite::open(&deep).unwrap().card(), first);
    let other = Sqlite::open(&dir.path().join("c")).unwrap().card().clone();
    assert_ne!(first.node, other.node);
    assert_ne!(first.store, other.store);
    assert!(contents(&deep).keys().all(|name| !name.contains(".new")));
}

#[test]
fn settings_and_name_stay() {
    let dir = folder();
    let mut store = Sqlite::open(dir.path()).unwrap();
    assert_eq!(store.setting("person").unwrap(), None);
    store.set_setting("person", "ines").unwrap();
    store.set_setting("person", "tobias").unwrap();
    store.rename("Tobias's tablet").unwrap();
    drop(store);
    let store = Sqlite::open(dir.path()).unwrap();
    assert_eq!(store.setting("person").unwrap().as_deref(), Some("tobias"));
    assert_eq!(store.card().name, "Tobias's tablet");
}

#[test]
fn a_second_one_is_kept_out_until_the_first_is_gone() {
    let dir = folder();
    let first = Sqlite::open(dir.path()).unwrap();
    let error = Sqlite::open(dir.path()).unwrap_err();
    assert!(matches!(&error, OpenError::InUse { dir: named } if named == dir.path()), "{error}");
    assert!(error.to_string().starts_with("another Guyline is using "), "{error}");
    drop(first);
    Sqlite::open(dir.path()).unwrap();
}

#[test]
fn files_that_are_no_database_are_foreign() {
    for (content, found) in [(&b""[..], "an empty file"), (b"%PDF-1.7", "25, 50, 44, 46")] {
        let dir = folder();
        std::fs::write(dir.path().join("node.sqlite"), content).unwrap();
        let error = refused(dir.path());
        assert!(matches!(&error, OpenError::Foreign { .. }), "{error}");
        assert!(error.to_string().contains(found), "{error}");
    }
}

#[test]
fn another_programs_database_is_foreign() {
    let dir = folder();
    let path = dir.path().join("node.sqlite");
    let other = Connection::open(path).unwrap();
    other.pragma_update(None, "journal_mode", "WAL").unwrap();
    other.pragma_update(None, "application_id", 7).unwrap();
    other.execute_batch("CREATE TABLE change (x); INSERT INTO change VALUES (1);").unwrap();
    let error = refused(dir.path());
    assert!(matches!(&error, OpenError::Foreign { .. }), "{error}");
    let rows: i64 = other.query_row("SELECT count(*) FROM change", [], |row| row.get(0)).unwrap();
    assert_eq!(rows, 1);
}

#[test]
fn a_later_versions_store_is_left_alone() {
    let dir = folder();
    with_header(dir.path(), 60, &(VERSION + 1).to_be_bytes());
    let error = refused(dir.path());
    let newer = matches!(error, OpenError::Newer { found, known, .. }
        if found == VERSION + 1 && known == VERSION);
    assert!(newer, "{error}");
}

#[test]
fn a_truncated_store_is_damaged_wherever_it_is_cut() {
    let dir = folder();
    drop(Sqlite::open(dir.path()).unwrap());
    let path = dir.path().join("node.sqlite");
    let whole = std::fs::read(&path).unwrap();
    let cuts = (16..100).step_by(7).chain((100..whole.len()).step_by(997));
    // Of a page that is nearly empty the end is zeros, and the engine reads those where it ends.
    let lost = |length: &usize| whole[*length..].iter().any(|byte| *byte != 0);
    for length in cuts.chain([whole.len() - 1]).filter(lost) {
        std::fs::write(&path, &whole[..length]).unwrap();
        let error = refused(dir.path());
        assert!(matches!(error, OpenError::Damaged { .. }), "cut at {length}: {error}");
    }
}

#[test]
fn a_store_of_noise_is_damaged() {
    let dir = folder();
    drop(Sqlite::open(dir.path()).unwrap());
    let path = dir.path().join("node.sqlite");
    let mut file = std::fs::read(&path).unwrap();
    let length = file.len();
    let noise = crate::fixture::Seeded(1).bytes(length);
    file[100..].copy_from_slice(&noise[100..]);
    std::fs::write(&path, file).unwrap();
    let error = refused(dir.path());
    assert!(matches!(error, OpenError::Damaged { .. }), "{error}");
}

#[test]
fn a_store_that_was_never_finished_is_made_anew() {
    let dir = folder();
    std::fs::write(dir.path().join("node.sqlite.new"), b"half").unwrap();
    std::fs::write(dir.path().join("node.sqlite.new-journal"), b"half").unwrap();
    Sqlite::open(dir.path()).unwrap();
    assert!(contents(dir.path()).keys().all(|name| !name.contains(".new")));
}

#[test]
fn a_folder_that_is_a_file_is_named() {
    let dir = folder();
    let file = dir.path().join("file");
    std::fs::write(&file, b"").unwrap();
    let error = Sqlite::open(&file).unwrap_err();
    assert!(matches!(&error, OpenError::File { path, .. } if *path == file), "{error}");
}

#[test]
fn every_write_is_synchronous() {
    let dir = folder();
    let store = Sqlite::open(dir.path()).unwrap();
    let pragma = |name: &str| {
        let read = |row: &rusqlite::Row<'_>| row.get::<_, rusqlite::types::Value>(0);
        store.connection().pragma_query_value(None, name, read).unwrap()
    };
    assert_eq!(pragma("synchronous"), 2.into(), "2 is FULL");
    assert_eq!(pragma("journal_mode"), "wal".to_owned().into());
    assert_eq!(pragma("foreign_keys"), 1.into());
    assert_eq!(pragma("trusted_schema"), 0.into());
    assert_eq!(pragma("cell_size_check"), 1.into());
}
