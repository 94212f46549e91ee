//! Goal: a change is taken for whose it is, whoever carried it; what a device writes after it was
//! taken off waits for a person, what somebody had before stays, and nobody else is kept waiting.
//! Method: real nodes of a shop merge over TLS and by stick; bodies are forged between two nodes.

use guyline_hub::Node;
use guyline_hub::desk::Refusal;
use guyline_hub::identity::DeviceKey;
use guyline_hub::log::{LogSlice, Seal, Start};
use guyline_hub::sync::bundle;
use guyline_hub::sync::wire::{Body, decode, encode};
use serde_json::json;

use crate::crew::{Device, Seeded, device, id, notes, work, write};
use crate::members::{call, let_in, let_in_as, merge};

/// A shop with a hub and two technicians' tablets.
async fn shop() -> (Device, Device, Device) {
    let (hub, ines, tobias) = (device("hub"), device("Ines"), device("Tobias"));
    hub.node.found_shop().unwrap();
    let_in(&hub, &ines).await;
    let_in(&hub, &tobias).await;
    merge(&ines, &hub).await.unwrap();
    (hub, ines, tobias)
}

fn by_stick(from: &Node, to: &Node) -> u64 {
    let mut stick = Vec::new();
    bundle::write(from, &mut stick).unwrap();
    bundle::take(to, &mut std::io::Cursor::new(stick)).unwrap().taken
}

