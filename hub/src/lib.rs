//! Guyline hub: a node. A device at a site is one, and so is the shop's always-on hub.
//!
//! Reading order: [`log`] (the words), [`chunk`] (a change as bytes), [`packed`] (many of them),
//! [`store`] (what is on disk), [`documents`] (what is in memory, never ahead of it),
//! [`attachments`] (content beside the store), [`identity`] (whose device this is), [`at_rest`]
//! (files that only a passphrase opens), [`instruments`] (what they read now), [`sync`] (how two
//! nodes become level), [`background`] (merging by itself), [`render`] (what leaves the tool for
//! people), [`takeout`] (what leaves it for programs), [`desk`] (every command a screen can call),
//! [`http`] (the way in for a browser and for other nodes).
//!
//! Here: [`Node`], which opens a store and hands it to the desk and the exchange; nothing else.

pub mod at_rest;
pub mod attachments;
pub mod background;
mod browsers;
mod carve;
pub mod chunk;
pub mod cli;
pub mod clock;
pub mod desk;
pub mod documents;
mod frame;
mod held;
pub mod http;
pub mod identity;
pub mod inspection;
pub mod instruments;
pub mod keeping;
pub mod log;
mod membership;
mod others;
pub mod packed;
mod placing;
pub mod render;
pub mod repair;
mod resting;
mod scope;
mod sieve;
pub mod store;
pub mod sync;
pub mod takeout;

#[cfg(test)]
mod fixture;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex, PoisonError};

use automerge::{ActorId, Change, ChangeHash};
use guyline_core::record::{Document, DocumentId, DocumentKind};
use guyline_core::time::Timestamp;
use ulid::Ulid;

use at_rest::{Keys, Passphrase};
use attachments::Contents;
use attachments::bucket::{BucketFault, BucketKeys, BucketPlace};
use attachments::files::Files;
use attachments::named::ByDocument;
use background::Board;
use browsers::Browsers;
pub use browsers::ServedAt;
use documents::{Compacted, Documents, NodeError};
use identity::{DeviceKey, KeyError, PublicKey, Role, Visitor};
use log::Seal;
use membership::Shop;
use placing::Placer;
use render::Typesetter;
use store::{Disk, OpenError, Peer, SetAside, Summary, SystemDisk};
use sync::{ExchangeError, ExchangeReport};

/// So many changes at once are no crew that works beside each other, but one that comes in.
const KEPT_FROM: usize = 256;

/// The setting that says who holds the device.
const PERSON: &str = "person";

/// A node: one store, and the documents in it. Cheap to clone; every call blocks until it is done.
///
/// Whatever reads may fail, also where this engine answers from memory: another may have to ask.
#[derive(Clone, Debug)]
pub struct Node {
    documents: Arc<Mutex<Documents>>,
    last_id: Arc<Mutex<u128>>,
    key: Arc<DeviceKey>,
    typesetter: Option<Typesetter>,
    shop: Arc<Shop>,
    background: Arc<Board>,
    bench: Arc<instruments::Bench>,
    contents: Contents,
    named: Arc<ByDocument>,
    browsers: Arc<Browsers>,
    /// Pieces of so many changes are kept as they came.
    kept_from: usize,
    placer: Arc<Placer>,
    /// Whether only wanted sites may be kept: false only where it is known that all are.
    may_keep_a_part: Arc<AtomicBool>,
    /// Whether others merge with it as the shop's hub.
    is_hub: bool,
    /// Whose browser asks; none at the device itself.
    visitor: Option<Arc<Visitor>>,
}

/// Why a node cannot be opened. Its files are as they were.
#[derive(Debug, thiserror::Error)]
pub enum NodeRefused {
    /// Its store cannot.
    #[error(transparent)]
    Store(#[from] OpenError),
    /// Its device's key cannot.
    #[error(transparent)]
    Key(#[from] KeyError),
    /// Its store is that of a hub with another key.
    #[error("{dir} has another key than the hub whose store it names", dir = dir.display())]
    OtherKey {
        /// The folder.
        dir: PathBuf,
    },
    /// What it holds could not be sealed.
    #[error("what this device holds cannot be sealed: {0}")]
    Seals(#[from] NodeError),
}

impl NodeRefused {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::Store(error) => error.help(),
            Self::Key(error) => error.help(),
            Self::OtherKey { .. } => {
                "every process of a hub has the same key: copy device.key, and shop-root.key where \
                 there is one, from the folder of the first one, or name another database"
            }
            Self::Seals(_) => "check the disk; if it is full, make room and start again",
        }
    }
}

impl Node {
    /// Opens the node whose store and key are in `dir`, and makes them first where there are none.
    pub fn open(dir: &Path) -> Result<Self, NodeRefused> {
        Self::open_on(dir, &SystemDisk, None)
    }

