//! The app's real window, driven from outside as a person would.
//!
//! Goal: the window, its bridge and the node are hooked up; what a command answers is tested at the
//! desk. Method: a screen in memory, the built debug program on a node of the played day, and
//! tauri-driver 2 over WebKitWebDriver.

mod stage;
mod webdriver;

use stage::Stage;

#[test]
fn the_window_opens_and_shows_the_screens() {
    let stage = Stage::set();
    let page = stage.open("ines");
    page.wait_for_text("Guyline");
    assert!(
        page.text().len() > 40,
        "the page is nearly empty: {:?}",
        page.text()
    );
    let colours = stage.picture("opened");
    assert!(colours > 8, "only {colours} colours: nothing was painted");
}
