//! Goal: a report says what the record says, in every kind of file, and no change of it goes
//! unnoticed. Method: the played day's report is made by the program, its text taken out by an
//! independent reader (pdftotext), and changed in a thousand places.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use guyline_core::record::DocumentId;
use guyline_core::report::VisitReport;
use guyline_hub::Node;
use guyline_hub::desk::{self, Wanted};
use guyline_hub::identity::DeviceKey;
use guyline_hub::render::{FileForm, seal};
use guyline_tests::built;
use serde_json::Value;

use crate::play;
use crate::sign_off::session_of;

pub(crate) struct Day {
    work: tempfile::TempDir,
    pub(crate) session: DocumentId,
}

impl Day {
    pub(crate) fn played() -> Self {
        let work = tempfile::tempdir().unwrap();
        play(work.path());
        let session = session_of(&Node::open(&work.path().join("wren")).unwrap());
        Self { work, session }
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.work.path().join(name)
    }

    pub(crate) fn report(&self, name: &str, more: &[&str]) -> PathBuf {
        self.file(&["report", &self.session.to_string()], name, more)
    }

    /// Has a file made by a command of the program.
    pub(crate) fn file(&self, command: &[&str], name: &str, more: &[&str]) -> PathBuf {
        let out = self.path(name);
        let output = Command::new(built("guyline"))
            .args(command)
            .arg("--data")
            .arg(self.path("wren"))
            .arg("--out")
            .arg(&out)
            .args(more)
            .output()
            .unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        out
    }

    pub(crate) fn verify(&self, node: &str, file: &Path) -> Output {
        let mut command = Command::new(built("guyline"));
        command.arg("verify").arg("--data").arg(self.path(node)).arg("--json").arg(file);
        command.output().unwrap()
    }

    fn as_data(&self) -> VisitReport {
        let text = std::fs::read_to_string(self.report("data.json", &[])).unwrap();
        let mut values = serde_json::Deserializer::from_str(&text).into_iter();
        values.next().unwrap().unwrap()
    }
}

pub(crate) fn pdf_text(file: &Path) -> String {
    let output = Command::new("pdftotext").arg("-layout").arg(file).arg("-").output().unwrap();
    assert!(output.status.success(), "pdftotext comes with poppler-utils");
    String::from_utf8(output.stdout).unwrap()
}

/// A tagged PDF on Letter paper.
pub(crate) fn is_tagged_letter(file: &Path) {
    let info = Command::new("pdfinfo").arg(file).output().unwrap();
    let info = String::from_utf8(info.stdout).unwrap();
    assert!(
        info.contains("612 x 792 pts (letter)") && info.contains("Tagged:          yes"),
        "{info}"
    );
}

