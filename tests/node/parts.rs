//! Goal: a device that keeps only what is wanted gets the papers and its sites' visits whole, when
//! they come to be wanted too; what it keeps it passes on; nobody takes it for a holder of more.
//! Method: real nodes merge over TLS on loopback after they were let in; where bodies are cut,
//! they are carried by hand.

use automerge::ActorId;
use guyline_core::record::{Document, DocumentId, Shop};
use guyline_hub::Node;
use guyline_hub::sync::ExchangeError;
use guyline_tests::{author, sheet};
use serde_json::{Value, json};

use crate::crew::{Device, device, id, notes, write};
use crate::members::{call, let_in, merge};

/// The n-th site's paper.
fn site(n: u8) -> DocumentId {
    id(100 + n)
}

fn keep(node: &Node, made: Result<(Document, automerge::Change), impl std::fmt::Debug>) {
    let (document, change) = made.expect("it is sound");
    node.create(document, change).expect("it is stored");
}

/// The n-th visit, to a site, with so many notes.
fn visit(node: &Node, n: u8, to: u8, notes: usize) {
    let actor = ActorId::random();
    keep(node, Document::create_session(id(n), site(to), "r", "WO 1", actor, &author()));
    for index in 0..notes {
        write(node, n, &format!("note-{index}"), "it rained");
    }
}

/// A hub with papers of four sites and a visit to each, and a tablet that keeps a part, let in.
async fn hub_and_tablet(wanted: &[u8]) -> (Device, Device) {
    let (hub, tablet) = (device("hub"), device("tablet"));
    hub.node.found_shop().unwrap();
    let_in(&hub, &tablet).await;
    let mut shop = sheet()["shop"].take();
    // Before anybody is sent anywhere the paper is as older programs wrote it.
    shop["people"]["ines"]["sites"] = json!([site(4).to_string()]);
    let shop: Shop = serde_json::from_value(shop).expect("the invented shop");
    keep(&hub.node, Document::create_shop(id(99), &shop, ActorId::random(), &author()));
    for n in 1..=4 {
        let mut paper = sheet()["site"].take();
        paper["name"] = json!(format!("Site {n}"));
        let paper = serde_json::from_value(paper).expect("the invented site");
        keep(&hub.node, Document::create_site(site(n), &paper, ActorId::random(), &author()));
        visit(&hub.node, n, n, 3);
    }
    tablet.node.keep_only_wanted(true).unwrap();
    for n in wanted {
        tablet.node.want_site(site(*n)).unwrap();
    }
    (hub, tablet)
}

/// Which of the visits 1 to 9 are there.
fn visits(node: &Node) -> Vec<u8> {
    let here = node.documents().unwrap();
    (1..=9).filter(|n| here.contains(&id(*n))).collect()
}

fn papers(node: &Node) -> usize {
    let here = node.documents().unwrap();
    here.iter().filter(|document| document.to_bytes()[0] >= 99).count()
}

/// How far each visit has got, by the Today screen.
async fn reached(of: &Device) -> Vec<(u8, String)> {
    let page = call(of, "today", json!({})).await.unwrap();
    let line = |line: &Value| {
        let document: DocumentId = line["id"].as_str().unwrap().parse().unwrap();
        (document.to_bytes()[0], line["reached"].as_str().unwrap().to_owned())
    };
    let mut lines: Vec<_> = page["sessions"].as_array().unwrap().iter().map(line).collect();
    lines.sort();
    lines
}

