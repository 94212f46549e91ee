//! The way in for a shop's browsers: the screens and the desk over TLS 1.3, with what was granted.
//!
//! In: a node, an address, the names to answer to. Out: [`Screens`], until it is stopped. The
//! screens themselves are shown to anybody, and say nothing of the shop; a command is carried out,
//! and content given, only for a browser with a token, which stands in a cookie that no script
//! reads. How often somebody may ask is bounded, by grant and, without one, by address; so is how
//! much is held of what they send ([`super::large`]).

use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::extract::{ConnectInfo, Path, Request, State};
use axum::http::header::{COOKIE, SET_COOKIE};
use axum::http::{HeaderMap, HeaderValue};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Extension, Json, Router};
use serde::Deserialize;
use tokio::net::TcpStream;
use tokio::sync::Semaphore;
use tokio_rustls::TlsAcceptor;
use tokio_rustls::server::TlsStream;

use super::bucket::{Buckets, asker};
use super::guard::{self, Names};
use super::handshakes::{Known, accept};
use super::large::{Seated, Seats, takes_seat};
use super::router::{
    ATTACHED_BYTES_MAX, COMMAND_BYTES_MAX, QUESTION_BYTES_MAX, Refused, carry_out, limited,
    may_command, only_get, typed, whole, with_body,
};
use super::serving::{Served, bind};
use super::{ListenError, contents, own_certificate, screens};
use crate::desk::{self, Code, Refusal};
use crate::identity::Visitor;
use crate::{Node, ServedAt};

/// Where the token stands. A browser takes a cookie of this name only over TLS, for this very host.
const COOKIE_NAME: &str = "__Host-guyline";
/// The most bytes of what signs in.
const SIGN_IN_BYTES_MAX: usize = 1024;
/// So often may be asked without a token, by address: a page is ten files.
const STRANGER: (u32, Duration) = (120, Duration::from_millis(200));
/// So often with one, by grant: a screen asks twice a second.
const GUEST: (u32, Duration) = (400, Duration::from_millis(25));
/// So many are given content at once. Each has a few pieces of 64 KiB in memory, 4 MiB in all. Not
/// the seats of the shop's devices: no browser keeps those waiting.
const GIVEN_AT_ONCE: usize = 16;
/// So often may a code be tried, by address.
const TRIES: (u32, Duration) = (10, Duration::from_secs(6));

/// How browsers are served.
#[derive(Clone, Debug)]
pub struct ForBrowsers {
    /// Where to listen; port 0 takes any that is free.
    pub address: SocketAddr,
    /// The names it answers to; without any, the machine's own address.
    pub hosts: Vec<String>,
    /// The shop's own certificate and its key, as PEM files; without them the hub makes its own.
    pub certificate: Option<(PathBuf, PathBuf)>,
}

/// A node that browsers can reach. Dropping it stops it too.
#[derive(Debug)]
pub struct Screens {
    node: Node,
    at: ServedAt,
    served: Served,
}

/// What every request is answered with.
#[derive(Clone)]
struct Way {
    node: Node,
    strangers: Arc<Buckets<IpAddr>>,
    guests: Arc<Buckets<String>>,
    tries: Arc<Buckets<IpAddr>>,
    large: Seats,
    giving: Arc<Semaphore>,
}

impl Screens {
    /// Starts to serve them.
    pub async fn start(node: &Node, asked: &ForBrowsers) -> Result<Self, ListenError> {
        let (listener, bound) = bind(asked.address).await?;
        let names = Names::abroad(&asked.hosts, reached_at(bound.ip()), bound.port());
        let shown = match &asked.certificate {
            Some((certificate, key)) => own_certificate::given(certificate, key)?,
            None => {
                let hosts = match asked.hosts.as_slice() {
                    [] => vec![reached_at(bound.ip()).to_string()],
                    listed => listed.iter().map(|host| bare(host)).collect(),
                };
                own_certificate::made(node.folder(), &hosts, node.keys())?
            }
        };
        let at = ServedAt { addresses: names.addresses(), fingerprint: shown.fingerprint };
        let acceptor = TlsAcceptor::from(Arc::new(shown.config));
        let shaken = accept(listener, acceptor, caller as Known<IpAddr>);
        let router = router(node.clone(), names);
        let answering = move |ip| router.clone().layer(Extension(ConnectInfo(Caller(ip))));
        let served = Served::start(shaken, answering);
        node.serves_browsers(Some(at.clone()));
        Ok(Self { node: node.clone(), at, served })
    }

    /// Where browsers reach it, and how they know it.
    pub fn at(&self) -> &ServedAt {
        &self.at
    }

    /// Stops, after what is under way is answered.
    pub async fn stop(self) {
        self.node.serves_browsers(None);
        self.served.stop().await;
    }
}

