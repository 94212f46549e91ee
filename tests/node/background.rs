//! Goal: a crew's devices become level by themselves, without a hub and without anybody typing an
//! address; what is written on one appears on the others soon; and nothing that is announced on the
//! network makes a device speak with a stranger or fills its memory. Method: real nodes share on
//! loopback, find each other by real mDNS there, and forged packets are real packets.
//!
//! `GUYLINE_FORGED=100000` is the long run of forged packets (5 000 by default).

use std::fs::File;
use std::net::{Ipv4Addr, SocketAddr, UdpSocket};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use guyline_hub::background::Background;
use guyline_tests::asked;
use serde_json::json;
use tokio::net::TcpListener;

use crate::crew::{Device, Seeded, device, id, notes, work, write};
use crate::members::{call, let_in};

/// Everybody on loopback hears everybody, also a test in another process: one network at a time.
fn network() -> File {
    let lock = File::create(std::env::temp_dir().join("guyline-tests-network")).unwrap();
    lock.lock().unwrap();
    lock
}

fn anywhere() -> SocketAddr {
    SocketAddr::from((Ipv4Addr::LOCALHOST, 0))
}

/// A crew of one shop; the first device has its root key. Nobody shares yet.
async fn crew(count: usize) -> Vec<Device> {
    let crew: Vec<Device> = (0..count).map(|n| device(&format!("tablet {n}"))).collect();
    crew[0].node.found_shop().unwrap();
    for guest in &crew[1..] {
        let_in(&crew[0], guest).await;
    }
    crew[0].node.share_no_more().await;
    crew
}

