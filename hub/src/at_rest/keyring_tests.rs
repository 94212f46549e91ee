//! A keyring opens what it was told to and nothing else, and whatever becomes of it the passphrase
//! does. The keyring is one in memory.

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;

use super::*;
use crate::Node;
use crate::at_rest::{Cost, is_encrypted};

/// Cheap, so that tests can try many.
const COST: Cost = Cost { memory_kib: 64, passes: 1, lanes: 1 };

/// A keyring in memory, which counts how often it is asked.
#[derive(Default)]
struct InMemory {
    items: RefCell<BTreeMap<String, Vec<u8>>>,
    fault: RefCell<Option<RingFault>>,
    asked: Cell<u32>,
}

impl InMemory {
    fn answers(&self) -> Result<(), RingFault> {
        self.asked.set(self.asked.get() + 1);
        self.fault.borrow().clone().map_or(Ok(()), Err)
    }

    fn held(&self) -> usize {
        self.items.borrow().len()
    }
}

impl Keyring for InMemory {
    fn put(&self, item: &str, _: &str, secret: &[u8]) -> Result<(), RingFault> {
        self.answers()?;
        self.items.borrow_mut().insert(item.to_owned(), secret.to_vec());
        Ok(())
    }

    fn get(&self, item: &str) -> Result<Zeroizing<Vec<u8>>, RingFault> {
        self.answers()?;
        let kept = self.items.borrow().get(item).cloned();
        kept.map(Zeroizing::new).ok_or(RingFault::Lost)
    }

    fn forget(&self, item: &str) -> Result<(), RingFault> {
        self.answers()?;
        self.items.borrow_mut().remove(item).map(drop).ok_or(RingFault::Lost)
    }
}

fn words(text: &str) -> Passphrase {
    Passphrase::new(text).unwrap()
}

fn right() -> Passphrase {
    words("seven guyed masts in fog")
}

/// An encrypted node that a keyring opens too, and the key of its device.
fn made(ring: &InMemory) -> (tempfile::TempDir, String) {
    let folder = tempfile::tempdir().unwrap();
    let key = Node::open(folder.path()).unwrap().key().to_string();
    switch::on(folder.path(), &right(), COST).unwrap();
    on(folder.path(), &right(), ring).unwrap();
    (folder, key)
}

fn opened(dir: &Path, ring: &InMemory) -> String {
    let keys = keys(dir, ring).unwrap().expect("a keyring opens it");
    Node::unlock_with(dir, keys).unwrap().key().to_string()
}

fn by_passphrase(dir: &Path) -> String {
    Node::unlock(dir, &right()).unwrap().key().to_string()
}

#[test]
fn a_keyring_opens_the_folder_and_the_passphrase_does_as_before() {
    let ring = InMemory::default();
    let (folder, key) = made(&ring);
    assert_eq!(opened(folder.path(), &ring), key);
    assert_eq!(by_passphrase(folder.path()), key);
    let (kept, file) = {
        let items = ring.items.borrow();
        let kept = items.values().next().unwrap().clone();
        (kept, std::fs::read_to_string(folder.path().join(FILE)).unwrap())
    };
    assert!(!file.contains(&text_of(&kept)), "the file does not hold what opens it");
    assert!(!String::from_utf8_lossy(&kept).contains("masts"), "nor the keyring the passphrase");

    on(folder.path(), &right(), &ring).unwrap();
    assert_eq!(ring.held(), 1, "the item before it is gone");
    assert_ne!(ring.items.borrow().values().next().unwrap(), &kept, "another secret is drawn");
    assert_eq!(opened(folder.path(), &ring), key);

    assert_eq!(off(folder.path(), &right(), &ring).unwrap(), None);
    assert_eq!(ring.held(), 0);
    assert!(keys(folder.path(), &ring).unwrap().is_none() && !is_on(folder.path()));
    assert_eq!(by_passphrase(folder.path()), key);
}

#[test]
fn nothing_asks_a_keyring_unless_the_folder_names_one() {
    let ring = InMemory::default();
    let folder = tempfile::tempdir().unwrap();
    drop(Node::open(folder.path()).unwrap());
    assert!(keys(folder.path(), &ring).unwrap().is_none());
    let plain = on(folder.path(), &right(), &ring).unwrap_err();
    assert!(plain.to_string().contains("is not encrypted"), "{plain}");
    switch::on(folder.path(), &right(), COST).unwrap();
    assert!(keys(folder.path(), &ring).unwrap().is_none());
    on(folder.path(), &words("seven guyed masts in rain"), &ring).unwrap_err();
    assert!(!is_on(folder.path()), "another passphrase switches nothing");
    assert_eq!(ring.asked.get(), 0);
}

