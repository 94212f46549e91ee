//! What is answered: `POST /exchange`, `POST /api/<command>`, attachments' content, `GET /health`,
//! `GET /data/…`, and the screens.
//!
//! Bodies are bounded in size and in time before anything reads them. Whatever cannot be done is
//! answered in JSON as a [`Refusal`], with a status that says the same.

use std::sync::Arc;
use std::time::Duration;

use axum::body::Bytes;
use axum::extract::rejection::{BytesRejection, FailedToBufferBody};
use axum::extract::{DefaultBodyLimit, FromRequest, Path, Request, State};
use axum::http::header::{ALLOW, CONTENT_TYPE, RETRY_AFTER};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};
use axum::routing::{MethodRouter, get, post};
use axum::{Json, Router, middleware};
use serde::Deserialize;
use serde::de::IntoDeserializer;
use serde::de::value::Error as ValueError;

use super::guard::{self, Names};
use super::{bucket, contents, data, screens};
use crate::Node;
use crate::desk::{self, Code, Language, Refusal};
use crate::sync::contents::GIVEN_BYTES;
use crate::sync::http_driver::{BODY_TYPE, answer};
use crate::sync::wire::PACKED_BYTES_MAX;
use crate::sync::{ExchangeError, exchange::ExchangeFault};

/// The most bytes a command's body has.
pub(super) const COMMAND_BYTES_MAX: usize = 1024 * 1024;
/// The most bytes a question to the bench or a bundle has: it brings a file, as base64. A larger
/// bundle is taken on the command line.
pub(super) const QUESTION_BYTES_MAX: usize = 16 * 1024 * 1024;
/// The most bytes a file to attach has: the largest photograph or paper, as base64. A longer
/// recording is attached on the command line.
pub(super) const ATTACHED_BYTES_MAX: usize = 36 * 1024 * 1024;
// What a screen takes for short enough comes through, with what is said of it.
const _: () =
    assert!(desk::ATTACHED_FILE_BYTES_MAX / 3 * 4 + COMMAND_BYTES_MAX / 4 < ATTACHED_BYTES_MAX);
/// Names the language a command is answered in. Not what a browser sends by itself: the person
/// chose the screen's language here.
const LANGUAGE: &str = "guyline-language";
/// A body that takes longer to come is given up.
const BODY_WITHIN: Duration = Duration::from_secs(30);

/// A refusal as an answer.
#[derive(Debug)]
pub(super) struct Refused {
    pub(super) status: StatusCode,
    pub(super) refusal: Refusal,
    /// After so many seconds it may be tried again.
    retry_after: Option<u64>,
}

impl Refused {
    pub(super) fn new(status: StatusCode, refusal: Refusal) -> Self {
        Self { status, refusal, retry_after: None }
    }

    /// The same, with when it may be tried again.
    pub(super) fn after(self, wait: Duration) -> Self {
        Self { retry_after: Some(wait.as_secs()), ..self }
    }

    /// Somebody asks more often than is answered.
    pub(super) fn too_often(wait: Duration) -> Self {
        let seconds = bucket::seconds(wait);
        let help = format!("try again in {seconds} s");
        let refusal = Refusal::new(Code::TooOften, "too much was asked at once", help);
        Self { retry_after: Some(seconds), ..refusal.into() }
    }
}

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        let mut response = (self.status, Json(self.refusal)).into_response();
        if let Some(seconds) = self.retry_after {
            response.headers_mut().insert(RETRY_AFTER, HeaderValue::from(seconds));
        }
        response
    }
}

impl From<Refusal> for Refused {
    fn from(refusal: Refusal) -> Self {
        let status = StatusCode::from_u16(refusal.status());
        Self::new(status.unwrap_or(StatusCode::INTERNAL_SERVER_ERROR), refusal)
    }
}

