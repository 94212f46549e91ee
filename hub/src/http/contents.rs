//! Content of attachments, given to other devices and taken from them, a piece at a time.
//!
//! In: a hash and where to go on. Out: bytes, or one and the same answer for whatever is not given:
//! content that is not here, that no visit here names, that is damaged, or a name that is no hash.
//! Nothing is held in memory but a piece; who reads or writes slowly is let go, and goes on later.
//! Who may ask is the affair of whoever calls this.

use std::io::Read as _;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::Json;
use axum::body::{Body, Bytes, HttpBody};
use axum::http::header::{
    ACCEPT_RANGES, CONTENT_DISPOSITION, CONTENT_LENGTH, CONTENT_RANGE, CONTENT_TYPE, ETAG, RANGE,
    RETRY_AFTER, X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};
use hyper::body::Frame;
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc};
use tokio::task::spawn_blocking;

use crate::Node;
use crate::at_rest::content::ContentFile;
use crate::attachments::{AttachmentError, ContentHash};
use crate::desk::{Code, Refusal};
use crate::sync::contents::{Arrived, Lacking};

/// So much is read and sent at once.
const PIECE: usize = 64 * 1024;
/// Who does not take a piece within this is let go.
const TAKEN_WITHIN: Duration = Duration::from_secs(30);
/// The most that is asked for at once.
const LACKING_MAX: usize = 1_000;

/// Pieces as they are read.
pub(super) struct Pieces(pub(super) mpsc::Receiver<std::io::Result<Bytes>>);

impl HttpBody for Pieces {
    type Data = Bytes;
    type Error = std::io::Error;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<std::io::Result<Frame<Bytes>>>> {
        self.0.poll_recv(context).map(|piece| piece.map(|piece| piece.map(Frame::data)))
    }
}

/// The content under a hash, from where the asker goes on, while there is a seat for it.
pub(super) async fn give(
    node: &Node,
    seats: Arc<Semaphore>,
    hash: &str,
    headers: &HeaderMap,
) -> Response {
    let Ok(seat) = seats.try_acquire_owned() else { return busy() };
    let (node, hash) = (node.clone(), hash.to_owned());
    let opened = spawn_blocking(move || open(&node, &hash)).await;
    let Ok(Some((file, length, kind, hash))) = opened else { return not_given() };
    let from = from_where(headers);
    if from.is_some_and(|from| from >= length) {
        let all = format!("bytes */{length}");
        return (StatusCode::RANGE_NOT_SATISFIABLE, [(CONTENT_RANGE, all)]).into_response();
    }
    let first = from.unwrap_or(0);
    let (send, receive) = mpsc::channel(2);
    tokio::spawn(send_pieces(file, first, send, seat));
    let mut response = Response::new(Body::new(Pieces(receive)));
    if from.is_some() {
        *response.status_mut() = StatusCode::PARTIAL_CONTENT;
    }
    let headers = response.headers_mut();
    let mut set = |name, value: String| {
        let value = HeaderValue::from_str(&value).expect("digits and letters only");
        headers.insert(name, value);
    };
    if from.is_some() {
        set(CONTENT_RANGE, format!("bytes {first}-{}/{length}", length - 1));
    }
    set(CONTENT_LENGTH, (length - first).to_string());
    set(CONTENT_TYPE, kind.0.to_owned());
    // Shown by nobody in place: a file, whatever a browser would make of it.
    set(CONTENT_DISPOSITION, format!("attachment; filename=\"{}.{}\"", &hash[..12], kind.1));
    set(ACCEPT_RANGES, "bytes".to_owned());
    // What has this name is always the same: a browser goes on only where it is told so.
    set(ETAG, format!("\"{hash}\""));
    set(X_CONTENT_TYPE_OPTIONS, "nosniff".to_owned());
    response
}

type Opened = (ContentFile, u64, (&'static str, &'static str), String);

/// The file of a content that a visit here names, checked; its length, its type and the end of its
/// name by its first bytes.
fn open(node: &Node, hash: &str) -> Option<Opened> {
    let hash: ContentHash = hash.parse().ok()?;
    node.names_content(hash).ok()??;
    let (mut file, length) = node.contents().opened(hash).ok()?;
    let mut start = vec![0; PIECE];
    let count = file.read(&mut start).ok()?;
    file.go_to(0).ok()?;
    let kind = crate::attachments::limits::recognise(&start[..count]);
    let kind = kind.map_or(("application/octet-stream", "bin"), |k| (k.media_type, k.extension));
    Some((file, length, kind, hash.to_string()))
}

