//! The level diagram: dBm down the side, what is passed along the way, the expected level as a
//! line, readings as lettered marks with their uncertainty, ratings and stops where they bite.

use super::scale::Scale;
use super::{Anchor, Board, Drawing, Role, broken};
use crate::report::Language;
use crate::report::shapes::{LevelMark, Levels};
use crate::rf::chain::Node;
use crate::units::{Watts, shown};

const WIDTH: f64 = 492.0;
/// From the left edge to the plot: room for the scale's numbers.
const LEFT: f64 = 44.0;
const PLOT: f64 = 112.0;
const LETTERS: f64 = 6.5;
const ROW: f64 = 7.6;
/// What the scale has at most between its outermost levels.
const LINES: f64 = 5.0;

/// A diagram with what was read along it.
pub fn levels(levels: &Levels, language: Language) -> Drawing {
    let words = language.words();
    let diagram = &levels.diagram;
    let column = (WIDTH - LEFT) / diagram.nodes.len().max(1) as f64;
    let columns = Columns { column };
    // The two bands of words are as high as their longest stack.
    let passed: Vec<Vec<String>> = diagram.nodes.iter().map(|node| passed(node, column)).collect();
    let named: Vec<Vec<String>> =
        diagram.nodes.iter().map(|node| broken(&node.label, LETTERS, column - 6.0)).collect();
    let top = 4.0 + ROW * most(&passed);
    let foot = top + PLOT;
    let scale = Scale::holding(&shown_levels(levels), LINES, [foot, top]);
    let mut board = Board::default();
    grid(&mut board, &scale, [top, foot]);
    ratings(&mut board, levels, &scale, &columns);
    expected(&mut board, &diagram.nodes, &scale, &columns);
    marks(&mut board, &levels.marks, &scale, &columns);
    stops(&mut board, levels, &scale, &columns);
    for (index, lines) in passed.iter().enumerate() {
        let bottom = top - 4.0 - ROW * (lines.len().max(1) - 1) as f64;
        let x = columns.middle(index) - column / 2.0;
        stack(&mut board, [x, bottom], lines);
    }
    for (index, (node, lines)) in diagram.nodes.iter().zip(&named).enumerate() {
        let at = [columns.middle(index), foot + 10.0];
        board.strong(at, Anchor::Middle, 7.5, format!("{} dBm", shown(node.level_dbm, 1)));
        stack(&mut board, [at[0], at[1] + ROW + 1.0], lines);
    }
    Drawing {
        title: diagram.title.clone(),
        words: said(levels, language),
        width: WIDTH,
        height: foot + 12.0 + ROW * (most(&named) + 0.5),
        shapes: board.shapes,
    }
    .under(words.level)
}

impl Drawing {
    /// With the scale's name in front of its words.
    fn under(mut self, level: &str) -> Self {
        self.title = format!("{level}: {}", self.title);
        self
    }
}

/// Nodes in even steps.
struct Columns {
    column: f64,
}

impl Columns {
    fn middle(&self, index: usize) -> f64 {
        LEFT + self.column * (index as f64 + 0.5)
    }
}

fn most(stacks: &[Vec<String>]) -> f64 {
    stacks.iter().map(Vec::len).max().unwrap_or_default() as f64
}

fn stack(board: &mut Board, [x, first]: [f64; 2], lines: &[String]) {
    for (index, line) in lines.iter().enumerate() {
        let y = first + ROW * index as f64;
        board.letters([x, y], Anchor::Middle, LETTERS, line.clone());
    }
}

/// What is passed before a node, and what it costs.
fn passed(node: &Node, column: f64) -> Vec<String> {
    let (Some(element), Some(loss_db)) = (&node.element, node.loss_db) else { return Vec::new() };
    let mut lines = broken(element, LETTERS, column - 8.0);
    lines.push(format!("{} dB", shown(-loss_db, 2)));
    lines
}

/// What arrives at a node at most by its rating, where the transmitter's power is shown: a
/// generator's signal is nowhere near one.
fn rating_dbm(levels: &Levels, node: &Node) -> Option<f64> {
    let most = node.power_max_w.filter(|most| levels.diagram.keyed && *most > 0.0)?;
    Watts::new(most).ok().map(|watts| watts.level().dbm())
}

fn shown_levels(levels: &Levels) -> Vec<f64> {
    let nodes = &levels.diagram.nodes;
    let lines = nodes
        .iter()
        .flat_map(|node| [node.level_dbm - node.expanded_db, node.level_dbm + node.expanded_db]);
    let ratings = nodes.iter().filter_map(|node| rating_dbm(levels, node));
    let marks = levels.marks.iter().flat_map(|mark| {
        let spread = mark.expanded_db.unwrap_or_default();
        [mark.level_dbm - spread, mark.level_dbm + spread]
    });
    lines.chain(ratings).chain(marks).collect()
}

