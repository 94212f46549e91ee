//! Content of attachments, moved beside the exchange of changes and after it.
//!
//! In: a node and another one's address. Out: what was fetched and what was given. First what the
//! visits here name and this node lacks, small ones first; then what the other one lacks and this
//! one holds, since it may not be able to call back. Each goes on at the byte where it was cut off,
//! and counts only when it is whole and its hash is right. Whatever comes is checked against what
//! the record says before it is kept: the other side decides nothing here.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use http_body_util::BodyExt;
use hyper::body::{Bytes, Incoming};
use serde::{Deserialize, Serialize};
use tokio::time::timeout;

use super::address::{Whereto, whereto};
use super::http_driver::{BODY_TYPE, ExchangeError, client, post_to, said_by, waiting};
use super::members::level_rosters;
use super::tls_driver::{TlsFault, TlsPeer};
use crate::Node;
use crate::at_rest::content::ContentFile;
use crate::attachments::{AttachmentError, ContentHash};
use crate::documents::NodeError;
use crate::identity::PublicKey;

/// So much is given at once.
pub(crate) const GIVEN_BYTES: usize = 512 * 1024;
/// So long a sender may take for the next bytes; what has come stays.
const NEXT_WITHIN: Duration = Duration::from_secs(20);
/// So long one content may take altogether, at this time; the next one goes on there.
const ONE_WITHIN: Duration = Duration::from_secs(600);

/// What a node lacks.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Lacking {
    pub(crate) hash: String,
    pub(crate) length: u64,
    pub(crate) have: u64,
}

/// How far a content has come.
#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Arrived {
    pub(crate) have: u64,
    pub(crate) whole: bool,
}

/// What of the attachments was moved.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct ContentReport {
    /// Fetched whole.
    pub fetched: u64,
    /// Given whole.
    pub given: u64,
    /// Bytes that came.
    pub received_bytes: u64,
    /// Bytes that went.
    pub sent_bytes: u64,
    /// Named here and still not here.
    pub lacking: u64,
    /// Named and lacking there, held here, and not given.
    pub not_given: u64,
    /// What the other side sent that was not what was named, or why it did not go further.
    pub refused: Vec<String>,
}

/// A connection with the other side.
enum Line {
    Here(reqwest::Client, SocketAddr),
    Member(TlsPeer),
}

/// An answer that comes in pieces.
enum Coming {
    Here(reqwest::Response, SocketAddr),
    Member(hyper::Response<Incoming>, SocketAddr),
}

/// Moves content between this node and the one at an address, both ways. `go_on` is asked before
/// each: false ends it there.
pub(crate) async fn settle_with(
    node: &Node,
    address: &str,
    only: Option<PublicKey>,
    go_on: impl Fn() -> bool + Send + Sync,
) -> Result<ContentReport, ExchangeError> {
    let mut report = ContentReport::default();
    let lacking = lacking_of(node).await?;
    let holds = holds_any(node).await?;
    if lacking.is_empty() && !holds {
        return Ok(report);
    }
    let mut line = None;
    for (length, hash) in lacking {
        if !go_on() {
            break;
        }
        match fetch_one(node, address, only, &mut line, (length, hash), &mut report).await {
            Ok(()) => {}
            // The other side may hold the next one rightly.
            Err(ExchangeError::Content { hash, error }) => {
                report.refused.push(format!("{hash}: {error}"));
                line = None;
            }
            Err(error) => return Err(error),
        }
    }
    if holds {
        give_all(node, address, only, &mut line, &go_on, &mut report).await?;
    }
    report.lacking = lacking_of(node).await?.len() as u64;
    Ok(report)
}

/// Fetches from every device met before, until nothing is lacking. What went wrong with one is told
/// when something is lacking in the end.
pub(crate) async fn fetch_from_all(node: &Node) -> Result<(), ExchangeError> {
    let asked = node.clone();
    let addresses = waiting(move || Ok(asked.addresses()?)).await?;
    let mut failed = None;
    for address in addresses {
        if lacking_of(node).await?.is_empty() {
            return Ok(());
        }
        failed = settle_with(node, &address, None, || true).await.err().or(failed);
    }
    match failed {
        Some(error) if !lacking_of(node).await?.is_empty() => Err(error),
        _ => Ok(()),
    }
}

async fn lacking_of(node: &Node) -> Result<Vec<(u64, ContentHash)>, ExchangeError> {
    let node = node.clone();
    waiting(move || Ok(node.lacking_contents()?)).await
}

async fn holds_any(node: &Node) -> Result<bool, ExchangeError> {
    let node = node.clone();
    waiting(move || Ok(node.contents().held().map_err(kept_nothing)?.0 > 0)).await
}

/// A fault of this device's own files.
fn kept_nothing(error: AttachmentError) -> ExchangeError {
    ExchangeError::Files(Box::new(error))
}

