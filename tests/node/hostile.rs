//! Goal: bytes from outside, whatever they are, are refused with what and where; the node goes on,
//! loses nothing and takes nothing of them. Method: a served node, asked over real sockets.

use guyline_hub::chunk::Chunk;
use guyline_hub::http::Listening;
use guyline_hub::identity::DeviceKey;
use guyline_hub::log::{Ask, Card, LogEntry, LogSlice, Mark, NodeId, Seal, Start, StoreId};
use guyline_hub::sync::wire::{Body, VERSION_OF_ALL, decode, encode};
use serde_json::Value;

use crate::crew::{Device, Seeded, device, id, notes, work};

struct Served {
    device: Device,
    listening: Listening,
    client: reqwest::Client,
}

impl Served {
    async fn start() -> Self {
        let device = device("hub");
        work(&device.node, 1, 2);
        let listening = Listening::start(&device.node, "127.0.0.1:0").await.unwrap();
        let client = reqwest::Client::builder().no_proxy().build().unwrap();
        Self { device, listening, client }
    }

    async fn post(&self, body: Vec<u8>) -> (u16, Vec<u8>) {
        let request = self
            .client
            .post(format!("{}/exchange", self.listening.address()))
            .header("content-type", "application/octet-stream")
            .body(body);
        let answer = request.send().await.unwrap();
        (answer.status().as_u16(), answer.bytes().await.unwrap().to_vec())
    }

    /// Posts what must be refused, and returns what was said.
    async fn refused(&self, body: Vec<u8>) -> String {
        let (status, answer) = self.post(body).await;
        assert_eq!(status, 400, "{}", String::from_utf8_lossy(&answer));
        let said: Value = serde_json::from_slice(&answer).unwrap();
        assert_eq!(said["at"], "/exchange");
        assert!(said["help"].as_str().unwrap().len() > 10);
        said["what"].as_str().unwrap().to_owned()
    }

    /// Still there, with what it had and nothing else.
    async fn goes_on(self) {
        assert_eq!(self.device.node.position().unwrap(), 3);
        assert_eq!(self.device.node.set_aside_count().unwrap(), 0);
        assert_eq!(notes(&self.device.node, 1).len(), 2);
        let caller = device("Ines");
        let report = caller.node.exchange_with(self.listening.address()).await.unwrap();
        assert_eq!(report.received_changes, 3);
        self.listening.stop().await;
    }
}

/// A body as another node would send it: one session, from its log's start.
fn real_body() -> Body {
    let other = device("other");
    work(&other.node, 9, 3);
    let changes = other.node.with_document(id(9), |document| document.changes()).unwrap();
    let last = changes.last().unwrap().hash().0;
    let place = |hash| changes.iter().position(|change| change.hash() == hash).unwrap() as u32;
    let sealed = other.node.seals_of(id(9)).unwrap().into_iter();
    let mut seals: Vec<(u32, Seal)> = sealed.map(|seal| (place(seal.change), seal)).collect();
    seals.sort_by_key(|(place, _)| *place);
    let entries: Vec<LogEntry> = changes
        .iter()
        .map(|change| LogEntry { document: id(9), change: Chunk::from(change) })
        .collect();
    let to = Mark { position: entries.len() as u64, hash: last };
    let card = Card { node: NodeId([9; 16]), store: StoreId([9; 16]), name: "other".to_owned() };
    let (after, start, more) = (Mark::START, Start::Continues, false);
    let packed = Vec::new();
    let mine = Some(LogSlice { after, start, to, left_out: None, packed, entries, seals, more });
    Body { card, yours: None, mine, ask: Ask::ALL }
}

#[tokio::test]
async fn a_body_that_is_cut_at_any_byte_is_refused_and_changes_nothing() {
    let served = Served::start().await;
    let whole = encode(&real_body());
    for length in 0..whole.len() {
        let said = served.refused(whole[..length].to_vec()).await;
        assert!(said.contains("could not take the exchange"), "cut at {length}: {said}");
    }
    served.goes_on().await;
}

#[tokio::test]
async fn two_thousand_random_bodies_are_refused_and_change_nothing() {
    let served = Served::start().await;
    for seed in 0..2_000 {
        let mut random = Seeded(seed);
        let length = random.below(600);
        let mut body = random.bytes(length);
        // Most start as a body does, so that they get further than the first byte.
        if seed % 4 != 0 {
            let start = head((seed % 2) as u8);
            body.splice(0..0, start);
        }
        served.refused(body).await;
    }
    served.goes_on().await;
}

#[tokio::test]
async fn two_thousand_bodies_with_a_few_wrong_bytes_never_stop_the_node() {
    let served = Served::start().await;
    let mut plain = head(0);
    plain.extend(unpacked(&encode(&real_body())));
    for seed in 0..2_000 {
        let mut random = Seeded(seed);
        let mut body = plain.clone();
        for _ in 0..1 + random.below(3) {
            let at = 6 + random.below(body.len() - 6);
            body[at] ^= 1 << random.below(8);
        }
        let (status, answer) = served.post(body).await;
        let text = String::from_utf8_lossy(&answer);
        assert!([200, 400].contains(&status), "seed {seed}: {status} {text}");
    }
    // What was not touched by any of them is there, and the node answers as before.
    assert_eq!(notes(&served.device.node, 1).len(), 2);
    let (status, answer) = served.post(encode(&real_body())).await;
    assert_eq!(status, 200);
    decode(&answer).unwrap();
    assert_eq!(notes(&served.device.node, 9).len(), 3);
    served.listening.stop().await;
}