fn grid(board: &mut Board, scale: &Scale, [top, foot]: [f64; 2]) {
    for level in scale.round_numbers() {
        let y = scale.at(level);
        board.line(Role::Grid, &[[LEFT, y], [WIDTH, y]]);
        let text = format!("{} dBm", shown(level, scale.decimals()));
        board.letters([LEFT - 4.0, y + 2.2], Anchor::End, LETTERS, text);
    }
    board.line(Role::Frame, &[[LEFT, top], [LEFT, foot]]);
}

fn expected(board: &mut Board, nodes: &[Node], scale: &Scale, columns: &Columns) {
    let points: Vec<[f64; 2]> = nodes
        .iter()
        .enumerate()
        .map(|(index, node)| [columns.middle(index), scale.at(node.level_dbm)])
        .collect();
    if points.len() > 1 {
        board.line(Role::Level, &points);
    }
    for (node, &[x, y]) in nodes.iter().zip(&points) {
        let ends = [node.level_dbm - node.expanded_db, node.level_dbm + node.expanded_db];
        board.whisker(x, ends.map(|level| scale.at(level)), 2.0);
        board.box_of(Role::Node, [x - 1.8, y - 1.8], [x + 1.8, y + 1.8]);
    }
}

fn ratings(board: &mut Board, levels: &Levels, scale: &Scale, columns: &Columns) {
    for (index, node) in levels.diagram.nodes.iter().enumerate() {
        let (Some(level), Some(most)) = (rating_dbm(levels, node), node.power_max_w) else {
            continue;
        };
        let (x, y) = (columns.middle(index), scale.at(level));
        let half = columns.column * 0.32;
        board.line(Role::Limit, &[[x - half, y], [x + half, y]]);
        board.hatch([x - half, y - 4.0], [x + half, y], 3.0);
        let text = format!("\u{2264} {} W", watts(most));
        board.letters([x + half, y + 6.8], Anchor::End, LETTERS, text);
    }
}

/// Watts as a rating is written: whole where they are many.
fn watts(watts: f64) -> String {
    shown(watts, if watts >= 10.0 { 0 } else { 2 })
}

fn marks(board: &mut Board, marks: &[LevelMark], scale: &Scale, columns: &Columns) {
    for (number, mark) in marks.iter().enumerate() {
        let beside = marks[..number].iter().filter(|other| other.node == mark.node).count();
        // To the right of the line, so that a mark that agrees with it does not hide it.
        let x = columns.middle(mark.node) + 8.0 + 13.0 * beside as f64;
        let y = scale.at(mark.level_dbm);
        if let Some(spread) = mark.expanded_db {
            let ends = [mark.level_dbm - spread, mark.level_dbm + spread];
            board.whisker(x, ends.map(|level| scale.at(level)), 2.5);
        }
        let role = if mark.is_left() { Role::MarkLeft } else { Role::Mark };
        board.diamond(role, [x, y], 3.2);
        board.strong([x + 3.6, y - 2.6], Anchor::Start, LETTERS, letter(number));
    }
}

/// The letter of a mark: A to Z, then AA and so on.
pub(crate) fn letter(number: usize) -> String {
    let own = char::from(b'A' + (number % 26) as u8);
    match number / 26 {
        0 => own.to_string(),
        round => format!("{}{own}", letter(round - 1)),
    }
}

fn stops(board: &mut Board, levels: &Levels, scale: &Scale, columns: &Columns) {
    for stop in &levels.stops {
        let Some(node) = levels.diagram.nodes.get(stop.node) else { continue };
        let (x, y) = (columns.middle(stop.node) - 11.0, scale.at(node.level_dbm));
        let corners = [
            [-0.4, -1.0],
            [0.4, -1.0],
            [1.0, -0.4],
            [1.0, 0.4],
            [0.4, 1.0],
            [-0.4, 1.0],
            [-1.0, 0.4],
            [-1.0, -0.4],
        ];
        board.area(Role::Stop, &corners.map(|[dx, dy]| [x + 6.0 * dx, y + 6.0 * dy]));
        for slant in [-1.0, 1.0] {
            let arm = 2.6 * slant;
            board.line(Role::StopSign, &[[x - 2.6, y - arm], [x + 2.6, y + arm]]);
        }
    }
}

/// The whole diagram in words.
fn said(levels: &Levels, language: Language) -> String {
    let words = language.words();
    let nodes: Vec<String> = levels
        .diagram
        .nodes
        .iter()
        .map(|node| {
            let spread = format!("\u{b1}{} dB", shown(node.expanded_db, 1));
            let most = node.power_max_w.map(|most| format!(", {} {} W", words.rating, watts(most)));
            let most = most.unwrap_or_default();
            format!("{} {} dBm {spread}{most}", node.label, shown(node.level_dbm, 1))
        })
        .collect();
    let marks = levels.marks.iter().enumerate();
    let marks = marks.map(|(number, mark)| format!("; {} {}", letter(number), mark.said(language)));
    let stops = levels.stops.iter().map(|stop| format!("; {}: {}", words.do_not_key, stop.what));
    format!(
        "{}, {} MHz: {}{}",
        levels.diagram.title,
        shown(levels.diagram.frequency_hz as f64 / 1e6, 5),
        nodes.join("; "),
        marks.chain(stops).collect::<String>()
    )
}
