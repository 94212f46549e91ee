//! A text as a QR code (ISO/IEC 18004), for the camera of another device.
//!
//! In: a line of text. Out: [`QrCode`], which a screen draws, or half blocks for a terminal; both
//! with the light border the standard wants. A text that is too long for any code gets none, and is
//! still there to be read. It does not know what the text is for, and keeps nothing of it.

use std::fmt::Write as _;

use qrcodegen::QrCodeEcc;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

/// So many light modules stand around a code (ISO/IEC 18004, quiet zone).
const QUIET: i32 = 4;
/// Black on white whatever the terminal's own colours are: a reader wants dark on light.
const BLACK_ON_WHITE: &str = "\x1b[38;5;16;48;5;231m";
const AS_BEFORE: &str = "\x1b[0m";

/// A code as a picture: dark modules on a light square.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
pub struct QrCode {
    /// How many modules the square is wide and high, its light border included.
    pub side: u32,
    /// The dark modules as an SVG path (SVG 2, section 9), a unit each.
    pub path: String,
}

impl QrCode {
    /// The code of a text; none where the text is too long for one.
    pub fn of(text: &str) -> Option<Self> {
        let modules = Modules::of(text)?;
        let mut path = String::new();
        for (row, column, length) in modules.runs() {
            write!(path, "M{column} {row}h{length}v1h-{length}z").expect("a String takes all text");
        }
        Some(Self { side: modules.side.unsigned_abs(), path })
    }
}

/// The code of a text in half blocks, two rows of modules a line; none where it is too long for
/// one. `coloured` for a terminal, which may well be light on dark.
pub fn half_blocks(text: &str, coloured: bool) -> Option<String> {
    let modules = Modules::of(text)?;
    let (before, after) = if coloured { (BLACK_ON_WHITE, AS_BEFORE) } else { ("", "") };
    let mut lines = String::new();
    for row in (0..modules.side).step_by(2) {
        let block = |column| match (modules.dark(column, row), modules.dark(column, row + 1)) {
            (true, true) => '█',
            (true, false) => '▀',
            (false, true) => '▄',
            (false, false) => ' ',
        };
        let line: String = (0..modules.side).map(block).collect();
        writeln!(lines, "{before}{line}{after}").expect("a String takes all text");
    }
    Some(lines)
}

/// The modules of a code and its border.
struct Modules {
    code: qrcodegen::QrCode,
    side: i32,
}

impl Modules {
    fn of(text: &str) -> Option<Self> {
        // Medium: a screen is clean, yet a thumb or a glare may take a corner.
        let code = qrcodegen::QrCode::encode_text(text, QrCodeEcc::Medium).ok()?;
        let side = code.size() + 2 * QUIET;
        Some(Self { code, side })
    }

    /// Outside the code all is light.
    fn dark(&self, column: i32, row: i32) -> bool {
        self.code.get_module(column - QUIET, row - QUIET)
    }

    /// Dark modules side by side, as row, column and how many.
    fn runs(&self) -> Vec<(i32, i32, i32)> {
        let mut runs = Vec::new();
        for row in 0..self.side {
            let mut column = 0;
            while column < self.side {
                let length = (column..self.side).take_while(|&at| self.dark(at, row)).count();
                let length =
                    i32::try_from(length).expect("a code has at most 177 modules in a row");
                if length > 0 {
                    runs.push((row, column, length));
                }
                column += length + 1;
            }
        }
        runs
    }
}
