//! Goal: photographs of a visit stand in its report, in every kind of file that can show them, and
//! the report can be made again, byte for byte, where they are. Method: the played day with
//! pictures attached by the program; the PDF is looked into by an independent reader (pdfimages).

use std::process::Command;

use guyline_tests::built;
use serde_json::Value;

use crate::report::Day;

const LABEL: &[u8] = include_bytes!("label.jpg");

/// Attaches a picture that no other is like: `--keep-position` keeps what stands behind its end.
fn attach(day: &Day, number: u8) {
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
