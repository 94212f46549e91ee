//! Goal: a body comes out as it went in, and anything else is refused with where and why, within
//! bounded memory. Method: real bodies, every truncation of one, seeded noise, and bombs.

use super::*;
use crate::chunk::Chunk;
use crate::fixture::{Seeded, id, session_with_notes};
use crate::log::{LogEntry, NodeId, SITES_MAX, Seal, StoreId};
use crate::packed::CHANGES_MAX;

fn card() -> Card {
    Card { node: NodeId([7; 16]), store: StoreId([8; 16]), name: "Ines's tablet".to_owned() }
}

fn body(notes: usize) -> Body {
    let (_, changes) = session_with_notes(1, notes);
    let key = |n| [n; 32];
    let seal = |(place, n): (u32, u8)| {
        let sealed = &changes[place as usize];
        let (change, actor) = (sealed.hash(), sealed.actor_id().clone());
        let signature = [n; 64];
        (place, Seal { change, actor, sequence: sealed.seq(), key: key(n), signature })
    };
    let seals = [(0, 2), (notes as u32, 1), (notes as u32, 2)].into_iter().map(seal).collect();
    let entries =
        changes.iter().map(|change| LogEntry { document: id(1), change: Chunk::from(change) });
    let (after, to) = (Mark { position: 3, hash: [4; 32] }, Mark { position: 17, hash: [5; 32] });
    let slice = LogSlice {
        after,
        start: Start::Owed,
        to,
        left_out: None,
        packed: Vec::new(),
        entries: entries.collect::<Vec<_>>(),
        seals,
        more: true,
    };
    let (mark, receipt) =
        (Mark { position: 9, hash: [3; 32] }, Receipt { key: [6; 32], signature: [5; 64] });
    Body { card: card(), yours: Some((mark, receipt)), mine: Some(slice), ask: Ask::ALL }
}

/// The same from and for a device that keeps a part, and makes up for some of it.
fn part(notes: usize) -> Body {
    let mut body = body(notes);
    body.mine.as_mut().unwrap().left_out = Some([8; 32]);
    let scope = |sites: &[u8]| Scope::Sites(sites.iter().copied().map(id).collect());
    let upto = Mark { position: 12, hash: [9; 32] };
    body.ask = Ask { scope: scope(&[1, 2, 7]), known: Some(Known { upto, scope: scope(&[2]) }) };
    body
}

/// A body of these bytes, packed as zstd.
fn frame_of(plain: &[u8]) -> Vec<u8> {
    [MAGIC.as_slice(), &[VERSION_OF_ALL, ZSTD], &frame::compress(plain, &PACKED_SO).unwrap()]
        .concat()
}

/// The same, unpacked.
fn plain_of(plain: &[u8]) -> Vec<u8> {
    [MAGIC.as_slice(), &[VERSION_OF_ALL, PLAIN], plain].concat()
}

/// The same of a version.
fn plain_of_version(version: u8, plain: &[u8]) -> Vec<u8> {
    [MAGIC.as_slice(), &[version, PLAIN], plain].concat()
}

fn unpacked(packed: &[u8]) -> Vec<u8> {
    unpack(packed).unwrap().1
}

#[test]
fn a_body_comes_out_as_it_went_in() {
    let nothing = Body { card: card(), yours: None, mine: None, ask: Ask::ALL };
    let everything = Ask { scope: Scope::All, ..part(0).ask };
    let hello = Body { ask: part(0).ask.afresh(), ..nothing.clone() };
    let back = Body { ask: everything, ..body(1) };
    for body in [nothing, body(0), body(30), part(0), part(3), hello, back] {
        assert_eq!(decode(&encode(&body)).unwrap(), body);
    }
}

#[test]
fn a_name_that_is_too_long_is_cut_between_characters() {
    let mut long = body(0);
    long.card.name = "µ".repeat(NAME_BYTES_MAX);
    let name = decode(&encode(&long)).unwrap().card.name;
    assert_eq!(name, "µ".repeat(NAME_BYTES_MAX / 2));
}

