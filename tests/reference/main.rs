//! The core against numbers from outside the project: published tables and independent libraries.
//!
//! Every row carries where its number stands. There is no way to say "our own formula": a test that
//! checks our code against our own formula proves nothing.

mod budget;
mod desense;
mod levels;
mod limits;
mod oracle;
mod oracle_budget;
mod source;
