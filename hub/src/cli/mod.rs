//! The command line, one command a file: argument parsing and printing, nothing else.

pub mod demo;
pub mod judge;

mod day;
mod paper;
