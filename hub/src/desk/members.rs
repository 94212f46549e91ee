//! The commands of the shop's devices: who belongs, sharing, letting in, coming in, taking off.

use std::net::{IpAddr, Ipv4Addr, SocketAddr};

use super::pages::{MembersPage, ShortCode};
use super::refusal::{Code, Refusal};
use super::requests::{Admit, Nothing, PauseBackground, Revoke, Share, UseInvitation};
use crate::Node;
use crate::background::{BackgroundPage, own_address};
use crate::identity::{Invitation, NotAnInvitation, PublicKey};
use crate::render::qr::QrCode;
use crate::sync::{NotLetIn, members};

/// Where devices share unless another port is asked for.
const PORT: u16 = 4771;

/// What the screen shows.
pub(super) async fn show(node: &Node, _: Nothing) -> Result<MembersPage, Refusal> {
    let shared_at = node.shared_at().await;
    let guest = node.at_door();
    Ok(MembersPage {
        member: node.is_member(),
        lets_in: node.lets_in(),
        fault: node.roster_fault(),
        members: node.members(),
        own_key: node.key().to_string(),
        shared_at: shared_at.map(reached_at).unwrap_or_default(),
        invitation: None,
        invitation_qr: None,
        invitation_link: None,
        guest: guest.as_ref().map(|(name, _)| name.clone()),
        guest_code: guest.map(|(_, short)| short),
    })
}

pub(super) async fn found(node: &Node, asked: Nothing) -> Result<MembersPage, Refusal> {
    node.found_shop()?;
    show(node, asked).await
}

pub(super) async fn share(node: &Node, asked: Share) -> Result<MembersPage, Refusal> {
    if asked.on {
        let port = asked.port.unwrap_or(PORT);
        let at = node.share(SocketAddr::from((Ipv4Addr::UNSPECIFIED, port))).await?;
        if let Some(again) = asked.again {
            node.share_again(again.then_some(at))?;
        }
    } else {
        node.share_again(None)?;
        node.close_door();
        node.share_no_more().await;
    }
    show(node, Nothing {}).await
}

/// How merging by itself stands.
pub(super) fn background(node: &Node, _: Nothing) -> Result<BackgroundPage, Refusal> {
    Ok(node.background())
}

pub(super) fn pause(node: &Node, asked: PauseBackground) -> Result<BackgroundPage, Refusal> {
    node.pause_background(asked.paused)?;
    Ok(node.background())
}

pub(super) async fn invite(node: &Node, _: Nothing) -> Result<MembersPage, Refusal> {
    let shared_at = node.shared_at().await.ok_or_else(|| {
        let help = "share on this network first";
        Refusal::new(Code::EditRefused, "nobody can reach this device", help)
    })?;
    let invitation = node.invite(reached_at(shared_at))?;
    let page = show(node, Nothing {}).await?;
    let line = invitation.to_string();
    Ok(MembersPage {
        invitation_qr: QrCode::of(&line),
        invitation_link: Some(invitation.link()),
        invitation: Some(line),
        ..page
    })
}

pub(super) async fn admit(node: &Node, asked: Admit) -> Result<MembersPage, Refusal> {
    node.admit(&asked.code, asked.role)?;
    show(node, Nothing {}).await
}

/// A device's key as a list shows it.
pub(super) fn device_key(text: &str) -> Result<PublicKey, Refusal> {
    text.parse().map_err(|_| {
        let help = "choose a device of the list";
        Refusal::new(Code::NotHere, "that is no device's key", help).at("key")
    })
}

pub(super) async fn revoke(node: &Node, asked: Revoke) -> Result<MembersPage, Refusal> {
    let key = device_key(&asked.key)?;
    let reason = asked.reason.trim();
    if reason.is_empty() || reason.chars().count() > 200 {
        let help = "say in a few words why: lost, stolen, sold";
        return Err(Refusal::new(Code::EditRefused, "a reason is wanted", help).at("reason"));
    }
    node.revoke(key, reason)?;
    show(node, Nothing {}).await
}

pub(super) async fn short(node: &Node, asked: UseInvitation) -> Result<ShortCode, Refusal> {
    let invitation: Invitation = asked.invitation.parse()?;
    Ok(ShortCode { code: members::code_with(node, &invitation) })
}

pub(super) async fn join(node: &Node, asked: UseInvitation) -> Result<MembersPage, Refusal> {
    let invitation: Invitation = asked.invitation.parse()?;
    members::join(node, &invitation).await?;
    show(node, Nothing {}).await
}

/// How others reach an address this device listens at.
fn reached_at(bound: SocketAddr) -> Vec<String> {
    if !bound.ip().is_unspecified() {
        return vec![bound.to_string()];
    }
    let own = own_address().unwrap_or(IpAddr::V4(Ipv4Addr::LOCALHOST));
    vec![SocketAddr::new(own, bound.port()).to_string()]
}

impl From<NotAnInvitation> for Refusal {
    fn from(error: NotAnInvitation) -> Self {
        let help = "copy the whole line or link the other device shows";
        Self::new(Code::NotHere, error.to_string(), help).at("invitation")
    }
}

impl From<NotLetIn> for Refusal {
    fn from(error: NotLetIn) -> Self {
        Self::new(Code::ExchangeFailed, error.to_string(), error.help())
    }
}
