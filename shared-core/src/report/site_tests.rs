//! A site's report tells every repeater by its latest visit, every visit once, and what has to be
//! done, gravest first.

use super::*;
use crate::checks::kept_visit::sheet;
use crate::checks::{Cautions, Plan, Sheet, appraise};
use crate::record::Attachment;
use crate::report::drawing::{Role, Shape, history};
use crate::report::{Language, trend_said, visit_report};
use crate::time::Timestamp;

fn visit(session: &str, years: i64, change: impl Fn(&mut Sheet)) -> Visit {
    let mut sheet = sheet();
    for reading in sheet.session.readings.values_mut() {
        let ms = reading.stamp.at.unix_ms() + years * 31_557_600_000;
        reading.stamp.at = Timestamp::from_unix_ms(ms).unwrap();
    }
    change(&mut sheet);
    let appraisal = appraise(Plan::standard(), Cautions::standard(), &sheet).unwrap();
    let report = visit_report(&sheet, &appraisal, Cautions::standard(), Language::English);
    Visit { session: session.to_owned(), sheet, appraisal, report }
}

fn opening(level: &'static str) -> impl Fn(&mut Sheet) {
    move |sheet| {
        let readings = sheet.session.readings.values_mut();
        readings
            .filter(|reading| reading.check == "receiver.opening")
            .for_each(|reading| level.clone_into(&mut reading.typed));
    }
}

fn told(visits: &[Visit]) -> SiteReport {
    let Sheet { shop, site, .. } = sheet();
    let disputed = vec!["access".to_owned()];
    let deferral = "Local codes decide.";
    site_report(&shop, &site, visits, Besides { disputed, deferral, ..Besides::default() })
}

#[test]
fn a_repeater_is_told_by_its_latest_visit_and_every_visit_is_listed() {
    let visits = [visit("A", 0, |_| {}), visit("C", 2, opening("-80")), visit("B", 1, |_| {})];
    let report = told(&visits);
    let channel = &report.channels[0];
    let latest = channel.latest.as_ref().unwrap();
    assert_eq!(latest.session, "C");
    assert_eq!(latest.overall, visits[1].report.overall);
    assert_eq!(latest.stages, visits[1].report.stages);
    assert_eq!(report.as_of.as_ref(), Some(&latest.day));
    assert_eq!(report.visits.len(), 3);
    assert!(report.visits.is_sorted_by(|a, b| a.day >= b.day), "newest first");
    assert!(channel.history.iter().all(|it| it.points.len() == 3), "each visit once");
    assert!(!channel.history.is_empty());
}

#[test]
fn what_has_to_be_done_is_said_of_the_latest_visit_gravest_first() {
    let report = told(&[visit("A", -1, opening("-80")), visit("B", 0, |_| {})]);
    assert!(!report.needs.iter().any(|need| need.kind == NeedKind::Fails), "{:?}", report.needs);
    let report = told(&[visit("A", -1, |_| {}), visit("B", 0, opening("-80"))]);
    assert_eq!(report.needs[0].kind, NeedKind::Fails);
    assert!(report.needs.is_sorted_by_key(|need| need.kind));
    for need in &report.needs {
        let [english, french] = [Language::English, Language::French].map(|l| need.said(l));
        assert_ne!(english, french, "{need:?}");
        assert!(english.contains(&need.what) && french.contains(&need.what), "{need:?}");
    }
}

#[test]
fn a_site_nobody_was_at_asks_for_a_visit() {
    let report = told(&[]);
    assert_eq!(report.as_of, None);
    // What two people wrote apart in its paper is to be chosen all the same.
    let kinds: Vec<NeedKind> = report.needs.iter().map(|need| need.kind).collect();
    assert_eq!(kinds, [NeedKind::Choose, NeedKind::Visit]);
    assert_eq!(report.needs[0].repeater, report.site);
    assert!(report.channels[0].latest.is_none() && report.visits.is_empty());
    assert_eq!(report.hazards, sheet().site.all_hazards());
}

