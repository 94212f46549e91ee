//! What a report says of a visit's attachments: what each shows, who attached it when, its hash.
//!
//! In: a session. Out: lines, oldest first, of what was not taken off. The pictures themselves come
//! from whoever has them.

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
