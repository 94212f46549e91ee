//! When to call whom. No socket, no clock, no chance: what was heard and the time go in, calls come
//! out.
//!
//! A target is an address. One that a person gave, or where a merge went well, may be answered by
//! any device of the shop; one that was only heard of may be answered by the one key it was said to
//! be, and by nobody else. The list is bounded, one call a device is under way at a time, and who
//! does not answer is asked less and less often.

use std::net::SocketAddr;
use std::time::{Duration, Instant};

use crate::identity::PublicKey;

/// The most addresses that are kept.
pub(super) const TARGETS_MAX: usize = 64;
/// The most of one device that were only heard of: whoever copies its tag fills no more.
const ADDRESSES_MAX: usize = 4;
/// The most calls at once.
const CALLS_MAX: usize = 4;
/// An address that was only heard of is forgotten after so many failures in a row.
const FAILURES_MAX: u32 = 8;
/// So soon after an edit the others are called: an undo or a correction still goes along.
pub(super) const AFTER_EDIT: Duration = Duration::from_millis(150);
/// What came from somebody is passed on later than that; most have it by then.
const AFTER_TAKING: Duration = Duration::from_secs(3);
/// Without news, each is asked so often.
const REGULAR: Duration = Duration::from_secs(20);
/// The first wait after a failure; it doubles up to the last.
const FIRST_WAIT: Duration = Duration::from_secs(2);
const LAST_WAIT: Duration = Duration::from_secs(300);

/// A call to make.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Call {
    pub(super) address: SocketAddr,
    /// The one key that may answer; none where any device of the shop may.
    pub(super) only: Option<PublicKey>,
}

/// An address and how it went there.
#[derive(Clone, Debug)]
pub(super) struct Target {
    pub(super) address: SocketAddr,
    pub(super) key: Option<PublicKey>,
    /// The announcement it stands in, while it does.
    pub(super) heard: Option<String>,
    /// Why the last call failed, where it did.
    pub(super) trouble: Option<String>,
    went_well: bool,
    failures: u32,
    due: Instant,
    busy: bool,
    /// Something happened while it was being called.
    again: bool,
}

/// Whom to call, and when.
#[derive(Debug, Default)]
pub(super) struct Rounds {
    targets: Vec<Target>,
}

impl Rounds {
    /// Every address, for people to see.
    pub(super) fn targets(&self) -> &[Target] {
        &self.targets
    }

    /// Why the last call there failed, where it did.
    pub(super) fn trouble_of(&self, address: SocketAddr) -> Option<&str> {
        let target = self.targets.iter().find(|target| target.address == address)?;
        target.trouble.as_deref()
    }

    /// Addresses where a merge once went well, or which a person gave.
    pub(super) fn known(&mut self, addresses: impl Iterator<Item = SocketAddr>, now: Instant) {
        for address in addresses {
            match self.targets.iter_mut().find(|target| target.address == address) {
                Some(target) => target.key = None,
                None => self.add(Target::at(address, None, None, now)),
            }
        }
    }

    /// Somebody announces that this device is at these addresses.
    pub(super) fn heard(
        &mut self,
        name: &str,
        key: PublicKey,
        addresses: impl Iterator<Item = SocketAddr>,
        now: Instant,
    ) {
        for address in addresses {
            let room = self.of(key).count() < ADDRESSES_MAX;
            match self.targets.iter_mut().find(|target| target.address == address) {
                // An announcement takes nothing from an address that is known to be good.
                Some(target) if target.key.is_none() || target.key == Some(key) => {
                    target.heard = Some(name.to_owned());
                    // Whoever announces itself is there again.
                    if target.failures > 0 && !target.busy {
                        target.failures = 0;
                        target.due = now;
                    }
                }
                Some(_) => {}
                None if room => {
                    self.add(Target::at(address, Some(key), Some(name.to_owned()), now));
                }
                None => {}
            }
        }
    }

    /// An announcement was taken back, or ran out.
    pub(super) fn gone(&mut self, name: &str) {
        for target in &mut self.targets {
            if target.heard.as_deref() == Some(name) {
                target.heard = None;
            }
        }
        self.targets.retain(|target| target.busy || target.key.is_none() || target.heard.is_some());
    }