#[test]
fn every_truncation_and_everything_behind_the_end_is_refused() {
    let whole = encode(&body(3));
    let plain = unpacked(&whole);
    for length in 0..whole.len() {
        decode(&whole[..length]).expect_err("a truncated body was taken");
    }
    for length in 0..plain.len() {
        let refused = decode(&plain_of(&plain[..length])).unwrap_err();
        let named = matches!(refused, MalformedBody::Incomplete { offset, .. } if offset == length);
        assert!(named, "cut at {length}: {refused}");
    }
    for (longer, count) in [
        ([&whole[..], b"x"].concat(), 1),
        (plain_of(&[&plain[..], b"xyz"].concat()), 3),
        ([&whole[..], &whole[6..]].concat(), whole.len() - 6),
    ] {
        let refused = decode(&longer).unwrap_err();
        let counted = matches!(refused, MalformedBody::Trailing { count: found } if found == count);
        assert!(counted, "{refused}");
    }
}

#[test]
fn two_thousand_random_bodies_are_refused_without_a_panic() {
    let plain = unpacked(&encode(&body(2)));
    for seed in 0..2_000 {
        let mut random = Seeded(seed);
        let length = random.below(400);
        let noise = random.bytes(length);
        decode(&noise).expect_err("noise was taken");
        decode(&plain_of(&noise)).expect_err("plain noise was taken");
        decode(&frame_of(&noise)).expect_err("packed noise was taken");
        // A real body with a few bytes changed: whatever comes out, it is no panic, and changes
        // that are taken are whole.
        let mut near = plain.clone();
        for _ in 0..1 + random.below(4) {
            let at = random.below(near.len());
            near[at] = random.next() as u8;
        }
        if let Ok(Body { mine: Some(slice), .. }) = decode(&plain_of(&near)) {
            for entry in slice.entries {
                Chunk::read(entry.change.raw_bytes().to_vec()).unwrap();
            }
        }
    }
}

#[test]
fn other_formats_and_versions_are_told_apart() {
    let whole = encode(&body(0));
    let edited = |at: usize, byte: u8| {
        let mut edited = whole.clone();
        edited[at] = byte;
        decode(&edited).unwrap_err()
    };
    assert!(matches!(edited(0, b'P'), MalformedBody::NotABody { found } if found == b"PUYX"));
    assert!(matches!(edited(4, 9), MalformedBody::Version { found: 9 }));
    assert!(matches!(edited(5, 2), MalformedBody::Packing { found: 2 }));
    assert!(matches!(decode(b"GUY").unwrap_err(), MalformedBody::NotABody { .. }));
}

#[test]
fn a_zstd_bomb_is_refused_at_the_ratio_and_not_unpacked() {
    // 1 GiB of zeros would pack to some 33 kB; 64 MiB are enough to be over every limit.
    for (zeros, allowed_max) in [(1 << 20, 256 * 1024), (64 << 20, 256 * 1024)] {
        let bomb = frame_of(&vec![0; zeros]);
        let refused = decode(&bomb).unwrap_err();
        assert!(
            matches!(refused, MalformedBody::TooLong { allowed, state: "unpacked" }
                if allowed <= allowed_max),
            "{} bytes for {zeros}: {refused}",
            bomb.len()
        );
    }
    let packed_max = vec![0; PACKED_BYTES_MAX + 1];
    let refused = decode(&packed_max).unwrap_err();
    assert!(matches!(refused, MalformedBody::TooLong { state: "packed", .. }), "{refused}");
}

#[test]
fn a_body_that_packs_too_well_is_sent_plain_and_taken() {
    // A crew may write what it likes: the guard against bombs must not stop their work for good.
    let (mut document, first) = crate::fixture::session(1);
    let mut changes = vec![first];
    for index in 0..200 {
        let edit = crate::fixture::note(&format!("n{index}"), &"\u{1f327}".repeat(4_000));
        changes.push(document.apply(&edit, &crate::fixture::author()).unwrap());
    }
    let mut body = body(0);
    let entries =
        changes.iter().map(|change| LogEntry { document: id(1), change: Chunk::from(change) });
    body.mine.as_mut().unwrap().entries = entries.collect();
    let packed = encode(&body);
    assert_eq!(packed[5], PLAIN);
    assert_eq!(decode(&packed).unwrap(), body);
}

