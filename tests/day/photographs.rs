//! Goal: photographs of a visit stand in its report and in its site's, in every kind of file that
//! can show them, and the reports can be made again, byte for byte, where they are. Method: the
//! played day with pictures attached by the program; the PDF is looked into by an independent
//! reader (pdfimages). A sweep comes out as it came.

use std::process::Command;

use guyline_tests::built;
use serde_json::Value;

use crate::report::{Day, flat, pdf_text};

const LABEL: &[u8] = include_bytes!("label.jpg");

/// Attaches a picture that no other is like: `--keep-position` keeps what stands behind its end.
pub(crate) fn attach(day: &Day, number: u8) {
    let file = day.path(&format!("label-{number}.jpg"));
    std::fs::write(&file, [LABEL, &[number]].concat()).unwrap();
    let output = Command::new(built("guyline"))
        .arg("attach")
        .arg("--data")
        .arg(day.path("wren"))
        .arg(day.session.to_string())
        .arg(&file)
        .args(["--caption", &format!("#label[{number}] <b>"), "--keep-position"])
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn six_photographs_stand_in_the_report_and_it_can_be_made_again_where_they_are() {
    let day = Day::played();
    (1..=6).for_each(|number| attach(&day, number));
    let pdf = day.report("p.pdf", &[]);
    let listed = Command::new("pdfimages").arg("-list").arg(&pdf).output().unwrap();
    let listed = String::from_utf8(listed.stdout).unwrap();
    assert_eq!(listed.lines().filter(|line| line.contains("image")).count(), 6, "{listed}");

    let html = day.report("p.html", &[]);
    let page = std::fs::read_to_string(&html).unwrap();
    assert_eq!(page.matches("src=\"data:image/jpeg;base64,").count(), 6);
    assert!(page.contains("img-src data:") && page.contains("#label[3] &lt;b&gt;"));
    let text = day.report("p.txt", &[]);
    let said = std::fs::read_to_string(&text).unwrap();
    assert!(said.contains("* #label[6] <b> (image/jpeg)"), "{said}");

    for file in [&pdf, &html, &text, &day.report("p.json", &[])] {
        let output = day.verify("wren", file);
        let told: Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(told["same_file"], true, "{}: {told}", file.display());
    }
    // Without the pictures the file cannot be made again, and that is what is said.
    std::fs::remove_dir_all(day.path("wren").join("attachments")).unwrap();
    let output = day.verify("wren", &pdf);
    let told: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert!(told["missing"].as_str().unwrap().contains("is not on this device"), "{told}");
    let without = std::fs::read_to_string(day.report("without.html", &[])).unwrap();
    assert_eq!(without.matches("<img").count(), 0);
    assert_eq!(without.matches("not shown: it was not on the device").count(), 6);
}

#[test]
fn the_newest_stand_small_in_the_sites_report_and_the_rest_is_counted() {
    let day = Day::played();
    (1..=8).for_each(|number| attach(&day, number));
    let site = |name: &str| day.file(&["site-report", "Owl Knob"], name, &[]);
    let (pdf, html, text) = (site("s.pdf"), site("s.html"), site("s.txt"));
    let listed = Command::new("pdfimages").arg("-list").arg(&pdf).output().unwrap();
    let listed = String::from_utf8(listed.stdout).unwrap();
    assert_eq!(listed.lines().filter(|line| line.contains("image")).count(), 6, "{listed}");
    let page = std::fs::read_to_string(&html).unwrap();
    assert_eq!(page.matches("src=\"data:image/jpeg;base64,").count(), 6);
    for (file, said) in [("pdf", pdf_text(&pdf)), ("html", page), ("txt", read(&text))] {
        let said = flat(&said);
        assert!(!said.contains("label[2]") && said.contains("label[3]"), "{file}: the newest six");
        assert!(said.contains("2 more stand in the visit"), "{file}: {said}");
    }
    let files = [&pdf, &html, &text, &site("s.json")];
    for file in files {
        let told: Value = serde_json::from_slice(&day.verify("wren", file).stdout).unwrap();
        assert_eq!(told["same_file"], true, "{}: {told}", file.display());
    }
    // Without the pictures what shows none is made again, and the others say what is missing.
    std::fs::remove_dir_all(day.path("wren").join("attachments")).unwrap();
    for (file, shows) in files.into_iter().zip([true, true, false, false]) {
        let told: Value = serde_json::from_slice(&day.verify("wren", file).stdout).unwrap();
        let missing = told["missing"].as_str();
        assert_eq!(missing.is_some_and(|it| it.contains("is not on this device")), shows, "{told}");
    }
    let without = read(&site("without.html"));
    assert_eq!((without.matches("<img").count(), without.matches("not shown: it").count()), (0, 6));
}

fn read(file: &std::path::Path) -> String {
    std::fs::read_to_string(file).unwrap()
}

/// What was swept on the bench, with a comment, blanks and line ends no program here would write.
const SWEEP: &[u8] =
    b"! swept\tby Tobias  \r\n#  mhz s DB r 50\r\n 150   -20 0\r\n151 -2.50e1 1\r\n";

#[test]
fn a_sweep_comes_out_as_it_came_and_can_be_written_anew_beside_it() {
    let day = Day::played();
    let run = |arguments: &[&str]| {
        let output = Command::new(built("guyline")).args(arguments).output().unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    };
    let path = |name: &str| day.path(name).to_str().unwrap().to_owned();
    let (came, out, anew) = (path("came.s1p"), path("out.s1p"), path("anew.ts"));
    std::fs::write(&came, SWEEP).unwrap();
    let (data, session) = (path("wren"), day.session.to_string());
    let attached = run(&["attach", "--data", &data, &session, &came]);
    let id = attached.trim().strip_prefix("attached as ").unwrap();
    run(&["attachment", "get", "--data", &data, &session, id, "--out", &out]);
    assert_eq!(std::fs::read(&out).unwrap(), SWEEP);

    run(&["sweep", "convert", &out, "--out", &anew, "--unit", "ghz", "--format", "ma"]);
    let text = std::fs::read_to_string(&anew).unwrap();
    let expected = "[Version] 2.0\n# GHz S MA R 50\n[Number of Ports] 1\n\
                    [Number of Frequencies] 2\n[Reference] 50\n[Network Data]\n0.15 0.";
    assert!(text.starts_with(expected), "{text}");
    assert_eq!(std::fs::read(&out).unwrap(), SWEEP, "what came is not touched");
}
