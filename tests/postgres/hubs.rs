//! Goal: several processes of one hub are one hub: whatever one was given the others have, whom one
//! lets in all let in, and one that is killed takes nothing acknowledged with it. Method: nodes on
//! one database in this process, and two served programs with a crew that goes to either while one
//! of them is killed.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use automerge::ActorId;
use guyline_core::record::{Document, DocumentId, SessionEdit};
use guyline_hub::Node;
use guyline_hub::desk;
use guyline_hub::store::Elsewhere;
use guyline_tests::served::Served;
use guyline_tests::{author, built};
use serde_json::{Value, json};

use crate::fresh;

const DEVICES: u8 = 6;
const ROUNDS: usize = 12;

fn id(n: u8) -> DocumentId {
    DocumentId::from_bytes([n; 16])
}

fn begin(node: &Node, n: u8) {
    let made =
        Document::create_session(id(n), id(0), "lookout-vhf", "WO 1", ActorId::random(), &author());
    let (document, change) = made.unwrap();
    node.create(document, change).unwrap();
}

fn write(node: &Node, n: u8, note: &str) {
    let edit = SessionEdit::AddNote { id: note.to_owned(), text: "it rained".to_owned() };
    node.edit(id(n), |document| document.apply(&edit, &author())).unwrap().unwrap();
}

fn notes(node: &Node, n: u8) -> BTreeSet<String> {
    let look = |document: &Document| document.session().unwrap().notes.clone();
    node.with_document(id(n), look).unwrap().into_keys().collect()
}

/// Folders of two processes of one hub.
fn two_folders(url: &str) -> [tempfile::TempDir; 2] {
    let folders = [tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap()];
    Elsewhere::postgres(url.to_owned()).keep(folders[0].path()).unwrap();
    let first = Node::open(folders[0].path()).unwrap();
    first.set_name("hub").unwrap();
    drop(first);
    for file in ["device.key", "store.toml"] {
        std::fs::copy(folders[0].path().join(file), folders[1].path().join(file)).unwrap();
    }
    folders
}

#[test]
fn what_one_process_writes_the_other_has_at_once() {
    let (_server, url) = fresh();
    let folders = two_folders(&url);
    let [first, second] = [0, 1].map(|n| Node::open(folders[n].path()).unwrap());
    begin(&first, 1);
    write(&first, 1, "a");
    write(&second, 1, "b");
    write(&first, 1, "c");
    begin(&second, 2);
    for node in [&first, &second] {
        assert_eq!(notes(node, 1), BTreeSet::from(["a", "b", "c"].map(str::to_owned)));
        assert_eq!(node.heads().unwrap().len(), 2);
        assert_eq!(node.position().unwrap(), 5);
        let found = node.inspect().unwrap();
        assert_eq!((found.changes, found.problems), (5, vec![]));
    }
    first.set_name("the shop's hub").unwrap();
    second.position().unwrap();
    assert_eq!(second.name().unwrap(), "the shop's hub");
}

#[tokio::test(flavor = "multi_thread")]
async fn whom_one_process_lets_in_or_shuts_out_all_do() {
    let (_server, url) = fresh();
    let folders = two_folders(&url);
    let [first, second] = [0, 1].map(|n| Node::open(folders[n].path()).unwrap());
    first.found_shop().unwrap();
    second.position().unwrap();
    assert!(second.is_member(), "the same key, on the roster the first one made");
    assert!(!second.lets_in(), "the root key is in the first one's folder only");
    let folder = tempfile::tempdir().unwrap();
    let ines = Node::open(folder.path()).unwrap();
    join(&first, &ines).await;
    assert!(!second.admits(ines.key()), "it has not looked yet");
    second.position().unwrap();
    assert!(second.admits(ines.key()));
    // What both heard of at once is on the roster of both: neither word is lost.
    let other = tempfile::tempdir().unwrap();
    let other = Node::open(other.path()).unwrap();
    join(&first, &other).await;
    first.revoke(ines.key(), "lost on the way down").unwrap();
    second.position().unwrap();
    assert!(!second.admits(ines.key()) && second.admits(other.key()));
    assert_eq!(second.roster_entries(), first.roster_entries());
}

