//! What comes from outside may be anything, and disks fail: a reader answers or refuses and never
//! panics, a store keeps what it acknowledged.
//!
//! Goal: no input ends the program, and no fault of a disk loses work silently. Method: sound
//! inputs of every kind, changed at random from a seed; a store on a disk that loses power, fails
//! and lies. A failing case prints what is needed to make it again. `GUYLINE_CASES=1000000` asks
//! for a long run (`cargo test --release --workspace --test faults`); without it each reader gets
//! some thousands. The other long runs are named where they stand.

mod attached;
mod between;
mod encrypting;
mod failing;
mod kill;
mod migrating;
mod mutation;
mod power;
mod readers;
mod recorded;
mod rotten;
mod sound;