/// Where somebody goes on; none where the whole is asked for, or what is asked is not understood
/// (RFC 9110, 14.2: it may be passed over).
fn from_where(headers: &HeaderMap) -> Option<u64> {
    let range = headers.get(RANGE)?.to_str().ok()?;
    range.strip_prefix("bytes=")?.strip_suffix('-')?.parse().ok()
}

async fn send_pieces(
    mut file: ContentFile,
    from: u64,
    send: mpsc::Sender<std::io::Result<Bytes>>,
    _seat: OwnedSemaphorePermit,
) {
    let mut at_start = Some(from);
    loop {
        let read = spawn_blocking(move || {
            let mut piece = vec![0; PIECE];
            let read = at_start
                .map_or(Ok(()), |from| file.go_to(from))
                .and_then(|()| file.read(&mut piece));
            (file, read.map(|count| Bytes::from(piece).slice(..count)))
        });
        let Ok((back, read)) = read.await else { return };
        (file, at_start) = (back, None);
        let ended = read.as_ref().map_or(true, Bytes::is_empty);
        if ended && read.is_ok() {
            return;
        }
        // Who hangs up or does not take it goes on another time.
        let sent = tokio::time::timeout(TAKEN_WITHIN, send.send(read)).await;
        if ended || !matches!(sent, Ok(Ok(()))) {
            return;
        }
    }
}

/// What this node lacks and would take, small ones first.
pub(super) async fn lacking(node: &Node) -> Response {
    let node = node.clone();
    let told = spawn_blocking(move || {
        let lacking = node.lacking_contents()?;
        let line = |(length, hash): (u64, ContentHash)| Lacking {
            hash: hash.to_string(),
            length,
            have: node.contents().arrived(hash),
        };
        Ok::<_, crate::documents::NodeError>(
            lacking.into_iter().take(LACKING_MAX).map(line).collect::<Vec<_>>(),
        )
    });
    match told.await {
        Ok(Ok(lacking)) => Json(lacking).into_response(),
        Ok(Err(error)) => refused(Refusal::from(error)),
        Err(_) => not_given(),
    }
}

/// Takes a piece of what this node lacks.
pub(super) async fn take(node: &Node, hash: &str, at: &str, piece: Bytes) -> Response {
    let (Ok(hash), Ok(at)) = (hash.parse::<ContentHash>(), at.parse::<u64>()) else {
        return not_given();
    };
    let node = node.clone();
    let taken = spawn_blocking(move || {
        let contents = node.contents();
        let Ok(Some(length)) = node.names_content(hash) else { return Ok(None) };
        if contents.has(hash)? {
            return Ok(Some(Arrived { have: length, whole: true }));
        }
        // Somebody else is giving it: where it stands is told, and they go on.
        let Some(_claim) = contents.claim(hash) else {
            return Ok(Some(Arrived { have: contents.arrived(hash), whole: false }));
        };
        let have = contents.arrived(hash);
        if at != have {
            return Ok(Some(Arrived { have, whole: false }));
        }
        let whole = contents.arrive(hash, length, at, &piece)?;
        Ok::<_, AttachmentError>(Some(Arrived { have: at + piece.len() as u64, whole }))
    });
    match taken.await {
        Ok(Ok(Some(arrived))) => Json(arrived).into_response(),
        Ok(Err(error)) => refused(Refusal::from(error)),
        Ok(Ok(None)) | Err(_) => not_given(),
    }
}

fn refused(refusal: Refusal) -> Response {
    let status = StatusCode::from_u16(refusal.status()).unwrap_or(StatusCode::BAD_REQUEST);
    (status, Json(refusal)).into_response()
}

/// One answer for whatever is not given, so that nobody learns what is here by asking.
fn not_given() -> Response {
    let help = "merge first, then ask for what the visits name";
    let refusal = Refusal::new(Code::NotHere, "there is no such content here", help);
    (StatusCode::NOT_FOUND, Json(refusal)).into_response()
}

fn busy() -> Response {
    let help = "ask again in a few seconds; what has come stays";
    let refusal = Refusal::new(Code::ExchangeFailed, "this device gives to others just now", help);
    (StatusCode::SERVICE_UNAVAILABLE, [(RETRY_AFTER, "5")], Json(refusal)).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_range_that_goes_on_to_the_end_is_understood() {
        for (range, from) in [
            ("bytes=0-", Some(0)),
            ("bytes=65536-", Some(65_536)),
            ("bytes=-5", None),
            ("bytes=1-2", None),
            ("bytes=1-,3-", None),
            ("items=1-", None),
            ("bytes=99999999999999999999-", None),
        ] {
            let mut headers = HeaderMap::new();
            headers.insert(RANGE, HeaderValue::from_static(range));
            assert_eq!(from_where(&headers), from, "{range}");
        }
        assert_eq!(from_where(&HeaderMap::new()), None);
    }
}
