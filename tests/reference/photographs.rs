//! Photographs as Pillow (PyPI), an independent reader, sees them before and after what they tell
//! beside their picture was left out.

use std::path::Path;
use std::process::Command;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use guyline_hub::attachments::limits::admit;
use guyline_hub::attachments::private::picture_only;
use serde_json::Value;

use crate::oracle::oracle;

/// What Pillow reads of files.
fn seen(files: [&Path; 2]) -> Vec<Value> {
    let root = guyline_tests::repository();
    let output = Command::new(root.join("target/oracle-venv/bin/python"))
        .arg(root.join("tests/reference/oracle_photographs.py"))
        .args(files)
        .output()
        .expect("`./tests/run` installs the oracle");
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "the oracle failed: {errors}");
    serde_json::from_slice(&output.stdout).expect("the oracle prints JSON")
}

#[test]
fn pillow_finds_no_position_no_owner_no_number_and_the_same_pixels() {
    let made = oracle("oracle_photographs.py");
    let folder = tempfile::tempdir().unwrap();
    for (name, base64) in made.as_object().unwrap() {
        let told = STANDARD.decode(base64.as_str().unwrap()).unwrap();
        let kind = admit(&told, None).unwrap();
        let left = picture_only(&told, kind.image.unwrap()).unwrap();
        assert!(!left.windows(6).any(|window| window == b"SECRET"), "{name}");
        let (before, after) = (folder.path().join("before"), folder.path().join("after"));
        std::fs::write(&before, &told).unwrap();
        std::fs::write(&after, &left).unwrap();
        let both = seen([&before, &after]);
        let (before, after) = (&both[0], &both[1]);
        assert!(before["position"].as_object().unwrap().len() >= 4, "the test tests something");
        assert!(before["within"].to_string().contains("SERIAL-SECRET"), "{name}");
        // 274 is the orientation (Exif 2.32, 4.6.4): the only tag that is left.
        assert_eq!(after["tags"].to_string(), "[274]", "{name}");
        assert_eq!(after["position"].as_object().unwrap().len(), 0, "{name}");
        assert_eq!(after["within"].as_object().unwrap().len(), 0, "{name}");
        assert_eq!(after["other"].to_string(), "[]", "{name}");
        for same in ["pixels", "upright", "size"] {
            assert_eq!(before[same], after[same], "{name}: {same}");
        }
        assert_ne!(after["pixels"], after["upright"], "it is turned");
    }
}
