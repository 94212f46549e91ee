//! Edits of a session, as intents: what somebody means to record, with who and when.
//!
//! One edit is one automerge change. [`super::Document::apply`] checks an edit against the document
//! before it touches anything; whether it makes sense for the *check* is asked of `checks::admit`.

use super::attachment::Attached;
use super::session::{Phase, Plane, Stamp};
use crate::time::Timestamp;
use crate::units::{EntryRefused, Unit};

/// Who edits, on which device, at what time by that device's clock.
#[derive(Clone, Debug, PartialEq)]
pub struct Author {
    /// The person's id in the shop document.
    pub person: String,
    /// The device's name.
    pub device: String,
    /// The device's clock.
    pub at: Timestamp,
}

impl Author {
    pub(crate) fn stamp(&self) -> Stamp {
        Stamp { by: self.person.clone(), device: self.device.clone(), at: self.at }
    }
}

/// What somebody means to record in a session. `id` is a fresh id given by the caller.
#[derive(Clone, Debug, PartialEq)]
pub enum SessionEdit {
    /// The author is on site.
    JoinCrew,
    /// This is connected now.
    ConnectChain {
        /// Fresh id.
        id: String,
        /// What the crew calls it.
        name: String,
        /// Where it ends on the repeater.
        plane: Plane,
        /// The instrument's id.
        instrument: String,
        /// The port's id.
        port: String,
        /// Parts from the instrument to the plane.
        between: Vec<String>,
        /// What a coupler's through line goes on to.
        line: Vec<String>,
    },
    /// This was read.
    RecordReading {
        /// Fresh id.
        id: String,
        /// The check's id.
        check: String,
        /// The chain's id in this session.
        chain: String,
        /// What counted as the result.
        criterion: String,
        /// The number as typed.
        typed: String,
        /// The unit.
        unit: Unit,
        /// Before or after adjustment.
        phase: Phase,
        /// The reading this corrects.
        replaces: Option<String>,
        /// Who the instrument said it is, where it gave the number itself.
        answered_by: Option<String>,
    },
    /// A reading is taken back; it stays in view.
    WithdrawReading {
        /// Fresh id.
        id: String,
        /// The reading.
        reading: String,
        /// Why.
        reason: String,
    },
    /// The author has read this caution.
    Acknowledge {
        /// Fresh id.
        id: String,
        /// The caution's id.
        caution: String,
    },
    /// Something was adjusted.
    RecordAdjustment {
        /// Fresh id.
        id: String,
        /// What, from what, to what.
        text: String,
    },
    /// Something worth keeping.
    AddNote {
        /// Fresh id.
        id: String,
        /// The words.
        text: String,
    },
    /// The visit in a sentence.
    Summarise {
        /// The words.
        text: String,
    },
    /// The author leaves the site.
    LeaveSite {
        /// Fresh id.
        id: String,
    },
    /// Something was put back as it belongs.
    RecordRestoration {
        /// Fresh id.
        id: String,
        /// What.
        text: String,
    },
    /// An entry other than a reading is taken back; it stays in view.
    Retract {
        /// Fresh id.
        id: String,
        /// The list, one of [`RETRACTABLE`].
        list: String,
        /// The entry.
        entry: String,
    },
    /// The visit is signed off as it stands.
    SignOff {
        /// Fresh id.
        id: String,
        /// What is signed.
        statement: String,
        /// The device's public key, in hexadecimal.
        key: String,
        /// Its signature of the statement's bytes, in hexadecimal.
        signature: String,
    },
    /// Something signed off must be changed. Needed once after each sign-off, before anything else.
    Amend {
        /// Fresh id.
        id: String,
        /// Why.
        reason: String,
    },
    /// This belongs to the visit. Its content is kept before this is recorded.
    Attach {
        /// Fresh id.
        id: String,
        /// What.
        what: Attached,
    },
    /// This is what an attachment shows.
    Caption {
        /// Fresh id.
        id: String,
        /// The attachment's id.
        attachment: String,
        /// The words.
        text: String,
    },
}

/// The lists whose entries [`SessionEdit::Retract`] takes back. Readings have a taking back of
/// their own, with a reason; a crew member leaves; and what was signed is amended.
pub const RETRACTABLE: [&str; 10] = [
    "chains",
    "withdrawals",
    "acknowledgements",
    "adjustments",
    "notes",
    "restorations",
    "departures",
    "retractions",
    "attachments",
    "captions",
];

impl SessionEdit {
    /// The intent's name, kept as the change's message so that history can tell it.
    pub fn name(&self) -> &'static str {
        match self {
            Self::JoinCrew => "join crew",
            Self::ConnectChain { .. } => "connect chain",
            Self::RecordReading { .. } => "record reading",
            Self::WithdrawReading { .. } => "withdraw reading",
            Self::Acknowledge { .. } => "acknowledge caution",
            Self::RecordAdjustment { .. } => "record adjustment",
            Self::AddNote { .. } => "add note",
            Self::Summarise { .. } => "summarise",
            Self::LeaveSite { .. } => "leave site",
            Self::RecordRestoration { .. } => "record restoration",
            Self::Retract { .. } => "retract",
            Self::SignOff { .. } => "sign off",
            Self::Amend { .. } => "amend",
            Self::Attach { .. } => "attach",
            Self::Caption { .. } => "caption",
        }
    }
}

/// Why an edit was not applied. The document is as it was.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum EditRefused {
    /// The document is of another kind.
    #[error("document {document} is no session")]
    NotASession {
        /// The document.
        document: String,
    },
    /// The document was written by a later version.
    #[error("the document has schema {found}, this version writes {known}: it can be read only")]
    Newer {
        /// Its schema.
        found: u64,
        /// The schema this version writes.
        known: u64,
    },
    /// The document was written by an earlier version and not raised yet.
    #[error("the document has schema {found}, this version writes {written}: raise it first")]
    Older {
        /// Its schema.
        found: u64,
        /// The schema this version writes.
        written: u64,
    },
    /// The edit names an entry that the session does not hold.
    #[error("the session holds no {what} {id:?}")]
    Missing {
        /// Chain or reading.
        what: &'static str,
        /// The id that was given.
        id: String,
    },
    /// The id is taken: entries are never overwritten.
    #[error("{what} {id:?} stands already and is never overwritten")]
    Taken {
        /// The kind of entry.
        what: &'static str,
        /// The id that was given.
        id: String,
    },
    /// A text or an id that cannot be kept.
    #[error("{field} {problem}")]
    Unfit {
        /// The field.
        field: &'static str,
        /// What is wrong with it.
        problem: String,
    },
    /// Somebody signed the visit off, and the author has not said why it must be changed.
    #[error("the visit is signed off: say first why it must be changed")]
    SignedOff,
    /// There is no sign-off to amend.
    #[error("nothing is signed off that you have not given a reason for already")]
    NothingToAmend,
    /// A reading leans on what would be taken back.
    #[error("chain {chain:?} was read through: take those readings back first")]
    ReadThrough {
        /// The chain.
        chain: String,
    },
    /// Taken back already, or a taking back of a taking back.
    #[error("{list} {entry:?} cannot be taken back: it was already, or is one itself")]
    NotRetractable {
        /// The list.
        list: String,
        /// The entry.
        entry: String,
    },
    /// The number is no reading.
    #[error(transparent)]
    Entry(#[from] EntryRefused),
}
