//! Goal: the shop's lines and sign, typed and chosen on the Papers screen, stand on its papers.
//! Method: both are set through the desk as the screen does; the files are looked into by
//! independent readers (pdfimages, pdftotext). What is no sign is refused and says why.

use std::process::Command;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use guyline_hub::Node;
use guyline_hub::desk::{self, Refusal};
use serde_json::{Value, json};

use crate::report::{Day, pdf_text};

const LABEL: &[u8] = include_bytes!("label.jpg");

/// Sets a field of the shop, as the screen does.
fn set(node: &Node, field: &str, value: &Value) -> Result<Value, Refusal> {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let papers = runtime.block_on(desk::call(node, "papers", json!({}))).unwrap();
    let body = json!({ "document": papers["id"], "path": [field], "value": value });
    runtime.block_on(desk::call(node, "set-field", body))
}

#[test]
fn the_sign_and_the_lines_stand_on_every_paper() {
    let day = Day::played();
    let node = Node::open(&day.path("wren")).unwrap();
    set(&node, "letterhead", &json!("Radio repair\nSince 1971")).unwrap();
    set(&node, "logo", &json!(STANDARD.encode(LABEL))).unwrap();
    drop(node);
    let session = day.session.to_string();
    let commands: [&[&str]; 3] =
        [&["report", &session], &["site-report", "Owl Knob"], &["day-end", "--day", "2026-05-14"]];
    for (number, command) in commands.into_iter().enumerate() {
        let pdf = day.file(command, &format!("{number}.pdf"), &[]);
        let listed = Command::new("pdfimages").arg("-list").arg(&pdf).output().unwrap();
        let listed = String::from_utf8(listed.stdout).unwrap();
        assert_eq!(listed.lines().filter(|line| line.contains("image")).count(), 1, "{listed}");
        let html = day.file(command, &format!("{number}.html"), &[]);
        let html = std::fs::read_to_string(html).unwrap();
        assert!(pdf_text(&pdf).contains("Since 1971") && html.contains("Since 1971"));
        // Mail programs drop pictures that stand in the text: the day's has none.
        let signs = html.matches("src=\"data:image/jpeg;base64,").count();
        assert_eq!(signs, usize::from(command[0] != "day-end"), "{command:?}");
    }
}

#[test]
fn what_is_no_sign_is_refused_with_the_reason() {
    let day = Day::played();
    let node = Node::open(&day.path("wren")).unwrap();
    let encoded = |bytes: &[u8]| json!(STANDARD.encode(bytes));
    let large = [LABEL, &vec![0; 70 * 1024]].concat();
    for (value, why) in [
        (encoded(b"<svg xmlns='http://www.w3.org/2000/svg'/>"), "neither a PNG nor a JPEG"),
        (encoded(b"GIF89a"), "neither a PNG nor a JPEG"),
        (encoded(&LABEL[..20]), "cut short or damaged"),
        (encoded(&large), "larger than 64 kB"),
    ] {
        let refusal = set(&node, "logo", &value).unwrap_err();
        assert!(refusal.what.contains(why), "{:?} lacks {why:?}", refusal.what);
        assert!(!refusal.help.is_empty());
    }
    set(&node, "logo", &encoded(LABEL)).unwrap();
    set(&node, "logo", &Value::Null).unwrap();
    drop(node);
    let html = std::fs::read_to_string(day.report("none.html", &[])).unwrap();
    assert!(!html.contains("<img"));
}
