//! The app's real window, driven from outside as a person would.
//!
//! Goal: the window, its bridge and the node are hooked up; what a command answers is tested at the
//! desk. Method: a screen in memory, the built debug program on a node of the played day, and
//! tauri-driver 2 over WebKitWebDriver.

mod confined;
mod locked;
mod platform;

use guyline_tests::driven::{Stage, until};

#[test]
fn the_window_opens_takes_a_reading_and_shows_its_verdict() {
    let stage = Stage::set();
    let page = stage.open("ines", &[]);
    page.wait_for_text("Larkspur Radio Works");
    // The text is there before it is painted.
    let painted = until(|| (stage.picture("opened") > 8).then_some(()));
    assert!(painted.is_some(), "nothing was painted");

    page.find("a[href^='#/session/']").click();
    // The first check, through a cable of 0.3 dB: −118.9 dBm at the port, where −120 is wanted.
    page.wait_for_text("Opening level at the receiver port");
    assert!(!page.text().contains("outside"), "a verdict stood before anything was typed");
    page.find("section.entry input").enter("-118,6");
    page.wait_for_text("outside");
    stage.picture("judged");
    page.button("Record").click();
    // The button says the number too, so the list is asked: there it stands only once recorded.
    let listed = "return document.querySelector('nav.list').innerText.includes('−118,6 dBm')";
    let recorded = until(|| page.script(listed).as_bool().filter(|listed| *listed));
    assert!(recorded.is_some(), "it was not recorded; the page says:\n{}", page.text());
    stage.picture("recorded");
}
