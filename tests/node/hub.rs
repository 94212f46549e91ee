//! Goal: the program as a shop's hub: its settings and where they come from, health and numbers,
//! an end that leaves nothing undone, logs that tell nothing of what anybody wrote, and a good
//! client that is answered soon whatever others do. Method: the built program, asked over loopback.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use guyline_tests::built;
use guyline_tests::served::Served;

use crate::crew::{Device, device, id, work, write};

/// What comes before where health and numbers are.
const METRICS: &str = "Health and metrics are at ";

/// A served hub, ended with the test.
struct Hub {
    served: Served,
    screens: String,
    metrics: String,
    share: String,
}

impl Hub {
    fn start(data: &Path, more: &[&str]) -> Self {
        let mut command = Command::new(built("guyline"));
        command
            .args(["serve", "--metrics", "127.0.0.1:0", "--share", "127.0.0.1:0"])
            .args(["--no-background", "--data"])
            .arg(data)
            .args(more)
            .stderr(Stdio::piped());
        let served = Served::start(command, METRICS);
        let bare = |place: String| place.trim_start_matches("http://").to_owned();
        let (screens, metrics) = (bare(served.screens()), bare(served.after(METRICS)));
        Self { screens, metrics, share: served.shared(), served }
    }

    /// What the hub holds in memory, in bytes.
    fn held(&self) -> usize {
        let text = std::fs::read_to_string(format!("/proc/{}/statm", self.served.id())).unwrap();
        text.split_whitespace().nth(1).unwrap().parse::<usize>().unwrap() * 4096
    }
}

/// Sends bytes and gives everything that comes back; nothing where the other side hangs up.
fn said(address: &str, bytes: &[u8]) -> String {
    let mut stream = TcpStream::connect(address).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(5))).unwrap();
    let mut answer = Vec::new();
    // A refusal may come, and the way be closed, before all of it is sent.
    let _closed_early = stream.write_all(bytes);
    let _closed_early = stream.read_to_end(&mut answer);
    String::from_utf8_lossy(&answer).into_owned()
}

fn get(address: &str, path: &str) -> String {
    let head = format!("GET {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n");
    said(address, head.as_bytes())
}

fn post(address: &str, path: &str, headers: &str, body: &[u8]) -> String {
    let length = body.len();
    let head = format!(
        "POST {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\
         Content-Type: application/json\r\n{headers}Content-Length: {length}\r\n\r\n"
    );
    said(address, &[head.as_bytes(), body].concat())
}

/// A folder with a session, and a note that says this.
fn folder(text: &str) -> tempfile::TempDir {
    let Device { node, folder } = device(text);
    work(&node, 1, 1);
    write(&node, 1, "canary", text);
    node.found_shop().unwrap();
    drop(node);
    folder
}

#[test]
fn health_and_numbers_are_there_for_this_machine_and_count_what_is_here() {
    let folder = folder("hub");
    let hub = Hub::start(folder.path(), &[]);
    assert!(get(&hub.metrics, "/health").ends_with("\r\n\r\nok\n"));
    let numbers = get(&hub.metrics, "/metrics");
    assert!(numbers.contains("text/plain; version=0.0.4"), "{numbers}");
    assert!(numbers.contains("guyline_arrivals_waiting 0"), "{numbers}");
    for row in ["guyline_changes_total 3", "guyline_documents 1", "guyline_only_here_changes 3"] {
        assert!(numbers.contains(&format!("\n{row}\n")), "lacks {row}: {numbers}");
    }
    let body = numbers.split("\r\n\r\n").nth(1).unwrap();
    for line in body.lines().filter(|line| !line.starts_with('#')) {
        let (name, number) = line.split_once(' ').expect("a name and a number");
        assert!(body.contains(&format!("# TYPE {name} ")) && number.parse::<f64>().is_ok());
    }
    assert!(get(&hub.metrics, "/api/today").starts_with("HTTP/1.1 404"));
    hub.served.stop();
    let abroad = Command::new(built("guyline"))
        .args(["serve", "--metrics", "0.0.0.0:0", "--data"])
        .arg(folder.path())
        .output()
        .unwrap();
    assert_eq!(abroad.status.code(), Some(2));
}

#[test]
fn settings_come_from_flags_then_the_environment_then_the_file() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("guyline.toml");
    std::fs::write(&file, "data = 'store'\nlog = 'warn'\nlisten = '127.0.0.1:1'\n").unwrap();
    let check = |more: &[&str]| {
        let mut command = Command::new(built("guyline"));
        command.args(["serve", "--check-config", "--config"]).arg(&file).args(more);
        let output = command
            .env("GUYLINE_LISTEN", "127.0.0.1:2")
            .env("GUYLINE_LOG", "debug")
            .current_dir(folder.path())
            .output()
            .unwrap();
        let told = String::from_utf8([output.stdout, output.stderr].concat()).unwrap();
        (output.status.code(), told)
    };
    let (code, told) = check(&["--log", "error"]);
    assert_eq!(code, Some(0), "{told}");
    for line in ["data = \"store\"", "listen = \"127.0.0.1:2\"", "log = \"error\""] {
        assert!(told.contains(line), "lacks {line}: {told}");
    }
    assert!(!folder.path().join("store").exists(), "nothing is made by looking");
    std::fs::write(&file, "data = 'store'\nlogs = 'warn'\n").unwrap();
    let (code, told) = check(&[]);
    assert_eq!(code, Some(2));
    assert!(told.contains("line 2, column 1") && told.contains("help: "), "{told}");
}

