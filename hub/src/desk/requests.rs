//! What a screen may ask: one body a command. Shapes only; unknown fields are refused.

use guyline_core::record::{Phase, Plane};
use guyline_core::report::{Language, Paper};
use guyline_core::units::Unit;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use crate::identity::Role;
use crate::render::FileForm;
use crate::takeout::{DataForm, TakenOut};

/// A command that asks nothing further.
#[derive(Clone, Copy, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct Nothing {}

/// A session.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct AskSession {
    /// The session's id.
    pub session: String,
}

/// A session as it was at a moment.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct AskMoment {
    /// The session's id.
    pub session: String,
    /// The change after which it is asked for, by its hash.
    pub change: String,
}

/// A shop to start on this device.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct StartShop {
    /// The shop's name.
    pub name: String,
    /// The name of who starts it and holds the device.
    pub person: String,
    /// What people call the device.
    pub device: String,
}

/// Another name for this device.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct NameDevice {
    /// What people call it.
    pub name: String,
}

/// Whether to share with the shop's devices on this network.
#[derive(Clone, Copy, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct Share {
    /// On or off.
    pub on: bool,
    /// The port; without one, 4771. Port 0 takes any that is free.
    pub port: Option<u16>,
    /// Whether to share again after each start; without a word it stays as it was.
    pub again: Option<bool>,
}

/// Whether merging by itself pauses.
#[derive(Clone, Copy, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct PauseBackground {
    /// Paused or not.
    pub paused: bool,
}

/// A device at the door to let in.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct Admit {
    /// The code both screens show.
    pub code: String,
    /// What the device is for.
    pub role: Role,
}

/// A device to take off the roster.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct Revoke {
    /// Its key in full.
    pub key: String,
    /// Why.
    pub reason: String,
}

/// An invitation to come in with.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct UseInvitation {
    /// The line the other device shows.
    pub invitation: String,
}

/// A browser to let in.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct GrantBrowser {
    /// What it is called, by where it stands.
    pub name: String,
    /// Whom it is granted to, by id in the shop; without one, who holds this device.
    pub person: Option<String>,
    /// What it is for.
    pub role: Role,
    /// For so many days; without a word, 30.
    pub days: Option<u32>,
}

/// A browser to let in no more.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct RevokeBrowser {
    /// The grant's id.
    pub id: String,
}

/// What is held of a device, to be taken.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct TakeHeld {
    /// The device's key in full.
    pub key: String,
}

/// A bundle to take.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct TakeBundle {
    /// The file's bytes (RFC 4648, section 4).
    pub base64: String,
}

/// A site to start.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct StartSite {
    /// The site's name.
    pub name: String,
    /// How to get there and in.
    pub access: String,
}

/// A visit to plan.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct PlanVisit {
    /// The site's document.
    pub site: String,
    /// The repeater's id at the site.
    pub repeater: String,
    /// The shop's order for it.
    pub work_order: String,
}

/// Who holds the device.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct HoldDevice {
    /// The person's id.
    pub person: String,
}

/// A chain to look at or to connect.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct ConnectChain {
    /// The session's id.
    pub session: String,
    /// What the crew calls it.
    pub name: String,
    /// Where it ends on the repeater.
    pub plane: Plane,
    /// The instrument's id.
    pub instrument: String,
    /// The port's id.
    pub port: String,
    /// Parts from the instrument to the plane, by id.
    pub between: Vec<String>,
    /// What a coupler's through line goes on to, by id.
    pub line: Vec<String>,
}

/// A reading to judge or to record.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct EnterReading {
    /// The session's id.
    pub session: String,
    /// The check's id.
    pub check: String,
    /// The chain's id.
    pub chain: String,
    /// The number as typed.
    pub typed: String,
    /// The unit.
    pub unit: Unit,
    /// Before or after adjustment.
    pub phase: Phase,
    /// The reading this corrects, by id.
    pub replaces: Option<String>,
    /// The live reading it is, where the instrument gave the number itself.
    #[serde(default)]
    #[ts(optional)]
    pub live: Option<String>,
}

/// A reading to take back.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct WithdrawReading {
    /// The session's id.
    pub session: String,
    /// The reading's id.
    pub reading: String,
    /// Why.
    pub reason: String,
}

/// Cautions somebody has read.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct Acknowledge {
    /// The session's id.
    pub session: String,
    /// The cautions' ids.
    pub cautions: Vec<String>,
}

/// Why a session that is signed off must be changed.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct GiveReason {
    /// The session's id.
    pub session: String,
    /// Why.
    pub reason: String,
}

/// A visit's report as a file.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct AskReport {
    /// The session's id.
    pub session: String,
    /// The kind of file.
    pub form: FileForm,
    /// The language of its fixed words.
    pub language: Language,
    /// The size of its sheets.
    pub paper: Paper,
}

/// A site's report as a file.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct AskSiteReport {
    /// The site's id, or its name.
    pub site: String,
    /// The kind of file.
    pub form: FileForm,
    /// The language of its fixed words.
    pub language: Language,
    /// The size of its sheets.
    pub paper: Paper,
}

/// A day of the shop; without one, today by this device's clock.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct AskDay {
    /// As in `2026-05-14`.
    pub day: Option<String>,
}

/// A day of the shop as a file.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct AskDayFile {
    /// As in `2026-05-14`; without one, today by this device's clock.
    pub day: Option<String>,
    /// The kind of file.
    pub form: FileForm,
    /// The language of its fixed words.
    pub language: Language,
    /// The size of its sheets.
    pub paper: Paper,
}

/// Data to take out for other programs.
#[derive(Clone, Copy, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct AskTakeOut {
    /// What.
    pub of: TakenOut,
    /// In which form.
    pub form: DataForm,
    /// Whether it tells where sites stand.
    pub positions: bool,
}

/// Words for a session.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct Write {
    /// The session's id.
    pub session: String,
    /// The words.
    pub text: String,
}

/// A node to merge with.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct ExchangeWith {
    /// As in `127.0.0.1:4770`.
    pub address: String,
}