/// The connection there is, or a new one.
async fn connected<'a>(
    node: &Node,
    address: &str,
    only: Option<PublicKey>,
    line: &'a mut Option<Line>,
) -> Result<&'a mut Line, ExchangeError> {
    if line.is_none() {
        *line = Some(Line::to(node, address, only).await?);
    }
    Ok(line.as_mut().expect("it was made a line above"))
}

async fn fetch_one(
    node: &Node,
    address: &str,
    only: Option<PublicKey>,
    line: &mut Option<Line>,
    (length, hash): (u64, ContentHash),
    report: &mut ContentReport,
) -> Result<(), ExchangeError> {
    let Some(_claim) = node.contents().claim(hash) else { return Ok(()) };
    let have = node.contents().arrived(hash);
    if have > length {
        node.contents().forget_arrived(hash);
        return Ok(());
    }
    if have == length {
        // It came whole, and what was to be done then could not be.
        report.fetched += u64::from(arrive(node, hash, length, have, Bytes::new()).await?);
        return Ok(());
    }
    let peer = connected(node, address, only, line).await?;
    let Some(mut coming) = peer.get(&format!("/attachment/{hash}"), have).await? else {
        return Ok(());
    };
    let until = tokio::time::Instant::now() + ONE_WITHIN;
    let mut at = have;
    while tokio::time::Instant::now() < until {
        let Some(piece) = coming.next().await? else { break };
        let count = piece.len() as u64;
        let whole = arrive(node, hash, length, at, piece).await?;
        at += count;
        report.received_bytes += count;
        if whole {
            report.fetched += 1;
            // Read to its end, or the connection is no good for the next question.
            if !matches!(coming.next().await, Ok(None)) {
                *line = None;
            }
            return Ok(());
        }
    }
    if at == length {
        return Ok(());
    }
    let what = format!("it ended at byte {at} of {length}");
    let error = Box::new(AttachmentError::Foreign { what });
    Err(ExchangeError::Content { hash: hash.to_string(), error })
}

/// Keeps a piece that came. True when it was the last.
async fn arrive(
    node: &Node,
    hash: ContentHash,
    length: u64,
    at: u64,
    piece: Bytes,
) -> Result<bool, ExchangeError> {
    let node = node.clone();
    waiting(move || match node.contents().arrive(hash, length, at, &piece) {
        Ok(whole) => Ok(whole),
        Err(error @ AttachmentError::Foreign { .. }) => {
            Err(ExchangeError::Content { hash: hash.to_string(), error: Box::new(error) })
        }
        Err(error) => Err(kept_nothing(error)),
    })
    .await
}

async fn give_all(
    node: &Node,
    address: &str,
    only: Option<PublicKey>,
    line: &mut Option<Line>,
    go_on: &(impl Fn() -> bool + Send + Sync),
    report: &mut ContentReport,
) -> Result<(), ExchangeError> {
    let line = connected(node, address, only, line).await?;
    // An earlier version knows nothing of this, and is given nothing.
    let Ok(answer) = line.post("/attachments/lacking", Vec::new()).await? else { return Ok(()) };
    let wanted: Vec<Lacking> = serde_json::from_slice(&answer).unwrap_or_default();
    for Lacking { hash, length, have } in wanted {
        let Ok(hash) = hash.parse::<ContentHash>() else { continue };
        let asked = node.clone();
        if waiting(move || asked.contents().has(hash).map_err(kept_nothing)).await? {
            let before = report.given;
            if go_on() {
                give_one(node, line, (length, hash), have, report).await?;
            }
            report.not_given += u64::from(report.given == before);
        }
    }
    Ok(())
}

async fn give_one(
    node: &Node,
    line: &mut Line,
    (length, hash): (u64, ContentHash),
    have: u64,
    report: &mut ContentReport,
) -> Result<(), ExchangeError> {
    let asked = node.clone();
    let named = waiting(move || Ok(asked.names_content(hash)?)).await?;
    if named != Some(length) {
        return Ok(());
    }
    let (mut at, mut file) = (have, None);
    // One that is whole there and does not count yet is given an empty piece: it is tried again.
    while at <= length {
        let (node, opened) = (node.clone(), file.take());
        let read = waiting(move || Ok(next_piece(&node, opened, hash, at))).await?;
        let Some((piece, opened)) = read else { return Ok(()) };
        let count = piece.len() as u64;
        if count == 0 && at < length {
            return Ok(());
        }
        let said = match line.post(&format!("/attachment/{hash}/{at}"), piece).await? {
            Ok(said) => said,
            Err(why) => {
                report.refused.push(format!("{hash}: {why}"));
                return Ok(());
            }
        };
        let Ok(arrived) = serde_json::from_slice::<Arrived>(&said) else { return Ok(()) };
        report.sent_bytes += count;
        if arrived.whole {
            report.given += 1;
            return Ok(());
        }
        // Somebody else gives it too, or it does not take it: another time.
        if count == 0 || arrived.have != at + count {
            return Ok(());
        }
        (at, file) = (arrived.have, Some(opened));
    }
    Ok(())
}

