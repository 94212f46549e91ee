//! This device's clock, the only place in the node that reads it.
//!
//! Out: the time as the core keeps it. A clock outside the years 1970 to 9999 is taken to the
//! nearest end: times are shown with whose clock said them, and never order anything.

use std::time::{SystemTime, UNIX_EPOCH};

use guyline_core::time::Timestamp;

/// Now, by this device's clock.
pub fn now() -> Timestamp {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    let ms = i64::try_from(since.as_millis()).unwrap_or(Timestamp::MAX_MS);
    Timestamp::from_unix_ms(ms.clamp(0, Timestamp::MAX_MS)).expect("clamped to its own range")
}