#[test]
fn whatever_a_keyring_says_the_passphrase_opens_the_folder() {
    let ring = InMemory::default();
    let (folder, key) = made(&ring);
    let absent = RingFault::Absent { said: "no bus".to_owned() };
    for fault in [absent, RingFault::Locked, RingFault::Failed { said: "timed out".to_owned() }] {
        *ring.fault.borrow_mut() = Some(fault.clone());
        assert_eq!(keys(folder.path(), &ring).unwrap_err(), fault);
        assert_eq!(by_passphrase(folder.path()), key);
        // Switched on anew it stays as it was, so that the item is not left without its file.
        on(folder.path(), &right(), &ring).unwrap_err();
        assert!(is_on(folder.path()));
    }
    *ring.fault.borrow_mut() = None;
    assert_eq!(opened(folder.path(), &ring), key);
    // On another machine, or taken away by its owner.
    let elsewhere = InMemory::default();
    assert_eq!(keys(folder.path(), &elsewhere).unwrap_err(), RingFault::Lost);
    for wrong in [vec![7; 32], vec![7; 31], Vec::new()] {
        ring.items.borrow_mut().values_mut().for_each(|kept| kept.clone_from(&wrong));
        assert_eq!(keys(folder.path(), &ring).unwrap_err(), RingFault::Unfit);
    }
    for damaged in [&b"{}"[..], b"", b"\xff\xfe"] {
        std::fs::write(folder.path().join(FILE), damaged).unwrap();
        assert_eq!(keys(folder.path(), &ring).unwrap_err(), RingFault::Unfit);
    }
    assert_eq!(by_passphrase(folder.path()), key);
    on(folder.path(), &right(), &ring).unwrap();
    assert_eq!(opened(folder.path(), &ring), key, "and can be switched on again");
}

#[test]
fn it_is_switched_off_without_the_keyring_too_and_tells_what_stays_in_there() {
    let ring = InMemory::default();
    let (folder, key) = made(&ring);
    off(folder.path(), &words("seven guyed masts in rain"), &ring).unwrap_err();
    assert!(is_on(folder.path()), "who does not know the passphrase would lock themselves out");
    *ring.fault.borrow_mut() = Some(RingFault::Locked);
    assert_eq!(off(folder.path(), &right(), &ring).unwrap(), Some(RingFault::Locked));
    assert!(!is_on(folder.path()));
    assert_eq!(by_passphrase(folder.path()), key);
}

#[test]
fn another_passphrase_leaves_it_and_another_encryption_does_not() {
    let ring = InMemory::default();
    let (folder, key) = made(&ring);
    let new = words("another one entirely");
    switch::change(folder.path(), &right(), &new, COST).unwrap();
    assert_eq!(opened(folder.path(), &ring), key);
    switch::off(folder.path(), &new).unwrap();
    assert!(!folder.path().join(FILE).exists(), "what it opened is no more");
    switch::on(folder.path(), &new, COST).unwrap();
    assert!(keys(folder.path(), &ring).unwrap().is_none());
    // A release that knew no keyring leaves its file where another key is drawn.
    std::fs::write(folder.path().join(FILE), b"left").unwrap();
    switch::off(folder.path(), &new).unwrap();
    std::fs::write(folder.path().join(FILE), b"left").unwrap();
    switch::on(folder.path(), &new, COST).unwrap();
    assert!(is_encrypted(folder.path()).unwrap() && !is_on(folder.path()));
}

/// Answers nothing more after so many questions, as after a kill.
struct Killed<'a> {
    ring: &'a InMemory,
    left: Cell<u32>,
}

impl Killed<'_> {
    fn step(&self) {
        assert!(self.left.get() > 0, "killed");
        self.left.set(self.left.get() - 1);
    }
}

impl Keyring for Killed<'_> {
    fn put(&self, item: &str, label: &str, secret: &[u8]) -> Result<(), RingFault> {
        self.step();
        self.ring.put(item, label, secret)?;
        self.step();
        Ok(())
    }

    fn get(&self, item: &str) -> Result<Zeroizing<Vec<u8>>, RingFault> {
        self.ring.get(item)
    }

    fn forget(&self, item: &str) -> Result<(), RingFault> {
        self.step();
        self.ring.forget(item)?;
        self.step();
        Ok(())
    }
}

#[test]
fn cut_off_before_or_after_each_step_it_opens_and_no_item_is_without_its_file() {
    type Switch = fn(&Path, &Killed<'_>);
    let ways: [(&str, bool, Switch); 3] = [
        ("on", false, |dir, ring| on(dir, &right(), ring).unwrap()),
        ("on again", true, |dir, ring| on(dir, &right(), ring).unwrap()),
        ("off", true, |dir, ring| drop(off(dir, &right(), ring).unwrap())),
    ];
    for (way, before, switch) in ways {
        let mut cut = 0;
        loop {
            let ring = InMemory::default();
            let (folder, key) = made(&ring);
            if !before {
                off(folder.path(), &right(), &ring).unwrap();
            }
            let killed = Killed { ring: &ring, left: Cell::new(cut) };
            let ended = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
                switch(folder.path(), &killed);
            }));
            assert_eq!(by_passphrase(folder.path()), key, "{way} after {cut}");
            match keys(folder.path(), &ring) {
                Ok(None) => assert_eq!(ring.held(), 0, "{way} after {cut} left an item"),
                Ok(Some(_)) => assert_eq!(opened(folder.path(), &ring), key),
                Err(fault) => assert_eq!(fault, RingFault::Lost, "{way} after {cut}"),
            }
            // Done once more it comes out as it should.
            on(folder.path(), &right(), &ring).unwrap();
            assert_eq!((opened(folder.path(), &ring), ring.held()), (key, 1));
            if ended.is_ok() {
                break;
            }
            cut += 1;
        }
        assert!(cut >= 2, "{way} was never cut off");
    }
}
