//! What the screens are given: pages put together from the record and the core's judgement.
//!
//! Shapes only. They carry what a screen shows, so that a screen computes nothing.

use std::collections::BTreeMap;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use guyline_core::checks::{Appraisal, Difference, FleetClass, Verdict};
use guyline_core::record::session::Remark;
use guyline_core::record::shop::{Instrument, Part};
use guyline_core::record::{Amendment, Repeater, Stamp, Step, Touched};
use guyline_core::report::ShopDay;
use guyline_core::uncertainty::Outcome;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::attachments::AttachmentLine;
use super::keeping::KeepingPage;
use super::reached::{HeldLine, Reached};
use super::refusal::Refusal;
use super::rights::Right;
use crate::identity::{BrowserGrant, Member};
use crate::render::qr::QrCode;

/// What to do today, and what waits to be merged.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct Today {
    /// The shop's name; none before its papers are here.
    pub shop: Option<String>,
    /// Where this node stands.
    pub standing: Standing,
    /// The people who are with the shop today: id to name.
    pub people: BTreeMap<String, String>,
    /// The visits, newest id first.
    pub sessions: Vec<SessionLine>,
    /// The nodes met so far, the last one first.
    pub peers: Vec<PeerLine>,
    /// The repeaters a visit can be planned to, by site and name.
    pub destinations: Vec<Destination>,
    /// Of how many sites the visits are kept here; none where all are.
    pub sites_kept: Option<usize>,
}

/// A document that was made.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct Started {
    /// Its id.
    pub document: String,
}

/// A repeater a visit can be planned to.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct Destination {
    /// The site's document.
    pub site: String,
    /// The site's name.
    pub site_name: String,
    /// The repeater's id there.
    pub repeater: String,
    /// Its name.
    pub repeater_name: String,
}

/// What happened in a session, step by step.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct SessionHistory {
    /// The session's id.
    pub id: String,
    /// The site's name.
    pub site: String,
    /// The repeater's name.
    pub repeater: String,
    /// The shop's people: id to name.
    pub people: BTreeMap<String, String>,
    /// The steps: causes before effects, the same on every device.
    pub steps: Vec<HistoryStep>,
}

/// One step, in words.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct HistoryStep {
    /// The step.
    pub step: Step,
    /// What it was, as in "receiver opens at: −121 dBm, as found".
    pub words: String,
    /// The device whose seal proves it, as the roster calls it or by its key; none for what is
    /// from before there were seals.
    pub sealed_by: Option<String>,
}

/// Who holds this device and what of its work is elsewhere too. Shown on every screen.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct Standing {
    /// The device's name.
    pub device: String,
    /// Who holds it, by id; in a browser, whom that was granted to.
    pub person: Option<String>,
    /// The same by name.
    pub person_name: Option<String>,
    /// What the browser is called that this is shown in; none at the device itself.
    pub browser: Option<String>,
    /// What whoever looks may do.
    pub may: Vec<Right>,
    /// How many changes this store holds. Grows with every change: screens poll it.
    #[ts(type = "number")]
    pub position: u64,
    /// How many changes made here no other node is known to hold.
    #[ts(type = "number")]
    pub only_here: u64,
    /// How many changes from elsewhere were set aside as malformed.
    #[ts(type = "number")]
    pub set_aside: u64,
}

/// A visit in a line.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct SessionLine {
    /// The session's id.
    pub id: String,
    /// The site's name.
    pub site: String,
    /// The repeater's name.
    pub repeater: String,
    /// The shop's order.
    pub work_order: String,
    /// When it was opened.
    pub opened_at: String,
    /// Who is on site, by name.
    pub crew: Vec<String>,
    /// Checks with a standing reading.
    pub checks_read: usize,
    /// Checks in the plan.
    pub checks: usize,
    /// The worst outcome so far.
    pub worst: Option<Outcome>,
    /// How many findings are faults or doubts.
    pub findings: usize,
    /// Whether somebody signed it off.
    pub signed_off: bool,
    /// How far it has got.
    pub reached: Reached,
    /// Why it cannot be shown, where it cannot.
    pub unreadable: Option<String>,
}

/// A node met before.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct PeerLine {
    /// Its name.
    pub name: String,
    /// Where it was last reached from here; none when it came to us.
    pub address: Option<String>,
    /// When, by this device's clock.
    pub last_at: String,
    /// Why the last exchange failed; none when it did not.
    pub last_failure: Option<String>,
    /// How many of this node's changes it is not known to hold; of one that keeps visits to some
    /// sites only, of those and the papers.
    #[ts(type = "number")]
    pub not_there: u64,
    /// Of how many sites it keeps the visits; none where of all.
    pub sites_kept: Option<usize>,
}

