//! Physics of the trade, one module a topic. Numbers in, numbers out.
//!
//! Knows no document, no limit and no check.

pub mod audio;
pub mod chain;
pub mod chi_square;
pub mod desense;
pub mod emission;
pub mod exposure;
pub mod duplexer;
pub mod sweep;
pub mod touchstone;
pub mod erp;
pub mod feedline;
pub mod mismatch;
pub mod noise;
pub mod path;
pub mod sinad;
pub mod site_noise;
mod standing;
pub mod intermod;
pub mod trend;
pub mod least_squares;
