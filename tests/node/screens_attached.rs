//! Goal: a photograph goes up from a browser at a hub and comes down as a file, whole, for whoever
//! may and for nobody else; whatever is sent at once, or never ends, the hub's memory stays bounded
//! and a good browser is answered. Method: granted browsers over TLS, byte for byte; the built
//! program where its memory is looked at.

use std::io::{Read, Write};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use guyline_hub::desk;
use serde_json::{Value, json};

use crate::crew::Seeded;
use crate::screens::Office;
use crate::screens_attacked::Served;
use crate::tls_client::{Answer, Hub, Line, answer, get, post};

const LABEL: &[u8] = include_bytes!("../day/label.jpg");
const MIB: usize = 1024 * 1024;

/// A photograph of so many bytes and more. That behind its pixels is picture too for whoever does
/// not draw it: no byte of it begins a mark.
fn photograph(seed: u64, length: usize) -> Vec<u8> {
    let noise = Seeded(seed).bytes(length).into_iter().map(|byte| byte.min(0xfe));
    let (pixels, end) = LABEL.split_at(LABEL.len() - 2);
    pixels.iter().copied().chain(noise).chain(end.iter().copied()).collect()
}

/// The same as a phone leaves it: with a place (Exif 2.32, 4.6.6), which says north.
fn with_place(photograph: &[u8]) -> Vec<u8> {
    let mut place = b"Exif\0\0MM\0\x2a\0\0\0\x08\0\x01".to_vec();
    place.extend([0x88, 0x25, 0, 4, 0, 0, 0, 1, 0, 0, 0, 26, 0, 0, 0, 0]);
    place.extend(b"\0\x01\0\x01\0\x02\0\0\0\x02N\0\0\0\0\0\0\0PLACE");
    let length = (place.len() as u16 + 2).to_be_bytes();
    [&photograph[..2], &[0xff, 0xe1], &length, &place, &photograph[2..]].concat()
}

fn to_attach(session: &str, bytes: &[u8]) -> String {
    json!({
        "session": session, "file_name": "IMG_0001.jpg", "media_type": "image/jpeg",
        "caption": "the label", "of": null, "keep_position": false,
        "base64": STANDARD.encode(bytes),
    })
    .to_string()
}

async fn session_of(office: &Office) -> String {
    let today = desk::call(&office.hub.node, "today", json!({})).await.unwrap();
    today["sessions"][0]["id"].as_str().unwrap().to_owned()
}

/// Works beside the runtime that answers.
async fn beside<T: Send + 'static>(
    office: &Office,
    work: impl FnOnce(Hub) -> T + Send + 'static,
) -> T {
    let at = office.at.clone();
    tokio::task::spawn_blocking(move || work(at)).await.unwrap()
}

/// The head of a request whose body of so many bytes never comes.
fn head(path: &str, headers: &str, length: usize) -> String {
    post(path, headers, "").replace("Content-Length: 0", &format!("Content-Length: {length}"))
}

/// A browser that has a seat: it was told to go on with its body, and does not.
fn seated(at: &Hub, path: &str, brings: &str) -> Line {
    let mut line = at.dial([127, 0, 0, 1]).unwrap();
    let waits = format!("{brings}Expect: 100-continue\r\n");
    let head = head(path, &waits, 2 * MIB).replace("HOST", &at.address.to_string());
    line.write_all(head.as_bytes()).unwrap();
    let mut told = [0; 25];
    line.read_exact(&mut told).unwrap();
    assert_eq!(told, *b"HTTP/1.1 100 Continue\r\n\r\n");
    line
}