/// Everything the Session screen shows.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct SessionPage {
    /// The session's id.
    pub id: String,
    /// Where this node stands.
    pub standing: Standing,
    /// The shop's name.
    pub shop: String,
    /// The site's name.
    pub site: String,
    /// How to get in.
    pub access: String,
    /// What can hurt people there.
    pub hazards: Vec<String>,
    /// The repeater.
    pub repeater: Repeater,
    /// The shop's order.
    pub work_order: String,
    /// The shop's people: id to name.
    pub people: BTreeMap<String, String>,
    /// Who is on site: id to arrival.
    pub crew: BTreeMap<String, Stamp>,
    /// The shop's instruments, for connecting.
    pub instruments: BTreeMap<String, Instrument>,
    /// The shop's parts, for connecting.
    pub parts: BTreeMap<String, Part>,
    /// Verdicts, diagrams, stops, cautions, findings.
    pub appraisal: Appraisal,
    /// Notes by id.
    pub notes: BTreeMap<String, Remark>,
    /// Adjustments by id.
    pub adjustments: BTreeMap<String, Remark>,
    /// The visit in a sentence; two when two people wrote it apart.
    pub summary: Vec<Remark>,
    /// What was ever attached, oldest first.
    pub attachments: Vec<AttachmentLine>,
    /// Who left, by id of the leaving.
    pub departures: BTreeMap<String, Stamp>,
    /// What was put back as it belongs, by id.
    pub restorations: BTreeMap<String, Remark>,
    /// Who signed it off.
    pub signed_off: Vec<SignedOff>,
    /// Why it was changed after that, by id.
    pub amendments: BTreeMap<String, Amendment>,
    /// Whether who holds this device must say why before changing anything.
    pub awaits_reason: bool,
    /// What an undo would take back; none when nothing entered here is left to.
    pub undoable: Option<Undoable>,
}

/// A sign-off in a line.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct SignedOff {
    /// Its id.
    pub id: String,
    /// Who, and when.
    pub stamp: Stamp,
}

/// What an undo would take back.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct Undoable {
    /// The entry.
    pub entry: Touched,
    /// What it was, in words.
    pub words: String,
}

/// Every sign-off of a session, checked.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct SessionVerification {
    /// The session's id.
    pub id: String,
    /// The site's name.
    pub site: String,
    /// The repeater's name.
    pub repeater: String,
    /// The shop's people: id to name.
    pub people: BTreeMap<String, String>,
    /// The sign-offs, in the order of their ids.
    pub sign_offs: Vec<SignOffVerified>,
    /// Up to which position of this node's log they were checked, or further.
    #[ts(type = "number")]
    pub position: u64,
}

/// What can be said of one sign-off.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct SignOffVerified {
    /// Its id.
    pub id: String,
    /// Who, on which device, when by its clock.
    pub stamp: Stamp,
    /// The key that signed, for people to compare. Whose it is, is not shown by this.
    pub key: String,
    /// Whether that is this device's key.
    pub this_device: bool,
    /// Which device of the shop that is, by the roster; none where it is not on it.
    pub member: Option<String>,
    /// Why it proves nothing, where it does not.
    pub refused: Option<String>,
    /// The version of the core that judged then.
    pub core: Option<String>,
    /// What is missing here to check it further, where something is.
    pub missing: Option<String>,
    /// The papers that changed since.
    pub papers: Vec<PaperSince>,
    /// What was written by people who had seen it.
    pub after: Vec<HistoryStep>,
    /// The reasons they gave.
    pub amendments: Vec<Amendment>,
    /// What was written by people who had not.
    pub apart: Vec<HistoryStep>,
    /// What this program says otherwise of the record as it was signed. Empty: it says the same.
    pub rejudged: Vec<Difference>,
    /// What is said otherwise of the record as it stands now.
    pub now: Vec<Difference>,
    /// Whether the signature is true and nothing of the above says otherwise.
    pub intact: bool,
}

/// A file to keep.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct ReportFile {
    /// The name it should get.
    pub name: String,
    /// What it is (RFC 6838).
    pub media_type: String,
    /// Its bytes (RFC 4648, section 4).
    pub base64: String,
}

/// A file of data for other programs.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct DataFile {
    /// The file.
    pub file: ReportFile,
    /// How many entries it has.
    pub entries: usize,
    /// Visits that could not be read and are not in it.
    pub unread: Vec<UnreadVisit>,
}

/// The shop's day on the screen.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct ShopBoard {
    /// Where this node stands.
    pub standing: Standing,
    /// The day.
    pub day: ShopDay,
    /// Visits that cannot be read here.
    pub unread: Vec<UnreadVisit>,
}

