//! A page is laid out from any report, in both languages and sizes, and typed text stays text.

use guyline_core::report::{Board, BoardRow, ShopDay, SiteReport, VisitReport};
use serde_json::json;

use super::*;

fn report() -> VisitReport {
    serde_json::from_str(include_str!("report_tests.json")).expect("a report as data")
}

fn visit(report: &VisitReport, language: Language, paper: Paper) -> Result<Vec<u8>, NotTypeset> {
    let lines = ["session 01ARZ3NDEKTSV4RRFFQ69G5FAW".to_owned()];
    pdf(Paperwork::Visit(report, &lines), language, paper)
}

#[test]
fn every_size_and_language_gives_a_tagged_pdf_and_the_same_bytes_again() {
    for language in [Language::English, Language::French] {
        for paper in [Paper::A4, Paper::Letter] {
            let made = visit(&report(), language, paper).unwrap();
            assert!(made.starts_with(b"%PDF-"), "{language:?} {paper:?}");
            let has = |part: &[u8]| made.windows(part.len()).any(|window| window == part);
            assert!(has(b"/MarkInfo") && has(b"/StructTreeRoot"), "tagged");
            assert!(has(b"pdfuaid"), "says that it is PDF/UA");
            assert_eq!(made, visit(&report(), language, paper).unwrap());
        }
    }
}

#[test]
fn what_people_typed_is_never_markup() {
    let mut report = report();
    for text in
        ["#panic(\"no\")", "*bold* _it_ $x$ @ref <label> [a](b)", "= Heading\n#import \"x\"", "\\"]
    {
        text.clone_into(&mut report.site);
        text.clone_into(&mut report.adjusted[0].text);
        text.clone_into(&mut report.found[0].what);
        visit(&report, Language::English, Paper::A4).unwrap();
    }
}

#[test]
fn an_empty_visit_is_laid_out_too() {
    let mut report = report();
    report.stages.clear();
    report.diagrams.clear();
    report.found.clear();
    report.crew.clear();
    report.overall = Default::default();
    visit(&report, Language::French, Paper::Letter).unwrap();
}

/// A site whose one repeater was visited three times, and another one never.
fn site() -> SiteReport {
    let visit = serde_json::to_value(report()).unwrap();
    let field = |name: &str| visit[name].clone();
    let read = |year: i32, value: f64| {
        json!({
            "reading": format!("r{year}"), "value": value, "expanded": 0.3, "outcome": "pass",
            "text": format!("{value} dB"), "at": format!("{year}-05-14T10:00:00Z"),
            "standard": 0.15,
        })
    };
    let point = |year: i32, found: f64| {
        json!({
            "session": format!("s{year}"), "at": format!("{year}-05-14T10:00:00Z"),
            "as_found": read(year, found), "as_left": read(year, found - 0.1),
        })
    };
    let history = json!({
        "check": "duplexer.receive-loss", "title": "#loss", "stage": "duplexer", "judged": "loss",
        "unit": "dB", "limits": { "low": null, "high": 1.3 }, "limit_text": "at most 1.3 dB",
        "points": [point(2024, 0.9), point(2025, 1.0), point(2026, 1.1)],
        "trend": {
            "per_year": 0.2, "low": 0.2, "high": 0.2, "shape": "too-few", "step": null,
            "step_day": null, "outlook": null,
            "line": [
                { "at": "2024-05-14T10:00:00Z", "found": 0.9, "left": 0.8 },
                { "at": "2026-05-14T10:00:00Z", "found": 1.1, "left": 1.0 },
            ],
        },
    });
    let channel = |name: &str, latest: Value, history: Value| {
        json!({
            "name": name, "receive_hz": 153_400_000, "transmit_hz": 158_600_000,
            "channel_width_hz": 12_500, "region": "us", "call_sign": "#call", "emission": null,
            "licence_expires": "2030-01-01", "latest": latest, "history": history,
        })
    };
    let latest = json!({
        "session": "s2026", "day": "2026-05-14", "work_order": "WO 1", "crew": field("crew"),
        "overall": field("overall"), "summary": field("summary"), "concluded": field("concluded"),
        "adjusted": field("adjusted"), "found": field("found"), "stages": field("stages"),
        "signatures": field("signatures"),
    });
    let whole = json!({
        "shop": field("shop"), "letterhead": field("letterhead"), "site": "Owl Knob",
        "as_of": "2026-05-14", "decision_rule": field("decision_rule"),
        "needs": [{ "repeater": "a", "kind": "fails", "what": "#loss", "why": "too much" }],
        "access": "a road\na gate", "hazards": ["= snakes"], "deferral": "Local codes decide.",
        "channels": [channel("a", latest, json!([history])), channel("b", Value::Null, json!([]))],
        "instruments": field("instruments"),
        "co_sited": [{
            "name": "*other*", "frequency_hz": 155_000_000, "power_w": null, "antenna": "a whip",
        }],
        "equipment": [{
            "name": "a rack", "serial_number": null, "rating": "24 V", "repeater": "a",
        }],
        "visits": [{
            "day": "2026-05-14", "repeater": "a", "work_order": "WO 1", "worst": "pass",
            "signed_off": true,
        }],
        "unread": ["WO 2: cannot be read"],
    });
    serde_json::from_value(whole).expect("a site's report as data")
}