/// Attaches so many things of a kind, each with a hash of its own.
fn attached(media_type: &'static str, count: u8) -> impl Fn(&mut Sheet) {
    move |sheet| {
        let stamp = sheet.session.opened.clone();
        for number in 0..count {
            let it = Attachment {
                hash: format!("{number:064}"),
                media_type: media_type.to_owned(),
                file_name: format!("{number}"),
                length: 1,
                caption: None,
                of: None,
                stamp: stamp.clone(),
            };
            let id = format!("{}-{number}", media_type.replace('/', "-"));
            sheet.session.attachments.insert(id, it);
        }
    }
}

#[test]
fn the_newest_photographs_of_the_latest_visit_are_told_and_the_rest_counted() {
    let nine = |sheet: &mut Sheet| {
        attached("image/jpeg", 9)(sheet);
        attached("audio/wav", 2)(sheet);
    };
    let report = told(&[visit("A", -1, attached("image/png", 3)), visit("B", 0, nine)]);
    let latest = report.channels[0].latest.as_ref().unwrap();
    let SitePhotographs { shown, more } = &latest.photographs;
    assert_eq!((shown.len(), *more), (6, 3));
    assert_eq!(shown.last().unwrap().caption, "8", "the newest stays");
    assert!(shown.iter().all(AttachedLine::is_picture));
    assert_eq!(report.photographs().count(), 6);

    // Many repeaters share the room; each keeps one.
    let lines: Vec<AttachedLine> = shown.iter().cycle().take(18).cloned().collect();
    for (repeaters, room) in [(1, 6), (4, 6), (5, 4), (12, 2), (24, 1), (100, 1)] {
        let SitePhotographs { shown, more } = photographs(&lines, repeaters);
        assert_eq!((shown.len(), more), (room, 18 - room), "{repeaters} repeaters");
    }
}

#[test]
fn what_is_retired_is_left_out() {
    let Sheet { shop, mut site, .. } = sheet();
    for repeater in site.repeaters.values_mut() {
        repeater.retired = Some("2026-05-15".to_owned());
    }
    let report = site_report(&shop, &site, &[visit("A", 0, |_| {})], Besides::default());
    assert!(report.channels.is_empty() && report.needs.is_empty());
    assert_eq!(report.visits.len(), 1, "that it was visited stays true");
}

#[test]
fn a_plot_measured_with_a_ruler_gives_the_values_and_stays_within_itself() {
    let visits: Vec<Visit> = ["-124", "-123", "-122", "-121"]
        .into_iter()
        .zip(0..)
        .map(|(level, year)| visit("S", year, opening(level)))
        .collect();
    let report = told(&visits);
    let mut marks = 0;
    for it in &report.channels[0].history {
        let drawn = history(it, Language::English);
        assert!(drawn.words.contains(&trend_said(it, Language::English)));
        let (mut grid, mut found) = (Vec::new(), Vec::new());
        let mut numbers = Vec::new();
        for shape in &drawn.shapes {
            let places = match shape {
                Shape::Line { points, role } => {
                    if *role == Role::Grid {
                        grid.push(points[0][1]);
                    }
                    points.clone()
                }
                Shape::Area { points, role } => {
                    if *role == Role::Mark {
                        found.push(points.iter().map(|at| at[1]).sum::<f64>() / 4.0);
                    }
                    points.clone()
                }
                Shape::Letters { at, text, .. } => {
                    let number = text.split(' ').next().unwrap().replace('\u{2212}', "-");
                    numbers.extend(number.parse::<f64>());
                    vec![*at]
                }
            };
            for [x, y] in places {
                let inside = (-0.01..=drawn.width + 0.01).contains(&x)
                    && (-0.01..=drawn.height + 0.01).contains(&y);
                assert!(inside, "{shape:?} of {}", drawn.title);
            }
        }
        let last = grid.len() - 1;
        let value = |y: f64| {
            numbers[0] + (numbers[last] - numbers[0]) * (y - grid[0]) / (grid[last] - grid[0])
        };
        let reads: Vec<f64> = it.points.iter().flat_map(|p| &p.as_found).map(|r| r.value).collect();
        assert_eq!(found.len(), reads.len());
        for (y, read) in found.iter().zip(reads) {
            marks += 1;
            assert!((value(*y) - read).abs() < 1e-6, "{}: {} is not {read}", it.title, value(*y));
        }
    }
    assert!(marks >= 20, "{marks} marks");
}