    /// The same in a folder that is encrypted with a passphrase.
    pub fn unlock(dir: &Path, passphrase: &Passphrase) -> Result<Self, NodeRefused> {
        Self::open_on(dir, &SystemDisk, Some(passphrase))
    }

    /// The same with its store on another disk, for tests that break it.
    pub fn open_on(
        dir: &Path,
        disk: &dyn Disk,
        passphrase: Option<&Passphrase>,
    ) -> Result<Self, NodeRefused> {
        Self::open_with(dir, disk, Keys::of(dir, passphrase).map_err(OpenError::from)?)
    }

    /// The same with keys that [`at_rest::keyring::keys`] gave.
    pub fn unlock_with(dir: &Path, keys: Keys) -> Result<Self, NodeRefused> {
        Self::open_with(dir, &SystemDisk, Some(keys))
    }

    fn open_with(dir: &Path, disk: &dyn Disk, keys: Option<Keys>) -> Result<Self, NodeRefused> {
        let store = store::open(dir, disk, keys.as_ref())?;
        // After the store, whose lock keeps every other process from making a key of its own.
        let key = Arc::new(DeviceKey::open_with(dir, keys.as_ref())?);
        let mut documents = Documents::new(store, Arc::clone(&key)).map_err(NodeError::from)?;
        documents.hold();
        if !documents.is_of_device().map_err(NodeError::from)? {
            return Err(NodeRefused::OtherKey { dir: dir.to_owned() });
        }
        documents.seal_what_wants_it()?;
        documents.store.let_go();
        let documents = Arc::new(Mutex::new(documents));
        let node = Self {
            documents,
            last_id: Arc::new(Mutex::new(0)),
            key,
            typesetter: None,
            contents: Contents::of_node(dir, keys.as_ref()),
            shop: Arc::new(Shop::beside(dir, keys)),
            background: Arc::default(),
            bench: Arc::default(),
            named: Arc::default(),
            browsers: Arc::default(),
            kept_from: KEPT_FROM,
            placer: Arc::default(),
            may_keep_a_part: Arc::default(),
            is_hub: false,
            visitor: None,
        };
        node.contents.tidy();
        node.learn_settings(&node.lock_as_it_is());
        Ok(node)
    }

    /// The same node, which can make PDF files.
    #[must_use]
    pub fn with_typesetter(self, typesetter: Typesetter) -> Self {
        Self { typesetter: Some(typesetter), ..self }
    }

    /// The same node, which keeps pieces of so many changes as they came: for tests.
    #[must_use]
    pub fn keeping_from(self, changes: usize) -> Self {
        Self { kept_from: changes, ..self }
    }

    /// The same node, whose attachments' files are changed through other calls: for tests.
    #[must_use]
    pub fn with_files(self, files: Arc<dyn Files>) -> Self {
        Self { contents: self.contents.clone().through(files), ..self }
    }

    /// The same node, whose attachments' whole content lies in a bucket: from now on and for every
    /// command on its folder, which is told so. Asks nothing of the bucket yet.
    pub fn with_bucket(
        self,
        dir: &Path,
        place: &BucketPlace,
        keys: &BucketKeys,
    ) -> Result<Self, BucketFault> {
        let contents = self.contents.clone().in_bucket(place, keys)?;
        place.note(dir, &attachments::files::SystemFiles)?;
        Ok(Self { contents, ..self })
    }

    /// The content of attachments that is here.
    pub fn contents(&self) -> &Contents {
        &self.contents
    }

    /// What makes its PDF files.
    pub(crate) fn typesetter(&self) -> Option<Typesetter> {
        self.typesetter
    }

    /// This device's key.
    pub(crate) fn device_key(&self) -> &DeviceKey {
        &self.key
    }

    /// The key others know this device by.
    pub fn key(&self) -> PublicKey {
        self.key.public()
    }

    /// Signs a statement as this device. Gives 128 hexadecimal digits.
    pub fn sign_statement(&self, text: &str) -> String {
        self.key.sign_statement(text)
    }

    /// An actor for a document that is made here.
    pub fn fresh_actor(&self) -> ActorId {
        identity::fresh_actor(self.key())
    }

    /// What its people call it.
    pub fn name(&self) -> Result<String, NodeError> {
        Ok(self.lock_as_it_is().store.card().name.clone())
    }

