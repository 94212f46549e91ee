//! A visit's attachments in a file: pictures inside the HTML, so that it stands by itself, and by
//! their captions in plain text. The PDF's are laid out by the typesetter.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use guyline_core::report::{VisitReport, Words};
use maud::{Markup, html};

/// Photographs and files of an HTML report.
pub(super) fn section(report: &VisitReport, words: &Words) -> Markup {
    html! {
        @if !report.attached.is_empty() {
            section {
                h2 { (words.attached) }
                div class="photographs" {
                    @for it in &report.attached {
                        figure {
                            @if let Some(picture) = report.pictures.get(&it.hash) {
                                img src=(inside(picture)) alt=(it.caption);
                            }
                            figcaption {
                                (it.caption)
                                @if !report.pictures.contains_key(&it.hash) {
                                    " (" (it.media_type)
                                    @if it.media_type.starts_with("image/") {
                                        ", " (words.not_shown)
                                    }
                                    ")"
                                }
                                br;
                                span class="small" { (it.by) ", " (it.at) br; code { (it.hash) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// An address that is the picture itself (RFC 2397).
fn inside(picture: &[u8]) -> String {
    format!("data:image/jpeg;base64,{}", STANDARD.encode(picture))
}

/// The lines of a report in plain text.
pub(super) fn lines(report: &VisitReport) -> Vec<String> {
    let line = |it: &guyline_core::report::AttachedLine| {
        format!("* {} ({}), {}, {}. {}", it.caption, it.media_type, it.by, it.at, it.hash)
    };
    report.attached.iter().map(line).collect()
}
