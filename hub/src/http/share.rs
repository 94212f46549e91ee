//! The way in for other devices of the shop: TLS 1.3 with both sides' keys on the roster.
//!
//! In: a node and an address. Out: [`Sharing`], until it is stopped. Answers `/roster`, `/exchange`
//! and `/attachment` to members, and `/join` to whoever holds an invitation while one is open; a
//! key that is neither gets no handshake and hears nothing. No screens and no desk are served here.

use std::collections::BTreeMap;
use std::net::{IpAddr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::extract::{ConnectInfo, DefaultBodyLimit, Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse as _, Response};
use axum::routing::{get, post};
use axum::serve::Listener;
use axum::{Extension, Json, Router, body::Bytes};
use serde::{Deserialize, Serialize};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, mpsc, oneshot};
use tokio::task::JoinHandle;
use tokio_rustls::TlsAcceptor;
use tokio_rustls::server::TlsStream;

use super::ListenError;
use super::contents;
use super::serving::serve;
use crate::Node;
use crate::desk::{Code, Refusal};
use crate::identity::{PublicKey, RosterEntry, key_of, short_code, tls};
use crate::sync::contents::GIVEN_BYTES;
use crate::sync::http_driver::{BODY_TYPE, answer};
use crate::sync::wire::PACKED_BYTES_MAX;

/// A handshake that takes longer is given up.
const HANDSHAKE_WITHIN: Duration = Duration::from_secs(10);
/// So many handshakes are under way at once; others wait in the system's queue.
const HANDSHAKES_MAX: usize = 256;
/// So many of one address; more are hung up on, so that one machine keeps no other out.
const HANDSHAKES_OF_ONE_MAX: usize = 16;
/// The most bytes of a roster.
const ROSTER_BYTES_MAX: usize = 8 * 1024 * 1024;
/// The most bytes of a knock, which a stranger may send.
const KNOCK_BYTES_MAX: usize = 4 * 1024;

/// A node that other devices can reach. Dropping it stops it too.
#[derive(Debug)]
pub struct Sharing {
    address: SocketAddr,
    stop: oneshot::Sender<()>,
    served: JoinHandle<()>,
    accepting: JoinHandle<()>,
}

/// What a device says at the door.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Knock {
    pub(crate) code: String,
    pub(crate) name: String,
}

/// What it hears.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Heard {
    /// What both sides show.
    pub(crate) short: String,
    /// The roster, once a person has opened.
    pub(crate) roster: Option<Vec<RosterEntry>>,
}

/// Who is at the other end.
#[derive(Clone, Copy, Debug)]
struct Caller(PublicKey);

impl Sharing {
    /// Starts to share at an address; port 0 takes any that is free.
    pub async fn start(node: &Node, address: SocketAddr) -> Result<Self, ListenError> {
        let refused = |source: std::io::Error| match source.kind() {
            std::io::ErrorKind::AddrInUse => ListenError::InUse { address },
            _ => ListenError::System { address, source },
        };
        let listener = TcpListener::bind(address).await.map_err(refused)?;
        let bound = listener.local_addr().map_err(refused)?;
        let watching = node.clone();
        let admits = Arc::new(move |key| watching.admits(key) || watching.door_is_open());
        let config = tls::server(node.device_key(), admits)
            .map_err(|error| refused(std::io::Error::other(error)))?;
        let (send, shaken) = mpsc::channel(16);
        let acceptor = TlsAcceptor::from(Arc::new(config));
        let accepting = tokio::spawn(accept(listener, acceptor, send));
        let (stop, stopped) = oneshot::channel::<()>();
        let router = router(node.clone());
        let answering = move |key| router.clone().layer(Extension(ConnectInfo(Caller(key))));
        let served = tokio::spawn(serve(Shaken(shaken), answering, stopped));
        Ok(Self { address: bound, stop, served, accepting })
    }

    /// Where it shares.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Stops, after what is under way is answered.
    pub async fn stop(self) {
        self.accepting.abort();
        // Both can only fail where serving has ended already.
        let _ended_already = self.stop.send(());
        let _ended_already = self.served.await;
    }
}

/// Takes connections and shakes hands with each beside the others, so that a slow one keeps nobody.
async fn accept(
    listener: TcpListener,
    acceptor: TlsAcceptor,
    send: mpsc::Sender<(TlsStream<TcpStream>, PublicKey)>,
) {
    let room = Arc::new(Semaphore::new(HANDSHAKES_MAX));
    let shaking: Shaking = Arc::default();
    loop {
        let Ok(place) = room.clone().acquire_owned().await else { return };
        let Ok((stream, from)) = listener.accept().await else {
            // Out of descriptors, most likely: some will be given back soon.
            tokio::time::sleep(Duration::from_millis(100)).await;
            continue;
        };
        let Some(turn) = Turn::of(&shaking, from.ip()) else { continue };
        let (acceptor, send) = (acceptor.clone(), send.clone());
        tokio::spawn(async move {
            let _place = (place, turn);
            let shaken = tokio::time::timeout(HANDSHAKE_WITHIN, acceptor.accept(stream)).await;
            // Who is not admitted, or no TLS at all: there is nobody to tell.
            let Ok(Ok(stream)) = shaken else { return };
            let certificate = stream.get_ref().1.peer_certificates().and_then(<[_]>::first);
            if let Some(key) = certificate.and_then(key_of) {
                let _stopped_meanwhile = send.send((stream, key)).await;
            }
        });
    }
}

