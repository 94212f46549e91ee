//! Lists as a spreadsheet writes them, sound and broken.

use guyline_core::record::DocumentId;

use super::super::edit::author as holder;
use super::*;

/// A node with the invented shop, held by Ines.
fn node() -> (tempfile::TempDir, Node) {
    let dir = tempfile::tempdir().unwrap();
    let node = Node::open(dir.path()).unwrap();
    node.set_person("ines").unwrap();
    let shop: Shop = serde_json::from_str(include_str!("../../../demo-data/shop.json")).unwrap();
    let author = holder(&node).unwrap();
    let id = DocumentId::from_bytes([3; 16]);
    let (document, change) =
        Document::create_shop(id, &shop, automerge::ActorId::random(), &author).unwrap();
    node.create(document, change).unwrap();
    (dir, node)
}

const PARTS: &str = "\u{feff}name,kind,loss,tolerance_db,power_max_w,calibration_due\r\n\
    Cable K,cable,150 MHz: 0.4; 470 MHz: 0.7,0.1,200,2027-05-31\r\n\
    \"Load, 150 W\",load,,0,150,\r\n";

#[test]
fn a_sound_list_is_looked_at_then_taken_as_one_change() {
    let (_dir, node) = node();
    let before = node.position().unwrap();
    let seen = import_rows(&node, Imported::Parts, PARTS, None).unwrap();
    assert_eq!(
        (seen.good.as_slice(), seen.wrong.as_slice()),
        (["cable-k".to_owned(), "load--150-w".to_owned()].as_slice(), [].as_slice())
    );
    assert_eq!(node.position().unwrap(), before, "a look takes nothing");
    let author = holder(&node).unwrap();
    let seen = import_rows(&node, Imported::Parts, PARTS, Some(&author)).unwrap();
    assert_eq!(seen.taken, 2);
    assert_eq!(node.position().unwrap(), before + 1);
    let (_, shop) = shop_here(&node).unwrap();
    assert_eq!(shop.parts["cable-k"].loss[1].at_hz, 470_000_000);
    assert_eq!(shop.parts["load--150-w"].name, "Load, 150 W");
    // Once more: nothing is overwritten.
    let seen = import_rows(&node, Imported::Parts, PARTS, Some(&author)).unwrap();
    assert_eq!((seen.taken, seen.wrong.len()), (0, 2));
}

#[test]
fn every_problem_is_named_by_line_and_column_and_the_good_rows_are_still_good() {
    let (_dir, node) = node();
    let text = "name,kind,loss,tolerance_db,power_max_w\n\
        A,cable,150 MHz: 0.4,0.1,200\n\
        B,hose,150 MHz: 0.4,0.1,200\n\
        C,cable,150: 0.4,0.1,200\n\
        D,cable,150 MHz: 0.4,much,200\n\
        E,cable,150 MHz: 0.4,0.1,-5\n\
        F,cable\n\
        G,load,150 MHz: 0.4,0.1,200\n\
        H,cable,150 MHz: 0.4,0.1,\n";
    let seen = import_rows(&node, Imported::Parts, text, None).unwrap();
    assert_eq!(seen.good, ["a"]);
    let at: Vec<(u64, &str)> =
        seen.wrong.iter().map(|w| (w.line, w.column.as_deref().unwrap_or("row"))).collect();
    let mut at = at;
    at.sort();
    assert_eq!(
        at,
        [
            (3, "kind"),
            (4, "loss"),
            (5, "tolerance_db"),
            (6, "power_max_w"),
            (7, "row"),
            (8, "loss"),
            (9, "power_max_w"),
        ],
        "{:?}",
        seen.wrong
    );
    assert!(seen.wrong.iter().any(|wrong| wrong.what == "this cell is empty"));
}

#[test]
fn a_wrong_first_row_is_named_before_any_row_is_read() {
    let (_dir, node) = node();
    let seen = import_rows(&node, Imported::Parts, "name,colour,name\nA,red,B\n", None).unwrap();
    assert!(seen.good.is_empty());
    let columns: Vec<&str> = seen.wrong.iter().filter_map(|w| w.column.as_deref()).collect();
    assert_eq!(columns, ["colour", "kind", "tolerance_db", "power_max_w", "name"]);
    assert!(seen.wrong[0].what.contains("these are: name, kind"));
}

