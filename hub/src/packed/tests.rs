//! Goal: changes come out as they went in, to the byte, and anything else is refused with where and
//! why, within bounded memory. Method: changes of real documents, of several in turn and by several
//! actors, changes no lane has room for, every truncation, and seeded noise.

use automerge::transaction::{CommitOptions, Transactable};
use automerge::{ActorId, AutoCommit, ObjType, ROOT};

use super::*;
use crate::chunk::Chunk;
use crate::fixture::{Seeded, author, id, note, session, session_with_notes};

fn entry(document: u8, change: &automerge::Change) -> LogEntry {
    LogEntry { document: id(document), change: Chunk::from(change) }
}

/// Three documents in turn, a change that comes twice, and two from a document's middle.
fn several() -> (Vec<LogEntry>, Vec<(u32, Seal)>) {
    let (_, one) = session_with_notes(1, 20);
    let (_, two) = session_with_notes(3, 20);
    let mut entries: Vec<LogEntry> = Vec::new();
    for (first, second) in one.iter().zip(&two[5..]) {
        entries.extend([entry(1, first), entry(2, second)]);
    }
    entries.push(entry(1, &one[3]));
    entries.extend(two.iter().map(|change| entry(3, change)));
    let seal = |place: usize, key: u8| {
        let change = &entries[place].change;
        let (actor, sequence) = change.made_by();
        let (key, signature) = ([key; 32], [key; 64]);
        (place as u32, Seal { change: change.hash(), actor, sequence, key, signature })
    };
    let seals = vec![seal(0, 9), seal(4, 1), seal(4, 9), seal(entries.len() - 1, 1)];
    (entries, seals)
}

/// Whether they come out as they went in.
fn come_back(entries: &[LogEntry], seals: &[(u32, Seal)]) {
    let packed = Packed::of(entries, seals);
    let again = Packed::claimed(packed.bytes().to_vec()).unwrap();
    assert_eq!(again.count() as usize, entries.len());
    let content = again.content().unwrap();
    assert_eq!((content.entries.as_slice(), content.seals.as_slice()), (entries, seals));
    let weighed = again.weigh().unwrap();
    let documents = entries.iter().map(|entry| entry.document).collect();
    assert_eq!(weighed, Weighed { documents, seals: seals.len() });
}

/// This content as it stands, of so many changes.
fn plain(content: &[u8], count: u32) -> Vec<u8> {
    let length = (content.len() as u32).to_le_bytes();
    [count.to_le_bytes().as_slice(), &length, &[frame::PLAIN], content].concat()
}

fn content(bytes: Vec<u8>) -> Result<Content, MalformedPacked> {
    Packed::claimed(bytes)?.content()
}

#[test]
fn changes_come_out_as_they_went_in() {
    let (entries, seals) = several();
    come_back(&entries, &seals);
    come_back(&entries[..1], &[]);
    come_back(&[], &[]);
}

#[test]
fn changes_by_several_that_build_on_each_other_come_out_as_they_went_in() {
    let mut mine = AutoCommit::new().with_actor(ActorId::from([1; 16]));
    let list = mine.put_object(ROOT, "list", ObjType::List).unwrap();
    mine.commit_with(CommitOptions::default().with_message("make").with_time(1_700_000_000));
    let mut theirs = mine.fork().with_actor(ActorId::from([2; 20]));
    for round in 0..6 {
        mine.insert(&list, 0, i64::from(round) * -70).unwrap();
        // Back in time, too: what a clock says is nobody's to correct.
        mine.commit_with(CommitOptions::default().with_time(1_700_000_000 - i64::from(round) * 90));
        theirs.put(ROOT, "who", round).unwrap();
        theirs.delete(&list, 0).ok();
        theirs.commit();
        if round % 2 == 1 {
            mine.merge(&mut theirs).unwrap();
            theirs.merge(&mut mine).unwrap();
        }
    }
    mine.empty_change(CommitOptions::default().with_message("nothing"));
    let changes = mine.get_changes(&[]);
    assert!(changes.iter().any(|change| change.deps().len() == 2), "some build on two");
    let entries: Vec<LogEntry> = changes.iter().map(|change| entry(7, change)).collect();
    come_back(&entries, &[]);
}

#[test]
fn a_change_there_is_no_lane_for_goes_as_it_is() {
    let long = ActorId::from(vec![5; lanes::ACTOR_BYTES_MAX + 1]);
    let mut document = AutoCommit::new().with_actor(long);
    document.put(ROOT, "key", "value").unwrap();
    document.commit();
    document.put(ROOT, "key", "another").unwrap();
    let (_, others) = session_with_notes(1, 2);
    let mut entries = vec![entry(1, &others[0])];
    entries.extend(document.get_changes(&[]).iter().map(|change| entry(2, change)));
    entries.extend(others[1..].iter().map(|change| entry(1, change)));
    come_back(&entries, &[]);

    // A length in more bytes than it needs: the library would write it shorter.
    let raw = entries[0].change.raw_bytes();
    let content = entries[0].change.content();
    let mut longer = raw[..9].to_vec();
    let length = content.len();
    longer.extend([length as u8 & 0x7f | 0x80, (length >> 7) as u8 | 0x80, 0]);
    longer.extend(content);
    let hash = <sha2::Sha256 as sha2::Digest>::digest(&longer[8..]);
    longer[4..8].copy_from_slice(&hash[..4]);
    let change = Chunk::read(longer).unwrap();
    come_back(&[LogEntry { document: id(1), change }, entries[1].clone()], &[]);
}

