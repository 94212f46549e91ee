//! Goal: each command is given only by who may, at a device and from a browser, and who may not
//! learns nothing of what is here. Method: a matrix over every command of the desk's table, every
//! role and both places, against lists that are written down here once more by hand.

use guyline_hub::desk::{self, COMMANDS, Code};
use serde_json::{Value, json};

use crate::crew::{Device, device, work, write};
use crate::members::let_in_as;
use crate::screens::Office;

/// What each right covers. A command that stands in none of these fails the first test.
const READ: &[&str] = &[
    "today",
    "position",
    "session",
    "preview-chain",
    "judge-entry",
    "attachment",
    "write-sweep",
    "report",
    "site-report",
    "take-out",
    "board",
    "day-file",
    "fleet",
    "devices",
    "verify",
    "history",
    "session-after",
    "papers",
    "site",
    "plan-text",
    "bench-topics",
    "bench",
];
const RECORD: &[&str] = &[
    "plan-visit",
    "join-crew",
    "connect-chain",
    "record-reading",
    "withdraw-reading",
    "acknowledge",
    "add-note",
    "record-adjustment",
    "summarise",
    "record-restoration",
    "leave-site",
    "undo",
    "sign-off",
    "amend",
    "attach",
    "caption",
    "retire-attachment",
    "put-attachment-back",
];
const PAPERS: &[&str] = &[
    "start-site",
    "set-field",
    "put-entry",
    "retire-entry",
    "record-calibration",
    "choose-claim",
    "undo-change",
    "take-plan",
    "import-rows",
];
const INSTRUMENT: &[&str] = &[
    "instruments",
    "place-instrument",
    "try-instrument",
    "ask-instrument",
    "propose-level",
    "agree-to-level",
];
const DEVICE: &[&str] = &[
    "keep-only",
    "keep-site",
    "fetch-attachments",
    "take-held",
    "start-shop",
    "start-demo",
    "hold-device",
    "name-device",
    "background",
    "pause-background",
    "bundle-out",
    "bundle-in",
    "browsers",
    "grant-browser",
    "revoke-browser",
    "exchange",
    "members",
    "found-roster",
    "share",
    "invite",
    "admit",
    "revoke",
    "short-code",
    "join",
];

/// Which of these a role may, at a device and from a browser.
type Row = (&'static str, &'static [&'static [&'static str]], &'static [&'static [&'static str]]);
const ROLES: [Row; 3] = [
    ("office", &[READ, RECORD, PAPERS, INSTRUMENT, DEVICE], &[READ, RECORD, PAPERS]),
    ("crew", &[READ, RECORD, PAPERS, INSTRUMENT, DEVICE], &[READ, RECORD]),
    ("read-only", &[READ, DEVICE], &[READ]),
];

fn holds(lists: &[&[&str]], command: &str) -> bool {
    lists.iter().any(|list| list.contains(&command))
}

#[test]
fn every_command_stands_in_one_list() {
    let lists = [READ, RECORD, PAPERS, INSTRUMENT, DEVICE];
    for (command, _) in COMMANDS {
        let count = lists.iter().filter(|list| list.contains(command)).count();
        assert_eq!(count, 1, "{command}");
    }
    assert_eq!(lists.iter().map(|list| list.len()).sum::<usize>(), COMMANDS.len());
}

#[tokio::test(flavor = "multi_thread")]
async fn the_matrix_holds_at_a_device() {
    let mut asked = 0;
    for (role, here, _) in ROLES {
        let (root, guest) = (device("root"), device(role));
        root.node.found_shop().unwrap();
        let_in_as(&root, &guest, role).await;
        for (command, _) in COMMANDS {
            // No command takes a word, so none that is let through does anything.
            let refused = desk::call(&guest.node, command, json!("no")).await.unwrap_err();
            let (may, forbidden) = (holds(here, command), refused.code == Code::Forbidden);
            assert_eq!(may, !forbidden, "{role} at a device: {command}: {refused}");
            asked += 1;
        }
        root.node.share_no_more().await;
    }
    println!("{asked} pairs at a device");
    assert_eq!(asked, COMMANDS.len() * 3);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_matrix_holds_from_a_browser() {
    let office = Office::open().await;
    let before = office.hub.node.position().unwrap();
    let mut asked = 0;
    for (role, _, browser) in ROLES {
        let (brings, _) = office.signed_in(role).await;
        let mut said = Vec::new();
        for (command, _) in COMMANDS {
            let answer = office.post(&format!("/api/{command}"), &brings, "\"no\"").await;
            let wanted = if holds(browser, command) { 400 } else { 403 };
            assert_eq!(answer.status, wanted, "{role} by browser: {command}: {answer:?}");
            said.extend((wanted == 403).then_some(answer.body));
            asked += 1;
        }
        let unknown = office.post("/api/no-such-command", &brings, "{}").await;
        assert_eq!(unknown.status, 403, "what is not there is told apart from nothing");
        said.push(unknown.body);
        said.dedup();
        assert_eq!(said.len(), 1, "every refusal reads alike: {said:?}");
    }
    for (command, _) in COMMANDS {
        let answer = office.post(&format!("/api/{command}"), "", "\"no\"").await;
        assert_eq!(answer.status, 401, "without a token: {command}");
        asked += 1;
    }
    println!("{asked} pairs from browsers");
    assert_eq!(office.hub.node.position().unwrap(), before, "nothing was written");
    office.screens.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn who_may_not_hears_the_same_of_what_is_here_and_what_is_not() {
    let office = Office::open().await;
    let (brings, _) = office.signed_in("read-only").await;
    let today = desk::call(&office.hub.node, "today", json!({})).await.unwrap();
    let here = today["sessions"][0]["id"].as_str().unwrap();
    let absent = "01JV3M00000000000000000000";
    let mut answers = Vec::new();
    for session in [here, absent, "nonsense"] {
        let body = json!({ "session": session, "text": "x" }).to_string();
        let answer = office.post("/api/add-note", &brings, &body).await;
        answers.push((answer.status, answer.body));
    }
    answers.dedup();
    assert_eq!(answers.len(), 1, "{answers:?}");
    assert_eq!(answers[0].0, 403);
    let body = json!({ "session": absent }).to_string();
    assert_eq!(office.post("/api/session", &brings, &body).await.status, 404);
    office.screens.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_device_let_in_to_read_takes_no_edit_and_still_merges() {
    let (root, guest) = (device("root"), device("wall"));
    root.node.found_shop().unwrap();
    let_in_as(&root, &guest, "read-only").await;
    work(&root.node, 1, 1);
    let address = root.node.share("127.0.0.1:0".parse().unwrap()).await.unwrap();
    let body = json!({ "address": format!("https://{address}") });
    desk::call(&guest.node, "exchange", body).await.unwrap();
    assert_eq!(crate::crew::notes(&guest.node, 1), ["note-0"]);
    // Below the desk too, as the command line goes.
    let refused = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
        write(&guest.node, 1, "his", "not his to write");
    }));
    assert!(refused.is_err());
    assert_eq!(crate::crew::notes(&guest.node, 1), ["note-0"]);
    let members: Value = desk::call(&root.node, "members", json!({})).await.unwrap();
    let roles: Vec<&Value> =
        members["members"].as_array().unwrap().iter().map(|member| &member["role"]).collect();
    assert!(roles.contains(&&json!("read-only")), "{roles:?}");
    let Device { node, .. } = &guest;
    assert!(node.is_member());
    root.node.share_no_more().await;
}
