//! What a person feels in the real window, of the release program on a screen in memory.
//!
//! `typing`: from a key pressed in the entry of a reading to the next picture with its verdict, on
//! a node with 300 visits at 40 sites, the visit that is open having 60 readings. Real keys, timed
//! in the page by the event's own stamp; the 95th percentile of 200, in milliseconds.
//!
//! `start`: from the process's start to Today, shown, on the same node, against a window of the
//! same toolkit with an empty page (`src-tauri/examples/bare.rs`), in turn, medians of seven. What
//! the driver takes to attach is in neither: the system says when a process began, the page when
//! it was ready.

use std::path::Path;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use guyline_core::record::DocumentId;
use guyline_hub::Node;
use guyline_tests::built;
use guyline_tests::driven::{Page, Stage, running_on, until};

use crate::{Row, median, papers};

const VISITS: usize = 300;
const SITES: usize = 40;
const KEYS: usize = 200;
const STARTS: usize = 7;
/// Kernel ticks a second, as /proc counts them on every Linux of today (proc(5), USER_HZ).
const TICKS: f64 = 100.0;
/// The node's folder on the stage.
const NODE: &str = "node";
/// Backspace (WebDriver, section 17.4.2, keyboard actions).
const BACKSPACE: &str = "\u{E003}";

/// A stage with a node that holds a season's work, and its fullest visit.
fn stage() -> (Stage, DocumentId) {
    let folder = tempfile::tempdir().expect("a folder for the bench");
    let node = Node::open(&folder.path().join(NODE)).expect("a fresh store opens");
    let visits = papers::shop_sites_and_sessions(&node, SITES, VISITS);
    for &visit in &visits[1..] {
        papers::fill(&node, visit);
    }
    papers::full_visit(&node, visits[0]);
    node.set_person("ines").expect("it is kept");
    (Stage::around(folder), visits[0])
}

/// From a key to its verdict, in milliseconds.
pub(crate) fn typing() -> Row {
    let (stage, visit) = stage();
    let page = stage.open(NODE, &[]);
    page.script(&format!("location.hash = '#/session/{visit}'"));
    page.button("Opening level at the receiver port").click();
    let field = page.find("section.entry input");
    field.enter("-12");
    page.wait_for_text("outside");
    // A key's time is the event's own; the verdict's is the end of the picture that first has it.
    page.script(
        "window.took = []; let pressed; const field = document.querySelector('section.entry input');
         field.addEventListener('input', (event) => (pressed = event.timeStamp), true);
         const seen = () => { if (pressed === undefined) return; const from = pressed;
             pressed = undefined;
             requestAnimationFrame(() => { const drawn = new MessageChannel();
                 drawn.port1.onmessage = () => window.took.push(performance.now() - from);
                 drawn.port2.postMessage(0); }); };
         new MutationObserver(seen).observe(document.querySelector('section.entry .said'),
             { subtree: true, childList: true, characterData: true, attributes: true });",
    );
    // Between -12 and -121 dBm every key turns the verdict.
    for number in 0..KEYS {
        field.enter(if number % 2 == 0 { "1" } else { BACKSPACE });
        let seen = until(|| (page.script("return took.length") == number + 1).then_some(()));
        assert!(seen.is_some(), "key {number} brought no verdict:\n{}", page.text());
    }
    let took = page.script("return took.toSorted((a, b) => a - b)");
    let took: Vec<f64> = serde_json::from_value(took).expect("a list of numbers");
    let (middle, late) = (took[KEYS / 2], took[KEYS * 95 / 100]);
    eprintln!("typing-to-verdict: median {middle:.1} ms, worst {:.1} ms", took[KEYS - 1]);
    Row { name: "typing-to-verdict", measured: late, goal: 50.0 }
}

/// From a process's start to something to work with, against an empty window.
pub(crate) fn start() -> Row {
    let (stage, _) = stage();
    let bare = built("examples/bare");
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    // The first of each reads the program from disk.
    for round in 0..=STARTS {
        let folder = stage.folder(NODE);
        let page = stage.open(NODE, &[]);
        let took = since_start(&page, &folder, "usable");
        drop(page);
        stage.wait_until_ended(NODE);
        let folder = stage.folder("nowhere");
        let page = stage.open_program(&bare, &[folder.to_str().expect("plain text")]);
        let bare_took = since_start(&page, &folder, "");
        drop(page);
        stage.wait_until_ended("nowhere");
        if round > 0 {
            ours.push(took);
            theirs.push(bare_took);
        }
    }
    let (ours, theirs) = (median(ours).as_secs_f64(), median(theirs).as_secs_f64());
    eprintln!("start: {:.0} ms, an empty window {:.0} ms", ours * 1e3, theirs * 1e3);
    Row { name: "start", measured: ours / theirs, goal: 1.3 }
}

/// How long after its process began the page set a mark, or was loaded where it sets none.
fn since_start(page: &Page, folder: &Path, mark: &str) -> Duration {
    let asked = if mark.is_empty() {
        "const at = performance.getEntriesByType('navigation')[0].loadEventEnd;".to_owned()
    } else {
        format!("const at = performance.getEntriesByName('{mark}')[0]?.startTime;")
    };
    let asked = format!("{asked} return at > 0 ? performance.timeOrigin + at : null");
    let ready_ms = until(|| page.script(&asked).as_f64()).expect("the page gets ready");
    let number = running_on(folder).expect("the program runs");
    Duration::from_secs_f64((ready_ms / 1e3 - began_at(number)).max(0.0))
}

/// When a process began, in seconds of the system's clock.
fn began_at(number: u32) -> f64 {
    let read = |file: String| std::fs::read_to_string(file).expect("the system tells it");
    let stat = read(format!("/proc/{number}/stat"));
    // The name in brackets may hold spaces; after it the start is the twentieth field (proc(5)).
    let (_, after) = stat.rsplit_once(')').expect("a name in brackets");
    let ticks: f64 = after.split_whitespace().nth(19).expect("a field").parse().expect("a number");
    let uptime = read("/proc/uptime".to_owned());
    let up_s: f64 = uptime.split(' ').next().expect("a field").parse().expect("a number");
    let now = SystemTime::now().duration_since(UNIX_EPOCH).expect("after 1970").as_secs_f64();
    now - up_s + ticks / TICKS
}
