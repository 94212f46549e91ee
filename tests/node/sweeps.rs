//! Goal: a visit's sweep is written anew as it was asked for, and what was attached stays as it
//! came. Method: the desk's own command on a device with the invented day.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use guyline_hub::desk::{self, Given, attach_file};
use guyline_tests::author;
use serde_json::{Value, json};

use crate::crew::device;

/// A sweep of one frequency, with a value that has no decibels.
const SWEEP: &[u8] = b"# GHz S MA R 50\n0.155 0.5 90 0.9 0 0.1 180 0 0\n";

#[tokio::test(flavor = "multi_thread")]
async fn a_sweep_is_written_anew_as_asked_and_what_was_attached_stays() {
    let ines = device("Ines");
    let today = desk::call(&ines.node, "start-demo", json!({})).await.unwrap();
    let session = today["sessions"][0]["id"].as_str().unwrap();
    let given = Given {
        bytes: SWEEP.to_vec(),
        file_name: "duplexer.s2p",
        media_type: Some("text/x-touchstone"),
        caption: None,
        of: None,
        keep_position: false,
    };
    let attachment = attach_file(&ines.node, session.parse().unwrap(), &author(), given).unwrap();
    let file = |made: &Value| {
        let bytes = STANDARD.decode(made["base64"].as_str().unwrap()).unwrap();
        (made["name"].as_str().unwrap().to_owned(), String::from_utf8(bytes).unwrap())
    };
    let ask = async |version: &str, format: &str| {
        let asked = json!({
            "session": session, "attachment": attachment,
            "version": version, "unit": "mhz", "format": format,
        });
        desk::call(&ines.node, "write-sweep", asked).await
    };
    let (name, text) = file(&ask("1.1", "ma").await.unwrap());
    assert!(name.ends_with("-anew.s2p"), "{name}");
    assert_eq!(text, "# MHz S MA R 50\n155 0.5 90 0.9 0 0.1 180 0 0\n");
    let (name, text) = file(&ask("2.0", "ri").await.unwrap());
    assert!(name.ends_with("-anew.ts") && text.starts_with("[Version] 2.0\n"), "{name}: {text}");
    let refused = ask("2.0", "db").await.unwrap_err();
    assert!(refused.what.contains("no decibels") && !refused.help.is_empty(), "{refused}");
    let whole = json!({ "session": session, "attachment": attachment, "small": false });
    let came = desk::call(&ines.node, "attachment", whole).await.unwrap();
    assert_eq!(file(&came).1.as_bytes(), SWEEP);
}
