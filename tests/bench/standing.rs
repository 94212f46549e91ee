//! What a hub costs while it stands: whether a few edits cost it more the more it holds, and what
//! memory the day's end takes.
//!
//! Three edits by a device are merged in turn with a hub that holds few visits and with one that
//! holds many, over TLS, both sides level before. The many are small ones, made in memory: 20 000
//! of them, since 50 000 take minutes to make (`GUYLINE_BENCH_SESSIONS=50000` is the full size).

use std::net::SocketAddr;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use guyline_core::record::{Author, Document, DocumentId, SessionEdit};
use guyline_hub::Node;
use guyline_tests::served::Served;
use guyline_tests::{asked, built};
use tempfile::TempDir;

use crate::merging::{
    DEVICES, HUB, VISITS, all_at_once, copy, folder_in_memory, let_in, name, prepare,
};
use crate::peers::cpu_time_of;
use crate::{Row, median};

const FEW: usize = 500;
const MANY: usize = 20_000;
const ROUNDS: usize = 60;
const EDITS: usize = 3;
/// The devices of a national shop that come in within half an hour.
const NATIONAL_DEVICES: f64 = 5_000.0;
const HALF_AN_HOUR: Duration = Duration::from_secs(1_800);
/// So long the hub may take to put everything in its place.
const PLACED_WITHIN: Duration = Duration::from_secs(120);

/// Three edits against a hub with many visits, as against one with few.
pub(crate) async fn trickle() -> Row {
    let many = asked("GUYLINE_BENCH_SESSIONS", MANY);
    let (few, many) = (Pair::with(FEW).await, Pair::with(many).await);
    let (mut small, mut large) = (Vec::new(), Vec::new());
    for round in 0..ROUNDS {
        small.push(few.edit_and_merge(round).await);
        large.push(many.edit_and_merge(round).await);
    }
    let (small, large) = (median(small), median(large));
    eprintln!("three edits: {small:?} beside {FEW} visits, {large:?} beside {}", many.visits);
    Row { name: "trickle", measured: large.as_secs_f64() / small.as_secs_f64(), goal: 1.5 }
}

/// A hub and a device that hold the same visits.
struct Pair {
    hub: Node,
    device: Node,
    address: SocketAddr,
    visits: usize,
    _folder: TempDir,
}

impl Pair {
    async fn with(visits: usize) -> Self {
        let began = Instant::now();
        let folder = folder_in_memory();
        let open = |name: &str| Node::open(&folder.path().join(name)).expect("a fresh store opens");
        let (hub, device) = (open(HUB), open("device"));
        hub.found_shop().expect("a shop is started");
        let address = hub.share("127.0.0.1:0".parse().expect("loopback")).await;
        let address = address.expect("loopback is free");
        let_in(&hub, &device, address).await;
        (0..visits).for_each(|number| begin_visit(&hub, number));
        let made = began.elapsed();
        device.exchange_with(&format!("https://{address}")).await.expect("they become level");
        assert_eq!(device.documents().expect("they are here").len(), visits);
        eprintln!("{visits} visits made in {made:?}, on both sides after {:?}", began.elapsed());
        Self { hub, device, address, visits, _folder: folder }
    }

    /// Makes some edits, and gives how long merging them took.
    async fn edit_and_merge(&self, round: usize) -> Duration {
        let author = author(&self.device);
        for _ in 0..EDITS {
            let text = "squelch set, tone decoded, fan cleaned".to_owned();
            let edit = SessionEdit::AddNote { id: self.device.fresh_id(), text };
            let id = visit(round % FEW);
            let done = self.device.edit(id, |document| document.apply(&edit, &author));
            done.expect("the store takes it").expect("the edit is taken");
        }
        let address = format!("https://{}", self.address);
        let start = Instant::now();
        let report = self.device.exchange_with(&address).await.expect("the exchange works");
        let took = start.elapsed();
        assert_eq!(report.sent_changes, EDITS as u64, "the edits went, and nothing else");
        let heads = |node: &Node| node.heads().expect("read")[&visit(round % FEW)].clone();
        assert_eq!(heads(&self.hub), heads(&self.device), "the hub has them");
        took
    }
}

fn visit(number: usize) -> DocumentId {
    let mut bytes = [7; 16];
    bytes[8..].copy_from_slice(&(number as u64).to_be_bytes());
    DocumentId::from_bytes(bytes)
}

fn author(node: &Node) -> Author {
    Author { person: "ines".to_owned(), device: "tablet".to_owned(), at: node.now() }
}

