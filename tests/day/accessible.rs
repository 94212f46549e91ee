//! Goal: a report can be read by who hears it, and any reader of PDF opens it as it is. Method: the
//! played day's visit, its site and the day itself, with photographs, in both languages and on both
//! papers, are looked through by `pdf_check.py` with pikepdf, which is no part of what made them.
//! So that the check can fail, one file is damaged in every way it looks for.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

use crate::photographs::attach;
use crate::report::Day;

fn check(arguments: &[&str], files: &[&Path]) -> Output {
    let root = guyline_tests::repository();
    let output = Command::new(root.join("target/oracle-venv/bin/python"))
        .arg(root.join("tests/day/pdf_check.py"))
        .args(arguments)
        .args(files)
        .output()
        .expect("`./tests/run` installs pikepdf");
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{errors}");
    output
}

/// What is wrong with each file, in the order of the files.
fn problems(language: &str, files: &[&Path]) -> Vec<Vec<String>> {
    let told: Value = serde_json::from_slice(&check(&["check", language], files).stdout).unwrap();
    let of = |file: &&Path| {
        let list = told[file.to_str().unwrap()].as_array().expect("every file is told of");
        list.iter().map(|problem| problem.as_str().unwrap().to_owned()).collect()
    };
    files.iter().map(of).collect()
}

/// Visit, site and day, in a language, on both papers.
fn made(day: &Day, language: &str) -> Vec<PathBuf> {
    let session = day.session.to_string();
    let commands: [&[&str]; 3] =
        [&["report", &session], &["site-report", "Owl Knob"], &["day-end", "--day", "2026-05-14"]];
    let mut files = Vec::new();
    for command in commands {
        for paper in ["a4", "letter"] {
            let name = format!("{}-{language}-{paper}.pdf", command[0]);
            let look = ["--language", language, "--paper", paper];
            files.push(day.file(command, &name, &look));
        }
    }
    files
}

#[test]
fn every_paper_is_tagged_through_and_through_and_opens_without_repair() {
    let day = Day::played();
    (1..=8).for_each(|number| attach(&day, number));
    for (language, lang) in [("english", "en"), ("french", "fr")] {
        let files = made(&day, language);
        let files: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
        for (file, problems) in files.iter().zip(problems(lang, &files)) {
            assert!(problems.is_empty(), "{}: {problems:#?}", file.display());
        }
    }
}

#[test]
fn a_paper_that_lacks_anything_is_told_what() {
    let day = Day::played();
    (1..=2).for_each(|number| attach(&day, number));
    let whole = day.report("whole.pdf", &[]);
    let lacking = [
        ("StructTreeRoot", "no StructTreeRoot"),
        ("Lang", "Lang is ''"),
        ("MarkInfo", "MarkInfo does not say Marked"),
        ("ViewerPreferences", "does not say DisplayDocTitle"),
        ("Title", "has no title"),
        ("pdfuaid", "pdfuaid:part 1"),
        ("Alt", "a Figure has no Alt"),
        ("ToUnicode", "has no ToUnicode"),
        ("FontFile3", "is not embedded"),
        ("Tabs", "Tabs is not S"),
        ("StructParents", "no StructParents"),
        ("TH", "a Table has no TH"),
        ("TR", "a Div stands in a TBody"),
        ("H2", "follows an H1"),
        ("untagged", "neither tagged nor an artifact"),
    ];
    let damaged = lacking.map(|(kind, _)| {
        let out = day.path(&format!("without-{kind}.pdf"));
        check(&["damage", kind], &[&whole, &out]);
        out
    });
    let files: Vec<&Path> = damaged.iter().map(PathBuf::as_path).collect();
    for ((kind, told), problems) in lacking.iter().zip(problems("en", &files)) {
        let found = problems.iter().any(|problem| problem.contains(told));
        assert!(found, "without {kind}: {problems:#?}");
    }
    // In another language than was asked for, and cut short.
    assert!(problems("fr", &[&whole])[0].iter().any(|it| it.contains("expected 'fr'")));
    let bytes = std::fs::read(&whole).unwrap();
    let behind = day.path("behind.pdf");
    std::fs::write(&behind, [&bytes[..], &vec![b'%'; 2_000]].concat()).unwrap();
    assert!(problems("en", &[&behind])[0].iter().any(|it| it.contains("can't find startxref")));
}
