//! A page is laid out from any report, in both languages and sizes, and typed text stays text.

use super::*;

fn report() -> VisitReport {
    serde_json::from_str(include_str!("report_tests.json")).expect("a report as data")
}

fn lines() -> Vec<String> {
    vec!["session 01ARZ3NDEKTSV4RRFFQ69G5FAW".to_owned()]
}

#[test]
fn every_size_and_language_gives_a_tagged_pdf_and_the_same_bytes_again() {
    for language in [Language::English, Language::French] {
        for paper in [Paper::A4, Paper::Letter] {
            let made = pdf(&report(), language, paper, &lines()).unwrap();
            assert!(made.starts_with(b"%PDF-"), "{language:?} {paper:?}");
            let has = |part: &[u8]| made.windows(part.len()).any(|window| window == part);
            assert!(has(b"/MarkInfo") && has(b"/StructTreeRoot"), "tagged");
            assert!(has(b"pdfuaid"), "says that it is PDF/UA");
            assert_eq!(made, pdf(&report(), language, paper, &lines()).unwrap());
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
        pdf(&report, Language::English, Paper::A4, &lines()).unwrap();
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
    pdf(&report, Language::French, Paper::Letter, &lines()).unwrap();
}
