//! A device whose store is encrypted: the window asks for the passphrase before it shows anything.

use std::process::Command;

use guyline_tests::built;
use guyline_tests::driven::{Stage, until};

const WORDS: &str = "seven guyed masts in fog";

#[test]
fn the_window_shows_nothing_of_an_encrypted_device_until_its_passphrase_is_typed() {
    let stage = Stage::set();
    let data = stage.folder("ines");
    let file = data.with_extension("passphrase");
    std::fs::write(&file, WORDS).expect("the day's folder takes files");
    let done = Command::new(built("guyline"))
        .args(["encrypt", "on", "--data"])
        .arg(&data)
        .arg("--passphrase-file")
        .arg(&file)
        .output()
        .expect("the program starts");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));

    let page = stage.open("ines", &[]);
    page.wait_for_text("Locked");
    assert!(!page.text().contains("Larkspur"), "it shows the shop: {}", page.text());
    // The text is there before it is painted.
    assert!(until(|| (stage.picture("locked") > 8).then_some(())).is_some(), "nothing was painted");
    page.find("input[type=password]").enter("seven guyed masts in rain");
    page.button("Unlock").click();
    page.wait_for_text("this passphrase does not open");
    assert!(!page.text().contains("Larkspur"), "it shows the shop: {}", page.text());
    page.find("input[type=password]").enter(WORDS);
    page.button("Unlock").click();
    page.wait_for_text("Larkspur Radio Works");
    let drawn = until(|| (stage.picture("unlocked") > 8).then_some(()));
    assert!(drawn.is_some(), "nothing was painted");
}
