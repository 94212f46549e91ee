//! Goal: the shop's plan goes out as a text and in again, lists are looked at before they are
//! taken, and two nodes that changed one field apart both show both values. Method: the built
//! program on a folder with the invented shop, and an exchange over loopback.

use std::path::Path;
use std::process::{Command, Output};

use automerge::ActorId;
use guyline_core::record::{Document, DocumentId, Shop, ShopEdit};
use guyline_hub::Node;
use guyline_hub::http::Listening;
use guyline_tests::{author, built};
use serde_json::json;

use crate::crew::{Device, device};

fn shop_id() -> DocumentId {
    DocumentId::from_bytes([9; 16])
}

/// A device with the invented shop.
fn with_shop(name: &str) -> Device {
    let device = device(name);
    let paper = include_str!("../../demo-data/shop.json");
    let shop: Shop = serde_json::from_str(paper).expect("the invented shop");
    let made = Document::create_shop(shop_id(), &shop, ActorId::random(), &author());
    let (document, change) = made.expect("it is sound");
    device.node.create(document, change).expect("it is stored");
    device
}

fn guyline(words: &[&str], data: &Path, more: &[&str]) -> Output {
    let mut command = Command::new(built("guyline"));
    command.args(words).arg("--data").arg(data).args(more);
    command.output().expect("the program starts")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("UTF-8")
}

#[test]
fn a_plan_goes_out_is_refused_where_it_is_wrong_and_comes_in() {
    let Device { node, folder } = with_shop("hub");
    drop(node);
    let files = tempfile::tempdir().expect("a folder can be made");
    let file = files.path().join("plan.toml");
    let path = file.to_str().expect("UTF-8");
    let out = guyline(&["plan", "export"], folder.path(), &[]);
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    let plan = text(&out.stdout);
    assert!(plan.contains("transmitter.power") && plan.contains("off = []"), "{plan}");

    let wrong = plan.replace("off = []", "off = [\"transmitter.power\"]");
    let line = 1 + wrong.lines().position(|line| line.starts_with("off = [")).expect("it is there");
    std::fs::write(&file, &wrong).expect("it is written");
    let out = guyline(&["plan", "import"], folder.path(), &["--by", "wren", path]);
    assert_eq!(out.status.code(), Some(2));
    let said = text(&out.stderr);
    assert!(said.contains(&format!("plan.toml:{line}:8: ")), "{said}");
    assert!(said.contains("duplexer.transmit-loss leans on it"), "{said}");

    let right = plan.replace("off = []", "off = [\"transmitter.deviation\"]");
    std::fs::write(&file, &right).expect("it is written");
    let out = guyline(&["plan", "import"], folder.path(), &["--by", "wren", path]);
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    let out = guyline(&["plan", "export"], folder.path(), &[]);
    assert_eq!(text(&out.stdout), right, "what went in comes out");
}

#[test]
fn a_list_is_looked_at_and_then_its_good_rows_are_taken() {
    let Device { node, folder } = with_shop("hub");
    drop(node);
    let files = tempfile::tempdir().expect("a folder can be made");
    let file = files.path().join("parts.csv");
    let rows = "name,kind,loss,tolerance_db,power_max_w\nK,cable,150 MHz: 1,0.1,5\nL,hose,,0,1\n";
    std::fs::write(&file, rows).expect("it is written");
    let path = file.to_str().expect("UTF-8");
    let out = guyline(&["import"], folder.path(), &["parts", path]);
    assert_eq!(out.status.code(), Some(2), "a row is wrong");
    let said = text(&out.stdout);
    assert!(said.contains("parts.csv:3: kind: \"hose\": unknown variant"), "{said}");
    assert!(said.contains("1 good rows, 1 problems; nothing taken in yet"), "{said}");
    let out = guyline(&["import"], folder.path(), &["--by", "wren", "--take", "parts", path]);
    assert!(text(&out.stdout).contains("1 of 1 good rows taken in"), "{}", text(&out.stderr));
    let node = Node::open(folder.path()).expect("the store opens again");
    let shop = node.with_document(shop_id(), |document| document.shop().cloned());
    assert!(shop.expect("it is here").expect("a shop").parts.contains_key("k"));
}

#[tokio::test]
async fn two_nodes_that_change_one_field_apart_both_show_both_values() {
    let (hub, ines) = (with_shop("hub"), device("Ines"));
    let listening = Listening::start(&hub.node, "127.0.0.1:0").await.expect("loopback");
    ines.node.exchange_with(listening.address()).await.expect("it answers");
    let set = |node: &Node, value: f64| {
        let path = ["parts", "cable-a", "power_max_w"].map(str::to_owned).into();
        let edit = ShopEdit::SetField { path, value: json!(value) };
        let done = node.edit(shop_id(), |document| document.edit_shop(&edit, &author()));
        done.expect("it is stored").expect("it is admitted");
    };
    set(&hub.node, 150.0);
    set(&ines.node, 120.0);
    ines.node.exchange_with(listening.address()).await.expect("it answers");
    listening.stop().await;
    let conflicts = |node: &Node| {
        node.with_document(shop_id(), |document| document.conflicts()).expect("it is here")
    };
    let (here, there) = (conflicts(&hub.node), conflicts(&ines.node));
    assert_eq!(here, there);
    let mut values: Vec<_> = here[0].claims.iter().map(|claim| claim.value.to_string()).collect();
    values.sort();
    assert_eq!((here.len(), values), (1, vec!["120.0".to_owned(), "150.0".to_owned()]));
}