/// How a body of this packing begins.
fn head(packing: u8) -> Vec<u8> {
    [b"GUYX".as_slice(), &[VERSION_OF_ALL, packing]].concat()
}

/// The plain form of a packed body.
fn unpacked(packed: &[u8]) -> Vec<u8> {
    zstd::stream::decode_all(&packed[6..]).unwrap()
}

#[tokio::test]
async fn bombs_are_refused_by_what_they_are() {
    let served = Served::start().await;
    let zeros = zstd::bulk::compress(&vec![0; 64 << 20], 3).unwrap();
    assert!(zeros.len() < 10_000, "{} bytes", zeros.len());
    let said = served.refused([head(1), zeros].concat()).await;
    assert!(said.contains("a body of more than"), "{said}");

    let said = served.refused(body_with_chunk(&compressed_chunk())).await;
    assert!(said.contains("a chunk of type 2"), "{said}");
    assert!(said.contains(&id(9).to_string()), "it names the document: {said}");

    let said = served.refused(body_with_chunk(&unrolling_chunk())).await;
    assert!(said.contains("unrolls to more than"), "{said}");
    served.goes_on().await;
}

/// A change that the document library has compressed by itself.
fn compressed_chunk() -> Vec<u8> {
    use automerge::{ActorId, AutoCommit, ROOT, transaction::Transactable};
    let mut document = AutoCommit::new().with_actor(ActorId::from([1; 16]));
    document.put(ROOT, "bomb", "a".repeat(1_000_000)).unwrap();
    document.get_changes(&[]).remove(0).bytes().into_owned()
}

/// Thirty bytes that stand for 2^40 operations: one column of type 0x42 with one run.
fn unrolling_chunk() -> Vec<u8> {
    let run = [0x80, 0x80, 0x80, 0x80, 0x80, 0x20, 0x01];
    let head = [0, 1, 1, 1, 1, 0, 0, 0, 1, 0x42, run.len() as u8];
    let length = (head.len() + run.len()) as u8;
    [&[0x85, 0x6f, 0x4a, 0x83, 0, 0, 0, 0, 1, length], &head[..], &run].concat()
}

/// A body that is right but for its one chunk.
fn body_with_chunk(chunk: &[u8]) -> Vec<u8> {
    let mut body = real_body();
    let slice = body.mine.as_mut().unwrap();
    slice.entries.clear();
    slice.seals.clear();
    let mut plain = unpacked(&encode(&body));
    // Behind the number of changes stand those of keys and of seals.
    plain.truncate(plain.len() - 10);
    plain.extend(1u32.to_le_bytes());
    // Whole, of a document that is named, its length in groups of seven bits.
    plain.push(0);
    plain.extend(id(9).to_bytes());
    let mut length = chunk.len();
    while length >= 0x80 {
        plain.push(length as u8 | 0x80);
        length >>= 7;
    }
    plain.push(length as u8);
    plain.extend(chunk);
    plain.extend([0; 6]);
    [head(0), plain].concat()
}

#[tokio::test]
async fn a_body_over_the_limit_is_refused_before_it_is_read_whole() {
    let served = Served::start().await;
    let (status, answer) = served.post(vec![0; (16 << 20) + 1]).await;
    let said: Value = serde_json::from_slice(&answer).unwrap();
    assert_eq!((status, said["code"].as_str().unwrap()), (413, "too-large"));
    served.goes_on().await;
}

#[tokio::test]
async fn a_malformed_document_is_set_aside_and_the_others_in_the_body_are_taken() {
    use automerge::{ActorId, AutoCommit, ROOT, transaction::Transactable};
    let served = Served::start().await;
    let mut stranger = AutoCommit::new().with_actor(ActorId::from([1; 16]));
    stranger.put(ROOT, "kind", "grocery list").unwrap();
    let mut body = real_body();
    let change = stranger.get_changes(&[]).remove(0);
    let folder = tempfile::tempdir().unwrap();
    let seal = DeviceKey::open(folder.path()).unwrap().seal(id(7), &change);
    let slice = body.mine.as_mut().unwrap();
    slice.seals.push((slice.entries.len() as u32, seal));
    slice.entries.push(LogEntry { document: id(7), change: Chunk::from(&change) });
    let (status, _) = served.post(encode(&body)).await;
    assert_eq!(status, 200);
    assert_eq!(notes(&served.device.node, 9).len(), 3);
    let aside = served.device.node.set_aside().unwrap();
    assert_eq!((aside.len(), aside[0].entry.document), (1, id(7)));
    assert!(aside[0].reason.contains(&id(7).to_string()), "{}", aside[0].reason);
    assert!(!served.device.node.documents().unwrap().contains(&id(7)));
    served.listening.stop().await;
}
