//! Attachments in a file, a visit's all and a site's newest: pictures inside the HTML, so that it
//! stands by itself, and by their captions in plain text. The PDF's are laid out by the typesetter.

use std::collections::BTreeMap;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use guyline_core::report::{AttachedLine, SitePhotographs, SiteWords, VisitReport, Words};
use maud::{Markup, html};

/// Pictures that are at hand, by hash.
type Pictures = BTreeMap<String, Vec<u8>>;

/// Photographs and files of a visit's HTML report.
pub(super) fn section(report: &VisitReport, words: &Words) -> Markup {
    html! {
        @if !report.attached.is_empty() {
            section {
                h2 { (words.attached) }
                div class="photographs" {
                    @for it in &report.attached { (figure(it, &report.pictures, words)) }
                }
            }
        }
    }
}

/// The newest photographs of a repeater, small, in a site's HTML report.
pub(super) fn of_site(
    it: &SitePhotographs,
    pictures: &Pictures,
    words: &Words,
    own: &SiteWords,
) -> Markup {
    html! {
        @if !it.shown.is_empty() {
            h3 { (own.photographs) }
            div class="photographs small-ones" {
                @for it in &it.shown { (figure(it, pictures, words)) }
            }
            @if it.more > 0 { p class="small" { (own.more_photographs(it.more)) } }
        }
    }
}

/// What was attached, shown where its picture is at hand, and what is said of it.
fn figure(it: &AttachedLine, pictures: &Pictures, words: &Words) -> Markup {
    let picture = pictures.get(&it.hash);
    html! {
        figure {
            @if let Some(picture) = picture { img src=(inside(picture)) alt=(it.caption); }
            figcaption {
                (it.caption)
                @if picture.is_none() {
                    " (" (it.media_type)
                    @if it.is_picture() { ", " (words.not_shown) }
                    ")"
                }
                br;
                span class="small" { (it.by) ", " (it.at) br; code { (it.hash) } }
            }
        }
    }
}

/// An address that is the picture itself (RFC 2397).
fn inside(picture: &[u8]) -> String {
    format!("data:image/jpeg;base64,{}", STANDARD.encode(picture))
}

/// Lines in plain text, each of something attached.
pub(super) fn lines(attached: &[AttachedLine]) -> Vec<String> {
    let line = |it: &AttachedLine| {
        format!("* {} ({}), {}, {}. {}", it.caption, it.media_type, it.by, it.at, it.hash)
    };
    attached.iter().map(line).collect()
}
