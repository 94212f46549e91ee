//! QR codes against an independent reader: what a screen draws and what a terminal prints is read
//! back by rqrr, which shares no code with the library that makes them, and is the text again.
//!
//! Both are turned into grey pixels first, as a camera has them. The border is measured too: four
//! light modules (ISO/IEC 18004, quiet zone; from memory, unverified).

use guyline_hub::identity::{Invitation, PublicKey};
use guyline_hub::render::qr::{QrCode, half_blocks};
use rqrr::PreparedImage;

/// So many pixels a module has in the picture.
const SCALE: usize = 4;
/// Light modules around a code.
const QUIET: usize = 4;

/// Rows of modules, dark ones true.
type Modules = Vec<Vec<bool>>;

fn texts() -> Vec<String> {
    let invitation = |addresses: &[&str]| Invitation {
        root: PublicKey::from_bytes([0x1f; 32]),
        host: PublicKey::from_bytes([0xe0; 32]),
        code: "0123456789ABCDEF".to_owned(),
        addresses: addresses.iter().map(|&address| address.to_owned()).collect(),
    };
    let near = invitation(&["192.0.2.7:4771"]);
    let far = invitation(&["192.0.2.7:4771", "[2001:db8::1]:4771", "hub.example:4771"]);
    vec![
        near.to_string(),
        near.link(),
        far.to_string(),
        "https://hub.example:4772/#/sign-in/0123456789ABCDEF".to_owned(),
        "é".to_owned(),
        "a".repeat(2_331), // As much as the largest code takes at this level of correction.
    ]
}

/// The path a screen draws, put back into modules by the rules of SVG for `M`, `h`, `v` and `z`.
fn drawn(code: &QrCode) -> Modules {
    let side = code.side as usize;
    let mut modules = vec![vec![false; side]; side];
    for run in code.path.split_terminator('z') {
        let shape = run.strip_prefix('M').expect("each run begins with where it is");
        let (place, lines) = shape.split_once('h').expect("then goes right");
        let (column, row) = place.split_once(' ').expect("two numbers");
        let (column, row): (usize, usize) = (column.parse().unwrap(), row.parse().unwrap());
        let (length, back) = lines.split_once("v1h-").expect("down by one, and back");
        assert_eq!(length, back, "a run is a rectangle");
        modules[row][column..column + length.parse::<usize>().unwrap()].fill(true);
    }
    modules
}

/// Half blocks, put back into modules.
fn printed(lines: &str) -> Modules {
    let mut modules = Vec::new();
    for line in lines.lines() {
        let upper = line.chars().map(|block| matches!(block, '█' | '▀')).collect();
        let lower = line.chars().map(|block| matches!(block, '█' | '▄')).collect();
        modules.extend([upper, lower]);
    }
    modules
}

fn read(modules: &Modules) -> String {
    let (wide, high) = (modules[0].len() * SCALE, modules.len() * SCALE);
    let grey = |x: usize, y: usize| if modules[y / SCALE][x / SCALE] { 0 } else { 255 };
    let mut picture = PreparedImage::prepare_from_greyscale(wide, high, grey);
    let grids = picture.detect_grids();
    assert_eq!(grids.len(), 1, "one code is seen");
    grids[0].decode().expect("it can be read").1
}

fn border(modules: &Modules) -> usize {
    let dark = |row: &Vec<bool>| row.contains(&true);
    let above = modules.iter().position(dark).expect("a code has dark modules");
    let left = modules.iter().filter_map(|row| row.iter().position(|&dark| dark)).min();
    assert_eq!(left, Some(above));
    let right = modules.iter().filter_map(|row| row.iter().rev().position(|&dark| dark)).min();
    assert_eq!(right, Some(above));
    above
}

#[test]
fn what_a_screen_draws_is_the_text_again() {
    for text in texts() {
        let code = QrCode::of(&text).expect("it is short enough");
        let modules = drawn(&code);
        assert_eq!(border(&modules), QUIET, "{text}");
        assert_eq!(read(&modules), text);
    }
}

#[test]
fn what_a_terminal_prints_is_the_text_again() {
    for text in texts() {
        let plain = half_blocks(&text, false).expect("it is short enough");
        let modules = printed(&plain);
        assert_eq!(border(&modules), QUIET, "{text}");
        assert_eq!(read(&modules), text);
        let coloured = half_blocks(&text, true).expect("it is short enough");
        let without = coloured.replace("\x1b[38;5;16;48;5;231m", "").replace("\x1b[0m", "");
        assert_eq!(without, plain, "colours change no module");
        assert!(
            coloured.lines().all(|line| line.starts_with("\x1b[") && line.ends_with("\x1b[0m"))
        );
    }
}

#[test]
fn a_text_that_is_too_long_has_no_code() {
    let text = "a".repeat(2_332);
    assert_eq!(QrCode::of(&text), None);
    assert_eq!(half_blocks(&text, false), None);
}
