//! What a report says of a visit's attachments: what each shows, who attached it when, its hash.
//!
//! In: a session. Out: lines, oldest first, of what was not taken off; of a site's visits only so
//! many photographs that its report stays small. The pictures themselves come from whoever has
//! them.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use crate::record::{Session, Stamp};

/// Something attached.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct AttachedLine {
    /// The hash of its content: BLAKE3, in hexadecimal.
    pub hash: String,
    /// What it is (RFC 6838).
    pub media_type: String,
    /// What it shows; what its file is called, where nobody said; both, where two said so apart.
    pub caption: String,
    /// Who, by name.
    pub by: String,
    /// When, by that device's clock.
    pub at: String,
}

impl AttachedLine {
    /// Whether it is a picture, to be shown where its content is at hand.
    pub fn is_picture(&self) -> bool {
        self.media_type.starts_with("image/")
    }
}

/// The newest photographs of a visit in the report of its site.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct SitePhotographs {
    /// Those that are shown, oldest first.
    pub shown: Vec<AttachedLine>,
    /// How many more its own report has.
    pub more: usize,
}

/// The most photographs of one repeater in a site's report: two rows on paper.
const OF_A_REPEATER_MAX: usize = 6;
/// The most in the whole of it, one of each repeater always.
const OF_A_SITE_MAX: usize = 24;

/// So many of a visit's photographs as a site with so many repeaters has room for.
pub(super) fn photographs(attached: &[AttachedLine], repeaters: usize) -> SitePhotographs {
    let room = (OF_A_SITE_MAX / repeaters.max(1)).clamp(1, OF_A_REPEATER_MAX);
    let mut all: Vec<AttachedLine> =
        attached.iter().filter(|line| line.is_picture()).cloned().collect();
    let more = all.len().saturating_sub(room);
    SitePhotographs { shown: all.split_off(more), more }
}

/// What was attached to a visit and stands.
pub(super) fn attached(session: &Session, name: impl Fn(&Stamp) -> String) -> Vec<AttachedLine> {
    let standing = session.standing_attachments();
    let line = |(id, it): (&str, &crate::record::Attachment)| {
        let said = session.captions_of(id).join(" / ");
        AttachedLine {
            hash: it.hash.clone(),
            media_type: it.media_type.clone(),
            caption: if said.is_empty() { it.file_name.clone() } else { said },
            by: name(&it.stamp),
            at: it.stamp.at.to_string(),
        }
    };
    standing.map(line).collect()
}
