//! A small W3C WebDriver client over plain HTTP on loopback: just what the window's test needs.
//!
//! In: a driver's port and the program to open. Out: texts and pictures of the page. Any answer
//! that is not a success ends the test with the driver's own words.

use std::io::{BufRead, BufReader, ErrorKind, Read, Write};
use std::net::{Ipv4Addr, TcpStream};
use std::path::Path;
use std::time::{Duration, Instant};

use serde_json::{Value, json};

/// The name under which the protocol hands out elements, a constant of the W3C text (section 11).
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

/// How long a page may take to show what a test waits for.
const PATIENCE: Duration = Duration::from_secs(20);

/// An open window, driven from outside. Dropping it closes the window and ends its program.
pub struct Page {
    port: u16,
    session: String,
}

impl Page {
    /// Asks the driver at `port` to start `program` with `arguments` and takes hold of its window.
    pub fn open(port: u16, program: &Path, arguments: &[&str]) -> Self {
        let options = json!({ "application": program, "args": arguments });
        let asked = json!({ "capabilities": { "alwaysMatch": { "tauri:options": options } } });
        let opened = call(port, "POST", "/session", Some(&asked)).unwrap_or_else(|e| panic!("{e}"));
        let session = opened["sessionId"].as_str().expect("a new session has an id").to_owned();
        Self { port, session }
    }

    /// What stands on the page, as a person reads it.
    pub fn text(&self) -> String {
        self.script("return document.body.innerText").as_str().unwrap_or_default().to_owned()
    }

    /// Waits until `said` stands on the page.
    pub fn wait_for_text(&self, said: &str) {
        let there = until(|| self.text().contains(said).then_some(()));
        assert!(there.is_some(), "{said:?} did not appear; the page says:\n{}", self.text());
    }

    /// Waits until an element matches, and returns it.
    pub fn find(&self, css: &str) -> Element<'_> {
        self.locate("css selector", css)
    }

    /// Waits for a button by the words on it, and returns it.
    pub fn button(&self, words: &str) -> Element<'_> {
        self.locate("xpath", &format!("//button[contains(normalize-space(.), '{words}')]"))
    }

    fn locate(&self, using: &str, value: &str) -> Element<'_> {
        let asked = json!({ "using": using, "value": value });
        let found = until(|| self.call("POST", "/element", Some(&asked)).ok());
        let Some(found) = found else {
            panic!("nothing matches {value:?}; the page says:\n{}", self.text())
        };
        let id = found[ELEMENT].as_str().expect("a found element has an id").to_owned();
        Element { page: self, id }
    }

    /// Runs a function body in the page and returns what it returns.
    pub fn script(&self, body: &str) -> Value {
        let asked = json!({ "script": body, "args": [] });
        self.call("POST", "/execute/sync", Some(&asked)).unwrap_or_else(|e| panic!("{e}"))
    }

    /// The same with a body that waits; it calls `done` with what is to be returned.
    pub fn script_that_waits(&self, body: &str) -> Value {
        let script = format!("const done = arguments[arguments.length - 1]; {body}");
        let asked = json!({ "script": script, "args": [] });
        self.call("POST", "/execute/async", Some(&asked)).unwrap_or_else(|e| panic!("{e}"))
    }

    /// The window's place and size on the screen.
    pub fn place(&self) -> Value {
        self.call("GET", "/window/rect", None).unwrap_or_else(|e| panic!("{e}"))
    }

    /// Gives the window another size.
    pub fn resize(&self, width: u32, height: u32) {
        let asked = json!({ "width": width, "height": height });
        self.call("POST", "/window/rect", Some(&asked)).unwrap_or_else(|e| panic!("{e}"));
    }

    fn call(&self, method: &str, path: &str, body: Option<&Value>) -> Result<Value, String> {
        call(self.port, method, &format!("/session/{}{path}", self.session), body)
    }
}

impl Drop for Page {
    fn drop(&mut self) {
        // A window that is gone already cannot be closed, and a test that failed said so before.
        if let Err(fault) = self.call("DELETE", "", None) {
            eprintln!("the window could not be closed: {fault}");
        }
    }
}

/// Something on the page.
pub struct Element<'a> {
    page: &'a Page,
    id: String,
}

impl Element<'_> {
    /// Presses it, as a finger would.
    pub fn click(&self) {
        self.act("click", &json!({}));
    }

    /// Types into it.
    pub fn enter(&self, text: &str) {
        self.act("value", &json!({ "text": text }));
    }

    fn act(&self, verb: &str, body: &Value) {
        let path = format!("/element/{}/{verb}", self.id);
        self.page.call("POST", &path, Some(body)).unwrap_or_else(|e| panic!("{verb}: {e}"));
    }
}

/// Whether a driver answers at `port` and is ready for a session.
pub fn is_ready(port: u16) -> bool {
    call(port, "GET", "/status", None).is_ok_and(|status| status["ready"] == true)
}

/// Tries until there is something, or patience ends.
pub fn until<T>(mut attempt: impl FnMut() -> Option<T>) -> Option<T> {
    let deadline = Instant::now() + PATIENCE;
    loop {
        match attempt() {
            Some(found) => return Some(found),
            None if Instant::now() > deadline => return None,
            None => std::thread::sleep(Duration::from_millis(50)),
        }
    }
}

/// One request on a connection of its own. `Err` holds what the driver said, or why it did not.
fn call(port: u16, method: &str, path: &str, body: Option<&Value>) -> Result<Value, String> {
    let body = body.map(Value::to_string).unwrap_or_default();
    let request = format!(
        "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\
         Content-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    );
    let (head, body) =
        exchange(port, &request).map_err(|fault| format!("{method} {path}: {fault}"))?;
    let answer: Value = serde_json::from_str(&body)
        .map_err(|fault| format!("{method} {path}: {fault} in {body:?}"))?;
    if head.starts_with("HTTP/1.1 200") {
        Ok(answer["value"].clone())
    } else {
        Err(format!("{method} {path}: {}", answer["value"]))
    }
}

/// Sends a request and reads the answer's head and body by the length the head tells.
///
/// It does not ask for the connection to be closed: tauri-driver would pass that on to the driver
/// behind it, send its next request over that closed connection, and then not answer.
fn exchange(port: u16, request: &str) -> std::io::Result<(String, String)> {
    let mut stream = TcpStream::connect((Ipv4Addr::LOCALHOST, port))?;
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.write_all(request.as_bytes())?;
    let mut stream = BufReader::new(stream);
    let mut head = String::new();
    while !head.ends_with("\r\n\r\n") {
        if stream.read_line(&mut head)? == 0 {
            return Err(ErrorKind::UnexpectedEof.into());
        }
    }
    let told = head.to_ascii_lowercase();
    let length = told.lines().find_map(|line| line.strip_prefix("content-length:"));
    let length = length.and_then(|length| length.trim().parse().ok());
    let mut body = vec![0; length.ok_or(ErrorKind::InvalidData)?];
    stream.read_exact(&mut body)?;
    let body = String::from_utf8(body).map_err(|_| ErrorKind::InvalidData)?;
    Ok((head, body))
}
