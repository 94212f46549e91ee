//! Goal: a change is taken for whose it is, whoever carried it. Method: documents written by the
//! devices of a small shop, their changes sorted with and without seals and words of the roster.

use guyline_core::record::Document;
use guyline_core::time::Timestamp;

use super::*;
use crate::fixture::{author, id, note};
use crate::identity::{DeviceKey, Role, RosterEntry, fresh_actor, having, membership, revocation};

fn key() -> DeviceKey {
    let folder = tempfile::tempdir().unwrap();
    DeviceKey::open(folder.path()).unwrap()
}

fn at() -> Timestamp {
    Timestamp::parse("2026-05-14T10:20:00Z").unwrap()
}

/// A shop of three devices, and one more that is nobody's.
struct Devices {
    root: DeviceKey,
    ines: DeviceKey,
    tobias: DeviceKey,
    reader: DeviceKey,
    stranger: DeviceKey,
}

impl Devices {
    fn new() -> Self {
        Self { root: key(), ines: key(), tobias: key(), reader: key(), stranger: key() }
    }

    fn roster(&self, also: &[RosterEntry]) -> Roster {
        let mut roster = Roster::under(self.root.public());
        let member = |key: &DeviceKey, name: &str, role| {
            membership(&self.root, key.public(), name, role, at())
        };
        let entries = [
            member(&self.ines, "Ines", Role::Crew),
            member(&self.tobias, "Tobias", Role::Crew),
            member(&self.reader, "reader", Role::ReadOnly),
        ];
        roster.take(&entries).unwrap();
        roster.take(also).unwrap();
        roster
    }

    fn taken_off(&self) -> RosterEntry {
        revocation(&self.root, self.tobias.public(), at(), "stolen")
    }
}

/// A session that one device begins and the next ones go on with: one change each.
fn written_by(devices: &[&DeviceKey]) -> Vec<Change> {
    let first = fresh_actor(devices[0].public());
    let (_, made) =
        Document::create_session(id(1), id(0), "lookout-vhf", "WO 1", first, &author()).unwrap();
    let mut changes = vec![made];
    for (index, device) in devices.iter().enumerate().skip(1) {
        let actor = fresh_actor(device.public());
        let mut document = Document::from_changes(id(1), changes.clone(), actor).unwrap();
        let edit = note(&format!("n{index}"), "it rained");
        changes.push(document.apply(&edit, &author()).unwrap());
    }
    changes
}

fn why(sorted: &Sorted) -> Vec<Held> {
    sorted.held.iter().map(|(_, why)| *why).collect()
}

#[test]
fn the_newest_seal_covers_all_that_its_device_wrote_before() {
    let all = Devices::new();
    let changes = written_by(&[&all.ines, &all.tobias, &all.ines]);
    let seals = vec![all.ines.seal(id(1), &changes[2]), all.tobias.seal(id(1), &changes[1])];
    let sorted = sort(id(1), changes.clone(), seals, Some(&all.roster(&[])));
    assert_eq!(sorted.admitted, changes);
}

#[test]
fn who_carries_a_change_cannot_seal_it_for_another() {
    let all = Devices::new();
    let changes = written_by(&[&all.ines, &all.tobias, &all.ines]);
    // Ines builds on what Tobias wrote, and even seals it: it is still not his word.
    let seals = vec![all.ines.seal(id(1), &changes[2]), all.ines.seal(id(1), &changes[1])];
    let sorted = sort(id(1), changes.clone(), seals, Some(&all.roster(&[])));
    assert_eq!(why(&sorted), [Held::Unproved]);
    assert_eq!(sorted.held[0].0, changes[1]);
    // Without a roster the same holds: it says who may write, never who wrote.
    let seals = vec![all.ines.seal(id(1), &changes[2])];
    let sorted = sort(id(1), changes.clone(), seals, None);
    assert_eq!(why(&sorted), [Held::Unproved]);
}

#[test]
fn a_seal_of_another_document_or_a_changed_one_counts_for_nothing() {
    let all = Devices::new();
    let changes = written_by(&[&all.ines]);
    let elsewhere = all.ines.seal(id(2), &changes[0]);
    let mut changed = all.ines.seal(id(1), &changes[0]);
    changed.signature[9] ^= 1;
    let sorted = sort(id(1), changes, vec![elsewhere, changed], Some(&all.roster(&[])));
    assert_eq!(why(&sorted), [Held::Unproved]);
    assert!(sorted.seals.is_empty());
}

#[test]
fn strangers_and_readers_write_nothing() {
    let all = Devices::new();
    for (device, expected) in [
        (&all.stranger, Held::Stranger(all.stranger.public())),
        (&all.reader, Held::ReadsOnly(all.reader.public())),
    ] {
        let changes = written_by(&[&all.ines, device]);
        let seals = vec![all.ines.seal(id(1), &changes[0]), device.seal(id(1), &changes[1])];
        let sorted = sort(id(1), changes.clone(), seals, Some(&all.roster(&[])));
        assert_eq!(sorted.admitted, changes[..1]);
        assert_eq!(why(&sorted), [expected]);
    }
}

