//! How devices of one shop recognise each other in the open without telling strangers who they are.
//!
//! In: the shop's root key, a device's key, a nonce. Out: a tag to announce, and whose a heard tag
//! is. The root key is public among the shop's devices and is given to nobody else; without it a
//! tag is three random-looking numbers, new with every start. A tag may be copied by anybody, so it
//! proves nothing: it says which one key to ask for, and TLS asks.

use sha2::{Digest, Sha256};

use crate::identity::PublicKey;

const PURPOSE: &[u8] = b"guyline nearby 1\0";
const BYTES: usize = 8;

/// What a device announces of itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Tag {
    nonce: [u8; BYTES],
    shop: [u8; BYTES],
    device: [u8; BYTES],
}

impl Tag {
    /// The tag of a device.
    pub(super) fn of(root: PublicKey, device: PublicKey, nonce: [u8; BYTES]) -> Self {
        let shop = keyed(root, nonce, &[]);
        Self { nonce, shop, device: keyed(root, nonce, &device.to_bytes()) }
    }

    /// As text, by what each part is called there.
    pub(super) fn texts(&self) -> [(&'static str, String); 3] {
        [("n", hex(self.nonce)), ("s", hex(self.shop)), ("d", hex(self.device))]
    }

    /// The tag somebody announces, if it is one.
    pub(super) fn read<'a>(part: impl Fn(&str) -> Option<&'a str>) -> Option<Self> {
        let part = |name| unhex(part(name)?);
        Some(Self { nonce: part("n")?, shop: part("s")?, device: part("d")? })
    }

    /// Whose it says it is, among a shop's devices. One hash for what is of no use, however many
    /// devices the shop has.
    pub(super) fn whose(
        &self,
        root: PublicKey,
        mut devices: impl Iterator<Item = PublicKey>,
    ) -> Option<PublicKey> {
        if keyed(root, self.nonce, &[]) != self.shop {
            return None;
        }
        devices.find(|device| keyed(root, self.nonce, &device.to_bytes()) == self.device)
    }
}

/// Every part has a fixed length, so no two questions are hashed alike.
fn keyed(root: PublicKey, nonce: [u8; BYTES], of: &[u8]) -> [u8; BYTES] {
    let mut hash = Sha256::new();
    hash.update(PURPOSE);
    hash.update(root.to_bytes());
    hash.update(nonce);
    hash.update(of);
    let whole: [u8; 32] = hash.finalize().into();
    std::array::from_fn(|at| whole[at])
}

pub(super) fn hex(bytes: [u8; BYTES]) -> String {
    format!("{:016x}", u64::from_be_bytes(bytes))
}

fn unhex(text: &str) -> Option<[u8; BYTES]> {
    let digits = text.bytes().all(|digit| digit.is_ascii_hexdigit());
    let whole = text.len() == 2 * BYTES && digits;
    whole.then(|| u64::from_str_radix(text, 16).ok()).flatten().map(u64::to_be_bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(n: u8) -> PublicKey {
        PublicKey::from_bytes([n; 32])
    }

    #[test]
    fn a_shops_devices_know_each_other_and_strangers_see_nothing_that_stays() {
        let shop = || [1, 2, 3].map(key).into_iter();
        let tag = Tag::of(key(9), key(2), [7; 8]);
        assert_eq!(tag.whose(key(9), shop()), Some(key(2)));
        assert_eq!(tag.whose(key(8), shop()), None, "another shop's root key");
        assert_eq!(Tag::of(key(9), key(5), [7; 8]).whose(key(9), shop()), None, "not of the shop");
        let again = Tag::of(key(9), key(2), [8; 8]);
        for ((_, first), (_, second)) in tag.texts().iter().zip(again.texts()) {
            assert_ne!(*first, second, "nothing stays from one start to the next");
        }
    }

    #[test]
    fn a_tag_is_read_as_it_was_written_and_nothing_else_is() {
        let tag = Tag::of(key(9), key(2), [7; 8]);
        let texts = tag.texts();
        let find = |name: &str| texts.iter().find(|(own, _)| *own == name).map(|(_, t)| t.as_str());
        assert_eq!(Tag::read(find), Some(tag));
        for wrong in ["", "0", "00000000000000000", "+123456789abcdef", "zzzzzzzzzzzzzzzz"] {
            assert_eq!(Tag::read(|name| if name == "s" { Some(wrong) } else { find(name) }), None);
        }
        assert_eq!(Tag::read(|_| None), None);
    }
}
