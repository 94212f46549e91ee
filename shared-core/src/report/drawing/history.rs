//! The plot of a value from visit to visit: time along the foot, the value up the side, as found
//! and as left with their uncertainty, the trend as a line, limits dashed.

use super::scale::Scale;
use super::{Anchor, Board, Drawing, Role};
use crate::checks::{CheckHistory, HistoryRead};
use crate::report::Language;
use crate::report::site_words::trend_said;
use crate::time::Timestamp;
use crate::units::shown;

const WIDTH: f64 = 236.0;
const HEIGHT: f64 = 92.0;
/// From the left edge to the plot: room for the scale's numbers.
const LEFT: f64 = 46.0;
const RIGHT: f64 = WIDTH - 8.0;
const TOP: f64 = 5.0;
const FOOT: f64 = HEIGHT - 14.0;
const LETTERS: f64 = 6.5;
/// What the scale has at most between its outermost values.
const LINES: f64 = 4.0;
/// How far as left stands beside as found.
const BESIDE: f64 = 4.0;

/// A history of at least two visits, drawn.
pub fn history(history: &CheckHistory, language: Language) -> Drawing {
    let scale = Scale::holding(&values(history), LINES, [FOOT, TOP]);
    let across = Across::of(history);
    let mut board = Board::default();
    for value in scale.round_numbers() {
        let y = scale.at(value);
        board.line(Role::Grid, &[[LEFT, y], [RIGHT, y]]);
        let text = format!("{} {}", shown(value, scale.decimals()), history.unit);
        board.letters([LEFT - 4.0, y + 2.2], Anchor::End, LETTERS, text);
    }
    let limits = history.limits.into_iter().flat_map(|limits| [limits.low, limits.high]);
    for limit in limits.flatten() {
        let y = scale.at(limit);
        board.line(Role::Limit, &[[LEFT, y], [RIGHT, y]]);
    }
    let line = history.trend.iter().flat_map(|trend| &trend.line);
    let line: Vec<_> = line
        .flat_map(|it| {
            let x = across.at(it.at);
            [[x, scale.at(it.found)], [x, scale.at(it.left)]]
        })
        .collect();
    if line.len() > 1 {
        board.line(Role::Level, &line);
    }
    for point in &history.points {
        let x = across.at(point.at);
        if let Some(read) = &point.as_found {
            mark(&mut board, &scale, read, x, Role::Mark);
        }
        if let Some(read) = &point.as_left {
            let beside = if point.as_found.is_some() { BESIDE } else { 0.0 };
            mark(&mut board, &scale, read, x + beside, Role::MarkLeft);
        }
    }
    for (at, anchor) in across.ends() {
        let text = at.day().to_string();
        board.letters([across.at(at), HEIGHT - 3.0], anchor, LETTERS, text);
    }
    Drawing {
        title: history.title.clone(),
        words: said(history, language),
        width: WIDTH,
        height: HEIGHT,
        shapes: board.shapes,
    }
}

fn mark(board: &mut Board, scale: &Scale, read: &HistoryRead, x: f64, role: Role) {
    if let Some(expanded) = read.expanded {
        let ends = [read.value + expanded, read.value - expanded];
        board.whisker(x, ends.map(|value| scale.at(value)), 1.8);
    }
    board.diamond(role, [x, scale.at(read.value)], 3.0);
}

/// Everything that must be in sight.
fn values(history: &CheckHistory) -> Vec<f64> {
    let reads = history.points.iter().flat_map(|it| it.as_found.iter().chain(&it.as_left));
    let spread = |read: &HistoryRead| {
        let expanded = read.expanded.unwrap_or_default();
        [read.value - expanded, read.value + expanded]
    };
    let limits = history.limits.into_iter().flat_map(|limits| [limits.low, limits.high]);
    let line = history.trend.iter().flat_map(|trend| &trend.line);
    reads
        .flat_map(spread)
        .chain(limits.flatten())
        .chain(line.flat_map(|it| [it.found, it.left]))
        .collect()
}

/// Moments along the foot.
struct Across {
    first: Timestamp,
    last: Timestamp,
}

impl Across {
    fn of(history: &CheckHistory) -> Self {
        let times = || history.points.iter().map(|point| point.at);
        let nothing = Timestamp::from_unix_ms(0).expect("the year 1970");
        Self { first: times().min().unwrap_or(nothing), last: times().max().unwrap_or(nothing) }
    }

    fn at(&self, at: Timestamp) -> f64 {
        let [from, to] = [LEFT + 8.0, RIGHT - 12.0];
        let whole = (self.last.unix_ms() - self.first.unix_ms()) as f64;
        let part =
            if whole > 0.0 { (at.unix_ms() - self.first.unix_ms()) as f64 / whole } else { 0.5 };
        from + (to - from) * part
    }

    fn ends(&self) -> Vec<(Timestamp, Anchor)> {
        match self.first.day() == self.last.day() {
            true => vec![(self.first, Anchor::Middle)],
            false => vec![(self.first, Anchor::Start), (self.last, Anchor::End)],
        }
    }
}

/// The same in words: every value, the limit, what it does.
fn said(history: &CheckHistory, language: Language) -> String {
    let words = language.words();
    let point = |it: &crate::checks::HistoryPoint| {
        let read = |phase: &str, read: &Option<HistoryRead>| {
            read.as_ref().map(|read| format!("{} {}", phase.to_lowercase(), read.text))
        };
        let both = [read(words.as_found, &it.as_found), read(words.as_left, &it.as_left)];
        let both: Vec<String> = both.into_iter().flatten().collect();
        format!("{}: {}", it.at.day(), both.join(", "))
    };
    let points: Vec<String> = history.points.iter().map(point).collect();
    let limit = match history.limit_text.as_str() {
        "" => String::new(),
        limit => format!("; {}: {limit}", words.limit),
    };
    format!("{}{limit}; {}", points.join("; "), trend_said(history, language))
}
