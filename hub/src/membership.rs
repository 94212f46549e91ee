//! A node's place in its shop: the roster it knows, the root key where it has it, and its door.
//!
//! In: invitations, knocks, statements. Out: who is admitted. The roster is on disk before it
//! counts. A device that has no shop's root key can admit nobody.

use std::collections::BTreeSet;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;

use guyline_core::record::DocumentId;

use crate::Node;
use crate::at_rest::Keys;
use crate::desk::{Code, Refusal};
use crate::documents::{Documents, NodeError};
use crate::http::{ListenError, Sharing};
use crate::identity::{
    DeviceKey, Door, Guest, Invitation, Member, PublicKey, Role, Roster, RosterEntry,
    RosterRefused, Shut, fresh_code, having, membership, revocation,
};
use crate::log::{Card, Mark, NodeId, Receipt, Scope, receipt_text};
use crate::store::SetAside;

/// The setting that holds the roster: the root key, a line end, and the statements as JSON.
const ROSTER: &str = "roster";

/// What a node knows of its shop.
#[derive(Debug)]
pub(crate) struct Shop {
    dir: PathBuf,
    /// Of the folder, where it is encrypted.
    keys: Option<Keys>,
    roster: Mutex<Option<Arc<Roster>>>,
    /// Why the roster on disk could not be read, where it could not.
    fault: Mutex<Option<String>>,
    door: Mutex<Door>,
    sharing: tokio::sync::Mutex<Option<Sharing>>,
}

