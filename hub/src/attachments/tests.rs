//! Content is kept whole or not at all, given as it was or not at all, and never by a name from
//! outside.

use std::sync::Mutex;

use super::*;

fn contents() -> (Contents, tempfile::TempDir) {
    let folder = tempfile::tempdir().unwrap();
    (Contents::beside(folder.path()), folder)
}

#[test]
fn what_was_put_is_read_again_and_put_twice_is_there_once() {
    let (contents, folder) = contents();
    let hash = contents.put(b"a photograph").unwrap();
    // The hash of nothing, as in the function's own test vectors (test_vectors.json, input_len 0);
    // from memory, unverified.
    let empty = "af1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262";
    assert_eq!(ContentHash::of(b"").to_string(), empty);
    assert_eq!(contents.put(b"a photograph").unwrap(), hash);
    assert_eq!(contents.read(hash).unwrap(), b"a photograph");
    assert_eq!(contents.all().unwrap(), [(hash, 12)]);
    let name = hash.to_string();
    assert!(folder.path().join("attachments").join(&name[..2]).join(&name).is_file());
    assert!(matches!(contents.read(ContentHash::of(b"other")), Err(AttachmentError::Absent)));
}

#[test]
fn every_turned_bit_and_every_cut_is_noticed_and_mended_by_putting_it_again() {
    let (contents, _folder) = contents();
    let bytes: Vec<u8> = (0..=255).collect();
    let hash = contents.put(&bytes).unwrap();
    let path = contents.folder.path(hash);
    for at in 0..bytes.len() {
        let mut changed = bytes.clone();
        changed[at] ^= 1 << (at % 8);
        std::fs::write(&path, &changed).unwrap();
        assert!(matches!(contents.read(hash), Err(AttachmentError::Damaged)), "byte {at}");
        std::fs::write(&path, &bytes[..at]).unwrap();
        assert!(matches!(contents.check(hash), Err(AttachmentError::Damaged)), "cut at {at}");
    }
    assert_eq!(contents.put(&bytes).unwrap(), hash);
    assert_eq!(contents.read(hash).unwrap(), bytes);
}

#[test]
fn no_text_but_a_hash_becomes_a_name() {
    for text in [
        "",
        "../../../etc/passwd",
        "..%2f..%2fnode.sqlite",
        "ab",
        &"AB".repeat(32),
        &"0g".repeat(32),
        &format!("{}/", "a".repeat(63)),
        &"a".repeat(65),
        "con",
        &"\u{ff10}".repeat(64),
    ] {
        assert_eq!(text.parse::<ContentHash>(), Err(NotAHash), "{text:?}");
    }
}

#[test]
fn more_than_may_be_kept_is_refused_with_both_numbers() {
    let folder = tempfile::tempdir().unwrap();
    let contents = Contents::on(folder.path(), Arc::new(SystemFiles), 20);
    contents.put(b"twelve bytes").unwrap();
    let refused = contents.put(b"nine more").unwrap_err();
    assert!(matches!(refused, AttachmentError::NoRoom { wanted: 21, most: 20 }), "{refused}");
    contents.put(b"8 bytes!").unwrap();
    let other = ContentHash::of(b"x");
    assert!(matches!(contents.arrive(other, 1, 0, b"x"), Err(AttachmentError::NoRoom { .. })));
}

#[test]
fn what_arrives_in_pieces_counts_when_it_is_whole_and_its_hash_is_right() {
    let (contents, _folder) = contents();
    let bytes: Vec<u8> = (0..200u8).collect();
    let hash = ContentHash::of(&bytes);
    for cut in 1..bytes.len() {
        assert!(!contents.arrive(hash, 200, 0, &bytes[..cut]).unwrap());
        assert!(!contents.has(hash).unwrap(), "it does not count at {cut}");
        let jumped = contents.arrive(hash, 200, cut as u64 + 1, b"x").unwrap_err();
        assert!(matches!(jumped, AttachmentError::Foreign { .. }), "{jumped}");
        assert_eq!(contents.arrived(hash), cut as u64, "it goes on where it was");
        assert!(contents.arrive(hash, 200, cut as u64, &bytes[cut..]).unwrap());
        assert_eq!(contents.read(hash).unwrap(), bytes);
        assert_eq!(contents.arrived(hash), 0);
        std::fs::remove_file(contents.folder.path(hash)).unwrap();
    }
    let mut other = bytes.clone();
    other[7] ^= 1;
    let refused = contents.arrive(hash, 200, 0, &other).unwrap_err();
    assert!(refused.to_string().contains("another hash"), "{refused}");
    let refused = contents.arrive(hash, 200, 0, &[0; 201]).unwrap_err();
    assert!(refused.to_string().contains("200 were named"), "{refused}");
    assert_eq!((contents.has(hash).unwrap(), contents.arrived(hash)), (false, 0));
}

