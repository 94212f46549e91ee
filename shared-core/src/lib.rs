//! Guyline's pure core: what a repeater's readings mean, what may be said of them, and the record.
//!
//! Everything is passed in and everything is returned: no I/O, no clock, no randomness, no async.
//! The same core judges on a tablet at the summit, at the shop's hub and on the command line.
//!
//! Reading order: [`language`] (in which words), [`units`] (quantities), [`rf`] (physics),
//! [`uncertainty`] (how sure, what may be said), [`limits`] (regulation as data), [`scpi`] (what is
//! said to an instrument), [`record`] (the documents and their edits), [`checks`] (the plan, what
//! to expect, verdicts, stops, cautions, findings), [`report`] (what is told of a visit), [`bench`]
//! (every calculation as plain question and answer). Each uses only those before it.

pub mod bench;
pub mod checks;
pub mod language;
pub mod limits;
pub mod record;
pub mod report;
pub mod rf;
pub mod scpi;
pub mod time;
pub mod uncertainty;
pub mod units;
