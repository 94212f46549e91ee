//! What of the log goes to a peer that does not ask for everything.
//!
//! In: where to start, and what is asked for. Out: a slice without the visits to other sites, which
//! says by which asking they were left out. Where a document belongs is remembered from when it was
//! placed, read or listed; one of which that is not known is read once, and goes where it cannot
//! be. A slice passes by so many changes only, since nobody else has the store meanwhile.

use std::collections::BTreeMap;

use guyline_core::record::{DocumentId, DocumentKind};

use super::{Documents, NodeError};
use crate::log::{Ask, Known, LogSlice, Mark, NodeId};
use crate::store::{Pass, StoreError, log_packed};

/// So many changes, or pieces of one document's, are passed for one slice.
const PASSED_MAX: u64 = 20_000;
/// So many documents are read for it to learn where they belong.
const READ_MAX: usize = 256;

/// The kind of a document, and the site of a visit.
type Found = (DocumentKind, Option<DocumentId>);

impl Documents {
    /// The log after a mark, less what a peer gave and what it does not ask for; with what is
    /// packed together already as it is, where the peer reads that.
    pub(crate) fn gather(
        &mut self,
        after: Mark,
        peer: NodeId,
        bytes_max: usize,
        (ask, packs): (&Ask, bool),
    ) -> Result<LogSlice, NodeError> {
        if *ask == Ask::ALL {
            return Ok(match packs {
                true => log_packed(&*self.store, after, peer, bytes_max)?,
                false => self.store.log_after(after, peer, bytes_max)?,
            });
        }
        let after = self.where_it_fits(after, ask.known.as_ref())?;
        // What is stored of another log is not stored of this one.
        let ask = if self.store.fits(after)? { ask.clone() } else { ask.afresh() };
        // What was read for it; none where a document cannot be.
        let mut found: BTreeMap<DocumentId, Option<Found>> = BTreeMap::new();
        let mut passed = 0;
        let mut gate = |position: u64, id: DocumentId| -> Result<Pass, StoreError> {
            passed += 1;
            if passed > PASSED_MAX {
                return Ok(Pass::Stop);
            }
            let mut place = self.place_of(id);
            if place.is_none() {
                if found.len() >= READ_MAX && !found.contains_key(&id) {
                    return Ok(Pass::Stop);
                }
                let read = found.entry(id).or_insert_with(|| self.read_place(id));
                place = read.and_then(|(kind, site)| super::place(kind, site));
            }
            Ok(if ask.asks_for(position, place) { Pass::Send } else { Pass::LeaveOut })
        };
        let mut slice = self.store.log_through(after, peer, bytes_max, &mut gate)?;
        let found = found.into_iter();
        self.learn_places(found.filter_map(|(id, read)| read.map(|(kind, site)| (id, kind, site))));
        slice.left_out = ask.digest();
        Ok(slice)
    }

    /// Where to start. A peer that reads again what it passed by names the start, which fits every
    /// log: whether it is this one that it read, the mark of what it knows tells.
    fn where_it_fits(&self, after: Mark, known: Option<&Known>) -> Result<Mark, StoreError> {
        match known {
            Some(known) if !self.store.fits(known.upto)? => Ok(known.upto),
            _ => Ok(after),
        }
    }

    /// The kind of a document and the site of a visit, read from the store. None where it cannot
    /// be read: whoever wants it is told.
    fn read_place(&self, id: DocumentId) -> Option<Found> {
        let document = self.made_of(id, self.store.written(id).ok()?).ok()?;
        Some((document.kind(), document.session().ok().map(|session| session.site)))
    }
}
