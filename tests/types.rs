//! The TypeScript types the screens use are the ones the desk has now.
//!
//! On a difference: `GUYLINE_REFRESH=1 ./tests/run rust` writes them anew; commit what changed.

use std::collections::BTreeMap;
use std::path::Path;

fn files(dir: &Path) -> BTreeMap<String, String> {
    let entries = std::fs::read_dir(dir).unwrap_or_else(|e| panic!("{}: {e}", dir.display()));
    entries
        .map(|entry| {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            (name, std::fs::read_to_string(&path).unwrap())
        })
        .collect()
}

#[test]
fn the_checked_in_types_are_not_stale() {
    let checked_in = guyline_tests::repository().join("ui/src/bridge/types");
    if std::env::var_os("GUYLINE_REFRESH").is_some() {
        std::fs::remove_dir_all(&checked_in).unwrap();
        std::fs::create_dir(&checked_in).unwrap();
        guyline_hub::desk::write_types(&checked_in).unwrap();
    }
    let fresh = tempfile::tempdir().unwrap();
    guyline_hub::desk::write_types(fresh.path()).unwrap();
    let (have, want) = (files(&checked_in), files(fresh.path()));
    assert!(want.len() > 40, "only {} types were generated", want.len());
    let names = |files: &BTreeMap<String, String>| files.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(&have), names(&want), "see the head of this file");
    for (name, text) in &want {
        assert_eq!(have.get(name), Some(text), "{name} is stale; see the head of this file");
    }
}
