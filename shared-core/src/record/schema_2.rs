//! Sessions of schema 2, for tests, kept as the bytes of their changes: one that was made in it,
//! and the one of [`super::schema_1`] as a program of that time raised it and wrote a restoration.

use super::Document;
use super::schema_1::open;

const MADE: &[u8] = include_bytes!("schema-2/session.changes");
const RAISED: &[u8] = include_bytes!("schema-2/raised.changes");

pub(crate) fn made(actor: u8) -> Document {
    open(MADE, actor)
}

pub(crate) fn raised(actor: u8) -> Document {
    open(RAISED, actor)
}
