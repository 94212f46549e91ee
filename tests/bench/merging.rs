//! What a day's end costs. Twenty devices of a shop bring 25 visits each to an empty hub, over TLS,
//! every visit 60 readings, 12 acknowledgements and 10 notes as single edits; then a fresh device
//! takes all 500. The floor is the saved form of the same documents, packed, in one POST a device
//! to a bare handler that puts it into SQLite. Both on the same disk, eight at once.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use guyline_core::record::{Author, Document, DocumentId, Phase, Plane, SessionEdit};
use guyline_core::time::Timestamp;
use guyline_core::units::Unit;
use guyline_hub::Node;
use guyline_hub::identity::Role;
use guyline_hub::sync::ExchangeReport;
use tempfile::TempDir;
use tokio::sync::Semaphore;
use ulid::Ulid;

use crate::peers::cpu_time;
use crate::{Row, bare, median};

pub(crate) const DEVICES: usize = 20;
pub(crate) const VISITS: usize = 25;
const READINGS: usize = 60;
const ACKNOWLEDGEMENTS: usize = 12;
const NOTES: usize = 10;
/// So long a person takes for each.
const SECONDS_APART: i64 = 7;
const ROUNDS: usize = 3;
/// From one address no more are listened to; a crew comes from as many as it has devices.
const AT_ONCE: usize = 8;
pub(crate) const HUB: &str = "hub";
const ZSTD_LEVEL: i32 = 3;

/// What was measured, each the median of some rounds.
struct Measured {
    push: Duration,
    pull: Duration,
    place: Duration,
    floor: Duration,
    sent: u64,
    floor_sent: u64,
    rounds: u64,
}

/// The rows of a day's end.
pub(crate) async fn rows() -> Vec<Row> {
    let prepared = prepare().await;
    let folder = tempfile::tempdir().expect("a folder for the bench");
    let (mut push, mut pull, mut place, mut floor) = (vec![], vec![], vec![], vec![]);
    let mut last = None;
    for round in 0..ROUNDS {
        let one = measure(&folder.path().join(format!("round-{round}")), &prepared).await;
        push.push(one.push);
        pull.push(one.pull);
        place.push(one.place);
        floor.push(one.floor);
        last = Some(one);
    }
    let last = last.expect("there is a round");
    let seconds = |times| median(times).as_secs_f64();
    let (push, pull, place, floor) = (seconds(push), seconds(pull), seconds(place), seconds(floor));
    vec![
        Row { name: "push", measured: push / floor, goal: 5.0 },
        Row { name: "push-bytes", measured: last.sent as f64 / last.floor_sent as f64, goal: 1.1 },
        Row { name: "push-rounds", measured: last.rounds as f64, goal: 2.0 },
        Row { name: "push-placed", measured: (push + place) / floor, goal: 20.0 },
        Row { name: "pull", measured: pull / floor, goal: 3.0 },
    ]
}

/// A hub, a fresh device and twenty with their work, all let in, in folders of one.
pub(crate) struct Prepared {
    pub(crate) folder: TempDir,
    /// Where the hub is known to be.
    pub(crate) address: SocketAddr,
    /// What automerge saves of the visits, by device.
    forms: Vec<Vec<Vec<u8>>>,
}

pub(crate) async fn prepare() -> Prepared {
    prepare_with(VISITS).await
}

/// Made in memory, where that is: what is measured is not the making.
pub(crate) async fn prepare_with(visits: usize) -> Prepared {
    let folder = folder_in_memory();
    let hub = Node::open(&folder.path().join(HUB)).expect("a fresh store opens");
    hub.found_shop().expect("a shop is started");
    let address = hub.share("127.0.0.1:0".parse().expect("loopback")).await;
    let address = address.expect("loopback is free");
    let mut nodes = Vec::new();
    for device in 0..=DEVICES {
        let node = Node::open(&folder.path().join(name(device))).expect("a fresh store opens");
        node.set_name(&name(device)).expect("it has a name");
        let_in(&hub, &node, address).await;
        nodes.push(node);
    }
    let mut forms = Vec::new();
    for (device, node) in nodes.iter().enumerate() {
        // They know each other's names, as devices that were let in weeks ago do.
        node.exchange_with(&format!("https://{address}")).await.expect("they meet");
        if device < DEVICES {
            forms.push((0..visits).map(|visit| work(node, device * visits + visit)).collect());
        }
        // As the window does when it is closed, and the program when nobody works for a while.
        node.rest().expect("there is room");
    }
    hub.share_no_more().await;
    Prepared { folder, address, forms }
}

