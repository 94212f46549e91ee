//! Goal: content of attachments reaches the others whole or not at all, from wherever it was cut
//! off, and nobody who is not of the shop gets a byte of it or learns what is here. Method: real
//! nodes over real sockets; a relay cuts, a made-up server sends what it should not.

use std::net::SocketAddr;

use guyline_core::record::{Attached, SessionEdit};
use guyline_hub::attachments::ContentHash;
use guyline_hub::desk::{Given, attach_file};
use guyline_hub::http::{Listening, Sharing};
use guyline_tests::author;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

use crate::crew::{Device, Seeded, device, id, work};
use crate::members::let_in;

const ANY_PORT: &str = "127.0.0.1:0";

/// A paper of so many bytes that nothing else has.
fn paper(seed: u64, length: usize) -> Vec<u8> {
    let mut bytes = b"%PDF-1.7\n".to_vec();
    bytes.extend(Seeded(seed).bytes(length.saturating_sub(bytes.len())));
    bytes
}

fn attach(device: &Device, bytes: Vec<u8>) -> ContentHash {
    let hash = ContentHash::of(&bytes);
    let given = Given {
        bytes,
        file_name: "../../certificate.pdf",
        media_type: Some("application/pdf"),
        caption: Some("the certificate"),
        of: None,
        keep_position: false,
    };
    attach_file(&device.node, id(1), &author(), given).unwrap();
    hash
}

/// Names a content in the visit without having it.
fn name_only(device: &Device, hash: ContentHash, length: u64) {
    let what = Attached {
        hash: hash.to_string(),
        media_type: "application/pdf".to_owned(),
        length,
        file_name: "a.pdf".to_owned(),
        caption: None,
        of: None,
    };
    let edit = SessionEdit::Attach { id: device.node.fresh_id(), what };
    device.node.edit(id(1), |document| document.apply(&edit, &author())).unwrap().unwrap();
}

/// Ines with a visit, another device that knows of it, and where the first one listens.
async fn level() -> (Device, Device, Listening) {
    let (ines, hub) = (device("Ines"), device("hub"));
    work(&ines.node, 1, 0);
    let listening = Listening::start(&ines.node, ANY_PORT).await.unwrap();
    hub.node.exchange_with(listening.address()).await.unwrap();
    (ines, hub, listening)
}

#[tokio::test(flavor = "multi_thread")]
async fn content_goes_both_ways_after_the_changes_small_ones_first() {
    let (ines, hub, listening) = level().await;
    let hers = [attach(&ines, paper(1, 700_000)), attach(&ines, paper(2, 300))];
    let his = attach(&hub, paper(3, 1_300_000));
    hub.node.exchange_with(listening.address()).await.unwrap();
    assert_eq!(
        (hub.node.contents_lacking().unwrap(), ines.node.contents_lacking().unwrap()),
        (2, 1)
    );
    let moved = hub.node.settle_contents_with(listening.address()).await.unwrap();
    assert_eq!((moved.fetched, moved.given, moved.lacking), (2, 1, 0), "{moved:?}");
    for hash in hers.into_iter().chain([his]) {
        assert_eq!(
            hub.node.contents().read(hash).unwrap(),
            ines.node.contents().read(hash).unwrap()
        );
    }
    let again = hub.node.settle_contents_with(listening.address()).await.unwrap();
    assert_eq!((again.received_bytes, again.sent_bytes), (0, 0), "nothing moves twice");
    listening.stop().await;
}