    /// Gives it another name.
    pub fn set_name(&self, name: &str) -> Result<(), NodeError> {
        Ok(self.lock_as_it_is().store.rename(name)?)
    }

    /// Who holds it, by id in the shop; none when nobody has said so. For a browser it is who that
    /// was granted to.
    pub fn person(&self) -> Result<Option<String>, NodeError> {
        if let Some(visitor) = self.visitor() {
            return Ok(Some(visitor.person.clone()));
        }
        Ok(self.lock_as_it_is().store.setting(PERSON)?)
    }

    /// Puts it in somebody's hands.
    pub fn set_person(&self, person: &str) -> Result<(), NodeError> {
        Ok(self.lock_as_it_is().store.set_setting(PERSON, person)?)
    }

    /// A setting of this device, where it has it.
    pub(crate) fn setting(&self, key: &str) -> Result<Option<String>, NodeError> {
        Ok(self.lock_as_it_is().store.setting(key)?)
    }

    /// Changes a setting of this device.
    pub(crate) fn set_setting(&self, key: &str, value: &str) -> Result<(), NodeError> {
        Ok(self.lock_as_it_is().store.set_setting(key, value)?)
    }

    /// What instruments answered lately.
    pub(crate) fn bench_link(&self) -> &instruments::Bench {
        &self.bench
    }

    /// Now, by this device's clock.
    pub fn now(&self) -> Timestamp {
        clock::now()
    }

    /// An id for a new entry that nobody else has, greater than the one before. The order settles
    /// which of two entries of this device is the newer; between devices it means no more than
    /// their clocks do.
    pub fn fresh_id(&self) -> String {
        let mut last = self.last_id.lock().unwrap_or_else(PoisonError::into_inner);
        // Two within one millisecond, or a clock set back: the next number after the last will do.
        *last = u128::from(Ulid::generate()).max(last.saturating_add(1));
        Ulid::from(*last).to_string()
    }

    /// How many changes were ever stored. Grows with every one, so a screen can wait on it.
    pub fn position(&self) -> Result<u64, NodeError> {
        self.lock().position()
    }

    /// How many pieces of other nodes' logs lie as they came, on disk and not yet in their place.
    pub fn arrivals_waiting(&self) -> Result<u64, NodeError> {
        Ok(self.lock_as_it_is().store.arrivals()?)
    }

    /// Every document's id, in order.
    pub fn documents(&self) -> Result<Vec<DocumentId>, NodeError> {
        Ok(self.lock().store.heads().keys().copied().collect())
    }

    /// Every document's newest changes, sorted. Nodes with equal heads hold the same.
    pub fn heads(&self) -> Result<BTreeMap<DocumentId, Vec<ChangeHash>>, NodeError> {
        Ok(self.lock().store.heads().clone())
    }

    /// Looks at a document.
    pub fn with_document<R>(
        &self,
        id: DocumentId,
        look: impl FnOnce(&Document) -> R,
    ) -> Result<R, NodeError> {
        self.lock().look(id, look)
    }

    /// The kind of a document.
    pub fn kind_of(&self, id: DocumentId) -> Result<DocumentKind, NodeError> {
        self.lock().kind_of(id)
    }

    /// Learns where documents belong that were not read yet, from what was kept about them: their
    /// kinds, and the sites of visits.
    pub(crate) fn learn_places(
        &self,
        places: impl Iterator<Item = (DocumentId, DocumentKind, Option<DocumentId>)>,
    ) {
        self.lock().learn_places(places);
    }

    /// The seals of devices on a document's changes.
    pub fn seals_of(&self, id: DocumentId) -> Result<Vec<Seal>, NodeError> {
        Ok(self.lock().store.seals_of(id)?)
    }

    /// Edits a document by one change, which is on disk when this is Ok twice. Where the edit
    /// itself is refused (the inner error), the document is as it was.
    pub fn edit<E>(
        &self,
        id: DocumentId,
        edit: impl FnOnce(&mut Document) -> Result<Change, E>,
    ) -> Result<Result<(), E>, NodeError> {
        self.demand_writer()?;
        self.visit_is_opened(id)?;
        let edited = self.lock().edit(id, edit)?;
        if edited.is_ok() {
            self.background.edited();
        }
        Ok(edited)
    }

    /// Keeps a document made here, with the change that makes it.
    pub fn create(&self, document: Document, change: Change) -> Result<(), NodeError> {
        self.demand_writer()?;
        if let Ok(session) = document.session() {
            self.site_is_opened(session.site)?;
        }
        self.lock().create(document, change)?;
        self.background.edited();
        Ok(())
    }