#[tokio::test(flavor = "multi_thread")]
async fn a_photograph_goes_up_without_its_place_and_comes_down_byte_for_byte() {
    let office = Office::open().await;
    let (brings, _) = office.signed_in("crew").await;
    let session = session_of(&office).await;
    let kept = photograph(7, 5 * MIB);
    let sent = with_place(&kept);
    let page = office.post("/api/attach", &brings, &to_attach(&session, &sent)).await;
    assert_eq!(page.status, 200, "{page:?}");
    let line = page.json()["attachments"][0].clone();
    assert_eq!(line["length"], kept.len(), "the place was left out, and nothing else");
    assert!(line["stamp"]["device"].as_str().unwrap().starts_with("crew desk, by browser at"));

    let path = format!("/attachment/{}", line["hash"].as_str().unwrap());
    let ranges = [None, Some(0), Some(3_000_001), Some(kept.len() - 1), Some(kept.len())];
    for from in ranges {
        let range = from.map(|from| format!("Range: bytes={from}-\r\n")).unwrap_or_default();
        let request = get(&path, &format!("{brings}{range}"));
        let (answer, bytes) = beside(&office, move |at| at.fetch(&request)).await;
        let (first, length) = (from.unwrap_or(0), kept.len());
        if first == length {
            assert_eq!(answer.status, 416, "{answer:?}");
            continue;
        }
        assert_eq!(answer.status, if from.is_some() { 206 } else { 200 }, "{answer:?}");
        assert!(bytes == kept[first..], "from {from:?}: {} bytes", bytes.len());
        let covers = format!("bytes {first}-{}/{length}", length - 1);
        assert_eq!(answer.header("content-range"), from.is_some().then_some(&*covers));
        assert_eq!(answer.header("content-type"), Some("image/jpeg"));
        assert_eq!(answer.header("x-content-type-options"), Some("nosniff"));
        assert_eq!(answer.header("accept-ranges"), Some("bytes"));
        assert_eq!(answer.header("cache-control"), Some("no-store"));
        let disposition = answer.header("content-disposition").unwrap();
        assert!(disposition.starts_with("attachment; filename="), "{disposition}");
    }
    // Whole in one answer it would stand in the hub's memory several times over.
    let look = json!({ "session": session, "attachment": line["id"], "small": false });
    let told = office.post("/api/attachment", &brings, &look.to_string()).await;
    assert_eq!((told.status, told.json()["code"].as_str()), (413, Some("too-large")));
    assert!(told.json()["help"].as_str().unwrap().ends_with(&path), "{told:?}");
    office.screens.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_browser_captions_retires_and_puts_back_what_it_attached() {
    let office = Office::open().await;
    let (brings, _) = office.signed_in("crew").await;
    let session = session_of(&office).await;
    let page = office.post("/api/attach", &brings, &to_attach(&session, LABEL)).await;
    let id = page.json()["attachments"][0]["id"].clone();
    let of_it = json!({ "session": session, "attachment": id });
    let captioned = json!({ "session": session, "attachment": id, "text": "seen from above" });
    let small = json!({ "session": session, "attachment": id, "small": true });
    let ask = async |command: &str, body: &Value| -> Value {
        let told = office.post(&format!("/api/{command}"), &brings, &body.to_string()).await;
        assert_eq!(told.status, 200, "{command}: {told:?}");
        told.json()
    };
    let page = ask("caption", &captioned).await;
    assert_eq!(page["attachments"][0]["captions"], json!(["seen from above"]));
    assert_eq!(ask("attachment", &small).await["media_type"], "image/jpeg");
    let page = ask("retire-attachment", &of_it).await;
    assert_eq!(page["attachments"][0]["retired"], true);
    let page = ask("put-attachment-back", &of_it).await;
    assert_eq!(page["attachments"][0]["retired"], false);
    office.screens.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn who_may_not_is_refused_before_a_byte_of_the_body_is_read() {
    let office = Office::open().await;
    let (crew, _) = office.signed_in("crew").await;
    let (reads, grant) = office.signed_in("read-only").await;
    let session = session_of(&office).await;
    let page = office.post("/api/attach", &crew, &to_attach(&session, LABEL)).await;
    let hash = page.json()["attachments"][0]["hash"].as_str().unwrap().to_owned();
    let json = "Content-Type: application/json\r\n";
    let origin = "Origin: https://HOST\r\n";
    let attach = |brings: &str, length| head("/api/attach", brings, length);
    let heads = [
        ("a stranger", attach("", 5 * MIB), 401),
        ("a wrong token", attach("Cookie: __Host-guyline=0\r\n", 5 * MIB), 401),
        ("one let in to read", attach(&reads, 5 * MIB), 403),
        ("more than is taken", attach(&crew, 36 * MIB + 1), 413),
        ("another kind", attach(&crew, 5 * MIB).replace(json, "Content-Type: text/plain\r\n"), 415),
        (
            "another page",
            attach(&crew, 5 * MIB).replace("https://HOST", "https://evil.example"),
            403,
        ),
        ("nobody's page", attach(&crew, 5 * MIB).replace(origin, ""), 403),
        ("a stranger's recording", head("/api/bench", "", 5 * MIB), 401),
        ("a longer recording", head("/api/bench", &crew, 16 * MIB + 1), 413),
    ];
    for (what, head, status) in heads {
        let told = beside(&office, move |at| at.ask(&head)).await;
        assert_eq!(told.status, status, "{what}: {told:?}");
    }
    let path = format!("/attachment/{hash}");
    let cross = format!("{crew}Sec-Fetch-Site: cross-site\r\n");
    let gets = [
        ("a stranger", get(&path, ""), 401),
        ("another page", get(&path, &cross), 403),
        ("another origin", get(&path, &format!("{crew}Origin: https://evil.example\r\n")), 403),
        ("one let in to read", get(&path, &reads), 200),
        ("crew", get(&path, &crew), 200),
        ("no such content", get(&format!("/attachment/{}", "0".repeat(64)), &crew), 404),
        ("no hash", get("/attachment/..%2fnode.sqlite", &crew), 404),
        ("a device's way", get(&format!("{path}/0"), &crew), 404),
        (
            "another method",
            get(&path, &format!("{crew}{origin}")).replacen("GET", "DELETE", 1),
            405,
        ),
    ];
    for (what, request, status) in gets {
        let (told, bytes) = beside(&office, move |at| at.fetch(&request)).await;
        assert_eq!(told.status, status, "{what}: {told:?}");
        assert_eq!(bytes == LABEL, status == 200, "{what}");
    }
    let body = json!({ "id": grant });
    desk::call(&office.hub.node, "revoke-browser", body).await.unwrap();
    let request = get(&path, &reads);
    assert_eq!(beside(&office, move |at| at.fetch(&request)).await.0.status, 401, "at once");
    office.screens.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn too_many_at_once_are_told_so_and_who_stops_sending_is_let_go() {
    let office = Office::open().await;
    let (brings, _) = office.signed_in("crew").await;
    let session = session_of(&office).await;
    let (photo, small) = (to_attach(&session, &photograph(7, 5 * MIB)), to_attach(&session, LABEL));
    let sit = brings.clone();
    let mut lines = beside(&office, move |at| {
        ["/api/attach", "/api/bench", "/api/attach"].map(|path| seated(&at, path, &sit))
    })
    .await;
    for path in ["/api/attach", "/api/bench"] {
        let french = format!("{brings}Guyline-Language: french\r\n");
        let told = office.post(path, &french, &photo).await;
        assert_eq!((told.status, told.header("retry-after")), (503, Some("10")), "{told:?}");
        assert!(told.json()["help"].as_str().unwrap().contains("réessayer dans 10 s"), "{told:?}");
    }
    // What is no larger than a command needs no seat.
    assert_eq!(office.post("/api/attach", &brings, &small).await.status, 200);
    assert_eq!(office.post("/api/position", &brings, "{}").await.status, 200);
    let told = tokio::task::spawn_blocking(move || {
        lines.each_mut().map(|line| answer(line).unwrap().status)
    });
    assert_eq!(told.await.unwrap(), [408; 3], "whoever stopped was let go");
    assert_eq!(office.post("/api/attach", &brings, &photo).await.status, 200, "seats are free");
    office.screens.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_comes_after_the_grant_ended_is_not_kept() {
    let office = Office::open().await;
    let (brings, grant) = office.signed_in("crew").await;
    let session = session_of(&office).await;
    let sit = brings.clone();
    let mut line = beside(&office, move |at| seated(&at, "/api/attach", &sit)).await;
    desk::call(&office.hub.node, "revoke-browser", json!({ "id": grant })).await.unwrap();
    let told = tokio::task::spawn_blocking(move || {
        line.write_all(&vec![b' '; 2 * MIB]).unwrap();
        answer(&mut line).unwrap()
    });
    assert_eq!(told.await.unwrap().status, 401, "let in when it began, and no longer");
    let asked = json!({ "session": session });
    let page = desk::call(&office.hub.node, "session", asked).await.unwrap();
    assert_eq!(page["attachments"], json!([]));
    office.screens.stop().await;
}

#[test]
fn the_largest_files_at_once_leave_a_hubs_memory_bounded() {
    let (hub, _folder) = Served::start();
    let before = hub.most_held();
    let session = hub.at.post("/api/today", &hub.brings, "{}").json()["sessions"][0]["id"]
        .as_str()
        .unwrap()
        .to_owned();
    let asks: Vec<String> =
        (0..8).map(|seed| to_attach(&session, &photograph(seed, 24 * MIB - LABEL.len()))).collect();
    let told: Vec<Answer> = std::thread::scope(|scope| {
        let hub = &hub;
        let send = |body: &String| hub.at.post("/api/attach", &hub.brings, body);
        let sent: Vec<_> = asks.iter().map(|body| scope.spawn(move || send(body))).collect();
        sent.into_iter().map(|sent| sent.join().unwrap()).collect()
    });
    let statuses: Vec<u16> = told.iter().map(|told| told.status).collect();
    let count = |status| statuses.iter().filter(|told| **told == status).count();
    assert!(count(200) >= 3 && count(200) + count(503) == 8, "{:.600?}", told[0].body);
    hub.answers("large files");
    let most = hub.most_held();
    println!("{} MiB before, {} MiB at the most; {statuses:?}", before >> 20, most >> 20);
    // Three seats of 72 MiB, by the arithmetic beside them, and what the allocator keeps of them
    // and the connections take; all eight without seats would be 576 MiB.
    let (seats, beside) = (3 * 72 * MIB, 84 * MIB);
    assert!(most < before + seats + beside, "{most} bytes after {before}");
}
