//! Goal: over HTTP only what is offered is answered, and only to this machine's own screens; every
//! refusal is JSON with what, where and help. Method: raw requests to a served node.

use guyline_hub::http::Listening;
use serde_json::Value;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

use crate::crew::device;

/// Sends a request as written, and returns status, head and body of the answer.
async fn ask(address: &str, request: &str) -> (u16, String, Vec<u8>) {
    let host = address.trim_start_matches("http://");
    let mut stream = TcpStream::connect(host).await.unwrap();
    let request = request.replace("HOST", host).replace('\n', "\r\n");
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).await.unwrap();
    let end = answer.windows(4).position(|window| window == b"\r\n\r\n").expect("a whole head");
    let head = String::from_utf8(answer[..end].to_vec()).unwrap().to_lowercase();
    let status = head.split(' ').nth(1).unwrap().parse().unwrap();
    (status, head, answer[end + 4..].to_vec())
}

fn post(path: &str, headers: &str, body: &str) -> String {
    let length = body.len();
    format!(
        "POST {path} HTTP/1.1\nHost: HOST\nConnection: close\n\
         {headers}Content-Length: {length}\n\n{body}"
    )
}

const JSON: &str = "Content-Type: application/json\n";

#[tokio::test]
async fn what_is_not_offered_is_refused_in_json_with_its_status() {
    let node = device("hub").node;
    let listening = Listening::start(&node, "127.0.0.1:0").await.unwrap();
    let get = |path: &str| format!("GET {path} HTTP/1.1\nHost: HOST\nConnection: close\n\n");
    let table = [
        (get("/nothing"), 404),
        (get("/../Cargo.toml"), 404),
        (get("/%2e%2e/Cargo.toml"), 404),
        (get("/api/today"), 405),
        (get("/exchange"), 405),
        ("TRACE / HTTP/1.1\nHost: HOST\nConnection: close\n\n".to_owned(), 405),
        ("DELETE /health HTTP/1.1\nHost: HOST\nConnection: close\n\n".to_owned(), 405),
        (post("/api/today", JSON, "{}").replace("POST", "PUT"), 405),
        (post("/api/no-such-command", JSON, "{}"), 404),
        (post("/api/today", JSON, "{"), 400),
        (post("/api/today", JSON, "{\"more\": 1}"), 400),
        (post("/api/today", JSON, "[1]"), 400),
        (post("/api/today", "", "{}"), 415),
        (post("/api/today", "Content-Type: text/plain\n", "{}"), 415),
        (post("/exchange", JSON, "{}"), 415),
        (post("/api/today", JSON, &" ".repeat((1 << 20) + 1)), 413),
        // A question may bring a recording: this one is read, and is no JSON.
        (post("/api/bench", JSON, &" ".repeat((1 << 20) + 1)), 400),
        (
            post("/api/today", "Content-Type: application/json\nOrigin: http://a.example\n", "{}"),
            403,
        ),
        (get("/health").replace("Host: HOST", "Host: a.example"), 403),
        (get("/health").replace("Host: HOST\n", "Host: HOST\nSec-Fetch-Site: cross-site\n"), 403),
    ];
    for (request, wanted) in table {
        let line = request.lines().next().unwrap().to_owned();
        let (status, head, body) = ask(listening.address(), &request).await;
        assert_eq!(status, wanted, "{line}: {}", String::from_utf8_lossy(&body));
        assert!(head.contains("content-type: application/json"), "{line}: {head}");
        if !line.starts_with("TRACE") {
            let said: Value = serde_json::from_slice(&body).unwrap();
            for field in ["code", "what", "help"] {
                assert!(!said[field].as_str().unwrap().is_empty(), "{line}: {said}");
            }
        }
    }
    listening.stop().await;
}

#[tokio::test]
async fn what_is_offered_is_answered_with_headers_that_keep_a_browser_from_guessing() {
    let node = device("hub").node;
    let listening = Listening::start(&node, "127.0.0.1:0").await.unwrap();
    for request in [
        "GET /health HTTP/1.1\nHost: HOST\nConnection: close\n\n".to_owned(),
        post("/api/today", JSON, "{}"),
        post("/api/position", "Content-Type: application/json; charset=utf-8\n", "{}"),
        post("/api/today", "Content-Type: application/json\nOrigin: http://HOST\n", "{}"),
    ] {
        let (status, head, body) = ask(listening.address(), &request).await;
        assert_eq!(status, 200, "{request}: {}", String::from_utf8_lossy(&body));
        serde_json::from_slice::<Value>(&body).unwrap();
        for wanted in [
            "x-content-type-options: nosniff",
            "cache-control: no-store",
            "referrer-policy: no-referrer",
            "default-src 'self'",
            "object-src 'none'",
            "frame-ancestors 'none'",
        ] {
            assert!(head.contains(wanted), "{request}: lacks {wanted}: {head}");
        }
        assert!(!head.contains("access-control"), "nobody else's page may read it: {head}");
    }
    listening.stop().await;
}

#[tokio::test]
async fn other_machines_are_not_listened_to_and_a_port_in_use_is_named() {
    let node = device("hub").node;
    for (address, said) in [("0.0.0.0:0", "not on this machine"), ("4770", "is no address")] {
        let error = Listening::start(&node, address).await.unwrap_err();
        assert!(error.to_string().contains(said), "{address}: {error}");
        assert!(error.to_string().contains(address), "{address}: {error}");
    }
    let first = Listening::start(&node, "127.0.0.1:0").await.unwrap();
    let error = Listening::start(&node, first.address()).await.unwrap_err();
    let address = first.address().trim_start_matches("http://");
    assert_eq!(error.to_string(), format!("{address} is in use by another program"));
    assert!(error.help().contains("port 0"), "{}", error.help());
    first.stop().await;
}

#[tokio::test]
async fn a_request_says_in_which_language_it_wants_its_answer_or_is_refused_by_name() {
    let node = device("hub").node;
    let listening = Listening::start(&node, "127.0.0.1:0").await.unwrap();
    let named = |language: &str| format!("{JSON}Guyline-Language: {language}\n");
    // What a browser sends by itself is not what the person chose.
    let own = format!("{JSON}Accept-Language: fr\n");
    for headers in [JSON.to_owned(), own, named("english"), named("french")] {
        let (status, _, body) =
            ask(listening.address(), &post("/api/position", &headers, "{}")).await;
        assert_eq!(status, 200, "{headers}: {}", String::from_utf8_lossy(&body));
    }
    for wrong in ["", "fr", "French", "german", "french, english", "\u{1f1eb}", &"x".repeat(2_000)]
    {
        let (status, _, body) =
            ask(listening.address(), &post("/api/position", &named(wrong), "{}")).await;
        assert_eq!(status, 400, "{wrong:?}: {}", String::from_utf8_lossy(&body));
        let said: Value = serde_json::from_slice(&body).unwrap();
        assert_eq!(said["at"], "guyline-language");
        assert!(said["what"].as_str().unwrap().chars().count() < 100, "{said}");
        assert!(said["help"].as_str().unwrap().contains("english or french"), "{said}");
    }
    listening.stop().await;
}