/// How many handshakes each address has under way.
type Shaking = Arc<Mutex<BTreeMap<IpAddr, usize>>>;

/// One handshake of an address, counted until it is dropped.
struct Turn {
    shaking: Shaking,
    ip: IpAddr,
}

impl Turn {
    /// None where the address has enough under way.
    fn of(shaking: &Shaking, ip: IpAddr) -> Option<Self> {
        let mut counts = shaking.lock().unwrap_or_else(PoisonError::into_inner);
        let count = counts.entry(ip).or_default();
        if *count >= HANDSHAKES_OF_ONE_MAX {
            return None;
        }
        *count += 1;
        Some(Self { shaking: shaking.clone(), ip })
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        let mut counts = self.shaking.lock().unwrap_or_else(PoisonError::into_inner);
        match counts.get_mut(&self.ip) {
            Some(count) if *count > 1 => *count -= 1,
            _ => drop(counts.remove(&self.ip)),
        }
    }
}

/// The connections whose handshake is done.
struct Shaken(mpsc::Receiver<(TlsStream<TcpStream>, PublicKey)>);

impl Listener for Shaken {
    type Io = TlsStream<TcpStream>;
    type Addr = PublicKey;

    async fn accept(&mut self) -> (Self::Io, Self::Addr) {
        match self.0.recv().await {
            Some(shaken) => shaken,
            // Nobody accepts any more; the graceful stop is about to end this.
            None => std::future::pending().await,
        }
    }

    fn local_addr(&self) -> std::io::Result<Self::Addr> {
        Err(std::io::Error::other("a key is no local address"))
    }
}

fn router(node: Node) -> Router {
    Router::new()
        .route("/join", post(join).layer(DefaultBodyLimit::max(KNOCK_BYTES_MAX)))
        .route("/roster", post(roster).layer(DefaultBodyLimit::max(ROSTER_BYTES_MAX)))
        .route("/exchange", post(exchange).layer(DefaultBodyLimit::max(PACKED_BYTES_MAX)))
        .route("/attachment/{hash}", get(attachment))
        .route(
            "/attachment/{hash}/{at}",
            post(take_attachment).layer(DefaultBodyLimit::max(GIVEN_BYTES)),
        )
        .route("/attachments/lacking", post(lacking))
        .with_state(node)
}

type Refused = (StatusCode, Json<Refusal>);

fn refused(status: StatusCode, what: &str, help: &str) -> Refused {
    (status, Json(Refusal::new(Code::Forbidden, what, help)))
}

/// An invitation lets a device knock, and nothing else.
fn member(node: &Node, caller: PublicKey) -> Result<(), Refused> {
    if node.admits(caller) {
        return Ok(());
    }
    let help = "ask whoever holds the other device to let this one in";
    Err(refused(StatusCode::FORBIDDEN, "this device is not on the shop's roster", help))
}

async fn join(
    State(node): State<Node>,
    ConnectInfo(Caller(key)): ConnectInfo<Caller>,
    Json(knock): Json<Knock>,
) -> Result<Json<Heard>, Refused> {
    if node.admits(key) {
        let short = short_code(node.key(), key, &knock.code);
        return Ok(Json(Heard { short, roster: Some(node.roster_entries()) }));
    }
    let short = node.knocked(key, &knock.name, &knock.code).map_err(|shut| {
        let help = "ask for a new invitation on the other device";
        refused(StatusCode::FORBIDDEN, &shut.to_string(), help)
    })?;
    Ok(Json(Heard { short, roster: None }))
}

async fn roster(
    State(node): State<Node>,
    ConnectInfo(Caller(key)): ConnectInfo<Caller>,
    Json(theirs): Json<Vec<RosterEntry>>,
) -> Result<Json<Vec<RosterEntry>>, Refused> {
    member(&node, key)?;
    node.take_roster(&theirs).map_err(|refusal| (StatusCode::BAD_REQUEST, Json(refusal)))?;
    // What came may have revoked who brought it.
    member(&node, key)?;
    Ok(Json(node.roster_entries()))
}

async fn exchange(
    State(node): State<Node>,
    ConnectInfo(Caller(key)): ConnectInfo<Caller>,
    body: Bytes,
) -> Result<([(&'static str, &'static str); 1], Vec<u8>), Refused> {
    member(&node, key)?;
    let said = answer(&node, body.into())
        .await
        .map_err(|error| (StatusCode::BAD_REQUEST, Json(Refusal::from(error))))?;
    Ok(([("content-type", BODY_TYPE)], said))
}

async fn attachment(
    State(node): State<Node>,
    ConnectInfo(Caller(key)): ConnectInfo<Caller>,
    Path(hash): Path<String>,
    headers: HeaderMap,
) -> Response {
    match member(&node, key) {
        Ok(()) => contents::give(&node, &hash, &headers).await,
        Err(refused) => refused.into_response(),
    }
}

async fn take_attachment(
    State(node): State<Node>,
    ConnectInfo(Caller(key)): ConnectInfo<Caller>,
    Path((hash, at)): Path<(String, String)>,
    piece: Bytes,
) -> Response {
    match member(&node, key) {
        Ok(()) => contents::take(&node, &hash, &at, piece).await,
        Err(refused) => refused.into_response(),
    }
}

async fn lacking(
    State(node): State<Node>,
    ConnectInfo(Caller(key)): ConnectInfo<Caller>,
) -> Response {
    match member(&node, key) {
        Ok(()) => contents::lacking(&node).await,
        Err(refused) => refused.into_response(),
    }
}