/// Words with a single blank between, so that a line's end is none.
pub(crate) fn flat(text: &str) -> String {
    text.replace('\u{ad}', "").split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn every_value_of_the_record_stands_in_every_kind_of_file() {
    let day = Day::played();
    let report = day.as_data();
    let pdf = pdf_text(&day.report("report.pdf", &[]));
    let html = std::fs::read_to_string(day.report("report.html", &[])).unwrap();
    let text = flat(&std::fs::read_to_string(day.report("report.txt", &[])).unwrap());
    let mut values = 0;
    for line in report.stages.iter().flat_map(|stage| &stage.lines) {
        for cell in line.as_found.iter().chain(&line.as_left) {
            values += 1;
            for (kind, file) in [("pdf", &pdf), ("html", &html), ("txt", &text)] {
                // A column of the PDF breaks a value at its blanks: its number stands unbroken.
                let number = cell.value.split(' ').next().unwrap();
                assert!(file.contains(number), "{kind} lacks {number:?} of {}", line.title);
            }
            assert!(html.contains(&cell.value) && text.contains(&flat(&cell.value)));
        }
    }
    assert!(values >= 12, "the day has readings enough: {values}");
    for said in ["Owl Knob", "Ines", "Tobias", "Larkspur Radio Works", "this is a reminder"] {
        assert!(pdf.contains(said) && html.contains(said) && text.contains(said), "{said}");
    }
}

#[test]
fn a_report_can_be_had_in_another_language_and_on_another_paper() {
    let day = Day::played();
    let file = day.report("fr.pdf", &["--language", "french", "--paper", "letter"]);
    assert!(pdf_text(&file).contains("conforme sous réserve"));
    is_tagged_letter(&file);
}

/// What stands in a caution, a check and a finding of the played day, in French and in English.
const SAID: [(&str, &str); 5] = [
    ("Niveau d’ouverture au port du récepteur", "Opening level at the receiver port"),
    ("Avant d’émettre, suivre la ligne de la main", "Before keying, follow the line by hand"),
    ("les personnes qualifiées décident", "qualified people decide"),
    ("À l’arrivée, et remis en ordre", "As found, and put right"),
    ("en dedans de la limite, incertitude", "inside the limit, uncertainty"),
];

#[test]
fn a_french_report_says_cautions_checks_and_findings_in_french_and_is_verified() {
    let day = Day::played();
    let french = ["--language", "french"];
    let files = ["f.pdf", "f.html", "f.txt"].map(|name| day.report(name, &french));
    let read = |file: &PathBuf| std::fs::read_to_string(file).unwrap();
    let [pdf, html, text] = [pdf_text(&files[0]), read(&files[1]), read(&files[2])];
    // A column of the PDF breaks its lines anywhere.
    for said in [flat(&html), flat(&text)] {
        for (french, english) in SAID {
            assert!(said.contains(french) && !said.contains(english), "{french}: {said}");
        }
        assert!(said.contains("Restent tels qu’écrits"));
    }
    let pdf = flat(&pdf);
    assert!(pdf.contains("suivre la ligne de la main") && !pdf.contains("Before keying"), "{pdf}");
    for file in &files {
        let told: Value = serde_json::from_slice(&day.verify("hub", file).stdout).unwrap();
        assert_eq!((&told["same_file"], &told["intact"]), (&true.into(), &true.into()), "{told}");
    }
}

#[test]
fn a_report_that_was_not_touched_is_verified_anywhere_the_record_is() {
    let day = Day::played();
    for name in ["r.pdf", "r.html", "r.txt", "r.json"] {
        let file = day.report(name, &[]);
        for node in ["wren", "hub"] {
            let output = day.verify(node, &file);
            let told: Value = serde_json::from_slice(&output.stdout).unwrap();
            assert_eq!(output.status.code(), Some(0), "{name} at {node}: {told}");
            assert_eq!(told["same_file"], true);
            assert_eq!(told["this_device"], node == "wren");
        }
    }
}

#[test]
fn a_thousand_changed_files_are_all_noticed() {
    let day = Day::played();
    let file = std::fs::read(day.report("r.pdf", &[])).unwrap();
    let node = Node::open(&day.path("wren")).unwrap();
    let mut seed = 1_u64;
    for round in 0..1_000 {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let mut changed = file.clone();
        let at = (seed >> 33) as usize % changed.len();
        changed[at] = changed[at].wrapping_add(1 + (seed >> 20) as u8 % 255);
        let told = desk::verify_file(&node, &changed).unwrap();
        assert!(told.refused.is_some() && !told.intact, "round {round}: byte {at}");
    }
}

#[test]
fn a_report_forged_and_sealed_anew_is_not_what_the_record_gives() {
    let day = Day::played();
    // Somebody else's device, with the same record, lies in one number and seals that.
    let forger = Node::open(&day.path("tobias")).unwrap();
    let wanted =
        Wanted { form: FileForm::Text, language: Default::default(), paper: Default::default() };
    let made = desk::report_file(&forger, day.session, wanted).unwrap();
    drop(forger);
    let key = DeviceKey::open(&day.path("tobias")).unwrap();
    let sealed = seal::open(&made.bytes).unwrap();
    let text = std::str::from_utf8(sealed.content).unwrap();
    let lie = text.replacen("conditional pass", "pass", 1);
    assert_ne!(lie, text);
    let forged = seal::seal(lie.into_bytes(), sealed.form, &sealed.origin, &key);
    let file = day.path("forged.txt");
    std::fs::write(&file, forged).unwrap();
    let output = day.verify("wren", &file);
    let told: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert_eq!((&told["refused"], &told["same_file"]), (&Value::Null, &Value::Bool(false)));
}

#[test]
fn a_report_is_never_written_over_a_file() {
    let day = Day::played();
    let file = day.report("r.txt", &[]);
    let before = std::fs::read(&file).unwrap();
    let again = Command::new(built("guyline"))
        .args(["report", &day.session.to_string(), "--data"])
        .arg(day.path("wren"))
        .arg("--out")
        .arg(&file)
        .output()
        .unwrap();
    assert!(!again.status.success());
    assert_eq!(std::fs::read(&file).unwrap(), before);
}
