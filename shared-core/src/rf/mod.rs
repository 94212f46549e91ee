//! Physics of the trade, one module a topic. Numbers in, numbers out.
//!
//! Knows no document, no limit and no check.

pub mod audio;
pub mod causes;
mod causes_table;
pub mod chain;
pub mod chi_square;
pub mod desense;
pub mod duplexer;
pub mod emission;
pub mod erp;
pub mod exposure;
pub mod feedline;
pub mod heat;
pub mod intermod;
pub mod least_squares;
pub mod mismatch;
pub mod noise;
pub mod path;
pub mod sinad;
pub mod site_noise;
mod standing;
pub mod sweep;
pub mod touchstone;
pub mod trend;
