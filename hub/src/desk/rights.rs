//! Who may give which command: a right for each, and who has it.
//!
//! In: what is asked for, and whether it comes from the device itself or from a browser. Out: yes,
//! or a [`Refusal`] that is the same whatever the command names, so that nobody learns from it what
//! is here. The table of commands gives each its right; none can be without.

use serde::Serialize;
use ts_rs::TS;

use super::refusal::{Code, Refusal};
use crate::Node;
use crate::identity::Role;

/// What a command takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, TS)]
#[serde(rename_all = "kebab-case")]
pub enum Right {
    /// Looks and works out; changes nothing.
    Read,
    /// Records at a site: visits, readings, notes, sign-offs.
    Record,
    /// Changes the shop's papers, its plan, its sites.
    Papers,
    /// Asks or sets an instrument that is connected to this device.
    Instrument,
    /// This device's own matters: its holder, the roster, merging, browsers.
    Device,
}

impl Right {
    /// Every right.
    pub const ALL: [Self; 5] =
        [Self::Read, Self::Record, Self::Papers, Self::Instrument, Self::Device];

    /// Whether a role has it, at the device itself or from a browser.
    ///
    /// At a device a crew fills in what the papers lack where it stands; from a browser it does
    /// not, and nobody decides from afar what a device is and whom it trusts.
    fn is_of(self, role: Option<Role>, from_browser: bool) -> bool {
        match (self, role) {
            (Self::Read, _) => true,
            (Self::Device, _) => !from_browser,
            (_, Some(Role::ReadOnly)) => false,
            (Self::Instrument, _) => !from_browser,
            (Self::Papers, Some(Role::Crew)) => !from_browser,
            (Self::Record | Self::Papers, _) => true,
        }
    }
}

/// What whoever asks may do.
pub(super) fn held(node: &Node) -> Vec<Right> {
    let from_browser = node.visitor().is_some();
    Right::ALL.into_iter().filter(|right| right.is_of(node.role(), from_browser)).collect()
}

/// Refuses what whoever asks may not do.
pub(super) fn demand(node: &Node, right: Right) -> Result<(), Refusal> {
    if right.is_of(node.role(), node.visitor().is_some()) {
        return Ok(());
    }
    Err(lacks(node))
}

/// What is said to who may not.
pub(crate) fn lacks(node: &Node) -> Refusal {
    let help = match (node.visitor(), node.role()) {
        (None, _) => "do it on another device, or ask the office to let this one in for more",
        (_, Some(Role::ReadOnly)) => "ask at the hub for a browser that may do more",
        _ => "do it at the hub or on a device of the shop",
    };
    let what = match node.role() {
        Some(Role::ReadOnly) => "this is let in to read only",
        _ => "a browser let in for this may not do that",
    };
    Refusal::new(Code::Forbidden, what, help)
}