/// Which address it is that others reach.
fn reached_at(bound: IpAddr) -> IpAddr {
    if bound.is_unspecified() { crate::background::own_address().unwrap_or(bound) } else { bound }
}

/// A host without its port, as a certificate names it.
fn bare(host: &str) -> String {
    let host = match host.rsplit_once(':') {
        Some((name, port)) if port.parse::<u16>().is_ok() && !name.ends_with(':') => name,
        _ => host,
    };
    host.trim_matches(['[', ']']).to_owned()
}

#[derive(Clone, Copy, Debug)]
struct Caller(IpAddr);

fn caller(_: &TlsStream<TcpStream>, from: SocketAddr) -> Option<IpAddr> {
    Some(asker(from.ip()))
}

fn router(node: Node, names: Names) -> Router {
    let way = Way {
        node,
        strangers: Arc::new(Buckets::new(STRANGER.0, STRANGER.1)),
        guests: Arc::new(Buckets::new(GUEST.0, GUEST.1)),
        tries: Arc::new(Buckets::new(TRIES.0, TRIES.1)),
        large: Seats::new(),
        giving: Arc::new(Semaphore::new(GIVEN_AT_ONCE)),
    };
    Router::new()
        .route("/api/bench", limited(post(bench), COMMAND_BYTES_MAX))
        .route("/api/attach", limited(post(attach), COMMAND_BYTES_MAX))
        .route("/attachment/{hash}", get(attachment).fallback(only_get))
        .route("/api/{command}", limited(post(command), COMMAND_BYTES_MAX))
        .route("/sign-in", limited(post(sign_in), SIGN_IN_BYTES_MAX))
        .route("/sign-out", limited(post(sign_out), SIGN_IN_BYTES_MAX))
        .fallback_service(get(screens::screen).fallback(only_get))
        .layer(middleware::from_fn_with_state(way.clone(), recognise))
        .layer(middleware::from_fn_with_state(Arc::new(names), guard::guard))
        .with_state(way)
}

/// Finds out who asks, and bounds how often.
async fn recognise(
    State(way): State<Way>,
    ConnectInfo(Caller(ip)): ConnectInfo<Caller>,
    mut request: Request,
    next: Next,
) -> Response {
    let token = token(request.headers()).map(str::to_owned);
    let visitor = match behind(&way.node, token).await {
        Ok(visitor) => visitor,
        Err(refusal) => return Refused::from(refusal).into_response(),
    };
    let taken = match &visitor {
        Some(visitor) => way.guests.take(&visitor.grant, Instant::now()),
        None => way.strangers.take(&ip, Instant::now()),
    };
    if let Err(wait) = taken {
        return Refused::too_often(wait).into_response();
    }
    if let Some(visitor) = visitor {
        request.extensions_mut().insert(visitor);
    }
    next.run(request).await
}

async fn behind(node: &Node, token: Option<String>) -> Result<Option<Visitor>, Refusal> {
    let Some(token) = token else { return Ok(None) };
    node.on_disk(move |node| node.behind(&token)).await
}

/// The token a request brings: one, of the right form, or none.
fn token(headers: &HeaderMap) -> Option<&str> {
    let lines = headers.get_all(COOKIE).iter().filter_map(|line| line.to_str().ok());
    let pairs = lines.flat_map(|line| line.split(';')).filter_map(|pair| pair.split_once('='));
    let mut ours = pairs.filter(|(name, _)| name.trim() == COOKIE_NAME).map(|(_, value)| value);
    let token = ours.next()?.trim();
    let fits = token.len() == 64 && token.bytes().all(|digit| digit.is_ascii_hexdigit());
    (fits && ours.next().is_none()).then_some(token)
}

async fn bench(State(way): State<Way>, request: Request) -> Result<Response, Refused> {
    with_file(&way, "bench", QUESTION_BYTES_MAX, request).await
}

async fn attach(State(way): State<Way>, request: Request) -> Result<Response, Refused> {
    with_file(&way, "attach", ATTACHED_BYTES_MAX, request).await
}

/// A command that may bring a file: a longer one takes a seat, and is asked again who brings it
/// once it has come, since that can take a while.
async fn with_file(
    way: &Way,
    command: &'static str,
    bytes_max: usize,
    request: Request,
) -> Result<Response, Refused> {
    if !takes_seat(request.headers()) {
        return for_visitor(way, command, request).await;
    }
    let node = way.node.for_visitor(visitor(&request)?);
    let language = may_command(&node, command, request.headers())?;
    let token = token(request.headers()).map(str::to_owned);
    let Seated { body, seat } = way.large.seat(request, bytes_max, language).await?;
    let visitor = behind(&way.node, token).await?.ok_or_else(not_signed_in)?;
    let node = way.node.for_visitor(visitor);
    // On its own: who hangs up now gives the seat back no sooner than the memory.
    let done = tokio::spawn(async move {
        let _seat = seat;
        with_body(&node, language, command, body).await
    });
    done.await.unwrap_or_else(|panic| std::panic::resume_unwind(panic.into_panic()))
}