/// What every check does over the years, over all repeaters.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct FleetPage {
    /// A class a check and band, its repeaters the worst first.
    pub classes: Vec<FleetClass>,
    /// Visits that cannot be read here.
    pub unread: Vec<UnreadVisit>,
}

/// A visit that cannot be read here.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct UnreadVisit {
    /// The session's id.
    pub session: String,
    /// Why.
    pub why: String,
}

/// This device and those it met.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct DevicesPage {
    /// Where this node stands.
    pub standing: Standing,
    /// The key others know it by, for people to compare.
    pub key: String,
    /// The nodes met so far, the last one first.
    pub peers: Vec<PeerLine>,
    /// The changes that wait for somebody to look at them.
    pub held: Vec<HeldLine>,
    /// What this device keeps.
    pub keeping: KeepingPage,
}

/// The shop's devices, and this one's place among them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct MembersPage {
    /// Whether this device is on the roster.
    pub member: bool,
    /// Whether this device can let others in.
    pub lets_in: bool,
    /// Why the roster here cannot be read, where it cannot: then nobody is admitted.
    pub fault: Option<String>,
    /// Every device that was ever let in.
    pub members: Vec<Member>,
    /// This device's key in full.
    pub own_key: String,
    /// Where others reach this device; empty while it does not share.
    pub shared_at: Vec<String>,
    /// The invitation that was just made.
    pub invitation: Option<String>,
    /// The same for a camera.
    pub invitation_qr: Option<QrCode>,
    /// The same as a link, which opens the app of a device that has one.
    pub invitation_link: Option<String>,
    /// What the device at the door calls itself.
    pub guest: Option<String>,
    /// The code it must show too.
    pub guest_code: Option<String>,
}

/// The browsers that are let in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
pub struct BrowsersPage {
    /// Where they reach this device, as in `https://hub.example:4772`; empty while they do not.
    pub addresses: Vec<String>,
    /// SHA-256 of its certificate, as a browser shows it.
    pub fingerprint: Option<String>,
    /// Every grant that is kept, the newest first.
    pub grants: Vec<BrowserGrant>,
    /// The code that was just made. It works once, within ten minutes.
    pub code: Option<String>,
    /// The same as a link, where browsers reach this device.
    pub link: Option<String>,
    /// That link for a camera.
    pub link_qr: Option<QrCode>,
}

/// What both sides show when a device comes in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct ShortCode {
    /// Six digits.
    pub code: String,
}

/// What of a bundle was taken.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct BundleReport {
    /// The device that wrote it, by its own word.
    pub device: String,
    /// The key that sealed it, for people to compare.
    pub key: String,
    /// Changes that were new here.
    #[ts(type = "number")]
    pub taken: u64,
    /// Changes that were set aside as malformed.
    #[ts(type = "number")]
    pub set_aside: u64,
    /// Papers that changed.
    pub documents: usize,
    /// Contents of attachments that were named and lacking here.
    #[ts(type = "number")]
    pub contents: u64,
}

impl ReportFile {
    /// A file of this name, these bytes and what they are.
    pub(super) fn of(name: String, media_type: &str, bytes: &[u8]) -> Self {
        Self { name, media_type: media_type.to_owned(), base64: STANDARD.encode(bytes) }
    }
}

/// What can be said of a file that was made from a visit or a site.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct FileVerification {
    /// Why its seal proves nothing, where it does not.
    pub refused: Option<String>,
    /// The key that sealed it, for people to compare. Whose it is, is not shown by this.
    pub key: Option<String>,
    /// Whether that is this device's key.
    pub this_device: bool,
    /// Which device of the shop that is, by the roster; none where it is not on it.
    pub member: Option<String>,
    /// The device that made it, by its own word.
    pub device: Option<String>,
    /// The version of the program that made it.
    pub program: Option<String>,
    /// What is missing here to check it further, where something is.
    pub missing: Option<String>,
    /// Whether the record it names, as it was then, gives this very file with this program. Another
    /// version may lay it out otherwise.
    pub same_file: Option<bool>,
    /// How many changes the visit got since, or the site and its visits.
    pub changes: usize,
    /// What is said otherwise now.
    pub now: Vec<Difference>,
    /// Whether all of this holds and nothing was changed since.
    pub intact: bool,
}

/// A paper that changed since it was signed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct PaperSince {
    /// Shop or site.
    pub paper: String,
    /// By how many changes.
    pub changes: usize,
}

/// What would be said of an entry that is not recorded yet.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct JudgedEntry {
    /// The verdict it would get.
    pub verdict: Verdict,
    /// Why it could not be recorded, where it could not.
    pub refusal: Option<Refusal>,
}

/// A position to wait on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
pub struct Position {
    /// Grows with every change this store holds.
    #[ts(type = "number")]
    pub position: u64,
}