/// The next piece of content, and the content to go on with; none where it is damaged or cannot be
/// read, which `inspect` tells.
fn next_piece(
    node: &Node,
    opened: Option<ContentFile>,
    hash: ContentHash,
    at: u64,
) -> Option<(Vec<u8>, ContentFile)> {
    use std::io::Read as _;
    let mut file = match opened {
        Some(file) => file,
        None => {
            // Checked once, when it begins: the receiver checks the whole.
            let mut file = match at {
                0 => node.contents().opened(hash).ok()?.0,
                _ => node.contents().unchecked(hash).ok()?,
            };
            file.go_to(at).ok()?;
            file
        }
    };
    let mut piece = Vec::new();
    (&mut file).take(GIVEN_BYTES as u64).read_to_end(&mut piece).ok()?;
    Some((piece, file))
}

impl Line {
    async fn to(
        node: &Node,
        address: &str,
        only: Option<PublicKey>,
    ) -> Result<Self, ExchangeError> {
        let address = match whereto(address)? {
            Whereto::Member(address) => address,
            Whereto::Here(address) => {
                let made =
                    client().map_err(|source| ExchangeError::Unreachable { address, source });
                return Ok(Self::Here(made?, address));
            }
        };
        let watching = node.clone();
        let expected = move |key| only.is_none_or(|only| only == key);
        let admits = Arc::new(move |key| expected(key) && watching.admits(key));
        let mut peer = TlsPeer::connect(node, address, admits).await?;
        // Who was revoked meanwhile is known before anything is given.
        level_rosters(node, &mut peer).await?;
        Ok(Self::Member(peer))
    }

    /// What comes from a byte on; none where it is not given.
    async fn get(&mut self, path: &str, from: u64) -> Result<Option<Coming>, ExchangeError> {
        match self {
            Self::Here(client, address) => {
                let address = *address;
                let range = format!("bytes={from}-");
                let asked = client.get(format!("http://{address}{path}")).header("range", range);
                let unreachable = |source| ExchangeError::Unreachable { address, source };
                let response = asked.send().await.map_err(unreachable)?;
                let given = response.status().is_success();
                Ok(given.then_some(Coming::Here(response, address)))
            }
            Self::Member(peer) => {
                let address = peer.address();
                let response = peer.get(path, from).await?;
                let given = response.status().is_success();
                if !given {
                    // Read to its end, so that the connection can go on.
                    drop(timeout(NEXT_WITHIN, response.into_body().collect()).await);
                    return Ok(None);
                }
                Ok(Some(Coming::Member(response, address)))
            }
        }
    }

    /// What is answered, or what the other side says where it does not take it.
    async fn post(
        &mut self,
        path: &str,
        body: Vec<u8>,
    ) -> Result<Result<Vec<u8>, String>, ExchangeError> {
        let answered = match self {
            Self::Here(client, address) => post_to(client, *address, path, body).await,
            Self::Member(peer) => peer.post(path, BODY_TYPE, body).await.map_err(Into::into),
        };
        match answered {
            Ok(answer) => Ok(Ok(answer)),
            Err(
                ExchangeError::Refused { what, .. }
                | ExchangeError::Tls(TlsFault::Refused { what, .. }),
            ) => Ok(Err(what)),
            Err(error) => Err(error),
        }
    }
}

impl Coming {
    /// The next bytes; none at the end.
    async fn next(&mut self) -> Result<Option<Bytes>, ExchangeError> {
        match self {
            Self::Here(response, address) => {
                let address = *address;
                let slow = |_| TlsFault::Slow { address };
                let next = timeout(NEXT_WITHIN, response.chunk()).await.map_err(slow)?;
                next.map_err(|source| ExchangeError::Unreachable { address, source })
            }
            Self::Member(response, address) => {
                let address = *address;
                loop {
                    let slow = |_| TlsFault::Slow { address };
                    let frame = timeout(NEXT_WITHIN, response.frame()).await.map_err(slow)?;
                    let Some(frame) = frame else { return Ok(None) };
                    let broken = |error: hyper::Error| {
                        let reason = said_by(error.to_string().as_bytes());
                        TlsFault::Broken { address, reason }
                    };
                    if let Ok(bytes) = frame.map_err(broken)?.into_data() {
                        return Ok(Some(bytes));
                    }
                }
            }
        }
    }
}

impl Node {
    /// Moves content of attachments between this node and the one at an address, both ways.
    pub async fn settle_contents_with(
        &self,
        address: &str,
    ) -> Result<ContentReport, ExchangeError> {
        settle_with(self, address, None, || true).await
    }

    /// How many contents are named here and not here.
    pub fn contents_lacking(&self) -> Result<usize, NodeError> {
        Ok(self.lacking_contents()?.len())
    }
}
