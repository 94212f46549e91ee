//! What a screen shows of merging by itself.

use guyline_core::time::Timestamp;
use serde::Serialize;
use ts_rs::TS;

use crate::sync::ExchangeReport;

/// How merging by itself stands.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, TS)]
pub struct BackgroundPage {
    /// Whether this program does it at all.
    pub running: bool,
    /// Whether people paused it.
    pub paused: bool,
    /// Whether this device shares again after a start.
    pub share_again: bool,
    /// Why nobody is listened for, where that is so although this device shares.
    pub discovery: Option<String>,
    /// Where it merges.
    pub nearby: Vec<NearbyLine>,
    /// What is under way.
    pub under_way: Vec<UnderWay>,
    /// The last merge that moved something.
    pub last: Option<LastMerge>,
}

/// An address where it merges.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct NearbyLine {
    /// Which device is said to be there; none where any of the shop's may answer.
    pub name: Option<String>,
    /// The address.
    pub address: String,
    /// Whether it announces itself now.
    pub announced: bool,
    /// Why the last try failed, where it did.
    pub trouble: Option<String>,
}

/// A merge that is under way.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct UnderWay {
    /// With whom.
    pub with: String,
    /// Bytes sent so far.
    #[ts(type = "number")]
    pub sent_bytes: u64,
    /// Bytes received so far.
    #[ts(type = "number")]
    pub received_bytes: u64,
}

/// A merge that moved something.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct LastMerge {
    /// When, by this device's clock.
    pub at: String,
    /// What was moved.
    pub report: ExchangeReport,
}

impl BackgroundPage {
    pub(super) fn under_way(&mut self, with: &str, sent_bytes: u64, received_bytes: u64) {
        let line = UnderWay { with: with.to_owned(), sent_bytes, received_bytes };
        match self.under_way.iter_mut().find(|one| one.with == with) {
            Some(known) => *known = line,
            None => self.under_way.push(line),
        }
    }

    pub(super) fn under_way_ended(&mut self, with: &str) {
        self.under_way.retain(|one| one.with != with);
    }

    pub(super) fn merged(&mut self, report: ExchangeReport, at: Timestamp) {
        if report.sent_changes + report.received_changes > 0 {
            self.last = Some(LastMerge { at: at.to_string(), report });
        }
    }
}
