//! The core against numbers from outside the project: published tables and independent libraries.
//!
//! Every row carries where its number stands. There is no way to say "our own formula": a test that
//! checks our code against our own formula proves nothing.

mod audio;
mod budget;
mod coverage;
mod desense;
mod duplexer;
mod emission;
mod exposure;
mod feedline;
mod intermod;
mod least_squares;
mod levels;
mod limits;
mod mismatch;
mod noise;
mod oracle;
mod oracle_budget;
mod oracle_limits;
mod oracle_lines;
mod photographs;
mod qr;
mod radiated;
mod source;
mod sweep;
mod touchstone;
mod touchstone_written;
mod trend;
