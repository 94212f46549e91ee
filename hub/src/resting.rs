//! What a node does once nobody works: documents get their saved form anew, and the log is packed.

use crate::documents::NodeError;
use crate::packed::Packed;
use crate::{Node, clock};

impl Node {
    /// Makes what was worked on quick to open again and to send. For when nobody works; without
    /// it nothing is lost.
    pub fn rest(&self) -> Result<(), NodeError> {
        // One at a time, so that others get in between.
        while self.lock_as_it_is().fold_one()? {}
        // Nobody waits for the store meanwhile.
        while let Some(slice) = { self.lock_as_it_is().to_be_packed(clock::now(), self.kept_from)? }
        {
            let packed = Packed::of(&slice.entries, &slice.seals);
            self.lock_as_it_is().keep_packed(&slice, &packed)?;
        }
        Ok(())
    }
}