/// Lets a device in, as people do it.
async fn join(host: &Node, guest: &Node) {
    let call = |node: &Node, command: &'static str, body: Value| {
        let node = node.clone();
        async move { desk::call(&node, command, body).await }
    };
    let address = host.share("127.0.0.1:0".parse().unwrap()).await.unwrap();
    let invitation = host.invite(vec![address.to_string()]).unwrap().to_string();
    let joining = tokio::spawn(call(guest, "join", json!({ "invitation": invitation })));
    let code = loop {
        if let Some((_, code)) = host.at_door() {
            break code;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    };
    call(host, "admit", json!({ "code": code, "role": "crew" })).await.unwrap();
    joining.await.unwrap().unwrap();
}

#[test]
fn what_one_took_in_and_did_not_live_to_put_in_place_another_does() {
    let (_server, url) = fresh();
    let folders = two_folders(&url);
    let folder = tempfile::tempdir().unwrap();
    let ines = Node::open(folder.path()).unwrap();
    begin(&ines, 1);
    (0..20).for_each(|number| write(&ines, 1, &format!("note-{number}")));
    let first = Node::open(folders[0].path()).unwrap().keeping_from(2);
    let report = ines.exchange_by("hub", true, |body| first.answer(body)).unwrap();
    assert_eq!(report.sent_changes, 21);
    assert_eq!(first.arrivals_waiting().unwrap(), 1, "it lies as it came");
    drop(first);
    let second = Node::open(folders[1].path()).unwrap();
    assert_eq!(second.arrivals_waiting().unwrap(), 1);
    assert_eq!((notes(&second, 1).len(), second.arrivals_waiting().unwrap()), (20, 0));
    assert_eq!(second.heads().unwrap(), ines.heads().unwrap());
    // Nothing of it is asked for or sent again, whichever process is met.
    let report = ines.exchange_by("hub", false, |body| second.answer(body)).unwrap();
    assert_eq!((report.sent_changes, report.received_changes), (0, 0));
}

#[test]
fn a_folder_with_another_key_is_no_process_of_this_hub() {
    let (_server, url) = fresh();
    let folders = two_folders(&url);
    std::fs::remove_file(folders[1].path().join("device.key")).unwrap();
    let told = Node::open(folders[1].path()).unwrap_err();
    assert!(told.to_string().contains("another key"), "{told}");
    assert!(told.help().contains("copy device.key"), "{}", told.help());
    let first = Node::open(folders[0].path()).unwrap();
    let told = Node::open(folders[0].path()).unwrap_err();
    assert!(told.to_string().contains("another Guyline is using"), "{told}");
    drop(first);
    let pointer = folders[0].path().join("store.toml");
    let mut command = Command::new("chmod");
    assert!(command.arg("644").arg(&pointer).status().unwrap().success());
    let told = Node::open(folders[0].path()).unwrap_err();
    assert!(told.to_string().contains("by others"), "{told}");
    Command::new("chmod").arg("600").arg(&pointer).status().unwrap();
    std::fs::write(&pointer, "postgers = 'x'\n").unwrap();
    let told = Node::open(folders[0].path()).unwrap_err();
    assert!(told.to_string().contains("postgers"), "{told}");
}

