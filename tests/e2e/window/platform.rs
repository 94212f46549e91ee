//! The app as one program among others on a machine: a second start, the size of its window, links
//! from elsewhere, the platform's own dialogs.

use std::io::ErrorKind;
use std::net::{Ipv4Addr, TcpListener};

use guyline_hub::identity::{Invitation, PublicKey};
use guyline_tests::driven::{Page, Stage, until};

/// What stands in the form to come in with; nothing where there is none.
const FORM: &str = "return document.querySelector('form textarea')?.value ?? null";

/// An invitation from a device that writes down whether anybody knocks.
fn invitation() -> (Invitation, TcpListener) {
    let host = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("loopback has a free port");
    host.set_nonblocking(true).expect("it only looks");
    let address = host.local_addr().expect("it is bound").to_string();
    let key = |byte| PublicKey::from_bytes([byte; 32]);
    let code = "0123456789ABCDEF".to_owned();
    (Invitation { root: key(1), host: key(2), code, addresses: vec![address] }, host)
}

fn shows_form_with(page: &Page, line: &str) {
    let filled = until(|| (page.script(FORM) == line).then_some(()));
    assert!(filled.is_some(), "the form holds {:?}:\n{}", page.script(FORM), page.text());
}

fn nobody_knocked(host: &TcpListener) {
    let knocked = host.accept().map(|(_, from)| from).map_err(|fault| fault.kind());
    assert_eq!(knocked, Err(ErrorKind::WouldBlock), "somebody came in by a link alone");
}

#[test]
fn the_window_is_one_a_folder_and_a_second_start_brings_it_what_it_was_given() {
    let stage = Stage::set();
    let page = stage.open("fresh", &[]);
    page.wait_for_text("How do you want to begin?");
    let (well, said) = stage.start_again("fresh", &[]);
    assert!(well, "the second start did not end by itself: {said}");
    page.wait_for_text("How do you want to begin?");

    let (invitation, host) = invitation();
    let (well, said) = stage.start_again("fresh", &[&invitation.link()]);
    assert!(well, "{said}");
    shows_form_with(&page, &invitation.to_string());
    nobody_knocked(&host);
    // What it shows is there before it is painted; the picture is for people to look at.
    page.script_that_waits("setTimeout(() => done(0), 1000)");
    stage.picture("invited");
}

#[test]
fn the_window_opened_by_a_link_fills_in_the_form_and_joins_nothing() {
    let stage = Stage::set();
    let (invitation, host) = invitation();
    let page = stage.open("fresh", &[&invitation.link()]);
    shows_form_with(&page, &invitation.to_string());
    assert!(!page.script("return location.hash").to_string().contains("guyline-join"), "it stays");
    // Long enough for a program that would knock by itself: it asks once a second.
    let asked = "setTimeout(() => done(document.querySelectorAll('p.code').length), 3000)";
    assert_eq!(page.script_that_waits(asked), 0, "it shows a code, so it is at somebody's door");
    nobody_knocked(&host);
    drop(page);

    stage.wait_until_ended("fresh");
    let page = stage.open("other", &["guyline:join?invitation=nonsense"]);
    shows_form_with(&page, "guyline:join?invitation=nonsense");
    page.button("Come in with it").click();
    page.wait_for_text("this is no invitation");
}

#[test]
fn the_window_keeps_its_size_over_a_restart() {
    let stage = Stage::set();
    let page = stage.open("ines", &[]);
    page.wait_for_text("Larkspur Radio Works");
    let before = page.place();
    page.resize(900, 700);
    let place = until(|| Some(page.place()).filter(|place| place["width"] != before["width"]));
    let place = place.expect("the window took another size");
    // Kept at once, not at the end: a tablet's battery may be that end.
    let settings = stage.folder("config/works.guyline.app/.window-state.json");
    let kept =
        until(|| std::fs::read_to_string(&settings).ok().filter(|text| text.contains("900")));
    assert!(kept.is_some(), "{} does not hold the size", settings.display());
    drop(page);
    stage.wait_until_ended("ines");
    let page = stage.open("ines", &[]);
    page.wait_for_text("Larkspur Radio Works");
    let again = page.place();
    assert_eq!([&again["width"], &again["height"]], [&place["width"], &place["height"]]);
}

#[test]
fn the_window_keeps_a_file_where_the_platforms_dialog_says() {
    let stage = Stage::set();
    let page = stage.open("ines", &[]);
    page.wait_for_text("Larkspur Radio Works");
    page.script("location.hash = '#/board'");
    page.wait_for_text("The shop's day");
    page.button("Plain text").click();
    stage.press_in("Where to keep", &["Escape"]);
    page.wait_for_text("was made and not kept");
    page.button("Plain text").click();
    page.script_that_waits("setTimeout(() => done(0), 1000)");
    stage.picture("dialog");
    stage.press_in("Where to keep", &["Return"]);
    page.wait_for_text("It is kept as");
    let said = page.text();
    let (_, place) = said.split_once("It is kept as ").expect("it was waited for");
    let place = place.lines().next().expect("a line").trim_end_matches('.');
    let written = std::fs::read_to_string(place).expect("it is where it says");
    assert!(written.contains("Larkspur Radio Works"), "{written}");
}

#[test]
fn the_window_gives_notice_while_nobody_looks_and_not_twice_in_a_minute() {
    let stage = Stage::set();
    let page = stage.open("ines", &[]);
    page.wait_for_text("Larkspur Radio Works");
    let ask = |text: &str| {
        page.script_that_waits(&format!(
            "window.__TAURI_INTERNALS__.invoke('desk', {{ command: 'give-notice',
               body: {{ text: '{text}' }} }}).then(({{ given }}) => done(given),
               (refusal) => done(refusal.what))"
        ))
    };
    assert_eq!(ask("Changes came in"), false, "a notice to who looks");
    page.resize(900, 700);
    stage.look_away();
    let away = until(|| (page.script("return document.hasFocus()") == false).then_some(()));
    assert!(away.is_some(), "the window is still looked at");
    let heard = stage.hears("org.freedesktop.Notifications", "Changes came in", || {
        // No service on this bus shows notices, and that is told; the asking is what is heard.
        let said = ask("Changes came in").to_string();
        assert!(said.contains("this device shows no notices"), "{said}");
    });
    assert!(heard, "the platform was not asked to show it");
    assert_eq!(ask("Changes came in again"), false);
}
