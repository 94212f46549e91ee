//! When what arrived is put in its place: once no more comes, or after a while.
//!
//! In: a node that something came to. Until then it lies as it came, on disk and acknowledged, and
//! whoever looks at a document has it done at once. One piece at a time, so that others get in
//! between.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use crate::Node;

/// Nothing came for so long.
const QUIET: Duration = Duration::from_millis(500);
/// However much comes, nothing waits longer.
const AT_LAST: Duration = Duration::from_secs(10);

/// Whether somebody does it.
#[derive(Debug, Default)]
pub(crate) struct Placer {
    under_way: AtomicBool,
    /// How many answers were given.
    came: AtomicU64,
}

impl Placer {
    /// Whether the caller is to do it.
    pub(crate) fn begin(&self) -> bool {
        self.came.fetch_add(1, Ordering::Relaxed);
        !self.under_way.swap(true, Ordering::AcqRel)
    }
}

/// Waits, then puts all in place that arrived.
pub(crate) async fn place(node: Node) {
    loop {
        wait_for_quiet(&node.placer).await;
        while node.on_disk(place_one).await {}
        node.placer.under_way.store(false, Ordering::Release);
        node.background.took();
        // What came since the last look found somebody at it.
        if !node.lock_as_it_is().wants_placing() || !node.placer.begin() {
            break;
        }
    }
}

async fn wait_for_quiet(placer: &Placer) {
    let started = Instant::now();
    loop {
        let came = placer.came.load(Ordering::Relaxed);
        tokio::time::sleep(QUIET).await;
        if placer.came.load(Ordering::Relaxed) == came || started.elapsed() > AT_LAST {
            break;
        }
    }
}

fn place_one(node: Node) -> bool {
    let roster = node.roster();
    if node.roster_fault().is_some() {
        return false;
    }
    let placed = node.lock_as_it_is().place_arrival(roster.as_deref(), node.now());
    placed.unwrap_or_else(|error| {
        tracing::error!(%error, "what arrived cannot be put in place");
        false
    })
}

#[cfg(test)]
#[path = "placing_tests.rs"]
mod tests;