#[test]
fn what_a_program_left_unfinished_is_taken_away_and_what_arrives_stays() {
    let (contents, folder) = contents();
    let kept = contents.put(b"kept").unwrap();
    let coming = ContentHash::of(b"coming");
    contents.arrive(coming, 6, 0, b"com").unwrap();
    let left = folder.path().join("attachments/unfinished-1-0");
    std::fs::write(&left, b"half").unwrap();
    contents.tidy();
    assert!(!left.exists());
    assert_eq!(contents.all().unwrap(), [(kept, 4)]);
    assert_eq!(contents.arrived(coming), 3);
}

/// The system's files, told apart by call, of which one may fail.
#[derive(Debug, Default)]
struct Told {
    calls: Mutex<Vec<String>>,
    fails_at: Option<(usize, io::ErrorKind)>,
}

impl Told {
    fn call(&self, name: &str) -> io::Result<()> {
        let mut calls = self.calls.lock().unwrap();
        let number = calls.len();
        calls.push(name.to_owned());
        match self.fails_at {
            Some((at, kind)) if at == number => Err(kind.into()),
            _ => Ok(()),
        }
    }
}

impl Files for Told {
    fn make_folder(&self, path: &Path) -> io::Result<()> {
        self.call("make_folder").and_then(|()| SystemFiles.make_folder(path))
    }
    fn append(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        self.call("append").and_then(|()| SystemFiles.append(path, bytes))
    }
    fn sync(&self, path: &Path) -> io::Result<()> {
        self.call("sync").and_then(|()| SystemFiles.sync(path))
    }
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.call("rename").and_then(|()| SystemFiles.rename(from, to))
    }
    fn sync_folder(&self, path: &Path) -> io::Result<()> {
        self.call("sync_folder").and_then(|()| SystemFiles.sync_folder(path))
    }
    fn remove(&self, path: &Path) -> io::Result<()> {
        self.call("remove").and_then(|()| SystemFiles.remove(path))
    }
}

#[test]
fn bytes_are_durable_before_their_name_and_the_name_before_the_call_returns() {
    let folder = tempfile::tempdir().unwrap();
    let told = Arc::new(Told::default());
    Contents::on(folder.path(), told.clone(), 1_000).put(b"bytes").unwrap();
    let calls = told.calls.lock().unwrap().clone();
    let wanted = ["make_folder", "append", "sync", "make_folder", "rename"];
    assert_eq!(calls[..5], wanted);
    assert_eq!(calls[5..], ["sync_folder", "sync_folder", "sync_folder"]);
}

#[test]
fn a_fault_at_any_call_is_told_and_leaves_nothing_that_counts_wrongly() {
    for at in 0..8 {
        for kind in [io::ErrorKind::StorageFull, io::ErrorKind::Other] {
            let folder = tempfile::tempdir().unwrap();
            let fails = Told { fails_at: Some((at, kind)), ..Told::default() };
            let contents = Contents::on(folder.path(), Arc::new(fails), 1_000);
            let refused = contents.put(b"bytes").unwrap_err();
            let full = matches!(refused, AttachmentError::Full { .. });
            assert_eq!(full, kind == io::ErrorKind::StorageFull, "call {at}: {refused}");
            let after = Contents::beside(folder.path());
            after.tidy();
            let hash = after.put(b"bytes").unwrap();
            assert_eq!(after.read(hash).unwrap(), b"bytes", "call {at}");
            let names = std::fs::read_dir(folder.path().join("attachments")).unwrap();
            assert_eq!(names.count(), 1, "nothing unfinished stays after call {at}");
        }
    }
}