/// Passes on what comes, both ways, until so many bytes came back; then hangs up.
async fn relay(to: SocketAddr, cut: usize) -> String {
    let listener = TcpListener::bind(ANY_PORT).await.unwrap();
    let address = listener.local_addr().unwrap();
    tokio::spawn(async move {
        while let Ok((mut near, _)) = listener.accept().await {
            let mut far = TcpStream::connect(to).await.unwrap();
            tokio::spawn(async move {
                let (mut near_reads, mut near_writes) = near.split();
                let (mut far_reads, mut far_writes) = far.split();
                let there = async {
                    let mut asked = vec![0; 4_096];
                    loop {
                        let count = near_reads.read(&mut asked).await.unwrap_or(0);
                        // A node answers under its own address only: it is asked in that name.
                        let text = String::from_utf8_lossy(&asked[..count]);
                        let named = text.replace(&address.to_string(), &to.to_string());
                        if count == 0 || far_writes.write_all(named.as_bytes()).await.is_err() {
                            return;
                        }
                    }
                };
                let back = async {
                    let mut left = cut;
                    let mut piece = vec![0; 4_096];
                    while left > 0 {
                        let most = left.min(piece.len());
                        let count = far_reads.read(&mut piece[..most]).await.unwrap_or(0);
                        if count == 0 || near_writes.write_all(&piece[..count]).await.is_err() {
                            return;
                        }
                        left -= count;
                    }
                };
                tokio::select! { () = there => {}, () = back => {} }
            });
        }
    });
    format!("http://{address}")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_fetch_cut_at_many_bytes_goes_on_where_it_was_and_ends_with_the_same_bytes() {
    let (ines, hub, listening) = level().await;
    let bytes = paper(4, 200_000);
    let hash = attach(&ines, bytes.clone());
    hub.node.exchange_with(listening.address()).await.unwrap();
    let to: SocketAddr = listening.address().trim_start_matches("http://").parse().unwrap();
    let mut before = 0;
    for cut in [1, 40, 600, 1_000, 5_000, 30_000, 66_000, 70_000] {
        let through = relay(to, cut).await;
        let broken = hub.node.settle_contents_with(&through).await;
        assert!(broken.is_err() || !broken.unwrap().refused.is_empty(), "cut at {cut}");
        let come = hub.node.contents().arrived(hash);
        assert!(come >= before && come < 200_000, "{come} after {before}, cut at {cut}");
        assert!(!hub.node.contents().has(hash).unwrap(), "it does not count yet");
        before = come;
    }
    assert!(before > 100_000, "most of it had come: {before}");
    let moved = hub.node.settle_contents_with(listening.address()).await.unwrap();
    assert_eq!((moved.fetched, moved.received_bytes), (1, 200_000 - before), "only what lacked");
    assert_eq!(hub.node.contents().read(hash).unwrap(), bytes);
    listening.stop().await;
}

/// Answers every request with the same bytes.
async fn liar(answer: Vec<u8>) -> String {
    let listener = TcpListener::bind(ANY_PORT).await.unwrap();
    let address = listener.local_addr().unwrap();
    tokio::spawn(async move {
        while let Ok((mut stream, _)) = listener.accept().await {
            let answer = answer.clone();
            tokio::spawn(async move {
                let mut asked = vec![0; 4_096];
                while stream.read(&mut asked).await.is_ok_and(|count| count > 0) {
                    if stream.write_all(&answer).await.is_err() {
                        return;
                    }
                }
            });
        }
    });
    format!("http://{address}")
}

fn http(status: &str, head: &str, body: &[u8]) -> Vec<u8> {
    let length = body.len();
    let head = format!("HTTP/1.1 {status}\r\ncontent-length: {length}\r\n{head}\r\n");
    [head.as_bytes(), body].concat()
}

#[tokio::test(flavor = "multi_thread")]
async fn other_bytes_too_many_and_too_few_are_refused_and_nothing_of_them_stays() {
    let (_ines, hub, listening) = level().await;
    let bytes = paper(5, 5_000);
    let hash = ContentHash::of(&bytes);
    name_only(&hub, hash, 5_000);
    let mut other = bytes.clone();
    other[4_321] ^= 1;
    let long = [&bytes[..], b"more"].concat();
    for (body, said) in [(&other, "another hash"), (&long, "5000 were named")] {
        let address = liar(http("206 Partial Content", "", body)).await;
        let moved = hub.node.settle_contents_with(&address).await.unwrap();
        assert!(moved.refused[0].contains(said), "{moved:?}");
        assert!(moved.refused[0].contains(&hash.to_string()), "{moved:?}");
        assert_eq!((moved.fetched, hub.node.contents().arrived(hash)), (0, 0));
    }
    let address = liar(http("206 Partial Content", "", &bytes[..99])).await;
    let moved = hub.node.settle_contents_with(&address).await.unwrap();
    assert!(moved.refused[0].contains("ended at byte 99 of 5000"), "{moved:?}");
    assert!(!hub.node.contents().has(hash).unwrap());
    // Somebody who has it rightly completes it.
    let whole = liar(http("206 Partial Content", "", &bytes[99..])).await;
    assert_eq!(hub.node.settle_contents_with(&whole).await.unwrap().fetched, 1);
    assert_eq!(hub.node.contents().read(hash).unwrap(), bytes);
    listening.stop().await;
}

/// Sends a request and gives status, head and body.
async fn ask(address: &str, request: &str) -> (u16, String, Vec<u8>) {
    let host = address.trim_start_matches("http://");
    let mut stream = TcpStream::connect(host).await.unwrap();
    let request = request.replace("HOST", host).replace('\n', "\r\n");
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).await.unwrap();
    let end = answer.windows(4).position(|window| window == b"\r\n\r\n").expect("a whole head");
    let head = String::from_utf8(answer[..end].to_vec()).unwrap().to_lowercase();
    (head.split(' ').nth(1).unwrap().parse().unwrap(), head, answer[end + 4..].to_vec())
}