#[test]
fn a_site_is_laid_out_in_every_size_and_language_tagged_and_alike() {
    let lines = ["site 01ARZ3NDEKTSV4RRFFQ69G5FAW".to_owned()];
    let made = |language, paper| pdf(Paperwork::Site(&site(), &lines), language, paper).unwrap();
    for language in [Language::English, Language::French] {
        for paper in [Paper::A4, Paper::Letter] {
            let file = made(language, paper);
            let has = |part: &[u8]| file.windows(part.len()).any(|window| window == part);
            assert!(has(b"/StructTreeRoot") && has(b"pdfuaid"), "{language:?} {paper:?}");
            assert_eq!(file, made(language, paper));
        }
    }
}

#[test]
fn a_site_nobody_was_at_is_laid_out_too() {
    let mut site = site();
    site.as_of = None;
    site.channels.clear();
    site.needs.clear();
    site.hazards.clear();
    site.instruments.clear();
    site.co_sited.clear();
    site.equipment.clear();
    site.visits.clear();
    let made = pdf(Paperwork::Site(&site, &[]), Language::English, Paper::A4).unwrap();
    assert!(made.starts_with(b"%PDF-"));
}

#[test]
fn a_day_of_forty_repeaters_is_laid_out() {
    let row = |number: usize| BoardRow {
        session: format!("s{number}"),
        site: format!("site {number}"),
        repeater: "base repeater".to_owned(),
        day: "2026-05-14".to_owned(),
        outcomes: vec![None],
    };
    let board =
        Board { checks: vec!["Opening level".to_owned()], rows: (0..40).map(row).collect() };
    let day = ShopDay { board, ..empty_day() };
    let made = pdf(Paperwork::Day(&day), Language::English, Paper::A4).unwrap();
    assert!(made.starts_with(b"%PDF-"));
}

fn empty_day() -> ShopDay {
    ShopDay {
        shop: "#shop".to_owned(),
        letterhead: Default::default(),
        day: "2026-05-14".to_owned(),
        visits: Vec::new(),
        failing: Vec::new(),
        disagreements: Vec::new(),
        revisits: Vec::new(),
        calibrations: Vec::new(),
        overdue: Vec::new(),
        silent: Vec::new(),
        board: Board::default(),
    }
}

#[test]
fn a_day_is_laid_out_empty_too() {
    let day = empty_day();
    let made = pdf(Paperwork::Day(&day), Language::French, Paper::Letter).unwrap();
    assert!(made.starts_with(b"%PDF-"));
}
