//! Who an instrument says it is: the four fields of `*IDN?` (IEEE 488.2, section 10.14).

use std::fmt;

use super::{Profile, REPLY_BYTES_MAX};

/// What an instrument answers to `*IDN?`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Identity {
    /// Who made it.
    pub maker: String,
    /// Its model.
    pub model: String,
    /// Its serial number; none where it gives 0, which the standard has for "not told".
    pub serial_number: Option<String>,
    /// Its firmware, where it tells.
    pub firmware: Option<String>,
}

/// Why an answer is not taken for the instrument that was meant.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotThisInstrument {
    /// It is no identity.
    #[error("{answer:?} is no answer to *IDN?: four parts with commas between them are")]
    NoIdentity {
        /// What came, cut.
        answer: String,
    },
    /// Another kind.
    #[error("it says it is {found:?}, and the profile of {name} is for {wanted:?}")]
    Kind {
        /// What the crew calls the one that was meant.
        name: String,
        /// What the profile asks for.
        wanted: String,
        /// What it said.
        found: String,
    },
    /// Another one of the kind.
    #[error("its serial number is {found:?}, and the shop's list has {wanted:?} for {name}")]
    Serial {
        /// What the crew calls the one that was meant.
        name: String,
        /// What the list has.
        wanted: String,
        /// What it said.
        found: String,
    },
}

impl Identity {
    /// Reads an answer.
    pub fn parse(answer: &str) -> Result<Self, NotThisInstrument> {
        let parts: Vec<&str> = answer.trim().split(',').map(str::trim).collect();
        let plain = answer.len() <= REPLY_BYTES_MAX && !answer.trim().chars().any(char::is_control);
        let [maker, model, serial, firmware] = parts[..] else {
            return Err(no_identity(answer));
        };
        if !plain || maker.is_empty() || model.is_empty() {
            return Err(no_identity(answer));
        }
        let told = |text: &str| (!text.is_empty() && text != "0").then(|| text.to_owned());
        Ok(Self {
            maker: maker.to_owned(),
            model: model.to_owned(),
            serial_number: told(serial),
            firmware: told(firmware),
        })
    }

    /// Whether this is the instrument that the shop's list has under a name and a serial number.
    /// One that does not tell its serial number is taken by its kind.
    pub fn is(
        &self,
        name: &str,
        serial_number: Option<&str>,
        profile: &Profile,
    ) -> Result<(), NotThisInstrument> {
        let found = format!("{},{}", self.maker, self.model);
        if !same(&found, &profile.identity) {
            let (name, wanted) = (name.to_owned(), profile.identity.clone());
            return Err(NotThisInstrument::Kind { name, wanted, found });
        }
        match (serial_number, &self.serial_number) {
            (Some(wanted), Some(found)) if !same(wanted, found) => Err(NotThisInstrument::Serial {
                name: name.to_owned(),
                wanted: wanted.to_owned(),
                found: found.clone(),
            }),
            _ => Ok(()),
        }
    }
}

impl fmt::Display for Identity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let or_0 = |text: &Option<String>| text.clone().unwrap_or_else(|| "0".to_owned());
        let (serial, firmware) = (or_0(&self.serial_number), or_0(&self.firmware));
        write!(f, "{},{},{serial},{firmware}", self.maker, self.model)
    }
}

/// People write capitals and blanks as they like.
fn same(one: &str, other: &str) -> bool {
    let plain = |text: &str| -> String {
        text.chars().filter(|c| !c.is_whitespace()).flat_map(char::to_lowercase).collect()
    };
    plain(one) == plain(other)
}

fn no_identity(answer: &str) -> NotThisInstrument {
    NotThisInstrument::NoIdentity { answer: answer.chars().take(80).collect() }
}
