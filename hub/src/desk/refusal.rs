//! A refusal: what a screen, the command line and HTTP show alike when something cannot be done.
//!
//! `what` tells the fault, `at` where, and `help` the next action, never a repeat of `what`. A code
//! exists only where a screen or a script acts on it; nobody matches text.

use guyline_core::checks::NotAdmitted;
use guyline_core::language::Language;
use guyline_core::record::{EditRefused, Malformed};
use serde::{Deserialize, Serialize};
use ts_rs::TS;
use utoipa::ToSchema;

use crate::NodeRefused;
use crate::at_rest::EncryptionError;
use crate::documents::NodeError;
use crate::store::{OpenError, StoreError};
use crate::sync::ExchangeError;

/// Why a command was not carried out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, TS, ToSchema)]
pub struct Refusal {
    /// What a screen or a script acts on.
    pub code: Code,
    /// The fault.
    pub what: String,
    /// Where it is, as far as that is known.
    pub at: Option<String>,
    /// The next action.
    pub help: String,
}

/// The kinds of refusal that are told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, TS, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Code {
    /// The desk has no such command.
    UnknownCommand,
    /// The command's body has another shape.
    WrongBody,
    /// A document or an entry that is not here.
    NotHere,
    /// Nobody has said who holds the device.
    NobodyHolds,
    /// Keying would destroy something.
    Stopped,
    /// Cautions stand open.
    CautionsOpen,
    /// The number, its unit or its chain is wrong.
    NotAReading,
    /// The bench cannot answer with these numbers.
    NotAQuestion,
    /// The chain cannot be connected so.
    ChainRefused,
    /// The edit cannot be kept.
    EditRefused,
    /// The other node could not be merged with.
    ExchangeFailed,
    /// The node gave no answer: what a screen says of its own, since no node can.
    NoAnswer,
    /// The visit is signed off, and the author has not said why it must be changed.
    SignedOff,
    /// The file could not be made.
    NotRendered,
    /// An instrument gave no reading.
    InstrumentSilent,
    /// The store failed; nothing was recorded.
    StoreFailed,
    /// The request came from where it may not, or from whom.
    Forbidden,
    /// The browser is not signed in, or no longer.
    SignIn,
    /// The device's store is encrypted, and its passphrase was not given yet, or another one was.
    Locked,
    /// Too much was asked at once.
    TooOften,
    /// The request is larger than is taken.
    TooLarge,
}

impl Refusal {
    /// A refusal without a place.
    pub fn new(code: Code, what: impl Into<String>, help: impl Into<String>) -> Self {
        Self { code, what: what.into(), at: None, help: help.into() }
    }

    /// Why a reading may not be recorded, in a language.
    pub(super) fn not_admitted(error: NotAdmitted, language: Language) -> Self {
        let what = error.said(language);
        let refused =
            |code, english, french| Self::new(code, what.clone(), language.pick(english, french));
        match error {
            NotAdmitted::Stopped { stops } => {
                let help: Vec<&str> = stops.iter().map(|stop| stop.help.as_str()).collect();
                let at: Vec<&str> = stops.iter().map(|stop| stop.at.as_str()).collect();
                Self::new(Code::Stopped, what, help.join("; ")).at(at.join(", "))
            }
            NotAdmitted::CautionsOpen { .. } => refused(
                Code::CautionsOpen,
                "read each caution, look around, acknowledge it by name; then record again",
                "lire chaque mise en garde, regarder autour de soi, la confirmer en son nom ; puis \
                 enregistrer à nouveau",
            ),
            NotAdmitted::ChainUnfit { .. } => refused(
                Code::NotAReading,
                "connect a chain as the check says, or choose the check the chain is for",
                "brancher un montage comme le contrôle le dit, ou choisir le contrôle du montage",
            ),
            NotAdmitted::Problem { first } => refused(
                Code::EditRefused,
                "shop, site and session do not belong together here; merge with the hub again",
                "atelier, site et visite ne vont pas ensemble ici ; fusionner encore avec le hub",
            )
            .at(first.at),
            NotAdmitted::NotJudged(_) => refused(
                Code::NotAReading,
                "check number and unit; 250 mV, 250 µV and \u{2212}25.0 dBm are different readings",
                "vérifier nombre et unité ; 250 mV, 250 µV et \u{2212}25,0 dBm sont des mesures \
                 différentes",
            ),
        }
    }

    /// The same, with where it is.
    #[must_use]
    pub fn at(mut self, place: impl Into<String>) -> Self {
        self.at = Some(place.into());
        self
    }

    /// The HTTP status that says this.
    pub fn status(&self) -> u16 {
        match self.code {
            Code::UnknownCommand | Code::NotHere => 404,
            Code::SignIn | Code::Locked => 401,
            Code::Forbidden => 403,
            Code::TooOften => 429,
            Code::TooLarge => 413,
            Code::StoreFailed => 500,
            Code::ExchangeFailed | Code::InstrumentSilent => 502,
            Code::NoAnswer => 504,
            Code::WrongBody => 400,
            Code::NobodyHolds
            | Code::Stopped
            | Code::CautionsOpen
            | Code::NotAReading
            | Code::ChainRefused
            | Code::EditRefused
            | Code::SignedOff
            | Code::NotRendered
            | Code::NotAQuestion => 422,
        }
    }
}

