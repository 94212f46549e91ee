//! After how long a window that nobody touches asks for the passphrase again: the device's setting,
//! and the rule.
//!
//! In: what a person chose, and when somebody was last there. Out: whether the passphrase is
//! wanted. Off until somebody chooses; only an encrypted folder has a passphrase to ask for, so
//! whoever asks knows that it is one. Keeps no time of its own and locks nothing: the window does.

use std::time::{Duration, Instant, SystemTime};

use crate::Node;
use crate::documents::NodeError;

/// The setting that holds the seconds.
const SETTING: &str = "lock-after-s";
/// The setting that says how the window was left.
const LEFT: &str = "window-left";
/// Shorter, and it would close while somebody reads a caution.
pub const LEAST: Duration = Duration::from_secs(5);
/// Longer is as good as off.
pub const MOST: Duration = Duration::from_secs(24 * 60 * 60);

/// Why a window cannot be set to lock after so long.
#[derive(Debug, thiserror::Error)]
pub enum LockRefused {
    /// Too soon or too late.
    #[error("{given_s} s without touch is outside {} to {} s", LEAST.as_secs(), MOST.as_secs())]
    OutOfRange {
        /// What was given.
        given_s: u64,
    },
    /// It could not be kept.
    #[error(transparent)]
    Node(#[from] NodeError),
}

impl Node {
    /// After how long without touch its window asks for the passphrase again; none: never.
    pub fn lock_after(&self) -> Result<Option<Duration>, NodeError> {
        let kept = self.setting(SETTING)?;
        Ok(kept.and_then(|kept| kept.parse().ok()).map(Duration::from_secs))
    }

    /// Chooses that. It stays with this device.
    pub fn set_lock_after(&self, after: Option<Duration>) -> Result<(), LockRefused> {
        if let Some(after) = after.filter(|after| !(LEAST..=MOST).contains(after)) {
            return Err(LockRefused::OutOfRange { given_s: after.as_secs() });
        }
        let kept = after.map_or_else(String::new, |after| after.as_secs().to_string());
        Ok(self.set_setting(SETTING, &kept)?)
    }

    /// Notes that somebody closed the window while it was open to them.
    pub fn left_open(&self) -> Result<(), NodeError> {
        self.set_setting(LEFT, "open")
    }

    /// Whether a window that a keyring opened is to ask for the passphrase all the same: where the
    /// device locks itself, and its window was last shut, or was ended by nobody who closed it.
    /// What was noted holds once.
    pub fn was_left_shut(&self) -> Result<bool, NodeError> {
        let open = self.setting(LEFT)?.is_some_and(|left| left == "open");
        if open {
            self.set_setting(LEFT, "")?;
        }
        Ok(!open && self.lock_after()?.is_some())
    }
}

/// A moment by both clocks: one stands still while the device sleeps, the other can be set.
#[derive(Clone, Copy, Debug)]
pub struct Moment {
    /// By the clock that only goes forward.
    pub steady: Instant,
    /// By the clock on the wall.
    pub wall: SystemTime,
}

impl Moment {
    /// This one.
    pub fn now() -> Self {
        Self { steady: Instant::now(), wall: SystemTime::now() }
    }

    /// How long ago the other one was, by the clock that says more: a device that slept was left
    /// alone, and a clock set back makes nobody come near.
    pub fn since(self, other: Self) -> Duration {
        let steady = self.steady.saturating_duration_since(other.steady);
        self.wall.duration_since(other.wall).unwrap_or_default().max(steady)
    }
}

/// Whether somebody is at the window.
#[derive(Clone, Copy, Debug)]
pub struct Watch {
    after: Option<Duration>,
    touched: Moment,
    locked: bool,
}

impl Watch {
    /// Somebody is there now.
    pub fn begin(after: Option<Duration>, now: Moment) -> Self {
        Self { after, touched: now, locked: false }
    }

    /// Nobody has shown yet that they know the passphrase.
    pub fn shut(after: Option<Duration>, now: Moment) -> Self {
        Self { after, touched: now, locked: true }
    }