#[test]
fn a_change_that_is_refused_is_named_by_number_document_and_place() {
    use automerge::{ActorId, AutoCommit, ROOT, transaction::Transactable};
    let mut document = AutoCommit::new().with_actor(ActorId::from([1; 16]));
    document.put(ROOT, "bomb", "a".repeat(200_000)).unwrap();
    let compressed = document.get_changes(&[]).remove(0).bytes().into_owned();
    assert!(compressed.len() < 2_000, "it is small: {} bytes", compressed.len());

    let mut plain = unpacked(&encode(&body(0)));
    let entries_at = 16 + 16 + 2 + card().name.len() + 1 + 40 + 96 + 1 + 40 + 40 + 2;
    plain[entries_at..entries_at + 4].copy_from_slice(&2u32.to_le_bytes());
    // Instead of the keys and seals: two keys, three seals.
    plain.truncate(plain.len() - (2 + 2 * 32 + 4 + 3 * 70));
    plain.push(0);
    plain.extend(id(9).to_bytes());
    write_length(&mut plain, compressed.len());
    let at = plain.len();
    plain.extend(compressed);
    let MalformedBody::Chunk { index, document, offset, source } =
        decode(&plain_of(&plain)).unwrap_err()
    else {
        panic!("it was to be refused as a chunk");
    };
    assert_eq!((index, document, offset), (1, id(9), at));
    assert!(matches!(source, ChunkRefused::Type { found: 2 }), "{source}");
}

#[test]
fn what_a_change_builds_on_is_told_only_where_it_is_not_the_one_before() {
    let (_, one) = session_with_notes(1, 2);
    let (_, two) = session_with_notes(3, 2);
    let entry = |n: u8, change: &automerge::Change| LogEntry {
        document: id(n),
        change: Chunk::from(change),
    };
    // Two documents in turn, one of them from its middle on, and a change that comes twice.
    let entries = vec![
        entry(1, &one[0]),
        entry(2, &two[1]),
        entry(1, &one[1]),
        entry(1, &one[1]),
        entry(2, &two[2]),
        entry(1, &one[2]),
    ];
    let mut told = body(0);
    let slice = told.mine.as_mut().unwrap();
    (slice.entries, slice.seals) = (entries, Vec::new());
    let packed = encode(&told);
    assert_eq!(decode(&packed).unwrap(), told);
    // Of the third, the fifth and the last it is told by nothing but where they stand.
    let plain = unpacked(&packed);
    let told = |hash: automerge::ChangeHash| plain.windows(32).filter(|at| **at == hash.0).count();
    assert_eq!([told(one[0].hash()), told(one[1].hash())], [1, 0], "the one that came twice");
    assert_eq!([told(two[0].hash()), told(two[1].hash())], [1, 0], "the first of a middle");
}

#[test]
fn a_way_to_write_a_change_that_does_not_fit_is_refused() {
    let plain = unpacked(&encode(&body(1)));
    let first = 16 + 16 + 2 + card().name.len() + 1 + 40 + 96 + 1 + 40 + 40 + 2 + 4;
    for (how, why) in [
        (SAME_DOCUMENT, "there is none before"),
        (BEHIND_LAST, "nothing of its document came"),
        (4, "nobody defined it"),
    ] {
        let mut changed = plain.clone();
        changed[first] = how;
        let refused = decode(&plain_of(&changed)).unwrap_err();
        let wanted = MalformedBody::Wrong { offset: first, part: "way a change is written" };
        assert_eq!(refused.to_string(), wanted.to_string(), "{why}");
    }
    let mut many = plain;
    many[first - 4..first].copy_from_slice(&(CHANGES_MAX + 1).to_le_bytes());
    let refused = decode(&plain_of(&many)).unwrap_err();
    assert!(refused.to_string().contains("number of changes"), "{refused}");
}

#[test]
fn a_position_that_no_store_has_is_refused() {
    let mut plain = unpacked(&encode(&body(0)));
    let position_at = 16 + 16 + 2 + card().name.len() + 1;
    plain[position_at..position_at + 8].copy_from_slice(&u64::MAX.to_le_bytes());
    let refused = decode(&plain_of(&plain)).unwrap_err();
    let place = position_at;
    assert!(
        matches!(refused, MalformedBody::Wrong { offset, part: "position" } if offset == place),
        "{refused}"
    );
}

