//! The bar of a verdict: a value with its uncertainty against its limits.

use super::{Anchor, Board, Drawing, Role};
use crate::report::shapes::{Cell, Figures};
use crate::report::{Language, plain_number};

const WIDTH: f64 = 122.0;
const HEIGHT: f64 = 21.0;
/// The band the zones fill.
const BAND: [f64; 2] = [3.0, 12.0];
/// Room left at either end, as a part of what must be seen.
const ROOM: f64 = 0.16;
const LETTERS: f64 = 6.0;

/// The bar of a reading; none where it was not judged against a limit.
pub fn bar(cell: &Cell, language: Language) -> Option<Drawing> {
    let figures = cell.figures.as_ref()?;
    let span = Span::of(figures)?;
    let mut board = Board::default();
    zones(&mut board, figures, &span);
    for limit in [figures.low, figures.high].into_iter().flatten() {
        let x = span.at(limit);
        board.line(Role::Limit, &[[x, BAND[0] - 2.0], [x, BAND[1] + 2.0]]);
        let anchor = match x / WIDTH {
            part if part < 0.15 => Anchor::Start,
            part if part > 0.85 => Anchor::End,
            _ => Anchor::Middle,
        };
        let text = format!("{} {}", plain_number(limit, 2), figures.unit);
        board.letters([x, HEIGHT - 1.0], anchor, LETTERS, text);
    }
    let y = (BAND[0] + BAND[1]) / 2.0;
    let ends =
        [span.at(figures.value - figures.expanded), span.at(figures.value + figures.expanded)];
    board.line(Role::Spread, &[[ends[0], y], [ends[1], y]]);
    for x in ends {
        board.line(Role::Spread, &[[x, y - 2.5], [x, y + 2.5]]);
    }
    board.diamond(Role::Mark, [span.at(figures.value), y], 3.4);
    let outcome = language.outcome(Some(cell.outcome));
    let margin = match cell.margin.as_str() {
        "" => String::new(),
        margin => format!(", {} {margin}", language.words().margin),
    };
    Some(Drawing {
        title: cell.judged.clone(),
        words: format!(
            "{} {}; {}: {}{margin}: {outcome}",
            cell.value,
            cell.uncertainty,
            language.words().limit,
            cell.limit
        ),
        width: WIDTH,
        height: HEIGHT,
        shapes: board.shapes,
    })
}

/// The stretch of values a bar shows.
struct Span {
    first: f64,
    last: f64,
}

impl Span {
    fn of(figures: &Figures) -> Option<Self> {
        let limits: Vec<f64> = [figures.low, figures.high].into_iter().flatten().collect();
        if limits.is_empty() {
            return None;
        }
        let ends = [figures.value - figures.expanded, figures.value + figures.expanded];
        let doubt = limits.iter().flat_map(|limit| [limit - figures.guard, limit + figures.guard]);
        let seen: Vec<f64> = doubt.chain(ends).collect();
        let low = seen.iter().copied().fold(f64::INFINITY, f64::min);
        let high = seen.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let room = if high > low { ROOM * (high - low) } else { 1.0 };
        Some(Self { first: low - room, last: high + room })
    }

    fn at(&self, value: f64) -> f64 {
        WIDTH * (value - self.first) / (self.last - self.first)
    }
}

/// Where it passes, where it is in doubt by the shop's rule, and where it fails.
fn zones(board: &mut Board, figures: &Figures, span: &Span) {
    let (low, high) = (figures.low, figures.high);
    let guard = figures.guard;
    let inside_from = low.map_or(span.first, |low| low + guard);
    let inside_to = high.map_or(span.last, |high| high - guard);
    // Two limits nearer together than the guard bands: all between them is in doubt.
    let middle = low.zip(high).map(|(low, high)| (low + high) / 2.0);
    let crossed = middle.filter(|_| inside_from > inside_to);
    let (inside_from, inside_to) = crossed.map_or((inside_from, inside_to), |at| (at, at));
    let mut zone = |role: Role, from: f64, to: f64| {
        let (from, to) = (span.at(from), span.at(to));
        if to - from > 0.01 {
            board.box_of(role, [from, BAND[0]], [to, BAND[1]]);
            match role {
                Role::Doubtful => board.hatch([from, BAND[0]], [to, BAND[1]], 5.0),
                Role::Outside => board.hatch([from, BAND[0]], [to, BAND[1]], 2.2),
                _ => {}
            }
        }
    };
    if let Some(low) = low {
        zone(Role::Outside, span.first, low - guard);
        zone(Role::Doubtful, low - guard, inside_from);
    }
    zone(Role::Inside, inside_from, inside_to);
    if let Some(high) = high {
        zone(Role::Doubtful, inside_to, high + guard);
        zone(Role::Outside, high + guard, span.last);
    }
}
