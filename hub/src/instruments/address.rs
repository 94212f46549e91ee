//! Where an instrument is connected: `192.0.2.9:5025` on the network, `/dev/ttyUSB0@9600` on a
//! serial line.

use std::fmt;
use std::net::SocketAddr;
use std::str::FromStr;

/// Speeds a serial line may have, in baud.
const SPEEDS: std::ops::RangeInclusive<u32> = 300..=4_000_000;
/// The speed where none is given. Common practice, no source.
const USUAL_SPEED: u32 = 9_600;

/// Where an instrument is connected.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Address {
    /// A socket on the network. Instruments take 5025 for it as a rule.
    Socket(SocketAddr),
    /// A serial line: 8 data bits, no parity, one stop bit.
    Serial {
        /// Its device file or name.
        path: String,
        /// Its speed in baud.
        baud: u32,
    },
}

/// Why a text is no such address.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{given:?} is no address of an instrument: 192.0.2.9:5025 or /dev/ttyUSB0@9600 is")]
pub struct NotAnAddress {
    given: String,
}

impl FromStr for Address {
    type Err = NotAnAddress;

    fn from_str(text: &str) -> Result<Self, NotAnAddress> {
        let text = text.trim();
        let refused = || NotAnAddress { given: text.chars().take(80).collect() };
        if let Ok(socket) = text.parse() {
            return Ok(Self::Socket(socket));
        }
        let (path, baud) = match text.rsplit_once('@') {
            Some((path, baud)) => (path, baud.parse().map_err(|_| refused())?),
            None => (text, USUAL_SPEED),
        };
        let is_device = path.starts_with("/dev/") || path.to_ascii_uppercase().starts_with("COM");
        if !is_device || path.contains("..") || !SPEEDS.contains(&baud) || path.len() > 200 {
            return Err(refused());
        }
        Ok(Self::Serial { path: path.to_owned(), baud })
    }
}

impl fmt::Display for Address {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Socket(socket) => socket.fmt(f),
            Self::Serial { path, baud } => write!(f, "{path}@{baud}"),
        }
    }
}