    /// Nothing is written here for who was let in to read, whatever way it was asked.
    fn demand_writer(&self) -> Result<(), NodeError> {
        match self.role() {
            Some(Role::ReadOnly) => Err(NodeError::ReadOnly),
            _ => Ok(()),
        }
    }

    /// Every node met so far, the last one first.
    pub fn peers(&self) -> Result<Vec<Peer>, NodeError> {
        Ok(self.lock().peers()?)
    }

    /// How much of each node's log is stored here: without counting what each is owed.
    pub(crate) fn asked(&self) -> Result<Vec<log::Ask>, NodeError> {
        Ok(self.lock().store.asked()?)
    }

    /// Where nodes were last reached, the last one first: without counting what each is owed.
    pub(crate) fn addresses(&self) -> Result<Vec<String>, NodeError> {
        Ok(self.lock_as_it_is().store.addresses()?)
    }

    /// How many changes made here no other node is known to hold.
    pub fn only_here(&self) -> Result<u64, NodeError> {
        Ok(self.lock().only_here()?)
    }

    /// How many changes from elsewhere are set aside.
    pub fn set_aside_count(&self) -> Result<u64, NodeError> {
        Ok(self.lock().store.set_aside_count()?)
    }

    /// The changes from elsewhere that are set aside, and why.
    pub fn set_aside(&self) -> Result<Vec<SetAside>, NodeError> {
        Ok(self.lock().store.set_aside()?)
    }

    /// Reads everything on disk again and names what is not as it was.
    pub fn inspect(&self) -> Result<inspection::Inspection, NodeError> {
        Ok(inspection::inspect(&*self.lock().store)?)
    }

    /// What was worked out from documents and kept, by document; whoever asks sees whether it fits.
    pub fn summaries(&self) -> Result<BTreeMap<DocumentId, Summary>, NodeError> {
        Ok(self.lock().store.summaries()?)
    }

    /// Keeps what was worked out from documents.
    pub fn keep_summaries(&self, said: &BTreeMap<DocumentId, Summary>) -> Result<(), NodeError> {
        Ok(self.lock().store.keep_summaries(said)?)
    }

    /// Throws away everything that was worked out from documents. Nothing is lost by it.
    pub fn forget_summaries(&self) -> Result<(), NodeError> {
        Ok(self.lock().store.forget_summaries()?)
    }

    /// How many bytes its store takes on disk.
    pub fn store_bytes(&self) -> Result<u64, NodeError> {
        Ok(self.lock_as_it_is().store.size()?)
    }

    /// Makes the store as small as it can be without losing anything.
    pub fn compact(&self) -> Result<Compacted, NodeError> {
        self.lock().compact()
    }

    /// Makes this node and the one at an address on this machine level.
    pub async fn exchange_with(&self, address: &str) -> Result<ExchangeReport, ExchangeError> {
        sync::http_driver::exchange_with(self, address).await
    }

    /// Makes this node and another one level by whatever `carry` is: it sends a body, and gives
    /// what was answered. The other one is known by its address; `packs` is whether it is known to
    /// read changes that are packed together.
    pub fn exchange_by(
        &self,
        address: &str,
        packs: bool,
        carry: impl FnMut(Vec<u8>) -> Result<Vec<u8>, ExchangeError>,
    ) -> Result<ExchangeReport, ExchangeError> {
        sync::http_driver::call(self, address, packs, carry)
    }

    /// Answers a body that [`Node::exchange_by`] of another node sent.
    pub fn answer(&self, body: Vec<u8>) -> Result<Vec<u8>, ExchangeError> {
        sync::http_driver::answer_to(self, body)
    }

    /// Does work that may wait for the disk where it holds up nobody: the thread that answers
    /// everybody else must not wait.
    pub(crate) async fn on_disk<T: Send + 'static>(
        &self,
        work: impl FnOnce(Self) -> T + Send + 'static,
    ) -> T {
        let node = self.clone();
        let done = tokio::task::spawn_blocking(move || work(node)).await;
        done.unwrap_or_else(|panic| std::panic::resume_unwind(panic.into_panic()))
    }

    /// Puts what arrived in its place once no more comes, piece by piece, beside all else.
    pub(crate) fn place_soon(&self) {
        if self.lock_as_it_is().arrivals() > 0 && self.placer.begin() {
            tokio::spawn(placing::place(self.clone()));
        }
    }
}
