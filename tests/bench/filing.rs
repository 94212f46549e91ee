//! How long the papers that leave the tool take, in seconds: a full visit with six photographs as a
//! PDF, and the end of a day at forty sites. What is made twice alike is remembered by the
//! typesetter, so each round writes something into the record first.

use std::hint::black_box;
use std::io::Cursor;
use std::time::Instant;

use guyline_core::record::{Author, DocumentId, SessionEdit};
use guyline_core::report::{Language, Paper, Paperwork};
use guyline_hub::Node;
use guyline_hub::desk::{Given, Wanted, attach_file, day_file, edit_session, report_file};
use guyline_hub::render::FileForm;
use image::codecs::jpeg::JpegEncoder;
use image::{ImageEncoder as _, RgbImage};

use crate::{Row, median, papers};

const PHOTOGRAPHS: u32 = 6;
const SITES: usize = 40;
const ROUNDS: usize = 5;
const PDF: Wanted = Wanted { form: FileForm::Pdf, language: Language::English, paper: Paper::A4 };

fn typeset(work: Paperwork<'_>, language: Language, paper: Paper) -> Result<Vec<u8>, String> {
    guyline_typeset::pdf(work, language, paper).map_err(|error| error.to_string())
}

/// A photograph of twelve megapixels, as a telephone takes it; no two alike.
fn photograph(number: u32) -> Vec<u8> {
    let shade = |x: u32, y: u32| [(x / 16) as u8, (y / 16) as u8, ((x ^ y) / 8 + number) as u8];
    let image = RgbImage::from_fn(4_000, 3_000, |x, y| image::Rgb(shade(x, y)));
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(Cursor::new(&mut bytes), 85)
        .write_image(&image, 4_000, 3_000, image::ExtendedColorType::Rgb8)
        .expect("a picture can be written");
    bytes
}

fn note(node: &Node, session: DocumentId, author: &Author, number: usize) {
    let text = format!("note {number}: looked again");
    let edit = SessionEdit::AddNote { id: node.fresh_id(), text };
    edit_session(node, session, author, &edit).expect("the note is taken");
}

/// Seconds of a full visit with six photographs to a PDF, by a node that made one before.
pub(crate) fn report() -> Row {
    let folder = tempfile::tempdir().expect("a folder for the bench");
    let node = Node::open(folder.path()).expect("a fresh store opens").with_typesetter(typeset);
    let session = papers::shop_site_and_sessions(&node, 1)[0];
    papers::full_visit(&node, session);
    let (author, _) = papers::connected(&node, session);
    for number in 0..PHOTOGRAPHS {
        let given = Given {
            bytes: photograph(number),
            file_name: "label.jpg",
            media_type: Some("image/jpeg"),
            caption: Some("the label"),
            of: None,
            keep_position: false,
        };
        attach_file(&node, session, &author, given).expect("the photograph is taken");
    }
    report_file(&node, session, PDF).expect("the first one is made");
    let mut times = Vec::new();
    for round in 0..ROUNDS {
        note(&node, session, &author, round);
        let start = Instant::now();
        black_box(report_file(&node, session, PDF).expect("it is made"));
        times.push(start.elapsed());
    }
    Row { name: "report", measured: median(times).as_secs_f64(), goal: 1.0 }
}

/// Seconds of a day of forty sites, a full visit at each, to a PDF.
pub(crate) fn day_end() -> Row {
    let folder = tempfile::tempdir().expect("a folder for the bench");
    let node = Node::open(folder.path()).expect("a fresh store opens").with_typesetter(typeset);
    let sessions = papers::shop_sites_and_sessions(&node, SITES, SITES);
    for &session in &sessions {
        papers::full_visit(&node, session);
    }
    let (author, _) = papers::connected(&node, sessions[0]);
    let day = author.at.day().to_string();
    let mut times = Vec::new();
    for (round, session) in sessions.iter().take(ROUNDS).enumerate() {
        note(&node, *session, &author, round);
        let start = Instant::now();
        black_box(day_file(&node, Some(&day), PDF).expect("it is made"));
        times.push(start.elapsed());
    }
    Row { name: "day", measured: median(times).as_secs_f64(), goal: 5.0 }
}
