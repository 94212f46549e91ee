//! The core's one time type: milliseconds since 1970 in UTC, written as RFC 3339 text in JSON.
//!
//! There is no clock here: every time is given by the caller, who says whose clock it was.

use std::borrow::Cow;
use std::fmt;

use chrono::{DateTime, NaiveDate, SecondsFormat, Utc};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};

/// An instant, in milliseconds since 1970-01-01T00:00:00Z.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Timestamp(i64);

/// A time outside the years the record can hold, or text that is not RFC 3339.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{given:?} is not a time of the years 1970 to 9999 as in 2026-05-14T10:20:00Z")]
pub struct NotATime {
    /// What was given.
    pub given: String,
}

impl Timestamp {
    /// The last millisecond of the year 9999, the last that RFC 3339 can write.
    pub const MAX_MS: i64 = 253_402_300_799_999;

    /// Refuses what is before 1970 or after 9999.
    pub fn from_unix_ms(ms: i64) -> Result<Self, NotATime> {
        if (0..=Self::MAX_MS).contains(&ms) {
            Ok(Self(ms))
        } else {
            Err(NotATime { given: format!("{ms} ms since 1970") })
        }
    }

    /// Reads RFC 3339 text, with any offset.
    pub fn parse(text: &str) -> Result<Self, NotATime> {
        let refused = || NotATime { given: text.to_owned() };
        let instant = DateTime::parse_from_rfc3339(text).map_err(|_| refused())?;
        Self::from_unix_ms(instant.timestamp_millis()).map_err(|_| refused())
    }

    /// Milliseconds since 1970-01-01T00:00:00Z.
    pub fn unix_ms(self) -> i64 {
        self.0
    }

    /// The calendar day in UTC.
    pub fn day(self) -> NaiveDate {
        self.to_chrono().date_naive()
    }

    fn to_chrono(self) -> DateTime<Utc> {
        DateTime::from_timestamp_millis(self.0).expect("the constructor keeps it within 1970-9999")
    }
}

impl fmt::Display for Timestamp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.to_chrono().to_rfc3339_opts(SecondsFormat::AutoSi, true))
    }
}

impl Serialize for Timestamp {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Timestamp {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = Cow::<str>::deserialize(deserializer)?;
        Self::parse(&text).map_err(D::Error::custom)
    }
}

impl JsonSchema for Timestamp {
    fn schema_name() -> Cow<'static, str> {
        "Timestamp".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "format": "date-time" })
    }
}

impl autosurgeon::Reconcile for Timestamp {
    type Key<'a> = autosurgeon::reconcile::NoKey;

    fn reconcile<R: autosurgeon::Reconciler>(&self, mut reconciler: R) -> Result<(), R::Error> {
        reconciler.timestamp(self.0)
    }
}

impl autosurgeon::Hydrate for Timestamp {
    fn hydrate_timestamp(ms: i64) -> Result<Self, autosurgeon::HydrateError> {
        Self::from_unix_ms(ms)
            .map_err(|error| autosurgeon::HydrateError::unexpected("a time", error.given))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_and_milliseconds_agree() {
        // RFC 3339 section 5.8, first and second example: 1985-04-12T23:20:50.52Z, and
        // 1996-12-19T16:39:57-08:00, which "is equivalent to 1996-12-20T00:39:57Z in UTC".
        let first = Timestamp::parse("1985-04-12T23:20:50.52Z").unwrap();
        assert_eq!(first.to_string(), "1985-04-12T23:20:50.520Z");
        let second = Timestamp::parse("1996-12-19T16:39:57-08:00").unwrap();
        assert_eq!(second.to_string(), "1996-12-20T00:39:57Z");
    }

    #[test]
    fn what_is_no_time_is_refused_with_what_was_given() {
        for text in ["", "yesterday", "2026-02-30T00:00:00Z", "1969-12-31T23:59:59Z"] {
            let refused = Timestamp::parse(text).unwrap_err();
            assert_eq!(refused.given, text);
        }
        assert!(Timestamp::from_unix_ms(-1).is_err());
        assert!(Timestamp::from_unix_ms(Timestamp::MAX_MS + 1).is_err());
    }
}
