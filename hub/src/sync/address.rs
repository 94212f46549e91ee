//! Whom a node may speak with, and how: plainly with this machine itself, over TLS with others.
//!
//! In: an address as a person writes it. Out: a socket address, or why not. No look-up of names, so
//! that no name server decides where the shop's records go.

use std::net::{Ipv4Addr, SocketAddr};

/// Why an address is not used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AddressRefused {
    /// Not an address.
    #[error("{given:?} is no address as in http://127.0.0.1:4770")]
    NoAddress {
        /// What was given.
        given: String,
    },
    /// Another machine.
    #[error("{given} is not on this machine")]
    NotLoopback {
        /// What was given.
        given: String,
    },
}

impl AddressRefused {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::NoAddress { .. } => "write it as the other node prints it when it starts",
            Self::NotLoopback { .. } => {
                "a browser proves nothing, so screens are served on this machine only: use \
                 127.0.0.1; other devices come in by --share"
            }
        }
    }
}

/// A node to speak with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Whereto {
    /// On this machine, plainly.
    Here(SocketAddr),
    /// A device of the shop, over TLS.
    Member(SocketAddr),
}

/// Where `text` leads: `http://` and loopback addresses to this machine, `https://` and all other
/// addresses to a device of the shop.
pub fn whereto(text: &str) -> Result<Whereto, AddressRefused> {
    let given: String = text.trim().chars().take(200).collect();
    let secure = given.strip_prefix("https://");
    let bare = secure.unwrap_or(&given).trim_end_matches('/');
    match bare.parse::<SocketAddr>() {
        Ok(address) if secure.is_some() || !address.ip().is_loopback() => {
            Ok(Whereto::Member(address))
        }
        _ if secure.is_some() => Err(AddressRefused::NoAddress { given }),
        _ => loopback(text).map(Whereto::Here),
    }
}

/// The socket address of `text`, which may start with `http://` and name `localhost`.
pub fn loopback(text: &str) -> Result<SocketAddr, AddressRefused> {
    let given: String = text.trim().chars().take(200).collect();
    let bare = given.strip_prefix("http://").unwrap_or(&given);
    let bare = bare.strip_suffix('/').unwrap_or(bare);
    if let Some(port) = bare.strip_prefix("localhost:").and_then(|port| port.parse().ok()) {
        return Ok(SocketAddr::from((Ipv4Addr::LOCALHOST, port)));
    }
    match bare.parse::<SocketAddr>() {
        Ok(address) if address.ip().is_loopback() => Ok(address),
        Ok(_) => Err(AddressRefused::NotLoopback { given }),
        Err(_) => Err(AddressRefused::NoAddress { given }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn this_machine_is_taken_however_it_is_written() {
        for text in
            ["127.0.0.1:4770", "http://127.0.0.1:4770/", " http://localhost:4770", "127.9.0.1:4770"]
        {
            assert_eq!(loopback(text).unwrap().port(), 4770, "{text}");
        }
        assert_eq!(loopback("http://[::1]:9").unwrap().to_string(), "[::1]:9");
    }

    #[test]
    fn other_machines_are_spoken_with_over_tls() {
        for text in ["192.0.2.7:4771", "https://127.0.0.1:4771/", "[2001:db8::1]:9"] {
            assert!(matches!(whereto(text), Ok(Whereto::Member(_))), "{text}");
        }
        for text in ["127.0.0.1:4770", "http://localhost:4770"] {
            assert!(matches!(whereto(text), Ok(Whereto::Here(_))), "{text}");
        }
        for text in ["https://hub", "http://192.0.2.7:4770", "hub:1", ""] {
            assert!(whereto(text).is_err(), "{text}");
        }
    }

    #[test]
    fn other_machines_and_no_addresses_are_told_apart() {
        for text in ["0.0.0.0:1", "192.0.2.7:4770", "http://[2001:db8::1]:4770", "[::]:80"] {
            let refused = loopback(text).unwrap_err();
            assert!(matches!(refused, AddressRefused::NotLoopback { .. }), "{text}: {refused}");
        }
        for text in
            ["", "hub", "localhost", "127.0.0.1", "https://127.0.0.1:1", "127.0.0.1:65536", "a:b"]
        {
            let refused = loopback(text).unwrap_err();
            assert!(matches!(refused, AddressRefused::NoAddress { .. }), "{text}: {refused}");
        }
    }
}