impl Shop {
    pub(crate) fn beside(dir: &Path, keys: Option<Keys>) -> Self {
        Self {
            dir: dir.to_owned(),
            keys,
            roster: Mutex::default(),
            fault: Mutex::default(),
            door: Mutex::default(),
            sharing: tokio::sync::Mutex::default(),
        }
    }
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Node {
    /// Whether a key may come in.
    pub fn admits(&self, key: PublicKey) -> bool {
        locked(&self.shop.roster).as_ref().is_some_and(|roster| roster.admits(key))
    }

    /// Whether this device is on a shop's roster.
    pub fn is_member(&self) -> bool {
        self.admits(self.key())
    }

    /// What this device is for; none where it is on no roster.
    pub(crate) fn own_role(&self) -> Option<Role> {
        locked(&self.shop.roster).as_ref().and_then(|roster| roster.role_of(self.key()))
    }

    /// The folder of its store and its keys.
    pub(crate) fn folder(&self) -> &Path {
        &self.shop.dir
    }

    /// That folder's keys, where it is encrypted.
    pub(crate) fn keys(&self) -> Option<&Keys> {
        self.shop.keys.as_ref()
    }

    /// Whether this device can let others in.
    pub fn lets_in(&self) -> bool {
        DeviceKey::has_root(&self.shop.dir)
    }

    /// The roster as it is known now, where this device has one.
    pub(crate) fn roster(&self) -> Option<Arc<Roster>> {
        locked(&self.shop.roster).clone()
    }

    /// The nodes that keep the shop and signed for what they store of this log.
    pub(crate) fn offices(&self) -> Result<Vec<NodeId>, NodeError> {
        let Some(roster) = self.roster() else { return Ok(Vec::new()) };
        let documents = self.lock();
        let me = documents.store.card();
        let signed = |(by, mark, receipt): &(Card, Mark, Receipt)| {
            let key = PublicKey::from_bytes(receipt.key);
            // Who keeps a part signed for that, and is no place where all is.
            let text = receipt_text(by, me.node, me.store, *mark, &Scope::All);
            roster.admits(key)
                && roster.role_of(key) == Some(Role::Office)
                && key.verify_receipt(&text, &receipt.signature).is_ok()
        };
        let receipts = documents.store.receipts()?;
        Ok(receipts.iter().filter(|receipt| signed(receipt)).map(|(by, ..)| by.node).collect())
    }

    /// The documents of which none of these nodes is known to hold every change; of all nodes met
    /// where none are named.
    pub fn not_known_at(
        &self,
        nodes: Option<&[NodeId]>,
    ) -> Result<BTreeSet<DocumentId>, NodeError> {
        Ok(self.lock().not_known_at(nodes)?)
    }

    /// Every device that was ever let in.
    pub fn members(&self) -> Vec<Member> {
        locked(&self.shop.roster).as_ref().map(|roster| roster.members()).unwrap_or_default()
    }

    /// What the roster calls the device with a key, and whether it was taken off; none where it
    /// does not know it.
    pub fn name_of(&self, whole_key: &str) -> Option<String> {
        let member = self.members().into_iter().find(|member| member.whole_key == whole_key)?;
        Some(match member.revoked {
            Some(why) => format!("{} (taken off: {why})", member.name),
            None => member.name,
        })
    }

    /// The shop's root key, where this device is on its roster.
    pub(crate) fn root_key(&self) -> Option<PublicKey> {
        let roster = locked(&self.shop.roster);
        roster.as_ref().filter(|roster| roster.admits(self.key())).map(|roster| roster.root())
    }

    /// The device that is chosen from those that are admitted, by the shop's root key.
    pub(crate) fn whose(
        &self,
        choose: impl FnOnce(PublicKey, &mut dyn Iterator<Item = PublicKey>) -> Option<PublicKey>,
    ) -> Option<PublicKey> {
        let roster = locked(&self.shop.roster);
        let roster = roster.as_ref()?;
        choose(roster.root(), &mut roster.admitted())
    }

    /// The digest of the roster as it is known now; empty where this device has none.
    pub(crate) fn roster_digest(&self) -> String {
        self.roster().map(|roster| roster.digest().to_owned()).unwrap_or_default()
    }

    /// Every statement of the roster.
    pub fn roster_entries(&self) -> Vec<RosterEntry> {
        locked(&self.shop.roster).as_ref().map(|roster| roster.entries()).unwrap_or_default()
    }

    /// Makes the shop's root key on this device, and puts this device on the roster.
    pub fn found_shop(&self) -> Result<(), Refusal> {
        if locked(&self.shop.roster).is_some() {
            let help = "let others in, or merge with the shop's devices";
            return Err(Refusal::new(Code::EditRefused, "this device has a roster already", help));
        }
        let root = self.root()?;
        let name = self.name()?;
        let entry = membership(&root, self.key(), &name, Role::Office, self.now());
        self.enter_shop(root.public(), &[entry])
    }

    /// Takes the roster of a shop this device was let in to.
    pub(crate) fn enter_shop(
        &self,
        root: PublicKey,
        entries: &[RosterEntry],
    ) -> Result<(), Refusal> {
        let mut roster = Roster::under(root);
        roster.take(entries).map_err(not_a_roster)?;
        self.keep(roster)?;
        Ok(self.heard_of_roster()?)
    }

    /// Takes what another device of the shop knows of the roster.
    pub(crate) fn take_roster(&self, entries: &[RosterEntry]) -> Result<(), Refusal> {
        let Some(known) = self.roster().filter(|known| !known.knows(entries)) else {
            return Ok(());
        };
        let mut roster = Roster::clone(&known);
        if roster.take(entries).map_err(not_a_roster)? > 0 {
            self.keep(roster)?;
            self.heard_of_roster()?;
        }
        Ok(())
    }

    /// What follows from news on the roster: what this device had of those that were taken off is
    /// said, so that the others take it too, and what waited for such a word is taken.
    fn heard_of_roster(&self) -> Result<(), NodeError> {
        let Some(roster) = self.roster() else { return Ok(()) };
        if roster.writes(self.key()) {
            self.say_what_was_had(&roster)?;
        }
        let roster = self.roster();
        if self.lock().take_what_waited(roster.as_deref())? > 0 {
            self.background.edited();
        }
        Ok(())
    }

    /// Says which changes of devices that were taken off are part of documents here, where nobody
    /// has said so yet.
    fn say_what_was_had(&self, roster: &Roster) -> Result<(), NodeError> {
        let mut had = Vec::new();
        for key in roster.revoked() {
            let sealed = self.lock().store.sealed_by(key.to_bytes())?;
            had.extend(sealed.into_iter().filter(|(id, hash)| !roster.says_was_had(*id, *hash)));
        }
        if had.is_empty() {
            return Ok(());
        }
        let mut said = roster.clone();
        match said.take(&having(&self.key, &had)) {
            Ok(_) => self.keep(said),
            // A roster that is full says no more; what it would have said waits for a person.
            Err(refused) => {
                tracing::warn!(%refused, "what was had of devices taken off is not on the roster");
                Ok(())
            }
        }
    }

    /// Takes what waits of a device that was taken off, after a person has looked at it. Gives how
    /// many changes were taken.
    pub fn take_held(&self, key: PublicKey) -> Result<u64, Refusal> {
        let roster = self.roster().filter(|roster| roster.writes(self.key())).ok_or_else(|| {
            let help = "do it on a device of the shop that may write";
            Refusal::new(Code::Forbidden, "this device cannot answer for what waits", help)
        })?;
        let waits = self.set_aside()?;
        let of_key = |aside: &&SetAside| {
            aside.waits && aside.seal.as_ref().is_some_and(|seal| seal.key == key.to_bytes())
        };
        let had: Vec<_> = waits
            .iter()
            .filter(of_key)
            .map(|aside| (aside.entry.document, aside.entry.change.hash()))
            .collect();
        if had.is_empty() {
            let help = "merge, and look again at what waits";
            return Err(Refusal::new(Code::NotHere, "nothing of that device waits here", help));
        }
        let before = waits.len();
        let mut said = Roster::clone(&roster);
        said.take(&having(&self.key, &had)).map_err(not_a_roster)?;
        self.keep(said)?;
        self.heard_of_roster()?;
        Ok((before - self.set_aside()?.len()) as u64)
    }

    /// Opens the door for one device, which can be reached at these addresses.
    pub fn invite(&self, addresses: Vec<String>) -> Result<Invitation, Refusal> {
        if !self.lets_in() {
            let help = "ask on the device that started the shop: it has the root key";
            return Err(Refusal::new(Code::Forbidden, "this device cannot let others in", help));
        }
        let code = fresh_code().map_err(|error| {
            let help = "start the system's random number device";
            Refusal::new(Code::StoreFailed, error.to_string(), help)
        })?;
        let root = self.root()?.public();
        locked(&self.shop.door).invite(code.clone(), Instant::now());
        Ok(Invitation { root, host: self.key(), code, addresses })
    }

    /// The device that waits at the door: its name and the code to compare.
    pub fn at_door(&self) -> Option<(String, String)> {
        let door = locked(&self.shop.door);
        door.guest().map(|guest| (guest.name.clone(), guest.short.clone()))
    }

    /// Lets in the device at the door, where it shows this code.
    pub fn admit(&self, short: &str, role: Role) -> Result<(), Refusal> {
        let guest: Option<Guest> = locked(&self.shop.door).guest().cloned();
        let guest = guest.filter(|guest| guest.short == short.trim()).ok_or_else(|| {
            let help = "compare the code on both screens; another one means another device";
            Refusal::new(Code::Forbidden, "no device with that code is at the door", help)
        })?;
        let entry = membership(&self.root()?, guest.key, &guest.name, role, self.now());
        self.take_roster(&[entry])?;
        self.close_door();
        Ok(())
    }

    /// Takes a device off the roster, for good.
    pub fn revoke(&self, key: PublicKey, reason: &str) -> Result<(), Refusal> {
        if !self.lets_in() {
            let help = "do it on the device that started the shop: it has the root key";
            return Err(Refusal::new(Code::Forbidden, "this device cannot revoke others", help));
        }
        self.take_roster(&[revocation(&self.root()?, key, self.now(), reason)])
    }

    /// Where this device shares, while it does.
    pub(crate) async fn shared_at(&self) -> Option<SocketAddr> {
        self.shop.sharing.lock().await.as_ref().map(Sharing::address)
    }

    /// Shares with the shop's devices at an address, until [`Self::share_no_more`].
    pub async fn share(&self, address: SocketAddr) -> Result<SocketAddr, ListenError> {
        let mut sharing = self.shop.sharing.lock().await;
        if let Some(sharing) = &*sharing {
            return Ok(sharing.address());
        }
        let started = Sharing::start(self, address).await?;
        let address = started.address();
        *sharing = Some(started);
        self.background.look();
        Ok(address)
    }

    /// Ends it, after what is under way is answered.
    pub async fn share_no_more(&self) {
        let sharing = self.shop.sharing.lock().await.take();
        if let Some(sharing) = sharing {
            sharing.stop().await;
        }
        self.background.look();
    }

    pub(crate) fn door_is_open(&self) -> bool {
        locked(&self.shop.door).is_open(Instant::now())
    }

    /// Closes the door.
    pub fn close_door(&self) {
        locked(&self.shop.door).close();
    }

    pub(crate) fn knocked(&self, key: PublicKey, name: &str, code: &str) -> Result<String, Shut> {
        let name: String = name.chars().filter(|c| !c.is_control()).take(120).collect();
        locked(&self.shop.door).knock(self.key(), key, &name, code, Instant::now())
    }

    /// Reads the roster as it is on disk. One that cannot be read admits nobody, and is told of.
    pub(crate) fn learn_roster(&self, documents: &Documents) {
        // Nothing that arrived is put in place before it is known who may write.
        let kept = documents.store.setting(ROSTER);
        match kept.map_err(|error| error.to_string()).and_then(|kept| read(kept.as_deref())) {
            Ok(roster) => {
                *locked(&self.shop.roster) = roster.map(Arc::new);
                *locked(&self.shop.fault) = None;
            }
            Err(fault) => *locked(&self.shop.fault) = Some(fault),
        }
    }

    /// Why the roster on disk could not be read, where it could not: then nobody is admitted.
    pub fn roster_fault(&self) -> Option<String> {
        locked(&self.shop.fault).clone()
    }

    /// Keeps a roster, with what another process of this node may have kept of it meanwhile.
    fn keep(&self, mut roster: Roster) -> Result<(), NodeError> {
        let mut documents = self.lock();
        if let Some(known) = self.roster().filter(|known| known.root() == roster.root()) {
            // What was taken once is taken again; a roster that is full stays as it was said.
            if let Err(refused) = roster.take(&known.entries()) {
                tracing::warn!(%refused, "what another process heard of the roster waits");
            }
        }
        let entries = serde_json::to_string(&roster.entries()).expect("text keys only");
        let text = format!("{}\n{entries}", roster.root());
        documents.store.set_setting(ROSTER, &text)?;
        *locked(&self.shop.roster) = Some(Arc::new(roster));
        Ok(())
    }

    fn root(&self) -> Result<DeviceKey, Refusal> {
        DeviceKey::open_root(&self.shop.dir, self.keys())
            .map_err(|error| Refusal::new(Code::StoreFailed, error.to_string(), error.help()))
    }
}

fn read(kept: Option<&str>) -> Result<Option<Roster>, String> {
    let Some(text) = kept else { return Ok(None) };
    let damaged = |what: &dyn std::fmt::Display| format!("the roster on disk is damaged: {what}");
    let (root, entries) = text.split_once('\n').ok_or_else(|| damaged(&"it has no root key"))?;
    let root = root.parse().map_err(|error| damaged(&error))?;
    let entries: Vec<RosterEntry> =
        serde_json::from_str(entries).map_err(|error| damaged(&error))?;
    let mut roster = Roster::under(root);
    roster.take(&entries).map_err(|error| damaged(&error))?;
    Ok(Some(roster))
}

fn not_a_roster(error: RosterRefused) -> Refusal {
    let help = "merge with another device of the shop; what was known before stands";
    Refusal::new(Code::Forbidden, error.to_string(), help)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_damaged_roster_admits_nobody_and_is_told_of() {
        let folder = tempfile::tempdir().unwrap();
        let node = Node::open(folder.path()).unwrap();
        node.found_shop().unwrap();
        assert!(node.is_member() && node.roster_fault().is_none());
        node.lock().store.set_setting(ROSTER, "nonsense").unwrap();
        drop(node);
        let node = Node::open(folder.path()).unwrap();
        assert!(!node.is_member());
        assert!(node.roster_fault().unwrap().contains("no root key"));
    }
}