async fn take_off(hub: &Device, lost: &Device) -> Result<(), Refusal> {
    let body = json!({ "key": lost.node.key().to_string(), "reason": "stolen" });
    call(hub, "revoke", body).await.map(drop)
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_lost_device_wrote_before_stays_and_what_it_writes_after_waits() {
    let (hub, ines, tobias) = shop().await;
    work(&tobias.node, 2, 2);
    merge(&tobias, &ines).await.unwrap();
    take_off(&hub, &tobias).await.unwrap();
    write(&tobias.node, 2, "late", "written by whoever has the tablet now");

    // By stick at the hub, which has nothing of that visit yet: all of it waits.
    assert_eq!(by_stick(&tobias.node, &hub.node), 0);
    assert_eq!(hub.node.set_aside_count().unwrap(), 4);
    assert!(!hub.node.documents().unwrap().contains(&id(2)));

    // Ines had the first three before she heard of it, and says so.
    merge(&ines, &hub).await.unwrap();
    assert_eq!(notes(&hub.node, 2), ["note-0", "note-1"]);
    let page = call(&hub, "devices", json!({})).await.unwrap();
    let held = page["held"].as_array().unwrap();
    assert_eq!(held.len(), 1, "{held:?}");
    assert_eq!((&held[0]["changes"], &held[0]["documents"]), (&json!(1), &json!(1)));
    assert!(held[0]["device"].as_str().unwrap().starts_with("Tobias (taken off"), "{held:?}");
    assert!(held[0]["reason"].as_str().unwrap().contains("taken off"), "{held:?}");

    // Nobody else's work waits for that: she writes in the same visit, and it comes.
    write(&ines.node, 2, "hers", "the jumper was loose");
    merge(&ines, &hub).await.unwrap();
    assert_eq!(notes(&hub.node, 2), ["hers", "note-0", "note-1"]);

    // After somebody looked at it, it is taken, and everybody takes it.
    let key = json!({ "key": tobias.node.key().to_string() });
    let page = call(&hub, "take-held", key.clone()).await.unwrap();
    assert_eq!(page["held"], json!([]));
    merge(&ines, &hub).await.unwrap();
    assert_eq!(notes(&ines.node, 2), ["hers", "late", "note-0", "note-1"]);
    assert_eq!(hub.node.heads().unwrap(), ines.node.heads().unwrap());
    let refused = call(&hub, "take-held", key).await.unwrap_err();
    assert!(refused.what.contains("nothing of that device"), "{}", refused.what);
    assert_eq!(hub.node.inspect().unwrap().problems, []);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stick_of_a_stranger_waits_until_the_stranger_is_let_in() {
    let (hub, _, _) = shop().await;
    let stranger = device("stranger");
    work(&stranger.node, 3, 2);
    assert_eq!(by_stick(&stranger.node, &hub.node), 0);
    assert_eq!(hub.node.set_aside_count().unwrap(), 3);
    let_in(&hub, &stranger).await;
    assert_eq!(hub.node.set_aside_count().unwrap(), 0);
    assert_eq!(notes(&hub.node, 3).len(), 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_device_that_only_reads_gets_everything_and_gives_nothing() {
    let (hub, ines, _) = shop().await;
    let reader = device("wall screen");
    // Written before it came, so that no desk of the shop could refuse it.
    work(&reader.node, 7, 1);
    let_in_as(&hub, &reader, "read-only").await;
    work(&ines.node, 1, 1);
    merge(&ines, &hub).await.unwrap();
    merge(&reader, &hub).await.unwrap();
    assert_eq!(notes(&reader.node, 1).len(), 1);
    assert!(!hub.node.documents().unwrap().contains(&id(7)));
    let aside = hub.node.set_aside().unwrap();
    assert_eq!(aside.len(), 2);
    assert!(aside[0].reason.contains("may only read"), "{}", aside[0].reason);
}

/// What one node says to another that it never met: everything it has.
fn everything(from: &Node, to: &Node) -> Body {
    let mut said = None;
    from.exchange_by("forged", false, |body| {
        said = Some(body.clone());
        to.answer(body)
    })
    .unwrap();
    decode(&said.unwrap()).unwrap()
}

#[test]
fn two_thousand_forged_seals_prove_nothing() {
    let (author, twin, taker) = (device("Tobias"), device("twin"), device("hub"));
    work(&author.node, 4, 3);
    work(&author.node, 5, 1);
    // Its receipt is for the twin's log, and is left out.
    let body = Body { yours: None, ..everything(&author.node, &twin.node) };
    let good = body.mine.clone().unwrap();
    assert!(good.entries.len() == 6 && good.seals.len() >= 2);
    let folder = tempfile::tempdir().unwrap();
    let carrier = DeviceKey::open(folder.path()).unwrap();
    for seed in 0..2_000 {
        let mut random = Seeded(seed);
        let mut slice = good.clone();
        let which = random.below(slice.seals.len());
        match random.below(4) {
            0 => slice.seals[which].1.signature[random.below(64)] ^= 1 << random.below(8),
            1 => slice.seals[which].1.key = carrier.public().to_bytes(),
            // The carrier's own seal, on what another device wrote.
            2 => {
                let (place, _) = slice.seals[which];
                let entry = &slice.entries[place as usize];
                slice.seals[which].1 =
                    carrier.seal(entry.document, &entry.change.change().unwrap());
            }
            // Another change's seal.
            _ => {
                let other = slice.seals[(which + 1) % slice.seals.len()].1.clone();
                let seal = &slice.seals[which].1;
                slice.seals[which].1 = Seal { signature: other.signature, ..seal.clone() };
            }
        }
        // The one that was forged is the only proof of its actor's changes in that document.
        let forged = slice.entries[slice.seals[which].0 as usize].document;
        slice.entries.retain(|entry| entry.document == forged);
        let left: Vec<_> = slice.entries.iter().map(|entry| entry.change.hash()).collect();
        slice.seals.retain(|(_, seal)| left.contains(&seal.change));
        for (place, seal) in &mut slice.seals {
            *place = left.iter().position(|hash| *hash == seal.change).unwrap() as u32;
        }
        let before = taker.node.position().unwrap();
        taker.node.answer(encode(&Body { mine: Some(slice), ..body.clone() })).unwrap();
        let now = taker.node.position().unwrap();
        assert!(notes_if_any(&taker.node, 4) < 3, "seed {seed}: {before} to {now}");
    }
    // The true ones come, and all that waited with them.
    let good = LogSlice { start: Start::Owed, ..good };
    taker.node.answer(encode(&Body { mine: Some(good), ..body })).unwrap();
    assert_eq!(taker.node.heads().unwrap(), author.node.heads().unwrap());
    assert_eq!(taker.node.set_aside_count().unwrap(), 0);
}

fn notes_if_any(node: &Node, n: u8) -> usize {
    if node.documents().unwrap().contains(&id(n)) { notes(node, n).len() } else { 0 }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_visit_is_at_the_office_when_the_office_signed_for_it() {
    let (hub, ines, tobias) = shop().await;
    call(&ines, "start-demo", json!({})).await.unwrap();
    let visit = |today: serde_json::Value| today["sessions"][0]["reached"].clone();
    assert_eq!(visit(call(&ines, "today", json!({})).await.unwrap()), "here");
    merge(&ines, &tobias).await.unwrap();
    assert_eq!(visit(call(&ines, "today", json!({})).await.unwrap()), "elsewhere");
    merge(&ines, &hub).await.unwrap();
    assert_eq!(visit(call(&ines, "today", json!({})).await.unwrap()), "office");
    assert_eq!(visit(call(&tobias, "today", json!({})).await.unwrap()), "elsewhere");
}

#[test]
fn a_receipt_that_its_device_did_not_sign_ends_the_exchange() {
    let (ines, hub) = (device("Ines"), device("hub"));
    work(&ines.node, 1, 1);
    let forged = ines.node.exchange_by("hub", false, |body| {
        let mut answer = decode(&hub.node.answer(body)?).unwrap();
        if let Some((_, receipt)) = &mut answer.yours {
            receipt.signature[7] ^= 1;
        }
        Ok(encode(&answer))
    });
    let error = forged.unwrap_err();
    assert!(error.to_string().contains("receipt of the other side is false"), "{error}");
    assert_eq!(ines.node.only_here().unwrap(), 2);
    ines.node.exchange_by("hub", true, |body| hub.node.answer(body)).unwrap();
    assert_eq!(ines.node.only_here().unwrap(), 0);
}
