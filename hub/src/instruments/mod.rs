//! Live readings from an instrument that speaks SCPI over TCP or a serial line.
//!
//! In: an instrument of the shop's list with its profile, and where it is connected. Out: a reading
//! for a person to look at and record, or why there is none. Read only: what is sent are the
//! profile's queries, and, once the guard and a person agreed, one level of a generator. A
//! transmitter is never keyed, and nothing that came late, cut or odd becomes a number.
//!
//! Reading order: [`address`] (where), [`link`] (bytes, by when), [`talk`] (one conversation),
//! [`bench`] (what was answered lately), [`simulated`] (an instrument made of software, to train
//! and to test with).

mod address;
mod bench;
mod link;
mod simulated;
mod talk;

pub use address::{Address, NotAnAddress};
pub(crate) use bench::{Answered, Bench, Proposal};
pub use simulated::{Fault, Scenario, ScenarioRefused, Simulated};
pub use talk::{Conversation, Heard, InstrumentFault};

#[cfg(test)]
mod tests;
