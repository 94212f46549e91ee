//! How often somebody may ask: a bucket of tokens each, refilled steadily.
//!
//! In: who asks, and when. Out: yes, or in how many seconds again. Memory is bounded: of those
//! whose bucket is full again nothing is kept, and where too many are not, the fullest one goes.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

/// So many askers are remembered.
const ASKERS_MAX: usize = 4096;

/// One kind of asking.
#[derive(Debug)]
pub(super) struct Buckets<K> {
    /// So many at once.
    burst: u32,
    /// And one more after so long.
    every: Duration,
    /// When each asker's bucket is full again.
    full_at: Mutex<BTreeMap<K, Instant>>,
}

impl<K: Ord + Clone> Buckets<K> {
    pub(super) fn new(burst: u32, every: Duration) -> Self {
        Self { burst, every, full_at: Mutex::default() }
    }

    /// Takes a token of an asker. Where there is none: how long until there is.
    pub(super) fn take(&self, who: &K, now: Instant) -> Result<(), Duration> {
        let mut askers = self.full_at.lock().unwrap_or_else(PoisonError::into_inner);
        let full_at = askers.get(who).copied().unwrap_or(now).max(now) + self.every;
        let most = now + self.every * self.burst;
        if full_at > most {
            return Err(full_at - most);
        }
        if !askers.contains_key(who) && askers.len() >= ASKERS_MAX {
            make_room(&mut askers, now);
        }
        askers.insert(who.clone(), full_at);
        Ok(())
    }
}

fn make_room<K: Ord + Clone>(askers: &mut BTreeMap<K, Instant>, now: Instant) {
    askers.retain(|_, full_at| *full_at > now);
    if askers.len() < ASKERS_MAX {
        return;
    }
    let fullest = askers.iter().min_by_key(|(_, full_at)| **full_at);
    if let Some(fullest) = fullest.map(|(who, _)| who.clone()) {
        askers.remove(&fullest);
    }
}

/// Whom an address counts as: of IPv6 whoever has one address has 2^64 of them.
pub(super) fn asker(ip: IpAddr) -> IpAddr {
    match ip.to_canonical() {
        IpAddr::V6(ip) => {
            let network = u128::from(ip) >> 64 << 64;
            IpAddr::V6(network.into())
        }
        v4 => v4,
    }
}

/// Whole seconds, at least one, for `Retry-After`.
pub(super) fn seconds(wait: Duration) -> u64 {
    wait.as_secs() + 1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_burst_is_given_and_then_one_at_a_time() {
        let buckets = Buckets::new(3, Duration::from_secs(10));
        let now = Instant::now();
        for _ in 0..3 {
            buckets.take(&"a", now).unwrap();
        }
        assert_eq!(buckets.take(&"a", now), Err(Duration::from_secs(10)));
        buckets.take(&"b", now).unwrap();
        let later = now + Duration::from_secs(10);
        buckets.take(&"a", later).unwrap();
        assert!(buckets.take(&"a", later).is_err());
        let long_after = now + Duration::from_secs(3600);
        for _ in 0..3 {
            buckets.take(&"a", long_after).unwrap();
        }
        assert!(buckets.take(&"a", long_after).is_err(), "no more than a burst is saved up");
    }

    #[test]
    fn memory_is_bounded_and_who_is_out_of_tokens_is_not_forgotten_first() {
        let buckets = Buckets::new(2, Duration::from_secs(10));
        let now = Instant::now();
        buckets.take(&0, now).unwrap();
        buckets.take(&0, now).unwrap();
        for who in 1..10_000 {
            buckets.take(&who, now).unwrap();
        }
        assert_eq!(buckets.full_at.lock().unwrap().len(), ASKERS_MAX);
        assert!(buckets.take(&0, now).is_err());
        buckets.take(&-1, now + Duration::from_secs(60)).unwrap();
        assert_eq!(buckets.full_at.lock().unwrap().len(), 1, "full buckets are not kept");
    }

    #[test]
    fn one_network_of_ipv6_is_one_asker() {
        let asker = |text: &str| asker(text.parse().unwrap());
        assert_eq!(asker("2001:db8::1"), asker("2001:db8::ffff:1"));
        assert_ne!(asker("2001:db8::1"), asker("2001:db8:0:1::1"));
        assert_eq!(asker("::ffff:192.0.2.1"), asker("192.0.2.1"));
        assert_ne!(asker("192.0.2.1"), asker("192.0.2.2"));
    }
}
