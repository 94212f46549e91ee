//! The exchange over HTTP: the calling side, and the answer to a call.
//!
//! In: a node and an address on this machine, or a body that came in. Out: what was moved, or the
//! body to answer with. One `POST /exchange` is one round. The machine in [`super::exchange`] says
//! what to do; here it is done: the store on a blocking thread, the network beside it.

use std::net::SocketAddr;
use std::time::{Duration, Instant};

use reqwest::header::CONTENT_TYPE;
use serde::{Deserialize, Serialize};
use tokio::runtime::Handle;
use tokio::task::spawn_blocking;
use ts_rs::TS;

use super::address::{AddressRefused, Whereto, whereto};
use super::exchange::{Exchange, ExchangeFault, Input, Output, Signer, Stored, Tally};
use super::members;
use super::tls_driver::TlsFault;
use super::wire::PACKED_BYTES_MAX;
use crate::attachments::AttachmentError;
use crate::documents::{Documents, Given, NodeError};
use crate::identity::{PublicKey, SignatureRefused};
use crate::log::{Card, NodeId, Receipt, Scope, receipt_text};
use crate::{Node, clock};

/// The content type of a body.
pub(crate) const BODY_TYPE: &str = "application/octet-stream";
/// About so many bytes of log go into one body.
pub(super) const SLICE_BYTES_MAX: usize = 4 * 1024 * 1024;
const CONNECT_WITHIN: Duration = Duration::from_secs(5);
const ANSWER_WITHIN: Duration = Duration::from_secs(60);

/// What an exchange moved.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct ExchangeReport {
    /// The other node's name.
    pub peer_name: String,
    /// Changes sent.
    #[ts(type = "number")]
    pub sent_changes: u64,
    /// Changes received that were new here.
    #[ts(type = "number")]
    pub received_changes: u64,
    /// Bytes sent.
    #[ts(type = "number")]
    pub sent_bytes: u64,
    /// Bytes received.
    #[ts(type = "number")]
    pub received_bytes: u64,
    /// Round trips.
    #[ts(type = "number")]
    pub rounds: u64,
    /// The documents that changed here, by id.
    pub documents_touched: Vec<String>,
    /// Changes that came and were set aside as malformed.
    #[ts(type = "number")]
    pub set_aside: u64,
    /// How long it took, in milliseconds.
    #[ts(type = "number")]
    pub took_ms: u64,
}

impl ExchangeReport {
    /// Adds what another exchange with the same node moved.
    fn add(&mut self, other: Self) {
        self.sent_changes += other.sent_changes;
        self.received_changes += other.received_changes;
        self.sent_bytes += other.sent_bytes;
        self.received_bytes += other.received_bytes;
        self.rounds += other.rounds;
        self.set_aside += other.set_aside;
        self.documents_touched.extend(other.documents_touched);
        self.documents_touched.sort_unstable();
        self.documents_touched.dedup();
    }
}