#[test]
fn a_hub_without_its_database_says_so_and_comes_back() {
    let (mut server, url) = fresh();
    let folders = two_folders(&url);
    let node = Node::open(folders[0].path()).unwrap();
    begin(&node, 1);
    write(&node, 1, "before");
    server.kill();
    let told = node.position().unwrap_err();
    assert!(told.to_string().contains("out of reach"), "{told}");
    assert_eq!(notes(&node, 1).len(), 1, "what is in memory can be looked at");
    let edit = SessionEdit::AddNote { id: "lost".to_owned(), text: "it rained".to_owned() };
    let edited = node.edit(id(1), |document| document.apply(&edit, &author()));
    assert!(edited.is_err(), "and nothing is taken for written");
    server.start_again();
    let begun = Instant::now();
    while node.position().is_err() {
        assert!(begun.elapsed() < Duration::from_secs(20), "it does not come back");
        std::thread::sleep(Duration::from_millis(50));
    }
    assert_eq!(notes(&node, 1), BTreeSet::from(["before".to_owned()]));
    write(&node, 1, "after");
    assert_eq!(notes(&node, 1).len(), 2);
}

/// A served process of the hub.
fn serve(data: &Path) -> Served {
    let mut command = Command::new(built("guyline"));
    command.args(["serve", "--no-background", "--listen", "127.0.0.1:0", "--data"]).arg(data);
    Served::start(command, "Guyline is at ")
}

#[test]
fn a_crew_that_goes_to_either_loses_nothing_when_one_is_killed() {
    let (_server, url) = fresh();
    let folders = two_folders(&url);
    let mut first = serve(folders[0].path());
    let second = serve(folders[1].path());
    let addresses = [first.screens(), second.screens()];
    let devices: Vec<_> = (1..=DEVICES)
        .map(|n| {
            let addresses = addresses.clone();
            std::thread::spawn(move || a_days_work(n, &addresses))
        })
        .collect();
    // In the middle of it: each has merged a few times by then.
    let begun = Instant::now();
    let watched = tempfile::tempdir().unwrap();
    let watch = Node::open(watched.path()).unwrap();
    loop {
        exchange(&watch, &addresses[1]).unwrap();
        let known: usize = watch.documents().unwrap().len();
        if known == usize::from(DEVICES) {
            break;
        }
        assert!(begun.elapsed() < Duration::from_secs(60), "{known} documents came");
    }
    first.kill();
    let devices: Vec<(Node, tempfile::TempDir, usize)> =
        devices.into_iter().map(|thread| thread.join().unwrap()).collect();
    let missed: usize = devices.iter().map(|(.., missed)| missed).sum();
    assert!(missed > 0, "somebody came to the one that was killed");
    for _ in 0..2 {
        devices.iter().for_each(|(node, ..)| exchange(node, &addresses[1]).unwrap());
    }
    let wanted: BTreeSet<String> = (0..ROUNDS).map(|round| format!("note-{round}")).collect();
    let heads = devices[0].0.heads().unwrap();
    for (node, ..) in &devices {
        (1..=DEVICES).for_each(|n| assert_eq!(notes(node, n), wanted));
        assert_eq!(node.heads().unwrap(), heads);
    }
    drop(second);
    let hub = Node::open(folders[1].path()).unwrap();
    assert_eq!(hub.heads().unwrap(), heads);
    assert_eq!(hub.inspect().unwrap().problems, []);
    assert_eq!(hub.set_aside_count().unwrap(), 0);
}

/// One device records and merges, now here, now there. Gives how often nobody answered.
fn a_days_work(n: u8, addresses: &[String; 2]) -> (Node, tempfile::TempDir, usize) {
    let folder = tempfile::tempdir().unwrap();
    let node = Node::open(folder.path()).unwrap();
    begin(&node, n);
    let mut missed = 0;
    for round in 0..ROUNDS {
        write(&node, n, &format!("note-{round}"));
        let turn = (round + usize::from(n)) % 2;
        if exchange(&node, &addresses[turn]).is_err() {
            missed += 1;
            exchange(&node, &addresses[1]).unwrap();
        }
        std::thread::sleep(Duration::from_millis(40));
    }
    (node, folder, missed)
}

fn exchange(node: &Node, address: &str) -> Result<(), String> {
    let runtime =
        tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build();
    let done = runtime.unwrap().block_on(node.exchange_with(address));
    done.map(drop).map_err(|error| error.to_string())
}
