//! What is said to an instrument and what its answers mean, by IEEE 488.2 and SCPI-1999: the shop's
//! profile of it, its identity, and a number out of a reply.
//!
//! In: texts. Out: values, or a refusal that names what is wrong. No socket and no port: the node
//! talks. Nothing here keys a transmitter: a profile that could is refused.

mod identity;
mod profile;
mod reply;

pub use identity::{Identity, NotThisInstrument};
pub use profile::{Ask, Profile, ProfileRefused, SetLevel};
pub use reply::{ReplyRefused, error_entry};

/// Asks an instrument who it is (IEEE 488.2, section 10.14).
pub const WHO: &str = "*IDN?";
/// The longest message to an instrument, in bytes.
pub const MESSAGE_BYTES_MAX: usize = 200;
/// The longest reply that is taken, in bytes.
pub const REPLY_BYTES_MAX: usize = 4_096;

#[cfg(test)]
mod tests;