    /// Whether the passphrase is wanted. Once it is, no touch takes that back.
    pub fn is_locked(&mut self, now: Moment) -> bool {
        self.locked |= self.after.is_some_and(|after| now.since(self.touched) >= after);
        self.locked
    }

    /// Somebody touched the window.
    pub fn touch(&mut self, now: Moment) {
        if !self.is_locked(now) {
            self.touched = now;
        }
    }

    /// Another time was chosen.
    pub fn choose(&mut self, after: Option<Duration>, now: Moment) {
        self.touch(now);
        self.after = after;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MINUTE: Duration = Duration::from_secs(60);

    #[test]
    fn a_window_left_alone_is_locked_and_stays_so_until_it_begins_anew() {
        let start = Moment::now();
        let at = |s: u64| {
            let by = Duration::from_secs(s);
            Moment { steady: start.steady + by, wall: start.wall + by }
        };
        let mut watch = Watch::begin(Some(MINUTE), start);
        assert!(!watch.is_locked(at(59)));
        watch.touch(at(59));
        assert!(!watch.is_locked(at(118)));
        assert!(watch.is_locked(at(119)));
        watch.touch(at(119));
        assert!(watch.is_locked(at(119)), "a touch is no passphrase");
        // A touch that comes first after the time is none either.
        let mut late = Watch::begin(Some(MINUTE), start);
        late.touch(at(61));
        assert!(late.is_locked(at(61)));
        assert!(!Watch::begin(Some(MINUTE), at(200)).is_locked(at(201)));
        assert!(!Watch::begin(None, start).is_locked(at(1_000_000)), "off until it is chosen");
    }

    #[test]
    fn sleep_counts_and_a_clock_set_back_does_not() {
        let start = Moment::now();
        let slept = Moment { steady: start.steady, wall: start.wall + 2 * MINUTE };
        assert!(Watch::begin(Some(MINUTE), start).is_locked(slept));
        let set_back = Moment { steady: start.steady + MINUTE, wall: start.wall - 5 * MINUTE };
        assert!(Watch::begin(Some(MINUTE), start).is_locked(set_back));
        let before = Moment { steady: start.steady + MINUTE / 2, wall: start.wall - 5 * MINUTE };
        assert!(!Watch::begin(Some(MINUTE), start).is_locked(before));
    }

    #[test]
    fn a_window_that_locks_itself_is_shut_after_it_was_shut_or_killed() {
        let start = Moment::now();
        assert!(Watch::shut(None, start).is_locked(start), "whatever was chosen");
        let folder = tempfile::tempdir().unwrap();
        let node = Node::open(folder.path()).unwrap();
        assert!(!node.was_left_shut().unwrap(), "it does not lock itself");
        node.set_lock_after(Some(MINUTE)).unwrap();
        assert!(node.was_left_shut().unwrap(), "nobody closed it");
        node.left_open().unwrap();
        drop(node);
        let node = Node::open(folder.path()).unwrap();
        assert!(!node.was_left_shut().unwrap(), "somebody closed it");
        assert!(node.was_left_shut().unwrap(), "that holds once");
    }

    #[test]
    fn what_was_chosen_stays_with_the_device() {
        let folder = tempfile::tempdir().unwrap();
        let node = Node::open(folder.path()).unwrap();
        assert_eq!(node.lock_after().unwrap(), None, "off by default");
        node.set_lock_after(Some(5 * MINUTE)).unwrap();
        for wrong in [0, 4, 86_401] {
            let refused = node.set_lock_after(Some(Duration::from_secs(wrong))).unwrap_err();
            assert!(refused.to_string().contains("outside 5 to 86400 s"), "{refused}");
        }
        drop(node);
        let node = Node::open(folder.path()).unwrap();
        assert_eq!(node.lock_after().unwrap(), Some(5 * MINUTE));
        node.set_lock_after(None).unwrap();
        assert_eq!(node.lock_after().unwrap(), None);
    }
}