fn begin_visit(node: &Node, number: usize) {
    let (id, actor) = (visit(number), node.fresh_actor());
    let made = Document::create_session(id, id, "lookout-vhf", "bench", actor, &author(node));
    let (document, change) = made.expect("a session can be planned");
    node.create(document, change).expect("the store takes it");
}

/// A hub and the devices of `push`, which bring it their work when they are told to.
struct DayEnd {
    hub: Served,
    devices: Vec<Node>,
    _dir: TempDir,
}

impl DayEnd {
    async fn ready() -> Self {
        let prepared = prepare().await;
        let dir = tempfile::tempdir().expect("a folder for the bench");
        copy(prepared.folder.path(), dir.path());
        let hub = serve(&dir.path().join(HUB), prepared.address);
        let open = |device| Node::open(&dir.path().join(name(device))).expect("it opens again");
        Self { hub, devices: (0..DEVICES).map(open).collect(), _dir: dir }
    }

    /// All come in. Gives how many changes they brought.
    async fn come(&self) -> u64 {
        let address = format!("https://{}", self.hub.shared());
        let reports = all_at_once(&self.devices, &[address]).await;
        reports.iter().map(|report| report.sent_changes).sum()
    }

    /// Waits until all is in its place.
    async fn placed(&self) {
        let documents = placed(&self.hub).await;
        assert_eq!(documents, (DEVICES * VISITS) as u64, "every visit is at the hub");
    }
}

/// How much of one core a hub takes for a national shop's day end: five thousand devices in half an
/// hour, each with the work of this row's, 25 visits. From a run with twenty of them.
pub(crate) async fn load() -> Row {
    let day_end = DayEnd::ready().await;
    let (before, began) = (cpu_time_of(day_end.hub.id()), Instant::now());
    let sent = day_end.come().await;
    let let_go = began.elapsed();
    day_end.placed().await;
    let (placed, cpu) = (began.elapsed(), cpu_time_of(day_end.hub.id()) - before);
    eprintln!(
        "{sent} changes of {DEVICES} devices, let go after {let_go:?}, in place after {placed:?}: \
         {cpu:?} of the hub's"
    );
    let of_one = cpu.as_secs_f64() / DEVICES as f64;
    let measured = of_one * NATIONAL_DEVICES / HALF_AN_HOUR.as_secs_f64();
    Row { name: "load", measured, goal: 1.0 }
}

/// MB that the program as a hub had in memory at most, while a day's end came in and was placed.
pub(crate) async fn hub_memory() -> Row {
    let day_end = DayEnd::ready().await;
    let sent = day_end.come().await;
    let come = most_held(&day_end.hub);
    day_end.placed().await;
    let bytes = most_held(&day_end.hub);
    eprintln!("{sent} changes: {come} bytes when all had come, {bytes} in their places");
    Row { name: "hub-memory", measured: bytes as f64 / 1e6, goal: 150.0 }
}

/// What comes before where the numbers are.
const METRICS: &str = "Health and metrics are at ";

/// The program as a hub.
pub(crate) fn serve(dir: &Path, share: SocketAddr) -> Served {
    let mut command = Command::new(built("guyline"));
    command
        .args(["serve", "--metrics", "127.0.0.1:0", "--share", &share.to_string(), "--data"])
        .arg(dir);
    Served::start(command, METRICS)
}

/// How many documents it holds once nothing waits to be put in its place.
async fn placed(hub: &Served) -> u64 {
    let began = Instant::now();
    while began.elapsed() < PLACED_WITHIN {
        let answer = reqwest::get(format!("{}/metrics", hub.after(METRICS))).await;
        let text = answer.expect("it answers").text().await.expect("numbers");
        let number = |name: &str| {
            let mut lines = text.lines();
            let row = lines.find_map(|line| line.strip_prefix(name)?.strip_prefix(' '));
            row.expect("a number has that name").parse::<u64>().expect("a count")
        };
        if number("guyline_arrivals_waiting") == 0 {
            return number("guyline_documents");
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    panic!("after {PLACED_WITHIN:?} something still waits to be put in its place");
}

/// The most it ever had in memory, in bytes: VmHWM of proc(5), which is in kB of 1024 bytes.
fn most_held(hub: &Served) -> u64 {
    let text = std::fs::read_to_string(format!("/proc/{}/status", hub.id()));
    let text = text.expect("the system tells");
    let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kib = line.and_then(|line| line.trim().strip_suffix(" kB")).expect("the agreed form");
    kib.trim().parse::<u64>().expect("a count") * 1024
}