#[test]
fn a_seal_without_its_change_or_its_key_is_refused() {
    let good = body(3);
    let seals = |body: &Body| body.mine.as_ref().unwrap().seals.len();
    assert_eq!(seals(&decode(&encode(&good)).unwrap()), 3);
    let plain = unpacked(&encode(&good));
    // The last seal: its change (4 bytes), its key (2), its signature (64).
    let last = plain.len() - 70;
    for (at, what) in [(last, 9), (last + 4, 7)] {
        let mut changed = plain.clone();
        changed[at] = what;
        let refused = decode(&plain_of(&changed)).unwrap_err();
        let wanted = MalformedBody::Wrong { offset: last, part: "seal" };
        assert_eq!(refused.to_string(), wanted.to_string());
    }
    // Out of the order of their changes.
    let mut changed = plain;
    changed[last] = 0;
    assert!(decode(&plain_of(&changed)).is_err());
}

#[test]
fn who_asks_for_everything_writes_what_the_version_before_reads() {
    assert_eq!(encode(&body(2))[4], VERSION_OF_ALL);
    assert_eq!(encode(&part(2))[4], VERSION_OF_PARTS);
    // Whoever left something out must say so, though it asks for everything itself.
    let left_out = Body { ask: Ask::ALL, ..part(2) };
    assert_eq!(encode(&left_out)[4], VERSION_OF_PARTS);
    assert_eq!(decode(&encode(&left_out)).unwrap(), left_out);
    // The version before knew no end like this one's.
    let refused = decode(&plain_of(&unpacked(&encode(&part(2))))).unwrap_err();
    assert!(matches!(refused, MalformedBody::Trailing { .. }), "{refused}");
}

#[test]
fn every_truncation_of_a_part_is_refused_where_it_ends() {
    let plain = unpacked(&encode(&part(2)));
    for length in 0..plain.len() {
        let refused = decode(&plain_of_version(VERSION_OF_PARTS, &plain[..length])).unwrap_err();
        let named = matches!(refused, MalformedBody::Incomplete { offset, .. } if offset == length);
        assert!(named, "cut at {length}: {refused}");
    }
    let longer = [&plain[..], b"x"].concat();
    let refused = decode(&plain_of_version(VERSION_OF_PARTS, &longer)).unwrap_err();
    assert!(matches!(refused, MalformedBody::Trailing { count: 1 }), "{refused}");
    for seed in 0..2_000 {
        let mut random = Seeded(seed);
        let mut near = plain.clone();
        for _ in 0..1 + random.below(4) {
            let at = random.below(near.len());
            near[at] = random.next() as u8;
        }
        // Whatever comes out of it comes out again as it went in.
        if let Ok(taken) = decode(&plain_of_version(VERSION_OF_PARTS, &near)) {
            assert_eq!(decode(&encode(&taken)).unwrap(), taken, "seed {seed}");
        }
    }
}

#[test]
fn wants_that_are_too_many_out_of_order_or_of_an_unknown_flag_are_refused() {
    let mut asked = part(0);
    asked.ask = asked.ask.afresh();
    let plain = unpacked(&encode(&asked));
    // The end of the body: a flag, how many (2), three sites, and no flag for what is known.
    let flag = plain.len() - 1 - 3 * 16 - 2 - 1;
    let refused = |at: usize, bytes: &[u8]| {
        let mut changed = plain.clone();
        changed[at..at + bytes.len()].copy_from_slice(bytes);
        decode(&plain_of_version(VERSION_OF_PARTS, &changed)).unwrap_err().to_string()
    };
    let wrong = |offset, part| MalformedBody::Wrong { offset, part }.to_string();
    assert_eq!(refused(flag, &[2]), wrong(flag, "flag for sites"));
    let many = u16::try_from(SITES_MAX + 1).unwrap().to_le_bytes();
    assert_eq!(refused(flag + 1, &many), wrong(flag + 1, "number of sites"));
    let second = flag + 3 + 16;
    for same_or_less in [1, 0] {
        let told = refused(second, &[same_or_less; 16]);
        assert_eq!(told, wrong(second, "order of sites"));
    }
    assert_eq!(refused(plain.len() - 1, &[7]), wrong(plain.len() - 1, "flag for what is known"));

    let many = (0..SITES_MAX).map(|n| {
        let mut bytes = [0; 16];
        bytes[..8].copy_from_slice(&(n as u64).to_be_bytes());
        guyline_core::record::DocumentId::from_bytes(bytes)
    });
    asked.ask.scope = Scope::Sites(many.collect());
    assert_eq!(decode(&encode(&asked)).unwrap(), asked, "as many as may be");
}
