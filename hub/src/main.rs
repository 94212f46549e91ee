//! Guyline program.
fn main() {}