#[test]
fn what_a_device_wrote_before_it_was_taken_off_stays_where_somebody_had_it() {
    let all = Devices::new();
    let changes = written_by(&[&all.tobias, &all.ines, &all.tobias]);
    let seals = || {
        vec![
            all.tobias.seal(id(1), &changes[0]),
            all.ines.seal(id(1), &changes[1]),
            all.tobias.seal(id(1), &changes[2]),
        ]
    };
    let off = all.roster(&[all.taken_off()]);
    // Ines built on the first one, so she had it; nobody is known to have had the last.
    let sorted = sort(id(1), changes.clone(), seals(), Some(&off));
    assert_eq!(sorted.admitted, changes[..2]);
    assert_eq!(why(&sorted), [Held::TakenOff(all.tobias.public())]);

    // Ines says that she had the last one too.
    let last = [(id(1), changes[2].hash())];
    let mut said = vec![all.taken_off()];
    said.extend(having(&all.ines, &last));
    let sorted = sort(id(1), changes.clone(), seals(), Some(&all.roster(&said)));
    assert_eq!(sorted.admitted, changes);

    // That word of somebody who may not write counts for nothing, and neither does his own.
    for by in [&all.reader, &all.stranger, &all.tobias] {
        let mut said = vec![all.taken_off()];
        said.extend(having(by, &last));
        let sorted = sort(id(1), changes.clone(), seals(), Some(&all.roster(&said)));
        assert_eq!(sorted.held.len(), 1);
    }
}

#[test]
fn one_that_was_taken_off_does_not_keep_the_others_out() {
    let all = Devices::new();
    let off = all.roster(&[all.taken_off()]);
    let begun = written_by(&[&all.ines]);
    let by = |device: &DeviceKey, text: &str| {
        let actor = fresh_actor(device.public());
        let mut document = Document::from_changes(id(1), begun.clone(), actor).unwrap();
        document.apply(&note(text, text), &author()).unwrap()
    };
    let (his, hers) = (by(&all.tobias, "his"), by(&all.ines, "hers"));
    let changes = vec![begun[0].clone(), his.clone(), hers.clone()];
    let seals = vec![
        all.ines.seal(id(1), &begun[0]),
        all.tobias.seal(id(1), &his),
        all.ines.seal(id(1), &hers),
    ];
    let sorted = sort(id(1), changes, seals, Some(&off));
    assert_eq!(sorted.admitted, [begun[0].clone(), hers]);
    assert_eq!(sorted.held[0].0, his);
}

#[test]
fn what_is_nobodys_comes_with_what_builds_on_it() {
    let all = Devices::new();
    let (mut document, first) = crate::fixture::session(1);
    let second = document.apply(&note("n1", "old"), &author()).unwrap();
    let old = vec![first, second];
    let actor = fresh_actor(all.ines.public());
    let mut hers = Document::from_changes(id(1), old.clone(), actor).unwrap();
    let new = hers.apply(&note("n2", "new"), &author()).unwrap();
    let roster = all.roster(&[]);
    let changes = [old.clone(), vec![new.clone()]].concat();
    let sorted = sort(id(1), changes.clone(), vec![all.ines.seal(id(1), &new)], Some(&roster));
    assert_eq!(sorted.admitted, changes);
    // A member may answer for it by itself, a stranger may not, and nobody does not.
    let by = |device: &DeviceKey| vec![device.seal(id(1), &old[1])];
    assert_eq!(sort(id(1), old.clone(), by(&all.ines), Some(&roster)).admitted, old);
    let stranger = Held::Stranger(all.stranger.public());
    let sorted = sort(id(1), old.clone(), by(&all.stranger), Some(&roster));
    assert_eq!(why(&sorted), [stranger, stranger]);
    let sorted = sort(id(1), old.clone(), Vec::new(), Some(&roster));
    assert_eq!(why(&sorted), [Held::Unproved, Held::Unproved]);
}

#[test]
fn devices_that_know_the_same_say_the_same_in_whatever_order_it_came() {
    let all = Devices::new();
    let by = [&all.tobias, &all.ines, &all.tobias, &all.stranger];
    let changes = written_by(&by);
    let seals: Vec<Seal> =
        changes.iter().zip(by).map(|(change, by)| by.seal(id(1), change)).collect();
    let roster = all.roster(&[all.taken_off()]);
    let taken = |order: &[usize]| {
        let mixed = order.iter().map(|at| changes[*at].clone()).collect();
        let sorted = sort(id(1), mixed, seals.clone(), Some(&roster));
        sorted.admitted.iter().map(Change::hash).collect::<BTreeSet<_>>()
    };
    // Ines built on the first one; nobody on what came after hers.
    let expected = BTreeSet::from([changes[0].hash(), changes[1].hash()]);
    for order in [[0, 1, 2, 3], [3, 2, 1, 0], [2, 0, 3, 1], [1, 3, 0, 2]] {
        assert_eq!(taken(&order), expected, "{order:?}");
    }
}