/// Waits for something that must come, and says how long it took.
async fn until(what: &str, within: Duration, come: impl Fn() -> bool) -> Duration {
    let started = Instant::now();
    while !come() {
        assert!(started.elapsed() < within, "{what} did not come within {within:?}");
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    started.elapsed()
}

fn level(crew: &[Device]) -> bool {
    let heads = |device: &Device| device.node.heads().unwrap();
    crew.iter().all(|device| heads(device) == heads(&crew[0]))
}

#[tokio::test(flavor = "multi_thread")]
async fn a_crew_of_eight_becomes_level_by_itself_without_a_hub() {
    let _network = network();
    let crew = crew(8).await;
    for (n, device) in (1..).zip(&crew) {
        work(&device.node, n, 2);
        device.node.share(anywhere()).await.unwrap();
    }
    let merging: Vec<Background> =
        crew.iter().map(|device| Background::start(&device.node)).collect();
    let took = until("level", Duration::from_secs(60), || {
        level(&crew) && crew[0].node.heads().unwrap().len() == 8
    });
    println!("eight devices were level after {:?}", took.await);
    let page = crew[3].node.background();
    assert!(page.running && !page.paused && page.discovery.is_none(), "{page:?}");
    assert!(page.nearby.iter().any(|line| line.announced && line.name.is_some()), "{page:?}");
    assert!(page.last.is_some(), "what was moved is told: {page:?}");
    for merging in merging {
        merging.stop().await;
    }
    assert!(!crew[3].node.background().running);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_reading_appears_on_the_other_within_a_second_and_a_pause_holds_it() {
    let _network = network();
    let crew = crew(2).await;
    let (ines, tobias) = (&crew[0], &crew[1]);
    work(&ines.node, 1, 0);
    for device in &crew {
        device.node.share(anywhere()).await.unwrap();
    }
    let merging: Vec<Background> =
        crew.iter().map(|device| Background::start(&device.node)).collect();
    until("the session", Duration::from_secs(30), || level(&crew)).await;
    // Each has heard of the other before it is measured how fast they are.
    let both = || crew.iter().all(|one| one.node.background().nearby.iter().any(|l| l.announced));
    until("both", Duration::from_secs(30), both).await;
    let mut took = Vec::new();
    for n in 0..6 {
        let (from, to) = if n % 2 == 0 { (ines, tobias) } else { (tobias, ines) };
        write(&from.node, 1, &format!("n{n}"), "opens at -119.5 dBm");
        let come = || notes(&to.node, 1).contains(&format!("n{n}"));
        took.push(until("the note", Duration::from_secs(10), come).await);
    }
    took.sort();
    println!("an edit was on the other after {took:?}");
    // The best: this machine may have other things to do.
    assert!(took[0] < Duration::from_secs(1), "{took:?}");

    let page = call(ines, "pause-background", json!({ "paused": true })).await.unwrap();
    assert_eq!(page["paused"], true);
    call(tobias, "pause-background", json!({ "paused": true })).await.unwrap();
    // A merge that has begun is not cut off.
    let still = || crew.iter().all(|one| one.node.background().under_way.is_empty());
    until("what was under way", Duration::from_secs(10), still).await;
    write(&ines.node, 1, "held", "not yet");
    tokio::time::sleep(Duration::from_secs(1)).await;
    assert!(!notes(&tobias.node, 1).contains(&"held".to_owned()), "paused");
    call(ines, "pause-background", json!({ "paused": false })).await.unwrap();
    let come = || notes(&tobias.node, 1).contains(&"held".to_owned());
    until("what was held", Duration::from_secs(10), come).await;
    for merging in merging {
        merging.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn who_shared_by_choice_shares_again_and_who_paused_stays_paused() {
    let _network = network();
    let crew = crew(1).await;
    let node = &crew[0].node;
    node.share_again(Some(anywhere())).unwrap();
    node.pause_background(true).unwrap();
    let merging = Background::start(node);
    until("the page", Duration::from_secs(5), || node.background().running).await;
    let page = node.background();
    assert!(page.paused && page.share_again, "{page:?}");
    let mut shared = json!([]);
    for _ in 0..100 {
        shared = call(&crew[0], "members", json!({})).await.unwrap()["shared_at"].clone();
        if shared != json!([]) {
            break;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    assert_ne!(shared, json!([]), "it shares again");
    call(&crew[0], "share", json!({ "on": false })).await.unwrap();
    assert!(!node.background().share_again, "until it shares no more");
    merging.stop().await;
}

/// A trap that counts who connects.
async fn trap() -> (SocketAddr, Arc<AtomicUsize>) {
    let listener = TcpListener::bind(anywhere()).await.unwrap();
    let (address, count) = (listener.local_addr().unwrap(), Arc::new(AtomicUsize::new(0)));
    let counted = count.clone();
    tokio::spawn(async move {
        while let Ok((stream, _)) = listener.accept().await {
            counted.fetch_add(1, Ordering::Relaxed);
            drop(stream);
        }
    });
    (address, count)
}

/// An mDNS response (RFC 6762, section 18) that announces a service of this name at a port of
/// 127.0.0.1, with these text parts.
fn announcement(name: &str, port: u16, parts: &[String]) -> Vec<u8> {
    let labels = |text: &str| -> Vec<u8> {
        let mut bytes = Vec::new();
        for label in text.split('.').filter(|label| !label.is_empty()) {
            bytes.push(label.len() as u8);
            bytes.extend(label.bytes());
        }
        bytes.push(0);
        bytes
    };
    let service = labels("_guyline._tcp.local");
    let instance = labels(&format!("{name}._guyline._tcp.local"));
    let host = labels(&format!("{name}.local"));
    let mut packet = vec![0, 0, 0x84, 0, 0, 0, 0, 4, 0, 0, 0, 0];
    let mut record = |name: &[u8], kind: u16, data: &[u8]| {
        packet.extend(name);
        packet.extend(kind.to_be_bytes());
        packet.extend(1_u16.to_be_bytes());
        packet.extend(120_u32.to_be_bytes());
        packet.extend((data.len() as u16).to_be_bytes());
        packet.extend(data);
    };
    record(&service, 12, &instance);
    record(&instance, 33, &[&[0, 0, 0, 0], &port.to_be_bytes()[..], &host].concat());
    let text: Vec<u8> = parts
        .iter()
        .flat_map(|part| [vec![part.len() as u8], part.clone().into()].concat())
        .collect();
    record(&instance, 16, &text);
    record(&host, 1, &[127, 0, 0, 1]);
    packet
}

fn multicast() -> (UdpSocket, SocketAddr) {
    let socket = UdpSocket::bind(anywhere()).unwrap();
    let socket = socket2::Socket::from(socket);
    socket.set_multicast_if_v4(&Ipv4Addr::LOCALHOST).unwrap();
    (socket.into(), SocketAddr::from((Ipv4Addr::new(224, 0, 0, 251), 5353)))
}

/// Hears what is announced on loopback, beside the devices.
fn ear() -> UdpSocket {
    use socket2::{Domain, Protocol, Socket, Type};
    let socket = Socket::new(Domain::IPV4, Type::DGRAM, Some(Protocol::UDP)).unwrap();
    socket.set_reuse_address(true).unwrap();
    socket.set_reuse_port(true).unwrap();
    let any = SocketAddr::from((Ipv4Addr::UNSPECIFIED, 5353));
    socket.bind(&any.into()).unwrap();
    let group = Ipv4Addr::new(224, 0, 0, 251);
    socket.join_multicast_v4(&group, &Ipv4Addr::LOCALHOST).unwrap();
    socket.set_read_timeout(Some(Duration::from_secs(5))).unwrap();
    socket.into()
}

/// The parts of the first tag in the air, and that no name of shop or device went with it.
fn overheard(ear: &UdpSocket, tried: &[Vec<String>]) -> Vec<String> {
    let mut packet = [0; 9_000];
    loop {
        // Nothing new: the first may have been lost on its way, and is tried again.
        let Ok((count, _)) = ear.recv_from(&mut packet) else {
            return tried.first().expect("the devices announce themselves").clone();
        };
        let text = String::from_utf8_lossy(&packet[..count]).into_owned();
        assert!(!text.contains("tablet"), "a name is in the air: {text}");
        let part = |name: &str| {
            let at = text.find(&format!("\u{12}{name}="))? + 1;
            text.get(at..at + 18).map(str::to_owned)
        };
        if let (Some(n), Some(s), Some(d)) = (part("n"), part("s"), part("d")) {
            let tag = vec![n, s, d];
            if !tried.contains(&tag) {
                return tag;
            }
        }
    }
}

/// What this process holds in memory, in bytes.
fn held() -> usize {
    let text = std::fs::read_to_string("/proc/self/statm").unwrap();
    text.split_whitespace().nth(1).unwrap().parse::<usize>().unwrap() * 4096
}

#[tokio::test(flavor = "multi_thread")]
async fn forged_announcements_reach_nobody_and_fill_nothing() {
    let _network = network();
    let crew = crew(2).await;
    let ear = ear();
    for device in &crew {
        device.node.share(anywhere()).await.unwrap();
    }
    let merging: Vec<Background> =
        crew.iter().map(|device| Background::start(&device.node)).collect();
    let both = || crew.iter().all(|one| one.node.background().nearby.iter().any(|l| l.announced));
    until("both", Duration::from_secs(30), both).await;

    // Copied from the air and sent again with another port: it is called, for the one key it was
    // copied from, which is not there; and not often. So it is known that packets arrive at all.
    let (other, called) = trap().await;
    let (socket, group) = multicast();
    let (started, mut tried) = (Instant::now(), Vec::new());
    while called.load(Ordering::Relaxed) == 0 {
        assert!(started.elapsed() < Duration::from_secs(60), "no copied tag is called");
        // Another program's devices may be in the air too: only a tag of this crew is called.
        let copied = overheard(&ear, &tried);
        for n in 0..50 {
            let packet = announcement(&format!("copy{n}"), other.port(), &copied);
            socket.send_to(&packet, group).unwrap();
        }
        tried.push(copied);
        tokio::time::sleep(Duration::from_millis(500)).await;
    }

    let (trap, caught) = trap().await;
    let (before, count) = (held(), asked("GUYLINE_FORGED", 5_000_usize));
    let mut random = Seeded(29);
    for n in 0..count {
        let number = |random: &mut Seeded| format!("{:016x}", random.next());
        let parts = ["n", "s", "d"].map(|part| format!("{part}={}", number(&mut random)));
        let mut packet = announcement(&number(&mut random), trap.port(), &parts);
        if n % 4 == 3 {
            let at = random.below(packet.len());
            packet[at] = random.next() as u8;
            packet.truncate(random.below(packet.len()).max(12));
        }
        socket.send_to(&packet, group).unwrap();
        if n % 100 == 99 {
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
    }
    let grown = held().saturating_sub(before);
    println!("{count} forged announcements: {} KiB more held", grown / 1024);
    assert!(grown < 128 << 20, "{grown} bytes more are held");
    assert_eq!(caught.load(Ordering::Relaxed), 0, "a forged tag is nobody's");
    let called = called.load(Ordering::Relaxed);
    assert!(called < 20, "{called} calls where a copied tag led");
    for device in &crew {
        let page = device.node.background();
        assert!(page.nearby.len() <= 5, "{page:?}");
    }
    work(&crew[0].node, 1, 1);
    until("a merge beside it", Duration::from_secs(90), || level(&crew)).await;
    assert_eq!(crew[1].node.documents().unwrap(), [id(1)]);
    for merging in merging {
        merging.stop().await;
    }
}