#[tokio::test(flavor = "multi_thread")]
async fn a_fresh_part_gets_papers_and_its_sites_and_a_site_that_is_opened_with_the_next_merge() {
    let (hub, tablet) = hub_and_tablet(&[2]).await;
    merge(&tablet, &hub).await.unwrap();
    assert_eq!((papers(&tablet.node), visits(&tablet.node)), (5, vec![2]));
    assert_eq!(notes(&tablet.node, 2).len(), 3);

    let opened = call(&tablet, "site", json!({ "site": site(3).to_string() })).await.unwrap();
    assert_eq!((&opened["visits_kept"], &opened["visits"]), (&json!("coming"), &json!([])));
    merge(&tablet, &hub).await.unwrap();
    assert_eq!(visits(&tablet.node), [2, 3]);
    assert_eq!(tablet.node.heads().unwrap()[&id(3)], hub.node.heads().unwrap()[&id(3)]);
    assert_eq!(tablet.node.seals_of(id(3)).unwrap(), hub.node.seals_of(id(3)).unwrap());
    let opened = call(&tablet, "site", json!({ "site": site(3).to_string() })).await.unwrap();
    assert_eq!(opened["visits_kept"], "kept");
    assert_eq!(opened["visits"].as_array().unwrap().len(), 1);
    let today = call(&tablet, "today", json!({})).await.unwrap();
    assert_eq!(today["sites_kept"], 2);

    // Who holds it is sent to the fourth; it stays wanted when the papers say otherwise.
    tablet.node.set_person("ines").unwrap();
    merge(&tablet, &hub).await.unwrap();
    assert_eq!(visits(&tablet.node), [2, 3, 4]);
    tablet.node.set_person("wren").unwrap();
    assert!(tablet.node.keeping().unwrap().sites.contains(&site(4)));
}

