//! The record: three kinds of automerge document, and the only way to write and read them.
//!
//! In: edits as intents with an author, and changes from elsewhere. Out: one automerge change per
//! edit, and plain typed views. Nothing computed is stored. Knows no check, limit or verdict, no
//! file and no network; ids and times come from the caller.

pub mod document;
pub mod edit;
pub mod history;
pub mod ids;
pub mod session;
pub mod shop;
pub mod site;
pub mod validate;

mod apply;
mod saved;

pub use document::{Document, DocumentKind, Malformed, SCHEMA};
pub use edit::{Author, EditRefused, SessionEdit};
pub use history::{NoSuchMoment, Step, Touched};
pub use ids::{DocumentId, NotAnId};
pub use session::{Chain, Phase, Plane, Reading, Session, Stamp, Withdrawal};
pub use shop::{Instrument, Part, PartKind, Port, PortKind, Shop, ShortTime};
pub use site::{Repeater, Site};
pub use validate::Problem;
