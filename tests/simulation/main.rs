//! Invented sessions by the thousand, with the truth known: what the core says of them.
//!
//! Every run is seeded and prints its figures; a failing one names the seed.

mod chance;
mod convergence;
mod french;
mod shops;
mod slips;
mod visit;
