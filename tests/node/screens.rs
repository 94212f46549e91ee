//! Goal: a browser comes in to a hub only with what a person granted, once, and is out at once when
//! that ends; what it writes names the person and the browser; no secret is on disk or in a log.
//! Method: nodes that serve their screens on loopback over TLS, and the built program.

use std::io::{BufRead, BufReader, Read};
use std::process::{Command, Stdio};

use guyline_hub::desk;
use guyline_hub::http::{ForBrowsers, Screens};
use guyline_tests::built;
use serde_json::{Value, json};

use crate::crew::{Device, device};
use crate::tls_client::{Answer, Hub};

/// A shop's hub with the demo's papers, its screens served to browsers.
pub(crate) struct Office {
    pub(crate) hub: Device,
    pub(crate) at: Hub,
    pub(crate) screens: Screens,
}

impl Office {
    pub(crate) async fn open() -> Self {
        let hub = device("hub");
        desk::call(&hub.node, "start-demo", json!({})).await.unwrap();
        let asked = ForBrowsers {
            address: "127.0.0.1:0".parse().unwrap(),
            hosts: Vec::new(),
            certificate: None,
        };
        let screens = Screens::start(&hub.node, &asked).await.unwrap();
        let address = screens.at().addresses[0].trim_start_matches("https://").parse().unwrap();
        let at = Hub { address, fingerprint: screens.at().fingerprint.clone() };
        Self { hub, at, screens }
    }

    /// Grants a browser. Gives its code and its id.
    pub(crate) async fn grant(&self, role: &str) -> (String, String) {
        let person = self.people().await[0].clone();
        let body = json!({ "name": format!("{role} desk"), "role": role, "person": person });
        let page = desk::call(&self.hub.node, "grant-browser", body).await.unwrap();
        let text = |value: &Value| value.as_str().unwrap().to_owned();
        (text(&page["code"]), text(&page["grants"][0]["id"]))
    }

    async fn people(&self) -> Vec<String> {
        let today = desk::call(&self.hub.node, "today", json!({})).await.unwrap();
        today["people"].as_object().unwrap().keys().cloned().collect()
    }

    /// A browser of a role. Gives its cookie as a header, and its grant.
    pub(crate) async fn signed_in(&self, role: &str) -> (String, String) {
        let (code, id) = self.grant(role).await;
        let answer = self.sign_in(&code).await;
        assert_eq!(answer.status, 200, "{answer:?}");
        (format!("Cookie: {}\r\n", cookie(&answer)), id)
    }

    pub(crate) async fn sign_in(&self, code: &str) -> Answer {
        self.post("/sign-in", "", &json!({ "code": code }).to_string()).await
    }

    /// Asks beside the runtime that answers.
    pub(crate) async fn post(&self, path: &str, headers: &str, body: &str) -> Answer {
        let at = self.at.clone();
        let (path, headers, body) = (path.to_owned(), headers.to_owned(), body.to_owned());
        let asked = move || at.post(&path, &headers, &body);
        tokio::task::spawn_blocking(asked).await.unwrap()
    }
}