/// Why an exchange did not come to its end. What was stored before stays stored.
#[derive(Debug, thiserror::Error)]
pub enum ExchangeError {
    /// The address is not one to speak with.
    #[error(transparent)]
    Address(#[from] AddressRefused),
    /// Nobody answers, or the connection broke.
    #[error("{address} does not answer: {reason}", reason = innermost(source))]
    Unreachable {
        /// The address.
        address: SocketAddr,
        /// The network's reason.
        #[source]
        source: reqwest::Error,
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
    /// The answer does not end.
    #[error("{address} answered with more than {PACKED_BYTES_MAX} bytes")]
    TooLong {
        /// The address.
        address: SocketAddr,
    },
    /// What was said is no exchange.
    #[error(transparent)]
    Fault(#[from] ExchangeFault),
    /// Another device of the shop could not be spoken with.
    #[error(transparent)]
    Tls(#[from] TlsFault),
    /// The other side's word that it stores this log is not its own.
    #[error("the receipt of the other side is false: {source}")]
    Receipt {
        /// Why.
        #[source]
        source: SignatureRefused,
    },
    /// Whatever else carried the bodies lost one.
    #[error("a body was lost on its way: {what}")]
    Lost {
        /// How.
        what: String,
    },
    /// Content of an attachment came that is not what was named.
    #[error("the other device sent something else than {hash}: {error}")]
    Content {
        /// The hash that was asked for.
        hash: String,
        /// What came.
        error: Box<AttachmentError>,
    },
    /// This node's attachments cannot be read or written.
    #[error(transparent)]
    Files(Box<AttachmentError>),
    /// This node's own part failed.
    #[error(transparent)]
    Node(#[from] NodeError),
    /// The work on the store broke off.
    #[error("the exchange broke off: {source}")]
    BrokenOff {
        /// How.
        #[source]
        source: tokio::task::JoinError,
    },
}

impl ExchangeError {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::Address(refused) => refused.help(),
            Self::Unreachable { .. } => {
                "see that Guyline runs on the other device and shows this address, then merge \
                 again; nothing is lost"
            }
            Self::Refused { .. } => "look at what the other node says, then merge again",
            Self::TooLong { .. } | Self::Fault(ExchangeFault::Body(_)) => {
                "check that a Guyline of this version runs at the address; nothing was taken"
            }
            Self::Fault(ExchangeFault::Itself) => "give the address of another node",
            Self::Fault(ExchangeFault::Stalled { .. }) => {
                "update Guyline on both devices, then merge again"
            }
            Self::Tls(fault) => fault.help(),
            Self::Content { error, .. } | Self::Files(error) => error.help(),
            Self::Receipt { .. } => {
                "merge with another device of the shop, and have this one looked at; nothing of \
                 yours is lost"
            }
            Self::Lost { .. } => "merge again; nothing is lost for good",
            Self::Node(NodeError::Contents(error)) => error.help(),
            Self::Node(_) => "check this device's disk, then merge again; nothing is lost",
            Self::BrokenOff { .. } => "merge again; nothing is lost",
        }
    }
}

fn innermost(error: &dyn std::error::Error) -> String {
    let mut cause = error;
    while let Some(source) = cause.source() {
        cause = source;
    }
    cause.to_string()
}

/// Makes this node and the one at an address level.
pub(crate) async fn exchange_with(
    node: &Node,
    address: &str,
) -> Result<ExchangeReport, ExchangeError> {
    let address = match whereto(address)? {
        Whereto::Here(address) => address,
        Whereto::Member(address) => {
            return members::exchange_with(node, address, None, |_, _| {}).await;
        }
    };
    let client = client().map_err(|source| ExchangeError::Unreachable { address, source })?;
    let (node, runtime) = (node.clone(), Handle::current());
    let carry = move |body| runtime.block_on(post_to(&client, address, "/exchange", body));
    waiting(move || call(&node, &address.to_string(), false, carry)).await
}

/// The body to answer a body with.
pub(crate) async fn answer(node: &Node, body: Vec<u8>) -> Result<Vec<u8>, ExchangeError> {
    let answering = node.clone();
    let said = waiting(move || answer_to(&answering, body)).await;
    node.place_soon();
    said
}

/// The same on this thread.
pub(crate) fn answer_to(node: &Node, body: Vec<u8>) -> Result<Vec<u8>, ExchangeError> {
    let (said, _) = hear(node, body)?;
    Ok(said.expect("an answerer ends by saying something"))
}

/// Takes what a body brings that nobody waits for an answer to: one out of a bundle.
pub(super) fn take(node: &Node, body: Vec<u8>) -> Result<Tally, ExchangeError> {
    hear(node, body).map(|(_, tally)| tally)
}

/// Takes a body as the side that is called. Gives what there is to say, and what was moved.
fn hear(node: &Node, body: Vec<u8>) -> Result<(Option<Vec<u8>>, Tally), ExchangeError> {
    let mut exchange = Exchange::answerer(me(node), signer(node), node.scope()?);
    let said = advance(node, &mut exchange, Input::Received(body));
    if let Some(peer) = exchange.peer() {
        let failure = said.as_ref().err().map(ToString::to_string);
        ended(node, peer.node, None, failure.as_deref())?;
    }
    let said = said?;
    let tally = exchange.tally().clone();
    if tally.stored.taken > 0 {
        node.background.took();
    }
    Ok((said, tally))
}

/// Work that waits for the disk or the network, on a thread that may.
pub(super) async fn waiting<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, ExchangeError> + Send + 'static,
) -> Result<T, ExchangeError> {
    spawn_blocking(work).await.map_err(|source| ExchangeError::BrokenOff { source })?
}

/// The calling side, whatever carries its bodies: `carry` sends one and gives what was answered.
/// `packs` is whether the other side is known to read changes that are packed together.
pub(crate) fn call(
    node: &Node,
    address: &str,
    packs: bool,
    mut carry: impl FnMut(Vec<u8>) -> Result<Vec<u8>, ExchangeError>,
) -> Result<ExchangeReport, ExchangeError> {
    let started = Instant::now();
    let wants = node.scope()?;
    let mut report = call_for(node, address, (wants.clone(), packs), &mut carry)?;
    let now_wanted = node.scope()?;
    if now_wanted != wants {
        // The papers that came send whoever holds this device to further sites.
        report.add(call_for(node, address, (now_wanted, packs), &mut carry)?);
    }
    report.took_ms = u64::try_from(started.elapsed().as_millis()).unwrap_or(u64::MAX);
    Ok(report)
}

/// The same, which asks for so much.
fn call_for(
    node: &Node,
    address: &str,
    (wants, packs): (Scope, bool),
    carry: impl FnMut(Vec<u8>) -> Result<Vec<u8>, ExchangeError>,
) -> Result<ExchangeReport, ExchangeError> {
    let met = node.lock().store.met_at(address).map_err(NodeError::Store)?;
    let known = met.as_ref().map(|(node, ..)| *node);
    let mut exchange = Exchange::caller(me(node), signer(node), wants).packing(packs);
    let outcome = converse(node, &mut exchange, Input::Begin { met }, carry);
    let peer = exchange.peer().map(|card| card.node).or(known);
    if let Some(peer) = peer {
        let failure = outcome.as_ref().err().map(ToString::to_string);
        ended(node, peer, Some(address), failure.as_deref())?;
    }
    outcome?;
    let tally = exchange.tally();
    Ok(ExchangeReport {
        peer_name: exchange.peer().map(|card| card.name.clone()).unwrap_or_default(),
        sent_changes: tally.sent_changes,
        received_changes: tally.stored.taken,
        sent_bytes: tally.sent_bytes,
        received_bytes: tally.received_bytes,
        rounds: tally.rounds,
        documents_touched: tally.stored.documents.iter().map(ToString::to_string).collect(),
        set_aside: tally.stored.set_aside,
        took_ms: 0,
    })
}

fn converse(
    node: &Node,
    exchange: &mut Exchange,
    mut input: Input,
    mut carry: impl FnMut(Vec<u8>) -> Result<Vec<u8>, ExchangeError>,
) -> Result<(), ExchangeError> {
    while let Some(body) = advance(node, exchange, input)? {
        input = Input::Received(carry(body)?);
    }
    Ok(())
}

/// Gives the machine an input, and does what it asks of the store until it says something or ends.
fn advance(
    node: &Node,
    machine: &mut Exchange,
    input: Input,
) -> Result<Option<Vec<u8>>, ExchangeError> {
    let mut next = Some(input);
    let mut said = None;
    while let Some(input) = next.take() {
        machine.handle(input)?;
        while let Some(output) = machine.next_output() {
            match output {
                Output::Send(body) => said = Some(body),
                Output::Done => {}
                wish => next = grant(node, wish)?.or(next),
            }
        }
    }
    Ok(said)
}

/// Does what the machine asks of the store.
fn grant(node: &Node, wish: Output) -> Result<Option<Input>, ExchangeError> {
    // What arrived lately is passed on when it is in its place, and need not be for this.
    let mut documents = node.lock_as_it_is();
    Ok(match wish {
        Output::Recall(card) => {
            Some(Input::Recalled(documents.store.memory_of(&card).map_err(NodeError::Store)?))
        }
        Output::Gather { peer, after, ask, packs } => {
            let slice = documents.gather(after, peer, SLICE_BYTES_MAX, (&ask, packs))?;
            Some(Input::Gathered(slice))
        }
        Output::Store { peer: card, slice, documents: ids, seen, asked, anew, body } => {
            let given = Given { card, slice: *slice, documents: ids, seen, asked, anew };
            Some(Input::Stored(store(node, &mut documents, given, &body)?))
        }
        Output::Forget { peer } => {
            documents.place_arrivals(node.roster().as_deref(), clock::now())?;
            documents.store.forget_peer(peer).map_err(NodeError::Store)?;
            None
        }
        Output::Acknowledge { peer, mark, holds, receipt } => {
            let me = documents.store.card();
            let text = receipt_text(&peer, me.node, me.store, mark, &holds);
            PublicKey::from_bytes(receipt.key)
                .verify_receipt(&text, &receipt.signature)
                .map_err(|source| ExchangeError::Receipt { source })?;
            let kept = documents.store.acknowledge(&peer, mark, &holds, receipt, clock::now());
            kept.map_err(NodeError::Store)?;
            None
        }
        Output::Send(_) | Output::Done => None,
    })
}

/// Much is kept as it came, little is put in its place at once: a crew at one site sees it within
/// the second. What came before goes first, since causes come before effects.
fn store(
    node: &Node,
    documents: &mut Documents,
    given: Given,
    body: &[u8],
) -> Result<Stored, NodeError> {
    let (roster, now) = (node.roster(), clock::now());
    if given.anew || documents.store.is_replaced(&given.card)? {
        // What the peer gave before counts as lost there: it must have its place before that.
        documents.place_arrivals(roster.as_deref(), now)?;
    }
    if given.slice.count() >= node.kept_from as u64 || documents.arrivals() > 0 {
        return documents.arrive(&given, body, now);
    }
    documents.take_in(given, roster.as_deref(), now)
}

fn signer(node: &Node) -> Signer {
    let node = node.clone();
    Signer::new(move |text| Receipt {
        key: node.key().to_bytes(),
        signature: node.device_key().sign_receipt(text),
    })
}

fn me(node: &Node) -> Card {
    node.lock_as_it_is().store.card().clone()
}

fn ended(
    node: &Node,
    peer: NodeId,
    address: Option<&str>,
    failure: Option<&str>,
) -> Result<(), NodeError> {
    Ok(node.lock_as_it_is().store.exchange_ended(peer, address, failure, clock::now())?)
}

pub(super) fn client() -> reqwest::Result<reqwest::Client> {
    reqwest::Client::builder()
        .no_proxy()
        .redirect(reqwest::redirect::Policy::none())
        .connect_timeout(CONNECT_WITHIN)
        .timeout(ANSWER_WITHIN)
        .build()
}

/// Posts bytes to a node on this machine and gives what it answers.
pub(super) async fn post_to(
    client: &reqwest::Client,
    address: SocketAddr,
    path: &str,
    body: Vec<u8>,
) -> Result<Vec<u8>, ExchangeError> {
    let unreachable = |source| ExchangeError::Unreachable { address, source };
    let url = format!("http://{address}{path}");
    let request = client.post(url).header(CONTENT_TYPE, BODY_TYPE).body(body);
    let mut response = request.send().await.map_err(unreachable)?;
    let mut answer = Vec::new();
    while let Some(piece) = response.chunk().await.map_err(unreachable)? {
        if answer.len() + piece.len() > PACKED_BYTES_MAX {
            return Err(ExchangeError::TooLong { address });
        }
        answer.extend_from_slice(&piece);
    }
    let status = response.status();
    if status.is_success() {
        return Ok(answer);
    }
    Err(ExchangeError::Refused { address, status: status.as_u16(), what: said_by(&answer) })
}

/// What a refusal says, shortened: it is somebody else's text.
pub(super) fn said_by(answer: &[u8]) -> String {
    #[derive(Deserialize)]
    struct Said {
        what: String,
    }
    let text = match serde_json::from_slice::<Said>(answer) {
        Ok(said) => said.what,
        Err(_) => String::from_utf8_lossy(answer).into_owned(),
    };
    text.chars().filter(|c| !c.is_control()).take(300).collect()
}