/// The papers that say where somebody is sent come with the first merge, and the visits with it.
#[tokio::test(flavor = "multi_thread")]
async fn one_merge_brings_the_papers_and_the_visits_they_send_to() {
    let (hub, tablet) = hub_and_tablet(&[]).await;
    tablet.node.set_person("ines").unwrap();
    merge(&tablet, &hub).await.unwrap();
    assert_eq!((papers(&tablet.node), visits(&tablet.node)), (5, vec![4]));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_written_on_a_part_reaches_the_hub_and_others_and_goes_through_it() {
    let (hub, tablet) = hub_and_tablet(&[2]).await;
    let third = device("third");
    let_in(&hub, &third).await;
    merge(&tablet, &hub).await.unwrap();
    write(&tablet.node, 2, "of-the-tablet", "the jumper was loose");
    // A visit that is made here makes its site wanted.
    visit(&tablet.node, 5, 3, 2);
    assert!(tablet.node.keeping().unwrap().sites.contains(&site(3)));
    merge(&third, &tablet).await.unwrap();
    assert_eq!(visits(&third.node), [2, 5], "the third site's older visit is not here yet");
    write(&third.node, 2, "of-the-third", "it was tightened");
    merge(&tablet, &third).await.unwrap();
    merge(&tablet, &hub).await.unwrap();
    assert_eq!(visits(&tablet.node), [2, 3, 5]);
    assert_eq!(notes(&hub.node, 2), notes(&third.node, 2));
    assert_eq!(notes(&hub.node, 2).len(), 5);
    merge(&third, &hub).await.unwrap();
    assert_eq!(third.node.heads().unwrap(), hub.node.heads().unwrap());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_part_is_no_holder_of_what_it_does_not_keep() {
    let (hub, tablet) = hub_and_tablet(&[2]).await;
    let before = hub.node.only_here().unwrap();
    merge(&tablet, &hub).await.unwrap();
    merge(&tablet, &hub).await.unwrap();
    let here = |n: u8| (n, if n == 2 { "elsewhere" } else { "here" }.to_owned());
    assert_eq!(reached(&hub).await, [1, 2, 3, 4].map(here));
    // Papers and the second visit are known to be there: five papers' changes, and four.
    assert_eq!(hub.node.only_here().unwrap(), before - 5 - 4);
    let peer = &hub.node.peers().unwrap()[0];
    assert_eq!(peer.not_there, 0, "of what it keeps it lacks nothing");
    // So their rows stay, and only those that another device really has go.
    let compacted = hub.node.compact().unwrap();
    assert_eq!((compacted.folded, compacted.only_here), (6, 3));
    assert_eq!(hub.node.inspect().unwrap().problems, []);
    // And from the folded form the rest still goes to whoever keeps everything.
    let whole = device("whole");
    let_in(&hub, &whole).await;
    merge(&whole, &hub).await.unwrap();
    assert_eq!(whole.node.heads().unwrap(), hub.node.heads().unwrap());
    merge(&whole, &hub).await.unwrap();
    assert_eq!(hub.node.only_here().unwrap(), 0);
    tablet.node.want_site(site(2)).unwrap();
    tablet.node.want_site(site(3)).unwrap();
    assert_eq!(hub.node.compact().unwrap().only_here, 0);
    merge(&tablet, &hub).await.unwrap();
    assert_eq!(visits(&tablet.node), [2, 3]);
}

#[tokio::test(flavor = "multi_thread")]
async fn at_the_office_is_only_what_the_office_signed_for() {
    let (hub, tablet) = hub_and_tablet(&[1, 2]).await;
    let other = device("other");
    let_in(&hub, &other).await;
    other.node.keep_only_wanted(true).unwrap();
    other.node.want_site(site(2)).unwrap();
    merge(&tablet, &hub).await.unwrap();
    write(&tablet.node, 1, "mine", "x");
    write(&tablet.node, 2, "mine", "x");
    merge(&other, &tablet).await.unwrap();
    merge(&other, &tablet).await.unwrap();
    // The other tablet acknowledged all of the log, and keeps only the second site.
    let told = |n: u8, how: &str| (n, how.to_owned());
    assert_eq!(reached(&tablet).await, [told(1, "here"), told(2, "elsewhere")]);
    assert_eq!(tablet.node.only_here().unwrap(), 1);
    merge(&tablet, &hub).await.unwrap();
    assert_eq!(reached(&tablet).await, [told(1, "office"), told(2, "office")]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_part_that_is_set_back_to_everything_gets_all_the_rest() {
    let (hub, tablet) = hub_and_tablet(&[2]).await;
    merge(&tablet, &hub).await.unwrap();
    let page = call(&tablet, "keep-only", json!({ "only": false })).await.unwrap();
    assert_eq!(page["keeping"]["only_wanted"], false);
    merge(&tablet, &hub).await.unwrap();
    assert_eq!(tablet.node.heads().unwrap(), hub.node.heads().unwrap());
    merge(&tablet, &hub).await.unwrap();
    assert_eq!(hub.node.only_here().unwrap(), 0, "now it is a holder of everything");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_office_and_a_hub_keep_everything_and_say_why() {
    let (hub, _tablet) = hub_and_tablet(&[]).await;
    let refused = call(&hub, "keep-only", json!({ "only": true })).await.unwrap_err();
    assert!(refused.what.contains("office"), "{refused}");
    let crew = device("crew's hub");
    crew.node.keep_only_wanted(true).unwrap();
    let served = crew.node.clone().as_hub();
    assert!(!served.keeping().unwrap().only_wanted, "whatever was chosen before");
    let refused = served.keep_only_wanted(true).unwrap_err();
    assert!(refused.what.contains("hub") && refused.help.contains("crew"), "{refused}");
    let page = call(&hub, "devices", json!({})).await.unwrap();
    assert_eq!(page["keeping"]["refused"], "office");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_site_is_kept_by_its_name_and_one_that_is_not_there_is_refused() {
    let (hub, tablet) = hub_and_tablet(&[]).await;
    merge(&tablet, &hub).await.unwrap();
    let page = call(&tablet, "keep-site", json!({ "site": "site 3" })).await.unwrap();
    assert_eq!(page["keeping"]["sites"][0]["name"], "Site 3");
    assert_eq!(page["keeping"]["others"].as_array().unwrap().len(), 3);
    let refused = call(&tablet, "keep-site", json!({ "site": "Atlantis" })).await.unwrap_err();
    assert!(refused.what.contains("Atlantis"), "{refused}");
}

/// Carries bodies by hand, and loses the n-th on its way there or back.
fn exchange(from: &Node, to: &Node, lost: Option<(usize, bool)>) -> Result<u64, ExchangeError> {
    let mut count = 0;
    let report = from.exchange_by("by hand", true, |body| {
        count += 1;
        let gone = || Err(ExchangeError::Lost { what: format!("body {count}") });
        match lost {
            Some((at, true)) if at == count => gone(),
            Some((at, false)) if at == count => to.answer(body).and_then(|_| gone()),
            _ => to.answer(body),
        }
    })?;
    Ok(report.rounds)
}

#[test]
fn a_cut_at_every_body_while_a_site_is_made_up_for_loses_nothing() {
    let mut cuts = 0;
    for part_calls in [true, false] {
        for there in [true, false] {
            for at in 1..=6 {
                let (hub, tablet) = (device("hub"), device("tablet"));
                for n in 1..=3 {
                    visit(&hub.node, n, n, 3);
                }
                tablet.node.keep_only_wanted(true).unwrap();
                tablet.node.want_site(site(1)).unwrap();
                exchange(&tablet.node, &hub.node, None).unwrap();
                exchange(&hub.node, &tablet.node, None).unwrap();
                write(&hub.node, 3, "late", "x");
                tablet.node.want_site(site(3)).unwrap();
                let (from, to) = match part_calls {
                    true => (&tablet.node, &hub.node),
                    false => (&hub.node, &tablet.node),
                };
                let cut = exchange(from, to, Some((at, there))).is_err();
                exchange(&tablet.node, &hub.node, None).unwrap();
                assert_eq!(visits(&tablet.node), [1, 3], "cut at {at}");
                assert_eq!(notes(&tablet.node, 3), notes(&hub.node, 3), "cut at {at}");
                assert_eq!(tablet.node.set_aside_count().unwrap(), 0);
                cuts += usize::from(cut);
                if !cut {
                    break;
                }
            }
        }
    }
    assert_eq!(cuts, 8, "two bodies there and two back, whoever calls");
}

/// A hub that was started anew knows of no visit where it was made: it reads them once, some at a
/// time, and still gives nobody what is not wanted.
#[test]
fn a_hub_that_was_started_anew_leaves_out_what_it_has_not_read_yet() {
    let Device { node, folder } = device("hub");
    for n in 0..300_u16 {
        let [high, low] = n.to_be_bytes();
        let document =
            DocumentId::from_bytes([high, low, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5]);
        let to = site((n % 3) as u8);
        let actor = ActorId::random();
        keep(&node, Document::create_session(document, to, "r", "WO", actor, &author()));
    }
    drop(node);
    let hub = Node::open(folder.path()).unwrap();
    let tablet = device("tablet");
    tablet.node.keep_only_wanted(true).unwrap();
    tablet.node.want_site(site(1)).unwrap();
    exchange(&tablet.node, &hub, None).unwrap();
    assert_eq!(tablet.node.documents().unwrap().len(), 100);
    let rounds = exchange(&tablet.node, &hub, None).unwrap();
    assert_eq!((rounds, tablet.node.documents().unwrap().len()), (1, 100));
}

#[test]
fn the_command_line_says_and_changes_what_is_kept() {
    let Device { node, folder } = device("tablet");
    let mut paper = sheet()["site"].take();
    paper["name"] = json!("Lookout");
    let paper = serde_json::from_value(paper).expect("the invented site");
    keep(&node, Document::create_site(site(1), &paper, ActorId::random(), &author()));
    drop(node);
    let keep = |words: &[&str]| {
        let mut command = std::process::Command::new(guyline_tests::built("guyline"));
        let out = command.arg("keep").args(words).arg("--data").arg(folder.path()).output();
        let out = out.expect("the program starts");
        let said = |bytes| String::from_utf8(bytes).expect("UTF-8");
        (out.status.code(), said(out.stdout), said(out.stderr))
    };
    assert_eq!(keep(&["status"]).1, "everything is kept\n");
    assert_eq!(keep(&["wanted"]).1, "the papers are kept, and the visits to 0 sites\n");
    let (code, _, told) = keep(&["site", "Atlantis"]);
    assert!(code == Some(1) && told.contains("Atlantis") && told.contains("help:"), "{told}");
    let said = keep(&["site", "lookout"]).1;
    assert_eq!(said, "the papers are kept, and the visits to 1 site\n  Lookout\n");
    assert_eq!(keep(&["everything"]).1, "everything is kept\n");
    assert!(Node::open(folder.path()).unwrap().keeping().unwrap().sites.contains(&site(1)));
}
