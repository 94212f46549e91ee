//! Names of documents: ULIDs, given by the caller, since the core has neither clock nor chance.
//!
//! Entries inside a document (parts, readings, people) are keyed by short text ids; see
//! [`is_entry_id`].

use std::borrow::Cow;
use std::fmt;
use std::str::FromStr;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};
use ulid::Ulid;

/// The id of a document.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DocumentId(Ulid);

/// Text that is no document id.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{given:?} is not a document id (26 letters and digits, as in 01JV3M0000000000000000000A)")]
pub struct NotAnId {
    /// What was given.
    pub given: String,
}

impl DocumentId {
    /// The 16 bytes a document is known by on the wire and in a store.
    pub fn to_bytes(self) -> [u8; 16] {
        self.0.to_bytes()
    }

    /// The id with these bytes. Any 16 bytes are one.
    pub fn from_bytes(bytes: [u8; 16]) -> Self {
        Self(Ulid::from_bytes(bytes))
    }
}

impl fmt::Display for DocumentId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl FromStr for DocumentId {
    type Err = NotAnId;

    fn from_str(text: &str) -> Result<Self, NotAnId> {
        Ulid::from_string(text)
            .map(Self)
            .map_err(|_| NotAnId { given: text.chars().take(60).collect() })
    }
}

impl Serialize for DocumentId {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for DocumentId {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Cow::<str>::deserialize(deserializer)?.parse().map_err(D::Error::custom)
    }
}

impl JsonSchema for DocumentId {
    fn schema_name() -> Cow<'static, str> {
        "DocumentId".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "pattern": "^[0-7][0-9A-HJKMNP-TV-Z]{25}$" })
    }
}

impl autosurgeon::Reconcile for DocumentId {
    type Key<'a> = autosurgeon::reconcile::NoKey;

    fn reconcile<R: autosurgeon::Reconciler>(&self, mut reconciler: R) -> Result<(), R::Error> {
        reconciler.str(self.to_string())
    }
}

impl autosurgeon::Hydrate for DocumentId {
    fn hydrate_string(text: &'_ str) -> Result<Self, autosurgeon::HydrateError> {
        text.parse().map_err(|error: NotAnId| {
            autosurgeon::HydrateError::unexpected("a document id", error.given)
        })
    }
}

/// Whether text can key an entry inside a document: 1 to 64 of `a-z A-Z 0-9 -`.
pub fn is_entry_id(text: &str) -> bool {
    (1..=64).contains(&text.len())
        && text.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-')
}

/// Whether text can name a check of a plan: ids with dots between them.
pub fn is_check_id(text: &str) -> bool {
    text.len() <= 64 && text.split('.').all(is_entry_id)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_survives_text_and_bytes() {
        // The ULID specification's example, "Usage".
        let text = "01ARZ3NDEKTSV4RRFFQ69G5FAV";
        let id: DocumentId = text.parse().unwrap();
        assert_eq!(id.to_string(), text);
        assert_eq!(DocumentId::from_bytes(id.to_bytes()), id);
    }

    #[test]
    fn other_text_is_refused() {
        for text in ["", "01ARZ3", "01ARZ3NDEKTSV4RRFFQ69G5FAU!", "ZZZZZZZZZZZZZZZZZZZZZZZZZZZ"] {
            assert!(text.parse::<DocumentId>().is_err(), "{text:?} was taken");
        }
        assert!(is_entry_id("cable-a") && !is_entry_id("") && !is_entry_id("a b"));
    }
}
