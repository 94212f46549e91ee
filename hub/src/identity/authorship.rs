//! Whose a change is: actors that belong to a device's key, and the seal a device sets on a change.
//!
//! In: keys and changes. Out: actors, seals, and whether a seal proves what it says. Knows no
//! store, no roster and no exchange: who may write, [`super::admission`] says.
//!
//! An actor of a device is 20 bytes: 8 random ones, then the first 12 of
//! SHA-256("guyline actor 1\0" ‖ key ‖ those 8). Nobody else can make a key that fits it. A seal is
//! a signature of "guyline change 1\0" ‖ document (16) ‖ sequence number (u64, big-endian) ‖
//! change hash (32) ‖ actor. A change names its causes by hash, so the newest seal of an actor
//! covers all that the device wrote before. Actors of another length are from before there were
//! seals, or the one that raises old documents: whoever builds on such a change answers for it.

use automerge::{ActorId, Change};
use guyline_core::record::DocumentId;
use sha2::{Digest, Sha256};

use super::device_key::CHANGE;
use super::{DeviceKey, PublicKey, SignatureRefused};
use crate::log::{Seal, fresh_bytes};

const ACTOR: &[u8] = b"guyline actor 1\0";
const CHANCE_BYTES: usize = 8;
const ACTOR_BYTES: usize = 20;

/// An actor of a device that it never used before.
pub fn fresh_actor(key: PublicKey) -> ActorId {
    let chance: [u8; 16] = fresh_bytes();
    ActorId::from(actor_of(key, &chance[..CHANCE_BYTES]).as_slice())
}

/// Whether an actor belongs to a key.
pub fn is_of(actor: &ActorId, key: PublicKey) -> bool {
    let bytes = actor.to_bytes();
    has_owner(actor) && actor_of(key, &bytes[..CHANCE_BYTES]) == *bytes
}

/// Whether an actor belongs to some key.
pub fn has_owner(actor: &ActorId) -> bool {
    actor.to_bytes().len() == ACTOR_BYTES
}

fn actor_of(key: PublicKey, chance: &[u8]) -> [u8; ACTOR_BYTES] {
    let digest =
        Sha256::new().chain_update(ACTOR).chain_update(key.to_bytes()).chain_update(chance);
    let digest = digest.finalize();
    let mut actor = [0; ACTOR_BYTES];
    actor[..CHANCE_BYTES].copy_from_slice(chance);
    actor[CHANCE_BYTES..].copy_from_slice(&digest[..ACTOR_BYTES - CHANCE_BYTES]);
    actor
}

impl DeviceKey {
    /// Seals a change of a document.
    pub fn seal(&self, document: DocumentId, change: &Change) -> Seal {
        let (actor, sequence) = (change.actor_id().clone(), change.seq());
        let text = sealed_text(document, &actor, sequence, change.hash().0);
        let signature = self.sign_bytes(CHANGE, &text);
        let key = self.public().to_bytes();
        Seal { change: change.hash(), actor, sequence, key, signature }
    }
}

/// Whether a seal was made by the key it names, of the change it names.
pub fn proves(document: DocumentId, seal: &Seal) -> Result<(), SignatureRefused> {
    let text = sealed_text(document, &seal.actor, seal.sequence, seal.change.0);
    PublicKey::from_bytes(seal.key).verify_bytes(CHANGE, &text, &seal.signature)
}

fn sealed_text(document: DocumentId, actor: &ActorId, sequence: u64, change: [u8; 32]) -> Vec<u8> {
    let document = document.to_bytes();
    [&document, sequence.to_be_bytes().as_slice(), &change, actor.to_bytes()].concat()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture::{id, session};

    fn key() -> DeviceKey {
        let folder = tempfile::tempdir().unwrap();
        DeviceKey::open(folder.path()).unwrap()
    }

    #[test]
    fn an_actor_belongs_to_one_key_and_old_ones_to_none() {
        let (mine, other) = (key().public(), key().public());
        let actor = fresh_actor(mine);
        assert!(is_of(&actor, mine) && !is_of(&actor, other));
        assert_ne!(actor, fresh_actor(mine), "no start goes on under an old one");
        let mut turned = actor.to_bytes().to_vec();
        for at in 0..turned.len() {
            turned[at] ^= 1;
            assert!(!is_of(&ActorId::from(turned.as_slice()), mine), "byte {at}");
            turned[at] ^= 1;
        }
        let old = ActorId::random();
        assert!(!has_owner(&old) && !is_of(&old, mine));
    }

    #[test]
    fn a_seal_proves_its_change_in_its_document_and_nothing_else() {
        let (mine, other) = (key(), key());
        let (_, change) = session(1);
        let seal = mine.seal(id(1), &change);
        assert_eq!(proves(id(1), &seal), Ok(()));
        assert_eq!(proves(id(2), &seal), Err(SignatureRefused::False), "another document");
        let (_, another) = session(3);
        let moved = Seal { change: another.hash(), ..seal.clone() };
        assert_eq!(proves(id(1), &moved), Err(SignatureRefused::False), "another change");
        let later = Seal { sequence: 2, ..seal.clone() };
        assert_eq!(proves(id(1), &later), Err(SignatureRefused::False), "another number");
        let renamed = Seal { actor: fresh_actor(mine.public()), ..seal.clone() };
        assert_eq!(proves(id(1), &renamed), Err(SignatureRefused::False), "another actor");
        let claimed = Seal { key: other.public().to_bytes(), ..seal };
        assert_eq!(proves(id(1), &claimed), Err(SignatureRefused::False), "another key");
    }
}