#[test]
fn what_anybody_wrote_and_what_is_secret_is_in_no_log() {
    const CANARY: &str = "canary-7f3a";
    let folder = folder(CANARY);
    let hub = Hub::start(folder.path(), &["--log", "debug", "--log-form", "json"]);
    let body = format!("{{\"name\": \"{CANARY}\"}}");
    let named = post(&hub.screens, "/api/name-device", "", body.as_bytes());
    assert!(named.starts_with("HTTP/1.1 200"), "{named}");
    let wrong = format!("{{\"{CANARY}\": \"{CANARY}\"}}");
    let header = format!("Cookie: a={CANARY}\r\nAuthorization: {CANARY}\r\n");
    let refused = post(&hub.screens, "/api/today", &header, wrong.as_bytes());
    assert!(refused.starts_with("HTTP/1.1 400"), "{refused}");
    let invited = post(&hub.screens, "/api/invite", "", b"{}");
    let page: serde_json::Value =
        serde_json::from_str(invited.split("\r\n\r\n").nth(1).unwrap()).unwrap();
    let invitation = page["invitation"].as_str().unwrap().to_owned();
    let joined = format!("{{\"invitation\": \"{invitation}\"}}");
    let _refused = post(&hub.screens, "/api/join", "", joined.as_bytes());
    get(&hub.screens, &format!("/?token={CANARY}"));
    let log = hub.served.stop();
    let keys = ["device.key", "shop-root.key"]
        .map(|name| std::fs::read_to_string(folder.path().join(name)).unwrap().trim().to_owned());
    for secret in [CANARY.to_owned(), invitation].into_iter().chain(keys) {
        assert!(!log.contains(&secret), "{secret:?} is in the log: {log}");
    }
    assert!(log.contains("/api/name-device") && log.contains("\"stopped\""), "{log}");
    for line in log.lines() {
        let event: serde_json::Value = serde_json::from_str(line).expect("a JSON object a line");
        assert!(event["level"].is_string() && event["timestamp"].is_string(), "{line}");
    }
    let node = guyline_hub::Node::open(folder.path()).unwrap();
    assert_eq!(node.documents().unwrap(), [id(1)]);
}

#[test]
fn a_good_client_is_answered_soon_whatever_others_do() {
    let folder = folder("hub");
    let hub = Hub::start(folder.path(), &["--log", "warn"]);
    let mut slow = Vec::new();
    // From another address than the good client's, as it would be.
    let open = |to: &str, n: usize, bytes: &[u8]| {
        let to: SocketAddr = to.parse().unwrap();
        let socket = socket2::Socket::new(socket2::Domain::IPV4, socket2::Type::STREAM, None);
        let socket = socket.unwrap();
        let from = SocketAddr::from(([127, 0, 1, (n % 4) as u8 + 1], 0));
        socket.bind(&from.into()).unwrap();
        socket.connect(&to.into()).unwrap();
        let mut stream = TcpStream::from(socket);
        // Whoever has enough is hung up on.
        let _hung_up = stream.write_all(bytes);
        stream
    };
    for n in 0..500 {
        let head = format!("POST /api/today HTTP/1.1\r\nHost: {}\r\nX-A: ", hub.screens);
        slow.push(open(&hub.screens, n, head.as_bytes()));
        slow.push(open(&hub.share, n, &[0x16, 0x03, 0x01]));
    }
    let answered = |what: &str| {
        let began = Instant::now();
        assert!(get(&hub.screens, "/health").starts_with("HTTP/1.1 200"), "{what}");
        // Who shows no key of the shop's is hung up on, at once: it is not kept waiting in a queue.
        said(&hub.share, b"GET / HTTP/1.1\r\n\r\n");
        began.elapsed()
    };
    // The best of three: this machine may have other things to do.
    let soon = |what: &str| {
        let took = [(); 3].map(|()| answered(what)).into_iter().min().unwrap();
        assert!(took < Duration::from_secs(1), "{what}: {took:?}");
        took
    };
    println!("beside 1 000 half requests: {:?}", soon("slow heads"));
    let long = format!("X-Long: {}\r\n", "a".repeat(1 << 20));
    let many: String = (0..2_000).map(|n| format!("X-{n}: 1\r\n")).collect();
    let host = &hub.screens;
    let bomb = [&[0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 3][..], &[0; 4096]].concat();
    for (what, answer, statuses) in [
        ("a long head", post(host, "/api/today", &long, b"{}"), &["431"][..]),
        ("many headers", post(host, "/api/today", &many, b"{}"), &["431"]),
        ("a large body", post(host, "/api/today", "", &vec![b' '; 2 << 20]), &["413"]),
        ("a bomb", post(host, "/api/today", "Content-Encoding: gzip\r\n", &bomb), &["400", "415"]),
        ("no HTTP", said(host, b"\0\x01\x02\r\n\r\n"), &["400"]),
        ("two lengths", post(host, "/api/today", "Content-Length: 7\r\n", b"{}"), &["400"]),
    ] {
        let told = answer.split(' ').nth(1).unwrap_or("nothing");
        assert!(statuses.contains(&told), "{what}: {told}: {answer:.200}");
        soon(what);
    }
    let held = hub.held();
    println!("{} MiB are held", held >> 20);
    assert!(held < 256 << 20, "{held} bytes");
    drop(slow);
    hub.served.stop();
}