impl std::fmt::Display for Refusal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}", self.what)?;
        if let Some(at) = &self.at {
            write!(f, "\n  at: {at}")?;
        }
        write!(f, "\n  help: {}", self.help)
    }
}

impl std::error::Error for Refusal {}

impl From<EditRefused> for Refusal {
    fn from(error: EditRefused) -> Self {
        let help = match &error {
            EditRefused::Missing { .. } => "load the session again: it may have changed",
            EditRefused::Taken { .. } => "use a fresh id, or record a correction",
            EditRefused::Newer { .. } => "update Guyline on this device",
            EditRefused::Older { .. } => "restart Guyline: it raises older documents by itself",
            EditRefused::SignedOff => {
                let help = "give the reason; it is kept beside the sign-off, and so is your change";
                return Self::new(Code::SignedOff, error.to_string(), help);
            }
            EditRefused::NothingToAmend => "go on: nothing more is asked of you",
            EditRefused::ReadThrough { .. } => "take back the readings taken through it",
            EditRefused::NotRetractable { .. } => "enter it anew",
            EditRefused::NotASession { .. } => "name a session",
            EditRefused::Unfit { .. } | EditRefused::Entry(_) => "correct the field and try again",
        };
        Self::new(Code::EditRefused, error.to_string(), help)
    }
}

impl From<Malformed> for Refusal {
    fn from(error: Malformed) -> Self {
        Self::new(
            Code::EditRefused,
            error.to_string(),
            "this document cannot be shown here; its changes are kept as they came",
        )
    }
}

impl From<OpenError> for Refusal {
    fn from(error: OpenError) -> Self {
        let code = match &error {
            OpenError::Encryption(
                EncryptionError::Locked { .. } | EncryptionError::WrongPassphrase { .. },
            ) => Code::Locked,
            OpenError::Absent { .. } => Code::NotHere,
            _ => Code::StoreFailed,
        };
        Self::new(code, error.to_string(), error.help())
    }
}

impl From<EncryptionError> for Refusal {
    fn from(error: EncryptionError) -> Self {
        OpenError::from(error).into()
    }
}

impl From<NodeRefused> for Refusal {
    fn from(error: NodeRefused) -> Self {
        match error {
            NodeRefused::Store(error) => error.into(),
            error => Self::new(Code::StoreFailed, error.to_string(), error.help()),
        }
    }
}

impl From<StoreError> for Refusal {
    fn from(error: StoreError) -> Self {
        Self::from(&error)
    }
}

impl From<&StoreError> for Refusal {
    fn from(error: &StoreError) -> Self {
        let help = match error {
            StoreError::Full { .. } => {
                "make room on the disk; what was recorded before stands, this was not recorded"
            }
            StoreError::Rotten { .. } | StoreError::Saved { .. } | StoreError::Damaged { .. } => {
                "keep a copy of the folder; the hub and the other devices hold what was merged"
            }
            StoreError::Engine { .. } => "check the disk, then try again",
            StoreError::Database { .. } => "look at the database server's log, then try again",
            StoreError::Away { .. } => {
                "try again in a moment; where that does not help, look whether the database server \
                 and the hub's other processes run; nothing that was confirmed is lost"
            }
        };
        Self::new(Code::StoreFailed, error.to_string(), help)
    }
}

impl From<NodeError> for Refusal {
    fn from(error: NodeError) -> Self {
        let what = error.to_string();
        match error {
            NodeError::Store(store) => store.into(),
            NodeError::OutOfReach(store) => Self::from(&*store),
            NodeError::Unreadable(malformed) => malformed.into(),
            NodeError::Contents(error) => (*error).into(),
            NodeError::Absent { .. } => {
                Self::new(Code::NotHere, what, "merge with a device that has it, or with the hub")
            }
            NodeError::ReadOnly => Self::new(
                Code::Forbidden,
                what,
                "do it on another device, or ask the office to let this one in for more",
            ),
            NodeError::Exists { .. } => Self::new(Code::EditRefused, what, "use a fresh id"),
            NodeError::Setting { .. } => Self::new(
                Code::StoreFailed,
                what,
                "update Guyline on this device, or choose anew what it keeps under Devices",
            ),
            NodeError::Gap { .. } => Self::new(
                Code::StoreFailed,
                what,
                "keep a copy of the folder; the hub and the other devices hold what was merged",
            ),
            NodeError::Unsendable { .. } => {
                Self::new(Code::EditRefused, what, "make the entry shorter and try again")
            }
        }
    }
}

impl From<ExchangeError> for Refusal {
    fn from(error: ExchangeError) -> Self {
        Self::new(Code::ExchangeFailed, error.to_string(), error.help())
    }
}