/// A folder in memory, where that is.
pub(crate) fn folder_in_memory() -> TempDir {
    let memory = Path::new("/dev/shm");
    let folder = if memory.is_dir() { tempfile::tempdir_in(memory) } else { tempfile::tempdir() };
    folder.expect("a folder for the bench")
}

/// The folder of a device; that of the last one has no work in it.
pub(crate) fn name(device: usize) -> String {
    format!("device {device}")
}

/// One visit, edit by edit. Gives what automerge saves of it.
fn work(node: &Node, number: usize) -> Vec<u8> {
    let mut bytes = [7; 16];
    bytes[8..].copy_from_slice(&(number as u64).to_be_bytes());
    let id = DocumentId::from_bytes(bytes);
    let mut author =
        Author { person: "ines".to_owned(), device: "tablet".to_owned(), at: node.now() };
    let actor = node.fresh_actor();
    let made = Document::create_session(id, id, "lookout-vhf", "bench", actor, &author);
    let (document, change) = made.expect("a session can be planned");
    node.create(document, change).expect("the store takes it");
    for (edit, at) in edits(node.now()) {
        author.at = at;
        let done = node.edit(id, |document| document.apply(&edit, &author));
        done.expect("the store takes it").expect("the edit is taken");
    }
    node.with_document(id, Document::saved).expect("it is here")
}

/// By hand, seconds apart, until now: within one millisecond ids are a number and the next one, as
/// no visit's are.
fn edits(now: Timestamp) -> Vec<(SessionEdit, Timestamp)> {
    let all = 1 + READINGS + ACKNOWLEDGEMENTS + NOTES;
    let at = |number: usize| now.unix_ms() - SECONDS_APART * 1_000 * (all - number) as i64;
    let fresh_id = |number: usize| {
        let at = u64::try_from(at(number)).expect("after 1970");
        Ulid::from_parts(at, Ulid::generate().random()).to_string()
    };
    let edits = edits_by(fresh_id).into_iter().enumerate();
    let when = |number| Timestamp::from_unix_ms(at(number)).expect("a moment ago");
    edits.map(|(number, edit)| (edit, when(number))).collect()
}

fn edits_by(fresh_id: impl Fn(usize) -> String) -> Vec<SessionEdit> {
    let chain = fresh_id(0);
    let mut edits = vec![SessionEdit::ConnectChain {
        id: chain.clone(),
        name: "direct".to_owned(),
        plane: Plane::ReceiverPort,
        instrument: "monitor-1".to_owned(),
        port: "gen".to_owned(),
        between: vec!["cable-a".to_owned()],
        line: Vec::new(),
    }];
    edits.extend((0..READINGS).map(|number| SessionEdit::RecordReading {
        id: fresh_id(1 + number),
        check: "receiver.opening".to_owned(),
        chain: chain.clone(),
        criterion: "12 dB SINAD".to_owned(),
        typed: format!("-1{}.{}", 15 + number % 7, number % 10),
        unit: Unit::Dbm,
        phase: if number % 2 == 0 { Phase::AsFound } else { Phase::AsLeft },
        replaces: None,
        answered_by: None,
    }));
    edits.extend((0..ACKNOWLEDGEMENTS).map(|number| SessionEdit::Acknowledge {
        id: fresh_id(1 + READINGS + number),
        caution: format!("caution-{number}"),
    }));
    edits.extend((0..NOTES).map(|number| SessionEdit::AddNote {
        id: fresh_id(1 + READINGS + ACKNOWLEDGEMENTS + number),
        text: format!("note {number}: squelch set, tone decoded, fan cleaned"),
    }));
    edits
}

/// What a hub and twenty devices did with each other.
pub(crate) struct Brought {
    pub(crate) hub: Node,
    push: Duration,
    place: Duration,
    /// Of both ends and all their threads, until all was in its place.
    pub(crate) cpu: Duration,
    reports: Vec<ExchangeReport>,
}

/// Everything brought to the hub and put in its place there, on a copy in this folder.
pub(crate) async fn bring(dir: &Path, prepared: &Prepared) -> Brought {
    copy(prepared.folder.path(), dir);
    let hub = Node::open(&dir.join(HUB)).expect("it opens again");
    hub.share(prepared.address).await.expect("its address is free again");
    let address = format!("https://{}", prepared.address);
    let open = |device| Node::open(&dir.join(name(device))).expect("it opens again");
    let devices: Vec<Node> = (0..DEVICES).map(open).collect();
    let (start, before) = (Instant::now(), cpu_time());
    let reports = all_at_once(&devices, &[address]).await;
    let push = start.elapsed();
    let start = Instant::now();
    let count = hub.documents().expect("it is here").len();
    let (place, cpu) = (start.elapsed(), cpu_time() - before);
    let made: usize = prepared.forms.iter().map(Vec::len).sum();
    assert_eq!(count, made, "every visit is at the hub");
    Brought { hub, push, place, cpu, reports }
}