#[test]
fn instruments_and_sites_come_in_too() {
    let (_dir, node) = node();
    let author = holder(&node).unwrap();
    let text = "name,serial_number,calibration_due,ports,level_db,power_percent,frequency_ppm,\
        deviation_percent\n\
        meter 9,SN 1,2027-01-31,meter input: meter 100 W,0,4,0.1,4\n\
        meter 10,SN 2,2027-01-31,in: hose 1 W,0,4,0.1,4\n";
    let seen = import_rows(&node, Imported::Instruments, text, Some(&author)).unwrap();
    assert_eq!((seen.taken, seen.wrong.len()), (1, 1), "{:?}", seen.wrong);
    let (_, shop) = shop_here(&node).unwrap();
    assert_eq!(shop.instruments["meter-9"].ports["meter-input"].power_max_w, Some(100.0));

    let text = "name,access,hazards\nBald Butte,\"Key 4,\nthen the left gate\",wasps; ice\n";
    let seen = import_rows(&node, Imported::Sites, text, Some(&author)).unwrap();
    assert_eq!((seen.taken, seen.wrong.len()), (1, 0), "{:?}", seen.wrong);
    let sites = node.documents().unwrap();
    let made = sites
        .iter()
        .find_map(|id| node.with_document(*id, |document| document.site().cloned().ok()).unwrap());
    let made = made.unwrap();
    assert_eq!(made.all_hazards(), ["wasps", "ice"]);
    assert_eq!(made.access, "Key 4,\nthen the left gate");
}

#[test]
fn the_same_list_as_json_makes_the_same_papers() {
    let as_json = r#"[
        {"name": "Cable K", "kind": "cable", "loss": "150 MHz: 0.4; 470 MHz: 0.7",
         "tolerance_db": 0.1, "power_max_w": 200, "calibration_due": "2027-05-31"},
        {"name": "Load, 150 W", "kind": "load", "loss": null, "tolerance_db": "0",
         "power_max_w": 150.0}
    ]"#;
    let taken = |text: &str| {
        let (_dir, node) = node();
        let author = holder(&node).unwrap();
        let seen = import_rows(&node, Imported::Parts, text, Some(&author)).unwrap();
        assert_eq!((seen.taken, seen.wrong.len()), (2, 0), "{:?}", seen.wrong);
        let (_, shop) = shop_here(&node).unwrap();
        (shop.parts["cable-k"].clone(), shop.parts["load--150-w"].clone())
    };
    assert_eq!(taken(as_json), taken(PARTS));
}

#[test]
fn what_is_wrong_in_json_is_named_by_line_and_column() {
    let (_dir, node) = node();
    let text = r#"[
        {"name": "A", "kind": "load", "tolerance_db": 0, "power_max_w": 150},
        {"name": "B", "kind": "load", "tolerance_db": 0, "power_max_w": [150]},
        {"name": "C", "kind": "load",
         "tolerance_db": 0, "watts": 150},
        {"name": "D", "name": "E", "kind": "load", "tolerance_db": 0, "power_max_w": 1},
        7,
        {"name": "F", "kind": "load", "tolerance_db": 0}
    ]"#;
    let seen = import_rows(&node, Imported::Parts, text, None).unwrap();
    assert_eq!(seen.good, ["a"]);
    let at: Vec<(u64, &str)> =
        seen.wrong.iter().map(|w| (w.line, w.column.as_deref().unwrap_or("row"))).collect();
    let expected = [(3, "power_max_w"), (4, "watts"), (6, "name"), (7, "row"), (8, "power_max_w")];
    assert_eq!(at, expected, "{:?}", seen.wrong);

    for (text, line) in [("{}", 1), ("[\n{\"name\": }\n]", 2), ("[", 1), ("[{}] x", 1)] {
        let seen = import_rows(&node, Imported::Parts, text, None).unwrap();
        assert!(seen.good.is_empty());
        assert_eq!((seen.wrong.len(), seen.wrong[0].line), (1, line), "{text}: {:?}", seen.wrong);
    }
}
