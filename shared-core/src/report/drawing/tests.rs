//! A drawing is to scale: what is measured in it with a ruler is what the record says.

use super::*;
use crate::checks::kept_visit::sheet;
use crate::checks::{Cautions, Plan, appraise};
use crate::report::visit_report;

fn told() -> VisitReport {
    let sheet = sheet();
    let appraisal = appraise(Plan::standard(), Cautions::standard(), &sheet).unwrap();
    visit_report(&sheet, &appraisal, Cautions::standard(), Language::English)
}

fn cells(report: &VisitReport) -> impl Iterator<Item = &Cell> {
    let lines = report.stages.iter().flat_map(|stage| &stage.lines);
    lines.flat_map(|line| line.as_found.iter().chain(&line.as_left))
}

fn lines(drawing: &Drawing, wanted: Role) -> Vec<&[Point]> {
    let of = |shape| match shape {
        &Shape::Line { ref points, role } if role == wanted => Some(points.as_slice()),
        _ => None,
    };
    drawing.shapes.iter().filter_map(of).collect()
}

fn areas(drawing: &Drawing, wanted: Role) -> Vec<Point> {
    let middle = |points: &[Point]| {
        let count = points.len() as f64;
        [0, 1].map(|axis| points.iter().map(|point| point[axis]).sum::<f64>() / count)
    };
    let of = |shape: &Shape| match shape {
        Shape::Area { points, role } if *role == wanted => Some(middle(points)),
        _ => None,
    };
    drawing.shapes.iter().filter_map(of).collect()
}

/// A number as it was written, with its true minus sign.
fn number(text: &str) -> f64 {
    let plain: String = text.replace('\u{2212}', "-");
    plain.split(' ').next().unwrap().parse().unwrap()
}

/// From coordinates to values, by two places of which the value is known.
fn ruler([(at, value), (other_at, other)]: [(f64, f64); 2]) -> impl Fn(f64) -> f64 {
    move |place| value + (other - value) * (place - at) / (other_at - at)
}

#[test]
fn a_bar_measured_with_a_ruler_gives_the_records_numbers() {
    let report = told();
    let mut bars = 0;
    for cell in cells(&report) {
        let Some(figures) = &cell.figures else { continue };
        let drawn = bar(cell, Language::English).unwrap();
        bars += 1;
        let whisker = lines(&drawn, Role::Spread)[0];
        let (low, high) = (figures.value - figures.expanded, figures.value + figures.expanded);
        let value_at = ruler([(whisker[0][0], low), (whisker[1][0], high)]);
        let mark = areas(&drawn, Role::Mark)[0];
        assert!((value_at(mark[0]) - figures.value).abs() < 1e-6, "{}", drawn.words);
        let limits: Vec<f64> = [figures.low, figures.high].into_iter().flatten().collect();
        let ticks = lines(&drawn, Role::Limit);
        assert_eq!(ticks.len(), limits.len());
        for (tick, limit) in ticks.iter().zip(limits) {
            assert!((value_at(tick[0][0]) - limit).abs() < 1e-6, "{}", drawn.words);
        }
        for said in [&cell.value, &cell.uncertainty, &cell.limit, &cell.margin] {
            assert!(drawn.words.contains(said.as_str()), "{said} is not in {}", drawn.words);
        }
    }
    assert!(bars >= 12, "{bars} bars");
}

#[test]
fn a_level_diagram_measured_with_a_ruler_gives_the_levels_and_the_readings() {
    let report = told();
    let (mut nodes, mut marks, mut stops) = (0, 0, 0);
    for it in &report.diagrams {
        let drawn = levels(it, Language::French);
        let grid = lines(&drawn, Role::Grid);
        let letters = drawn.shapes.iter().filter_map(|shape| match shape {
            Shape::Letters { anchor: Anchor::End, text, .. } if text.ends_with("dBm") => Some(text),
            _ => None,
        });
        let numbers: Vec<f64> = letters.map(|text| number(text)).collect();
        let last = grid.len() - 1;
        let level_at = ruler([(grid[0][0][1], numbers[0]), (grid[last][0][1], numbers[last])]);
        let at: Vec<Point> = areas(&drawn, Role::Node);
        assert_eq!(at.len(), it.diagram.nodes.len());
        for (node, at) in it.diagram.nodes.iter().zip(&at) {
            nodes += 1;
            assert!((level_at(at[1]) - node.level_dbm).abs() < 1e-6, "{}", node.label);
        }
        let mut read = areas(&drawn, Role::Mark);
        read.extend(areas(&drawn, Role::MarkLeft));
        assert_eq!(read.len(), it.marks.len());
        for mark in &it.marks {
            marks += 1;
            let here = read.iter().any(|at| (level_at(at[1]) - mark.level_dbm).abs() < 1e-6);
            assert!(here, "{} at {} dBm is not drawn", mark.title, mark.level_dbm);
            assert!(drawn.words.contains(&mark.said(Language::French)), "{}", drawn.words);
        }
        stops += areas(&drawn, Role::Stop).len();
        assert_eq!(areas(&drawn, Role::Stop).len(), it.stops.len());
    }
    assert!(nodes > 10 && marks > 5 && stops > 0, "{nodes} nodes, {marks} marks, {stops} stops");
}

#[test]
fn every_level_reading_that_stands_is_marked_where_it_speaks_of() {
    let (sheet, report) = (sheet(), told());
    let marked: Vec<&str> =
        report.diagrams.iter().flat_map(|it| &it.marks).map(|it| it.reading.as_str()).collect();
    for (id, reading) in sheet.session.standing_readings() {
        let is_level = !reading.check.contains("frequency") && !reading.check.contains("deviation");
        assert_eq!(marked.contains(&id), is_level, "{}", reading.check);
    }
}

#[test]
fn nothing_is_drawn_outside_its_drawing() {
    let report = told();
    let drawings = Drawings::of(&report, Language::English);
    let all = drawings.levels.iter().chain(drawings.bars.values());
    for drawn in all {
        for shape in &drawn.shapes {
            let points = match shape {
                Shape::Line { points, .. } | Shape::Area { points, .. } => points.clone(),
                Shape::Letters { at, .. } => vec![*at],
            };
            for [x, y] in points {
                let inside = (-0.01..=drawn.width + 0.01).contains(&x)
                    && (-0.01..=drawn.height + 0.01).contains(&y);
                assert!(inside, "{shape:?} of {}", drawn.title);
            }
        }
    }
}

#[test]
fn words_are_broken_without_losing_a_letter() {
    let text = "a word-that-is-wider-than-the-room and more";
    let lines = broken(text, 6.5, 40.0);
    let whole = |text: &str| text.replace(' ', "");
    assert_eq!(whole(&lines.concat()), whole(text));
    assert!(lines.len() > 3 && lines.iter().all(|line| line.chars().count() <= 11), "{lines:?}");
}

#[test]
fn marks_go_on_behind_the_last_letter() {
    let letters = [0, 25, 26, 51, 52, 702].map(levels::letter);
    assert_eq!(letters, ["A", "Z", "AA", "AZ", "BA", "AAA"]);
}
