//! One conversation with an instrument: who are you, no errors from before, then one question.
//!
//! A conversation is short and ends with the connection: instruments take one caller at a time, and
//! what one conversation left half said must not be heard by the next.

use std::time::Duration;

use guyline_core::record::Instrument;
use guyline_core::scpi::{
    Ask, Identity, NotThisInstrument, Profile, ProfileRefused, ReplyRefused, WHO, error_entry,
};
use guyline_core::units::Unit;

use super::address::{Address, NotAnAddress};
use super::link::{Link, LinkFault};

/// The most old errors that are read away before a question.
const OLD_ERRORS_MAX: usize = 32;

/// A number an instrument gave.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Heard {
    /// As a person could have typed it.
    pub typed: String,
    /// Its unit.
    pub unit: Unit,
    /// Who the instrument said it is.
    pub identity: Identity,
}

/// Why an instrument gave no reading.
#[derive(Debug, thiserror::Error)]
pub enum InstrumentFault {
    /// Where it is connected makes no sense.
    #[error(transparent)]
    Address(#[from] NotAnAddress),
    /// Its profile makes no sense.
    #[error("the profile of {name}: {source}")]
    Profile {
        /// What the crew calls it.
        name: String,
        /// Why.
        #[source]
        source: ProfileRefused,
    },
    /// It could not be heard.
    #[error("{at}: {source}")]
    Link {
        /// Where it is connected.
        at: String,
        /// Why.
        #[source]
        source: LinkFault,
    },
    /// Another instrument is connected there.
    #[error("{at}: {source}")]
    Identity {
        /// Where.
        at: String,
        /// Why.
        #[source]
        source: NotThisInstrument,
    },
    /// Its answer is no reading.
    #[error("{at}: {query} gave no reading: {source}")]
    Reply {
        /// Where it is connected.
        at: String,
        /// What was asked.
        query: String,
        /// Why.
        #[source]
        source: ReplyRefused,
    },
}

impl InstrumentFault {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::Address(_) => "write the instrument's address, with its port or its speed",
            Self::Profile { .. } => {
                "mend the profile under Papers; the number can be typed as ever"
            }
            Self::Link { source: LinkFault::Unreachable { .. }, .. } => {
                "look at the cable, the address and whether another program holds the instrument"
            }
            Self::Link { .. } => "ask again; read the number off the instrument and type it if not",
            Self::Identity { .. } => {
                "connect the instrument that was meant, or choose the one that is connected"
            }
            Self::Reply { .. } => "look at the instrument's own display before anything is typed",
        }
    }
}

/// An open conversation with an instrument that is the one that was meant.
pub struct Conversation {
    link: Link,
    at: String,
    identity: Identity,
    profile: Profile,
}

impl Conversation {
    /// Connects, asks who is there, and goes on only with the instrument that was meant.
    pub fn open(
        address: &Address,
        meant: &Instrument,
        profile: Profile,
    ) -> Result<Self, InstrumentFault> {
        let at = address.to_string();
        let link_fault = |source| InstrumentFault::Link { at: at.clone(), source };
        let wait = Duration::from_millis(profile.timeout_ms);
        let mut link = Link::open(address, wait).map_err(link_fault)?;
        link.say(WHO).map_err(link_fault)?;
        let answer = link.hear().map_err(link_fault)?;
        let identity = Identity::parse(&answer).and_then(|identity| {
            identity.is(&meant.name, meant.serial_number.as_deref(), &profile)?;
            Ok(identity)
        });
        let identity =
            identity.map_err(|source| InstrumentFault::Identity { at: at.clone(), source })?;
        let mut this = Self { link, at, identity, profile };
        this.clear_errors()?;
        Ok(this)
    }

    /// Who is there.
    pub fn identity(&self) -> &Identity {
        &self.identity
    }

    /// Asks for a quantity.
    pub fn read(mut self, ask: &Ask) -> Result<Heard, InstrumentFault> {
        let typed = self.asked(ask)?;
        Ok(Heard { typed, unit: ask.unit, identity: self.identity })
    }

    /// Sets the generator's level, and gives back what it says it is set to where the profile can
    /// ask. Only for a level that the guard let through and a person agreed to.
    pub fn set_level(
        mut self,
        message: &str,
        ask: Option<&Ask>,
    ) -> Result<Option<Heard>, InstrumentFault> {
        self.say(message)?;
        self.no_error(message)?;
        let Some(ask) = ask else { return Ok(None) };
        let typed = self.asked(ask)?;
        Ok(Some(Heard { typed, unit: ask.unit, identity: self.identity }))
    }

    fn asked(&mut self, ask: &Ask) -> Result<String, InstrumentFault> {
        self.say(&ask.query)?;
        let reply = self.hear()?;
        let typed = ask.reading(&reply).map_err(|source| self.reply(&ask.query, source))?;
        self.no_error(&ask.query)?;
        Ok(typed)
    }

    /// Reads away what others left in the queue, so that an error is of our own question.
    fn clear_errors(&mut self) -> Result<(), InstrumentFault> {
        let Some(query) = self.profile.errors.clone() else { return Ok(()) };
        for _ in 0..OLD_ERRORS_MAX {
            self.say(&query)?;
            match error_entry(&self.hear()?) {
                Ok(()) => return Ok(()),
                Err(ReplyRefused::Reported { .. }) => {}
                Err(source) => return Err(self.reply(&query, source)),
            }
        }
        let said = format!("more than {OLD_ERRORS_MAX} errors wait in its queue");
        Err(self.reply(&query, ReplyRefused::Reported { said }))
    }

    fn no_error(&mut self, asked: &str) -> Result<(), InstrumentFault> {
        let Some(query) = self.profile.errors.clone() else { return Ok(()) };
        self.say(&query)?;
        let answer = self.hear()?;
        error_entry(&answer).map_err(|source| self.reply(asked, source))
    }

    fn say(&mut self, message: &str) -> Result<(), InstrumentFault> {
        let at = &self.at;
        self.link.say(message).map_err(|source| InstrumentFault::Link { at: at.clone(), source })
    }

    fn hear(&mut self) -> Result<String, InstrumentFault> {
        let at = &self.at;
        self.link.hear().map_err(|source| InstrumentFault::Link { at: at.clone(), source })
    }

    fn reply(&self, query: &str, source: ReplyRefused) -> InstrumentFault {
        InstrumentFault::Reply { at: self.at.clone(), query: query.to_owned(), source }
    }
}