/// Content as a file, from where the browser goes on.
async fn attachment(
    State(way): State<Way>,
    Path(hash): Path<String>,
    request: Request,
) -> Result<Response, Refused> {
    let node = way.node.for_visitor(visitor(&request)?);
    desk::demand(&node, "attachment")?;
    Ok(contents::give(&node, way.giving, &hash, request.headers()).await)
}

async fn command(
    State(way): State<Way>,
    Path(command): Path<String>,
    request: Request,
) -> Result<Response, Refused> {
    for_visitor(&way, &command, request).await
}

async fn for_visitor(way: &Way, command: &str, request: Request) -> Result<Response, Refused> {
    carry_out(&way.node.for_visitor(visitor(&request)?), command, request).await
}

/// Who asks, where somebody does who was let in.
fn visitor(request: &Request) -> Result<Visitor, Refused> {
    request.extensions().get().cloned().ok_or_else(not_signed_in)
}

fn not_signed_in() -> Refused {
    let help = "ask at the hub for a link or a code";
    Refusal::new(Code::SignIn, "this browser is not signed in", help).into()
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Bring {
    code: String,
}

async fn sign_in(
    State(way): State<Way>,
    ConnectInfo(Caller(ip)): ConnectInfo<Caller>,
    request: Request,
) -> Result<Response, Refused> {
    typed(request.headers(), "application/json")?;
    way.tries.take(&ip, Instant::now()).map_err(Refused::too_often)?;
    let body = whole(request).await?;
    let Bring { code } = serde_json::from_slice(&body).map_err(|_| {
        let help = "send one JSON object with the code and nothing else";
        Refusal::new(Code::WrongBody, "that brings no code", help).at("/sign-in")
    })?;
    let signed = way.node.on_disk(move |node| node.sign_in(&code)).await?;
    let Some(signed) = signed else {
        let help = "a code works once, within ten minutes: ask at the hub for another";
        return Err(Refusal::new(Code::SignIn, "that code lets nobody in", help).into());
    };
    tracing::info!("a browser signed in");
    let said = Json(serde_json::json!({ "name": signed.visitor.name }));
    Ok(with_cookie(&signed.token, signed.seconds, said))
}

async fn sign_out(State(way): State<Way>, request: Request) -> Result<Response, Refused> {
    typed(request.headers(), "application/json")?;
    if let Some(visitor) = request.extensions().get::<Visitor>().cloned() {
        way.node.on_disk(move |node| node.revoke_browser(&visitor.grant)).await?;
    }
    Ok(with_cookie("", 0, Json(serde_json::json!({}))))
}

fn with_cookie(token: &str, seconds: i64, said: impl IntoResponse) -> Response {
    let cookie = format!(
        "{COOKIE_NAME}={token}; Max-Age={seconds}; Path=/; Secure; HttpOnly; SameSite=Strict"
    );
    let mut response = said.into_response();
    let mut cookie = HeaderValue::try_from(cookie).expect("plain letters only");
    cookie.set_sensitive(true);
    response.headers_mut().insert(SET_COOKIE, cookie);
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_token_of_the_right_form_is_taken_from_the_cookies() {
        let good = "a".repeat(64);
        let read = |lines: &[String]| {
            let line = |line: &String| (COOKIE, line.parse().unwrap());
            let headers: HeaderMap = lines.iter().map(line).collect();
            token(&headers).map(str::to_owned)
        };
        let named = |value: &str| format!("{COOKIE_NAME}={value}");
        assert_eq!(read(&[named(&good)]), Some(good.clone()));
        assert_eq!(read(&[format!("a=b; {}; c", named(&good))]), Some(good.clone()));
        for lines in [
            vec![],
            vec![format!("guyline={good}")],
            vec![named("")],
            vec![named(&good[1..])],
            vec![named(&"z".repeat(64))],
            vec![named(&good), named(&good)],
            vec![format!("{}; {}", named(&good), named(&good))],
        ] {
            assert_eq!(read(&lines), None, "{lines:?}");
        }
    }

    #[test]
    fn a_certificate_names_hosts_without_their_ports() {
        for (host, name) in [
            ("hub.example", "hub.example"),
            ("hub.example:8443", "hub.example"),
            ("192.0.2.7", "192.0.2.7"),
            ("[2001:db8::1]:443", "2001:db8::1"),
            ("[2001:db8::1]", "2001:db8::1"),
        ] {
            assert_eq!(bare(host), name);
        }
    }
}
