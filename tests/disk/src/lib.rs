//! A disk in memory that loses power, fails and lies as a test asks.
//!
//! In: what the engine and the store ask of a disk. Out: answers, faults where they were planted,
//! and a record of everything asked, from which [`Unsynced`] makes the disk that a power cut at any
//! moment would leave. Holds the files of one store at a time, for one connection.
//!
//! `engine` alone speaks to the engine, in its own terms; everything else is plain values.

mod chance;
mod engine;
mod image;
mod machine;
mod power;

pub use chance::Chance;
pub use engine::TestDisk;
pub use image::{Image, SECTOR};
pub use machine::{Failure, Fault, Lie, Reading};
pub use power::{Operation, Unsynced};
