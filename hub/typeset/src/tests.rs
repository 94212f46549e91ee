//! A page is laid out from any report, in both languages and sizes, and typed text stays text.

use guyline_core::report::{Board, ShopDay, VisitReport};

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

#[test]
fn a_day_is_laid_out_empty_too() {
    let day = ShopDay {
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
    };
    let made = pdf(Paperwork::Day(&day), Language::French, Paper::Letter).unwrap();
    assert!(made.starts_with(b"%PDF-"));
}