async fn measure(dir: &Path, prepared: &Prepared) -> Measured {
    let Brought { hub, push, place, reports, .. } = bring(dir, prepared).await;
    let fresh = Node::open(&dir.join(name(DEVICES))).expect("it opens again");
    let address = format!("https://{}", prepared.address);
    let start = Instant::now();
    fresh.exchange_with(&address).await.expect("the exchange works");
    let pull = start.elapsed();
    assert_eq!(fresh.heads().expect("read"), hub.heads().expect("read"), "both hold the same");
    hub.share_no_more().await;
    let (floor, floor_sent) = floor(&dir.join("floor.sqlite"), &prepared.forms).await;
    eprintln!("push {push:?} place {place:?} pull {pull:?} floor {floor:?} {floor_sent}");
    Measured {
        push,
        pull,
        place,
        floor,
        sent: reports.iter().map(|report| report.sent_bytes).sum(),
        floor_sent,
        // The roster goes first, in a request of its own.
        rounds: reports.iter().map(|report| report.rounds + 1).max().expect("some"),
    }
}

/// Every device merges, eight at once, each with the next of these addresses.
pub(crate) async fn all_at_once(devices: &[Node], addresses: &[String]) -> Vec<ExchangeReport> {
    let mut under_way = Vec::new();
    let seats = Arc::new(Semaphore::new(AT_ONCE));
    for (node, address) in devices.iter().zip(addresses.iter().cycle()) {
        let (node, address, seats) = (node.clone(), address.clone(), Arc::clone(&seats));
        under_way.push(tokio::spawn(async move {
            let _seat = seats.acquire().await.expect("it stays open");
            node.exchange_with(&address).await
        }));
    }
    let mut reports = Vec::new();
    for one in under_way {
        reports.push(one.await.expect("it ends").expect("the exchange works"));
    }
    reports
}

/// Lets a device in as people do.
pub(crate) async fn let_in(hub: &Node, guest: &Node, address: SocketAddr) {
    let invitation = hub.invite(vec![address.to_string()]).expect("it can invite").to_string();
    let joining = tokio::spawn({
        let node = guest.clone();
        let body = serde_json::json!({ "invitation": invitation });
        async move { guyline_hub::desk::call(&node, "join", body).await }
    });
    let code = loop {
        if let Some((_, code)) = hub.at_door() {
            break code;
        }
        tokio::time::sleep(Duration::from_millis(5)).await;
    };
    hub.admit(&code, Role::Crew).expect("it is let in");
    joining.await.expect("it ends").expect("it came in");
}

pub(crate) fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).expect("a folder can be made");
    for entry in std::fs::read_dir(from).expect("it is there") {
        let entry = entry.expect("it is there");
        if entry.file_type().expect("it has one").is_dir() {
            copy(&entry.path(), &to.join(entry.file_name()));
        } else {
            std::fs::copy(entry.path(), to.join(entry.file_name())).expect("it is copied");
        }
    }
}

/// The same documents' saved forms, packed, a POST a device. Gives how long, and how many bytes.
async fn floor(file: &Path, forms: &[Vec<Vec<u8>>]) -> (Duration, u64) {
    let server = bare::Server::start(file).await;
    let client = reqwest::Client::new();
    let start = Instant::now();
    let mut under_way = Vec::new();
    let seats = Arc::new(Semaphore::new(AT_ONCE));
    for forms in forms {
        let (client, url, plain) = (client.clone(), server.url.clone(), forms.concat());
        let seats = Arc::clone(&seats);
        under_way.push(tokio::spawn(async move {
            let _seat = seats.acquire().await.expect("it stays open");
            let body = zstd::bulk::compress(&plain, ZSTD_LEVEL).expect("it packs");
            let bytes = body.len() as u64;
            let answer = client.post(url).body(body).send().await.expect("it answers");
            assert!(answer.status().is_success(), "the bare handler took the bytes");
            bytes
        }));
    }
    let mut bytes = 0;
    for one in under_way {
        bytes += one.await.expect("it ends");
    }
    let took = start.elapsed();
    server.stop();
    (took, bytes)
}
