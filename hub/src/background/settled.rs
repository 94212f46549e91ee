//! With whom there is no content of attachments to move, so that it need not be asked again.
//!
//! In: with whom all was moved, and how far this node's log and content had come before. Out:
//! whether that still holds after an exchange that moved no change either way: then neither side
//! names anything new, and content, which only ever comes, lacks nowhere. It is kept in memory,
//! so that a start asks anew; a device whose store was replaced is given changes first, and asked
//! again by that; and after a while everybody is, whatever was lost on a disk meanwhile. No clock
//! here.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::time::{Duration, Instant};

/// So long nobody is asked again.
const HOLDS_FOR: Duration = Duration::from_secs(600);
/// More than this many are not kept in mind.
const MOST: usize = 1_000;

/// Whom: where, and by what name.
pub(super) type With = (SocketAddr, String);

/// How far a node had come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct AsOf {
    /// Its log.
    pub(super) position: u64,
    /// How many contents it took since its start.
    pub(super) taken: u64,
}

/// With whom all was moved, and as of when.
#[derive(Debug, Default)]
pub(super) struct Settled(BTreeMap<With, (AsOf, Instant)>);

impl Settled {
    /// Whether nothing can have come up since.
    pub(super) fn holds(&self, with: &With, as_of: AsOf, now: Instant) -> bool {
        let fits = |(then, at): &(AsOf, Instant)| {
            *then == as_of && now.saturating_duration_since(*at) < HOLDS_FOR
        };
        self.0.get(with).is_some_and(fits)
    }

    /// All was moved that had come up by then.
    pub(super) fn note(&mut self, with: With, as_of: AsOf, now: Instant) {
        if self.0.len() >= MOST {
            self.0.clear();
        }
        self.0.insert(with, (as_of, now));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_holds_until_something_comes_here_or_for_a_while_and_for_that_device_only() {
        let with = ("192.0.2.7:4771".parse().unwrap(), "hub".to_owned());
        let (as_of, now) = (AsOf { position: 7, taken: 2 }, Instant::now());
        let mut settled = Settled::default();
        assert!(!settled.holds(&with, as_of, now));
        settled.note(with.clone(), as_of, now);
        assert!(settled.holds(&with, as_of, now + HOLDS_FOR / 2));
        assert!(!settled.holds(&with, as_of, now + HOLDS_FOR));
        assert!(!settled.holds(&with, AsOf { position: 8, ..as_of }, now));
        assert!(!settled.holds(&with, AsOf { taken: 3, ..as_of }, now));
        assert!(!settled.holds(&(with.0, "another".to_owned()), as_of, now));
        for port in 0..MOST {
            let with = (SocketAddr::from(([192, 0, 2, 8], port as u16)), "hub".to_owned());
            settled.note(with, as_of, now);
        }
        assert!(settled.0.len() <= MOST);
    }
}
