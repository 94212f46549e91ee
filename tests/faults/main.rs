//! What comes from outside may be anything: a reader answers or refuses, and never panics.
//!
//! Goal: no input ends the program. Method: sound inputs of every kind, changed at random from a
//! seed; a failing case prints reader, seed and case. `GUYLINE_CASES=1000000` asks for a long run
//! (`cargo test --release --workspace --test faults`); without it each reader gets some thousands.

mod kill;
mod mutation;
mod readers;
mod sound;