/// Everything that is answered to this machine at a port.
pub(super) fn router(node: Node, port: u16) -> Router {
    let names = Arc::new(Names::of_this_machine(port));
    Router::new()
        .route("/exchange", limited(post(exchange), PACKED_BYTES_MAX))
        .route("/api/bench", limited(post(bench), QUESTION_BYTES_MAX))
        .route("/api/bundle-in", limited(post(bundle_in), QUESTION_BYTES_MAX))
        .route("/api/attach", limited(post(attach), ATTACHED_BYTES_MAX))
        .route("/attachment/{hash}", get(attachment).fallback(only_get))
        .route("/attachment/{hash}/{at}", limited(post(take_attachment), GIVEN_BYTES))
        .route("/attachments/lacking", limited(post(lacking), 0))
        .route("/api/{command}", limited(post(command), COMMAND_BYTES_MAX))
        .route("/health", get(health).fallback(only_get))
        .merge(data::routes())
        .fallback_service(get(screens::screen).fallback(only_get))
        .layer(middleware::from_fn_with_state(names, guard::guard))
        .with_state(node)
}

/// A way in for bodies up to a size, and for no other method.
pub(super) fn limited<S: Clone + Send + Sync + 'static>(
    posted: MethodRouter<S>,
    bytes_max: usize,
) -> MethodRouter<S> {
    posted.layer(DefaultBodyLimit::max(bytes_max)).fallback(only_post)
}

async fn exchange(State(node): State<Node>, request: Request) -> Result<Response, Refused> {
    typed(request.headers(), BODY_TYPE)?;
    let body = whole(request).await?;
    let said = answer(&node, body.into()).await.map_err(|error| refuse_exchange(&error))?;
    Ok(([(CONTENT_TYPE, BODY_TYPE)], said).into_response())
}

/// A body that is no exchange is the caller's fault; anything else is ours.
fn refuse_exchange(error: &ExchangeError) -> Refused {
    let what = format!("could not take the exchange: {error}");
    let (status, code) = match error {
        ExchangeError::Fault(ExchangeFault::Body(_) | ExchangeFault::Itself) => {
            (StatusCode::BAD_REQUEST, Code::WrongBody)
        }
        _ => (StatusCode::INTERNAL_SERVER_ERROR, Code::StoreFailed),
    };
    Refused::new(status, Refusal::new(code, what, error.help()).at("/exchange"))
}

async fn bench(State(node): State<Node>, request: Request) -> Result<Response, Refused> {
    carry_out(&node, "bench", request).await
}

async fn bundle_in(State(node): State<Node>, request: Request) -> Result<Response, Refused> {
    carry_out(&node, "bundle-in", request).await
}

async fn attach(State(node): State<Node>, request: Request) -> Result<Response, Refused> {
    carry_out(&node, "attach", request).await
}

async fn attachment(
    State(node): State<Node>,
    Path(hash): Path<String>,
    headers: HeaderMap,
) -> Response {
    contents::give(&node, node.contents().seats(), &hash, &headers).await
}

async fn take_attachment(
    State(node): State<Node>,
    Path((hash, at)): Path<(String, String)>,
    request: Request,
) -> Result<Response, Refused> {
    typed(request.headers(), BODY_TYPE)?;
    let piece = whole(request).await?;
    Ok(contents::take(&node, &hash, &at, piece).await)
}

async fn lacking(State(node): State<Node>, request: Request) -> Result<Response, Refused> {
    typed(request.headers(), BODY_TYPE)?;
    Ok(contents::lacking(&node).await)
}

async fn command(
    State(node): State<Node>,
    Path(command): Path<String>,
    request: Request,
) -> Result<Response, Refused> {
    carry_out(&node, &command, request).await
}

/// Carries out a command of the desk as its node's visitor, or as this device itself.
pub(super) async fn carry_out(
    node: &Node,
    command: &str,
    request: Request,
) -> Result<Response, Refused> {
    let language = may_command(node, command, request.headers())?;
    let body = whole(request).await?;
    with_body(node, language, command, body).await
}

