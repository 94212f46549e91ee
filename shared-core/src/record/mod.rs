//! The record: three kinds of automerge document, and the only way to write and read them.
//!
//! In: edits as intents with an author, and changes from elsewhere. Out: one automerge change per
//! edit, and plain typed views. Nothing computed is stored. Knows no check, limit or verdict, no
//! file and no network; ids and times come from the caller.

pub mod attachment;
pub mod document;
pub mod edit;
pub mod history;
pub mod ids;
pub mod logo;
pub mod papers;
pub mod papers_conflict;
pub mod papers_edit;
pub mod plan;
pub mod session;
pub mod shop;
pub mod site;
pub mod validate;

mod apply;
mod calibrations;
mod gathered;
mod papers_sound;
mod papers_tree;
mod raise;
mod saved;

#[cfg(test)]
pub(crate) mod schema_1;
#[cfg(test)]
pub(crate) mod schema_2;

pub use attachment::{Attached, Attachment, Caption, Subject, SubjectKind};
pub use document::{Document, DocumentKind, Malformed};
pub use edit::{Author, EditRefused, RETRACTABLE, SessionEdit};
pub use history::{NoSuchMoment, Since, Step, Touched};
pub use ids::{DocumentId, NotAnId};
pub use papers::{Moved, PaperRefused, PaperStep};
pub use papers_conflict::{Claim, Conflict};
pub use papers_edit::{PlanChanges, ShopEdit, SiteEdit};
pub use session::{
    Amendment, Chain, Phase, Plane, Reading, Retraction, Session, SignOff, Stamp, Withdrawal,
};
pub use shop::{
    AccuracyOf, Arrow, CableRun, Instrument, Isolator, Part, PartKind, Port, PortKind, Shop,
    ShortTime,
};
pub use site::{AntennaSystem, DuplexerSweep, LicenceTerms, Repeater, Site};
pub use validate::Problem;
