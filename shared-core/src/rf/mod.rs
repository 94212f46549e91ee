//! Physics of the trade, one module a topic. Numbers in, numbers out.
//!
//! Knows no document, no limit and no check.

pub mod chain;
pub mod desense;
pub mod heat;
