//! A device whose store is encrypted: the window asks for the passphrase before it shows anything,
//! and again after nobody touched it for as long as the device is set to.

use std::process::Command;

use guyline_tests::built;
use guyline_tests::driven::{Page, Secrets, Stage, until};

const WORDS: &str = "seven guyed masts in fog";

/// Encrypts the device `ines` of a played day.
fn encrypt(stage: &Stage) {
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
}

fn unlock(page: &Page) {
    page.wait_for_text("Locked");
    page.find("input[type=password]").enter(WORDS);
    page.button("Unlock").click();
}

#[test]
fn the_window_shows_nothing_of_an_encrypted_device_until_its_passphrase_is_typed() {
    let stage = Stage::set();
    encrypt(&stage);
    let page = stage.open("ines", &[]);
    page.wait_for_text("Locked");
    assert!(!page.text().contains("Larkspur"), "it shows the shop: {}", page.text());
    // The text is there before it is painted.
    assert!(until(|| (stage.picture("locked") > 8).then_some(())).is_some(), "nothing was painted");
    page.find("input[type=password]").enter("seven guyed masts in rain");
    page.button("Unlock").click();
    page.wait_for_text("this passphrase does not open");
    assert!(!page.text().contains("Larkspur"), "it shows the shop: {}", page.text());
    unlock(&page);
    page.wait_for_text("Larkspur Radio Works");
    let drawn = until(|| (stage.picture("unlocked") > 8).then_some(()));
    assert!(drawn.is_some(), "nothing was painted");
}

/// What the window's one command answers, or why it does not.
fn ask(page: &Page, command: &str, body: &str) -> String {
    let call = format!(
        "window.__TAURI_INTERNALS__.invoke('desk', {{ command: '{command}', body: {body} }})"
    );
    let told = "(answer) => done(JSON.stringify(answer))";
    page.script_that_waits(&format!("{call}.then({told}, {told})")).as_str().unwrap().to_owned()
}

#[test]
fn the_window_asks_again_after_nobody_touched_it_and_what_was_typed_is_still_there() {
    const TYPED: &str = "return document.querySelector('section.entry input').value";
    let stage = Stage::set();
    encrypt(&stage);
    let page = stage.open("ines", &[]);
    unlock(&page);
    page.wait_for_text("Larkspur Radio Works");
    assert!(ask(&page, "locking", "{}").contains("\"after_s\":null"), "it is off by default");
    page.find("a[href=\"#/devices\"]").click();
    page.wait_for_text("Ask for the passphrase again");
    assert!(ask(&page, "lock-after", "{ after_s: 1 }").contains("outside 5 to 86400 s"));

    page.script("location.hash = '#/today'");
    page.find("a[href^='#/session/']").click();
    page.wait_for_text("Opening level at the receiver port");
    page.button("Opening level at the receiver port").click();
    page.find("section.entry input").enter("-121.25");
    // The shortest there is: whoever is there goes on, and nothing is touched from then on.
    assert_eq!(ask(&page, "lock-after", "{ after_s: 5 }"), "{}");
    page.script_that_waits(
        "const there = setInterval(() => dispatchEvent(new PointerEvent('pointermove')), 500);
         setTimeout(() => { clearInterval(there); done(null); }, 7000);",
    );
    assert!(ask(&page, "locking", "{}").contains("\"after_s\":5"), "somebody was there");
    page.wait_for_text("Locked");
    let gone = until(|| (!page.text().contains("Opening level")).then_some(()));
    assert!(gone.is_some(), "it still shows the visit: {}", page.text());
    // Neither what the page asks by itself nor a touch opens it.
    assert_eq!(ask(&page, "touched", "{}"), "{}");
    for command in ["today", "position", "locking"] {
        let said = ask(&page, command, "{}");
        assert!(said.contains("\"code\":\"locked\"") && !said.contains("Larkspur"), "{said}");
    }
    page.find("input[type=password]").enter("seven guyed masts in rain");
    page.button("Unlock").click();
    page.wait_for_text("this passphrase does not open");
    assert!(!page.text().contains("Opening level"), "it shows the visit: {}", page.text());

    unlock(&page);
    page.wait_for_text("Opening level at the receiver port");
    assert_eq!(page.script(TYPED), "-121.25", "what was typed is as it was");
    assert!(ask(&page, "locking", "{}").contains("\"after_s\":5"), "the choice stays");
    assert_eq!(ask(&page, "lock-after", "{ after_s: null }"), "{}");
}

/// Has the keyring on the stage's bus open the device `ines`.
fn give_to_keyring(stage: &Stage) {
    let data = stage.folder("ines");
    let done = Command::new(built("guyline"))
        .args(["encrypt", "keyring", "on", "--data"])
        .arg(&data)
        .arg("--passphrase-file")
        .arg(data.with_extension("passphrase"))
        .env("DBUS_SESSION_BUS_ADDRESS", stage.bus())
        .output()
        .expect("the program starts");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
}

#[test]
fn a_keyring_opens_the_window_and_where_it_does_not_the_passphrase_is_asked_for() {
    let stage = Stage::set();
    let secrets = Secrets::on(stage.bus());
    encrypt(&stage);
    give_to_keyring(&stage);

    let page = stage.open("ines", &[]);
    page.wait_for_text("Larkspur Radio Works");
    assert!(ask(&page, "locking", "{}").contains("\"keyring\":true"));
    // Switched off and on in the window, each with the passphrase.
    let wrong = "{ on: false, passphrase: 'seven guyed masts in rain' }";
    assert!(ask(&page, "keyring", wrong).contains("this passphrase does not open"));
    page.find("a[href=\"#/devices\"]").click();
    page.wait_for_text("without asking");
    for (button, now, items) in
        [("Stop using it", "asked for at each start", 0), ("Use the keyring", "without asking", 1)]
    {
        page.find("form[aria-labelledby$=keyring] input").enter(WORDS);
        page.button(button).click();
        page.wait_for_text(now);
        assert_eq!(secrets.items().len(), items, "after {button}");
    }
    // It locks itself, and its window ends while it is shut: the keyring is not enough then.
    assert_eq!(ask(&page, "lock-after", "{ after_s: 5 }"), "{}");
    page.wait_for_text("Locked");
    drop(page);
    stage.wait_until_ended("ines");
    let page = stage.open("ines", &[]);
    page.wait_for_text("Locked");
    assert!(ask(&page, "today", "{}").contains("\"code\":\"locked\""));
    unlock(&page);
    page.wait_for_text("Larkspur Radio Works");
    assert_eq!(ask(&page, "lock-after", "{ after_s: null }"), "{}");
    drop(page);
    stage.wait_until_ended("ines");

    secrets.lock();
    let page = stage.open("ines", &[]);
    page.wait_for_text("Your keyring is locked.");
    unlock(&page);
    page.wait_for_text("Larkspur Radio Works");
}
