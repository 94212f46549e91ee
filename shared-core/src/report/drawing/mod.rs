//! Drawings of a report, before anybody takes a pen: shapes at coordinates, each with what it
//! stands for.
//!
//! In: what a report says. Out: a [`Drawing`] whose coordinates grow to the right and downwards;
//! one unit is a point (1/72 in) on paper at full size. Knows no colour, no dash and no typeface:
//! the layouts give each [`Role`] a pen that stays readable in grey. Every number in a drawing is
//! one of the report's, and its words say the same to who cannot see it.

mod bar;
mod history;
mod levels;
mod scale;

use std::collections::BTreeMap;

use serde::Serialize;

pub use bar::bar;
pub use history::history;
pub use levels::levels;

use super::shapes::{Cell, VisitReport};
use super::words::Language;

/// A place in a drawing: to the right, and down.
pub type Point = [f64; 2];

/// What is drawn, and the same in words.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Drawing {
    /// What it shows, in a few words.
    pub title: String,
    /// What it says, for who cannot see it.
    pub words: String,
    /// How wide it is.
    pub width: f64,
    /// How high it is.
    pub height: f64,
    /// What is drawn, the first at the bottom.
    pub shapes: Vec<Shape>,
}

/// Something drawn.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "shape", rename_all = "kebab-case")]
pub enum Shape {
    /// Straight from point to point.
    Line {
        /// Two or more.
        points: Vec<Point>,
        /// What it stands for.
        role: Role,
    },
    /// The inside of these points.
    Area {
        /// Three or more.
        points: Vec<Point>,
        /// What it stands for.
        role: Role,
    },
    /// Letters on one line.
    Letters {
        /// Where they stand, on their foot line.
        at: Point,
        /// Which end of them stands there.
        anchor: Anchor,
        /// How high they are.
        size: f64,
        /// Whether they are the stronger kind.
        strong: bool,
        /// The letters.
        text: String,
    },
}

/// Which end of a text stands at its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Anchor {
    /// Its beginning.
    Start,
    /// Its middle.
    Middle,
    /// Its end.
    End,
}

/// What a line or an area stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// A round number of the scale.
    Grid,
    /// The edge of what is drawn.
    Frame,
    /// What is expected, or how a value went.
    Level,
    /// A point of it.
    Node,
    /// How far something may be off.
    Spread,
    /// A reading as found, or a value.
    Mark,
    /// A reading as left.
    MarkLeft,
    /// A limit, or what something takes at most.
    Limit,
    /// More arrives than something takes.
    Stop,
    /// The sign within it.
    StopSign,
    /// Where a value passes.
    Inside,
    /// Where it is in doubt.
    Doubtful,
    /// Where it fails.
    Outside,
    /// Lines that say the same as an area.
    Hatch,
}

impl Role {
    /// Its name as data and as a class of a style sheet.
    pub fn name(self) -> &'static str {
        match self {
            Self::Grid => "grid",
            Self::Frame => "frame",
            Self::Level => "level",
            Self::Node => "node",
            Self::Spread => "spread",
            Self::Mark => "mark",
            Self::MarkLeft => "mark-left",
            Self::Limit => "limit",
            Self::Stop => "stop",
            Self::StopSign => "stop-sign",
            Self::Inside => "inside",
            Self::Doubtful => "doubtful",
            Self::Outside => "outside",
            Self::Hatch => "hatch",
        }
    }
}

/// Everything drawn of a visit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Drawings {
    /// The level diagrams, in the report's order.
    pub levels: Vec<Drawing>,
    /// The bars of readings, by the reading's id.
    pub bars: BTreeMap<String, Drawing>,
}

impl Drawings {
    /// What there is to draw of a visit.
    pub fn of(report: &VisitReport, language: Language) -> Self {
        let lines = report.stages.iter().flat_map(|stage| &stage.lines);
        let cells = lines.flat_map(|line| line.as_found.iter().chain(&line.as_left));
        let bar_of = |cell: &Cell| Some((cell.id.clone(), bar(cell, language)?));
        Self {
            levels: report.diagrams.iter().map(|it| levels(it, language)).collect(),
            bars: cells.filter_map(bar_of).collect(),
        }
    }
}

/// Collects shapes.
#[derive(Default)]
struct Board {
    shapes: Vec<Shape>,
}

impl Board {
    fn line(&mut self, role: Role, points: &[Point]) {
        self.shapes.push(Shape::Line { points: points.to_vec(), role });
    }

    fn area(&mut self, role: Role, points: &[Point]) {
        self.shapes.push(Shape::Area { points: points.to_vec(), role });
    }

    /// An upright rectangle between two corners.
    fn box_of(&mut self, role: Role, [x0, y0]: Point, [x1, y1]: Point) {
        self.area(role, &[[x0, y0], [x1, y0], [x1, y1], [x0, y1]]);
    }

    /// A square on its corner.
    fn diamond(&mut self, role: Role, [x, y]: Point, half: f64) {
        self.area(role, &[[x, y - half], [x + half, y], [x, y + half], [x - half, y]]);
    }

    /// Slanted lines within a rectangle.
    fn hatch(&mut self, [x0, y0]: Point, [x1, y1]: Point, step: f64) {
        let height = y1 - y0;
        let mut foot = x0 - height + step / 2.0;
        while foot < x1 {
            // From the lower edge up to the right, cut off where the rectangle ends.
            let from = foot.max(x0);
            let to = (foot + height).min(x1);
            if to > from {
                self.line(Role::Hatch, &[[from, y1 - (from - foot)], [to, y1 - (to - foot)]]);
            }
            foot += step;
        }
    }

    /// How far something may be off, upright, with an end across at both.
    fn whisker(&mut self, x: f64, [y0, y1]: [f64; 2], half: f64) {
        self.line(Role::Spread, &[[x, y0], [x, y1]]);
        for y in [y0, y1] {
            self.line(Role::Spread, &[[x - half, y], [x + half, y]]);
        }
    }

    fn letters(&mut self, at: Point, anchor: Anchor, size: f64, text: String) {
        self.shapes.push(Shape::Letters { at, anchor, size, strong: false, text });
    }

    fn strong(&mut self, at: Point, anchor: Anchor, size: f64, text: String) {
        self.shapes.push(Shape::Letters { at, anchor, size, strong: true, text });
    }
}

/// About how wide a letter is, as a part of its height: an estimate, since no typeface is known.
const LETTER_WIDTH: f64 = 0.52;

/// Breaks words into lines of about `room` units. A word that is wider is cut, so that nothing
/// reaches into what stands beside it; nothing is left out.
fn broken(text: &str, size: f64, room: f64) -> Vec<String> {
    let most = ((room / (size * LETTER_WIDTH)) as usize).max(4);
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let letters: Vec<char> = word.chars().collect();
        for piece in letters.chunks(most) {
            let piece: String = piece.iter().collect();
            match lines.last_mut() {
                Some(last) if last.chars().count() + 1 + piece.chars().count() <= most => {
                    last.push(' ');
                    last.push_str(&piece);
                }
                _ => lines.push(piece),
            }
        }
    }
    lines
}

#[cfg(test)]
mod tests;