/// The cookie an answer sets, as `name=value`.
pub(crate) fn cookie(answer: &Answer) -> String {
    let line = answer.header("set-cookie").unwrap_or_else(|| panic!("sets none: {answer:?}"));
    line.split(';').next().unwrap().replace("__host-guyline", "__Host-guyline")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_code_lets_one_browser_in_until_it_is_revoked() {
    let office = Office::open().await;
    let out = office.post("/api/today", "", "{}").await;
    assert_eq!((out.status, out.json()["code"].as_str()), (401, Some("sign-in")));
    let (code, id) = office.grant("office").await;
    let answer = office.sign_in(&code).await;
    assert_eq!(answer.status, 200, "{answer:?}");
    let set = answer.header("set-cookie").unwrap();
    for part in ["__host-guyline=", "; path=/", "; secure", "; httponly", "; samesite=strict"] {
        assert!(set.contains(part), "lacks {part}: {set}");
    }
    assert!(!set.contains("domain"), "{set}");
    let token = cookie(&answer).split_once('=').unwrap().1.to_owned();
    assert!(token.len() == 64 && token.bytes().all(|digit| digit.is_ascii_hexdigit()), "{token}");
    assert_eq!(office.sign_in(&code).await.status, 401, "a code works once");

    let brings = format!("Cookie: a=b; __Host-guyline={token}\r\n");
    let today = office.post("/api/today", &brings, "{}").await;
    assert_eq!(today.status, 200, "{today:?}");
    let standing = &today.json()["standing"];
    assert_eq!(standing["browser"], "office desk");
    assert_eq!(standing["may"], json!(["read", "record", "papers"]));
    for wrong in [
        format!("Cookie: __Host-guyline={}\r\n", "0".repeat(64)),
        format!("Cookie: guyline={token}\r\n"),
        format!("Authorization: Bearer {token}\r\n"),
        format!("Cookie: __Host-guyline={token}; __Host-guyline={token}\r\n"),
    ] {
        assert_eq!(office.post("/api/today", &wrong, "{}").await.status, 401, "{wrong}");
    }
    let body = json!({ "id": id });
    desk::call(&office.hub.node, "revoke-browser", body).await.unwrap();
    assert_eq!(office.post("/api/today", &brings, "{}").await.status, 401, "at once");
    office.screens.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_browser_writes_names_its_person_and_the_browser() {
    let office = Office::open().await;
    let (brings, _) = office.signed_in("crew").await;
    let person = office.people().await[0].clone();
    let today = desk::call(&office.hub.node, "today", json!({})).await.unwrap();
    let session = today["sessions"][0]["id"].as_str().unwrap().to_owned();
    let body = json!({ "session": session, "text": "seen from the office" }).to_string();
    let page = office.post("/api/add-note", &brings, &body).await;
    assert_eq!(page.status, 200, "{page:?}");
    let notes = page.json()["notes"].clone();
    let note =
        notes.as_object().unwrap().values().find(|note| note["text"] == "seen from the office");
    let stamp = &note.expect("it is there")["stamp"];
    assert_eq!(stamp["by"], person.as_str());
    let device = stamp["device"].as_str().unwrap();
    assert!(device.starts_with("crew desk, by browser at "), "{device}");
    // And it takes its own back, as at a device.
    let undone =
        office.post("/api/undo", &brings, &json!({ "session": session }).to_string()).await;
    assert_eq!(undone.status, 200, "{undone:?}");
    // Signing out ends the grant and takes the cookie away.
    let out = office.post("/sign-out", &brings, "{}").await;
    assert!(out.header("set-cookie").unwrap().contains("max-age=0"), "{out:?}");
    assert_eq!(office.post("/api/today", &brings, "{}").await.status, 401);
    office.screens.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn no_secret_is_in_the_folder() {
    let office = Office::open().await;
    let (waiting, _) = office.grant("read-only").await;
    let (used, _) = office.grant("office").await;
    let answer = office.sign_in(&used).await;
    let token = cookie(&answer).split_once('=').unwrap().1.to_owned();
    office.screens.stop().await;
    let bytes: Vec<u8> =
        (0..64).step_by(2).map(|at| u8::from_str_radix(&token[at..at + 2], 16).unwrap()).collect();
    let mut looked = 0;
    for entry in std::fs::read_dir(office.hub.folder.path()).unwrap() {
        let path = entry.unwrap().path();
        let Ok(held) = std::fs::read(&path) else { continue };
        looked += held.len();
        for secret in [waiting.as_bytes(), used.as_bytes(), token.as_bytes(), &bytes] {
            let found = held.windows(secret.len()).any(|window| window == secret);
            assert!(!found, "{} holds a secret", path.display());
        }
    }
    assert!(looked > 50_000, "only {looked} bytes were looked through");
}

/// Runs the program and gives what it wrote.
fn guyline(words: &[&str], data: &std::path::Path) -> (bool, String, String) {
    let output =
        Command::new(built("guyline")).args(words).arg("--data").arg(data).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.success(), text(output.stdout), text(output.stderr))
}

#[test]
fn the_program_grants_lists_and_revokes_whether_the_hub_runs_or_not() {
    let Device { node, folder } = device("hub");
    let runtime = tokio::runtime::Runtime::new().unwrap();
    runtime.block_on(desk::call(&node, "start-demo", json!({}))).unwrap();
    let today = runtime.block_on(desk::call(&node, "today", json!({}))).unwrap();
    let person = today["people"].as_object().unwrap().keys().next().unwrap().clone();
    drop((node, runtime));
    let data = folder.path();
    let grant =
        ["browser", "grant", "--name", "wall screen", "--role", "read-only", "--person", &person];
    let (done, code, told) = guyline(&grant, data);
    assert!(done, "{told}");
    assert_eq!(code.trim().len(), 16, "a code where no hub runs: {code}");

    let mut child = Command::new(built("guyline"))
        .args(["serve", "--screens", "127.0.0.1:0", "--log", "debug", "--no-background", "--data"])
        .arg(data)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let lines = BufReader::new(child.stdout.take().unwrap()).lines().map_while(Result::ok);
    let mut said = lines.skip_while(|line| !line.starts_with("Browsers that were let in"));
    let line = said.next().unwrap();
    let address = line.rsplit("https://").next().unwrap().parse().unwrap();
    let fingerprint = said.next().unwrap().rsplit(' ').next().unwrap().to_owned();
    let at = Hub { address, fingerprint };
    let body = json!({ "code": code.trim() }).to_string();
    let answer = at.post("/sign-in", "", &body);
    assert_eq!(answer.status, 200, "granted before the start: {answer:?}");

    let (done, said, told) = guyline(&[&grant[..], &["--qr"]].concat(), data);
    assert!(done, "{told}");
    let (link, code) = said.split_once('\n').unwrap();
    // That it reads as the link again, `tests/reference/qr.rs` shows.
    assert_eq!(code, guyline_hub::render::qr::half_blocks(link, false).unwrap());
    let (start, second) = link.trim().rsplit_once('/').unwrap();
    assert_eq!(start, format!("https://{address}/#/sign-in"));
    let second_in = at.post("/sign-in", "", &json!({ "code": second }).to_string());
    assert_eq!(second_in.status, 200, "{second_in:?}");
    let (_, list, _) = guyline(&["browser", "list", "--json"], data);
    let list: Value = serde_json::from_str(&list).unwrap();
    assert_eq!(list["grants"].as_array().unwrap().len(), 2);
    let brings = format!("Cookie: {}\r\n", cookie(&second_in));
    assert_eq!(at.post("/api/today", &brings, "{}").status, 200);
    let id = list["grants"][0]["id"].as_str().unwrap();
    let (done, _, told) = guyline(&["browser", "revoke", id], data);
    assert!(done, "{told}");
    assert_eq!(at.post("/api/today", &brings, "{}").status, 401, "at once, also while it runs");
    let wrong = at.post("/sign-in", "", "{\"code\": \"CANARY0CANARY0CA\"}");
    assert_eq!(wrong.status, 401);

    let pid = child.id().to_string();
    assert!(Command::new("kill").args(["-TERM", &pid]).status().unwrap().success());
    let mut log = String::new();
    child.stderr.take().unwrap().read_to_string(&mut log).unwrap();
    assert!(child.wait().unwrap().success(), "{log}");
    assert!(log.contains("/sign-in") && log.contains("/api/today"), "{log}");
    let tokens = [&answer, &second_in].map(|answer| cookie(answer).split_off(15));
    for secret in [code.trim(), second, "CANARY", "wall screen", &tokens[0], &tokens[1]] {
        assert!(!log.contains(secret), "{secret} is in the log");
    }
    assert!(!data.join("served-at").exists(), "it no longer says where it is asked");
}
