//! Merging with other devices of the shop, and becoming one of them.
//!
//! In: a node and an address. Out: what was moved, or a place on the roster. The roster goes first,
//! both ways: who was revoked is known before anything else is said.

use std::collections::BTreeSet;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};

use tokio::runtime::Handle;

use super::http_driver::{BODY_TYPE, ExchangeError, ExchangeReport, call, waiting};
use super::tls_driver::{TlsFault, TlsPeer};
use crate::Node;
use crate::desk::Refusal;
use crate::http::{Heard, Knock};
use crate::identity::{Invitation, PublicKey, RosterEntry, short_code};

/// So often a device at the door asks whether it was opened.
const ASK_EVERY: Duration = Duration::from_secs(1);
/// So often the two tell each other of the roster at most: theirs, ours, and what either then says.
const ROSTER_ROUNDS: usize = 4;
/// So long it waits there.
const WAIT_AT_DOOR: Duration = Duration::from_secs(300);

/// Why a device was not let in.
#[derive(Debug, thiserror::Error)]
pub enum NotLetIn {
    /// None of the invitation's addresses is one.
    #[error("the invitation has no address of a device")]
    NoAddress,
    /// This device belongs to a shop.
    #[error("this device is on a shop's roster already")]
    Member,
    /// The other device could not be spoken with.
    #[error(transparent)]
    Tls(#[from] TlsFault),
    /// Nobody opened.
    #[error("nobody opened on the other device")]
    NobodyOpened,
    /// What was given is no roster of that shop, or it could not be kept.
    #[error("the invited shop's roster was not taken: {0}")]
    Roster(Box<Refusal>),
    /// This device's own part failed.
    #[error(transparent)]
    Node(#[from] crate::documents::NodeError),
}

impl NotLetIn {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::NoAddress => "copy the whole invitation",
            Self::Member => "merge with the shop's devices; another shop goes in another folder",
            Self::Tls(fault) => fault.help(),
            Self::NobodyOpened => "compare the short codes on both screens, then ask again",
            Self::Roster(_) => "look at what is said, then ask for a new invitation",
            Self::Node(_) => "check this device's disk, then try again",
        }
    }
}

/// Makes this node and a member at an address level; only the one with a key, where one is given.
/// `told` hears the bytes sent and received so far.
pub(crate) async fn exchange_with(
    node: &Node,
    address: SocketAddr,
    only: Option<PublicKey>,
    told: impl Fn(u64, u64) + Send + 'static,
) -> Result<ExchangeReport, ExchangeError> {
    let watching = node.clone();
    let expected = move |key| only.is_none_or(|only| only == key);
    let admits = Arc::new(move |key| expected(key) && watching.admits(key));
    let mut peer = TlsPeer::connect(node, address, admits).await?;
    level_rosters(node, &mut peer).await?;
    let packs = peer.packs();
    let (node, runtime) = (node.clone(), Handle::current());
    let (mut sent, mut received) = (0, 0);
    let carry = move |body: Vec<u8>| {
        sent += body.len() as u64;
        told(sent, received);
        let answer = runtime.block_on(peer.post("/exchange", BODY_TYPE, body))?;
        received += answer.len() as u64;
        told(sent, received);
        Ok(answer)
    };
    waiting(move || call(&node, &address.to_string(), packs, carry)).await
}

/// Both sides come to know the same roster, which is told only where they do not.
pub(super) async fn level_rosters(node: &Node, peer: &mut TlsPeer) -> Result<(), TlsFault> {
    let mut news: Vec<RosterEntry> = Vec::new();
    // Who hears of a device that was taken off says what it had of it, before it gives it.
    for _ in 0..ROSTER_ROUNDS {
        let path = format!("/roster?as={}", node.roster_digest());
        let theirs: Vec<RosterEntry> = peer.ask(&path, &news).await?;
        if theirs.is_empty() {
            break;
        }
        let address = peer.address();
        node.take_roster(&theirs)
            .map_err(|refusal| TlsFault::Broken { address, reason: refusal.what })?;
        news = node.roster_entries();
        let theirs: BTreeSet<RosterEntry> = theirs.into_iter().collect();
        news.retain(|entry| !theirs.contains(entry));
        if news.is_empty() {
            break;
        }
    }
    Ok(())
}

/// What both sides show when this device comes with an invitation.
pub(crate) fn code_with(node: &Node, invitation: &Invitation) -> String {
    short_code(invitation.host, node.key(), &invitation.code)
}

/// Knocks with an invitation, and waits until somebody opens.
pub(crate) async fn join(node: &Node, invitation: &Invitation) -> Result<(), NotLetIn> {
    if node.is_member() {
        return Err(NotLetIn::Member);
    }
    let name = node.name()?;
    let host = invitation.host;
    let mut last = NotLetIn::NoAddress;
    for address in invitation.addresses.iter().filter_map(|text| text.parse().ok()) {
        let admits = Arc::new(move |key| key == host);
        match TlsPeer::connect(node, address, admits).await {
            Ok(peer) => return wait_at_door(node, invitation, peer, name).await,
            Err(fault) => last = fault.into(),
        }
    }
    Err(last)
}

async fn wait_at_door(
    node: &Node,
    invitation: &Invitation,
    mut peer: TlsPeer,
    name: String,
) -> Result<(), NotLetIn> {
    let knock = Knock { code: invitation.code.clone(), name };
    let until = Instant::now() + WAIT_AT_DOOR;
    while Instant::now() < until {
        let heard: Heard = peer.ask("/join", &knock).await?;
        if let Some(roster) = heard.roster {
            let entered = node.enter_shop(invitation.root, &roster);
            return entered.map_err(|refusal| NotLetIn::Roster(Box::new(refusal)));
        }
        tokio::time::sleep(ASK_EVERY).await;
    }
    Err(NotLetIn::NobodyOpened)
}
