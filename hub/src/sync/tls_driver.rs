//! The exchange with another device of the shop, over TLS; and knocking at a door.
//!
//! In: a node, and an address as a person writes it. Out: what was moved, or the roster of the shop
//! that let this device in. Whoever answers must show a key that is expected; a name in the network
//! gives addresses and never an identity.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use http_body_util::{BodyExt, Full, Limited};
use hyper::body::{Bytes, Incoming};
use hyper::client::conn::http1::{SendRequest, handshake};
use hyper::header::{CONTENT_TYPE, HOST, HeaderValue, RANGE};
use hyper::{Method, Request, Response};
use hyper_util::rt::TokioIo;
use rustls::pki_types::ServerName;
use serde::Serialize;
use serde::de::DeserializeOwned;
use tokio::net::TcpStream;
use tokio::time::timeout;
use tokio_rustls::TlsConnector;

use super::http_driver::said_by;
use super::wire::{self, PACKED_BYTES_MAX};
use crate::Node;
use crate::identity::{Admits, NoTls, tls};

const CONNECT_WITHIN: Duration = Duration::from_secs(5);
const ANSWER_WITHIN: Duration = Duration::from_secs(60);

/// In this header of its answers a device says which version of a body it reads.
pub(crate) const BODY_VERSION: &str = "guyline-body";

fn reads_packed(version: &HeaderValue) -> bool {
    let version = version.to_str().ok().and_then(|version| version.parse::<u8>().ok());
    version.is_some_and(|version| version >= wire::VERSION)
}

/// Why another device could not be spoken with.
#[derive(Debug, thiserror::Error)]
pub enum TlsFault {
    /// Nobody answers.
    #[error("{address} does not answer: {source}")]
    Unreachable {
        /// The address.
        address: SocketAddr,
        /// The network's reason.
        #[source]
        source: std::io::Error,
    },
    /// It took too long.
    #[error("{address} took too long to answer")]
    Slow {
        /// The address.
        address: SocketAddr,
    },
    /// The connection broke, or what was said is no HTTP.
    #[error("the connection with {address} broke: {reason}")]
    Broken {
        /// The address.
        address: SocketAddr,
        /// How.
        reason: String,
    },
    /// Somebody answers, and refuses.
    #[error("{address} refused ({status}): {what}")]
    Refused {
        /// The address.
        address: SocketAddr,
        /// The HTTP status.
        status: u16,
        /// What it said.
        what: String,
    },
    /// No TLS can be spoken here.
    #[error(transparent)]
    NoTls(#[from] NoTls),
}

impl TlsFault {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::Unreachable { .. } | Self::Slow { .. } => {
                "see that the other device shares, that both are on one network, and that this is \
                 its address; nothing is lost"
            }
            Self::Broken { .. } => {
                "see that both devices are on the shop's roster and neither was revoked; nothing \
                 is lost"
            }
            Self::Refused { .. } => "look at what the other device says, then try again",
            Self::NoTls(_) => "update Guyline on this device",
        }
    }
}

/// A connection with a device whose key is expected.
pub(crate) struct TlsPeer {
    address: SocketAddr,
    sender: SendRequest<Full<Bytes>>,
    packs: bool,
}

impl TlsPeer {
    /// Connects, where whoever answers has a key that is admitted.
    pub(crate) async fn connect(
        node: &Node,
        address: SocketAddr,
        admits: Admits,
    ) -> Result<Self, TlsFault> {
        let config = tls::client(node.device_key(), admits)?;
        let unreachable = |source| TlsFault::Unreachable { address, source };
        let slow = |_| TlsFault::Slow { address };
        let stream = timeout(CONNECT_WITHIN, TcpStream::connect(address));
        let stream = stream.await.map_err(slow)?.map_err(unreachable)?;
        // What is sent is whole: to wait for more to go with it only waits.
        stream.set_nodelay(true).map_err(unreachable)?;
        let name = ServerName::from(address.ip());
        let connector = TlsConnector::from(Arc::new(config));
        let shaken = timeout(CONNECT_WITHIN, connector.connect(name, stream));
        let broken = |reason: String| TlsFault::Broken { address, reason };
        let shaken = shaken.await.map_err(slow)?.map_err(|error| broken(error.to_string()))?;
        let (sender, connection) =
            handshake(TokioIo::new(shaken)).await.map_err(|error| broken(error.to_string()))?;
        // Its end is told by the next request, which then has nobody to go to.
        tokio::spawn(connection);
        Ok(Self { address, sender, packs: false })
    }

    /// Posts bytes and gives the answer's.
    pub(crate) async fn post(
        &mut self,
        path: &str,
        content_type: &str,
        body: Vec<u8>,
    ) -> Result<Vec<u8>, TlsFault> {
        let address = self.address;
        let broken = |reason: String| TlsFault::Broken { address, reason };
        let request = Request::builder()
            .method(Method::POST)
            .uri(path)
            .header(HOST, address.to_string())
            .header(CONTENT_TYPE, content_type)
            .body(Full::new(Bytes::from(body)))
            .map_err(|error| broken(error.to_string()))?;
        let answered = timeout(ANSWER_WITHIN, async {
            // The answer before may have come to its end a moment ago.
            self.sender.ready().await.map_err(|error| broken(error.to_string()))?;
            let response = self.sender.send_request(request).await;
            let response = response.map_err(|error| broken(error.to_string()))?;
            let status = response.status();
            self.packs |= response.headers().get(BODY_VERSION).is_some_and(reads_packed);
            let whole = Limited::new(response.into_body(), PACKED_BYTES_MAX).collect().await;
            let bytes = whole.map_err(|error| broken(error.to_string()))?.to_bytes().to_vec();
            Ok::<_, TlsFault>((status, bytes))
        });
        let (status, bytes) = answered.await.map_err(|_| TlsFault::Slow { address })??;
        if status.is_success() {
            return Ok(bytes);
        }
        Err(TlsFault::Refused { address, status: status.as_u16(), what: said_by(&bytes) })
    }

    /// Whether it said that it reads changes which are packed together.
    pub(crate) fn packs(&self) -> bool {
        self.packs
    }

    /// Where it is.
    pub(crate) fn address(&self) -> SocketAddr {
        self.address
    }

    /// Asks for what lies at a path from a byte on. The answer's body is the caller's to read.
    pub(crate) async fn get(
        &mut self,
        path: &str,
        from: u64,
    ) -> Result<Response<Incoming>, TlsFault> {
        let address = self.address;
        let broken = |reason: String| TlsFault::Broken { address, reason };
        let request = Request::builder()
            .uri(path)
            .header(HOST, address.to_string())
            .header(RANGE, format!("bytes={from}-"))
            .body(Full::default())
            .map_err(|error| broken(error.to_string()))?;
        self.sender.ready().await.map_err(|error| broken(error.to_string()))?;
        let sent = timeout(ANSWER_WITHIN, self.sender.send_request(request)).await;
        let response = sent.map_err(|_| TlsFault::Slow { address })?;
        response.map_err(|error| broken(error.to_string()))
    }

    /// Posts a value as JSON and reads the answer as one.
    pub(crate) async fn ask<A: Serialize, G: DeserializeOwned>(
        &mut self,
        path: &str,
        asked: &A,
    ) -> Result<G, TlsFault> {
        let body = serde_json::to_vec(asked).expect("text keys and finite numbers only");
        let bytes = self.post(path, "application/json", body).await?;
        serde_json::from_slice(&bytes)
            .map_err(|error| TlsFault::Broken { address: self.address, reason: error.to_string() })
    }
}