/// Whether a command would be carried out, before anything is read of what it brings; the language
/// it is answered in.
pub(super) fn may_command(
    node: &Node,
    command: &str,
    headers: &HeaderMap,
) -> Result<Language, Refused> {
    desk::demand(node, command)?;
    typed(headers, "application/json")?;
    language_of(headers)
}

/// Carries out a command whose body has come. Of the body nothing is held while that is done.
pub(super) async fn with_body(
    node: &Node,
    language: Language,
    command: &str,
    body: impl AsRef<[u8]>,
) -> Result<Response, Refused> {
    let asked = serde_json::from_slice(body.as_ref()).map_err(|error| {
        let help = "send one JSON object with the fields this command asks for";
        Refusal::new(Code::WrongBody, format!("the body is not JSON: {error}"), help)
            .at(format!("/api/{command}"))
    })?;
    drop(body);
    let given = desk::call_in(node, language, command, asked).await?;
    Ok(Json(given).into_response())
}

/// The language the asking screen is in; English where it says nothing.
fn language_of(headers: &HeaderMap) -> Result<Language, Refused> {
    let Some(asked) = headers.get(LANGUAGE) else { return Ok(Language::English) };
    let name = String::from_utf8_lossy(asked.as_bytes());
    Language::deserialize((&*name).into_deserializer()).map_err(|_: ValueError| {
        let shown: String = name.chars().take(40).collect();
        let what = format!("no screen is in the language {shown:?}");
        let help = "say english or french, or leave it out for English";
        Refusal::new(Code::WrongBody, what, help).at(LANGUAGE).into()
    })
}

async fn health(State(node): State<Node>) -> Result<Response, Refused> {
    let position = node.position().map_err(Refusal::from)?;
    Ok(Json(serde_json::json!({ "position": position })).into_response())
}

async fn only_post(request: Request) -> Response {
    only("POST", &request)
}

pub(super) async fn only_get(request: Request) -> Response {
    only("GET, HEAD", &request)
}

fn only(method: &'static str, request: &Request) -> Response {
    let what = format!("{} is not answered here", request.method());
    let refusal = Refusal::new(Code::Forbidden, what, format!("use {method}")).at(request
        .uri()
        .path()
        .chars()
        .take(100)
        .collect::<String>());
    let refused = Refused::new(StatusCode::METHOD_NOT_ALLOWED, refusal);
    let mut response = refused.into_response();
    response.headers_mut().insert(ALLOW, HeaderValue::from_static(method));
    response
}

/// Whether the body says that it is what is read here. A page from elsewhere cannot send these
/// types without asking first, and is then refused.
pub(super) fn typed(headers: &HeaderMap, wanted: &'static str) -> Result<(), Refused> {
    let found = headers.get(CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or("none");
    let essence = found.split(';').next().unwrap_or_default().trim();
    if essence.eq_ignore_ascii_case(wanted) {
        return Ok(());
    }
    let shown: String = found.chars().take(100).collect();
    let what = format!("a body of type {shown} is not taken here");
    let refusal = Refusal::new(Code::WrongBody, what, format!("send it as {wanted}"));
    Err(Refused::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, refusal))
}

/// The whole body, within the limit of its route.
pub(super) async fn whole(request: Request) -> Result<Bytes, Refused> {
    let reading = Bytes::from_request(request, &());
    let Ok(read) = tokio::time::timeout(BODY_WITHIN, reading).await else {
        let what = format!("the body did not come within {} s", BODY_WITHIN.as_secs());
        let refusal = Refusal::new(Code::WrongBody, what, "send it again, in one go");
        return Err(Refused::new(StatusCode::REQUEST_TIMEOUT, refusal));
    };
    read.map_err(|rejection| match rejection {
        BytesRejection::FailedToBufferBody(FailedToBufferBody::LengthLimitError(_)) => {
            let what = "the body is larger than is taken here";
            Refusal::new(Code::TooLarge, what, "send less at once").into()
        }
        other => {
            let what = format!("the body broke off: {other}");
            Refusal::new(Code::WrongBody, what, "send it again").into()
        }
    })
}
