//! What other processes of this node do with its store: looked at twice a second, where there may
//! be any.
//!
//! Whoever asks anything learns it at once; this is for what is answered from memory: whom the
//! roster admits, which browser may come, and what another process took in and did not live to put
//! in its place.

use std::time::Duration;

use tokio::task::JoinHandle;

use crate::Node;

/// A device that was taken off at one process is shut out at all of them after this.
const LOOK_EVERY: Duration = Duration::from_millis(500);

/// Looks until it is dropped.
#[derive(Debug)]
pub(crate) struct Watching(Option<JoinHandle<()>>);

impl Drop for Watching {
    fn drop(&mut self) {
        if let Some(task) = &self.0 {
            task.abort();
        }
    }
}

impl Node {
    /// Follows what other processes of this node do, where its store has any.
    pub(crate) fn watch_others(&self) -> Watching {
        let node = self.clone();
        let several = self.is_one_of_several();
        Watching(several.then(|| tokio::spawn(watch(node))))
    }
}

async fn watch(node: Node) {
    let mut look = tokio::time::interval(LOOK_EVERY);
    let mut before = 0;
    loop {
        look.tick().await;
        let waiting = node.on_disk(|node| node.lock_as_it_is().arrivals()).await;
        // As long as more comes it lies as it came: to put it in place now would keep whoever
        // brings the rest waiting.
        if waiting > 0 && waiting == before {
            node.on_disk(|node| drop(node.lock())).await;
        }
        before = waiting;
    }
}
