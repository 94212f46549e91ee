//! A node's documents and store, held for one step of work.
//!
//! While they are held nobody else of this process has them, and no other process of this node
//! writes; what others did is known here before anything is looked at. Holds no lock but that.

use std::ops::{Deref, DerefMut};
use std::sync::{MutexGuard, PoisonError};

use crate::Node;
use crate::documents::Documents;

/// A node's documents and store, held for one step of work.
pub(crate) struct Held<'a>(MutexGuard<'a, Documents>);

impl Deref for Held<'_> {
    type Target = Documents;

    fn deref(&self) -> &Documents {
        &self.0
    }
}

impl DerefMut for Held<'_> {
    fn deref_mut(&mut self) -> &mut Documents {
        &mut self.0
    }
}

impl Drop for Held<'_> {
    fn drop(&mut self) {
        self.0.store.let_go();
    }
}

impl Node {
    /// Its documents and store, for one step of work.
    ///
    /// What arrived is put in its place first: nobody sees anything of a document without what is
    /// stored here of it. Where that fails, as on a full disk, what is in its place is still shown.
    pub(crate) fn lock(&self) -> Held<'_> {
        let mut documents = self.lock_as_it_is();
        if documents.wants_placing() && self.roster_fault().is_none() {
            let roster = self.roster();
            if let Err(error) = documents.place_arrivals(roster.as_deref(), self.now()) {
                tracing::error!(%error, "what arrived cannot be put in place");
            }
        }
        documents
    }

    /// The same with what arrived where it lies.
    ///
    /// A panic while the lock was held leaves documents out of memory and a transaction undone,
    /// both as if nothing had been asked: the node goes on.
    pub(crate) fn lock_as_it_is(&self) -> Held<'_> {
        let mut documents = self.documents.lock().unwrap_or_else(PoisonError::into_inner);
        if documents.hold() {
            self.learn_settings(&documents);
        }
        Held(documents)
    }

    /// Takes anew what is kept in memory of the settings: another process of this node changed one.
    pub(crate) fn learn_settings(&self, documents: &Documents) {
        self.learn_roster(documents);
        self.learn_browsers(documents);
        self.learn_keeping(documents);
    }

    /// Whether other processes of this node work with its store.
    pub(crate) fn is_one_of_several(&self) -> bool {
        self.lock_as_it_is().store.has_others()
    }
}