fn get(path: &str, more: &str) -> String {
    format!("GET {path} HTTP/1.1\nHost: HOST\nConnection: close\n{more}\n")
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_absent_unnamed_damaged_or_no_hash_is_answered_alike() {
    let (ines, _hub, listening) = level().await;
    let bytes = paper(6, 3_000);
    let given = attach(&ines, bytes.clone());
    let unnamed = ines.node.contents().put(b"named by no visit").unwrap();
    let damaged = attach(&ines, paper(7, 100));
    let name = damaged.to_string();
    let file = ines.folder.path().join("attachments").join(&name[..2]).join(&name);
    std::fs::write(file, b"%PDF-1.7\nother").unwrap();
    let absent = ContentHash::of(b"nowhere").to_string();
    let mut answers = Vec::new();
    for path in [
        absent.clone(),
        unnamed.to_string(),
        name,
        "..%2f..%2fnode.sqlite".to_owned(),
        "%2e%2e".to_owned(),
        given.to_string().to_uppercase(),
        "x".to_owned(),
        format!("{}%00", &absent[..62]),
    ] {
        let (status, _, body) =
            ask(listening.address(), &get(&format!("/attachment/{path}"), "")).await;
        assert_eq!(status, 404, "{path}");
        answers.push(body);
    }
    answers.dedup();
    assert_eq!(answers.len(), 1, "one answer for all");

    let path = format!("/attachment/{given}");
    let (status, head, body) = ask(listening.address(), &get(&path, "")).await;
    assert_eq!((status, body), (200, bytes.clone()));
    for line in [
        "content-type: application/pdf",
        "content-disposition: attachment; filename=",
        "x-content-type-options: nosniff",
        "accept-ranges: bytes",
    ] {
        assert!(head.contains(line), "{line}: {head}");
    }
    let (status, head, body) = ask(listening.address(), &get(&path, "Range: bytes=2990-\n")).await;
    assert_eq!((status, &body[..]), (206, &bytes[2_990..]));
    assert!(head.contains("content-range: bytes 2990-2999/3000"), "{head}");
    let (status, ..) = ask(listening.address(), &get(&path, "Range: bytes=3000-\n")).await;
    assert_eq!(status, 416);
    listening.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_given_unasked_jumps_or_is_too_large_changes_nothing() {
    let (ines, _hub, listening) = level().await;
    let bytes = paper(8, 2_000);
    let hash = ContentHash::of(&bytes);
    let client = reqwest::Client::builder().no_proxy().build().unwrap();
    let give = async |hash: &str, at: &str, piece: Vec<u8>| {
        let url = format!("{}/attachment/{hash}/{at}", listening.address());
        let asked = client.post(url).header("content-type", "application/octet-stream");
        let answer = asked.body(piece).send().await.unwrap();
        (answer.status().as_u16(), answer.text().await.unwrap())
    };
    let name = hash.to_string();
    assert_eq!(give(&name, "0", bytes.clone()).await.0, 404, "no visit names it");
    name_only(&ines, hash, 2_000);
    assert_eq!(give(&name, "-1", bytes.clone()).await.0, 404);
    assert_eq!(give(&name, "5", bytes.clone()).await.1, r#"{"have":0,"whole":false}"#);
    assert_eq!(give(&name, "0", vec![0; 513 * 1_024]).await.0, 413);
    let (status, said) = give(&name, "0", vec![0; 2_001]).await;
    assert!(status == 502 && said.contains("2000 were named"), "{status} {said}");
    assert_eq!(give(&name, "0", bytes[..700].to_vec()).await.1, r#"{"have":700,"whole":false}"#);
    let (status, said) = give(&name, "700", vec![7; 1_300]).await;
    assert!(status == 502 && said.contains("another hash"), "{status} {said}");
    assert!(!ines.node.contents().has(hash).unwrap());
    assert_eq!(give(&name, "0", bytes).await.1, r#"{"have":2000,"whole":true}"#);
    assert!(ines.node.contents().has(hash).unwrap());
    listening.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn over_tls_members_get_content_and_a_device_that_was_taken_off_gets_none() {
    let (hub, ines, lost) = (device("hub"), device("Ines"), device("lost"));
    hub.node.found_shop().unwrap();
    let_in(&hub, &ines).await;
    let_in(&hub, &lost).await;
    work(&ines.node, 1, 0);
    let sharing = Sharing::start(&hub.node, ANY_PORT.parse().unwrap()).await.unwrap();
    let address = format!("https://{}", sharing.address());
    let first = attach(&ines, paper(9, 900_000));
    ines.node.exchange_with(&address).await.unwrap();
    // The hub cannot call her: she gives what it lacks.
    let moved = ines.node.settle_contents_with(&address).await.unwrap();
    assert_eq!((moved.given, hub.node.contents().has(first).unwrap()), (1, true), "{moved:?}");
    lost.node.exchange_with(&address).await.unwrap();
    assert_eq!(lost.node.settle_contents_with(&address).await.unwrap().fetched, 1);

    let second = attach(&ines, paper(10, 400));
    ines.node.exchange_with(&address).await.unwrap();
    ines.node.settle_contents_with(&address).await.unwrap();
    lost.node.exchange_with(&address).await.unwrap();
    assert_eq!(lost.node.contents_lacking().unwrap(), 1);
    hub.node.revoke(lost.node.key(), "stolen").unwrap();
    lost.node.settle_contents_with(&address).await.unwrap_err();
    assert!(!lost.node.contents().has(second).unwrap(), "it gets nothing more");
    sharing.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_retired_is_not_fetched() {
    let (ines, hub, listening) = level().await;
    attach(&ines, paper(11, 400));
    let entry = ines.node.with_document(id(1), |document| {
        document.session().unwrap().attachments.keys().next().unwrap().clone()
    });
    let list = "attachments".to_owned();
    let edit = SessionEdit::Retract { id: ines.node.fresh_id(), list, entry: entry.unwrap() };
    ines.node.edit(id(1), |document| document.apply(&edit, &author())).unwrap().unwrap();
    hub.node.exchange_with(listening.address()).await.unwrap();
    let moved = hub.node.settle_contents_with(listening.address()).await.unwrap();
    assert_eq!((moved.fetched, moved.lacking), (0, 0));
    listening.stop().await;
}