#[test]
fn what_is_alike_costs_next_to_nothing() {
    let (mut document, first) = session(1);
    let mut entries = vec![entry(1, &first)];
    for number in 0..60 {
        let text = format!("note {number}: squelch set, tone decoded");
        let change = document.apply(&note(&format!("n{number}"), &text), &author()).unwrap();
        entries.push(entry(1, &change));
    }
    let raw: usize = entries.iter().map(LogEntry::bytes).sum();
    let packed = Packed::of(&entries, &[]).bytes().len();
    assert!(packed * 8 < raw, "{packed} of {raw}");
}

#[test]
fn what_packs_too_well_stays_plain_and_is_taken() {
    let (mut document, first) = session(1);
    let mut entries = vec![entry(1, &first)];
    for number in 0..200 {
        let edit = note(&format!("n{number}"), &"\u{1f327}".repeat(4_000));
        entries.push(entry(1, &document.apply(&edit, &author()).unwrap()));
    }
    assert_eq!(Packed::of(&entries, &[]).packing(), frame::PLAIN);
    come_back(&entries, &[]);
}

#[test]
fn every_truncation_and_everything_behind_the_end_is_refused() {
    let (entries, seals) = several();
    let packed = Packed::of(&entries, &seals).bytes().to_vec();
    for length in 0..packed.len() {
        content(packed[..length].to_vec()).expect_err("a truncated one was taken");
    }
    let whole = writing::write(&entries, &seals);
    let count = entries.len() as u32;
    content(plain(&whole, count)).unwrap();
    for length in 0..whole.len() {
        content(plain(&whole[..length], count)).expect_err("a truncated content was taken");
    }
    let longer = content(plain(&[&whole[..], b"x"].concat(), count)).unwrap_err();
    assert!(matches!(longer, MalformedPacked::Trailing { count: 1, .. }), "{longer}");
    for (said, what) in [(count - 1, "fewer"), (count + 1, "more"), (CHANGES_MAX + 1, "too many")] {
        content(plain(&whole, said)).expect_err(what);
    }
}

#[test]
fn noise_is_refused_without_a_panic_and_what_is_taken_is_whole() {
    let (entries, seals) = several();
    let whole = writing::write(&entries, &seals);
    let count = entries.len() as u32;
    let mut taken = 0;
    for seed in 0..3_000 {
        let mut random = Seeded(seed);
        let length = random.below(300);
        let noise = random.bytes(length);
        assert!(content(noise.clone()).is_err(), "seed {seed}");
        assert!(content(plain(&noise, 1)).is_err(), "seed {seed}");
        let mut near = whole.clone();
        for _ in 0..1 + random.below(3) {
            let at = random.below(near.len());
            near[at] = random.next() as u8;
        }
        let packed = Packed::claimed(plain(&near, count)).unwrap();
        assert_eq!(packed.weigh().is_ok(), packed.content().is_ok(), "seed {seed}");
        let Ok(content) = packed.content() else { continue };
        taken += 1;
        for entry in &content.entries {
            Chunk::read(entry.change.raw_bytes().to_vec()).unwrap();
        }
        let again = Packed::of(&content.entries, &content.seals);
        assert_eq!(again.content().unwrap(), content, "seed {seed}");
    }
    assert!(taken > 0, "some changes of values are changes of other content");
}

#[test]
fn a_bomb_is_refused_by_its_head_and_one_that_lies_by_its_end() {
    let zeros = vec![0; 64 << 20];
    let frame = frame::compress(&zeros, &PACKED_SO).unwrap();
    let head = |length: usize| {
        [1_u32.to_le_bytes(), (length as u32).to_le_bytes()].concat().into_iter().chain([1])
    };
    let bomb: Vec<u8> = head(zeros.len()).chain(frame.clone()).collect();
    let refused = content(bomb).unwrap_err();
    assert!(matches!(refused, MalformedPacked::TooMany { .. }), "{refused}");
    let liar: Vec<u8> = head(1_000).chain(frame).collect();
    let refused = content(liar).unwrap_err();
    assert!(matches!(refused, MalformedPacked::Frame(FrameFault::Broken { .. })), "{refused}");
}

#[test]
fn an_actor_that_would_stand_in_every_change_is_refused() {
    // Told once and taken again in each change, a long one would fill memory from a few bytes.
    let (_, changes) = session_with_notes(1, 1);
    let entries: Vec<LogEntry> = changes.iter().map(|change| entry(1, change)).collect();
    let good = writing::write(&entries, &[]);
    let lane = |number: usize| {
        let length = |n: usize| u32::from_le_bytes(good[n * 4..n * 4 + 4].try_into().unwrap());
        let kinds = usize::from(good[lanes::FIXED.len() * 4]);
        let start = lanes::FIXED.len() * 4 + 1 + kinds * 8;
        (start + (0..number).map(|n| length(n) as usize).sum::<usize>(), length(number))
    };
    let (at, length) = lane(lanes::ACTOR);
    let mut actor = Vec::new();
    crate::chunk::write_length(&mut actor, lanes::ACTOR_BYTES_MAX + 1);
    actor.extend(vec![7; lanes::ACTOR_BYTES_MAX + 1]);
    let mut bad = good.clone();
    bad.splice(at..at + length as usize, actor.iter().copied());
    let said = lanes::ACTOR * 4;
    bad[said..said + 4].copy_from_slice(&(actor.len() as u32).to_le_bytes());
    let refused = content(plain(&bad, entries.len() as u32)).unwrap_err();
    assert!(matches!(refused, MalformedPacked::Lane { lane: "actor", .. }), "{refused}");
}
