//! Goal: only the shop's own devices speak with each other, a device comes in by an invitation and
//! a compared code, and one that was taken off is refused by everybody who heard of it, from
//! anybody. Method: real nodes share on loopback over TLS; commands go through the desk, as a
//! screen's do.

use std::time::Duration;

use guyline_hub::Node;
use guyline_hub::desk::{self, Refusal};
use serde_json::{Value, json};
use tokio::io::{AsyncReadExt, AsyncWriteExt};

use crate::crew::{Device, device, id, notes, work, write};

pub(crate) async fn call(device: &Device, command: &str, body: Value) -> Result<Value, Refusal> {
    desk::call(&device.node, command, body).await
}

/// Shares on loopback and gives the address others merge with.
async fn share(node: &Node) -> String {
    let address = node.share("127.0.0.1:0".parse().unwrap()).await.unwrap();
    format!("https://{address}")
}

async fn invitation(host: &Device) -> String {
    let address = share(&host.node).await;
    let bare = address.trim_start_matches("https://").to_owned();
    host.node.invite(vec![bare]).unwrap().to_string()
}

/// Lets a device in as people do: both codes compared.
pub(crate) async fn let_in(host: &Device, guest: &Device) {
    let_in_as(host, guest, "crew").await;
}

/// The same for a role.
pub(crate) async fn let_in_as(host: &Device, guest: &Device, role: &str) {
    let invitation = invitation(host).await;
    let shown = call(guest, "short-code", json!({ "invitation": invitation })).await.unwrap();
    let joining = tokio::spawn({
        let node = guest.node.clone();
        let body = json!({ "invitation": invitation });
        async move { desk::call(&node, "join", body).await }
    });
    let code = loop {
        if let Some((_, code)) = host.node.at_door() {
            break code;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    };
    assert_eq!(shown["code"], code.as_str(), "both screens show the same");
    call(host, "admit", json!({ "code": code, "role": role })).await.unwrap();
    joining.await.unwrap().unwrap();
    assert!(guest.node.is_member() && host.node.admits(guest.node.key()));
}

pub(crate) async fn merge(from: &Device, to: &Device) -> Result<(), Refusal> {
    let address = share(&to.node).await;
    call(from, "exchange", json!({ "address": address })).await.map(drop)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_crew_merges_over_tls_after_each_was_let_in() {
    let (hub, ines, tobias) = (device("hub"), device("Ines"), device("Tobias"));
    hub.node.found_shop().unwrap();
    let_in(&hub, &ines).await;
    let_in(&hub, &tobias).await;
    work(&ines.node, 1, 2);
    // Tobias came after her: she hears of him from the hub, and then they need no hub.
    merge(&ines, &hub).await.unwrap();
    merge(&tobias, &ines).await.unwrap();
    write(&tobias.node, 1, "his", "the jumper was loose");
    merge(&ines, &tobias).await.unwrap();
    assert_eq!(notes(&ines.node, 1), notes(&tobias.node, 1));
    assert_eq!(notes(&ines.node, 1).len(), 3);
}

/// Much at once is kept as it came: it is at the hub when the merge ends, in its place by itself a
/// moment later, and passed on from there with whose it is.
#[tokio::test(flavor = "multi_thread")]
async fn a_crew_that_comes_in_with_much_is_let_go_and_seen_a_moment_later() {
    let (hub, ines, tobias) = (device("hub"), device("Ines"), device("Tobias"));
    hub.node.found_shop().unwrap();
    let_in(&hub, &ines).await;
    let_in(&hub, &tobias).await;
    work(&ines.node, 1, 300);
    merge(&ines, &hub).await.unwrap();
    assert_eq!(ines.node.only_here().unwrap(), 0, "the hub has signed for all of it");
    let until = std::time::Instant::now() + Duration::from_secs(30);
    while hub.node.arrivals_waiting().unwrap() > 0 {
        assert!(std::time::Instant::now() < until, "nobody looks, and it is put in place");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    assert_eq!(notes(&hub.node, 1).len(), 300);
    merge(&tobias, &hub).await.unwrap();
    assert_eq!(tobias.node.heads().unwrap(), ines.node.heads().unwrap());
    assert_eq!(tobias.node.seals_of(id(1)).unwrap(), ines.node.seals_of(id(1)).unwrap());
    assert_eq!(tobias.node.set_aside_count().unwrap(), 0);
}

/// What a device packed once nobody worked goes to the hub as it is, and from there to others; a
/// device of a version before gets the same change by change.
#[tokio::test(flavor = "multi_thread")]
async fn what_was_packed_once_is_passed_on_as_it_is() {
    let (hub, ines, tobias) = (device("hub"), device("Ines"), device("Tobias"));
    hub.node.found_shop().unwrap();
    let_in(&hub, &ines).await;
    let_in(&hub, &tobias).await;
    // Only for whoever was met is anything packed.
    merge(&ines, &hub).await.unwrap();
    work(&ines.node, 1, 300);
    ines.node.rest().unwrap();
    let address = share(&hub.node).await;
    let brought = ines.node.exchange_with(&address).await.unwrap();
    assert_eq!(hub.node.heads().unwrap(), ines.node.heads().unwrap(), "and it is looked at");
    let fetched = tobias.node.exchange_with(&address).await.unwrap();
    assert_eq!(tobias.node.heads().unwrap(), ines.node.heads().unwrap());
    assert_eq!(tobias.node.seals_of(id(1)).unwrap(), ines.node.seals_of(id(1)).unwrap());
    let (sent, received) = (brought.sent_bytes, fetched.received_bytes);
    assert!(sent.abs_diff(received) < 500, "{sent} bytes sent, {received} received");

    let before = device("a version before");
    let loose = before.node.exchange_by("hub", false, |body| hub.node.answer(body)).unwrap();
    assert_eq!(before.node.heads().unwrap(), ines.node.heads().unwrap());
    let bytes = loose.received_bytes;
    assert!(received < bytes, "{received} bytes packed, {bytes} change by change");
}

/// What a device wrote that is taken off before its work is in its place stays: the hub had it.
#[tokio::test(flavor = "multi_thread")]
async fn what_arrived_before_its_device_was_taken_off_stays() {
    let (hub, ines) = (device("hub"), device("Ines"));
    let hub = Device { node: hub.node.keeping_from(1), folder: hub.folder };
    hub.node.found_shop().unwrap();
    let_in(&hub, &ines).await;
    work(&ines.node, 1, 2);
    merge(&ines, &hub).await.unwrap();
    hub.node.revoke(ines.node.key(), "lost at the summit").unwrap();
    assert_eq!((notes(&hub.node, 1).len(), hub.node.set_aside_count().unwrap()), (2, 0));
    merge(&ines, &hub).await.expect_err("it is taken off");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stranger_gets_no_handshake_and_hears_nothing() {
    let (hub, stranger) = (device("hub"), device("stranger"));
    hub.node.found_shop().unwrap();
    work(&hub.node, 1, 1);
    let refused = merge(&stranger, &hub).await.unwrap_err();
    assert!(refused.what.contains("broke") || refused.what.contains("roster"), "{refused}");
    assert!(stranger.node.documents().unwrap().is_empty());

    // A shop of its own makes it no member of this one, and this one no member of its own.
    stranger.node.found_shop().unwrap();
    assert!(merge(&stranger, &hub).await.is_err());
    assert!(merge(&hub, &stranger).await.is_err());

    // What speaks no TLS is told nothing at all.
    let address = share(&hub.node).await;
    let plain = address.trim_start_matches("https://");
    let mut stream = tokio::net::TcpStream::connect(plain).await.unwrap();
    stream.write_all(b"POST /exchange HTTP/1.1\r\nHost: x\r\n\r\n").await.unwrap();
    let mut answer = Vec::new();
    let ended = tokio::time::timeout(Duration::from_secs(15), stream.read_to_end(&mut answer));
    let _closed_or_reset = ended.await.expect("it is closed, not kept");
    let text = String::from_utf8_lossy(&answer);
    assert!(!text.contains("HTTP") && !text.contains("hub"), "{text:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_open_invitation_lets_nobody_do_more_than_knock() {
    let (hub, guest) = (device("hub"), device("guest"));
    hub.node.found_shop().unwrap();
    work(&hub.node, 1, 1);
    let invitation = invitation(&hub).await;
    // The handshake is given now, and the exchange is not.
    let refused = merge(&guest, &hub).await.unwrap_err();
    assert!(!guest.node.is_member() && guest.node.documents().unwrap().is_empty(), "{refused}");

    // Three wrong codes burn it: then the right one opens nothing.
    let (head, _) = invitation.rsplit_once(' ').unwrap();
    let (keys, code) = head.rsplit_once(' ').unwrap();
    let address = invitation.rsplit_once(' ').unwrap().1;
    let first = if code.starts_with('0') { '1' } else { '0' };
    let wrong = format!("{keys} {first}{} {address}", &code[1..]);
    for _ in 0..3 {
        let refused = call(&guest, "join", json!({ "invitation": wrong })).await.unwrap_err();
        assert!(refused.what.contains("not the code"), "{refused}");
    }
    let refused = call(&guest, "join", json!({ "invitation": invitation })).await.unwrap_err();
    assert!(!refused.what.contains("not the code"), "{refused}");
    assert!(!guest.node.is_member());
}

#[tokio::test(flavor = "multi_thread")]
async fn another_code_than_the_one_compared_lets_nobody_in() {
    let (hub, guest) = (device("hub"), device("guest"));
    hub.node.found_shop().unwrap();
    let invitation = invitation(&hub).await;
    let joining = tokio::spawn({
        let node = guest.node.clone();
        async move { desk::call(&node, "join", json!({ "invitation": invitation })).await }
    });
    while hub.node.at_door().is_none() {
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    let refused = call(&hub, "admit", json!({ "code": "000 000", "role": "crew" })).await;
    assert!(refused.unwrap_err().what.contains("no device with that code"));
    assert!(!hub.node.admits(guest.node.key()));
    hub.node.close_door();
    assert!(joining.await.unwrap().is_err(), "the door was closed");
}

#[tokio::test(flavor = "multi_thread")]
async fn who_is_taken_off_is_refused_by_everybody_who_heard_of_it() {
    let (hub, ines, tobias) = (device("hub"), device("Ines"), device("Tobias"));
    hub.node.found_shop().unwrap();
    let_in(&hub, &ines).await;
    let_in(&hub, &tobias).await;
    merge(&ines, &hub).await.unwrap();
    merge(&tobias, &ines).await.unwrap();

    let key = tobias.node.key().to_string();
    let body = json!({ "key": key, "reason": "stolen at the trailhead" });
    assert!(call(&ines, "revoke", body.clone()).await.is_err(), "only the root key revokes");
    let page = call(&hub, "revoke", body).await.unwrap();
    let told = page["members"].as_array().unwrap();
    let gone = told.iter().find(|member| member["name"] == "Tobias").unwrap();
    assert_eq!(gone["revoked"], "stolen at the trailhead");

    assert!(merge(&tobias, &hub).await.is_err());
    merge(&ines, &hub).await.unwrap();
    assert!(merge(&tobias, &ines).await.is_err(), "she heard of it from the hub");
    assert!(merge(&ines, &tobias).await.is_err(), "and does not call him either");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_roster_is_there_after_a_restart() {
    let (hub, ines) = (device("hub"), device("Ines"));
    hub.node.found_shop().unwrap();
    let_in(&hub, &ines).await;
    let key = ines.node.key();
    let Device { node, folder } = hub;
    node.share_no_more().await;
    drop(node);
    let again = loop {
        // A task of the server may hold it for a moment.
        match Node::open(folder.path()) {
            Ok(node) => break node,
            Err(_) => tokio::time::sleep(Duration::from_millis(50)).await,
        }
    };
    assert!(again.admits(key) && again.is_member() && again.lets_in());
    assert!(again.found_shop().is_err(), "a shop is founded once");
}
