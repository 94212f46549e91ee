//! The page is confined to the desk: whatever runs in it by mistake or by malice reaches nobody
//! outside, runs no text as program, and calls no command of the window but the desk's one.
//!
//! Method: the attempts are made in the real window's page, as code of its own would make them. A
//! server on loopback stands for the outside, and must not be called once.

use std::io::ErrorKind;
use std::net::{Ipv4Addr, TcpListener};

use guyline_tests::driven::{Page, Stage, until};
use serde_json::Value;

/// Commands of the framework and of plugins, those built in here and others that are well known.
const COMMANDS: [&str; 26] = [
    "plugin:fs|read_file",
    "plugin:fs|read_text_file",
    "plugin:fs|write_file",
    "plugin:dialog|open",
    "plugin:dialog|save",
    "plugin:dialog|message",
    "plugin:window-state|save_window_state",
    "plugin:window-state|restore_state",
    "plugin:window-state|filename",
    "plugin:deep-link|get_current",
    "plugin:deep-link|register",
    "plugin:shell|execute",
    "plugin:shell|open",
    "plugin:opener|open_url",
    "plugin:http|fetch",
    "plugin:notification|notify",
    "plugin:event|listen",
    "plugin:event|emit",
    "plugin:window|set_title",
    "plugin:window|close",
    "plugin:webview|create_webview_window",
    "plugin:path|resolve_directory",
    "plugin:app|version",
    "plugin:resources|close",
    "plugin:image|from_path",
    "no_such_command",
];

/// Each of these calls the outside in another way; `at` is its address.
const CALLS: [&str; 13] = [
    "await fetch(at)",
    "await fetch(at, { mode: 'no-cors', method: 'POST', body: 'x' })",
    "await new Promise((yes, no) => { const ask = new XMLHttpRequest(); ask.onload = yes; \
     ask.onerror = no; ask.open('GET', at); ask.send(); })",
    "await new Promise((yes, no) => { const line = new WebSocket(at.replace('http', 'ws')); \
     line.onopen = yes; line.onerror = no; })",
    "await new Promise((yes, no) => { const line = new EventSource(at); line.onopen = yes; \
     line.onerror = no; })",
    "await new Promise((yes, no) => { const one = new Image(); one.onload = yes; \
     one.onerror = no; one.src = at; })",
    "await loaded(Object.assign(document.createElement('script'), { src: at }))",
    "await loaded(Object.assign(document.createElement('link'), { rel: 'stylesheet', href: at }))",
    "await loaded(Object.assign(document.createElement('video'), { src: at }))",
    "await loaded(Object.assign(document.createElement('object'), { data: at }))",
    "if (window.open(at) === null) throw new Error('no window')",
    "await import(at)",
    "new Worker(at); await new Promise((yes, no) => setTimeout(no, 200))",
];

/// What each attempt came to, by its text: an error's words, or `done`.
fn attempt(page: &Page, attempts: &[String]) -> Vec<(String, String)> {
    attempts
        .iter()
        .map(|tried| {
            let said = page.script_that_waits(&format!(
                "const loaded = (one) => new Promise((yes, no) => {{ one.onload = yes;
                   one.onloadeddata = yes; one.onerror = no; setTimeout(no, 400);
                   document.body.append(one); }});
                 (async () => {{ {tried} }})().then(
                   () => done('done'),
                   (error) => done(String(error?.message ?? error?.what ?? error)));"
            ));
            (tried.clone(), said.as_str().unwrap_or("refused").to_owned())
        })
        .collect()
}