    /// Nobody is listened for any more.
    pub(super) fn silence(&mut self) {
        self.targets.retain(|target| target.busy || target.key.is_none());
        self.targets.iter_mut().for_each(|target| target.heard = None);
    }

    /// Something was written here.
    pub(super) fn edited(&mut self, now: Instant) {
        self.call_within(AFTER_EDIT, now);
    }

    /// Something came from another device. `chance` below 1 spreads the devices of a crew.
    pub(super) fn took(&mut self, now: Instant, chance: f64) {
        self.call_within(AFTER_TAKING.mul_f64(0.5 + chance), now);
    }

    fn call_within(&mut self, wait: Duration, now: Instant) {
        for target in &mut self.targets {
            target.again |= target.busy;
            // Who does not answer is not asked more often because there is more to say.
            if target.failures == 0 {
                target.due = target.due.min(now + wait);
            }
        }
    }

    /// This device is on another network, or people want it now: everybody is asked afresh.
    pub(super) fn afresh(&mut self, now: Instant) {
        for target in &mut self.targets {
            target.failures = 0;
            target.due = now;
        }
    }

    /// The calls that are due. Each must be answered by [`Self::ended`].
    pub(super) fn due(&mut self, now: Instant) -> Vec<Call> {
        let mut calls = Vec::new();
        let mut under_way = self.targets.iter().filter(|target| target.busy).count();
        for at in 0..self.targets.len() {
            let target = &self.targets[at];
            let key = target.key;
            let same = key.is_some_and(|key| self.of(key).any(|other| other.busy));
            if under_way >= CALLS_MAX || target.busy || same || target.due > now {
                continue;
            }
            under_way += 1;
            self.targets[at].busy = true;
            calls.push(Call { address: self.targets[at].address, only: key });
        }
        calls
    }

    /// How a call went.
    pub(super) fn ended(&mut self, call: Call, trouble: Option<String>, now: Instant, chance: f64) {
        let Some(at) = self.targets.iter().position(|one| one.address == call.address) else {
            return;
        };
        let target = &mut self.targets[at];
        target.busy = false;
        let again = std::mem::take(&mut target.again);
        target.trouble = trouble;
        if target.trouble.is_none() {
            (target.went_well, target.failures) = (true, 0);
            target.due = now + if again { AFTER_EDIT } else { spread(REGULAR, chance) };
            // The device was reached: its other addresses are only in case this one fails.
            if let Some(key) = target.key {
                let due = target.due + FIRST_WAIT;
                let others = self.targets.iter_mut().enumerate();
                for (_, other) in others.filter(|(n, one)| *n != at && one.key == Some(key)) {
                    other.due = other.due.max(due);
                }
            }
            return;
        }
        target.failures += 1;
        let doubled = FIRST_WAIT.saturating_mul(1 << target.failures.min(10).saturating_sub(1));
        target.due = now + spread(doubled.min(LAST_WAIT), chance);
        if target.key.is_some() && target.failures >= FAILURES_MAX {
            self.targets.remove(at);
        }
    }

    /// When to look again.
    pub(super) fn next(&self) -> Option<Instant> {
        self.targets.iter().filter(|target| !target.busy).map(|target| target.due).min()
    }

    fn of(&self, key: PublicKey) -> impl Iterator<Item = &Target> {
        self.targets.iter().filter(move |target| target.key == Some(key))
    }

    /// Where the list is full, one that never went well makes room, or nothing is added.
    fn add(&mut self, target: Target) {
        if self.targets.len() >= TARGETS_MAX {
            let worst = |one: &Target| !one.busy && !one.went_well && one.key.is_some();
            let Some(at) = self.targets.iter().position(worst) else { return };
            self.targets.remove(at);
        }
        self.targets.push(target);
    }
}

impl Target {
    fn at(
        address: SocketAddr,
        key: Option<PublicKey>,
        heard: Option<String>,
        now: Instant,
    ) -> Self {
        Self {
            address,
            key,
            heard,
            trouble: None,
            went_well: false,
            failures: 0,
            due: now,
            busy: false,
            again: false,
        }
    }
}

/// A quarter more or less, so that a crew does not call in step.
fn spread(wait: Duration, chance: f64) -> Duration {
    wait.mul_f64(0.75 + chance / 2.0)
}

#[cfg(test)]
#[path = "rounds_tests.rs"]
mod tests;
