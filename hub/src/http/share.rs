//! The way in for other devices of the shop: TLS 1.3 with both sides' keys on the roster.
//!
//! In: a node and an address. Out: [`Sharing`], until it is stopped. Answers `/roster`, `/exchange`
//! and `/attachment` to members, and `/join` to whoever holds an invitation while one is open; a
//! key that is neither gets no handshake and hears nothing. No screens and no desk are served here.

use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::extract::{ConnectInfo, DefaultBodyLimit, Path, RawQuery, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{IntoResponse as _, Response};
use axum::routing::{get, post};
use axum::{Extension, Json, Router, body::Bytes};
use serde::{Deserialize, Serialize};
use tokio::net::TcpStream;
use tokio_rustls::TlsAcceptor;
use tokio_rustls::server::TlsStream;

use super::ListenError;
use super::bucket::{Buckets, asker};
use super::contents;
use super::handshakes::{Known, accept};
use super::router::Refused;
use super::serving::{Served, bind};
use crate::Node;
use crate::desk::{Code, Refusal};
use crate::identity::{PublicKey, ROSTER_BYTES_MAX, RosterEntry, key_of, short_code, tls};
use crate::sync::contents::GIVEN_BYTES;
use crate::sync::http_driver::{BODY_TYPE, answer};
use crate::sync::tls_driver::BODY_VERSION;
use crate::sync::wire::{self, PACKED_BYTES_MAX};

/// So often a device that is no member may ask from one address while an invitation is open: twice
/// as often as one that waits at the door does.
const KNOCKS: (u32, Duration) = (60, Duration::from_millis(250));
/// The most bytes of a knock, which a stranger may send.
const KNOCK_BYTES_MAX: usize = 4 * 1024;

/// A node that other devices can reach. Dropping it stops it too.
#[derive(Debug)]
pub struct Sharing {
    address: SocketAddr,
    served: Served,
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
struct Caller {
    key: PublicKey,
    ip: IpAddr,
}

/// What a request is answered with.
#[derive(Clone)]
struct Way {
    node: Node,
    knocks: Arc<Buckets<IpAddr>>,
}

impl Sharing {
    /// Starts to share at an address; port 0 takes any that is free.
    pub async fn start(node: &Node, address: SocketAddr) -> Result<Self, ListenError> {
        let (listener, bound) = bind(address).await?;
        let watching = node.clone();
        let admits = Arc::new(move |key| watching.admits(key) || watching.door_is_open());
        let config = tls::server(node.device_key(), admits)
            .map_err(|error| ListenError::of(address, std::io::Error::other(error)))?;
        let acceptor = TlsAcceptor::from(Arc::new(config));
        let shaken = accept(listener, acceptor, caller as Known<Caller>);
        let router = router(node.clone());
        let answering = move |caller| router.clone().layer(Extension(ConnectInfo(caller)));
        let served = Served::start(shaken, answering);
        Ok(Self { address: bound, served })
    }

    /// Where it shares.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Stops, after what is under way is answered.
    pub async fn stop(self) {
        self.served.stop().await;
    }
}

/// Whoever shows no key is hung up on.
fn caller(stream: &TlsStream<TcpStream>, from: SocketAddr) -> Option<Caller> {
    let certificate = stream.get_ref().1.peer_certificates().and_then(<[_]>::first);
    certificate.and_then(key_of).map(|key| Caller { key, ip: asker(from.ip()) })
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
        .with_state(Way { node, knocks: Arc::new(Buckets::new(KNOCKS.0, KNOCKS.1)) })
}

fn refused(what: &str, help: &str) -> Refused {
    Refusal::new(Code::Forbidden, what, help).into()
}

fn bad(refusal: Refusal) -> Refused {
    Refused::new(StatusCode::BAD_REQUEST, refusal)
}

/// An invitation lets a device knock, now and then, and nothing else.
fn member(way: &Way, caller: Caller) -> Result<(), Refused> {
    if way.node.admits(caller.key) {
        return Ok(());
    }
    stranger(way, caller)?;
    let help = "ask whoever holds the other device to let this one in";
    Err(refused("this device is not on the shop's roster", help))
}

fn stranger(way: &Way, caller: Caller) -> Result<(), Refused> {
    way.knocks.take(&caller.ip, Instant::now()).map_err(Refused::too_often)
}

async fn join(
    State(way): State<Way>,
    ConnectInfo(caller): ConnectInfo<Caller>,
    Json(knock): Json<Knock>,
) -> Result<Json<Heard>, Refused> {
    let Way { node, .. } = &way;
    let key = caller.key;
    if node.admits(key) {
        let short = short_code(node.key(), key, &knock.code);
        return Ok(Json(Heard { short, roster: Some(node.roster_entries()) }));
    }
    stranger(&way, caller)?;
    let short = node.knocked(key, &knock.name, &knock.code).map_err(|shut| {
        refused(&shut.to_string(), "ask for a new invitation on the other device")
    })?;
    Ok(Json(Heard { short, roster: None }))
}

async fn roster(
    State(way): State<Way>,
    ConnectInfo(caller): ConnectInfo<Caller>,
    RawQuery(known): RawQuery,
    Json(theirs): Json<Vec<RosterEntry>>,
) -> Result<([(&'static str, HeaderValue); 1], Json<Vec<RosterEntry>>), Refused> {
    member(&way, caller)?;
    way.node.take_roster(&theirs).map_err(bad)?;
    // What came may have revoked who brought it.
    member(&way, caller)?;
    // A shop's roster may be megabytes, and is hardly ever another than the caller has.
    let known = known.as_deref().and_then(|query| query.strip_prefix("as="));
    let same = known.is_some_and(|digest| digest == way.node.roster_digest());
    let ours = if same { Vec::new() } else { way.node.roster_entries() };
    // The caller speaks as it may from now on.
    Ok(([(BODY_VERSION, HeaderValue::from(u16::from(wire::VERSION)))], Json(ours)))
}

async fn exchange(
    State(way): State<Way>,
    ConnectInfo(caller): ConnectInfo<Caller>,
    body: Bytes,
) -> Result<([(&'static str, &'static str); 1], Vec<u8>), Refused> {
    member(&way, caller)?;
    let said = answer(&way.node, body.into()).await.map_err(|error| bad(error.into()))?;
    Ok(([("content-type", BODY_TYPE)], said))
}

async fn attachment(
    State(way): State<Way>,
    ConnectInfo(caller): ConnectInfo<Caller>,
    Path(hash): Path<String>,
    headers: HeaderMap,
) -> Response {
    match member(&way, caller) {
        Ok(()) => contents::give(&way.node, way.node.contents().seats(), &hash, &headers).await,
        Err(refused) => refused.into_response(),
    }
}

async fn take_attachment(
    State(way): State<Way>,
    ConnectInfo(caller): ConnectInfo<Caller>,
    Path((hash, at)): Path<(String, String)>,
    piece: Bytes,
) -> Response {
    match member(&way, caller) {
        Ok(()) => contents::take(&way.node, &hash, &at, piece).await,
        Err(refused) => refused.into_response(),
    }
}

async fn lacking(State(way): State<Way>, ConnectInfo(caller): ConnectInfo<Caller>) -> Response {
    match member(&way, caller) {
        Ok(()) => contents::lacking(&way.node).await,
        Err(refused) => refused.into_response(),
    }
}