#[test]
fn the_window_s_page_reaches_nobody_but_the_desk() {
    let stage = Stage::set();
    let page = stage.open("ines", &[]);
    page.wait_for_text("Larkspur Radio Works");
    let outside = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("loopback has a free port");
    outside.set_nonblocking(true).expect("it only looks");
    let at = format!("http://{}/", outside.local_addr().expect("it is bound"));

    let calls = CALLS.map(|call| format!("const at = '{at}'; {call};"));
    for (tried, said) in attempt(&page, &calls) {
        assert_ne!(said, "done", "{tried}");
    }
    // Leaving the page would be a call too; a beacon never says whether it was sent.
    let leaves = format!(
        "navigator.sendBeacon('{at}', 'x'); location.href = '{at}';
         const form = document.createElement('form'); form.action = '{at}';
         document.body.append(form); form.submit(); form.remove();
         const frame = document.createElement('iframe'); frame.src = '{at}';
         document.body.append(frame);"
    );
    page.script(&leaves);
    let waited = page.script_that_waits("setTimeout(() => done(location.protocol), 1000)");
    assert_eq!(waited, "tauri:", "the page went elsewhere");
    let called = outside.accept().map(|(_, from)| from).map_err(|fault| fault.kind());
    assert_eq!(called, Err(ErrorKind::WouldBlock), "the outside was called");
    page.wait_for_text("Larkspur Radio Works");
}

#[test]
fn the_window_s_page_runs_no_text_as_program() {
    let stage = Stage::set();
    let page = stage.open("ines", &[]);
    page.wait_for_text("Larkspur Radio Works");
    let thrown = [
        "eval('window.ran = 1')",
        "new Function('window.ran = 1')()",
        "const later = async () => {}; later.constructor('window.ran = 1')()",
    ]
    .map(str::to_owned);
    for (tried, said) in attempt(&page, &thrown) {
        assert_ne!(said, "done", "{tried}");
    }
    page.script(
        "const script = document.createElement('script'); script.textContent = 'window.ran = 1';
         document.body.append(script);
         const data = document.createElement('script'); data.src = 'data:text/javascript,ran=1';
         document.body.append(data);
         const blob = document.createElement('script');
         blob.src = URL.createObjectURL(new Blob(['window.ran = 1'], { type: 'text/javascript' }));
         document.body.append(blob);
         const image = document.createElement('div');
         image.innerHTML = '<img src=\"x:\" onerror=\"window.ran = 1\">';
         document.body.append(image);
         const link = document.createElement('a'); link.href = 'javascript:void(window.ran = 1)';
         document.body.append(link); link.click();
         const styled = document.createElement('div');
         styled.setAttribute('style', 'color: rgb(1, 2, 3)'); styled.id = 'styled';
         document.body.append(styled);",
    );
    let after = "setTimeout(() => done([window.ran ?? null,
         getComputedStyle(document.getElementById('styled')).color]), 1000)";
    let [ran, colour] = [0, 1].map(|at| page.script_that_waits(after)[at].clone());
    assert_eq!(ran, Value::Null, "a text was run as program");
    assert_ne!(colour, "rgb(1, 2, 3)", "an inline style was taken");
}

#[test]
fn the_window_s_page_calls_the_desk_and_no_other_command() {
    let stage = Stage::set();
    let page = stage.open("ines", &[]);
    page.wait_for_text("Larkspur Radio Works");
    let invoke = |command: &str, body: &str| {
        format!("await window.__TAURI_INTERNALS__.invoke('{command}', {body});")
    };
    let desk = invoke("desk", "{ command: 'position', body: {} }");
    assert_eq!(attempt(&page, &[desk])[0].1, "done", "the desk itself must answer");
    let unknown = invoke("desk", "{ command: 'read-file', body: {} }");
    let said = &attempt(&page, &[unknown])[0].1;
    assert!(said.contains("the desk has no command"), "{said}");

    let calls = COMMANDS.map(|command| invoke(command, "{ path: '/etc/hostname', url: 'x:' }"));
    for (tried, said) in attempt(&page, &calls) {
        let refused = ["not allowed", "not found"].iter().any(|word| said.contains(word));
        assert!(refused, "{tried} {said}");
    }
    let alive = until(|| page.text().contains("Larkspur Radio Works").then_some(()));
    assert!(alive.is_some(), "the window was closed or changed");
}
