//! The way in over HTTP: the desk for a browser, the exchange for other nodes, and the screens.
//!
//! In: a node and a loopback address. Out: [`Listening`], until it is stopped. Only this machine is
//! listened to there, since such a browser proves nothing; what a web page could do behind the
//! user's back is kept out by [`guard`]. Browsers elsewhere come in over TLS with what they were
//! granted ([`browsers`]), other devices by [`share`]. Knows the desk and the exchange, no store
//! and no arithmetic.

mod browsers;
mod bucket;
mod contents;
mod data;
mod guard;
mod handshakes;
mod large;
mod metrics;
mod own_certificate;
mod router;
mod screens;
mod serving;
mod share;

use std::net::SocketAddr;

pub use browsers::{ForBrowsers, Screens};
pub use metrics::Metrics;
pub(crate) use own_certificate::KEY as SCREENS_KEY;
pub use own_certificate::NoCertificate;
pub use share::Sharing;
pub(crate) use share::{Heard, Knock};

use serving::Served;

use crate::Node;
use crate::desk::{Code, Refusal};
use crate::sync::address::{AddressRefused, loopback};

/// Why a node cannot listen.
#[derive(Debug, thiserror::Error)]
pub enum ListenError {
    /// The address is not one to listen at.
    #[error(transparent)]
    Address(#[from] AddressRefused),
    /// Somebody else listens there.
    #[error("{address} is in use by another program")]
    InUse {
        /// The address.
        address: SocketAddr,
    },
    /// There is no certificate to show.
    #[error(transparent)]
    Certificate(#[from] NoCertificate),
    /// The system refuses.
    #[error("{address} cannot be listened at: {source}")]
    System {
        /// The address.
        address: SocketAddr,
        /// Its reason.
        #[source]
        source: std::io::Error,
    },
}

impl ListenError {
    /// Why the system does not let an address be listened at.
    fn of(address: SocketAddr, source: std::io::Error) -> Self {
        match source.kind() {
            std::io::ErrorKind::AddrInUse => Self::InUse { address },
            _ => Self::System { address, source },
        }
    }

    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::Address(refused) => refused.help(),
            Self::Certificate(missing) => missing.help(),
            Self::InUse { .. } => {
                "stop the other program, or choose another port (port 0 takes any that is free)"
            }
            Self::System { .. } => "choose another port; those below 1024 are often reserved",
        }
    }
}

impl From<ListenError> for Refusal {
    fn from(error: ListenError) -> Self {
        Self::new(Code::ExchangeFailed, error.to_string(), error.help())
    }
}

/// A node that can be reached. Dropping it stops it too, without waiting for what is under way.
#[derive(Debug)]
pub struct Listening {
    address: String,
    served: Served,
}

impl Listening {
    /// Starts to listen at a loopback address; port 0 takes any that is free.
    pub async fn start(node: &Node, address: &str) -> Result<Self, ListenError> {
        let (listener, bound) = serving::bind(loopback(address)?).await?;
        let router = router::router(node.clone(), bound.port());
        let served = Served::start(listener, move |_| router.clone());
        Ok(Self { address: format!("http://{bound}"), served })
    }

    /// Where it listens, as `http://127.0.0.1:4770`.
    pub fn address(&self) -> &str {
        &self.address
    }

    /// Stops, after what is under way is answered.
    pub async fn stop(self) {
        self.served.stop().await;
    }
}
